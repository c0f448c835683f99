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
    /// Places that may be over their limit: they warn.
    pub excuses: Vec<Excuse>,
}

/// A place that may be over its limit, and why.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Excuse {
    /// Limit key, or a measure with all its numbers.
    pub measure: String,
    /// The pose; every pose where it is empty.
    pub pose: String,
    /// In tailor's words; the whole garment where it is empty.
    pub region: String,
    /// In the words of who excused it.
    pub reason: String,
    /// The last day it holds, `2027-01-31`; empty for always.
    pub until: String,
    /// That day is over: it excuses nothing, and says so.
    pub expired: bool,
}

impl Excuse {
    fn is_for(&self, pose: &str, path: &str) -> bool {
        let numbers = path.strip_prefix(&self.measure);
        numbers.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
            && (self.pose.is_empty() || self.pose == pose)
    }

    /// Whether it holds for a frame. One for a region holds where the worst place lies in it; where the number is
    /// an area of a measure that is summed up by region, what lies in other regions must be within the limit by itself.
    fn holds(&self, result: &PoseResult, frame: &FrameResult, path: &str, limit: f64) -> bool {
        if !self.is_for(&result.pose, path) {
            return false;
        }
        if self.region.is_empty() {
            return true;
        }
        let here = frame
            .place_of(path)
            .is_some_and(|place| place.region == self.region);
        here && (!path.ends_with("_cm2") || elsewhere(result, path, &self.region) <= limit)
    }

    fn words(&self) -> String {
        let reason = self.reason.trim_end_matches('.');
        match (self.expired, self.until.as_str()) {
            (true, until) => format!(" The excuse for this ran out on {until} ({reason})."),
            (false, "") => format!(" Excused: {reason}."),
            (false, until) => format!(" Excused until {until}: {reason}."),
        }
    }
}

/// The area over the limit outside a region, at most: each region's gravest frame.
fn elsewhere(result: &PoseResult, path: &str, region: &str) -> f64 {
    let id = path.split('.').next().unwrap_or(path);
    let others = result.regions.iter().filter(|(name, _)| *name != region);
    others
        .filter_map(|(_, numbers)| numbers.get(&format!("{id}.over_cm2")))
        .sum()
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
            let excuse = fails
                .then(|| excuse(result, frame, path, limit, promises))
                .flatten();
            let excused = excuse.is_some_and(|excuse| !excuse.expired);
            let weight = if can_be_helped(frame, path) && !excused {
                over
            } else {
                Verdict::Warn
            };
            let worse = worst.get(path.as_str()).is_none_or(|known| {
                (weight > known.weight) || (weight == known.weight && worse_than(value, known.value))
            });
            if fails && worse {
                let mut reason = reason(result, frame, path, value, limit, weight);
                reason.say.extend(excuse.map(Excuse::words));
                worst.insert(path, reason);
            }
        }
    }
    result.verdict = worst
        .values()
        .fold(Verdict::Pass, |worst, reason| worst.max(reason.weight));
    worst.into_values().collect()
}

/// The excuse for a frame, one that holds before one that ran out. What was not measured is never excused.
fn excuse<'a>(
    result: &PoseResult,
    frame: &FrameResult,
    path: &str,
    limit: f64,
    promises: &'a Promises,
) -> Option<&'a Excuse> {
    frame.measures.get(path)?;
    let holding = promises
        .excuses
        .iter()
        .filter(|excuse| excuse.holds(result, frame, path, limit));
    holding.min_by_key(|excuse| excuse.expired)
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
    !class.is_some_and(|class| cannot_be_helped(class))
}

/// Whether a class of contact is one that no edit of the garment can help.
pub fn cannot_be_helped(class: &str) -> bool {
    matches!(class, "no_room" | "body_overlaps")
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
                ..Promises::default()
            },
        );
        assert_eq!(promised.verdict, Verdict::Fail);
    }

    #[test]
    fn an_excuse_warns_until_its_last_day_and_hides_no_other_place() {
        let place = |region: &str| crate::outcome::Place {
            surface: String::new(),
            vertex: 0,
            position_m: [0.0; 3],
            region: region.into(),
            seen_from: String::new(),
            seen_along: None,
        };
        let mut seat = result(Demand::Upright, Some(9.0));
        seat.frames[0].worst.insert("lift".into(), place("seat"));
        let judged = |result: &PoseResult, excuse: Excuse| {
            let promises = Promises {
                excuses: vec![excuse],
                ..Promises::default()
            };
            let mut result = result.clone();
            let reasons = pose(&mut result, &lift_only(), &promises);
            (result.verdict, reasons[0].say.clone())
        };
        let excuse = Excuse {
            measure: "lift".into(),
            region: "seat".into(),
            reason: "a flap that is meant.".into(),
            until: "2027-01-31".into(),
            ..Excuse::default()
        };
        let (verdict, say) = judged(&seat, excuse.clone());
        assert_eq!(verdict, Verdict::Warn);
        assert!(
            say.ends_with(" Excused until 2027-01-31: a flap that is meant."),
            "{say}"
        );
        let expired = Excuse {
            expired: true,
            ..excuse.clone()
        };
        let (verdict, say) = judged(&seat, expired);
        assert_eq!(verdict, Verdict::Fail);
        assert!(say.contains("ran out on 2027-01-31"), "{say}");
        for other in [
            Excuse {
                region: "waist".into(),
                ..excuse.clone()
            },
            Excuse {
                measure: "lif".into(),
                ..excuse.clone()
            },
            Excuse {
                measure: "lift.worst_mm".into(),
                ..excuse.clone()
            },
            Excuse {
                pose: "sitting".into(),
                ..excuse.clone()
            },
        ] {
            assert_eq!(judged(&seat, other).0, Verdict::Fail);
        }
        // The worst lies in the seat, but what lies at the waist would fail by itself.
        let mut waist = Numbers::default();
        waist.values.insert("lift.over_cm2".into(), Some(8.5));
        seat.regions.insert("waist".into(), waist);
        assert_eq!(judged(&seat, excuse.clone()).0, Verdict::Fail);
        assert_eq!(
            judged(
                &seat,
                Excuse {
                    region: String::new(),
                    ..excuse.clone()
                }
            )
            .0,
            Verdict::Warn
        );
        // Silence is not excused.
        assert_eq!(
            judged(
                &result(Demand::Upright, None),
                Excuse {
                    region: String::new(),
                    ..excuse
                }
            )
            .0,
            Verdict::Fail
        );
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
