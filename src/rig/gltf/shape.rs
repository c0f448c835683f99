//! Whether an accessor's element and component type are among those glTF allows for what it is used for.

use std::collections::BTreeSet;

use gltf::json::accessor::{ComponentType, Type};
use gltf::json::mesh::{Mesh, Primitive, Semantic};
use gltf::json::validation::Checked;
use gltf::json::{Index, Root};

use super::accessor::{component_of, type_of};
use super::error::Fault;
use super::limits::Caps;
use super::sanity::exists;
use ComponentType::{F32, I8, I16, U8, U16, U32};

/// What a use of an accessor allows. A component with `None` may be normalised or not.
pub(super) struct Shape {
    what: &'static str,
    type_: Type,
    components: &'static [(ComponentType, Option<bool>)],
    /// The same in words.
    allowed: &'static str,
}

/// A skin's inverse bind matrices (specification 3.7.3).
pub(super) const INVERSE_BINDS: Shape = Shape {
    what: "inverse bind matrices",
    type_: Type::Mat4,
    components: &[(F32, None)],
    allowed: "MAT4 of floats",
};
/// Key times (3.11).
pub(super) const TIMES: Shape = Shape {
    what: "key times",
    type_: Type::Scalar,
    components: &[(F32, None)],
    allowed: "SCALAR floats",
};
/// Translations and scales (3.11).
pub(super) const MOVES: Shape = Shape {
    what: "translation or scale keys",
    type_: Type::Vec3,
    components: &[(F32, None)],
    allowed: "VEC3 of floats",
};
/// Quaternions (3.11).
pub(super) const TURNS: Shape = Shape {
    what: "rotation keys",
    type_: Type::Vec4,
    components: &[
        (F32, None),
        (I8, Some(true)),
        (U8, Some(true)),
        (I16, Some(true)),
        (U16, Some(true)),
    ],
    allowed: "VEC4 of floats or normalised integers",
};
const CORNERS: Shape = Shape {
    what: "triangle corners",
    type_: Type::Scalar,
    components: &[(U8, Some(false)), (U16, Some(false)), (U32, Some(false))],
    allowed: "SCALAR unsigned integers",
};
const JOINTS: Shape = Shape {
    what: "joint indices",
    type_: Type::Vec4,
    components: &[(U8, Some(false)), (U16, Some(false))],
    allowed: "VEC4 of unsigned bytes or shorts",
};
const WEIGHTS: Shape = Shape {
    what: "skin weights",
    type_: Type::Vec4,
    components: &[(F32, None), (U8, Some(true)), (U16, Some(true))],
    allowed: "VEC4 of floats or normalised unsigned bytes or shorts",
};
const POSITION: Shape = Shape {
    what: "positions",
    type_: Type::Vec3,
    components: &[(F32, None)],
    allowed: "VEC3 of floats",
};
const TEXCOORD: Shape = Shape {
    what: "texture coordinates",
    type_: Type::Vec2,
    components: &[(F32, None), (U8, Some(true)), (U16, Some(true))],
    allowed: "VEC2 of floats or normalised unsigned integers",
};
// The extension KHR_mesh_quantization.
const ANY_SHORT: &[(ComponentType, Option<bool>)] =
    &[(F32, None), (I8, None), (U8, None), (I16, None), (U16, None)];
const QUANTISED_POSITION: Shape = Shape {
    what: "positions",
    type_: Type::Vec3,
    components: ANY_SHORT,
    allowed: "VEC3 of floats, bytes or shorts",
};
const QUANTISED_MORPH: Shape = Shape {
    what: "morph target positions",
    type_: Type::Vec3,
    components: &[(F32, None), (I8, None), (I16, None)],
    allowed: "VEC3 of floats or signed bytes or shorts",
};
const QUANTISED_TEXCOORD: Shape = Shape {
    what: "texture coordinates",
    type_: Type::Vec2,
    components: ANY_SHORT,
    allowed: "VEC2 of floats, bytes or shorts",
};

/// Refuses an accessor that does not exist or has a shape its use does not allow.
pub(super) fn check(root: &Root, accessor: usize, shape: &Shape, place: &str) -> Result<(), Fault> {
    exists(accessor, root.accessors.len(), "accessor", || place.to_owned())?;
    let accessor = &root.accessors[accessor];
    let normalized = accessor.normalized;
    let component = component_of(accessor);
    let fits = |&(allowed, normal): &(ComponentType, Option<bool>)| {
        component == Some(allowed) && (allowed == F32 || normal.is_none_or(|normal| normal == normalized))
    };
    if type_of(accessor) == Some(shape.type_) && shape.components.iter().any(fits) {
        return Ok(());
    }
    let found = format!(
        "{}{}",
        if normalized { "normalised " } else { "" },
        words(type_of(accessor), component)
    );
    Err(Fault::broken(
        place,
        format!(
            "{} are stored as {found}, but glTF allows only {}",
            shape.what, shape.allowed
        ),
    ))
}

fn words(type_: Option<Type>, component: Option<ComponentType>) -> String {
    let type_ = type_.map_or_else(
        || "nothing known".into(),
        |type_| format!("{type_:?}").to_uppercase(),
    );
    let component = match component {
        Some(I8) => "bytes",
        Some(U8) => "unsigned bytes",
        Some(I16) => "shorts",
        Some(U16) => "unsigned shorts",
        Some(U32) => "32-bit unsigned integers",
        Some(F32) => "floats",
        None => "nothing known",
    };
    format!("{type_} of {component}")
}

/// All primitives of a mesh: accessors, counts, and the same number of morph targets everywhere.
pub(super) fn check_mesh(root: &Root, mesh: &Mesh, caps: &Caps, place: &str) -> Result<(), Fault> {
    let targets = |primitive: &Primitive| primitive.targets.as_ref().map_or(0, Vec::len);
    let expected = mesh.primitives.first().map_or(0, targets);
    for (index, primitive) in mesh.primitives.iter().enumerate() {
        let place = format!("{place}/primitives/{index}");
        if primitive.mode == Checked::Invalid {
            return Err(Fault::broken(
                format!("{place}/mode"),
                "this is none of glTF's drawing modes",
            ));
        }
        if targets(primitive) != expected {
            let what = "the parts of this mesh have different numbers of morph targets";
            return Err(Fault::broken(format!("{place}/targets"), what));
        }
        check_primitive(root, primitive, caps, &place)?;
    }
    match &mesh.weights {
        Some(weights) if weights.len() != expected => {
            let what = format!(
                "{} morph weights are given for {expected} morph targets",
                weights.len()
            );
            Err(Fault::broken(format!("{place}/weights"), what))
        }
        _ => Ok(()),
    }
}

fn check_primitive(root: &Root, primitive: &Primitive, caps: &Caps, place: &str) -> Result<(), Fault> {
    let quantised = root
        .extensions_used
        .iter()
        .any(|name| name == "KHR_mesh_quantization");
    let mut count = None;
    for (semantic, accessor) in &primitive.attributes {
        let Checked::Valid(semantic) = semantic else {
            continue;
        };
        let place = format!("{place}/attributes/{}", semantic.to_string());
        exists(accessor.value(), root.accessors.len(), "accessor", || {
            place.clone()
        })?;
        if let Some(shape) = attribute(semantic, quantised) {
            check(root, accessor.value(), shape, &place)?;
        }
        let found = root.accessors[accessor.value()].count.0;
        caps.vertices().check(found, &place)?;
        if *count.get_or_insert(found) != found {
            return Err(Fault::broken(
                place,
                "the attributes of this primitive have different numbers of vertices",
            ));
        }
    }
    check_sets(primitive, place)?;
    if let Some(indices) = primitive.indices {
        let place = format!("{place}/indices");
        check(root, indices.value(), &CORNERS, &place)?;
        if root.accessors[indices.value()]
            .buffer_view
            .is_some_and(|view| has_stride(root, view))
        {
            return Err(Fault::broken(place, "triangle corners must not have a stride"));
        }
    }
    let shape = if quantised { &QUANTISED_MORPH } else { &POSITION };
    for (index, target) in primitive.targets.iter().flatten().enumerate() {
        let base = |semantic: Semantic| primitive.attributes.get(&Checked::Valid(semantic)).copied();
        let parts = [
            ("POSITION", target.positions, base(Semantic::Positions)),
            ("NORMAL", target.normals, base(Semantic::Normals)),
            ("TANGENT", target.tangents, base(Semantic::Tangents)),
        ];
        for (name, accessor, base) in parts
            .into_iter()
            .filter_map(|(name, part, base)| Some((name, part?, base)))
        {
            let place = format!("{place}/targets/{index}/{name}");
            exists(accessor.value(), root.accessors.len(), "accessor", || {
                place.clone()
            })?;
            let Some(base) = base else {
                return Err(Fault::broken(
                    place,
                    "a morph target moves an attribute that the mesh does not have",
                ));
            };
            if name == "POSITION" {
                check(root, accessor.value(), shape, &place)?;
            }
            if root.accessors[accessor.value()].count.0 != root.accessors[base.value()].count.0 {
                return Err(Fault::broken(
                    place,
                    "a morph target has another number of vertices than its mesh",
                ));
            }
        }
    }
    Ok(())
}

/// Whether elements are further apart than they are large.
fn has_stride(root: &Root, view: Index<gltf::json::buffer::View>) -> bool {
    root.buffer_views
        .get(view.value())
        .is_some_and(|view| view.byte_stride.is_some())
}

/// What an attribute may look like; `None` for those we do not read.
fn attribute(semantic: &Semantic, quantised: bool) -> Option<&'static Shape> {
    match semantic {
        Semantic::Positions if quantised => Some(&QUANTISED_POSITION),
        Semantic::Positions => Some(&POSITION),
        Semantic::TexCoords(0) if quantised => Some(&QUANTISED_TEXCOORD),
        Semantic::TexCoords(0) => Some(&TEXCOORD),
        Semantic::Joints(_) => Some(&JOINTS),
        Semantic::Weights(_) => Some(&WEIGHTS),
        _ => None,
    }
}

/// Every set of joints needs its set of weights.
fn check_sets(primitive: &Primitive, place: &str) -> Result<(), Fault> {
    let (mut joints, mut weights) = (BTreeSet::new(), BTreeSet::new());
    for semantic in primitive.attributes.keys() {
        match semantic {
            Checked::Valid(Semantic::Joints(set)) => joints.insert(*set),
            Checked::Valid(Semantic::Weights(set)) => weights.insert(*set),
            _ => false,
        };
    }
    if joints == weights {
        return Ok(());
    }
    let what = format!(
        "every set of joint indices needs its set of weights, but there are {} and {}",
        joints.len(),
        weights.len()
    );
    Err(Fault::broken(format!("{place}/attributes"), what))
}
