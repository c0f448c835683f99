//! Does every planted fault get its cause, and a remedy after which it is gone?

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::demo::{self, Fault};
use gusset::fitting::{Dressed, Plan, Sequence, run};
use gusset::outcome::{Cause, Fitting, Spot, Verdict};
use gusset::pose;
use gusset::remedies;
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
    }
}
