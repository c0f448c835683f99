//! Bodies across garments, and failures by what would mend them, on invented runs.

use super::*;
use crate::outcome::{Cause, Place, Remedy};
use crate::report::sample;

fn spot(region: &str, side: &str, cause: Cause, value: f64) -> Spot {
    Spot {
        measure: "skin_shows.inner.area_cm2".into(),
        value,
        unit: "cm2".into(),
        region: region.into(),
        side: side.into(),
        area_cm2: 3.0,
        pose: "standing".into(),
        frame: 0,
        onset: None,
        onset_motion: String::new(),
        removed_share: None,
        triangles: Vec::new(),
        place: Place {
            surface: String::new(),
            vertex: 0,
            position_m: [0.0; 3],
            region: region.into(),
            seen_from: String::new(),
            seen_along: None,
        },
        joints: Vec::new(),
        cause,
        say: String::new(),
        remedies: vec![Remedy {
            action: format!("give the fabric other weights, {value}"),
            by: "12 vertices".into(),
            before: value,
            after: 0.0,
            elsewhere: String::new(),
            still_failing: None,
        }],
    }
}

/// Three bodies in two garments; the trousers fail on two of the bodies.
fn rack() -> Outcome {
    let mut outcome = sample::outcome();
    let first = outcome.fittings.remove(0);
    for body in ["ash", "birch", "cedar"] {
        for name in ["trousers", "tunic"] {
            let mut one = first.clone();
            one.body = body.into();
            one.garments[0].name = name.into();
            if name == "tunic" || body == "cedar" {
                one.verdict = Verdict::Pass;
                one.reasons.clear();
            } else {
                let value = if body == "birch" { 90.0 } else { 20.0 };
                one.spots = vec![spot("inner left thigh", "left", Cause::Weights, value)];
                one.reasons.truncate(1);
            }
            outcome.fittings.push(one);
        }
    }
    outcome
}

#[test]
fn failures_are_grouped_by_place_and_cause_with_what_helped_the_worst() {
    let mut outcome = rack();
    outcome.fittings[2]
        .spots
        .push(spot("seat", "left", Cause::Shape, 4.0));
    let groups = groups(&outcome);
    assert_eq!(groups.len(), 2, "{groups:?}");
    assert_eq!(
        (
            groups[0].place.as_str(),
            groups[0].cause,
            groups[0].share.as_str(),
            groups[0].fittings
        ),
        ("inner left thigh", "weights", "2 of 3 bodies, 1 of 2 garments", 2)
    );
    assert_eq!(
        groups[0].mend,
        "give the fabric other weights, 90 (trousers on birch)"
    );
    assert_eq!(
        (groups[1].place.as_str(), groups[1].mend.as_str()),
        ("left seat", "give the fabric other weights, 4")
    );
}

#[test]
fn a_failure_without_a_spot_is_grouped_by_what_and_where() {
    let mut outcome = rack();
    outcome.fittings.iter_mut().for_each(|one| one.spots.clear());
    let groups = groups(&outcome);
    assert_eq!(groups.len(), 1, "{groups:?}");
    assert_eq!(groups[0].place, "inner left thigh: skin shows through");
    assert_eq!((groups[0].cause, groups[0].fittings), ("", 2));
    assert!(
        super::groups(&Outcome {
            fittings: Vec::new(),
            ..outcome
        })
        .is_empty()
    );
}

#[test]
fn the_table_has_a_cell_for_every_fitting_and_becomes_a_list_where_it_does_not_fit() {
    let mut outcome = rack();
    let wide = table(&outcome, 200);
    let lines: Vec<&str> = wide.lines().collect();
    assert_eq!(lines.len(), 3, "{wide}");
    assert!(lines[0].contains("on ash") && lines[0].contains("on cedar"));
    assert!(
        lines[1].starts_with("trousers  FAIL skin shows through 243 cm²  FAIL"),
        "{wide}"
    );
    assert!(
        lines[2].contains("PASS") && lines[2].contains("% of a limit"),
        "{wide}"
    );
    let narrow = table(&outcome, 60);
    assert_eq!(narrow.lines().count(), 6, "{narrow}");
    assert!(
        narrow
            .lines()
            .nth(2)
            .unwrap()
            .starts_with("trousers  on birch  FAIL"),
        "{narrow}"
    );
    // A garment that only one body wears leaves an empty cell.
    outcome.fittings.remove(1);
    assert_eq!(table(&outcome, 200).lines().count(), 3);
}
