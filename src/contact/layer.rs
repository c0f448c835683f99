//! A garment as built on a body: what lies over what before anything moves.
//!
//! The reference is the garment's bind mesh as the file has it, with the body brought to the garment's bind joints:
//! what the maker saw (DESIGN 2). Homes, covered skin, edges and ease as built are found here, once.

use super::body::{Body, has_fault};
use super::cloth::Cloth;
use super::edges::Edges;
use super::samples::Samples;
use super::{HOME_REACH, LINING};
use crate::geometry::box_tree::{ALL, BoxTree, Nearest};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::stretch::RestFrame;
use crate::geometry::topology::{NONE, Topology};
use crate::geometry::vector::dot;
use crate::geometry::{corners, signed, triangle, vector, weld};
use crate::rig::part::{HOMELESS, Part, PartMask};
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use crate::skin::{self, Pairing};
use rayon::prelude::*;

/// Stands for "no triangle".
pub const NOBODY: u32 = u32::MAX;
/// Sheets of one thick cloth lie closer than this, metres at the scale of 1.
const SHEETS: f32 = 0.005;
/// How far out along its normal a skin sample looks for the fabric that covers it, metres at the scale of 1.
const COVER_OUT: f32 = 0.400;
/// How far in: a panel already sunk as built still covers.
const COVER_IN: f32 = 0.020;
/// Skin is sampled no coarser than this, square metres at the scale of 1 (a limit of 1 cm2 needs several samples).
const SKIN_GRAIN: f64 = 0.25e-4;

/// A garment dressed on a body.
#[derive(Clone, Debug)]
pub struct Layer {
    /// At its own bind; triangles of a flipped piece are turned.
    pub surface: Surface,
    /// With roles.
    pub skeleton: Skeleton,
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
    /// The body at the garment's bind, metres.
    pub body_as_built: Vec<[f32; 3]>,
    /// Each fabric triangle at its bind.
    pub rest: Vec<RestFrame>,
    /// Each fabric triangle's home skin triangle as built.
    pub home_rest: Vec<Option<RestFrame>>,
    /// Area of each fabric triangle as built, square metres; 0 for linings and triangles left out.
    pub areas: Vec<f64>,
    /// The garment by itself.
    pub cloth: Cloth,
    /// The fabric's samples.
    pub fabric: FabricSamples,
    /// The covered skin's samples.
    pub skin: SkinSamples,
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
}

/// The skin as built with its tree and normals.
struct Built<'a> {
    body: &'a Body,
    positions: Vec<[f32; 3]>,
    tree: BoxTree,
    normals: PseudoNormals,
    scale: f32,
}

impl<'a> Built<'a> {
    fn new(body: &'a Body, positions: Vec<[f32; 3]>) -> Self {
        let tree = BoxTree::build_tagged(&positions, &body.surface.triangles, &body.tags);
        let normals = PseudoNormals::new(&body.topology, &positions);
        Self {
            body,
            positions,
            tree,
            normals,
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

    fn clearance(&self, point: [f32; 3], nearest: &Nearest) -> f32 {
        signed::clearance(point, nearest, &self.body.topology, &self.normals)
    }

    /// Whether a fabric normal points against the nearest skin's, however far that is.
    fn faces_skin(&self, point: [f32; 3], normal: [f32; 3]) -> bool {
        self.tree
            .closest(point, f32::INFINITY, ALL, None)
            .is_some_and(|found| dot(self.normals.face(found.triangle), normal) < 0.0)
    }
}

impl Layer {
    /// Dresses a body. `bind` are the garment's joints at its own bind.
    pub fn new(body: &Body, mut surface: Surface, skeleton: Skeleton) -> Self {
        let pairing = Pairing::new(&skeleton, &body.skeleton);
        let built = Built::new(body, body_as_built(body, &skeleton, &pairing));
        let canonical = weld::weld(&surface.positions, weld::TOLERANCE);
        let topology = Topology::new(&surface.triangles, &canonical);
        let flipped = turn_flipped(&built, &mut surface, &topology);
        // Turned triangles run the other way round their edges.
        let topology = if flipped > 0 {
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
        let homes = triangle_homes(&built, &surface, &counts);
        let tags = tags(body, &homes, &valid, &lining);
        let fabric = FabricSamples::new(&built, &surface, &edges, &counts);
        let (skin, skin_area) = SkinSamples::new(&built, &surface, &edges, &tags);
        let frame = |positions: &[[f32; 3]], t: [u32; 3]| RestFrame::new(corners(positions, t));
        let rest = surface
            .triangles
            .iter()
            .map(|t| frame(&surface.positions, *t))
            .collect();
        let home_rest = homes
            .iter()
            .map(|&home| {
                (home != NOBODY).then(|| frame(&built.positions, body.surface.triangles[home as usize]))
            })
            .collect();
        let cloth = Cloth::new(&surface, &skeleton, &topology, &areas);
        Self {
            cloth,
            surface,
            skeleton,
            pairing,
            topology,
            edges,
            tags,
            homes,
            flipped,
            body_as_built: built.positions,
            rest,
            home_rest,
            areas,
            fabric,
            skin,
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
        let pairs: Vec<(f64, f64)> = self
            .fabric
            .ease
            .iter()
            .zip(&self.fabric.points.area)
            .filter(|(ease, _)| ease.is_finite())
            .map(|(ease, area)| (f64::from(*ease), *area))
            .collect();
        crate::measure::statistics::weighted_quantile(&pairs, 0.5)
    }
}

/// The body's vertices when its joints stand where the garment's were at the garment's bind.
fn body_as_built(body: &Body, garment: &Skeleton, pairing: &Pairing) -> Vec<[f32; 3]> {
    let bind = crate::pose::stand::at_bind(garment);
    let world = skin::follow(
        &body.skeleton,
        &pairing.reversed(body.skeleton.joints.len()),
        &bind,
    );
    let mut positions = Vec::new();
    skin::blend(
        &body.surface,
        &skin::palette(&body.surface, &world),
        &mut positions,
    );
    positions
}

/// Centre and unit normal of a triangle.
fn centre_and_normal(surface: &Surface, triangle: usize) -> ([f32; 3], [f32; 3]) {
    let corners = corners(&surface.positions, surface.triangles[triangle]);
    (
        vector::narrow(triangle::centre(corners)),
        vector::narrow(triangle::normal(corners)),
    )
}

/// Turns every piece most of whose outermost area faces the skin, and says how many triangles that were.
fn turn_flipped(built: &Built, surface: &mut Surface, topology: &Topology) -> usize {
    let tree = BoxTree::build(&surface.positions, &surface.triangles);
    let votes: Vec<(f64, f64)> = (0..surface.triangles.len())
        .into_par_iter()
        .map(|triangle| outermost_vote(built, surface, &tree, triangle))
        .collect();
    let pieces = topology.components();
    let count = pieces.iter().max().map_or(0, |most| *most as usize + 1);
    let mut sums = vec![(0.0, 0.0); count];
    for (piece, vote) in pieces.iter().zip(&votes) {
        sums[*piece as usize].0 += vote.0;
        sums[*piece as usize].1 += vote.1;
    }
    let mut turned = 0;
    for (triangle, piece) in surface.triangles.iter_mut().zip(&pieces) {
        let (inward, outward) = sums[*piece as usize];
        if inward > outward {
            triangle.swap(1, 2);
            turned += 1;
        }
    }
    turned
}

/// Area of an outermost triangle: (facing the skin, facing away). Zero twice where another sheet lies outside it.
fn outermost_vote(built: &Built, surface: &Surface, tree: &BoxTree, triangle: usize) -> (f64, f64) {
    let (centre, normal) = centre_and_normal(surface, triangle);
    let Some(home) = built.home(centre) else {
        return (0.0, 0.0);
    };
    let inward = dot(built.normals.face(home.triangle), normal) < 0.0;
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
fn linings(built: &Built, surface: &Surface, valid: &[bool]) -> Vec<bool> {
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
fn add_folds(lining: &mut [bool], topology: &Topology, surface: &Surface, scale: f32) {
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
            super::edges::distance_to(&border, at) <= SHEETS * scale
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

fn triangle_homes(built: &Built, surface: &Surface, counts: &[bool]) -> Vec<u32> {
    (0..surface.triangles.len())
        .into_par_iter()
        .map(|triangle| {
            let found = counts[triangle]
                .then(|| built.home(centre_and_normal(surface, triangle).0))
                .flatten();
            found.map_or(NOBODY, |home| home.triangle)
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

impl FabricSamples {
    fn new(built: &Built, surface: &Surface, edges: &Edges, counts: &[bool]) -> Self {
        let points = Samples::new(&surface.positions, &surface.triangles, f64::INFINITY, |t| {
            counts[t]
        });
        let used: Vec<bool> = points.area.iter().map(|area| *area > 0.0).collect();
        let (points, _) = points.only(&used);
        let found: Vec<(u32, PartMask, f32, f32, bool)> = (0..points.len())
            .into_par_iter()
            .map(|point| {
                let at = points.position(point, &surface.positions, &surface.triangles);
                let to_edge = edges.distance(at);
                let Some(home) = built.home(at) else {
                    return (NOBODY, 0, f32::NAN, to_edge, built.over_hole(at));
                };
                let part: Part = built.body.parts[home.triangle as usize];
                let ease = built.clearance(at, &home);
                (home.triangle, part.near(), ease, to_edge, false)
            })
            .collect();
        Self {
            points,
            home: found.iter().map(|row| row.0).collect(),
            mask: found.iter().map(|row| row.1).collect(),
            ease: found.iter().map(|row| row.2).collect(),
            to_edge: found.iter().map(|row| row.3).collect(),
            over_hole: found.iter().map(|row| row.4).collect(),
        }
    }
}

impl SkinSamples {
    /// The covered samples, and the area of all skin.
    fn new(built: &Built, surface: &Surface, edges: &Edges, tags: &[u32]) -> (Self, f64) {
        let body = &built.body.surface;
        let grain = SKIN_GRAIN * f64::from(built.scale).powi(2);
        let all = Samples::new(&built.positions, &body.triangles, grain, |t| {
            built.body.tags[t] != 0
        });
        let fabric = BoxTree::build_tagged(&surface.positions, &surface.triangles, tags);
        let covers: Vec<Option<(u32, f32)>> = (0..all.len())
            .into_par_iter()
            .map(|point| {
                if all.area[point] <= 0.0 {
                    return None;
                }
                let at = all.position(point, &built.positions, &body.triangles);
                let own = all.triangle[point];
                let normal = vertex_or_face_normal(&all, point, body, &built.normals);
                let mask = built.body.parts[own as usize].near() | HOMELESS;
                let (cover, where_covered) = cover(built, &fabric, tags, at, normal, mask)?;
                Some((cover, edges.distance(where_covered)))
            })
            .collect();
        let area = all.area.iter().sum();
        let keep: Vec<bool> = covers.iter().map(Option::is_some).collect();
        let (points, _) = all.only(&keep);
        let mask = points
            .triangle
            .iter()
            .map(|&t| built.body.parts[t as usize].near() | HOMELESS)
            .collect();
        let kept = || covers.iter().flatten();
        let skin = Self {
            points,
            mask,
            cover: kept().map(|cover| cover.0).collect(),
            to_edge: kept().map(|cover| cover.1).collect(),
        };
        (skin, area)
    }
}

/// The outward normal at a sample: a vertex's own, else its triangle's.
pub fn vertex_or_face_normal(
    samples: &Samples,
    point: usize,
    surface: &Surface,
    normals: &PseudoNormals,
) -> [f32; 3] {
    let triangle = samples.triangle[point];
    if point < samples.vertices {
        let corner = samples.barycentric[point]
            .iter()
            .position(|weight| *weight > 0.5)
            .unwrap_or(0);
        return normals.vertex(surface.triangles[triangle as usize][corner]);
    }
    normals.face(triangle)
}

/// The fabric that covers a point of the skin, and where.
fn cover(
    built: &Built,
    fabric: &BoxTree,
    tags: &[u32],
    at: [f32; 3],
    normal: [f32; 3],
    mask: PartMask,
) -> Option<(u32, [f32; 3])> {
    let normal = vector::narrow(vector::unit(vector::wide(normal)));
    let start = 1e-4 * built.scale;
    let out: [f32; 3] = std::array::from_fn(|k| at[k] + normal[k] * start);
    let reach = built
        .tree
        .ray(out, normal, COVER_OUT * built.scale, ALL)
        .map_or(COVER_OUT * built.scale, |hit| hit.t);
    let along = |t: f32, sign: f32| std::array::from_fn(|k| at[k] + sign * t * normal[k]);
    let mut hits = Vec::new();
    fabric.ray_all(at, normal, reach + start, ALL, &mut hits);
    // Fabric that faces the same way is met from behind. A ray that first enters a garment from outside would come
    // out on its far side: where the skin between is cut away, that is no cover (an arm beside a trouser leg).
    let mut entered = false;
    for hit in &hits {
        let tag = tags[hit.triangle as usize];
        entered |= hit.front && tag & LINING == 0;
        if !hit.front && tag & mask != 0 && !(entered && tag == HOMELESS) {
            return Some((hit.triangle, along(hit.t, 1.0)));
        }
    }
    fabric.ray_all(
        at,
        normal.map(|value| -value),
        COVER_IN * built.scale,
        mask,
        &mut hits,
    );
    hits.iter()
        .find(|hit| hit.front)
        .map(|hit| (hit.triangle, along(hit.t, -1.0)))
}
