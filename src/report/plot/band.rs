//! One pose's stretch of a plot: its values and where each frame lies.

use super::super::{words, worst};
use super::NAME;
use crate::outcome::PoseResult;

/// One pose's frames.
pub(super) struct Band {
    pub(super) name: String,
    pub(super) limit: Option<f64>,
    /// In the shown unit; absent where it could not be measured.
    pub(super) values: Vec<Option<f64>>,
    pub(super) left: f64,
    pub(super) wide: f64,
}

impl Band {
    pub(super) fn new(limits: &worst::Limits, pose: &PoseResult, path: &str, place: [f64; 2]) -> Self {
        let mut name = words::pose(&pose.pose);
        if name.chars().count() > NAME {
            name = name.chars().take(NAME - 1).chain(['\u{2026}']).collect();
        }
        let value = |v: f64| words::shown(path, v);
        Self {
            name,
            limit: worst::limit(limits, path, pose.demand).map(value),
            values: pose
                .frames
                .iter()
                .map(|f| f.measures.get(path).filter(|v| v.is_finite()).map(value))
                .collect(),
            left: place[0],
            wide: place[1],
        }
    }

    pub(super) fn x(&self, frame: usize) -> f64 {
        self.left + self.wide * (frame as f64 + 0.5) / self.values.len() as f64
    }

    /// Where a value between the frames' own values (rising) lies.
    pub(super) fn x_at(&self, values: &[f64], value: f64) -> Option<f64> {
        let after = values.iter().position(|v| *v >= value - 1e-9)?;
        let before = after.saturating_sub(1);
        let span = values[after] - values[before];
        let share = if span > 0.0 {
            (value - values[before]) / span
        } else {
            0.0
        };
        Some(self.x(before) + (self.x(after) - self.x(before)) * share)
    }

    /// Stretches of frames without a gap.
    pub(super) fn runs(&self) -> Vec<Vec<(f64, f64)>> {
        let mut runs = vec![Vec::new()];
        for (frame, value) in self.values.iter().enumerate() {
            match (value, runs.last_mut()) {
                (Some(value), Some(run)) => run.push((self.x(frame), *value)),
                _ => runs.push(Vec::new()),
            }
        }
        runs
    }
}
