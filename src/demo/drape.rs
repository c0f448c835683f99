//! Along which surface is a garment cut? The body's surface, eased outward and smoothed where cloth spans hollows.

use super::limb::{profile, smooth_max, smooth_min};
use super::shape::{HALF_GAP, Shape};
use nalgebra::Vector3;

type Point = Vector3<f64>;

/// Room between skin and cloth along the leg: metres at the waist, hip, knee and hem.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LegEase {
    pub(super) trunk: f64,
    pub(super) thigh: f64,
    pub(super) knee: f64,
    pub(super) hem: f64,
}

/// The surface of trousers round the left half of a posed body.
pub(super) struct Trousers<'a> {
    pub(super) body: &'a Shape,
    pub(super) ease: LegEase,
    /// Length of the thigh, to place the knee.
    pub(super) knee: f64,
    /// Along the leg, where the hem lies.
    pub(super) hem: f64,
    /// Height of the crotch.
    pub(super) fork: f64,
}

/// Room under the crotch, metres, at most.
const CLOSE: f64 = 0.0025;

impl Trousers<'_> {
    /// Signed distance to the cloth, positive outside; meant for points with x at least 0.
    pub(super) fn distance(&self, point: &Point) -> f64 {
        let p = Vector3::new(point.x.abs(), point.y, point.z);
        let leg = self.body.bound_leg_limb(&p);
        let along = self.body.along_leg(&p);
        let ease = profile(
            &[
                (-0.1, self.ease.thigh),
                (0.25 * self.knee, self.ease.thigh),
                (self.knee, self.ease.knee),
                (self.hem, self.ease.hem),
            ],
            along,
        );
        let leg = smooth_max(leg - ease, 0.4 * HALF_GAP - p.x, 0.012);
        // A high crotch: cloth that hangs between the thighs would stand off as soon as they part.
        let room = profile(
            &[
                (self.fork, self.ease.trunk.min(CLOSE)),
                (self.fork + 0.05, self.ease.trunk),
            ],
            p.y,
        );
        let trunk = self.body.girdle(&p) - room;
        smooth_min(trunk, leg, self.body.hip_blend)
    }

    /// The same without the clearance between the legs: what a skirt lies on.
    pub(super) fn girdle_and_thigh(&self, point: &Point) -> f64 {
        let p = Vector3::new(point.x.abs(), point.y, point.z);
        let trunk = self.body.girdle(&p) - self.ease.trunk;
        smooth_min(trunk, self.body.bound_leg_limb(&p) - self.ease.thigh, 0.06)
    }
}
