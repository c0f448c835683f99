//! The accepted result: a small text file whose difference reads as a sentence.
//!
//! One line for each fitting, pose and judged number, in edge units, sorted; one for each pose's verdict; and one for each
//! place that fails, with its worst pose.

use super::{key, worst_of};
use crate::outcome::{Outcome, Spot, Verdict};
use crate::written::shortened;
use std::collections::BTreeMap;
use std::fmt::Write;
use thiserror::Error;

/// The first line of every accepted file.
const HEAD: &str = "gusset accepted result, format 1";

/// What was accepted.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Accepted {
    /// The worst value of each judged number, by [`key`].
    pub values: BTreeMap<String, f64>,
    /// The verdict of each pose, by [`key`] with `verdict` for the number.
    pub verdicts: BTreeMap<String, Verdict>,
    /// The worst value of each place that fails, by [`key`] with its worst pose and `spot lift.area_cm2 at left seat`.
    pub spots: BTreeMap<String, f64>,
    /// The limits it was judged by, as one number: another number, another judgement.
    pub limits: String,
}

/// Why an accepted file cannot be used: line and what is wrong there.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum AcceptedError {
    /// Not written by this program, or by another version of it.
    #[error("line 1 is not `{HEAD}`; accept a result again with: gusset accept REPORT GARMENT")]
    Head,
    /// Two lines about the same thing, as two edits merged leave them.
    #[error(
        "line {line} says again, or differently, what an earlier line says of `{text}`; accept the result again, or take one of them out"
    )]
    Again {
        /// From 1.
        line: usize,
        /// Of what.
        text: String,
    },
    /// A line that is none of the known kinds.
    #[error(
        "line {line}, `{text}`, is neither a number nor a verdict; accept the result again, or take the line out"
    )]
    Line {
        /// From 1.
        line: usize,
        /// Its beginning.
        text: String,
    },
}

/// Tells the line of a place from that of a number.
const SPOT: &str = ": spot ";

/// A place that fails, as the file names it: `spot lift.area_cm2 at left seat`.
pub(super) fn spot_words(spot: &Spot) -> String {
    let place = match (spot.region.as_str(), spot.side.as_str()) {
        ("", _) => "whole garment".to_owned(),
        (region, side) if side.is_empty() || region.contains(side) => region.to_owned(),
        (region, side) => format!("{side} {region}"),
    };
    format!("spot {} at {place}", spot.measure)
}

/// Fitting and place of a spot's line, whatever its worst pose.
pub(super) fn spot_of(key: &str) -> Option<(&str, &str)> {
    let (head, place) = key.split_once(SPOT)?;
    Some((head.rsplit_once(", ")?.0, place))
}

/// As the file keeps a number: to four figures, and never finer than a thousandth.
pub(super) fn rounded(value: f64) -> f64 {
    written(value).parse().unwrap_or(value)
}

fn written(value: f64) -> String {
    let size = value.abs();
    let places = match size {
        _ if size >= 1000.0 => 0,
        _ if size >= 100.0 => 1,
        _ if size >= 10.0 => 2,
        _ => 3,
    };
    let text = format!("{value:.places$}");
    if text.contains('.') {
        let short = text.trim_end_matches('0').trim_end_matches('.');
        if short == "-0" {
            "0".into()
        } else {
            short.to_owned()
        }
    } else {
        text
    }
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NotApplicable => "not_applicable",
        Verdict::Pass => "pass",
        Verdict::Warn => "warn",
        Verdict::PartlyTested => "partly_tested",
        Verdict::Fail => "fail",
        Verdict::CouldNotRun => "could_not_run",
    }
}

fn verdict(word_: &str) -> Option<Verdict> {
    [
        Verdict::NotApplicable,
        Verdict::Pass,
        Verdict::Warn,
        Verdict::PartlyTested,
        Verdict::Fail,
        Verdict::CouldNotRun,
    ]
    .into_iter()
    .find(|verdict| word(*verdict) == word_)
}

/// FNV-1a (Fowler, Noll, Vo) of the default limits: a number that changes when any of them does.
fn limits_of(outcome: &Outcome) -> String {
    let mut hash: u64 = 0xcbf2_9ce4_8422_2325;
    for (path, most) in &outcome.limits {
        for (demand, value) in most {
            for byte in format!("{path} {demand:?} {value}\n").bytes() {
                hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
            }
        }
    }
    format!("{hash:016x}")
}

impl Accepted {
    /// What a result would be accepted as.
    pub fn of(outcome: &Outcome) -> Self {
        let mut accepted = Self {
            limits: limits_of(outcome),
            ..Self::default()
        };
        for fitting in &outcome.fittings {
            let spots = fitting
                .spots
                .iter()
                .map(|spot| (key(fitting, &spot.pose, &spot_words(spot)), rounded(spot.value)));
            accepted.spots.extend(spots);
            for pose in &fitting.poses {
                accepted
                    .verdicts
                    .insert(key(fitting, &pose.pose, "verdict"), pose.verdict);
                if pose.not_applicable.is_none() {
                    let values = worst_of(fitting, pose).into_iter();
                    let rows = values.map(|(path, value)| (key(fitting, &pose.pose, &path), rounded(value)));
                    accepted.values.extend(rows);
                }
            }
        }
        accepted
    }

    /// Whether another result was judged by other limits or in other poses, in a sentence.
    pub fn stale(&self, outcome: &Outcome) -> Option<String> {
        let now = Self::of(outcome);
        if self.limits != now.limits {
            return Some("it was judged by other limits".into());
        }
        let missing = now.verdicts.keys().find(|key| !self.verdicts.contains_key(*key));
        missing.map(|key| format!("it does not know {}", key.trim_end_matches(": verdict")))
    }

    /// What it says of the fittings of a run that is one shard of a rack, or that left some out.
    #[must_use]
    pub fn of_run(&self, outcome: &Outcome) -> Self {
        let run: Vec<String> = outcome
            .fittings
            .iter()
            .map(|fitting| format!("{}, ", super::name(fitting)))
            .collect();
        let own = |key: &String| run.iter().any(|name| key.starts_with(name));
        let mut part = self.clone();
        part.values.retain(|key, _| own(key));
        part.verdicts.retain(|key, _| own(key));
        part.spots.retain(|key, _| own(key));
        part
    }

    /// A fitting it knows that is none of these (`trousers on ash`).
    pub fn stranger(&self, fittings: &[String]) -> Option<&str> {
        let known = |key: &str| {
            fittings
                .iter()
                .any(|name| key.strip_prefix(name).is_some_and(|rest| rest.starts_with(", ")))
        };
        let key = self.verdicts.keys().find(|key| !known(key))?;
        key.rsplit_once(": ")
            .and_then(|(head, _)| head.rsplit_once(", "))
            .map(|(name, _)| name)
    }

    /// The file.
    pub fn render(&self) -> String {
        let mut text = format!("{HEAD}\nlimits {}\n", self.limits);
        let mut lines: Vec<String> = Vec::new();
        lines.extend(
            self.values
                .iter()
                .chain(&self.spots)
                .map(|(key, value)| format!("{key} {}", written(*value))),
        );
        lines.extend(
            self.verdicts
                .iter()
                .map(|(key, verdict)| format!("{key} {}", word(*verdict))),
        );
        lines.sort_unstable();
        for line in lines {
            let _ = writeln!(text, "{line}");
        }
        text
    }

    /// Reads a file.
    ///
    /// # Errors
    /// The first line that is wrong.
    pub fn parse(text: &str) -> Result<Self, AcceptedError> {
        let mut lines = (1..).zip(text.lines());
        if lines.next().is_none_or(|(_, line)| line.trim_end() != HEAD) {
            return Err(AcceptedError::Head);
        }
        let mut accepted = Self::default();
        for (line, text) in lines.filter(|(_, text)| !text.trim().is_empty()) {
            let wrong = || AcceptedError::Line {
                line,
                text: shortened(text, 60),
            };
            if let Some(limits) = text.strip_prefix("limits ") {
                accepted.limits = limits.trim().to_owned();
                continue;
            }
            let (key, value) = text.trim_end().rsplit_once(' ').ok_or_else(wrong)?;
            let new = if key.ends_with(": verdict") {
                let verdict = verdict(value).ok_or_else(wrong)?;
                accepted.verdicts.insert(key.to_owned(), verdict).is_none()
            } else {
                let value: f64 = value.parse().map_err(|_| wrong())?;
                if !value.is_finite() || !key.contains(": ") {
                    return Err(wrong());
                }
                let into = match key.contains(SPOT) {
                    true => &mut accepted.spots,
                    false => &mut accepted.values,
                };
                into.insert(key.to_owned(), value).is_none()
            };
            if !new {
                let text = shortened(key, 120);
                return Err(AcceptedError::Again { line, text });
            }
        }
        Ok(accepted)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::{Kind, against};
    use crate::report::sample;

    /// The invented run, each fitting with the limits it was judged by.
    fn judged() -> Outcome {
        let mut outcome = sample::outcome();
        for fitting in &mut outcome.fittings {
            fitting.limits.clone_from(&outcome.limits);
        }
        outcome
    }

    #[test]
    fn what_is_written_is_read_back_and_nothing_changed() {
        let outcome = judged();
        let accepted = Accepted::of(&outcome);
        assert!(!accepted.values.is_empty());
        let again = Accepted::parse(&accepted.render()).unwrap();
        assert_eq!(again, accepted);
        assert_eq!(against(&again, &outcome), []);
        assert_eq!(again.stale(&outcome), None);
    }

    #[test]
    fn a_number_that_grows_is_worse_and_a_line_that_is_missing_is_new() {
        let outcome = judged();
        let mut accepted = Accepted::of(&outcome);
        let (key, value) = accepted
            .values
            .iter()
            .find(|(key, _)| key.ends_with("lift.area_cm2"))
            .unwrap();
        let (key, value) = (key.clone(), *value);
        accepted.values.insert(key.clone(), value - 2.0);
        let changes = against(&accepted, &outcome);
        assert_eq!(
            (changes.len(), changes[0].kind, &changes[0].key),
            (1, Kind::Worse, &key)
        );
        accepted.values.remove(&key);
        assert_eq!(against(&accepted, &outcome)[0].kind, Kind::New);
        let key_of_first = key.clone();
        accepted.values.insert(key, value);
        // A number that is not measured any more is gone; a pose that was not run is not.
        let pose = key_of_first.rsplit_once(": ").unwrap().0;
        accepted.values.insert(format!("{pose}: old.area_cm2"), 1.0);
        accepted
            .values
            .insert("nobody, sitting: lift.area_cm2".into(), 1.0);
        assert_eq!(against(&accepted, &outcome)[0].kind, Kind::Gone);
    }

    #[test]
    fn a_new_warning_is_worse_and_other_limits_are_stale() {
        let mut outcome = judged();
        let accepted = Accepted::of(&outcome);
        let pose = outcome.fittings[0]
            .poses
            .iter_mut()
            .find(|pose| pose.verdict == Verdict::Pass)
            .unwrap();
        pose.verdict = Verdict::Warn;
        let changes = against(&accepted, &outcome);
        assert_eq!((changes.len(), changes[0].kind), (1, Kind::Worse));
        outcome.limits.clear();
        assert!(accepted.stale(&outcome).is_some());
    }

    #[test]
    fn a_shard_is_measured_against_its_own_lines_and_strangers_are_named() {
        let outcome = judged();
        let name = super::super::name(&outcome.fittings[0]);
        let mut accepted = Accepted::of(&outcome);
        assert_eq!(accepted.stranger(std::slice::from_ref(&name)), None);
        assert_eq!(accepted.of_run(&outcome), accepted);
        let key = "skirt on ash, sitting: verdict".to_owned();
        accepted.verdicts.insert(key.clone(), Verdict::Pass);
        assert_eq!(accepted.stranger(&[name]), Some("skirt on ash"));
        assert!(!accepted.of_run(&outcome).verdicts.contains_key(&key));
    }

    #[test]
    fn a_place_that_did_not_fail_before_is_worse_and_its_worst_pose_may_change() {
        let mut outcome = judged();
        let spot = Spot {
            measure: "lift.area_cm2".into(),
            value: 12.34567,
            unit: "cm2".into(),
            region: "seat".into(),
            side: "left".into(),
            area_cm2: 20.0,
            pose: outcome.fittings[0].poses[0].pose.clone(),
            frame: 0,
            onset: None,
            onset_motion: String::new(),
            removed_share: None,
            triangles: Vec::new(),
            place: outcome.fittings[0].reasons[0].place.clone().unwrap(),
            joints: Vec::new(),
            cause: crate::outcome::Cause::Unknown,
            say: String::new(),
            remedies: Vec::new(),
        };
        let before = Accepted::of(&outcome);
        outcome.fittings[0].spots = vec![spot];
        let accepted = Accepted::of(&outcome);
        let text = accepted.render();
        assert!(
            text.contains(": spot lift.area_cm2 at left seat 12.35\n"),
            "{text}"
        );
        assert_eq!(Accepted::parse(&text).unwrap(), accepted);
        assert_eq!(against(&accepted, &outcome), []);
        outcome.fittings[0].spots[0].pose = outcome.fittings[0].poses[1].pose.clone();
        assert_eq!(against(&accepted, &outcome), []);
        // Another place is worse, if the accepted result was made by a run that looked for places.
        outcome.fittings[0].spots[0].side = "right".into();
        let changes = against(&accepted, &outcome);
        assert_eq!((changes.len(), changes[0].kind), (1, Kind::Worse));
        assert!(changes[0].path.ends_with("right seat"));
        assert!(before.verdicts.values().any(|verdict| *verdict == Verdict::Fail));
        assert_eq!(against(&before, &outcome), []);
    }

    #[test]
    fn damaged_files_name_the_line() {
        assert_eq!(Accepted::parse("something else"), Err(AcceptedError::Head));
        let line = |text: &str| {
            Accepted::parse(&format!("{HEAD}\n{text}\n"))
                .unwrap_err()
                .to_string()
        };
        assert!(line("a on b, sitting: lift.area_cm2 much").contains("line 2"));
        assert!(line("a on b, sitting: lift.area_cm2 NaN").contains("line 2"));
        assert!(line("word").contains("line 2"));
        assert!(line("a on b, sitting: verdict fine").contains("line 2"));
        let twice = "a on b, sitting: lift.area_cm2 2\na on b, sitting: lift.area_cm2 1";
        assert!(line(twice).contains("line 3 says again"));
        assert!(
            line("a on b, sitting: verdict pass\na on b, sitting: verdict fail")
                .contains("`a on b, sitting: verdict`")
        );
    }
}
