//! From where on does a place fail: from which frame of a motion, or from which angle on the way into a still pose?

use super::spot::{Patch, limit_of, triangle_at};
use super::trial::Trial;
use crate::contact::Scratch;
use crate::fitting::{Dressed, Frame, joints_at, meet};
use crate::pose::{Angles, Joint, JointMotion, Motion, PoseFrame};
use crate::rig::bone::{Bone, Side};
use std::collections::{BTreeMap, BTreeSet};

/// An angle is looked for this closely, degrees.
const FINEST_DEG: f64 = 0.25;

/// Where a place first fails.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Onset {
    /// The first frame, and its time in seconds where it has one.
    Frame(usize, Option<f64>),
    /// Already where the way begins.
    Standing(Way),
    /// Degrees of the motion that leads into the pose.
    Angle(Way, f64),
}

/// The motion that turns the place most on the way into a still pose.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Way {
    pub(super) motion: JointMotion,
    pub(super) side: Option<Side>,
}

impl Onset {
    /// As a record has it: the number, and the motion it is an angle of.
    pub(super) fn written(self) -> (Option<f64>, String) {
        match self {
            Self::Frame(frame, _) => (Some(frame as f64), String::new()),
            Self::Standing(way) => (Some(0.0), way.key()),
            Self::Angle(way, degrees) => (Some(degrees), way.key()),
        }
    }
}

impl Way {
    /// `left_hip.flexion`.
    fn key(&self) -> String {
        let side = self
            .side
            .map_or_else(String::new, |side| format!("{}_", side.word()));
        format!("{side}{}", self.motion)
    }

    /// `hip flexion`; a place at one side need not name it again.
    pub(super) fn words(&self) -> String {
        self.motion.to_string().replace('.', " ")
    }
}

/// Looks for the onset in the pose where a place is worst.
pub(super) fn of(trial: &Trial, patch: &Patch) -> Option<Onset> {
    let sequence = &trial.plan.sequences[patch.worst.0];
    match sequence.frames.as_slice() {
        [Frame::Angles(angles)] => on_the_way(trial, patch, angles),
        frames => {
            let seen = patch.frames.iter().filter(|frame| frame.0 == patch.worst.0);
            let mut first = seen.map(|frame| frame.1).min()?;
            // Only some frames were looked at: those before the first of them, until one is free of it.
            while first > 0 && fails(trial, patch, &frames[first - 1]) {
                first -= 1;
            }
            let time_s = trial.fitting.poses[patch.worst.0].frames.get(first)?.time_s;
            Some(Onset::Frame(first, time_s))
        }
    }
}

/// Bisection between standing and the pose, every joint at the same share of its way.
fn on_the_way(trial: &Trial, patch: &Patch, pose: &PoseFrame) -> Option<Onset> {
    let dressed = trial.dressed;
    let (way, bone, to) = lead(dressed, patch, pose)?;
    let from = standing(dressed, bone, way.motion.motion);
    let degrees = (to - from).to_degrees();
    let at = |share: f64| fails(trial, patch, &Frame::Angles(part_of(dressed, pose, share)));
    if at(0.0) {
        return Some(Onset::Standing(way));
    }
    let (mut free, mut failing) = (0.0, 1.0);
    while (failing - free) * degrees.abs() > FINEST_DEG {
        let middle = f64::midpoint(free, failing);
        *(if at(middle) { &mut failing } else { &mut free }) = middle;
    }
    let angle = from.to_degrees() + failing * degrees;
    Some(Onset::Angle(way, (angle / FINEST_DEG).round() * FINEST_DEG))
}

/// What a motion is in standing, radians: 0, but for the knee, which keeps its bind.
fn standing(dressed: &Dressed, bone: Bone, motion: Motion) -> f64 {
    match (bone, motion) {
        (Bone::LowerLeg(side), Motion::Flexion) => dressed.body.anatomy.knee_at_bind(side),
        _ => 0.0,
    }
}

/// The largest angle among the joints that move the place, with its bone, radians.
fn lead(dressed: &Dressed, patch: &Patch, pose: &PoseFrame) -> Option<(Way, Bone, f64)> {
    let layer = &dressed.layers[0];
    let vertices = patch
        .triangles
        .iter()
        .flat_map(|&triangle| layer.surface.triangles[triangle as usize]);
    let binds: BTreeSet<usize> = vertices
        .flat_map(|vertex| layer.surface.rows.row(vertex as usize))
        .filter(|(_, weight)| *weight > 0.1)
        .map(|(bind, _)| bind)
        .collect();
    let moved: BTreeSet<Bone> = binds
        .into_iter()
        .filter_map(|bind| layer.skeleton.moved_by(layer.surface.binds[bind].node))
        .collect();
    let angles = |of: &dyn Fn(&Bone) -> bool| -> Option<(Way, Bone, f64)> {
        let named = pose.angles.iter().filter(|(bone, _)| of(bone));
        let each = named.flat_map(|(&bone, angles)| {
            let Angles::Set(set) = angles else {
                return Vec::new();
            };
            let Some(joint) = Joint::of(bone) else {
                return Vec::new();
            };
            let way = |motion| Way {
                motion: JointMotion { joint, motion },
                side: bone.side(),
            };
            set.iter()
                .map(|(&motion, radians)| (way(motion), bone, *radians))
                .collect()
        });
        // Of equals the first: the hip before the knee.
        each.reduce(|best, next| {
            if next.2.abs() > best.2.abs() + 1e-9 {
                next
            } else {
                best
            }
        })
        .filter(|(_, _, radians)| radians.to_degrees().abs() > FINEST_DEG)
    };
    angles(&|bone| moved.contains(bone)).or_else(|| angles(&|_| true))
}

/// Every named angle at a share of its way from standing.
fn part_of(dressed: &Dressed, pose: &PoseFrame, share: f64) -> PoseFrame {
    let part = |bone: Bone, angles: &Angles| match angles {
        Angles::Bind => Angles::Bind,
        Angles::Set(set) => Angles::Set(
            set.iter()
                .map(|(&motion, angle)| {
                    let from = standing(dressed, bone, motion);
                    (motion, from + (angle - from) * share)
                })
                .collect(),
        ),
    };
    let angles: BTreeMap<Bone, Angles> = pose
        .angles
        .iter()
        .map(|(&bone, angles)| (bone, part(bone, angles)))
        .collect();
    PoseFrame {
        time_s: pose.time_s,
        angles,
    }
}

/// Whether so much of the place fails there that it would fail by itself; of a smaller place, half of what fails at most.
fn fails(trial: &Trial, patch: &Patch, frame: &Frame) -> bool {
    let Some(failing) = patch.measure.failing.as_ref() else {
        return false;
    };
    let dressed = trial.dressed;
    let demand = trial.plan.sequences[patch.worst.0].demand;
    let limit = limit_of(trial.fitting, patch.measure, demand);
    let needed = failing
        .least_area(limit, dressed.layers[0].area())
        .min(patch.area / 2.0);
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let moment = meet(dressed, &joints_at(dressed, frame), &mut scratch);
    let here = |triangle| patch.triangles.binary_search(&triangle).is_ok();
    let area: f64 = (failing.find)(&moment, limit)
        .into_iter()
        .filter(|fault| triangle_at(&moment, fault.at).is_some_and(here))
        .map(|fault| fault.area)
        .sum();
    trial.tick();
    area >= needed
}
