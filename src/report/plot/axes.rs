//! The two axes of a plot: values upright, frames or seconds below a single sequence.

use super::super::canvas::{self, Canvas, FAINT, Hang, INK};
use super::super::words;
use super::band::Band;
use super::{HIGH, LEFT, TEXT, TOP};
use crate::outcome::PoseResult;

/// Frames or seconds below a single sequence.
pub(super) struct Along {
    pub(super) title: String,
    /// Place and word.
    ticks: Vec<(f64, String)>,
}

impl Along {
    pub(super) fn new(pose: &PoseResult, band: &Band) -> Self {
        let times: Option<Vec<f64>> = pose.frames.iter().map(|frame| frame.time_s).collect();
        let timed = times.as_ref().is_some_and(|times| times.len() > 1);
        let values = match times {
            Some(times) if timed => times,
            _ => pose.frames.iter().map(|frame| frame.frame as f64).collect(),
        };
        let (first, last) = (
            values.first().copied().unwrap_or(0.0),
            values.last().copied().unwrap_or(0.0),
        );
        let step = nice((last - first) / 10.0).max(if timed { 1e-3 } else { 1.0 });
        let from = (first / step).ceil() as i64;
        let to = (last / step + 1e-6).floor() as i64;
        let ticks = (from..=to)
            .map(|tick| tick as f64 * step)
            .filter_map(|value| Some((band.x_at(&values, value)?, words::number(value))))
            .collect();
        let unit = if timed { "time in seconds" } else { "frame" };
        Self {
            title: format!("{}: {unit}", band.name),
            ticks,
        }
    }

    pub(super) fn paint(&self, sheet: &mut Canvas) {
        let floor = TOP + HIGH;
        for (x, word) in &self.ticks {
            sheet.line([*x, floor], [*x, floor + 4.0], FAINT, 1.0);
            let half = canvas::width(word, TEXT) / 2.0;
            sheet.word(word, [x - half, floor + 14.0], TEXT, INK, Hang::Start);
        }
        sheet.word(&self.title, [LEFT, floor + 36.0], TEXT, INK, Hang::Start);
    }
}

/// From where to where the upright axis runs.
pub(super) struct Axis {
    pub(super) low: f64,
    pub(super) high: f64,
    step: f64,
    /// Heights go by the square root, so that a limit far below the values stays off the floor.
    pub(super) bent: bool,
}

/// A limit lower than this share of a level axis would lie on its floor.
const LOW: f64 = 0.1;

impl Axis {
    /// Holds every value and limit; but where the largest are far above nearly all others and the limits, they are left
    /// to arrows at the top so that the rest stays readable.
    pub(super) fn new(bands: &[Band]) -> Self {
        let mut values: Vec<f64> = bands
            .iter()
            .flat_map(|b| b.values.iter().flatten().copied())
            .collect();
        values.sort_by(f64::total_cmp);
        let at = |share: f64| {
            values
                .get(((values.len().max(1) - 1) as f64 * share) as usize)
                .copied()
                .unwrap_or(0.0)
        };
        let limits: Vec<f64> = bands.iter().filter_map(|b| b.limit).collect();
        let limit = limits.iter().copied().fold(0.0, f64::max);
        let usual = limit.max(at(0.95)).max(at(0.90));
        let top = if at(1.0) > usual * 3.0 && usual > 0.0 {
            usual
        } else {
            usual.max(at(1.0))
        };
        let low = at(0.0).min(0.0);
        let top = if top > low { top } else { low + 1.0 };
        let step = nice((top - low) / 5.0);
        let high = (top * 1.04 / step).ceil() * step;
        let least = limits.iter().copied().fold(f64::INFINITY, f64::min);
        Self {
            low: (low / step).floor() * step,
            high,
            step,
            bent: low >= 0.0 && least > 0.0 && least < high * LOW,
        }
    }

    pub(super) fn ticks(&self) -> Vec<f64> {
        if self.bent {
            let fifth = |n: f64| self.high * (n / 5.0).powi(2);
            let between = (1..5).map(|n| nice(fifth(f64::from(n))));
            let mut ticks: Vec<f64> = std::iter::once(0.0).chain(between).collect();
            ticks.retain(|tick| *tick < self.high * 0.85);
            ticks.dedup();
            ticks.push(self.high);
            return ticks;
        }
        let count = ((self.high - self.low) / self.step).round() as i32;
        (0..=count)
            .map(|tick| self.low + f64::from(tick) * self.step)
            .collect()
    }

    pub(super) fn place(&self, value: f64) -> f64 {
        let share = (value.clamp(self.low, self.high) - self.low) / (self.high - self.low);
        TOP + HIGH * (1.0 - if self.bent { share.sqrt() } else { share })
    }
}

/// 1, 2 or 5 times a power of ten, at least `least`.
pub(in crate::report) fn nice(least: f64) -> f64 {
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|of| of * power)
        .find(|step| *step >= least * 0.999)
        .unwrap_or(power * 10.0)
}
