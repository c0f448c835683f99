//! The skin grown by the room of the cloth, as a garment of its own: bound at a splay, carried through poses.

use super::POSES;
use super::apart::{Legs, moved, point, side_of};
use crate::contact::moment::pelvis_axes;
use crate::contact::seen::Sight;
use crate::contact::{Body, Samples, VISIBLE};
use crate::geometry::box_tree::BoxTree;
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::signed;
use crate::pose::{self, PoseFrame, stand};
use crate::rig::part::Part;
use crate::skin;
use nalgebra::{Matrix4, Vector3};
use rayon::prelude::*;

/// No sample stands for more than this, square metres.
const COARSEST: f64 = 0.5e-4;
/// Cloth that keeps less than this share of its room is counted.
const KEPT: f64 = 0.5;

/// What is looked at: samples of the skin that trousers lie over, and the poses.
#[derive(Debug)]
pub(super) struct Cloth {
    points: Samples,
    ease: f64,
    poses: Vec<Pose>,
}

/// A pose with the skin in it.
#[derive(Debug)]
struct Pose {
    name: String,
    world: Vec<Matrix4<f64>>,
    tree: BoxTree,
    /// The skin's vertices.
    skin: Vec<[f32; 3]>,
    /// By sample: whether the skin there can be seen. Room that is lost in a closed crease is nobody's loss.
    seen: Vec<bool>,
}

impl Cloth {
    /// Over pelvis, thighs and shanks of a body, through [`POSES`].
    pub(super) fn new(body: &Body, ease: f64) -> Self {
        let surface = &body.surface;
        let worn = |triangle: usize| {
            let part = body.parts[triangle];
            let on_leg = side_of(part).is_some() && !matches!(part, Part::Foot(_));
            body.tags[triangle] != 0 && (on_leg || part == Part::Pelvis)
        };
        let all = Samples::new(&surface.positions, &surface.triangles, COARSEST, worn);
        let keep: Vec<bool> = all.area.iter().map(|area| *area > 0.0).collect();
        let mut cloth = Self {
            points: all.only(&keep).0,
            ease,
            poses: Vec::new(),
        };
        cloth.leave_out_the_tight(body);
        let poses = POSES
            .par_iter()
            .filter_map(|name| posed(body, name, &cloth.points));
        cloth.poses = poses.collect();
        cloth
    }

    /// Skin that as bound lies too close to other skin of its own part or a neighbour to have room at all (folds, the
    /// sheets of a body that is modelled in clothes) has none to lose.
    fn leave_out_the_tight(&mut self, body: &Body) {
        let bound = stand::at_bind(&body.skeleton);
        let grown = self.grow(body, &bound);
        let positions = &body.surface.positions;
        let tree = BoxTree::build_tagged(positions, &body.surface.triangles, &body.tags);
        let normals = PseudoNormals::new(&body.topology, positions);
        let roomy: Vec<bool> = (0..self.points.len())
            .map(|sample| self.kept(body, &tree, &normals, &grown, sample) >= KEPT * self.ease)
            .collect();
        self.points = self.points.only(&roomy).0;
    }

    /// Bound at a splay: by pose the area as bound of what keeps less than half its room, and what of the legs' cloth
    /// runs through the other's when standing; square metres.
    pub(super) fn carried(&self, body: &Body, legs: &Legs, splay_deg: f64) -> (Vec<(String, f64)>, f64) {
        let built = super::at(body, splay_deg);
        let grown = self.grow(body, &built);
        let mut lost = Vec::new();
        let mut through = 0.0;
        let mut cloth = grown.clone();
        for (number, pose) in self.poses.iter().enumerate() {
            carry(body, &grown, &built, &pose.world, &mut cloth);
            lost.push((pose.name.clone(), self.lost(body, pose, &cloth)));
            if number == 0 {
                // Cloth is nobody's skin: two cloths run through each other where each is in the other.
                through = legs.overlap_of(body, &cloth, &cloth, 0.0, 0.0);
            }
        }
        (lost, through)
    }

    /// The skin at a splay, moved out.
    fn grow(&self, body: &Body, built: &[Matrix4<f64>]) -> Vec<[f32; 3]> {
        let mut skin_then = Vec::new();
        skin::blend(
            &body.surface,
            &skin::palette(&body.surface, built),
            &mut skin_then,
        );
        let normals = PseudoNormals::new(&body.topology, &skin_then);
        let canonical = body.topology.canonical();
        skin_then
            .iter()
            .zip(canonical)
            .map(|(at, &vertex)| {
                let out = Vector3::from(normals.vertex(vertex).map(f64::from))
                    .try_normalize(1e-12)
                    .unwrap_or_default();
                moved(*at, out, self.ease)
            })
            .collect()
    }

    fn lost(&self, body: &Body, pose: &Pose, cloth: &[[f32; 3]]) -> f64 {
        let normals = PseudoNormals::new(&body.topology, &pose.skin);
        (0..self.points.len())
            .filter(|&sample| {
                pose.seen[sample]
                    && self.kept(body, &pose.tree, &normals, cloth, sample) < KEPT * self.ease
            })
            .map(|sample| self.points.area[sample])
            .sum::<f64>()
            // The sum of nothing is -0.
            + 0.0
    }

    /// The room that cloth keeps to the skin of its own part and the neighbours, metres; infinite where it is far.
    fn kept(
        &self,
        body: &Body,
        tree: &BoxTree,
        normals: &PseudoNormals,
        cloth: &[[f32; 3]],
        sample: usize,
    ) -> f64 {
        let triangle = self.points.triangle[sample];
        let at = point(body, cloth, triangle, self.points.barycentric[sample]);
        let near = body.parts[triangle as usize].near();
        #[expect(clippy::cast_possible_truncation, reason = "a search radius")]
        let found = tree.closest(at, (self.ease * 10.0) as f32, near, Some(triangle));
        found.map_or(f64::INFINITY, |found| {
            f64::from(signed::clearance(at, &found, normals))
        })
    }
}

fn posed(body: &Body, name: &str, points: &Samples) -> Option<Pose> {
    let found = pose::find(name).ok()?;
    let frame: &PoseFrame = found.frames.first()?;
    let world = stand::take(&body.skeleton, &body.anatomy, frame);
    let mut skin_now = Vec::new();
    skin::blend(
        &body.surface,
        &skin::palette(&body.surface, &world),
        &mut skin_now,
    );
    let tree = BoxTree::build_tagged(&skin_now, &body.surface.triangles, &body.tags);
    let normals = PseudoNormals::new(&body.topology, &skin_now);
    let (front, up) = pelvis_axes(body, &world);
    let seen = {
        let trees = [(&tree, VISIBLE)];
        let sight = || Sight::new(&trees, front, up, body.scale());
        let is_seen = |sight: &mut Sight, sample: usize| {
            let triangle = points.triangle[sample];
            let at = point(body, &skin_now, triangle, points.barycentric[sample]);
            sight.is_seen(at, normals.face(triangle))
        };
        (0..points.len())
            .into_par_iter()
            .map_init(sight, is_seen)
            .collect()
    };
    Some(Pose {
        name: name.to_owned(),
        tree,
        skin: skin_now,
        seen,
        world,
    })
}

/// Cloth bound where the joints stood at `built`, with the skin's own weights, where they stand now.
fn carry(
    body: &Body,
    grown: &[[f32; 3]],
    built: &[Matrix4<f64>],
    now: &[Matrix4<f64>],
    out: &mut [[f32; 3]],
) {
    let relative: Vec<Matrix4<f64>> = body
        .surface
        .binds
        .iter()
        .map(|bind| now[bind.node] * built[bind.node].try_inverse().unwrap_or_else(Matrix4::identity))
        .collect();
    let rows = &body.surface.rows;
    for (vertex, at) in grown.iter().enumerate() {
        let at = Vector3::from(at.map(f64::from));
        let mut sum = Vector3::zeros();
        for (bind, weight) in rows.row(vertex) {
            let matrix = &relative[bind];
            let moved = matrix.fixed_view::<3, 3>(0, 0) * at + matrix.fixed_view::<3, 1>(0, 3);
            sum += moved * f64::from(weight);
        }
        out[vertex] = moved([0.0; 3], sum, 1.0);
    }
}
