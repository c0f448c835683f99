//! Which joints a pose can name, which motions each has, and what their signs mean.
//!
//! Signs are those of everyday anatomy (flexion, abduction, external rotation positive), in glTF axes (+X the
//! wearer's left, +Y up, +Z front) for a segment that hangs along -Y; the right side is the mirror image. Order:
//! flexion, ab/adduction, axial rotation (joint coordinate system of Cole et al. 1993 and Wu et al. 2002).

use super::PoseError;
use crate::rig::bone::{Bone, Side};
use std::fmt;

/// A joint, or a group of joints that share one angle (trunk, neck).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Joint {
    /// The root: the hips bone as a whole, with everything on it.
    Pelvis,
    /// All spine bones together (spine, chest, upperChest); an angle is shared equally over those present.
    Trunk,
    /// Neck and head together; an angle is shared equally over those present.
    Neck,
    /// Upper arm against the trunk.
    Shoulder,
    /// Forearm against the upper arm.
    Elbow,
    /// Hand against the forearm.
    Wrist,
    /// Thigh against the pelvis.
    Hip,
    /// Shank against the thigh.
    Knee,
    /// Foot against the shank.
    Ankle,
}

/// One way a joint can move. Positive directions:
///
/// | joint | motion | positive | matrix, left side |
/// | --- | --- | --- | --- |
/// | hip | flexion | thigh forward | Rx(-f), first |
/// | hip | abduction | leg outward | Rz(+a), second |
/// | hip | rotation | external, toes outward | Ry(+e), third |
/// | knee | flexion | heel back | Rx(+k) |
/// | ankle | flexion | toes up (dorsiflexion) | Rx(-d) |
/// | trunk, neck | flexion | bend forward | Rx(+t), first |
/// | trunk, neck | bend | lean to the wearer's left | Rz(-b), second |
/// | trunk, neck | rotation | front turns to the wearer's left | Ry(+r), third |
/// | pelvis | tilt | front of the pelvis down | Rx(+t), first |
/// | pelvis | obliquity | left hip up | Rz(+o), second |
/// | pelvis | rotation | front turns to the wearer's left | Ry(+r), third |
/// | shoulder | plane | 0 the arm rises sideways, 90 forward, -90 backward | see below |
/// | shoulder | elevation | 0 hanging, 90 level, 180 straight up | see below |
/// | shoulder | rotation | external, the palm of the hanging arm turns to the front | see below |
/// | elbow | flexion | hand towards the shoulder | |
/// | wrist | flexion | palm towards the forearm | |
///
/// Shoulder: the upper arm points along `-cos(elevation) Y + sin(elevation) (cos(plane) O + sin(plane) F)`, with O
/// the outward and F the front axis of the trunk; it gets there by the one rotation that carries the hanging arm
/// there by the shortest way, after the axial rotation about its own length. So rotation 0 is the arm simply
/// swung, continuous through elevation 0. As matrices, left side: `Ry(-plane) Rz(+elevation) Ry(plane + rotation)`.
/// (Wu 2005 has the order Y-X-Y: its axial rotation, taken external positive, is this one plus the plane.)
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Motion {
    /// Bend in the side view.
    Flexion,
    /// Outward in the front view.
    Abduction,
    /// About the long axis.
    Rotation,
    /// Lean to the left.
    Bend,
    /// Front of the pelvis down.
    Tilt,
    /// Left hip up.
    Obliquity,
    /// In which upright plane the arm rises.
    Plane,
    /// How high the arm is raised.
    Elevation,
}

impl Motion {
    /// The key word in files and results.
    pub fn word(self) -> &'static str {
        match self {
            Self::Flexion => "flexion",
            Self::Abduction => "abduction",
            Self::Rotation => "rotation",
            Self::Bend => "bend",
            Self::Tilt => "tilt",
            Self::Obliquity => "obliquity",
            Self::Plane => "plane",
            Self::Elevation => "elevation",
        }
    }

    /// The motion's value for a mirrored body, as a factor: -1 for midline motions that name a side.
    fn mirror_factor(self, joint: Joint) -> f64 {
        let midline = !joint.sided();
        match self {
            Self::Bend | Self::Obliquity => -1.0,
            Self::Rotation if midline => -1.0,
            _ => 1.0,
        }
    }
}

impl fmt::Display for Motion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl Joint {
    /// From the root outward.
    pub const ALL: [Self; 9] = [
        Self::Pelvis,
        Self::Trunk,
        Self::Neck,
        Self::Shoulder,
        Self::Elbow,
        Self::Wrist,
        Self::Hip,
        Self::Knee,
        Self::Ankle,
    ];

    /// The key word for one of it; with `left_` or `right_` before it for one side.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pelvis => "pelvis",
            Self::Trunk => "trunk",
            Self::Neck => "neck",
            Self::Shoulder => "shoulder",
            Self::Elbow => "elbow",
            Self::Wrist => "wrist",
            Self::Hip => "hip",
            Self::Knee => "knee",
            Self::Ankle => "ankle",
        }
    }

    /// True where there is a left and a right one.
    pub fn sided(self) -> bool {
        !matches!(self, Self::Pelvis | Self::Trunk | Self::Neck)
    }

    /// The motions it has, in the order their rotations are applied.
    pub fn motions(self) -> &'static [Motion] {
        match self {
            Self::Pelvis => &[Motion::Tilt, Motion::Obliquity, Motion::Rotation],
            Self::Trunk | Self::Neck => &[Motion::Flexion, Motion::Bend, Motion::Rotation],
            Self::Shoulder => &[Motion::Plane, Motion::Elevation, Motion::Rotation],
            Self::Hip => &[Motion::Flexion, Motion::Abduction, Motion::Rotation],
            Self::Elbow | Self::Wrist | Self::Knee | Self::Ankle => &[Motion::Flexion],
        }
    }

    /// The bone that carries its angles. The whole trunk is kept at [`Bone::Spine`], neck and head at [`Bone::Neck`].
    /// The side does not matter to midline joints.
    pub fn bone(self, side: Side) -> Bone {
        match self {
            Self::Pelvis => Bone::Hips,
            Self::Trunk => Bone::Spine,
            Self::Neck => Bone::Neck,
            Self::Shoulder => Bone::UpperArm(side),
            Self::Elbow => Bone::LowerArm(side),
            Self::Wrist => Bone::Hand(side),
            Self::Hip => Bone::UpperLeg(side),
            Self::Knee => Bone::LowerLeg(side),
            Self::Ankle => Bone::Foot(side),
        }
    }

    /// The bones of it on the sides asked for; one for a midline joint.
    pub fn bones(self, sides: OnSide) -> Vec<Bone> {
        if !self.sided() {
            return vec![self.bone(Side::Left)];
        }
        sides.list().iter().map(|&side| self.bone(side)).collect()
    }

    /// The joint whose angles a bone carries; `None` for bones that poses do not move.
    pub fn of(bone: Bone) -> Option<Self> {
        let side = bone.side().unwrap_or(Side::Left);
        Self::ALL.into_iter().find(|joint| joint.bone(side) == bone)
    }

    /// The joint and sides of a key: `trunk`, `hips` (both sides), `left_hip`.
    pub fn from_key(key: &str) -> Option<(Self, OnSide)> {
        keys()
            .into_iter()
            .find(|(text, ..)| text == key)
            .map(|(_, joint, sides)| (joint, sides))
    }
}

/// Every key that may stand in a frame: the joint and the sides it means.
pub fn keys() -> Vec<(String, Joint, OnSide)> {
    let mut keys = Vec::new();
    for joint in Joint::ALL {
        let word = joint.word();
        if joint.sided() {
            keys.push((format!("{word}s"), joint, OnSide::Both));
            keys.push((format!("left_{word}"), joint, OnSide::Left));
            keys.push((format!("right_{word}"), joint, OnSide::Right));
        } else {
            keys.push((word.to_owned(), joint, OnSide::Both));
        }
    }
    keys
}

/// Which sides of the wearer are meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum OnSide {
    /// The wearer's left only.
    Left,
    /// The wearer's right only.
    Right,
    /// Both alike.
    Both,
}

impl OnSide {
    /// The sides, left before right.
    pub fn list(self) -> &'static [Side] {
        match self {
            Self::Left => &[Side::Left],
            Self::Right => &[Side::Right],
            Self::Both => &Side::BOTH,
        }
    }
}

/// One motion of one joint, `hip.flexion`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct JointMotion {
    /// The joint.
    pub joint: Joint,
    /// One of [`Joint::motions`].
    pub motion: Motion,
}

impl JointMotion {
    /// All of them, joint by joint.
    pub fn all() -> Vec<Self> {
        let of = |joint: Joint| joint.motions().iter().map(move |&motion| Self { joint, motion });
        Joint::ALL.into_iter().flat_map(of).collect()
    }

    /// From `hip.flexion`.
    ///
    /// # Errors
    /// [`PoseError::Unknown`] with the nearest right motion, or all of them.
    pub fn parse(text: &str) -> Result<Self, PoseError> {
        let all = Self::all();
        all.iter()
            .copied()
            .find(|known| known.to_string() == text)
            .ok_or_else(|| {
                let words: Vec<String> = all.iter().map(Self::to_string).collect();
                PoseError::unknown("motion", text, words.iter().map(String::as_str))
            })
    }

    /// The value that a mirrored body has for the same pose.
    pub fn mirrored(self, value: f64) -> f64 {
        value * self.motion.mirror_factor(self.joint)
    }
}

impl fmt::Display for JointMotion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.joint.word(), self.motion.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_name_every_bone_a_pose_can_move() {
        assert_eq!(keys().len(), 3 + 3 * 6);
        assert_eq!(Joint::from_key("left_hip"), Some((Joint::Hip, OnSide::Left)));
        assert_eq!(Joint::from_key("hips"), Some((Joint::Hip, OnSide::Both)));
        assert_eq!(Joint::from_key("hip"), None);
        assert_eq!(Joint::from_key("left_trunk"), None);
        for joint in Joint::ALL {
            for side in Side::BOTH {
                assert_eq!(Joint::of(joint.bone(side)), Some(joint));
            }
        }
        assert_eq!(Joint::of(Bone::Toes(Side::Left)), None);
        assert_eq!(Joint::Trunk.bones(OnSide::Both), [Bone::Spine]);
    }

    #[test]
    fn motions_are_read_by_name() {
        let flexion = JointMotion {
            joint: Joint::Hip,
            motion: Motion::Flexion,
        };
        assert_eq!(JointMotion::parse("hip.flexion").unwrap(), flexion);
        let help = |text: &str| match JointMotion::parse(text) {
            Err(PoseError::Unknown { help, .. }) => help,
            other => panic!("{other:?}"),
        };
        assert_eq!(help("hip.flexon"), "did you mean `hip.flexion`?");
        assert_eq!(help("knee.abduction"), "did you mean `hip.abduction`?");
        assert!(help("zzzzzzzzzzzzzzzzz").starts_with("there are: pelvis.tilt, "));
    }

    #[test]
    fn only_motions_that_name_a_side_change_sign_in_the_mirror() {
        let flipped: Vec<String> = JointMotion::all()
            .iter()
            .filter(|known| known.mirrored(1.0) < 0.0)
            .map(JointMotion::to_string)
            .collect();
        assert_eq!(
            flipped,
            [
                "pelvis.obliquity",
                "pelvis.rotation",
                "trunk.bend",
                "trunk.rotation",
                "neck.bend",
                "neck.rotation"
            ]
        );
    }
}
