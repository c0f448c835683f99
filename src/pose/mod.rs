//! What a pose is: joint angles in anatomical words, one set a frame, and how much they ask of a garment.

mod effective; // joint matrices -> angles
mod error;
mod joint;
mod keys; // key frames -> frames
mod yaml; // tree -> Pose

pub mod bvh; // motion capture as it is written
pub mod capture; // another wearer's motion -> poses
pub mod clip; // animation clips of a glTF file: which times, which matrices
pub mod library; // the poses that come with gusset
pub mod ranges; // what joints can do, as published
pub mod stand; // angles to joint matrices, and back
pub mod schema; // the JSON Schema of a pose file
pub mod sweep; // one or two motions through their range

pub use error::PoseError;
pub use joint::{Joint, JointMotion, Motion, OnSide, keys as joint_keys};
pub use library::{all, find};
pub use yaml::parse;

use crate::outcome::Demand;
use crate::rig::bone::Bone;
use std::collections::{BTreeMap, BTreeSet};

/// A pose, or a sequence of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Pose {
    /// `snake_case`.
    pub name: String,
    /// One plain sentence for a maker.
    pub about: String,
    /// Citations, or `common practice`; never empty for the library.
    pub basis: Vec<String>,
    /// How much it asks of a garment.
    pub demand: Demand,
    /// It may leave the published joint ranges.
    pub beyond_range: bool,
    /// Bones that may be missing: a rig without them takes the pose all the same, without that part of it
    /// (the arm swing of a walk, on a body that ends at the waist).
    pub optional: Vec<Bone>,
    /// In order of time; one for a still pose, never none.
    pub frames: Vec<PoseFrame>,
}

/// One moment of a pose.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PoseFrame {
    /// Seconds from the start; `None` where the pose has no time.
    pub time_s: Option<f64>,
    /// Angles by the bone that carries them ([`Joint::bone`]). A bone that is not here keeps its bind.
    /// [`Bone::Spine`] carries the whole trunk and [`Bone::Neck`] neck and head: share them over the bones present.
    pub angles: BTreeMap<Bone, Angles>,
}

/// What a pose says of one joint.
#[derive(Clone, Debug, PartialEq)]
pub enum Angles {
    /// As the body was bound, said aloud.
    Bind,
    /// Radians. A motion that is not here is 0: a joint that is named is named whole.
    Set(BTreeMap<Motion, f64>),
}

impl Angles {
    /// The angle of one motion in radians, 0 where the pose does not name it; `None` for [`Angles::Bind`].
    pub fn get(&self, motion: Motion) -> Option<f64> {
        match self {
            Self::Bind => None,
            Self::Set(angles) => Some(angles.get(&motion).copied().unwrap_or(0.0)),
        }
    }
}

impl PoseFrame {
    /// The angle of one motion of one bone in radians; `None` where the bone keeps its bind.
    pub fn get(&self, bone: Bone, motion: Motion) -> Option<f64> {
        self.angles.get(&bone).and_then(|angles| angles.get(motion))
    }

    /// Sets one motion of one joint (radians) on the sides asked for, other motions of it as they are.
    pub fn set(&mut self, what: JointMotion, sides: OnSide, value: f64) {
        for bone in what.joint.bones(sides) {
            let angles = self
                .angles
                .entry(bone)
                .or_insert_with(|| Angles::Set(BTreeMap::new()));
            match angles {
                Angles::Set(angles) => {
                    angles.insert(what.motion, value);
                }
                Angles::Bind => *angles = Angles::Set(BTreeMap::from([(what.motion, value)])),
            }
        }
    }

    /// The same moment of a mirrored wearer: left and right change places.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let angles = self
            .angles
            .iter()
            .map(|(bone, angles)| (bone.mirror(), mirrored(*bone, angles)))
            .collect();
        Self {
            time_s: self.time_s,
            angles,
        }
    }
}

fn mirrored(bone: Bone, angles: &Angles) -> Angles {
    match (Joint::of(bone), angles) {
        (Some(joint), Angles::Set(set)) => Angles::Set(
            set.iter()
                .map(|(&motion, &value)| (motion, JointMotion { joint, motion }.mirrored(value)))
                .collect(),
        ),
        _ => angles.clone(),
    }
}

impl Pose {
    /// The bones that any of its frames names.
    pub fn bones(&self) -> Vec<Bone> {
        let all: BTreeSet<Bone> = self
            .frames
            .iter()
            .flat_map(|frame| frame.angles.keys().copied())
            .collect();
        all.into_iter().collect()
    }

    /// The bones without which it cannot be taken. For the trunk and the neck one bone of the group will do.
    pub fn needs(&self) -> Vec<Bone> {
        self.bones()
            .into_iter()
            .filter(|bone| !self.optional.contains(bone))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::bone::Side;

    #[test]
    fn a_named_joint_is_named_whole_and_bind_is_no_angle() {
        let mut frame = PoseFrame::default();
        frame.set(
            JointMotion {
                joint: Joint::Hip,
                motion: Motion::Flexion,
            },
            OnSide::Left,
            0.5,
        );
        frame.angles.insert(Bone::LowerLeg(Side::Left), Angles::Bind);
        assert_eq!(frame.get(Bone::UpperLeg(Side::Left), Motion::Flexion), Some(0.5));
        assert_eq!(
            frame.get(Bone::UpperLeg(Side::Left), Motion::Abduction),
            Some(0.0)
        );
        assert_eq!(frame.get(Bone::UpperLeg(Side::Right), Motion::Flexion), None);
        assert_eq!(frame.get(Bone::LowerLeg(Side::Left), Motion::Flexion), None);
    }

    #[test]
    fn the_mirror_swaps_sides_and_turns_the_trunk_the_other_way() {
        let mut frame = PoseFrame::default();
        frame.set(
            JointMotion {
                joint: Joint::Hip,
                motion: Motion::Abduction,
            },
            OnSide::Left,
            0.5,
        );
        frame.set(
            JointMotion {
                joint: Joint::Trunk,
                motion: Motion::Rotation,
            },
            OnSide::Both,
            0.2,
        );
        let other = frame.mirrored();
        assert_eq!(
            other.get(Bone::UpperLeg(Side::Right), Motion::Abduction),
            Some(0.5)
        );
        assert_eq!(other.get(Bone::UpperLeg(Side::Left), Motion::Abduction), None);
        assert_eq!(other.get(Bone::Spine, Motion::Rotation), Some(-0.2));
        assert_eq!(other.mirrored(), frame);
    }
}
