//! In which hip splay is it best to build trousers for this body? For a body alone, before anything is modelled.
//!
//! Two curves over the splay of the build pose (DESIGN 8). *Legs apart*: how much the legs, each grown by the room of the
//! cloth, overlap: a lower bound. *Grown skin*: the skin grown by the room, with its own weights, bound at the splay and
//! carried through standing, wide and seated poses: where it keeps less than half its room, and where leg runs through leg.

mod advice; // curves -> band, reason, price
mod apart; // leg against leg
mod grown; // the skin as its own cloth

pub use advice::{Advice, Band};
pub use apart::Legs;

use crate::contact::Body;
use crate::pose::sweep;
use crate::pose::{Joint, JointMotion, Motion, OnSide, PoseFrame, stand};
use crate::rig::bone::Side;
use nalgebra::Matrix4;
use rayon::prelude::*;
use serde::Serialize;

/// The splays that are tried, degrees.
pub const FROM_DEG: f64 = 0.0;
/// See [`FROM_DEG`].
pub const TO_DEG: f64 = 20.0;
/// Common practice among makers, degrees.
pub const PRACTICE_DEG: [f64; 2] = [8.0, 10.0];
/// Legs that overlap by no more than this are apart, square metres at the scale of 1.
pub const APART: f64 = 1e-4;

/// What to look at.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// Room between skin and cloth with the cloth's thickness, metres.
    pub ease: f64,
    /// Degrees between two splays.
    pub step_deg: f64,
}

impl Default for Asked {
    fn default() -> Self {
        Self {
            ease: 0.007,
            step_deg: 1.0,
        }
    }
}

/// What was found. The shape of `gusset splay --format json`.
#[derive(Clone, Debug, Serialize)]
pub struct Splay {
    /// 1.
    pub schema_version: u32,
    /// The body's name.
    pub body: String,
    /// Room between skin and cloth.
    pub ease_mm: f64,
    /// The body's own bind: the mean of left and right.
    pub bind_deg: f64,
    /// One row a splay.
    pub rows: Vec<Row>,
    /// The least splay with the legs apart; absent where they never are.
    pub apart_from_deg: Option<f64>,
    /// What to build at.
    pub advice: Advice,
}

/// One splay of the build pose.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// Of both hips.
    pub splay_deg: f64,
    /// Grown leg inside grown leg: of one leg, the mean of both.
    pub overlap_cm2: f64,
    /// Grown skin that keeps less than half its room, by pose.
    pub lost_cm2: Vec<(String, f64)>,
    /// Leg's cloth through leg's cloth when standing.
    pub through_cm2: f64,
    /// All of it: the mean over the poses, and what runs through.
    pub price_cm2: f64,
}

/// Poses that grown skin is carried through: legs together, wide, seated.
pub const POSES: [&str; 5] = [
    "standing",
    "wide_stance",
    "side_split",
    "sitting",
    "sitting_knees_apart",
];

/// World matrices of a body that stands with both hips at a splay, all else as bound.
pub fn at(body: &Body, splay_deg: f64) -> Vec<Matrix4<f64>> {
    stand::take(&body.skeleton, &body.anatomy, &pose_at(splay_deg))
}

fn pose_at(splay_deg: f64) -> PoseFrame {
    let abduction = JointMotion {
        joint: Joint::Hip,
        motion: Motion::Abduction,
    };
    sweep::at(&[(abduction, splay_deg.to_radians())], OnSide::Both)
}

/// Both curves and the advice.
pub fn splay(body: &Body, asked: &Asked, tick: &(dyn Fn() + Sync)) -> Splay {
    let legs = Legs::new(body);
    let cloth = grown::Cloth::new(body, asked.ease);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a few dozen"
    )]
    let count = ((TO_DEG - FROM_DEG) / asked.step_deg).round() as usize;
    let splays = crate::sweep::even_angles(FROM_DEG, TO_DEG, count);
    let rows: Vec<Row> = splays
        .into_par_iter()
        .map(|splay_deg| {
            let overlap = legs.overlap(body, &at(body, splay_deg), asked.ease);
            let (lost, through) = cloth.carried(body, &legs, splay_deg);
            tick();
            #[expect(clippy::cast_precision_loss, reason = "five")]
            let mean = lost.iter().map(|(_, area)| area).sum::<f64>() / lost.len().max(1) as f64;
            Row {
                splay_deg,
                overlap_cm2: overlap * 1e4,
                lost_cm2: lost.into_iter().map(|(pose, area)| (pose, area * 1e4)).collect(),
                through_cm2: through * 1e4,
                price_cm2: (mean + through) * 1e4,
            }
        })
        .collect();
    let bind_deg = Side::BOTH
        .map(|side| body.anatomy.hip_splay(side).to_degrees())
        .iter()
        .sum::<f64>()
        / 2.0;
    let apart_from_deg = advice::falls_to(&rows, APART * 1e4 * body.anatomy.scale().powi(2));
    Splay {
        schema_version: 1,
        body: body.surface.name.clone(),
        ease_mm: asked.ease * 1e3,
        bind_deg,
        apart_from_deg,
        advice: advice::advice(&rows, body.anatomy.scale()),
        rows,
    }
}
