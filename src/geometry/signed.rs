//! On which side of a surface does a point lie, judged by the nearest spot of that surface?

use super::box_tree::Nearest;
use super::pseudo_normal::PseudoNormals;
use super::vector::{dot, sub, wide};

/// How far `point` lies outside the surface, metres: positive on the side its normals point to, negative
/// behind. `nearest` is the answer of the tree for that point.
pub fn clearance(point: [f32; 3], nearest: &Nearest, normals: &PseudoNormals) -> f32 {
    let distance = nearest.distance_sq.sqrt();
    if is_behind(point, nearest, normals) {
        -distance
    } else {
        distance
    }
}

/// Whether `point` lies behind the surface. A point on the surface does not.
pub fn is_behind(point: [f32; 3], nearest: &Nearest, normals: &PseudoNormals) -> bool {
    let normal = normals.at(nearest.triangle, nearest.feature);
    dot(sub(wide(point), wide(nearest.point)), wide(normal)) < 0.0
}
