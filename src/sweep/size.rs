//! How far towards a size does a garment hold? Halving between the body as built and a size in which something fails.

use crate::contact::tape::{self, Tape};
use crate::fitting::{self, Dressed, Plan};
use crate::outcome::{Fitting, Reason, SizeResult, Verdict};
use std::collections::BTreeMap;

/// The way to a size is halved so often: the share is known to a thirty-second.
const HALVINGS: usize = 5;
/// A girth that changes by less is not worth naming.
const LEAST_CHANGE: f64 = 0.005;

/// What the size changes on a tape, and, where the fitting failed in it, how far towards it the garment holds.
///
/// `dress` gives body and garment a share of the way from as built (0) to the size (1), or `None` where it cannot;
/// `worn` is what came out in the size itself. Only the poses that fail there are run again.
pub fn towards(
    size: &str,
    dress: &mut dyn FnMut(f64) -> Option<Dressed>,
    plan: &Plan,
    worn: &Fitting,
) -> Option<SizeResult> {
    let girths = girths(&dress(1.0)?);
    let mut result = SizeResult {
        size: size.to_owned(),
        girths: girths
            .iter()
            .map(|(tape, times)| (tape.words().to_owned(), *times))
            .collect(),
        clean_to: None,
        say: String::new(),
    };
    if worn.verdict != Verdict::Fail {
        return Some(result);
    }
    let failing = Plan {
        sequences: (plan.sequences.iter().zip(&worn.poses))
            .filter(|(_, pose)| pose.verdict == Verdict::Fail)
            .map(|(sequence, _)| sequence.clone())
            .collect(),
        ..plan.clone()
    };
    let mut run = |share: f64| Some(fitting::run(&dress(share)?, &failing, &|| {}));
    // Where no pose fails, the rig itself does, in every size.
    if failing.sequences.is_empty() || run(0.0)?.verdict >= Verdict::Fail {
        result.say = "fails as built too, whatever the size".into();
        return Some(result);
    }
    let (mut clean, mut fails, mut first) = (0.0, 1.0, worn.clone());
    for _ in 0..HALVINGS {
        let middle = (clean + fails) / 2.0;
        let found = run(middle)?;
        if found.verdict >= Verdict::Fail {
            (fails, first) = (middle, found);
        } else {
            clean = middle;
        }
    }
    let reason = first.reasons.iter().find(|reason| !reason.pose.is_empty());
    result.clean_to = Some(clean);
    result.say = in_words(size, clean, &self::girths(&dress(clean)?), &girths, reason);
    Some(result)
}

/// How many times as long as built each tape is.
fn girths(dressed: &Dressed) -> BTreeMap<Tape, f64> {
    let times = |tape: Tape| tape::girths(&dressed.body, tape).map(|[built, worn]| (tape, worn / built));
    Tape::ALL.into_iter().filter_map(times).collect()
}

/// `clean to thigh girth x 1.15, 62 % of the way to most; beyond that ...`.
fn in_words(
    size: &str,
    clean: f64,
    at_clean: &BTreeMap<Tape, f64>,
    at_size: &BTreeMap<Tape, f64>,
    reason: Option<&Reason>,
) -> String {
    let changes = |tape: &Tape| (at_size.get(tape).copied().unwrap_or(1.0) - 1.0).abs();
    let near = reason
        .and_then(|reason| Tape::near(&reason.place.as_ref()?.region))
        .filter(|tape| changes(tape) >= LEAST_CHANGE);
    let most = || {
        let tapes = Tape::ALL.into_iter().filter(|tape| changes(tape) >= LEAST_CHANGE);
        tapes.max_by(|a, b| changes(a).total_cmp(&changes(b)))
    };
    let way = format!("{:.0} % of the way to {size}", clean * 100.0);
    let beyond = reason.map_or_else(String::new, |reason| format!("; beyond that: {}", reason.say));
    match near
        .or_else(most)
        .and_then(|tape| Some((tape, at_clean.get(&tape)?)))
    {
        Some((tape, times)) => format!("clean to {} x {times:.2}, {way}{beyond}", tape.words()),
        None => format!("clean to {way}{beyond}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reason(region: &str) -> Reason {
        Reason {
            what: "skin_shows.inner.area_cm2".into(),
            pose: "standing".into(),
            frame: 0,
            value: Some(3.0),
            limit: Some(1.0),
            weight: Verdict::Fail,
            say: "Skin shows.".into(),
            place: Some(crate::outcome::Place {
                surface: "trousers".into(),
                vertex: 1,
                position_m: [0.0; 3],
                region: region.into(),
                seen_from: String::new(),
                seen_along: None,
            }),
        }
    }

    #[test]
    fn the_tape_nearest_to_the_fault_is_named_if_the_size_changes_it() {
        let half = BTreeMap::from([(Tape::Thigh, 1.1456), (Tape::Waist, 1.2), (Tape::Calf, 1.0)]);
        let whole = BTreeMap::from([(Tape::Thigh, 1.3), (Tape::Waist, 1.4), (Tape::Calf, 1.001)]);
        let say = |region: &str| in_words("most", 0.5, &half, &whole, Some(&reason(region)));
        assert_eq!(
            say("inner left thigh"),
            "clean to thigh girth x 1.15, 50 % of the way to most; beyond that: Skin shows."
        );
        assert!(
            say("left calf").starts_with("clean to waist girth x 1.20"),
            "{}",
            say("left calf")
        );
        let none = BTreeMap::new();
        assert_eq!(
            in_words("L", 0.25, &none, &none, None),
            "clean to 25 % of the way to L"
        );
    }
}
