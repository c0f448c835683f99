//! The sheets of a garment as built: which pieces face inward, which are the lining of thick cloth, where it folds.

use super::{Built, SHEETS};
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::topology::{NONE, Topology};
use crate::geometry::vector::dot;
use crate::geometry::{corners, triangle, vector};
use crate::rig::surface::Surface;
use rayon::prelude::*;

/// Centre and unit normal of a triangle.
pub(super) fn centre_and_normal(surface: &Surface, triangle: usize) -> ([f32; 3], [f32; 3]) {
    let corners = corners(&surface.positions, surface.triangles[triangle]);
    (
        vector::narrow(triangle::centre(corners)),
        vector::narrow(triangle::normal(corners)),
    )
}

/// What was turned, and what was not.
pub(super) struct Turned {
    /// How many triangles were turned.
    pub(super) triangles: usize,
    /// Outermost area that faced inward and was turned, square metres.
    pub(super) area: f64,
    /// Outermost area that faced outward and was left, square metres.
    pub(super) rest: f64,
}

/// Turns every piece most of whose outermost area faces the skin. A panel that runs against its neighbours is a piece.
pub(super) fn turn_flipped(built: &Built, surface: &mut Surface, topology: &Topology) -> Turned {
    let tree = BoxTree::build(&surface.positions, &surface.triangles);
    let votes: Vec<(f64, f64)> = (0..surface.triangles.len())
        .into_par_iter()
        .map(|triangle| outermost_vote(built, surface, &tree, triangle))
        .collect();
    let pieces = facing_pieces(topology);
    let mut sums = vec![(0.0, 0.0); pieces.len()];
    for (piece, vote) in pieces.iter().zip(&votes) {
        sums[*piece].0 += vote.0;
        sums[*piece].1 += vote.1;
    }
    let mut turned = Turned {
        triangles: 0,
        area: 0.0,
        rest: 0.0,
    };
    for (triangle, piece) in surface.triangles.iter_mut().zip(&pieces) {
        let (inward, outward) = sums[*piece];
        if inward > outward {
            triangle.swap(1, 2);
            turned.triangles += 1;
        }
    }
    for (inward, outward) in sums {
        if inward > outward {
            turned.area += inward;
        } else {
            turned.rest += outward;
        }
    }
    turned
}

/// For each triangle the lowest triangle of its piece: neighbours over an edge that face the same way hang together.
fn facing_pieces(topology: &Topology) -> Vec<usize> {
    let triangles = topology.triangles();
    let runs = |triangle: u32, [a, b]: [u32; 2]| {
        let corners = triangles[triangle as usize];
        (0..3).any(|side| corners[side] == a && corners[(side + 1) % 3] == b)
    };
    let mut piece: Vec<usize> = vec![usize::MAX; triangles.len()];
    for first in 0..triangles.len() {
        if piece[first] != usize::MAX {
            continue;
        }
        piece[first] = first;
        let mut waiting = vec![first];
        while let Some(triangle) = waiting.pop() {
            for edge in topology.triangle_edges()[triangle] {
                if edge == NONE {
                    continue;
                }
                let ends = topology.edges()[edge as usize];
                let [a, b] = topology.edge_triangles(edge) else {
                    continue;
                };
                let other = if *a as usize == triangle { *b } else { *a };
                if runs(*a, ends) != runs(*b, ends) && piece[other as usize] == usize::MAX {
                    piece[other as usize] = first;
                    waiting.push(other as usize);
                }
            }
        }
    }
    piece
}

/// Area of an outermost triangle: (facing the skin, facing away). Zero twice where another sheet lies outside it.
fn outermost_vote(built: &Built, surface: &Surface, tree: &BoxTree, triangle: usize) -> (f64, f64) {
    let (centre, normal) = centre_and_normal(surface, triangle);
    let Some(home) = built.home(centre) else {
        return (0.0, 0.0);
    };
    let inward = dot(built.normals().face(home.triangle), normal) < 0.0;
    let away = if inward {
        normal.map(|value| -value)
    } else {
        normal
    };
    let own = u32::try_from(triangle).ok();
    if tree.ray_any(centre, away, SHEETS * built.scale, ALL, own) {
        return (0.0, 0.0);
    }
    let area = triangle::area(corners(&surface.positions, surface.triangles[triangle]));
    if inward { (area, 0.0) } else { (0.0, area) }
}

/// Inner sheets of thick cloth: they face the skin and have an opposed sheet close behind them.
pub(super) fn linings(built: &Built, surface: &Surface, valid: &[bool]) -> Vec<bool> {
    let tags: Vec<u32> = valid.iter().map(|valid| u32::from(*valid)).collect();
    let tree = BoxTree::build_tagged(&surface.positions, &surface.triangles, &tags);
    (0..surface.triangles.len())
        .into_par_iter()
        .map(|triangle| {
            let (centre, normal) = centre_and_normal(surface, triangle);
            if !valid[triangle] || !built.faces_skin(centre, normal) {
                return false;
            }
            let mut hits = Vec::new();
            tree.ray_all(
                centre,
                normal.map(|value| -value),
                SHEETS * built.scale,
                ALL,
                &mut hits,
            );
            hits.iter().any(|hit| {
                hit.triangle as usize != triangle
                    && dot(centre_and_normal(surface, hit.triangle as usize).1, normal) < 0.0
            })
        })
        .collect()
}

/// The narrow strip that joins the two sheets at a hem is part of neither: like the lining it hides what is behind it,
/// and the garment's edge is where the outer sheet ends. Strips whose corners all lie within a cloth's thickness of
/// the lining's border are taken, two triangles deep.
pub(super) fn add_folds(lining: &mut [bool], topology: &Topology, surface: &Surface, scale: f32) {
    let border: Vec<[[f32; 3]; 2]> = (0u32..)
        .zip(topology.edges())
        .filter(|(edge, _)| {
            let inner = |&triangle: &u32| lining[triangle as usize];
            let sides = topology.edge_triangles(*edge);
            sides.iter().any(inner) && !sides.iter().all(inner)
        })
        .map(|(_, ends)| ends.map(|end| surface.positions[end as usize]))
        .collect();
    if border.is_empty() {
        return;
    }
    let narrow = |triangle: usize| {
        surface.triangles[triangle].iter().all(|&corner| {
            let at = surface.positions[corner as usize];
            crate::contact::edges::distance_to(&border, at) <= SHEETS * scale
        })
    };
    for _ in 0..2 {
        let next: Vec<usize> = (0..lining.len())
            .filter(|&triangle| !lining[triangle])
            .filter(|&triangle| {
                let edges = topology.triangle_edges()[triangle];
                edges.iter().filter(|edge| **edge != NONE).any(|&edge| {
                    topology
                        .edge_triangles(edge)
                        .iter()
                        .any(|&side| lining[side as usize])
                })
            })
            .filter(|&triangle| narrow(triangle))
            .collect();
        next.into_iter().for_each(|triangle| lining[triangle] = true);
    }
}
