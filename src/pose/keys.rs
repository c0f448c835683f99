//! How do a few key frames become all frames of a sequence?
//!
//! Every joint has its own track: the keys that name it. Between two keys its angles change evenly; before the first
//! and after the last it holds, or in a cycle joins up with the other end.

use super::{Angles, Motion, PoseFrame};
use crate::rig::bone::{Bone, Side};
use std::collections::{BTreeMap, BTreeSet};

/// Key frames as a file has them, checked: at least one, times strictly rising, and no joint that is bind in one
/// key and at an angle in another.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sequence {
    /// Time of each key (seconds, percent of the cycle, or just 0, 1, 2 ..) and its angles.
    pub(super) keys: Vec<(f64, BTreeMap<Bone, Angles>)>,
    pub(super) clock: Clock,
    /// Number of frames to make; `None` keeps the keys as they are.
    pub(super) steps: Option<usize>,
}

/// What the times of the keys mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Clock {
    /// Only an order.
    None,
    /// Seconds.
    Seconds,
    /// Percent of a cycle, 0 to 100, that lasts so many seconds and begins anew; where a shift (percent) is given
    /// the right side does what the left side did so much earlier.
    Cycle { seconds: f64, right_after: Option<f64> },
}

/// All frames of a sequence.
pub(super) fn frames(sequence: &Sequence) -> Vec<PoseFrame> {
    let period = match sequence.clock {
        Clock::Cycle { .. } => Some(100.0),
        _ => None,
    };
    let bones: BTreeSet<Bone> = sequence
        .keys
        .iter()
        .flat_map(|(_, angles)| angles.keys().copied())
        .collect();
    let tracks: Vec<Track> = bones
        .into_iter()
        .map(|bone| Track::new(bone, sequence, period))
        .collect();
    times(sequence)
        .into_iter()
        .map(|at| frame(&tracks, at, sequence.clock))
        .collect()
}

fn times(sequence: &Sequence) -> Vec<f64> {
    let (first, last) = (sequence.keys[0].0, sequence.keys[sequence.keys.len() - 1].0);
    match (sequence.steps, sequence.clock) {
        (None, _) => sequence.keys.iter().map(|(at, _)| *at).collect(),
        // The end of a cycle is its beginning: it is not made twice.
        (Some(steps), Clock::Cycle { .. }) => (0..steps).map(|step| 100.0 * ratio(step, steps)).collect(),
        (Some(1), _) => vec![first],
        (Some(steps), _) => (0..steps)
            .map(|step| first + (last - first) * ratio(step, steps - 1))
            .collect(),
    }
}

#[expect(clippy::cast_precision_loss, reason = "step counts are far below 2^52")]
fn ratio(step: usize, steps: usize) -> f64 {
    step as f64 / steps as f64
}

fn frame(tracks: &[Track], at: f64, clock: Clock) -> PoseFrame {
    let (time_s, right_after) = match clock {
        Clock::None => (None, None),
        Clock::Seconds => (Some(at), None),
        Clock::Cycle { seconds, right_after } => (Some(seconds * at / 100.0), right_after),
    };
    let mut angles: BTreeMap<Bone, Angles> = tracks.iter().map(|track| (track.bone, track.at(at))).collect();
    if let Some(after) = right_after {
        for track in tracks
            .iter()
            .filter(|track| track.bone.side() == Some(Side::Left))
        {
            angles.insert(track.bone.mirror(), track.at((at - after).rem_euclid(100.0)));
        }
    }
    PoseFrame { time_s, angles }
}

/// One joint's keys.
struct Track {
    bone: Bone,
    keys: Vec<(f64, Angles)>,
}

impl Track {
    fn new(bone: Bone, sequence: &Sequence, period: Option<f64>) -> Self {
        let mut keys: Vec<(f64, Angles)> = sequence
            .keys
            .iter()
            .filter_map(|(at, angles)| Some((*at, angles.get(&bone)?.clone())))
            .collect();
        if let (Some(period), Some(first), Some(last)) = (period, keys.first().cloned(), keys.last().cloned())
        {
            // The last key once more before the first, the first once more after the last.
            keys.insert(0, (last.0 - period, last.1));
            keys.push((first.0 + period, first.1));
        }
        Self { bone, keys }
    }

    fn at(&self, at: f64) -> Angles {
        let after = self.keys.partition_point(|(key, _)| *key <= at);
        match (
            after.checked_sub(1).map(|before| &self.keys[before]),
            self.keys.get(after),
        ) {
            (Some((from, a)), Some((to, b))) => blend(a, b, (at - from) / (to - from)),
            (Some((_, only)), None) | (None, Some((_, only))) => only.clone(),
            (None, None) => Angles::Bind,
        }
    }
}

fn blend(a: &Angles, b: &Angles, share: f64) -> Angles {
    let (Angles::Set(a), Angles::Set(b)) = (a, b) else {
        return a.clone();
    };
    let motions: BTreeSet<Motion> = a.keys().chain(b.keys()).copied().collect();
    let value = |set: &BTreeMap<Motion, f64>, motion| set.get(&motion).copied().unwrap_or(0.0);
    Angles::Set(
        motions
            .into_iter()
            .map(|motion| {
                (
                    motion,
                    value(a, motion) + (value(b, motion) - value(a, motion)) * share,
                )
            })
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(value: f64) -> Angles {
        Angles::Set(BTreeMap::from([(Motion::Flexion, value)]))
    }

    const HIP: Bone = Bone::UpperLeg(Side::Left);

    fn sequence(keys: &[(f64, f64)], clock: Clock, steps: Option<usize>) -> Sequence {
        let keys = keys
            .iter()
            .map(|&(at, value)| (at, BTreeMap::from([(HIP, set(value))])))
            .collect();
        Sequence { keys, clock, steps }
    }

    fn values(frames: &[PoseFrame], bone: Bone) -> Vec<f64> {
        frames
            .iter()
            .map(|frame| frame.get(bone, Motion::Flexion).unwrap())
            .collect()
    }

    #[test]
    fn keys_without_steps_stay_as_they_are() {
        let frames = frames(&sequence(&[(0.0, 1.0), (0.5, 3.0)], Clock::Seconds, None));
        assert_eq!(values(&frames, HIP), [1.0, 3.0]);
        assert_eq!(frames[1].time_s, Some(0.5));
    }

    #[test]
    fn steps_run_from_end_to_end() {
        let frames = frames(&sequence(
            &[(0.0, 0.0), (1.0, 4.0), (2.0, 2.0)],
            Clock::None,
            Some(5),
        ));
        assert_eq!(values(&frames, HIP), [0.0, 2.0, 4.0, 3.0, 2.0]);
        assert_eq!(frames[1].time_s, None);
    }

    #[test]
    fn a_cycle_joins_its_ends_and_does_not_repeat_them() {
        let clock = Clock::Cycle {
            seconds: 2.0,
            right_after: None,
        };
        let frames = frames(&sequence(&[(25.0, 0.0), (75.0, 4.0)], clock, Some(4)));
        assert_eq!(values(&frames, HIP), [2.0, 0.0, 2.0, 4.0]);
        assert_eq!(
            frames
                .iter()
                .map(|frame| frame.time_s.unwrap())
                .collect::<Vec<_>>(),
            [0.0, 0.5, 1.0, 1.5]
        );
    }

    #[test]
    fn a_table_with_both_ends_is_used_as_it_stands() {
        // Published tables do not close exactly; 0 % is the first row, just before 100 % is near the last.
        let clock = Clock::Cycle {
            seconds: 1.0,
            right_after: None,
        };
        let frames = frames(&sequence(
            &[(0.0, 10.0), (50.0, 0.0), (100.0, 8.0)],
            clock,
            Some(4),
        ));
        assert_eq!(values(&frames, HIP), [10.0, 5.0, 0.0, 4.0]);
    }

    #[test]
    fn the_right_side_follows_half_a_cycle_later() {
        let clock = Clock::Cycle {
            seconds: 1.0,
            right_after: Some(50.0),
        };
        let frames = frames(&sequence(
            &[(0.0, 0.0), (25.0, 1.0), (50.0, 2.0), (75.0, 3.0)],
            clock,
            Some(4),
        ));
        assert_eq!(values(&frames, HIP), [0.0, 1.0, 2.0, 3.0]);
        assert_eq!(values(&frames, HIP.mirror()), [2.0, 3.0, 0.0, 1.0]);
    }

    #[test]
    fn a_joint_left_out_of_a_key_runs_on_between_its_own_keys() {
        let mut sequence = sequence(&[(0.0, 0.0), (1.0, 9.0), (2.0, 4.0)], Clock::None, None);
        sequence.keys[1].1.clear();
        sequence.keys[1].1.insert(Bone::Spine, set(0.3));
        let frames = frames(&sequence);
        assert_eq!(values(&frames, HIP), [0.0, 2.0, 4.0]);
        assert_eq!(values(&frames, Bone::Spine), [0.3, 0.3, 0.3]);
    }
}
