//! Many fittings at a glance: bodies across garments, and the failures by what would mend them.

use super::words::{self, number};
use super::worst;
use crate::outcome::{Fitting, Outcome, Reason, Spot, Verdict};
use std::collections::{BTreeMap, BTreeSet};

/// Failures that one kind of edit would mend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Where: `inner left thigh`; of a rig finding, what is wrong.
    pub place: String,
    /// The cause in a word; empty where none was looked for.
    pub cause: &'static str,
    /// `9 of 12 bodies, 2 of 3 garments`.
    pub share: String,
    /// What helped where it is worst, and which fitting that is.
    pub mend: String,
    /// Fittings it was found in.
    pub fittings: usize,
}

/// One failure before it is grouped.
struct Failure<'a> {
    fitting: &'a Fitting,
    place: String,
    cause: &'static str,
    mend: String,
    /// How bad, to find the worst of a group.
    times: f64,
}

/// The failures of all fittings in groups, those found in most fittings first.
pub fn groups(outcome: &Outcome) -> Vec<Group> {
    let mut found: BTreeMap<(String, &'static str), Vec<Failure>> = BTreeMap::new();
    for fitting in outcome
        .fittings
        .iter()
        .filter(|fitting| fitting.verdict == Verdict::Fail)
    {
        for failure in failures(outcome, fitting) {
            found
                .entry((failure.place.clone(), failure.cause))
                .or_default()
                .push(failure);
        }
    }
    let mut groups: Vec<Group> = found
        .into_iter()
        .map(|(key, list)| group(outcome, key, &list))
        .collect();
    groups.sort_by_key(|group| std::cmp::Reverse(group.fittings));
    groups
}

/// Its spots, and the reasons it fails for elsewhere: what else fails at a spot has its cause.
fn failures<'a>(outcome: &'a Outcome, fitting: &'a Fitting) -> Vec<Failure<'a>> {
    let of_spot = |spot: &Spot| Failure {
        fitting,
        place: words::plain(&sided(spot)),
        cause: words::cause(spot.cause),
        mend: spot
            .remedies
            .first()
            .map_or_else(String::new, |remedy| words::plain(&remedy.action)),
        times: times(outcome, fitting, &spot.measure, spot.value),
    };
    let spots: Vec<Failure> = fitting.spots.iter().map(of_spot).collect();
    let at_a_spot = |reason: &&Reason| {
        let region = reason.place.as_ref().map_or("", |place| place.region.as_str());
        let measure = |path: &str| path.split('.').next().map(str::to_owned);
        let same = |spot: &Spot| measure(&spot.measure) == measure(&reason.what) || sided(spot) == region;
        fitting.spots.iter().any(same)
    };
    let mut seen = BTreeSet::new();
    let rest = fitting
        .reasons
        .iter()
        .filter(|reason| reason.weight >= Verdict::Fail && !at_a_spot(reason));
    let of_reason = rest
        .filter(|reason| seen.insert(reason.what.clone()))
        .map(|reason| {
            let finding = fitting
                .rig_findings
                .iter()
                .find(|finding| finding.code == reason.what);
            let region = reason.place.as_ref().map_or("", |place| place.region.as_str());
            let what = match finding {
                Some(finding) => finding.code.replace('_', " "),
                None if reason.pose.is_empty() => reason.what.replace('_', " "),
                None => words::short(&reason.what),
            };
            Failure {
                fitting,
                place: words::plain(&if region.is_empty() {
                    what
                } else {
                    format!("{region}: {what}")
                }),
                cause: if finding.is_some() { "rig" } else { "" },
                mend: finding.map_or_else(String::new, |finding| words::plain(&finding.help)),
                times: reason.value.map_or(f64::INFINITY, |value| {
                    times(outcome, fitting, &reason.what, value)
                }),
            }
        });
    spots.into_iter().chain(of_reason).collect()
}

/// `inner left thigh`, also where the side stands by itself.
fn sided(spot: &Spot) -> String {
    if spot.region.is_empty() {
        "whole garment".into()
    } else if spot.side.is_empty() || spot.region.contains(&spot.side) {
        spot.region.clone()
    } else {
        format!("{} {}", spot.side, spot.region)
    }
}

/// Value over the strictest limit that it breaks.
fn times(outcome: &Outcome, fitting: &Fitting, path: &str, value: f64) -> f64 {
    let most = worst::limits(outcome, fitting).get(path);
    let least = most
        .into_iter()
        .flat_map(|row| row.values())
        .copied()
        .fold(f64::INFINITY, f64::min);
    value / least.max(1e-9)
}

fn group(outcome: &Outcome, (place, cause): (String, &'static str), failures: &[Failure]) -> Group {
    let own: Vec<&Fitting> = failures.iter().map(|failure| failure.fitting).collect();
    let all: Vec<&Fitting> = outcome.fittings.iter().collect();
    let count = |of: &[&Fitting], name: fn(&Fitting) -> String| {
        of.iter().map(|one| name(one)).collect::<BTreeSet<_>>().len()
    };
    let body = |one: &Fitting| one.body.clone();
    let share = |name: fn(&Fitting) -> String, one, more| {
        let all = count(&all, name);
        format!("{} of {}", count(&own, name), words::count(all, one, more))
    };
    let worst = failures
        .iter()
        .max_by(|a, b| a.times.total_cmp(&b.times).then_with(|| b.mend.cmp(&a.mend)));
    let mend = worst
        .filter(|worst| !worst.mend.is_empty())
        .map_or_else(String::new, |worst| {
            let mend = worst.mend.trim_end_matches('.');
            if failures.len() > 1 {
                format!("{mend} ({})", words::fitting(worst.fitting))
            } else {
                mend.to_owned()
            }
        });
    let fittings: BTreeSet<String> = own.iter().map(|one| words::fitting(one)).collect();
    Group {
        place,
        cause,
        share: format!(
            "{}, {}",
            share(body, "body", "bodies"),
            share(garment, "garment", "garments")
        ),
        mend,
        fittings: fittings.len(),
    }
}

/// How far towards each size that fails its garment holds: `trousers on ash most: clean to thigh girth x 1.15 ...`.
pub fn sizes(outcome: &Outcome) -> Vec<String> {
    let told = |fitting: &Fitting| {
        let say = fitting.size.as_ref().map(|size| size.say.as_str())?;
        (!say.is_empty()).then(|| {
            let say = say.trim_end_matches('.');
            words::plain(&format!("{}: {say}", words::fitting(fitting)))
        })
    };
    outcome.fittings.iter().filter_map(told).collect()
}

/// The garment's name, with those it is worn over.
pub fn garment(fitting: &Fitting) -> String {
    let names: Vec<String> = fitting
        .garments
        .iter()
        .map(|garment| words::plain(&garment.name))
        .collect();
    names.join(" over ")
}

/// Bodies and garments in the order they come.
pub fn names(outcome: &Outcome) -> [Vec<String>; 2] {
    let mut names: [Vec<String>; 2] = Default::default();
    for fitting in &outcome.fittings {
        for (name, into) in [words::plain(&fitting.body), garment(fitting)]
            .into_iter()
            .zip(&mut names)
        {
            if !into.contains(&name) {
                into.push(name);
            }
        }
    }
    names
}

/// The worst of one fitting in a few words: `FAIL skin shows through 243 cm²`, `PASS 94 % of a limit`.
pub fn cell(outcome: &Outcome, fitting: &Fitting) -> String {
    let verdict = words::verdict(fitting.verdict);
    let worst = match fitting.reasons.first() {
        Some(reason) if !reason.pose.is_empty() => {
            let value = reason.value.map_or_else(
                || "not measured".into(),
                |value| words::quantity(&reason.what, value),
            );
            format!("{} {value}", words::short(&reason.what))
        }
        Some(reason) => reason.what.replace('_', " "),
        None => {
            let limits = worst::limits(outcome, fitting);
            let most = fitting
                .poses
                .iter()
                .filter_map(|pose| worst::of_pose(limits, pose));
            let most = most.map(|worst| worst.times_limit()).fold(0.0, f64::max);
            format!("{} % of a limit", number((most * 100.0).floor()))
        }
    };
    format!("{verdict} {worst}")
}

/// Garments down, bodies across, in as many columns as `width` allows; else a line for each fitting.
pub fn table(outcome: &Outcome, width: usize) -> String {
    let [bodies, garments] = names(outcome);
    let at = |body: &str, name: &str| {
        let found = outcome
            .fittings
            .iter()
            .filter(|one| words::plain(&one.body) == body && garment(one) == name);
        found.map(|one| cell(outcome, one)).collect::<Vec<_>>().join("; ")
    };
    let mut rows = vec![
        std::iter::once(String::new())
            .chain(bodies.iter().map(|body| format!("on {body}")))
            .collect::<Vec<_>>(),
    ];
    for name in &garments {
        rows.push(
            std::iter::once(name.clone())
                .chain(bodies.iter().map(|body| at(body, name)))
                .collect(),
        );
    }
    let text = aligned(&rows);
    if text.lines().all(|line| line.chars().count() <= width) {
        return text;
    }
    let lines: Vec<Vec<String>> = outcome
        .fittings
        .iter()
        .map(|one| {
            vec![
                garment(one),
                format!("on {}", words::plain(&one.body)),
                cell(outcome, one),
            ]
        })
        .collect();
    aligned(&lines)
}

/// Columns as wide as their longest cell.
fn aligned(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let wide = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count())
            .max()
    };
    let wide: Vec<usize> = (0..columns).map(|column| wide(column).unwrap_or(0)).collect();
    let line = |row: &Vec<String>| {
        let cells: Vec<String> = row
            .iter()
            .zip(&wide)
            .map(|(cell, wide)| format!("{cell:wide$}"))
            .collect();
        format!("{}\n", cells.join("  ").trim_end())
    };
    rows.iter().map(line).collect()
}

#[cfg(test)]
#[path = "rack_tests.rs"]
mod tests;
