//! Which frames take one or two joint motions through their range?

use super::{Joint, JointMotion, Motion, OnSide, Pose, PoseError, PoseFrame, ranges};
use crate::outcome::Demand;
use crate::rig::bone::{Bone, Side};

/// A motion and its range, `hip.flexion=0:120`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sweep {
    /// What moves.
    pub what: JointMotion,
    /// Where it begins, degrees.
    pub from_deg: f64,
    /// Where it ends, degrees.
    pub to_deg: f64,
}

/// Reads `hip.flexion=0:120`; the degrees lie between -360 and 360 and differ.
///
/// # Errors
/// [`PoseError::Unknown`] with the nearest motion, [`PoseError::Sweep`] for a range that cannot be read.
pub fn parse(text: &str) -> Result<Sweep, PoseError> {
    let refuse = |say: &str| PoseError::Sweep {
        text: text.to_owned(),
        say: say.to_owned(),
        help: "write it like `hip.flexion=0:120`: joint, motion, from and to in degrees".to_owned(),
    };
    let (what, range) = text.split_once('=').ok_or_else(|| refuse("it has no `=`"))?;
    let (from, to) = range
        .split_once(':')
        .ok_or_else(|| refuse("it has no `:` between its two ends"))?;
    let what = JointMotion::parse(what.trim())?;
    let degrees = |word: &str| match word.trim().parse::<f64>() {
        Ok(value) if value.abs() <= 360.0 => Ok(value),
        _ => Err(refuse("its ends must be degrees from -360 to 360")),
    };
    let (from_deg, to_deg) = (degrees(from)?, degrees(to)?);
    if from_deg == to_deg {
        return Err(refuse("it begins where it ends"));
    }
    Ok(Sweep {
        what,
        from_deg,
        to_deg,
    })
}

/// One moment with the given motions (radians) set on the sides asked for, other joints at their bind. For the
/// search for an onset angle, and for a grid of two motions.
pub fn at(settings: &[(JointMotion, f64)], sides: OnSide) -> PoseFrame {
    let mut frame = PoseFrame::default();
    for &(what, value) in settings {
        frame.set(what, sides, value);
    }
    frame
}

/// One motion from end to end in `steps` even frames (at least 2), as a pose. Its demand is that of its hardest
/// frame ([`demand`]); it is marked beyond range where it is.
pub fn sweep(what: JointMotion, from_deg: f64, to_deg: f64, steps: usize, sides: OnSide) -> Pose {
    let steps = steps.max(2);
    let frames: Vec<PoseFrame> = (0..steps)
        .map(|step| {
            at(
                &[(what, value_deg(from_deg, to_deg, step, steps).to_radians())],
                sides,
            )
        })
        .collect();
    let hardest = frames.iter().map(demand).max().unwrap_or(Demand::Upright);
    let mut pose = Pose {
        name: format!("{}_{}", what.joint.word(), what.motion.word()),
        about: format!(
            "{} {} from {from_deg} to {to_deg} degrees.",
            what.joint.word(),
            what.motion.word()
        ),
        basis: vec!["a sweep asked for by its ends".to_owned()],
        demand: hardest,
        beyond_range: false,
        optional: Vec::new(),
        frames,
    };
    pose.beyond_range = !ranges::check(&pose).is_empty();
    pose
}

#[expect(clippy::cast_precision_loss, reason = "step counts are far below 2^52")]
fn value_deg(from_deg: f64, to_deg: f64, step: usize, steps: usize) -> f64 {
    // The end is the end asked for, not a sum that nearly reaches it.
    if step + 1 == steps {
        to_deg
    } else {
        from_deg + (to_deg - from_deg) * (step as f64 / (steps - 1) as f64)
    }
}

/// How much one frame of a sweep asks, by its largest hip or knee angle of any motion: to 45 degrees upright, to 100
/// seated, beyond hard. Other joints ask nothing.
pub fn demand(frame: &PoseFrame) -> Demand {
    let joints = Side::BOTH
        .iter()
        .flat_map(|&side| [Bone::UpperLeg(side), Bone::LowerLeg(side)]);
    let angles = joints.flat_map(|bone| {
        let motions: &[Motion] = Joint::of(bone).map_or(&[], Joint::motions);
        motions.iter().filter_map(move |&motion| frame.get(bone, motion))
    });
    let largest_deg = angles.map(f64::abs).fold(0.0, f64::max).to_degrees();
    // Degrees made of radians made of degrees differ in the last digits.
    match largest_deg - 1e-6 {
        angle if angle <= 45.0 => Demand::Upright,
        angle if angle <= 100.0 => Demand::Seated,
        _ => Demand::Hard,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn motion(text: &str) -> JointMotion {
        JointMotion::parse(text).unwrap()
    }

    #[test]
    fn a_sweep_runs_from_end_to_end_on_the_side_asked_for() {
        let pose = sweep(motion("hip.flexion"), 0.0, 120.0, 5, OnSide::Right);
        let right = |frame: &PoseFrame| frame.get(Bone::UpperLeg(Side::Right), Motion::Flexion).unwrap();
        let degrees: Vec<f64> = pose
            .frames
            .iter()
            .map(|frame| right(frame).to_degrees().round())
            .collect();
        assert_eq!(degrees, [0.0, 30.0, 60.0, 90.0, 120.0]);
        assert!(pose.frames.iter().all(|frame| frame.angles.len() == 1));
        assert_eq!((pose.demand, pose.beyond_range), (Demand::Hard, false));
        assert_eq!(
            sweep(motion("hip.flexion"), 0.0, 100.0, 5, OnSide::Both).demand,
            Demand::Seated
        );
        assert_eq!(
            sweep(motion("knee.flexion"), 0.0, 45.0, 5, OnSide::Both).demand,
            Demand::Upright
        );
        assert_eq!(
            sweep(motion("shoulder.elevation"), 0.0, 170.0, 5, OnSide::Both).demand,
            Demand::Upright
        );
        assert!(sweep(motion("hip.abduction"), 0.0, 80.0, 2, OnSide::Both).beyond_range);
    }

    #[test]
    fn ranges_are_read_from_text() {
        let read = parse("hip.flexion=0:120").unwrap();
        assert_eq!(
            (read.what, read.from_deg, read.to_deg),
            (motion("hip.flexion"), 0.0, 120.0)
        );
        assert_eq!(parse("knee.flexion = -5 : 10.5").unwrap().from_deg, -5.0);
        for text in [
            "hip.flexion",
            "hip.flexion=5",
            "hip.flexion=a:b",
            "hip.flexion=0:nan",
            "hip.flexion=5:5",
        ] {
            assert!(matches!(parse(text), Err(PoseError::Sweep { .. })), "{text}");
        }
        let error = parse("hip.flexon=0:1").unwrap_err();
        assert!(matches!(error, PoseError::Unknown { help, .. } if help == "did you mean `hip.flexion`?"));
    }
}
