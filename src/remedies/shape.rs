//! Edits of the shape as built.

use super::edit::{Edit, Kind, Where};
use crate::contact::Layer;
use crate::fitting::Dressed;
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::signed;

/// Cloth that is pulled in keeps this much room, metres at the scale of 1.
const ROOM_KEPT: f64 = 0.001;

/// The cloth moved out along its normals.
pub(super) fn out(layer: &Layer, shares: &[f64], by: f64) -> Edit {
    let steps: Vec<f64> = shares.iter().map(|share| share * by).collect();
    moved(layer, Kind::Out(by), &steps)
}

/// The cloth moved towards the skin, as far as there is room.
pub(super) fn inward(dressed: &Dressed, shares: &[f64], by: f64) -> Edit {
    let (body, layer) = (&dressed.body, &dressed.layers[0]);
    let tree = BoxTree::build_tagged(&layer.body_as_built, &body.surface.triangles, &body.tags);
    let normals = PseudoNormals::new(&body.topology, &layer.body_as_built);
    let kept = ROOM_KEPT * f64::from(body.scale());
    let steps: Vec<f64> = layer
        .surface
        .positions
        .iter()
        .zip(shares)
        .map(|(&at, share)| {
            if *share <= 0.0 {
                return 0.0;
            }
            let room = tree
                .closest(at, f32::INFINITY, ALL, None)
                .map_or(0.0, |found| f64::from(signed::clearance(at, &found, &normals)));
            -(share * by).min((room - kept).max(0.0))
        })
        .collect();
    moved(layer, Kind::In(by), &steps)
}

/// Each vertex moved along its normal, metres.
fn moved(layer: &Layer, kind: Kind, steps: &[f64]) -> Edit {
    let normals = PseudoNormals::new(&layer.topology, &layer.surface.positions);
    let mut positions = layer.surface.positions.clone();
    for (vertex, (position, step)) in (0u32..).zip(positions.iter_mut().zip(steps)) {
        let normal = nalgebra::Vector3::from(normals.vertex(vertex)).try_normalize(1e-9);
        if let Some(normal) = normal.filter(|_| *step != 0.0) {
            #[expect(clippy::cast_possible_truncation, reason = "positions are f32")]
            let step = *step as f32;
            (0..3).for_each(|axis| position[axis] += normal[axis] * step);
        }
    }
    Edit {
        place: Where::Spot,
        positions: Some(positions),
        vertices: steps.iter().filter(|step| **step != 0.0).count(),
        ..Edit::nothing(kind)
    }
}
