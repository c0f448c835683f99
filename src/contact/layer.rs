//! A garment as built on a body: what lies over what before anything moves.
//!
//! The reference is the garment's bind mesh as the file has it, with the body brought to the garment's bind joints:
//! what the maker saw (DESIGN 2). Homes, covered skin, edges and ease as built are found here, once.

mod cover; // samples, homes, what covers what
mod open; // how much of the skin could be seen as built
mod sheets; // flipped pieces, linings, folds

pub use cover::vertex_or_face_normal;
pub use open::SeenAsBuilt;

use super::beside::SkinBeside;
use super::body::{Body, has_fault};
use super::cloth::Cloth;
use super::edges::Edges;
use super::patches::Patches;
use super::samples::Samples;
use super::{HOME_REACH, LINING, tangle};
use crate::geometry::box_tree::{ALL, BoxTree, Nearest};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::stretch::RestFrame;
use crate::geometry::topology::Topology;
use crate::geometry::vector::dot;
use crate::geometry::{corners, signed, triangle, weld};
use crate::rig::part::{HOMELESS, PartMask};
use crate::rig::sized;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use crate::skin::{self, Pairing};
use rayon::prelude::*;
use sheets::{add_folds, centre_and_normal, linings, turn_flipped};
use std::sync::Arc;

/// Stands for "no triangle".
pub const NOBODY: u32 = u32::MAX;
/// Sheets of one thick cloth lie closer than this, metres at the scale of 1.
const SHEETS: f32 = 0.005;

/// A garment dressed on a body.
#[derive(Clone, Debug)]
pub struct Layer {
    /// At its own bind; triangles of a flipped piece are turned.
    pub surface: Surface,
    /// With roles.
    pub skeleton: Skeleton,
    /// The same joints in the size that is worn, where that is not the one of the file.
    sized: Option<Skeleton>,
    /// Which body joint each of its joints follows.
    pub pairing: Pairing,
    /// Over welded vertices.
    pub topology: Topology,
    /// Hems, waist, folds of thick cloth.
    pub edges: Edges,
    /// Tag of each triangle: its home part's bit, [`HOMELESS`], [`LINING`], or 0 for one that is left out.
    pub tags: Vec<u32>,
    /// The skin triangle beneath each fabric triangle's centre; [`NOBODY`] without a home.
    pub homes: Vec<u32>,
    /// Triangles that faced inward in the file.
    pub flipped: usize,
    /// Area of a part that faced inward while the rest faced outward, square metres; 0 where all faced one way.
    pub flipped_part: f64,
    /// The body at the garment's bind, metres.
    pub body_as_built: Vec<[f32; 3]>,
    /// Each fabric triangle at its bind.
    pub rest: Vec<RestFrame>,
    /// The skin beneath each fabric triangle as built.
    pub skin_beside: SkinBeside,
    /// Area of each fabric triangle as built, square metres; 0 for linings and triangles left out.
    pub areas: Vec<f64>,
    /// See [`Layer::median_ease`].
    median_ease: Option<f64>,
    /// Pairs of triangles that cross as built, sorted.
    pub tangled_as_built: Vec<(u32, u32)>,
    /// By canonical vertex: the piece of the garment it belongs to.
    pub pieces: Vec<u32>,
    /// By triangle: ease as built, metres; NaN without a home.
    pub triangle_ease: Vec<f32>,
    /// How much of the skin could be seen as built.
    pub seen_as_built: Arc<SeenAsBuilt>,
    /// The garment by itself.
    pub cloth: Cloth,
    /// The fabric's samples.
    pub fabric: FabricSamples,
    /// The covered skin's samples.
    pub skin: SkinSamples,
    /// The covered skin in patches.
    pub(super) patches: Patches,
    /// Area of all skin, square metres, as built.
    pub skin_area: f64,
}

/// Fabric samples with what was true of them as built.
#[derive(Clone, Debug, Default)]
pub struct FabricSamples {
    /// Where they are.
    pub points: Samples,
    /// Parts of the skin each may be compared with; 0 without a home.
    pub mask: Vec<PartMask>,
    /// The skin triangle beneath; [`NOBODY`] without a home.
    pub home: Vec<u32>,
    /// Signed distance to the skin as built, metres, positive outside; NaN without a home.
    pub ease: Vec<f32>,
    /// Distance to the nearest edge as built, metres.
    pub to_edge: Vec<f32>,
    /// True without a home where the nearest skin, however far, is the rim of an open skin.
    pub over_hole: Vec<bool>,
    /// Parts far from its own; 0 without a home.
    pub far: Vec<PartMask>,
    /// True where it lies inside a far part's skin as built.
    pub in_far_skin: Vec<bool>,
}

/// Covered skin samples with what was true of them as built.
#[derive(Clone, Debug, Default)]
pub struct SkinSamples {
    /// Where they are.
    pub points: Samples,
    /// Fabric each may be compared with.
    pub mask: Vec<PartMask>,
    /// The fabric triangle that covers it.
    pub cover: Vec<u32>,
    /// Distance of the covering point from the garment's nearest edge as built, metres.
    pub to_edge: Vec<f32>,
    /// How far the covering point is as built, metres.
    pub to_cover: Vec<f32>,
    /// True for skin that the wearer hides: it cannot show, but cloth that opens over it is a hole.
    pub hidden: Vec<bool>,
    /// The loop of the edge nearest to the covering point; [`NOBODY`] for a garment without edges.
    pub edge_loop: Vec<u32>,
}

/// The skin as built with its tree and normals.
struct Built<'a> {
    body: &'a Body,
    positions: Vec<[f32; 3]>,
    tree: BoxTree,
    scale: f32,
}

impl<'a> Built<'a> {
    fn new(body: &'a Body, positions: Vec<[f32; 3]>) -> Self {
        let tree = BoxTree::build_tagged(&positions, &body.surface.triangles, &body.tags);
        Self {
            body,
            positions,
            tree,
            scale: body.scale(),
        }
    }

    /// The home of a point: nearest skin within reach that is not a rim.
    fn home(&self, point: [f32; 3]) -> Option<Nearest> {
        self.tree
            .closest(point, HOME_REACH * self.scale, ALL, None)
            .filter(|found| !self.body.on_rim(found.triangle, found.feature))
    }

    /// Whether the skin nearest to a point, however far, is the rim of a hole.
    fn over_hole(&self, point: [f32; 3]) -> bool {
        self.tree
            .closest(point, f32::INFINITY, ALL, None)
            .is_some_and(|found| self.body.on_rim(found.triangle, found.feature))
    }

    fn normals(&self) -> PseudoNormals<'_> {
        PseudoNormals::new(&self.body.topology, &self.positions)
    }

    fn clearance(&self, point: [f32; 3], nearest: &Nearest) -> f32 {
        signed::clearance(point, nearest, &self.normals())
    }

    /// Whether a fabric normal points against the nearest skin's, however far that is.
    fn faces_skin(&self, point: [f32; 3], normal: [f32; 3]) -> bool {
        self.tree
            .closest(point, f32::INFINITY, ALL, None)
            .is_some_and(|found| dot(self.normals().face(found.triangle), normal) < 0.0)
    }
}

impl Layer {
    /// Its joints in the size that is worn.
    pub fn worn_skeleton(&self) -> &Skeleton {
        self.sized.as_ref().unwrap_or(&self.skeleton)
    }

    /// Dresses a body. `bind` are the garment's joints at its own bind.
    pub fn new(body: &Body, mut surface: Surface, skeleton: Skeleton) -> Self {
        let pairing = Pairing::new(&skeleton, &body.skeleton);
        let built = Built::new(body, body_as_built(body, &skeleton, &pairing));
        let canonical = weld::weld(&surface.positions, weld::TOLERANCE);
        let topology = Topology::new(&surface.triangles, &canonical);
        let turned = turn_flipped(&built, &mut surface, &topology);
        // Turned triangles run the other way round their edges.
        let topology = if turned.triangles > 0 {
            Topology::new(&surface.triangles, &canonical)
        } else {
            topology
        };
        let valid: Vec<bool> = surface
            .triangles
            .iter()
            .map(|corners| !has_fault(&surface, corners))
            .collect();
        let topology = topology.leaving_out(|triangle| !valid[triangle]);
        let mut lining = linings(&built, &surface, &valid);
        add_folds(&mut lining, &topology, &surface, built.scale);
        let edges = Edges::new(&topology, &surface.positions, &lining);
        let counts: Vec<bool> = valid
            .iter()
            .zip(&lining)
            .map(|(valid, lining)| *valid && !lining)
            .collect();
        let areas: Vec<f64> = surface
            .triangles
            .iter()
            .zip(&counts)
            .map(|(t, counts)| {
                if *counts {
                    triangle::area(corners(&surface.positions, *t))
                } else {
                    0.0
                }
            })
            .collect();
        let nearest = triangle_homes(&built, &surface, &counts);
        let homes: Vec<u32> = nearest
            .iter()
            .map(|home| home.map_or(NOBODY, |home| home.triangle))
            .collect();
        let tags = tags(body, &homes, &valid, &lining);
        let fabric = FabricSamples::new(&built, &surface, &edges, &counts);
        let tree = BoxTree::build_tagged(&surface.positions, &surface.triangles, &tags);
        let (skin, skin_area) = SkinSamples::new(&built, &edges, &tags, &tree);
        let tangled_as_built = tangle::as_built(&tree, topology.triangles(), &tags);
        let frame = |positions: &[[f32; 3]], t: [u32; 3]| RestFrame::new(corners(positions, t));
        let rest = surface
            .triangles
            .iter()
            .map(|t| frame(&surface.positions, *t))
            .collect();
        let skin_beside = SkinBeside::new(body, &built.positions, &nearest);
        let cloth = Cloth::new(&surface, &skeleton, &topology, &areas);
        let median_ease = fabric.median_ease();
        let patches = Patches::new((body, &built.tree), &skin, (&topology, &edges, &tags));
        let seen_as_built = Arc::new(SeenAsBuilt::new(
            &built,
            tree,
            skin.points.len(),
            &skeleton,
            &pairing,
        ));
        let sized = body
            .sized
            .as_ref()
            .map(|size| sized::resized(&skeleton, &sized::nodes(&skeleton, &size.joints)));
        Self {
            sized,
            tangled_as_built,
            median_ease,
            pieces: tangle::pieces(&topology),
            triangle_ease: fabric.ease_of_triangles(surface.triangles.len()),
            seen_as_built,
            cloth,
            surface,
            skeleton,
            pairing,
            topology,
            edges,
            tags,
            homes,
            flipped: turned.triangles,
            flipped_part: turned.area.min(turned.rest),
            body_as_built: built.positions,
            rest,
            skin_beside,
            areas,
            fabric,
            skin,
            patches,
            skin_area,
        }
    }

    /// Fabric area as built without linings and faulty triangles, square metres.
    pub fn area(&self) -> f64 {
        self.areas.iter().sum()
    }

    /// Area of the fabric that lies over skin, square metres.
    pub fn area_over_skin(&self) -> f64 {
        self.fabric
            .points
            .area
            .iter()
            .zip(&self.fabric.home)
            .filter(|(_, home)| **home != NOBODY)
            .map(|(a, _)| a)
            // The sum of nothing is -0.
            .sum::<f64>()
            + 0.0
    }

    /// Area of the fabric whose nearest skin is the rim of a hole, square metres: nothing is known of what lay there.
    pub fn area_over_hole(&self) -> f64 {
        let points = self.fabric.points.area.iter().zip(&self.fabric.over_hole);
        points
            .filter(|(_, hole)| **hole)
            .map(|(area, _)| area)
            .sum::<f64>()
            + 0.0
    }

    /// Area of the covered skin, square metres.
    pub fn covered_area(&self) -> f64 {
        self.skin.points.area.iter().sum()
    }

    /// Median ease as built by area, metres; `None` where no fabric lies over skin.
    pub fn median_ease(&self) -> Option<f64> {
        self.median_ease
    }
}

/// The body's vertices when its joints stand where the garment's were at the garment's bind.
fn body_as_built(body: &Body, garment: &Skeleton, pairing: &Pairing) -> Vec<[f32; 3]> {
    let world = open::joints_as_built(body, garment, pairing);
    let mut positions = Vec::new();
    skin::blend(
        &body.surface,
        &skin::palette(&body.surface, &world),
        &mut positions,
    );
    positions
}

fn triangle_homes(built: &Built, surface: &Surface, counts: &[bool]) -> Vec<Option<Nearest>> {
    (0..surface.triangles.len())
        .into_par_iter()
        .map(|triangle| {
            counts[triangle]
                .then(|| built.home(centre_and_normal(surface, triangle).0))
                .flatten()
        })
        .collect()
}

fn tags(body: &Body, homes: &[u32], valid: &[bool], lining: &[bool]) -> Vec<u32> {
    homes
        .iter()
        .zip(valid.iter().zip(lining))
        .map(|(&home, (&valid, &lining))| match (valid, lining) {
            (false, _) => 0,
            (true, true) => LINING,
            (true, false) if home == NOBODY => HOMELESS,
            (true, false) => body.parts[home as usize].bit(),
        })
        .collect()
}
