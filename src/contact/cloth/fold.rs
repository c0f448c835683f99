//! Which edges are not folded as built, so that a fold there is news?

use super::between;
use crate::geometry::topology::Topology;
use crate::geometry::vector::{dot, norm};
use crate::rig::surface::Surface;

/// An edge between two triangles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fold {
    /// The triangles beside it, with their outer sides on one side of the cloth.
    pub triangles: [u32; 2],
    /// Length as built, metres.
    pub length: f64,
}

/// Normals whose product is below this are over half a right angle apart: an edge of a hem, not of flat cloth.
const FLAT: f32 = std::f32::consts::FRAC_1_SQRT_2;

/// Edges between two counted triangles whose normals are less than half a right angle apart at the bind.
pub fn all(surface: &Surface, topology: &Topology, areas: &[f64], normals: &[[f32; 3]]) -> Vec<Fold> {
    let mut folds = Vec::new();
    for (edge, ends) in (0u32..).zip(topology.edges()) {
        let &[first, second] = topology.edge_triangles(edge) else {
            continue;
        };
        let counts = |triangle: u32| areas[triangle as usize] > 0.0;
        let flat = dot(normals[first as usize], normals[second as usize]) >= FLAT;
        if counts(first) && counts(second) && flat && runs_both_ways(topology, edge, [first, second]) {
            let [a, b] = ends.map(|end| surface.positions[end as usize]);
            folds.push(Fold {
                triangles: [first, second],
                length: norm(between(b, a)),
            });
        }
    }
    folds
}

/// True where the two triangles agree about their outer side: one runs along the edge, the other back.
fn runs_both_ways(topology: &Topology, edge: u32, beside: [u32; 2]) -> bool {
    let forward = beside.map(|triangle| {
        let corners = topology.triangles()[triangle as usize];
        let side = topology.triangle_edges()[triangle as usize]
            .iter()
            .position(|&own| own == edge)
            .unwrap_or(0);
        corners[side] < corners[(side + 1) % 3]
    });
    forward[0] != forward[1]
}
