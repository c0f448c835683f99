//! Does every planted fault get its cause, and a remedy after which it is gone?

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::demo::{self, Fault, Planted};
use gusset::fitting::{Dressed, Plan, Sequence, run};
use gusset::outcome::{Cause, Fitting, Spot, Verdict};
use gusset::pose;
use gusset::remedies;
use gusset::rig::gltf::{self, ReadOptions};
use gusset::wardrobe::{Outfit, dress, dress_rigs};

fn plan(names: &[&str]) -> Plan {
    let poses = pose::all()
        .iter()
        .filter(|pose| names.contains(&pose.name.as_str()));
    Plan {
        sequences: poses.map(Sequence::from).collect(),
        ..Plan::default()
    }
}

fn spots(dressed: &Dressed, names: &[&str]) -> (Fitting, Vec<Spot>) {
    let plan = plan(names);
    let fitting = run(dressed, &plan, &|| ());
    let spots = remedies::find(dressed, &plan, &fitting, &|| ());
    (fitting, spots)
}

fn real(rigs: &std::path::Path, garment: &str) -> Dressed {
    let outfit = Outfit {
        body: Some(rigs.join("bodies/mhr_body_average.glb")),
        garment: rigs.join("trousers").join(garment),
        ..Outfit::default()
    };
    dress(&outfit).unwrap()
}

#[test]
fn the_three_planted_trousers_get_their_cause() {
    let Some(rigs) = support::rigs() else { return };
    let (_, bled) = spots(
        &real(&rigs, "trousers_average_defect_bleed_L_to_R.glb"),
        &["standing", "sitting"],
    );
    assert_eq!(bled[0].cause, Cause::Weights);
    assert!(bled[0].region.contains("right thigh"), "{}", bled[0].region);
    assert!(bled[0].say.contains("leftUpperLeg"), "{}", bled[0].say);
    assert!(
        bled[0].remedies[0].after < 0.05 * bled[0].remedies[0].before,
        "{:?}",
        bled[0].remedies
    );

    let (_, smoothed) = spots(
        &real(&rigs, "trousers_average_defect_oversmooth.glb"),
        &["standing", "sitting"],
    );
    assert_eq!(smoothed[0].cause, Cause::Weights);
    assert!(
        smoothed[0].remedies[0].action.contains("whole garment"),
        "{:?}",
        smoothed[0].remedies
    );

    let (fitting, row) = spots(
        &real(&rigs, "trousers_average_defect_unnormalised_row.glb"),
        &["standing", "sitting"],
    );
    assert_eq!(fitting.verdict, Verdict::Fail);
    assert_eq!(
        (row.len(), row[0].cause, row[0].place.vertex),
        (1, Cause::Rows, 172)
    );
}

#[test]
fn clean_trousers_have_no_spot() {
    let Some(rigs) = support::rigs() else { return };
    let (fitting, none) = spots(
        &real(&rigs, "trousers_average_build9.glb"),
        &["standing", "sitting"],
    );
    assert_eq!(fitting.verdict, Verdict::Pass);
    assert!(none.is_empty(), "{none:?}");
}

/// On the demo's trousers, without any file: a sunk panel is a matter of shape, a ripped seam one of its weights.
#[test]
fn faults_planted_in_the_demo_get_their_cause() {
    let scenario = demo::scenario();
    let wearer = &scenario.bodies[0].rig;
    for (fault, cause) in [
        (Fault::Bleed, Cause::Weights),
        (Fault::Sunk, Cause::Shape),
        (Fault::Ripped, Cause::Seam),
    ] {
        let (_, worn) = scenario
            .faulty
            .iter()
            .find(|(planted, _)| *planted == fault)
            .unwrap();
        let dressed = dress_rigs(wearer.clone(), worn.piece.rig.clone());
        let (fitting, spots) = spots(&dressed, &["standing", "sitting"]);
        assert_eq!(fitting.verdict, Verdict::Fail, "{fault:?}");
        assert_eq!(spots[0].cause, cause, "{fault:?}: {}", spots[0].say);
        assert!(!spots[0].remedies.is_empty());
        assert!(
            spots.iter().all(|spot| spot.measure != "file"),
            "{fault:?}: the file is right"
        );
    }
}

/// Planted in clean trousers of the demo: what is wrong with the file as a whole, or with its joints, is named and not a
/// place that it spoils; and with the remedy everything passes.
#[test]
fn a_file_that_is_wrong_as_a_whole_is_mended_as_a_whole() {
    let scenario = demo::scenario();
    let wearer = &scenario.bodies[0].rig;
    let clean = &scenario.garments[0].piece.rig;
    for (fault, cause, words) in [
        (Fault::WrongScale, Cause::Scale, "scale the whole garment by 0.01"),
        (
            Fault::WrongAxes,
            Cause::Axes,
            "turn the whole garment by 270 degrees about x",
        ),
        (
            Fault::WrongBind,
            Cause::Bind,
            "bind the garment with the hips splayed",
        ),
        (
            Fault::Tight,
            Cause::Shape,
            "pull the fabric out on the whole garment",
        ),
        (Fault::MissingJoint, Cause::Joints, "add the joints"),
    ] {
        let garment = demo::plant(clean, Planted::from(fault));
        let dressed = dress_rigs(wearer.clone(), garment);
        let (fitting, spots) = spots(&dressed, &["standing", "sitting", "walk"]);
        assert!(fitting.verdict >= Verdict::Fail, "{fault:?}");
        let first = spots
            .first()
            .unwrap_or_else(|| panic!("{fault:?}: {:?}", fitting.reasons[0].say));
        assert_eq!(first.cause, cause, "{fault:?}: {}", first.say);
        let remedy = &first.remedies[0];
        assert!(remedy.action.starts_with(words), "{fault:?}: {}", remedy.action);
        // Cloth pushed in and let out again along its normals is no longer quite what it was in the crotch.
        let left = u64::from(fault == Fault::Tight);
        assert!(
            remedy.still_failing.is_some_and(|count| count <= left),
            "{fault:?}: {remedy:?}"
        );
    }
}

/// Bound to another body's skeleton: nothing that is tried may be named.
#[test]
fn what_no_edit_mends_gets_no_remedy() {
    let scenario = demo::scenario();
    let clean = &scenario.garments[0].piece.rig;
    let garment = demo::plant(clean, Planted::from(Fault::OtherSkeleton));
    let (fitting, none) = spots(
        &dress_rigs(scenario.bodies[0].rig.clone(), garment),
        &["standing", "sitting"],
    );
    assert_eq!(fitting.verdict, Verdict::CouldNotRun);
    assert!(none.is_empty(), "{none:?}");
}

/// Trousers whose shape was built with the legs straight down, bound to legs that stand 9 degrees apart.
#[test]
fn build_0_trousers_bound_at_9_are_named_a_wrong_bind() {
    let Some(rigs) = support::rigs() else { return };
    let read = |file: &str| gltf::read(&rigs.join(file), &ReadOptions::default()).unwrap();
    let mut zero = read("trousers/trousers_average_build0.glb");
    let nine = read("trousers/trousers_average_build9.glb");
    for bind in &mut zero.meshes[0].binds {
        let name = &zero.nodes[bind.node].name;
        let same = nine.meshes[0]
            .binds
            .iter()
            .find(|other| nine.nodes[other.node].name == *name);
        bind.inverse_bind = same.unwrap().inverse_bind;
    }
    let dressed = dress_rigs(read("bodies/mhr_body_average.glb"), zero);
    let (_, spots) = spots(&dressed, &["standing", "sitting"]);
    assert_eq!(spots[0].cause, Cause::Bind, "{}", spots[0].say);
    assert_eq!(
        spots[0].remedies[0].still_failing,
        Some(0),
        "{:?}",
        spots[0].remedies
    );
}
