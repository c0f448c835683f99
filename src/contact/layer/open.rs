//! How much of a place of the skin could be seen as built? Asked only of the few places that lose their cover.

use super::{Body, Built};
use crate::contact::VISIBLE;
use crate::contact::moment::pelvis_axes;
use crate::contact::seen::Sight;
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::rig::skeleton::Skeleton;
use crate::skin::{self, Pairing};
use nalgebra::Vector3;
use std::sync::OnceLock;

/// The dressed body as built, and what was asked of it so far. An answer is the same whoever asks first.
#[derive(Debug)]
pub struct SeenAsBuilt {
    body: BoxTree,
    fabric: BoxTree,
    front: Vector3<f32>,
    up: Vector3<f32>,
    /// By covered skin sample.
    known: Vec<OnceLock<f64>>,
}

impl SeenAsBuilt {
    pub(super) fn new(
        built: &Built,
        fabric: BoxTree,
        count: usize,
        garment: &Skeleton,
        pairing: &Pairing,
    ) -> Self {
        let (front, up) = pelvis_axes(built.body, &joints_as_built(built.body, garment, pairing));
        Self {
            body: built.tree.clone(),
            fabric,
            front,
            up,
            known: (0..count).map(|_| OnceLock::new()).collect(),
        }
    }

    /// Share of the directions from a covered skin sample that escaped body and garment as built.
    pub fn share(&self, body: &Body, layer: &super::Layer, point: usize) -> f64 {
        *self.known[point].get_or_init(|| {
            let trees = [(&self.body, VISIBLE), (&self.fabric, ALL)];
            let sight = Sight::new(&trees, self.front, self.up, body.scale());
            let samples = &layer.skin.points;
            let at = samples.position(point, &layer.body_as_built, &body.surface.triangles);
            let normals = PseudoNormals::new(&body.topology, &layer.body_as_built);
            let normal = super::vertex_or_face_normal(samples, point, &body.surface, &normals);
            sight.share(at, normal)
        })
    }
}

/// The body's joints where the garment's were at the garment's bind.
pub(super) fn joints_as_built(
    body: &Body,
    garment: &Skeleton,
    pairing: &Pairing,
) -> Vec<nalgebra::Matrix4<f64>> {
    let bind = crate::pose::stand::at_bind(garment);
    skin::follow(
        &body.skeleton,
        &pairing.reversed(body.skeleton.joints.len()),
        &bind,
    )
}
