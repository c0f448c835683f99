//! Do the legs, each grown by the room of its cloth, run into each other?

use crate::contact::{Body, Samples, samples};
use crate::geometry::box_tree::BoxTree;
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::signed;
use crate::rig::anatomy::index;
use crate::rig::bone::Side;
use crate::rig::part::{Part, PartMask};
use crate::skin;
use nalgebra::{Matrix4, Vector3};
use std::cell::RefCell;

/// Only what is lower than this share of the leg below the crotch point counts: above, the legs are one.
const BELOW_CROTCH: f64 = 0.05;
/// No sample stands for more than this, square metres.
const COARSEST: f64 = 0.25e-4;
/// Weight of the own leg over the other's from which skin is that leg's and not the trunk's.
const OWN: f64 = 0.2;

/// The skin of both legs, and where the crotch is.
#[derive(Clone, Debug)]
pub struct Legs {
    points: Samples,
    /// By point: the side it is on.
    sides: Vec<Side>,
    /// The crotch: an edge over the median plane, and how far along it.
    crotch: Option<([u32; 2], f64)>,
    /// How far below the crotch counting begins, metres.
    below: f64,
}

/// The bits of one leg's parts.
pub(super) fn leg(side: Side) -> PartMask {
    Part::Thigh(side).bit() | Part::Shank(side).bit() | Part::Foot(side).bit()
}

pub(super) fn side_of(part: Part) -> Option<Side> {
    match part {
        Part::Thigh(side) | Part::Shank(side) | Part::Foot(side) => Some(side),
        _ => None,
    }
}

thread_local! {
    /// Room for posed positions, so that a splay allocates nothing of size.
    static ROOM: RefCell<Vec<[f32; 3]>> = const { RefCell::new(Vec::new()) };
}

impl Legs {
    /// Of a body.
    pub fn new(body: &Body) -> Self {
        let surface = &body.surface;
        let in_leg = |triangle: usize| body.tags[triangle] != 0 && side_of(body.parts[triangle]).is_some();
        let all = Samples::new(&surface.positions, &surface.triangles, COARSEST, in_leg);
        let keep: Vec<bool> = all.area.iter().map(|area| *area > 0.0).collect();
        let (points, _) = all.only(&keep);
        let sides = points
            .triangle
            .iter()
            .filter_map(|&triangle| side_of(body.parts[triangle as usize]))
            .collect();
        Self {
            points,
            sides,
            crotch: crotch(body),
            below: BELOW_CROTCH * leg_length(body),
        }
    }

    /// The crotch of a posed body, metres.
    pub fn crotch(&self, positions: &[[f32; 3]]) -> Option<Vector3<f64>> {
        let ([a, b], along) = self.crotch?;
        let point = |vertex: u32| Vector3::from(positions[vertex as usize].map(f64::from));
        Some(point(a).lerp(&point(b), along))
    }

    /// Area of the legs' skin, as bound, whose place grown by `ease` lies in the other leg grown as much: of one leg,
    /// the mean of both; square metres.
    pub fn overlap(&self, body: &Body, world: &[Matrix4<f64>], ease: f64) -> f64 {
        ROOM.with_borrow_mut(|positions| {
            skin::blend(&body.surface, &skin::palette(&body.surface, world), positions);
            self.overlap_of(body, positions, positions, ease, ease)
        })
    }

    /// The same for two surfaces of the body's topology: samples of `cloth` moved out by `more`, inside `skin` grown by
    /// `ease`.
    pub(super) fn overlap_of(
        &self,
        body: &Body,
        cloth: &[[f32; 3]],
        skin: &[[f32; 3]],
        more: f64,
        ease: f64,
    ) -> f64 {
        let Some(crotch) = self.crotch(skin) else {
            return 0.0;
        };
        let up = body.anatomy.pelvis * Vector3::y();
        let top = crotch.dot(&up) - self.below;
        let triangles = &body.surface.triangles;
        let tree = BoxTree::build_tagged(skin, triangles, &body.tags);
        let normals = PseudoNormals::new(&body.topology, skin);
        let own = PseudoNormals::new(&body.topology, cloth);
        let mut area = 0.0;
        for point in 0..self.points.len() {
            let triangle = self.points.triangle[point];
            let at = self.points.position(point, cloth, triangles);
            if Vector3::from(at.map(f64::from)).dot(&up) > top {
                continue;
            }
            let out = smooth(body, &own, triangle, self.points.barycentric[point]);
            let grown = moved(at, out, more);
            #[expect(clippy::cast_possible_truncation, reason = "a search radius")]
            let within = (3.0 * ease + 0.1) as f32;
            let other = leg(self.sides[point].mirror());
            let inside = tree
                .closest(grown, within, other, None)
                .is_some_and(|found| f64::from(signed::clearance(grown, &found, &normals)) < ease);
            if inside {
                area += self.points.area[point];
            }
        }
        // Of one leg: what one loses is what the other loses.
        area / 2.0
    }
}

/// The normal of a point of a triangle, between its corners' own.
pub(super) fn smooth(
    body: &Body,
    normals: &PseudoNormals,
    triangle: u32,
    barycentric: [f32; 3],
) -> Vector3<f64> {
    let canonical = body.topology.canonical();
    let corners = body.surface.triangles[triangle as usize];
    let mut sum = Vector3::zeros();
    for (vertex, share) in corners.into_iter().zip(barycentric) {
        let normal = Vector3::from(normals.vertex(canonical[vertex as usize]).map(f64::from));
        sum += normal.try_normalize(1e-12).unwrap_or_default() * f64::from(share);
    }
    sum.try_normalize(1e-12).unwrap_or_default()
}

#[expect(clippy::cast_possible_truncation, reason = "positions are kept in f32")]
pub(super) fn moved(at: [f32; 3], out: Vector3<f64>, by: f64) -> [f32; 3] {
    std::array::from_fn(|axis| (f64::from(at[axis]) + out[axis] * by) as f32)
}

/// Hip to ankle over the knee, the mean of both, as far as the rig says; metres.
fn leg_length(body: &Body) -> f64 {
    use crate::rig::bone::Bone;
    let at = |bone| body.skeleton.position(bone);
    let shank = |side| Some((at(Bone::LowerLeg(side))? - at(Bone::Foot(side))?).norm());
    let lengths: Vec<f64> = Side::BOTH.iter().filter_map(|&side| shank(side)).collect();
    #[expect(clippy::cast_precision_loss, reason = "two")]
    let shank = lengths.iter().sum::<f64>() / lengths.len().max(1) as f64;
    body.anatomy.thigh_length
        + if lengths.is_empty() {
            body.anatomy.thigh_length
        } else {
            shank
        }
}

/// The lowest skin of the median plane, as bound: an edge from the left to the right. An edge of one leg that has gone
/// past the plane (thighs that overlap) is none.
fn crotch(body: &Body) -> Option<([u32; 2], f64)> {
    let surface = &body.surface;
    let across = body.anatomy.pelvis * Vector3::x();
    let up = body.anatomy.pelvis * Vector3::y();
    let middle = body.anatomy.mid_hip;
    let at = |vertex: u32| Vector3::from(surface.positions[vertex as usize].map(f64::from)) - middle;
    let leaning = leanings(body);
    let mut lowest: Option<(f64, [u32; 2], f64)> = None;
    for (triangle, corners) in surface.triangles.iter().enumerate() {
        // The legs' own feet and shanks cross no plane that matters.
        if !matches!(body.parts[triangle], Part::Pelvis | Part::Thigh(_)) || body.tags[triangle] == 0 {
            continue;
        }
        for side in 0..3 {
            let ends = [corners[side], corners[(side + 1) % 3]];
            let [a, b] = ends.map(|vertex| at(vertex).dot(&across));
            let lean = ends.map(|vertex| leaning[vertex as usize]);
            let one_leg = lean.iter().all(|lean| *lean > OWN) || lean.iter().all(|lean| *lean < -OWN);
            if one_leg || (a > 0.0) == (b > 0.0) {
                continue;
            }
            let along = a / (a - b);
            let height = at(ends[0]).lerp(&at(ends[1]), along).dot(&up);
            if lowest.is_none_or(|(least, ..)| height < least) {
                lowest = Some((height, ends, along));
            }
        }
    }
    lowest.map(|(_, ends, along)| (ends, along))
}

/// By vertex: weight of the left leg less weight of the right.
fn leanings(body: &Body) -> Vec<f64> {
    let parts = crate::contact::body::bind_parts(&body.surface, &body.skeleton);
    let rows = &body.surface.rows;
    (0..rows.len())
        .map(|vertex| {
            rows.row(vertex)
                .map(|(bind, weight)| match side_of(parts[bind]) {
                    Some(side) => [1.0, -1.0][index(side)] * f64::from(weight),
                    None => 0.0,
                })
                .sum()
        })
        .collect()
}

/// The point of a triangle with these weights.
pub(super) fn point(body: &Body, positions: &[[f32; 3]], triangle: u32, barycentric: [f32; 3]) -> [f32; 3] {
    samples::blend(barycentric, body.surface.triangles[triangle as usize], positions)
}
