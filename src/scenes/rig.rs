//! What the report's rig sheet says of a body and its layers.

use super::watch::view_of;
use crate::fitting::{Dressed, splay_of};
use crate::report::rig::{Piece, Sheet};
use crate::report::words;
use crate::rig::anatomy::Anatomy;
use crate::rig::bone::Side;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;

/// The sheet of a fitting; `number` is its index in the outcome.
pub fn sheet(dressed: &Dressed, number: usize) -> Option<Sheet> {
    let tested = dressed.layers.first()?;
    let body = (!dressed.garment_alone).then(|| piece(&dressed.body.surface, &dressed.body.skeleton));
    let layers = dressed
        .layers
        .iter()
        .map(|layer| piece(&layer.surface, &layer.skeleton));
    Some(Sheet {
        fitting: number,
        pieces: body.into_iter().chain(layers).collect(),
        garment: view_of(&tested.surface, &tested.skeleton, false),
    })
}

fn piece(surface: &Surface, skeleton: &Skeleton) -> Piece {
    let roles = skeleton.roles.by_bone.iter().map(|(bone, (node, how))| {
        [
            bone.name().to_owned(),
            skeleton.label(*node),
            how.words().to_owned(),
        ]
    });
    let loose = (0..skeleton.joints.len())
        .filter(|&node| skeleton.joints[node].weighted && skeleton.roles.bone(node).is_none());
    Piece {
        name: surface.name.clone(),
        roles: roles.collect(),
        loose: loose.map(|node| skeleton.label(node)).collect(),
        facts: facts(surface, skeleton),
    }
}

fn facts(surface: &Surface, skeleton: &Skeleton) -> Vec<String> {
    let mut facts = vec![format!(
        "{}, {}, {} with weight.",
        words::count(surface.positions.len(), "vertex", "vertices"),
        words::count(surface.triangles.len(), "triangle", "triangles"),
        words::count(
            skeleton.joints.iter().filter(|joint| joint.weighted).count(),
            "joint",
            "joints"
        )
    )];
    let splay = splay_of(skeleton);
    if let (Some(left), Some(right)) = (splay.left, splay.right) {
        facts.push(format!(
            "Skinned with {}° of hip splay on the left, {}° on the right.",
            words::number(left),
            words::number(right)
        ));
    }
    if let Ok(anatomy) = Anatomy::new(skeleton) {
        let knee = |side| words::number(anatomy.knee_at_bind(side).to_degrees());
        facts.push(format!(
            "Knees bent {}° on the left, {}° on the right; the thigh is {} mm long.",
            knee(Side::Left),
            knee(Side::Right),
            words::number(anatomy.thigh_length * 1e3)
        ));
    }
    let axes = &surface.to_world;
    if !axes.rest_is_bind {
        facts.push("The nodes of the file stand in another pose than the mesh was skinned in; the pose it was skinned in is used.".into());
    }
    if !axes.upright || (axes.scale - 1.0).abs() > 1e-3 {
        facts.push(format!(
            "A unit of the mesh is {} m{}.",
            words::number(axes.scale),
            if axes.upright {
                ""
            } else {
                ", and its axes were turned upright"
            }
        ));
    }
    facts
}
