//! Where a primitive's vertices are, and where its morph targets take them.

use gltf::json::mesh::{MorphTarget, Primitive, Semantic};
use gltf::json::validation::Checked;

use super::accessor::Source;
use super::error::Fault;
use super::names;

/// The accessor of a primitive's positions.
pub(super) fn position(primitive: &Primitive) -> Option<usize> {
    primitive
        .attributes
        .get(&Checked::Valid(Semantic::Positions))
        .map(|accessor| accessor.value())
}

pub(super) fn positions(source: &Source, primitive: &Primitive, place: &str) -> Result<Vec<[f32; 3]>, Fault> {
    let place = format!("{place}/attributes/POSITION");
    let positions =
        position(primitive).map_or(Ok(Vec::new()), |accessor| source.floats::<3>(accessor, &place))?;
    match first_not_finite(&positions) {
        Some(vertex) => Err(Fault::broken(
            place,
            format!("the position of vertex {vertex} is not finite"),
        )),
        None => Ok(positions),
    }
}

pub(super) fn deltas(
    source: &Source,
    target: &MorphTarget,
    vertices: u64,
    place: &str,
) -> Result<Vec<[f32; 3]>, Fault> {
    let Some(accessor) = target.positions else {
        source.spend(vertices * 12, place)?;
        return Ok(vec![[0.0; 3]; vertices as usize]); // it bends normals only
    };
    let deltas = source.floats::<3>(accessor.value(), place)?;
    match first_not_finite(&deltas) {
        Some(vertex) => Err(Fault::broken(
            place,
            format!("the morph of vertex {vertex} is not finite"),
        )),
        None => Ok(deltas),
    }
}

pub(super) fn first_not_finite<const N: usize>(elements: &[[f32; N]]) -> Option<usize> {
    elements
        .iter()
        .position(|element| element.iter().any(|number| !number.is_finite()))
}

/// Names of the morph targets, where the exporter wrote them (a convention, not in the specification).
pub(super) fn target_names(mesh: &gltf::json::Mesh) -> Vec<String> {
    let extras = mesh
        .extras
        .as_ref()
        .and_then(|extras| serde_json::from_str::<serde_json::Value>(extras.get()).ok());
    let names = extras
        .as_ref()
        .and_then(|extras| extras.get("targetNames"))
        .and_then(serde_json::Value::as_array);
    let text = |(index, name): (usize, &serde_json::Value)| {
        name.as_str()
            .map_or_else(|| format!("morph {index}"), names::clean)
    };
    names.into_iter().flatten().enumerate().map(text).collect()
}
