//! Which number of a pose stands worst against its limit.

use crate::outcome::{Demand, Fitting, Outcome, PoseResult};
use std::collections::BTreeMap;

/// One number of one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstNumber {
    /// Path of the number, which is also its limit's key.
    pub path: String,
    /// Frame of the pose.
    pub frame: usize,
    /// In the unit of the path.
    pub value: f64,
    /// In the unit of the path.
    pub limit: f64,
}

impl WorstNumber {
    /// Value over limit, 1 at the limit; of ratios that start at 1, what is above 1.
    pub fn times_limit(&self) -> f64 {
        let start = if super::words::unit(&self.path).is_empty() && self.limit > 1.0 {
            1.0
        } else {
            0.0
        };
        (self.value - start) / (self.limit - start).max(1e-9)
    }
}

/// Limit keys to values by demand.
pub type Limits = BTreeMap<String, BTreeMap<Demand, f64>>;

/// The limits a fitting was judged by; the defaults for a result that does not say.
pub fn limits<'a>(outcome: &'a Outcome, fitting: &'a Fitting) -> &'a Limits {
    if fitting.limits.is_empty() {
        &outcome.limits
    } else {
        &fitting.limits
    }
}

/// The thigh that the default limits are set for, millimetres.
pub const THIGH_OF_LIMITS_MM: f64 = 410.0;

/// The wearer's thigh in millimetres, read back from how the limits of lengths were scaled; `None` where no length
/// has a limit.
pub fn thigh_mm(outcome: &Outcome, fitting: &Fitting) -> Option<f64> {
    let lengths = fitting.limits.iter().filter(|(path, _)| path.ends_with("_mm"));
    let scales = lengths.flat_map(|(path, row)| {
        row.iter()
            .filter_map(move |(demand, value)| Some(value / limit(&outcome.limits, path, *demand)?))
    });
    scales
        .into_iter()
        .find(|scale| scale.is_finite() && *scale > 0.0)
        .map(|scale| scale * THIGH_OF_LIMITS_MM)
}

/// The limit of a number in a pose of this demand.
pub fn limit(limits: &Limits, path: &str, demand: Demand) -> Option<f64> {
    limits.get(path)?.get(&demand).copied()
}

/// The number that stands worst over all frames; `None` where nothing with a limit was measured.
pub fn of_pose(limits: &Limits, pose: &PoseResult) -> Option<WorstNumber> {
    let mut worst: Option<WorstNumber> = None;
    for path in limits.keys() {
        let Some(limit) = limit(limits, path, pose.demand) else {
            continue;
        };
        for frame in &pose.frames {
            let Some(value) = frame.measures.get(path) else {
                continue;
            };
            let here = WorstNumber {
                path: path.clone(),
                frame: frame.frame,
                value,
                limit,
            };
            if worst
                .as_ref()
                .is_none_or(|w| here.times_limit() > w.times_limit())
            {
                worst = Some(here);
            }
        }
    }
    worst
}
