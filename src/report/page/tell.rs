//! The page's sentences: how a fitting stands, what could not be tested, by which limits.

use crate::outcome::{Demand, Finding, Fitting, Outcome, Reason, Verdict};
use crate::report::words::{self, capital};
use crate::report::worst;
use serde::Serialize;
use std::collections::BTreeMap;

/// The rig finding that leads the reasons, where one does: it is told first, and then not again.
pub(super) fn leading_finding(fitting: &Fitting) -> Option<&Finding> {
    let first = fitting.reasons.first().filter(|reason| reason.pose.is_empty())?;
    fitting
        .rig_findings
        .iter()
        .find(|finding| finding.code == first.what && first.say.starts_with(&finding.say))
}

/// Three or four sentences that say how the fitting stands; the headline has told the worst already.
/// `leads`: whether the headline has told the leading finding.
pub(super) fn sentences(fitting: &Fitting, leads: bool) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    match leading_finding(fitting) {
        Some(finding) if leads && !finding.help.is_empty() => {
            said.push(format!("To do: {}", words::plain(&finding.help)));
        }
        Some(_) => {}
        None => said.extend(limit_and_others(fitting)),
    }
    said.extend(counts(fitting));
    let Some(tested) = fitting.garments.first() else {
        return said;
    };
    let room = tested.ease_median_mm.map_or_else(String::new, |mm| {
        format!(
            ", with {} of room between skin and fabric (median)",
            words::quantity("_mm", mm)
        )
    });
    if fitting.poses.iter().any(|pose| !pose.frames.is_empty()) {
        said.push(format!(
            "As built it covers {} of the skin{room}.",
            percent(tested.covered_share)
        ));
    }
    if let Some(size) = fitting.size.as_ref().filter(|size| !size.say.is_empty()) {
        let say = words::plain(size.say.trim_end_matches('.'));
        said.push(format!("In this size: {say}."));
    }
    if let (Some(garment), Some(body)) = (tested.hip_splay_deg.left, fitting.body_hip_splay_deg.left) {
        let (garment, body) = (words::number(garment), words::number(body));
        said.push(format!(
            "It was built at {garment}° of hip splay; the body stands at {body}°."
        ));
    }
    said
}

/// `The limit there is 1 cm². Also over their limits: fabric stands off (5 poses).`
fn limit_and_others(fitting: &Fitting) -> Option<String> {
    let first = fitting.reasons.first()?;
    let limit = first
        .limit
        .map(|limit| format!("The limit there is {}.", words::quantity(&first.what, limit)));
    let mut poses: BTreeMap<&str, usize> = BTreeMap::new();
    let mut order: Vec<&str> = Vec::new();
    let others = fitting
        .reasons
        .iter()
        .filter(|r| r.what != first.what && !r.pose.is_empty());
    for reason in others {
        if !order.contains(&reason.what.as_str()) {
            order.push(&reason.what);
        }
        *poses.entry(&reason.what).or_default() += 1;
    }
    let parts: Vec<String> = order
        .iter()
        .map(|what| {
            format!(
                "{} ({})",
                words::short(what),
                words::count(poses[what], "pose", "poses")
            )
        })
        .collect();
    let also = (!parts.is_empty()).then(|| format!("Also over a limit: {}.", parts.join(", ")));
    let all: Vec<String> = limit.into_iter().chain(also).collect();
    (!all.is_empty()).then(|| all.join(" "))
}

/// None for one pose, which the headline has told. `Of 23 poses, 3 fail, 2 warn, 17 pass.`; none for one pose or none.
pub(super) fn counts(fitting: &Fitting) -> Option<String> {
    let count = |verdict| fitting.poses.iter().filter(|p| p.verdict == verdict).count();
    let all = fitting.poses.len() - count(Verdict::NotApplicable);
    let said = [
        (Verdict::CouldNotRun, "could not run", "could not run"),
        (Verdict::Fail, "fails", "fail"),
        (Verdict::PartlyTested, "is partly tested", "are partly tested"),
        (Verdict::Warn, "warns", "warn"),
        (Verdict::Pass, "passes", "pass"),
    ];
    let parts: Vec<String> = said
        .into_iter()
        .filter(|(verdict, ..)| count(*verdict) > 0)
        .map(|(verdict, one, more)| words::count(count(verdict), one, more))
        .collect();
    if all > 1 && count(Verdict::Pass) == all {
        return Some(format!("All {all} poses pass."));
    }
    (all > 1).then(|| format!("Of {}, {}.", words::count(all, "pose", "poses"), parts.join(", ")))
}

/// The numbers behind a reason: `Skin shows through: area 243 cm², limit 1 cm², frame 0, near vertex 1203 of body`.
pub(super) fn detail(reason: &Reason) -> String {
    let value = reason
        .value
        .map_or_else(|| "not measurable".into(), |v| words::quantity(&reason.what, v));
    let mut line = format!("{} {value}", words::title(&reason.what));
    if let Some(limit) = reason.limit {
        line.push_str(&format!(", limit {}", words::quantity(&reason.what, limit)));
    }
    line.push_str(&format!(", frame {}", reason.frame));
    if let Some(place) = &reason.place {
        line.push_str(&format!(
            ", near vertex {} of {}",
            place.vertex,
            words::plain(&place.surface)
        ));
        if !place.seen_from.is_empty() {
            line.push_str(&format!(", seen best {}", words::plain(&place.seen_from)));
        }
    }
    line + "."
}

pub(super) fn untested(fitting: &Fitting) -> Vec<String> {
    let ran = fitting.poses.iter().any(|pose| !pose.frames.is_empty());
    let mut said: Vec<String> = fitting
        .garments
        .iter()
        .filter(|g| ran && g.over_skin_share < 0.995)
        .map(|g| {
            let (over, name) = (percent(g.over_skin_share), words::plain(&g.name));
            format!("{over} of {name} lies over skin; the rest is not tested for room, standing off and pull beyond the skin.")
        })
        .collect();
    for pose in fitting
        .poses
        .iter()
        .filter(|p| p.verdict == Verdict::NotApplicable)
    {
        let why = pose
            .not_applicable
            .as_deref()
            .map_or_else(String::new, |w| format!(": {}", words::plain(w)));
        said.push(format!(
            "{} does not apply{why}.",
            capital(&words::pose(&pose.pose))
        ));
    }
    for reason in fitting
        .reasons
        .iter()
        .filter(|r| r.weight == Verdict::PartlyTested)
    {
        said.push(format!(
            "{}: {}",
            capital(&words::pose(&reason.pose)),
            words::plain(&reason.say)
        ));
    }
    said
}

/// `Highest: 243 cm² in standing, frame 0.`; where less is worse the lowest, where neither is, from where to where.
pub(super) fn extremes(fitting: &Fitting, path: &str) -> String {
    let values: Vec<(f64, String)> = fitting
        .poses
        .iter()
        .flat_map(|pose| pose.frames.iter().map(move |frame| (pose, frame)))
        .filter_map(|(pose, frame)| Some((frame.measures.get(path)?, pose, frame)))
        .map(|(value, pose, frame)| (value, words::moment(pose, frame)))
        .collect();
    let say = |(value, at): &(f64, String)| format!("{} in {at}", words::quantity(path, *value));
    // The first of equals.
    let lowest = values.iter().min_by(|a, b| a.0.total_cmp(&b.0));
    let highest = values.iter().rev().max_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(lowest), Some(highest)) = (lowest, highest) else {
        return String::new();
    };
    match path {
        "ease.least_mm" => format!("Lowest: {}.", say(lowest)),
        "ease.median_mm" => format!("From {} to {}.", say(lowest), say(highest)),
        _ if highest.0 == 0.0 && lowest.0 == 0.0 => "0 in every pose.".into(),
        _ => format!("Highest: {}.", say(highest)),
    }
}

/// The limits a fitting was judged by.
#[derive(Serialize)]
pub(super) struct LimitTable {
    /// How they come about.
    say: String,
    rows: Vec<LimitRow>,
}

#[derive(Serialize)]
struct LimitRow {
    title: String,
    /// By demand.
    values: Vec<String>,
}

/// The effective limits, and what they were scaled by.
pub(super) fn limits(outcome: &Outcome, fitting: &Fitting) -> LimitTable {
    let limits = worst::limits(outcome, fitting);
    let rows = limits.keys().map(|path| LimitRow {
        title: words::title(path),
        values: [Demand::Upright, Demand::Seated, Demand::Hard]
            .map(|demand| {
                worst::limit(limits, path, demand)
                    .map_or_else(|| "\u{2013}".into(), |limit| words::quantity(path, limit))
            })
            .to_vec(),
    });
    let say = match worst::thigh_mm(outcome, fitting) {
        Some(thigh) => format!(
            "Scaled to this wearer's thigh, {:.0} mm: the limits are set for {:.0} mm, lengths go with the thigh and \
             areas with its square. Limits of pull include what the room and the cloth of this garment allow.",
            thigh,
            worst::THIGH_OF_LIMITS_MM
        ),
        None => String::new(),
    };
    LimitTable {
        say,
        rows: rows.collect(),
    }
}

pub(super) fn percent(share: f64) -> String {
    format!("{} %", words::number((share * 100.0).round()))
}
