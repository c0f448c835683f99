//! How far do joints go, as published, and does a pose stay within?
//!
//! Rounded outward from measured means and handbook limits, so that a supple adult's poses pass and a slip of the
//! pen does not. They are limits of a pose library, no medical advice.

use super::{Joint, JointMotion, Motion, Pose, PoseFrame};
use crate::rig::bone::Bone;
use std::fmt;

/// A joint motion's published range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Smallest value, degrees.
    pub least_deg: f64,
    /// Largest value, degrees.
    pub most_deg: f64,
    /// Where it comes from.
    pub source: &'static str,
}

/// An angle outside its range.
#[derive(Clone, Debug, PartialEq)]
pub struct OutOfRange {
    /// Number of the frame, from 0.
    pub frame: usize,
    /// The bone whose angle it is.
    pub bone: Bone,
    /// The motion.
    pub motion: Motion,
    /// The pose's angle, degrees.
    pub value_deg: f64,
    /// Smallest published value, degrees.
    pub least_deg: f64,
    /// Largest published value, degrees.
    pub most_deg: f64,
    /// Where the range comes from.
    pub source: &'static str,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            bone,
            motion,
            value_deg,
            least_deg,
            most_deg,
            source,
            ..
        } = self;
        let joint = Joint::of(*bone).map_or("joint", Joint::word);
        write!(
            f,
            "{joint} {motion} of {value_deg:.1} degrees is outside {least_deg} to {most_deg} ({source})"
        )
    }
}

const HIP: &str = "Soucie 2011 and AAOS 1965, rounded outward";
const HIP_TURNED_OUT: &str = "Ganokroj 2021: cross-legged up to 81.7, rounded outward";
const KNEE: &str = "Soucie 2011 and Hemmerich 2006, rounded outward";
const ANKLE: &str = "Soucie 2011 and Boone & Azen 1979, rounded outward";
const SHOULDER: &str = "AAOS 1965, AMA, Boone & Azen 1979, rounded outward";
const SHOULDER_BACK: &str = "AAOS 1965 and Boone & Azen 1979: extension 60 to 62";
const SHOULDER_PLANE: &str = "AAOS 1965: horizontal flexion to 135, from memory";
const ELBOW: &str = "Soucie 2011 and AAOS 1965";
const WRIST: &str = "AAOS 1965 and Boone & Azen 1979";
const TRUNK: &str = "AAOS 1965, thoracolumbar spine, from memory, rounded outward";
const NECK: &str = "AMA, cervical spine, from memory";
const ROOT: &str = "the root is no joint: one turn";

/// The range of a motion, given the rest of the frame: a flexed hip turns out further, and an arm behind the back
/// rises less.
pub fn range(frame: &PoseFrame, bone: Bone, what: JointMotion) -> Range {
    let degrees = |motion| frame.get(bone, motion).unwrap_or(0.0).to_degrees();
    let (least_deg, most_deg, source) = match (what.joint, what.motion) {
        (Joint::Hip, Motion::Flexion) => (-30.0, 140.0, HIP),
        (Joint::Hip, Motion::Abduction) => (-30.0, 50.0, HIP),
        (Joint::Hip, _) if degrees(Motion::Flexion) >= 60.0 => (-45.0, 90.0, HIP_TURNED_OUT),
        (Joint::Hip, _) => (-45.0, 60.0, HIP),
        (Joint::Knee, _) => (-5.0, 160.0, KNEE),
        (Joint::Ankle, _) => (-60.0, 30.0, ANKLE),
        (Joint::Shoulder, Motion::Plane) => (-90.0, 135.0, SHOULDER_PLANE),
        (Joint::Shoulder, Motion::Elevation) => shoulder_elevation(degrees(Motion::Plane)),
        (Joint::Shoulder, _) => (-80.0, 105.0, SHOULDER),
        (Joint::Elbow, _) => (-5.0, 150.0, ELBOW),
        (Joint::Wrist, _) => (-75.0, 80.0, WRIST),
        (Joint::Trunk, Motion::Flexion) => (-30.0, 80.0, TRUNK),
        (Joint::Trunk, Motion::Bend) => (-35.0, 35.0, TRUNK),
        (Joint::Trunk, _) => (-45.0, 45.0, TRUNK),
        (Joint::Neck, Motion::Flexion) => (-75.0, 60.0, NECK),
        (Joint::Neck, Motion::Bend) => (-45.0, 45.0, NECK),
        (Joint::Neck, _) => (-80.0, 80.0, NECK),
        (Joint::Pelvis, _) => (-180.0, 180.0, ROOT),
    };
    Range {
        least_deg,
        most_deg,
        source,
    }
}

/// A negative elevation in the forward plane is an arm swung back.
fn shoulder_elevation(plane_deg: f64) -> (f64, f64, &'static str) {
    match plane_deg {
        plane if plane < -30.0 => (-62.0, 62.0, SHOULDER_BACK),
        _ => (-62.0, 184.0, SHOULDER),
    }
}

/// Every angle of a pose that is outside its published range; empty for a legal pose, whatever
/// [`Pose::beyond_range`] says.
pub fn check(pose: &Pose) -> Vec<OutOfRange> {
    pose.frames
        .iter()
        .enumerate()
        .flat_map(|(index, frame)| check_frame(frame, index))
        .collect()
}

/// The same for one frame, which is given the number `index`.
pub fn check_frame(frame: &PoseFrame, index: usize) -> Vec<OutOfRange> {
    let joints = frame
        .angles
        .keys()
        .filter_map(|&bone| Some((bone, Joint::of(bone)?)));
    joints
        .flat_map(|(bone, joint)| {
            joint
                .motions()
                .iter()
                .map(move |&motion| (bone, JointMotion { joint, motion }))
        })
        .filter_map(|(bone, what)| out(frame, index, bone, what))
        .collect()
}

fn out(frame: &PoseFrame, index: usize, bone: Bone, what: JointMotion) -> Option<OutOfRange> {
    // Degrees made of radians made of degrees differ in the last digits.
    const SLACK_DEG: f64 = 1e-6;
    let value_deg = frame.get(bone, what.motion)?.to_degrees();
    let Range {
        least_deg,
        most_deg,
        source,
    } = range(frame, bone, what);
    let within = (least_deg - SLACK_DEG..=most_deg + SLACK_DEG).contains(&value_deg);
    let motion = what.motion;
    (!within).then_some(OutOfRange {
        frame: index,
        bone,
        motion,
        value_deg,
        least_deg,
        most_deg,
        source,
    })
}

#[cfg(test)]
mod tests {
    use super::super::OnSide;
    use super::*;
    use crate::rig::bone::Side;

    fn frame(settings: &[(&str, f64)]) -> PoseFrame {
        let mut frame = PoseFrame::default();
        for (what, degrees) in settings {
            frame.set(
                JointMotion::parse(what).unwrap(),
                OnSide::Left,
                degrees.to_radians(),
            );
        }
        frame
    }

    #[test]
    fn limits_are_the_published_ones_to_the_degree() {
        for (what, least, most) in [
            ("hip.flexion", -30.0, 140.0),
            ("hip.abduction", -30.0, 50.0),
            ("hip.rotation", -45.0, 60.0),
        ] {
            assert_eq!(check_frame(&frame(&[(what, least)]), 0), []);
            assert_eq!(check_frame(&frame(&[(what, most)]), 0), []);
            let out = check_frame(&frame(&[(what, most + 0.5)]), 3);
            assert_eq!(out.len(), 1, "{what}");
            assert_eq!((out[0].frame, out[0].bone), (3, Bone::UpperLeg(Side::Left)));
            assert!((out[0].value_deg - most - 0.5).abs() < 1e-9);
            assert_eq!(check_frame(&frame(&[(what, least - 0.5)]), 0).len(), 1, "{what}");
        }
    }

    #[test]
    fn a_flexed_hip_turns_out_further() {
        assert_eq!(
            check_frame(&frame(&[("hip.flexion", 95.0), ("hip.rotation", 62.0)]), 0),
            []
        );
        assert_eq!(
            check_frame(&frame(&[("hip.flexion", 10.0), ("hip.rotation", 62.0)]), 0).len(),
            1
        );
    }

    #[test]
    fn an_arm_behind_the_back_rises_less() {
        assert_eq!(
            check_frame(
                &frame(&[("shoulder.plane", 90.0), ("shoulder.elevation", 165.0)]),
                0
            ),
            []
        );
        assert_eq!(
            check_frame(
                &frame(&[("shoulder.plane", -90.0), ("shoulder.elevation", 70.0)]),
                0
            )
            .len(),
            1
        );
    }

    #[test]
    fn not_a_number_is_out_of_range() {
        assert_eq!(check_frame(&frame(&[("knee.flexion", f64::NAN)]), 0).len(), 1);
    }
}
