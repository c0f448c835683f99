//! What the measures of the cloth itself need to know of it, found once: print, seams, limb rings, folds, whose
//! joints carry each triangle.

pub mod fold; // edges that may crease
pub mod print; // how the texture lies on each triangle
pub mod ring; // sections of sleeves and legs
pub mod seam; // vertices that are one place
pub mod turn; // which way a triangle should face

use crate::geometry::corners;
use crate::geometry::topology::Topology;
use crate::geometry::vector::narrow;
use crate::geometry::{triangle, vector};
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use fold::Fold;
use print::Print;
use ring::Ring;
use seam::Seams;
use turn::Carriers;

/// A garment's cloth at its bind.
#[derive(Clone, Debug, Default)]
pub struct Cloth {
    /// By triangle: how its texture lies; empty for a garment without UVs, `None` for a triangle whose UVs have no
    /// area.
    pub prints: Vec<Option<Print>>,
    /// By triangle: the joints that carry it.
    pub carriers: Carriers,
    /// By triangle: unit normal at the bind.
    pub normals: Vec<[f32; 3]>,
    /// Vertices that are one place at the bind.
    pub seams: Seams,
    /// Sections of limbs.
    pub rings: Vec<Ring>,
    /// Edges that are not folded at the bind.
    pub folds: Vec<Fold>,
}

impl Cloth {
    /// `areas` are 0 for linings and for triangles that are left out; rings and folds do without these.
    pub fn new(surface: &Surface, skeleton: &Skeleton, topology: &Topology, areas: &[f64]) -> Self {
        let normals: Vec<[f32; 3]> = surface
            .triangles
            .iter()
            .map(|t| narrow(triangle::normal(corners(&surface.positions, *t))))
            .collect();
        let prints = surface.uvs.as_ref().map_or_else(Vec::new, |uvs| {
            surface
                .triangles
                .iter()
                .map(|t| Print::new(corners(&surface.positions, *t), t.map(|v| uvs[v as usize])))
                .collect()
        });
        Self {
            prints,
            carriers: Carriers::new(surface),
            seams: Seams::new(surface, topology),
            rings: ring::all(surface, skeleton, topology, areas),
            folds: fold::all(surface, topology, areas, &normals),
            normals,
        }
    }

    /// True for a garment that carries a texture somewhere.
    pub fn is_printed(&self) -> bool {
        self.prints.iter().any(Option::is_some)
    }
}

/// `a - b`, widened.
fn between(a: [f32; 3], b: [f32; 3]) -> [f64; 3] {
    vector::sub(vector::wide(a), vector::wide(b))
}
