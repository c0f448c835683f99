//! Which joints move a mesh, and how much of each is in every vertex.

use std::collections::BTreeSet;

use gltf::json::mesh::{Primitive, Semantic};
use gltf::json::validation::Checked;
use nalgebra::Matrix4;

use super::accessor::Source;
use super::error::{Fault, quoted};
use super::nodes::{Graph, affine};
use super::remarks::Remarks;
use crate::rig::{Bind, Rows};

/// The joints of a skin with their inverse bind matrices; identity where the file has none (specification 3.7.3).
pub(super) fn binds(
    source: &Source,
    graph: &Graph,
    skin: usize,
    remarks: &mut Remarks,
) -> Result<Vec<Bind>, Fault> {
    let joints = &source.root.skins[skin].joints;
    let place = format!("/skins/{skin}/inverseBindMatrices");
    source.spend((joints.len() * size_of::<Bind>()) as u64, &place)?;
    let matrices = match source.root.skins[skin].inverse_bind_matrices {
        Some(accessor) => Some(source.floats::<16>(accessor.value(), &place)?),
        None => {
            let say = "This skin has no inverse bind matrices; its mesh is taken to be bound with all joints at the origin.";
            remarks.add(
                "missing_inverse_binds",
                format!("/skins/{skin}"),
                say,
                "Export the skin again if it looks torn.",
            );
            None
        }
    };
    let bind = |(number, joint): (usize, &gltf::json::Index<gltf::json::Node>)| {
        let node = graph.ours[joint.value()];
        let numbers = matrices.as_ref().and_then(|matrices| matrices.get(number));
        let what = format!(
            "the inverse bind matrix of joint {number}, node {}",
            quoted(&graph.nodes[node].name)
        );
        let inverse_bind =
            numbers.map_or(Ok(Matrix4::identity()), |numbers| affine(numbers, &place, &what))?;
        Ok(Bind { node, inverse_bind })
    };
    joints.iter().enumerate().map(bind).collect()
}

/// Notes on all skins, and a look at the matrices of those that no mesh uses.
pub(super) fn check_all(source: &Source, graph: &Graph, remarks: &mut Remarks) -> Result<(), Fault> {
    let bound = source.root.nodes.iter().filter(|node| node.mesh.is_some());
    let used: BTreeSet<usize> = bound
        .filter_map(|node| node.skin)
        .map(|skin| skin.value())
        .collect();
    for (index, skin) in source.root.skins.iter().enumerate() {
        let place = format!("/skins/{index}");
        graph.remark_on_skin(skin, &place, remarks);
        let Some(accessor) = skin.inverse_bind_matrices else {
            continue;
        };
        let accessor = source.accessor(accessor.value(), &place)?;
        let view = accessor
            .buffer_view
            .and_then(|view| source.root.buffer_views.get(view.value()));
        if view.is_some_and(|view| view.byte_stride.is_some()) {
            let say = "The inverse bind matrices are stored with a stride, which glTF does not allow; they are read with it.";
            remarks.add(
                "inverse_binds_strided",
                format!("{place}/inverseBindMatrices"),
                say,
                "Export the file again.",
            );
        }
        // An accessor without any data is all zeros: useless as a bind, but harmless while no mesh is bound with it.
        if !used.contains(&index) && (accessor.buffer_view.is_some() || accessor.sparse.is_some()) {
            binds(source, graph, index, remarks)?;
        }
    }
    Ok(())
}

/// Whether a primitive has weights at all.
pub(super) fn has_weights(primitive: &Primitive) -> bool {
    primitive
        .attributes
        .keys()
        .any(|semantic| matches!(semantic, Checked::Valid(Semantic::Joints(_))))
}

/// One row of weight 1 per vertex, on the only bind.
pub(super) fn rigid_rows(source: &Source, vertices: usize, place: &str) -> Result<Rows, Fault> {
    source.spend(vertices as u64 * 10, place)?;
    Ok(Rows {
        starts: (0..=vertices as u32).collect(),
        binds: vec![0; vertices],
        weights: vec![1.0; vertices],
    })
}

/// The rows as the file has them, over all sets in the order of their numbers; only zero weights are dropped.
pub(super) fn rows(
    source: &Source,
    primitive: &Primitive,
    binds: usize,
    place: &str,
    remarks: &mut Remarks,
) -> Result<Rows, Fault> {
    let sets = sets(source, primitive, place)?;
    let vertices = sets.first().map_or(0, |set| set.joints.len());
    source.spend((vertices * (4 + sets.len() * 4 * 6)) as u64, place)?;
    let mut rows = Rows {
        starts: vec![0],
        ..Rows::default()
    };
    let mut unused_beyond = 0_usize;
    for vertex in 0..vertices {
        for set in &sets {
            for (&joint, &weight) in set.joints[vertex].iter().zip(&set.weights[vertex]) {
                let inside = (joint as usize) < binds;
                if weight == 0.0 {
                    unused_beyond += usize::from(!inside);
                } else if inside {
                    rows.binds.push(joint as u16); // the cap on joints is below 65,536
                    rows.weights.push(weight);
                } else {
                    let what = format!(
                        "vertex {vertex} has weight on joint {joint}, but the skin has only {binds} joints"
                    );
                    return Err(Fault::broken(
                        format!("{place}/attributes/JOINTS_{}", set.number),
                        what,
                    ));
                }
            }
        }
        rows.starts.push(rows.binds.len() as u32);
    }
    if unused_beyond > 0 {
        let say = format!(
            "{unused_beyond} joint indices with weight 0 are beyond the skin's joints; they do nothing."
        );
        remarks.add(
            "zero_weight_joint_index",
            format!("{place}/attributes"),
            say,
            "Nothing needs to be done.",
        );
    }
    Ok(rows)
}

/// One `JOINTS_n` with its `WEIGHTS_n`.
struct Set {
    number: u32,
    joints: Vec<[u32; 4]>,
    weights: Vec<[f32; 4]>,
}

/// All sets; the sanity pass has found them in pairs and of one length.
fn sets(source: &Source, primitive: &Primitive, place: &str) -> Result<Vec<Set>, Fault> {
    let mut sets = Vec::new();
    for (semantic, joints) in &primitive.attributes {
        let Checked::Valid(Semantic::Joints(number)) = *semantic else {
            continue;
        };
        let Some(weights) = primitive
            .attributes
            .get(&Checked::Valid(Semantic::Weights(number)))
        else {
            continue;
        };
        let joints = source.integers(joints.value(), &format!("{place}/attributes/JOINTS_{number}"))?;
        let weights = source.floats(weights.value(), &format!("{place}/attributes/WEIGHTS_{number}"))?;
        sets.push(Set {
            number,
            joints,
            weights,
        });
    }
    Ok(sets)
}
