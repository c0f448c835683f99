//! How much memory will a file take once decoded? Known from its counts, before anything is decoded.
//!
//! A small file can ask for much: a thousand nodes may show one mesh, and an accessor without data is all zeros. So
//! the whole sum is held to the limits first; the tally while decoding ([`Source::spend`]) is the net below it.

use gltf::json::Root;
use gltf::json::animation::Animation;
use gltf::json::mesh::{MorphTarget, Primitive, Semantic};
use gltf::json::validation::Checked;

use super::accessor::{Source, components, type_of};
use super::error::Fault;
use super::skin::has_weights;
use super::vertices::position;
use crate::rig::{Bind, Mesh, Morph};

/// What the nodes so far show.
#[derive(Default)]
struct Sum {
    bytes: u64,
    parts: u64,
}

impl Sum {
    fn add(&mut self, bytes: u64) {
        self.bytes = self.bytes.saturating_add(bytes);
    }
}

/// Refuses a file whose meshes and clips are together beyond the limits. `carried` says whether a node of the file
/// hangs on a joint; what neither hangs on one nor has a skin is not decoded.
pub(super) fn check(source: &Source, carried: impl Fn(usize) -> bool) -> Result<(), Fault> {
    let (root, caps) = (source.root, source.caps);
    let of_parts: Vec<u64> = root
        .meshes
        .iter()
        .map(|mesh| sum(mesh.primitives.iter().map(|primitive| part(root, primitive))))
        .collect();
    let mut total = Sum {
        bytes: source.spent.get(),
        ..Sum::default()
    };
    for (index, node) in root.nodes.iter().enumerate() {
        let Some(mesh) = node.mesh.map(|mesh| mesh.value()) else {
            continue;
        };
        let parts = root.meshes[mesh].primitives.len() as u64;
        total.parts = total.parts.saturating_add(parts);
        let place = || format!("/nodes/{index}");
        if total.parts > caps.parts {
            return caps.parts().check(total.parts, &place());
        }
        let skin = node.skin.map(|skin| skin.value());
        if skin.is_none() && !carried(index) {
            continue;
        }
        let texts = [&node.name, &root.meshes[mesh].name].map(|name| name.as_ref().map_or(0, String::len));
        let joints = skin.map_or(1, |skin| root.skins[skin].joints.len());
        let each = (size_of::<Mesh>() + joints * size_of::<Bind>() + texts.iter().sum::<usize>()) as u64;
        total.add(of_parts[mesh]);
        total.add(parts.saturating_mul(each));
        total.add(skin.map_or(0, |skin| binds(root, skin)));
        if total.bytes > caps.decoded_bytes {
            return caps.decoded_bytes().check(total.bytes, &place());
        }
    }
    for (index, animation) in root.animations.iter().enumerate() {
        total.add(clip(root, animation));
        caps.decoded_bytes()
            .check(total.bytes, &format!("/animations/{index}"))?;
    }
    Ok(())
}

fn sum(bytes: impl Iterator<Item = u64>) -> u64 {
    bytes.fold(0, u64::saturating_add)
}

/// Bytes of an accessor's numbers, four for each.
fn numbers(root: &Root, accessor: usize) -> u64 {
    let accessor = &root.accessors[accessor];
    let each = 4 * type_of(accessor).map_or(0, components) as u64;
    accessor.count.0.saturating_mul(each)
}

/// Positions, texture coordinates, rows, triangles and morph targets of a primitive.
fn part(root: &Root, primitive: &Primitive) -> u64 {
    let Some(vertices) = position(primitive).map(|accessor| root.accessors[accessor].count.0) else {
        return 0;
    };
    let read = primitive
        .attributes
        .iter()
        .map(|(semantic, accessor)| match semantic {
            Checked::Valid(Semantic::Positions | Semantic::TexCoords(0)) => numbers(root, accessor.value()),
            Checked::Valid(Semantic::Extras(name)) if name == super::mesh::HIDDEN => {
                numbers(root, accessor.value())
            }
            // Joints and weights, and then the rows made of both: at most four entries of six bytes for a pair.
            Checked::Valid(Semantic::Joints(_) | Semantic::Weights(_)) => {
                numbers(root, accessor.value()).saturating_add(vertices.saturating_mul(12))
            }
            _ => 0,
        });
    let corners = primitive
        .indices
        .map_or(vertices, |indices| root.accessors[indices.value()].count.0);
    let rigid = if has_weights(primitive) { 0 } else { 10 };
    let morph = |target: &MorphTarget| {
        let deltas = match target.positions {
            Some(accessor) => numbers(root, accessor.value()),
            None => vertices.saturating_mul(12),
        };
        deltas.saturating_add(size_of::<Morph>() as u64)
    };
    sum(read)
        .saturating_add(vertices.saturating_mul(4 + rigid))
        // Numbers of corners, and triangles: in a strip each corner ends one.
        .saturating_add(corners.saturating_mul(4 + 12))
        .saturating_add(sum(primitive.targets.iter().flatten().map(morph)))
}

/// Matrices of a skin.
fn binds(root: &Root, skin: usize) -> u64 {
    let skin = &root.skins[skin];
    let matrices = skin
        .inverse_bind_matrices
        .map_or(0, |accessor| numbers(root, accessor.value()));
    matrices.saturating_add((skin.joints.len() * size_of::<Bind>()) as u64)
}

/// Times and values of all channels. Channels may share them, but each gets a copy.
fn clip(root: &Root, animation: &Animation) -> u64 {
    sum(animation.channels.iter().map(|channel| {
        let sampler = &animation.samplers[channel.sampler.value()];
        let values = root.accessors[sampler.output.value()].count.0;
        numbers(root, sampler.input.value()).saturating_add(values.saturating_mul(16))
    }))
}
