//! The skin beneath each fabric triangle, of which its stretch is taken.
//!
//! On a convex body most nearest points lie on an edge or a corner of the skin, which several triangles share: to take
//! one of them would let the order of triangles in the file decide.

use super::Body;
use crate::geometry::box_tree::Nearest;
use crate::geometry::closest_point::Feature;
use crate::geometry::stretch::RestFrame;
use crate::geometry::topology::NONE;
use crate::geometry::{corners, triangle};

/// One triangle of the skin as built.
#[derive(Clone, Copy, Debug)]
struct Piece {
    triangle: u32,
    rest: RestFrame,
    /// Square metres.
    area: f64,
}

/// By fabric triangle: the skin triangles that its nearest point lies on.
#[derive(Clone, Debug)]
pub struct SkinBeside {
    /// `starts[t] .. starts[t + 1]` are fabric triangle `t`'s.
    starts: Vec<usize>,
    pieces: Vec<Piece>,
}

impl SkinBeside {
    /// `homes` are the nearest points of the skin as built, whose vertices lie at `built`.
    pub fn new(body: &Body, built: &[[f32; 3]], homes: &[Option<Nearest>]) -> Self {
        let mut beside = Self {
            starts: vec![0],
            pieces: Vec::new(),
        };
        for home in homes {
            for &number in home.iter().flat_map(|home| sharing(body, home)) {
                let at = corners(built, body.surface.triangles[number as usize]);
                beside.pieces.push(Piece {
                    triangle: number,
                    rest: RestFrame::new(at),
                    area: triangle::area(at),
                });
            }
            beside.starts.push(beside.pieces.len());
        }
        beside
    }

    /// Larger and smaller principal stretch of the skin beneath a fabric triangle, from as built: the mean by area; NaN
    /// without a home.
    pub fn stretches(&self, fabric_triangle: usize, body: &Body, now: &[[f32; 3]]) -> [f64; 2] {
        let (mut sum, mut area) = ([0.0; 2], 0.0);
        for piece in &self.pieces[self.starts[fabric_triangle]..self.starts[fabric_triangle + 1]] {
            let vertices = body.surface.triangles[piece.triangle as usize];
            let found = piece.rest.stretches(corners(now, vertices));
            if found[0].is_nan() {
                continue; // a sliver without area says nothing of the skin
            }
            sum = [0, 1].map(|which| sum[which] + piece.area * found[which]);
            area += piece.area;
        }
        if area > 0.0 {
            sum.map(|sum| sum / area)
        } else {
            [f64::NAN; 2]
        }
    }
}

/// The triangles that share the edge or corner on which a nearest point lies, without those that are left out.
fn sharing<'a>(body: &'a Body, home: &'a Nearest) -> impl Iterator<Item = &'a u32> {
    let topology = &body.topology;
    let only = std::slice::from_ref(&home.triangle);
    let all = match home.feature {
        Feature::Face => only,
        Feature::Edge(side) => match topology.triangle_edges()[home.triangle as usize][usize::from(side)] {
            NONE => only,
            edge => topology.edge_triangles(edge),
        },
        Feature::Vertex(corner) => {
            topology.vertex_triangles(topology.triangles()[home.triangle as usize][usize::from(corner)])
        }
    };
    all.iter().filter(|&&number| topology.counts(number as usize))
}
