//! What an edit moved: the same garment before and after, vertex by vertex.

use crate::contact::Layer;
use std::collections::BTreeMap;

/// What moved between two garments of one topology.
#[derive(Clone, Debug)]
pub struct Moved {
    /// By vertex of the surface: how far it lies from where it lay as built, metres.
    pub shape: Vec<f32>,
    /// By vertex: how much of its weight went to other joints, 0 to 1 (half the sum of differences).
    pub weights: Vec<f32>,
}

/// A vertex that moved less than this did not, metres: rounding of positions.
pub const SHAPE_NOISE: f32 = 2e-6;
/// The same of weights: one step of 8-bit weights.
pub const WEIGHT_NOISE: f32 = 1.0 / 255.0;

/// `None` where the two are not the same triangles of the same vertices.
pub fn moved(before: &Layer, after: &Layer) -> Option<Moved> {
    let (was, is) = (&before.surface, &after.surface);
    let corners = |triangles: &[[u32; 3]]| -> Vec<[u32; 3]> {
        // A piece that faced inward may have been turned in one of the two.
        let sorted = triangles.iter().map(|triangle| {
            let mut corners = *triangle;
            corners.sort_unstable();
            corners
        });
        sorted.collect()
    };
    if was.positions.len() != is.positions.len() || corners(&was.triangles) != corners(&is.triangles) {
        return None;
    }
    let shape = was.positions.iter().zip(&is.positions).map(|(a, b)| {
        let apart = (0..3).map(|axis| (a[axis] - b[axis]).powi(2));
        apart.sum::<f32>().sqrt()
    });
    let weights = (0..was.positions.len()).map(|vertex| {
        let (first, second) = (row(before, vertex), row(after, vertex));
        let joints = first
            .keys()
            .chain(second.keys().filter(|joint| !first.contains_key(*joint)));
        let of = |row: &BTreeMap<usize, f32>, joint| row.get(joint).copied().unwrap_or(0.0);
        joints
            .map(|joint| (of(&first, joint) - of(&second, joint)).abs())
            .sum::<f32>()
            / 2.0
    });
    Some(Moved {
        shape: shape.collect(),
        weights: weights.collect(),
    })
}

/// Weights of a vertex by the body's joints, as shares of their sum; joints that the body does not have come after its own.
fn row(layer: &Layer, vertex: usize) -> BTreeMap<usize, f32> {
    let surface = &layer.surface;
    let joint = |bind: usize| {
        let node = surface.binds[bind].node;
        layer.pairing.driver[node].unwrap_or(usize::MAX - node)
    };
    let mut row: BTreeMap<usize, f32> = BTreeMap::new();
    for (bind, weight) in surface.rows.row(vertex) {
        *row.entry(joint(bind)).or_default() += weight;
    }
    let sum: f32 = row.values().sum();
    if sum.is_finite() && sum > 0.0 {
        row.values_mut().for_each(|weight| *weight /= sum);
    }
    row
}
