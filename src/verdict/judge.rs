//! Pass, warn or fail, frame by frame, and which reason is the worst.

use super::{Limits, say};
use crate::outcome::{Demand, Finding, FrameResult, PoseResult, Reason, Severity, Verdict};
use std::collections::BTreeMap;

/// What a fitting promises beyond the everyday.
#[derive(Clone, Debug, Default)]
pub struct Promises {
    /// Hard poses that must hold: over a limit they fail instead of warn.
    pub promised: Vec<String>,
    /// Every hard pose must hold.
    pub strict: bool,
}

/// Judges all frames of a pose: sets its verdict and returns the worst reason of each number that is over.
pub fn pose(result: &mut PoseResult, limits: &Limits, promises: &Promises) -> Vec<Reason> {
    let over = weight(result, promises);
    let mut worst: BTreeMap<&str, Reason> = BTreeMap::new();
    for (path, most) in &limits.most {
        let Some(&limit) = most.get(&result.demand) else {
            continue;
        };
        for frame in &result.frames {
            let value = frame.measures.get(path);
            let fails = value.is_none_or(|value| !value.is_finite() || value > limit);
            let weight = if can_be_helped(frame, path) {
                over
            } else {
                Verdict::Warn
            };
            let worse = worst.get(path.as_str()).is_none_or(|known| {
                (weight > known.weight) || (weight == known.weight && worse_than(value, known.value))
            });
            if fails && worse {
                worst.insert(path, reason(result, frame, path, value, limit, weight));
            }
        }
    }
    result.verdict = worst
        .values()
        .fold(Verdict::Pass, |worst, reason| worst.max(reason.weight));
    worst.into_values().collect()
}

/// Over the limit fails, except in a hard pose that nobody promised.
fn weight(result: &PoseResult, promises: &Promises) -> Verdict {
    let promised = promises.strict || promises.promised.contains(&result.pose);
    if result.demand == Demand::Hard && !promised {
        Verdict::Warn
    } else {
        Verdict::Fail
    }
}

/// Whether an edit of this garment could help: not where the legs have no room for its ease, nor where the body itself
/// overlaps (DESIGN 6). Such numbers warn.
pub fn can_be_helped(frame: &FrameResult, path: &str) -> bool {
    let class = path
        .rsplit_once('.')
        .and_then(|(group, _)| frame.measures.words.get(&format!("{group}.class")));
    !matches!(class.map(String::as_str), Some("no_room" | "body_overlaps"))
}

/// Not measured is worse than any number.
fn worse_than(value: Option<f64>, known: Option<f64>) -> bool {
    match (value, known) {
        (_, None) => false,
        (None, Some(_)) => true,
        (Some(value), Some(known)) => value > known,
    }
}

fn reason(
    result: &PoseResult,
    frame: &FrameResult,
    path: &str,
    value: Option<f64>,
    limit: f64,
    weight: Verdict,
) -> Reason {
    let place = frame.place_of(path).cloned();
    Reason {
        what: path.to_owned(),
        pose: result.pose.clone(),
        frame: frame.frame,
        value,
        limit: Some(limit),
        weight,
        say: say::over(path, value, limit, place.as_ref(), &frame.measures),
        place,
    }
}

/// A rig finding that is more than a note, as a reason.
pub fn finding(finding: &Finding) -> Option<Reason> {
    let weight = match finding.severity {
        Severity::Note => return None,
        Severity::Fault => Verdict::Fail,
        Severity::Stop => Verdict::CouldNotRun,
    };
    Some(Reason {
        what: finding.code.clone(),
        pose: String::new(),
        frame: 0,
        value: None,
        limit: None,
        weight,
        say: format!("{} {}", finding.say, finding.help),
        place: None,
    })
}

/// Worst first: by weight, then findings, then by how many times the limit.
pub fn sort(reasons: &mut [Reason]) {
    let times = |reason: &Reason| match (reason.value, reason.limit) {
        (Some(value), Some(limit)) if limit > 0.0 => value / limit,
        _ => f64::INFINITY,
    };
    reasons.sort_by(|a, b| {
        b.weight
            .cmp(&a.weight)
            .then_with(|| times(b).total_cmp(&times(a)))
            .then_with(|| a.pose.cmp(&b.pose))
            .then_with(|| a.what.cmp(&b.what))
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::Numbers;
    use crate::verdict::limits::DEMANDS;

    fn result(demand: Demand, value: Option<f64>) -> PoseResult {
        let mut measures = Numbers::default();
        measures.values.insert("lift.area_cm2".into(), value);
        PoseResult {
            pose: "standing".into(),
            about: String::new(),
            demand,
            verdict: Verdict::NotApplicable,
            regions: BTreeMap::new(),
            not_applicable: None,
            frames: vec![FrameResult {
                frame: 0,
                time_s: None,
                angles_deg: BTreeMap::new(),
                measures,
                worst: BTreeMap::new(),
                pairs: BTreeMap::new(),
            }],
        }
    }

    /// One measure, with limits of the test's own.
    fn lift_only() -> Limits {
        let by_demand = DEMANDS.into_iter().zip([4.0, 15.0, 20.0]);
        Limits {
            most: BTreeMap::from([("lift.area_cm2".into(), by_demand.collect())]),
        }
    }

    #[test]
    fn over_the_limit_fails_or_warns_by_demand() {
        for (demand, value, verdict) in [
            (Demand::Upright, Some(4.0), Verdict::Pass),
            (Demand::Upright, Some(4.1), Verdict::Fail),
            (Demand::Seated, Some(15.1), Verdict::Fail),
            (Demand::Hard, Some(20.1), Verdict::Warn),
        ] {
            let mut pose_result = result(demand, value);
            pose(&mut pose_result, &lift_only(), &Promises::default());
            assert_eq!(pose_result.verdict, verdict, "{demand:?} {value:?}");
        }
        let mut promised = result(Demand::Hard, Some(20.1));
        pose(
            &mut promised,
            &lift_only(),
            &Promises {
                promised: vec!["standing".into()],
                strict: false,
            },
        );
        assert_eq!(promised.verdict, Verdict::Fail);
    }

    #[test]
    fn silence_is_never_a_pass() {
        for value in [None, Some(f64::NAN)] {
            let mut silent = result(Demand::Upright, value);
            let reasons = pose(&mut silent, &lift_only(), &Promises::default());
            assert_eq!(silent.verdict, Verdict::Fail);
            assert_eq!(reasons.len(), 1);
        }
    }
}
