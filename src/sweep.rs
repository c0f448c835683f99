//! Up to which angle does a garment hold? One joint motion through its range, or two against each other.
//!
//! Even steps first. Then every gap between two steps in which a number first passes its limit, or a place first fails,
//! is halved until it is at most [`FINEST_DEG`] wide: the onset is known to that.

mod grid; // two motions against each other
mod onset; // halving the gaps
mod size; // between as built and a size

pub use grid::{Cell, Grid, grid};
pub use size::towards;

use crate::fitting::{self, Dressed, Frame, Regions};
use crate::measure::{self, FabricClass};
use crate::outcome::{Demand, FrameResult, Place};
use crate::pose::sweep::{self, Sweep};
use crate::pose::{OnSide, PoseFrame};
use crate::verdict::Limits;
use serde::Serialize;
use std::collections::BTreeMap;

/// Onsets are known to this many degrees.
pub const FINEST_DEG: f64 = 0.25;

/// What to run a garment through.
#[derive(Clone, Debug)]
pub struct Asked {
    /// The motion and its two ends.
    pub sweep: Sweep,
    /// Which sides move.
    pub sides: OnSide,
    /// Even steps from end to end, at least 1.
    pub steps: usize,
    /// How much the cloth gives.
    pub fabric: FabricClass,
}

/// What was found. The shape of `gusset range --format json`.
#[derive(Clone, Debug, Serialize)]
pub struct Range {
    /// 1.
    pub schema_version: u32,
    /// The body's name.
    pub body: String,
    /// The garment's name.
    pub garment: String,
    /// `hip.flexion`.
    pub motion: String,
    /// `left`, `right` or `both`.
    pub side: String,
    /// Where it begins and ends.
    pub from_deg: f64,
    /// See `from_deg`.
    pub to_deg: f64,
    /// The last angle, from the beginning on, up to which nothing fails that an edit of this garment could help; absent
    /// where it fails from the beginning.
    pub clean_to_deg: Option<f64>,
    /// Numbers that pass their limit anywhere, in the order in which they do.
    pub onsets: Vec<Onset>,
    /// Places that fail by themselves, in the order in which they do.
    pub places: Vec<Appears>,
    /// Every angle that was looked at, from the beginning to the end: even steps and those of the search.
    pub steps: Vec<Step>,
}

/// Where a number first passes its limit.
#[derive(Clone, Debug, Serialize)]
pub struct Onset {
    /// Limit key of the number.
    pub number: String,
    /// The first angle found over the limit; at most 0.25 degrees before it, it is within.
    pub at_deg: f64,
    /// The value there.
    pub value: Option<f64>,
    /// The limit there, which goes by what the angle demands.
    pub limit: f64,
    /// The worst place there, in a tailor's words; may be empty.
    pub region: String,
    /// The two skins leave no room for the cloth, or the body itself overlaps: no edit of this garment can help.
    pub no_help: bool,
    /// Stretches of angles over the limit, to the step.
    pub over_deg: Vec<[f64; 2]>,
}

/// Where a place first fails.
#[derive(Clone, Debug, Serialize)]
pub struct Appears {
    /// In a tailor's words.
    pub region: String,
    /// The measure it fails.
    pub measure: String,
    /// The first angle at which it fails.
    pub at_deg: f64,
}

/// One angle.
#[derive(Clone, Debug, Serialize)]
pub struct Step {
    /// Of the motion.
    pub angle_deg: f64,
    /// What it asks of a garment (DESIGN 5).
    pub demand: Demand,
    /// Whether it is one of the even steps.
    pub even: bool,
    /// Every number.
    #[serde(flatten)]
    pub result: FrameResult,
    /// Places that fail: measure and region, with how many times over what it takes to fail alone.
    #[serde(skip)]
    pub failing: BTreeMap<(&'static str, String), f64>,
}

/// Runs a garment through a range.
pub fn range(dressed: &Dressed, asked: &Asked, tick: &(dyn Fn() + Sync)) -> Range {
    let limits = fitting::limits_of(dressed, asked.fabric);
    let regions = Regions::new(dressed);
    let look = |angles: &[f64], even: bool| {
        let poses: Vec<PoseFrame> = angles.iter().map(|angle| pose_at(asked, *angle)).collect();
        let frames: Vec<Frame> = poses.iter().cloned().map(Frame::Angles).collect();
        fitting::each(dressed, &frames, &|number, result, moment| {
            tick();
            let demand = sweep::demand(&poses[number]);
            Step {
                angle_deg: angles[number],
                demand,
                even,
                failing: onset::failing(dressed, &limits, demand, &regions, moment, &result),
                result,
            }
        })
    };
    let Sweep { from_deg, to_deg, .. } = asked.sweep;
    let mut steps = look(&even_angles(from_deg, to_deg, asked.steps), true);
    while let Some(gaps) = onset::gaps(&steps, &limits) {
        steps.extend(look(&gaps, false));
        steps.sort_by(|a, b| a.angle_deg.total_cmp(&b.angle_deg));
        if to_deg < from_deg {
            steps.reverse();
        }
    }
    let onsets = onset::onsets(&steps, &limits);
    Range {
        schema_version: 1,
        body: dressed.body.surface.name.clone(),
        garment: dressed.layers[0].surface.name.clone(),
        motion: asked.sweep.what.to_string(),
        side: side_word(asked.sides).to_owned(),
        from_deg,
        to_deg,
        clean_to_deg: clean_to(&steps, &onsets, to_deg),
        places: onset::places(&steps),
        onsets,
        steps,
    }
}

/// The last angle before the first onset that an edit could help.
fn clean_to(steps: &[Step], onsets: &[Onset], to_deg: f64) -> Option<f64> {
    let first = onsets.iter().find(|onset| !onset.no_help);
    let Some(first) = first else { return Some(to_deg) };
    let at = steps.iter().position(|step| step.angle_deg == first.at_deg)?;
    Some(steps[at.checked_sub(1)?].angle_deg)
}

fn pose_at(asked: &Asked, angle_deg: f64) -> PoseFrame {
    sweep::at(&[(asked.sweep.what, angle_deg.to_radians())], asked.sides)
}

/// `steps` even gaps from end to end, both ends kept.
#[expect(clippy::cast_precision_loss, reason = "step counts are far below 2^52")]
pub(crate) fn even_angles(from_deg: f64, to_deg: f64, steps: usize) -> Vec<f64> {
    let steps = steps.max(1);
    (0..=steps)
        .map(|step| {
            if step == steps {
                to_deg
            } else {
                from_deg + (to_deg - from_deg) * (step as f64 / steps as f64)
            }
        })
        .collect()
}

/// `left`, `right` or `both`.
pub fn side_word(sides: OnSide) -> &'static str {
    match sides {
        OnSide::Left => "left",
        OnSide::Right => "right",
        OnSide::Both => "both",
    }
}

impl Step {
    /// A number's value and limit here; `None` where it is not judged.
    pub fn against(&self, limits: &Limits, path: &str) -> Option<(Option<f64>, f64)> {
        Some((self.result.measures.get(path), limits.get(path, self.demand)?))
    }

    /// The worst place of a number.
    pub fn place(&self, path: &str) -> Option<&Place> {
        self.result.place_of(path)
    }
}

/// The numbers that are judged at any of the steps, those that pass their limit first.
pub fn judged(range: &Range, limits: &Limits) -> Vec<String> {
    let onset = |path: &str| range.onsets.iter().position(|onset| onset.number == path);
    let mut paths: Vec<String> = limits
        .most
        .keys()
        .filter(|path| {
            range
                .steps
                .iter()
                .any(|step| step.against(limits, path).is_some())
        })
        .filter(|path| measure::find(path).is_some())
        .cloned()
        .collect();
    paths.sort_by_key(|path| (onset(path).unwrap_or(usize::MAX), path.clone()));
    paths
}
