//! The poses that come with gusset: every file of `poses/`, inside the binary.

use super::{Pose, PoseError, parse};
use std::sync::LazyLock;

/// File name and text, sorted by name. A new pose is a file in `poses/` and a line here.
const FILES: &[(&str, &str)] = &[
    ("arms_back.yaml", include_str!("../../poses/arms_back.yaml")),
    ("arms_down.yaml", include_str!("../../poses/arms_down.yaml")),
    ("arms_forward.yaml", include_str!("../../poses/arms_forward.yaml")),
    ("arms_up.yaml", include_str!("../../poses/arms_up.yaml")),
    ("arms_wide.yaml", include_str!("../../poses/arms_wide.yaml")),
    ("bend_forward.yaml", include_str!("../../poses/bend_forward.yaml")),
    ("build_splay.yaml", include_str!("../../poses/build_splay.yaml")),
    ("cross_legged.yaml", include_str!("../../poses/cross_legged.yaml")),
    ("cycling.yaml", include_str!("../../poses/cycling.yaml")),
    ("elbows_bent.yaml", include_str!("../../poses/elbows_bent.yaml")),
    (
        "half_kneeling.yaml",
        include_str!("../../poses/half_kneeling.yaml"),
    ),
    (
        "hands_on_hips.yaml",
        include_str!("../../poses/hands_on_hips.yaml"),
    ),
    (
        "kneeling_on_heels.yaml",
        include_str!("../../poses/kneeling_on_heels.yaml"),
    ),
    ("lean_back.yaml", include_str!("../../poses/lean_back.yaml")),
    ("leg_back.yaml", include_str!("../../poses/leg_back.yaml")),
    ("leg_raise.yaml", include_str!("../../poses/leg_raise.yaml")),
    ("look_around.yaml", include_str!("../../poses/look_around.yaml")),
    ("lunge.yaml", include_str!("../../poses/lunge.yaml")),
    ("one_knee_up.yaml", include_str!("../../poses/one_knee_up.yaml")),
    (
        "range_of_motion.yaml",
        include_str!("../../poses/range_of_motion.yaml"),
    ),
    ("running.yaml", include_str!("../../poses/running.yaml")),
    ("side_bend.yaml", include_str!("../../poses/side_bend.yaml")),
    ("side_split.yaml", include_str!("../../poses/side_split.yaml")),
    ("sit_down.yaml", include_str!("../../poses/sit_down.yaml")),
    ("sitting.yaml", include_str!("../../poses/sitting.yaml")),
    (
        "sitting_knees_apart.yaml",
        include_str!("../../poses/sitting_knees_apart.yaml"),
    ),
    (
        "sitting_leaning.yaml",
        include_str!("../../poses/sitting_leaning.yaml"),
    ),
    ("sitting_low.yaml", include_str!("../../poses/sitting_low.yaml")),
    ("squat.yaml", include_str!("../../poses/squat.yaml")),
    ("squat_down.yaml", include_str!("../../poses/squat_down.yaml")),
    (
        "squat_heels_up.yaml",
        include_str!("../../poses/squat_heels_up.yaml"),
    ),
    ("stairs_down.yaml", include_str!("../../poses/stairs_down.yaml")),
    ("stairs_up.yaml", include_str!("../../poses/stairs_up.yaml")),
    ("standing.yaml", include_str!("../../poses/standing.yaml")),
    ("step_over.yaml", include_str!("../../poses/step_over.yaml")),
    ("tiptoe.yaml", include_str!("../../poses/tiptoe.yaml")),
    ("touch_toes.yaml", include_str!("../../poses/touch_toes.yaml")),
    ("twist.yaml", include_str!("../../poses/twist.yaml")),
    ("walk.yaml", include_str!("../../poses/walk.yaml")),
    ("wide_stance.yaml", include_str!("../../poses/wide_stance.yaml")),
];

static ALL: LazyLock<Vec<Pose>> = LazyLock::new(|| {
    let read = |&(file, text): &(&str, &str)| parse(text, file);
    FILES
        .iter()
        .map(read)
        .collect::<Result<_, _>>()
        .expect("a test reads every file of the library")
});

/// Every pose of the library, sorted by name.
pub fn all() -> &'static [Pose] {
    &ALL
}

/// The pose of that name.
///
/// # Errors
/// [`PoseError::Unknown`] with the nearest name of the library.
pub fn find(name: &str) -> Result<Pose, PoseError> {
    let found = all().iter().find(|pose| pose.name == name);
    found
        .cloned()
        .ok_or_else(|| PoseError::unknown("pose", name, all().iter().map(|pose| pose.name.as_str())))
}

#[cfg(test)]
mod tests {
    use super::super::{Angles, Motion, ranges};
    use super::*;
    use crate::outcome::Demand;
    use crate::rig::bone::{Bone, Side};
    use std::collections::BTreeSet;

    fn folder() -> Vec<String> {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/poses");
        let mut files: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|file| file != "README.md")
            .collect();
        files.sort();
        files
    }

    #[test]
    fn no_file_is_forgotten() {
        let listed: Vec<&str> = FILES.iter().map(|(file, _)| *file).collect();
        assert_eq!(listed, folder());
        assert!(listed.len() >= 24);
    }

    #[test]
    fn every_file_is_named_after_its_pose_and_legal_or_marked() {
        for (file, text) in FILES {
            let pose = parse(text, file).unwrap_or_else(|error| panic!("{:?}", error.report()));
            assert_eq!(format!("{}.yaml", pose.name), *file);
            assert!(
                pose.about.ends_with('.') && pose.about.len() < 120,
                "{file}: {}",
                pose.about
            );
            assert!(
                pose.beyond_range || ranges::check(&pose).is_empty(),
                "{file}: {:?}",
                ranges::check(&pose)
            );
            let stray = pose.optional.iter().find(|bone| !pose.bones().contains(bone));
            assert_eq!(stray, None, "{file}: optional, but never named");
        }
    }

    #[test]
    fn names_are_found_and_slips_are_answered() {
        assert_eq!(find("sitting").unwrap().demand, Demand::Seated);
        let error = find("siting").unwrap_err();
        assert_eq!(error.to_string(), "there is no pose called `siting`");
        assert!(matches!(error, PoseError::Unknown { help, .. } if help == "did you mean `sitting`?"));
    }

    fn degrees(pose: &str, frame: usize, bone: Bone, motion: Motion) -> f64 {
        find(pose).unwrap().frames[frame]
            .get(bone, motion)
            .unwrap()
            .to_degrees()
    }

    #[test]
    fn published_angles_arrive_in_the_frames() {
        let (left, right) = (Bone::UpperLeg(Side::Left), Bone::UpperLeg(Side::Right));
        let near =
            |found: f64, wanted: f64| assert!((found - wanted).abs() < 1e-9, "{found} is not {wanted}");
        near(degrees("cross_legged", 0, left, Motion::Abduction), 28.9);
        near(degrees("cross_legged", 0, right, Motion::Rotation), 62.0);
        near(degrees("squat", 0, Bone::Foot(Side::Left), Motion::Flexion), 25.0);
        // Rows 52 % and 72 % of the adult table, and the right leg half a cycle later: between 48 and 52 % of the left.
        near(degrees("walk", 13, left, Motion::Flexion), -19.3);
        near(
            degrees("walk", 18, Bone::LowerLeg(Side::Left), Motion::Flexion),
            63.9,
        );
        near(
            degrees("walk", 0, right, Motion::Flexion),
            -12.7 + (-19.3 + 12.7) * 10.0 / 12.0,
        );
        assert_eq!(
            find("standing").unwrap().frames[0].angles[&Bone::LowerLeg(Side::Left)],
            Angles::Bind
        );
    }

    #[test]
    fn demand_is_what_the_design_says() {
        let of = |demand: Demand| -> BTreeSet<&str> {
            all()
                .iter()
                .filter(|pose| pose.demand == demand)
                .map(|pose| pose.name.as_str())
                .collect()
        };
        let hard = of(Demand::Hard);
        for name in [
            "squat",
            "side_split",
            "lunge",
            "cross_legged",
            "kneeling_on_heels",
            "range_of_motion",
        ] {
            assert!(hard.contains(name), "{name}");
        }
        let seated = of(Demand::Seated);
        for name in [
            "stairs_up",
            "stairs_down",
            "sitting",
            "sitting_leaning",
            "sitting_knees_apart",
            "cycling",
            "running",
        ] {
            assert!(seated.contains(name), "{name}");
        }
        let upright = of(Demand::Upright);
        for name in [
            "standing",
            "build_splay",
            "wide_stance",
            "walk",
            "bend_forward",
            "twist",
            "arms_up",
        ] {
            assert!(upright.contains(name), "{name}");
        }
    }

    #[test]
    fn a_body_without_arms_can_walk_but_not_raise_them() {
        let arm = |bone: &Bone| matches!(bone, Bone::UpperArm(_) | Bone::LowerArm(_));
        assert!(find("walk").unwrap().bones().iter().any(arm));
        assert!(!find("walk").unwrap().needs().iter().any(arm));
        assert!(find("arms_up").unwrap().needs().iter().any(arm));
    }
}
