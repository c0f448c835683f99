//! Where on the leg does a fault lie?

use super::Planted;
use crate::rig::Rig;
use nalgebra::Vector3;

pub(super) type Point = Vector3<f64>;

/// Where a leg stands at rest, and the binds that move it.
pub(super) struct Leg {
    pub(super) hip: Point,
    pub(super) knee: Point,
    pub(super) ankle: Point,
    pub(super) hips: usize,
    pub(super) chest: usize,
    pub(super) thigh: usize,
    pub(super) shin: usize,
    pub(super) other_thigh: usize,
    /// +1 on the left, -1 on the right.
    pub(super) side: f64,
    lower: f64,
}

/// A round place: 1 in its middle, 0 at its rim.
pub(super) struct Ball {
    pub(super) middle: Point,
    pub(super) radius: f64,
}

impl Ball {
    pub(super) fn at(&self, point: &Point) -> f64 {
        let t = (1.0 - (point - self.middle).norm() / self.radius).clamp(0.0, 1.0);
        t * t * (3.0 - 2.0 * t)
    }
}

impl Leg {
    pub(super) fn find(rig: &Rig, planted: &Planted) -> Option<Self> {
        let (side, other) = if planted.on_the_right {
            ("right", "left")
        } else {
            ("left", "right")
        };
        let world = rig.rest_world();
        let node = |name: &str| rig.nodes.iter().position(|node| node.name == name);
        let place = |bone: &str| {
            let node = node(&format!("{side}{bone}"))?;
            Some(world[node].fixed_view::<3, 1>(0, 3).into_owned())
        };
        let bind = |name: &str| {
            let binds = &rig.meshes.first()?.binds;
            binds.iter().position(|bind| Some(bind.node) == node(name))
        };
        Some(Self {
            hip: place("UpperLeg")?,
            knee: place("LowerLeg")?,
            ankle: place("Foot")?,
            hips: bind("hips")?,
            chest: bind("chest").or_else(|| bind("spine"))?,
            thigh: bind(&format!("{side}UpperLeg"))?,
            shin: bind(&format!("{side}LowerLeg"))?,
            other_thigh: bind(&format!("{other}UpperLeg"))?,
            side: if planted.on_the_right { -1.0 } else { 1.0 },
            lower: planted.lower,
        })
    }

    pub(super) fn thigh_length(&self) -> f64 {
        (self.knee - self.hip).norm()
    }

    /// A place at a share of the thigh (1 is the knee), its radius in thigh lengths.
    pub(super) fn ball(&self, share: f64, radius: f64) -> Ball {
        Ball {
            middle: self.hip + (self.knee - self.hip) * (share + self.lower),
            radius: radius * self.thigh_length(),
        }
    }

    /// The same on the inside of the thigh.
    pub(super) fn inner_ball(&self, share: f64, radius: f64) -> Ball {
        let mut ball = self.ball(share, radius);
        ball.middle.x -= self.side * 0.16 * self.thigh_length();
        ball
    }

    /// How far a point lies on this leg's side of the middle.
    pub(super) fn outward(&self, point: &Point) -> f64 {
        self.side * point.x
    }
}

/// A front, back or seat place: the ball moved ahead by this many thigh lengths.
pub(super) fn ahead(mut ball: Ball, leg: &Leg, lengths: f64) -> Ball {
    ball.middle.z += lengths * leg.thigh_length();
    ball
}
