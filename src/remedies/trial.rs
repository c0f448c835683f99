//! How much of a spot is left with an edit, and what happens elsewhere?

use super::spot::{Patch, limit_of, triangle_at};
use crate::contact::{Beneath, Layer, Moment, Scratch};
use crate::fitting::{Dressed, Plan, joints_at, limits_on};
use crate::measure::{self, Taken};
use crate::outcome::{Demand, Fitting, Verdict};
use crate::verdict::judge::cannot_be_helped;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// Most that is allowed, by number and demand.
type Most = BTreeMap<String, BTreeMap<Demand, f64>>;

/// Frames of a spot that an edit is measured in.
const SPOT_FRAMES: usize = 2;

/// What is left of a spot.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Weight {
    /// What ranks edits: failing area, times how far over the limit where that is what is judged.
    pub(super) burden: f64,
    /// Failing area, square metres, in the worst frame.
    pub(super) area: f64,
    /// Worst value, edge unit.
    pub(super) worst: f64,
}

/// All judged numbers over some frames.
#[derive(Clone, Debug, Default)]
pub(super) struct Everything {
    /// Each number over its limit, added up.
    pub(super) total: f64,
    /// Numbers over their limits: `sitting: lift.area_cm2`.
    pub(super) over: BTreeSet<String>,
    /// Those of them that fail the fitting, and do not only warn.
    pub(super) failing: BTreeSet<String>,
    /// Whether anything was judged at all.
    pub(super) measured: bool,
}

/// What edits are measured with.
pub(super) struct Trial<'a> {
    pub(super) dressed: &'a Dressed,
    pub(super) plan: &'a Plan,
    pub(super) fitting: &'a Fitting,
    tick: &'a (dyn Fn() + Sync),
}

impl<'a> Trial<'a> {
    pub(super) fn new(
        dressed: &'a Dressed,
        plan: &'a Plan,
        fitting: &'a Fitting,
        tick: &'a (dyn Fn() + Sync),
    ) -> Self {
        Self {
            dressed,
            plan,
            fitting,
            tick,
        }
    }

    /// One more frame was measured.
    pub(super) fn tick(&self) {
        (self.tick)();
    }

    /// How much of a spot a garment shows, in the spot's worst frames.
    pub(super) fn weigh(&self, layer: &Layer, patch: &Patch) -> Weight {
        let Some(failing) = patch.measure.failing.as_ref() else {
            return Weight::default();
        };
        let (layers, beneath) = self.worn(layer, patch.measure.id == "layer_shows");
        let frames = &patch.frames[..patch.frames.len().min(SPOT_FRAMES)];
        let weights: Vec<Weight> = frames
            .par_iter()
            .map(|&(sequence, frame)| {
                let limit = limit_of(self.fitting, patch.measure, self.plan.sequences[sequence].demand);
                let mut weight = Weight::default();
                self.moment(&layers, &beneath, (sequence, frame), |moment| {
                    for fault in (failing.find)(moment, limit) {
                        let here = triangle_at(moment, fault.at)
                            .is_some_and(|t| patch.triangles.binary_search(&t).is_ok());
                        if here {
                            let over = if failing.by_area {
                                1.0
                            } else {
                                fault.value / limit.max(1e-9)
                            };
                            weight.burden += fault.area * over;
                            weight.area += fault.area;
                            weight.worst = weight.worst.max(fault.value);
                        }
                    }
                });
                weight
            })
            .collect();
        let mut sum = weights.first().copied().unwrap_or_default();
        sum.burden = weights.iter().map(|weight| weight.burden).sum();
        sum
    }

    /// All judged numbers over some frames.
    pub(super) fn everything(&self, layer: &Layer, frames: &[(usize, usize)]) -> Everything {
        let (layers, beneath) = self.worn(layer, true);
        // Where nothing could be measured as it is, nothing was asked for either.
        let limits = match self.fitting.verdict {
            Verdict::CouldNotRun => limits_on(self.dressed, layer, self.plan).most,
            _ => self.fitting.limits.clone(),
        };
        let found: Vec<Everything> = frames
            .par_iter()
            .map(|&frame| {
                let mut found = Everything::default();
                self.moment(&layers, &beneath, frame, |moment| {
                    self.judge(moment, frame.0, &limits, &mut found);
                });
                found
            })
            .collect();
        found.into_iter().fold(Everything::default(), |mut all, one| {
            all.total += one.total;
            all.over.extend(one.over);
            all.failing.extend(one.failing);
            all.measured |= one.measured;
            all
        })
    }

    fn judge(&self, moment: &Moment, sequence: usize, limits: &Most, found: &mut Everything) {
        let sequence = &self.plan.sequences[sequence];
        let promises = &self.plan.promises;
        let must_hold =
            sequence.demand != Demand::Hard || promises.strict || promises.promised.contains(&sequence.name);
        for measure in measure::taken(!self.dressed.beneath.is_empty()) {
            let taken = (measure.take)(moment);
            for (number, value) in measure.numbers.iter().zip(&taken.values) {
                let path = measure.path(number);
                let limit = limits.get(&path).and_then(|most| most.get(&sequence.demand));
                let (Some(limit), Some(value)) = (limit, value) else {
                    continue;
                };
                let value = number.unit.to_edge(*value);
                found.measured = true;
                found.total += (value / limit.max(1e-9)).max(0.0);
                if value > *limit {
                    let name = format!("{}: {path}", sequence.name);
                    if must_hold && !out_of_hand(&taken, number.path) {
                        found.failing.insert(name.clone());
                    }
                    found.over.insert(name);
                }
            }
        }
    }

    /// The layers with another garment on top, and what lies beneath that.
    fn worn(&self, layer: &Layer, with_beneath: bool) -> (Vec<Layer>, Vec<Beneath>) {
        let mut layers = vec![layer.clone()];
        layers.extend(self.dressed.layers[1..].iter().cloned());
        let inner = if with_beneath { &layers[1..] } else { &[] };
        let beneath = inner
            .iter()
            .map(|inner| Beneath::new(&self.dressed.body, inner, &layers[0]))
            .collect();
        (layers, beneath)
    }

    fn moment(
        &self,
        layers: &[Layer],
        beneath: &[Beneath],
        (sequence, frame): (usize, usize),
        look: impl FnOnce(&Moment),
    ) {
        let world = joints_at(self.dressed, &self.plan.sequences[sequence].frames[frame]);
        let mut scratch = Scratch::new(&self.dressed.body, layers);
        scratch.pose(&self.dressed.body, layers, &world);
        scratch.meet(&self.dressed.body, &layers[0]);
        scratch.meet_beneath(beneath);
        look(&scratch.moment(&self.dressed.body, &layers[0], beneath));
        (self.tick)();
    }
}

/// Whether no edit of the garment could help: the measure's own class says so.
fn out_of_hand(taken: &Taken, path: &str) -> bool {
    let group = path.rsplit_once('.').map_or("", |(group, _)| group);
    let class = taken.words.iter().find(|(at, _)| *at == format!("{group}.class"));
    class.is_some_and(|(_, class)| cannot_be_helped(class))
}

/// The frame of each pose that uses most of a limit; the first where none was measured.
pub(super) fn one_frame_of_each_pose(plan: &Plan, fitting: &Fitting) -> Vec<(usize, usize)> {
    if fitting.poses.is_empty() {
        let frames = plan
            .sequences
            .iter()
            .enumerate()
            .filter(|(_, s)| !s.frames.is_empty());
        return frames.map(|(at, _)| (at, 0)).collect();
    }
    let used = |pose: &crate::outcome::PoseResult, frame: usize| {
        let numbers = &pose.frames[frame].measures;
        let shares = fitting
            .limits
            .iter()
            .filter_map(|(path, most)| Some(numbers.get(path)? / most.get(&pose.demand)?));
        shares.fold(0.0, f64::max)
    };
    let poses = fitting
        .poses
        .iter()
        .enumerate()
        .filter(|(_, pose)| !pose.frames.is_empty());
    poses
        .map(|(at, pose)| {
            let frame = (0..pose.frames.len())
                .rev()
                .max_by(|a, b| used(pose, *a).total_cmp(&used(pose, *b)));
            (at, frame.unwrap_or(0))
        })
        .collect()
}
