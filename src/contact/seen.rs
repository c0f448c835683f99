//! Can this point of the skin be looked at, and from where?

use crate::geometry::box_tree::BoxTree;
use crate::geometry::directions::cosine_directions;
use nalgebra::Vector3;
use std::cell::Cell;

/// A point is seen when more than this share of its directions escape (DESIGN 6).
pub const SEEN_SHARE: f64 = 0.05;
/// Rays start this far out, metres at the scale of 1.
const START: f32 = 0.02e-3;
/// Longer than any garment's reach.
const FAR: f32 = 100.0;

/// The directions of one frame: the posed pelvis's front gives every sample its X axis.
pub struct Sight<'a> {
    trees: &'a [(&'a BoxTree, u32)],
    front: Vector3<f32>,
    up: Vector3<f32>,
    directions: Vec<[f32; 3]>,
    /// By direction and tree the leaf that stopped the ray from the point before.
    last: Vec<Cell<u32>>,
    start: f32,
}

impl<'a> Sight<'a> {
    /// `trees` are all surfaces that can hide something, with the tags that do.
    pub fn new(trees: &'a [(&'a BoxTree, u32)], front: Vector3<f32>, up: Vector3<f32>, scale: f32) -> Self {
        let directions = cosine_directions().to_vec();
        Self {
            trees,
            front,
            up,
            last: vec![Cell::new(u32::MAX); directions.len() * trees.len()],
            directions,
            start: START * scale,
        }
    }

    /// Whether a point is seen at all.
    pub fn is_seen(&self, point: [f32; 3], normal: [f32; 3]) -> bool {
        self.is_seen_more(point, normal, 0.0)
    }

    /// Whether a point is seen by more than [`SEEN_SHARE`] beyond `share`. Stops at the direction that decides it:
    /// most points that are seen are seen from nearly everywhere.
    pub fn is_seen_more(&self, point: [f32; 3], normal: [f32; 3], share: f64) -> bool {
        let enough = (SEEN_SHARE + share) * self.directions.len() as f64;
        let mut left = self.directions.len() as f64;
        let mut escaped = 0.0;
        for ray in self.looks(point, normal) {
            escaped += f64::from(u8::from(ray.is_some()));
            left -= 1.0;
            if escaped > enough || escaped + left <= enough {
                break;
            }
        }
        escaped > enough
    }

    /// Share of the directions that escape.
    pub fn share(&self, point: [f32; 3], normal: [f32; 3]) -> f64 {
        self.looks(point, normal).flatten().count() as f64 / self.directions.len() as f64
    }

    /// From where a point is seen: the mean of the directions that escape, world; zero where none does.
    pub fn from(&self, point: [f32; 3], normal: [f32; 3]) -> [f32; 3] {
        let sum = self
            .looks(point, normal)
            .flatten()
            .fold(Vector3::zeros(), |sum, ray| sum + ray);
        sum.try_normalize(1e-6).unwrap_or_else(Vector3::zeros).into()
    }

    /// Every direction in turn: itself where it escapes.
    fn looks(&self, point: [f32; 3], normal: [f32; 3]) -> impl Iterator<Item = Option<Vector3<f32>>> + '_ {
        let z = Vector3::from(normal).try_normalize(1e-12).unwrap_or(self.up);
        let x = (self.front - z * self.front.dot(&z))
            .try_normalize(1e-3)
            .or_else(|| (self.up - z * self.up.dot(&z)).try_normalize(1e-6))
            .unwrap_or_else(Vector3::x);
        let y = z.cross(&x);
        let origin: [f32; 3] = (Vector3::from(point) + z * self.start).into();
        let lasts = self.last.chunks_exact(self.trees.len());
        self.directions.iter().zip(lasts).map(move |(direction, lasts)| {
            let ray = x * direction[0] + y * direction[1] + z * direction[2];
            let mut trees = self.trees.iter().zip(lasts);
            let hidden =
                trees.any(|((tree, mask), last)| tree.ray_any_again(origin, ray.into(), FAR, *mask, last));
            (!hidden).then_some(ray)
        })
    }
}
