//! The skin: which part each triangle belongs to, where it is open, and the rig below it.

use super::VISIBLE;
use crate::geometry::closest_point::Feature;
use crate::geometry::topology::{NONE, Topology};
use crate::geometry::weld;
use crate::rig::anatomy::Anatomy;
use crate::rig::part::Part;
use crate::rig::sized::Resized;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use std::sync::Arc;

/// A body ready to be dressed.
#[derive(Clone, Debug)]
pub struct Body {
    /// At its own bind.
    pub surface: Surface,
    /// With roles.
    pub skeleton: Skeleton,
    /// Frames at the bind.
    pub anatomy: Anatomy,
    /// Over welded vertices.
    pub topology: Topology,
    /// The part of each triangle.
    pub parts: Vec<Part>,
    /// The part's bit, with [`super::VISIBLE`] where the wearer does not hide it; 0 for a triangle that is left out (a
    /// faulty weight row at a corner).
    pub tags: Vec<u32>,
    /// Vertices on the rim of an open skin.
    rim: Vec<bool>,
    /// The size in which it is posed, where that is not the one of its file.
    pub sized: Option<Arc<Resized>>,
}

impl Body {
    /// Sorts a body's triangles into parts.
    pub fn new(surface: Surface, skeleton: Skeleton, anatomy: Anatomy) -> Self {
        let canonical = weld::weld(&surface.positions, weld::TOLERANCE);
        let topology = Topology::new(&surface.triangles, &canonical)
            .leaving_out(|triangle| has_fault(&surface, &surface.triangles[triangle]));
        let parts = triangle_parts(&surface, &skeleton);
        let tags = surface
            .triangles
            .iter()
            .zip(&parts)
            .enumerate()
            .map(|(number, (corners, part))| {
                if has_fault(&surface, corners) {
                    0
                } else if surface.hidden[number] {
                    part.bit()
                } else {
                    part.bit() | VISIBLE
                }
            })
            .collect();
        let rim = topology.border_vertices();
        Self {
            surface,
            skeleton,
            anatomy,
            topology,
            parts,
            tags,
            rim,
            sized: None,
        }
    }

    /// The joints that are posed, and their frames: of the size that is worn.
    pub fn worn(&self) -> (&Skeleton, &Anatomy) {
        self.sized
            .as_ref()
            .map_or((&self.skeleton, &self.anatomy), |sized| {
                (&sized.skeleton, &sized.anatomy)
            })
    }

    /// How many times as long as built the thighs are in the size that is worn: what only grows as a whole keeps its look.
    pub fn growth(&self) -> f64 {
        self.worn().1.thigh_length / self.anatomy.thigh_length.max(1e-9)
    }

    /// What every length is multiplied by (DESIGN 6).
    #[expect(clippy::cast_possible_truncation, reason = "a factor near 1")]
    pub fn scale(&self) -> f32 {
        self.anatomy.scale() as f32
    }

    /// True where a nearest point lies on the rim of an open skin: nothing is known of what is beyond.
    pub fn on_rim(&self, triangle: u32, feature: Feature) -> bool {
        match feature {
            Feature::Face => false,
            Feature::Edge(side) => {
                let edge = self.topology.triangle_edges()[triangle as usize][usize::from(side)];
                edge != NONE && self.topology.is_border(edge)
            }
            Feature::Vertex(corner) => {
                self.rim[self.surface.triangles[triangle as usize][usize::from(corner)] as usize]
            }
        }
    }
}

/// True where a corner's weight row is faulty.
pub fn has_fault(surface: &Surface, corners: &[u32; 3]) -> bool {
    corners.iter().any(|&vertex| surface.faulty[vertex as usize])
}

/// The part each joint of a surface moves; a joint above all roles moves the pelvis.
pub fn bind_parts(surface: &Surface, skeleton: &Skeleton) -> Vec<Part> {
    surface
        .binds
        .iter()
        .map(|bind| skeleton.moved_by(bind.node).map_or(Part::Pelvis, Part::of))
        .collect()
}

/// Each triangle's part: the one with most weight over its corners; of equals the first in [`Part::ALL`].
pub fn triangle_parts(surface: &Surface, skeleton: &Skeleton) -> Vec<Part> {
    let binds = bind_parts(surface, skeleton);
    surface
        .triangles
        .iter()
        .map(|corners| {
            let mut sums = [0.0f64; Part::ALL.len()];
            for &vertex in corners {
                for (bind, weight) in surface.rows.row(vertex as usize) {
                    sums[binds[bind].index()] += f64::from(weight);
                }
            }
            let most = sums.iter().fold(f64::MIN, |most, sum| most.max(*sum));
            let first = sums.iter().position(|sum| *sum >= most).unwrap_or(2);
            Part::ALL[first]
        })
        .collect()
}
