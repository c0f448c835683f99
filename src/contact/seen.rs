//! Can this point of the skin be looked at, and from where?

use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::directions::cosine_directions;
use nalgebra::Vector3;

/// A point is seen when more than this share of its directions escape (DESIGN 6).
pub const SEEN_SHARE: f64 = 0.05;
/// Rays start this far out, metres at the scale of 1.
const START: f32 = 0.02e-3;
/// Longer than any garment's reach.
const FAR: f32 = 100.0;

/// The directions of one frame: the posed pelvis's front gives every sample its X axis.
pub struct Sight<'a> {
    trees: &'a [&'a BoxTree],
    front: Vector3<f32>,
    up: Vector3<f32>,
    directions: Vec<[f32; 3]>,
    start: f32,
}

/// What a point's directions say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Seen {
    /// Share of the cosine-distributed directions that escape, 0 to 1.
    pub share: f32,
    /// Mean of the escaping directions, world; zero where none does.
    pub from: [f32; 3],
}

impl<'a> Sight<'a> {
    /// `trees` are all surfaces that can hide something.
    pub fn new(trees: &'a [&'a BoxTree], front: Vector3<f32>, up: Vector3<f32>, scale: f32) -> Self {
        Self {
            trees,
            front,
            up,
            directions: cosine_directions().to_vec(),
            start: START * scale,
        }
    }

    /// Looks out from a point along its outward normal.
    pub fn from(&self, point: [f32; 3], normal: [f32; 3]) -> Seen {
        let z = Vector3::from(normal).try_normalize(1e-12).unwrap_or(self.up);
        let x = (self.front - z * self.front.dot(&z))
            .try_normalize(1e-3)
            .or_else(|| (self.up - z * self.up.dot(&z)).try_normalize(1e-6))
            .unwrap_or_else(Vector3::x);
        let y = z.cross(&x);
        let origin: [f32; 3] = (Vector3::from(point) + z * self.start).into();
        let mut escaped = 0u16;
        let mut from = Vector3::zeros();
        for direction in &self.directions {
            let ray = x * direction[0] + y * direction[1] + z * direction[2];
            if !self
                .trees
                .iter()
                .any(|tree| tree.ray_any(origin, ray.into(), FAR, ALL, None))
            {
                escaped += 1;
                from += ray;
            }
        }
        let total = f32::from(u16::try_from(self.directions.len()).unwrap_or(u16::MAX));
        let from = from.try_normalize(1e-6).unwrap_or_else(Vector3::zeros);
        Seen {
            share: f32::from(escaped) / total,
            from: from.into(),
        }
    }
}
