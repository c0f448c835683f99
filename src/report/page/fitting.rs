//! One garment on one body: its poses, what to look at, its rig, its curves, its limits.

use super::curve::{self, PlotView};
use super::rig::RigView;
use super::spot::SpotView;
use super::tell::{self, LimitTable};
use super::{Picture, Shown, Word, pictures};
use crate::outcome::Verdict;
use crate::outcome::{Finding, Fitting, Outcome, PoseResult};
use crate::report::plot::Drawn;
use crate::report::stills::{Eye, Still};
use crate::report::words::{self, capital};
use crate::report::{text, worst};
use serde::Serialize;
use std::cmp::Reverse;

#[derive(Serialize)]
pub(super) struct FittingView {
    name: String,
    verdict: Word,
    /// Its own page, where this one shows only the worst of it.
    page: Option<String>,
    /// Empty where a finding leads: that stands below, once.
    line: String,
    /// Only where there are several fittings: with one, they stand at the top.
    sentences: Vec<String>,
    poses: Vec<PoseRow>,
    /// Where it fails, why, and what would help.
    spots: Vec<SpotView>,
    /// Worst first.
    troubles: Vec<Trouble>,
    /// How many of them have no picture, in a sentence.
    left_out: String,
    /// What the 3-D view opens at, as JSON; empty where there is no view.
    open: String,
    /// Where the values of its curves lie, as JSON.
    moments: String,
    at: usize,
    plots: Vec<PlotView>,
    more_plots: Vec<PlotView>,
    findings: Vec<FindingView>,
    rig: Option<RigView>,
    /// Whether one of its findings is told at the top already.
    told: bool,
    untested: Vec<String>,
    limits: LimitTable,
}

#[derive(Serialize)]
struct PoseRow {
    name: String,
    demand: &'static str,
    verdict: Word,
    worst: String,
    /// Anchor of the pictures; empty without any.
    anchor: String,
}

/// A pose that is not a clean pass.
#[derive(Serialize)]
struct Trouble {
    anchor: String,
    name: String,
    about: String,
    verdict: Word,
    /// Each in a sentence.
    reasons: Vec<String>,
    /// The numbers behind them, a click away.
    details: Vec<String>,
    pictures: Vec<Picture>,
    /// As [`FittingView::open`].
    open: String,
}

#[derive(Serialize)]
struct FindingView {
    severity: Word,
    place: String,
    say: String,
    help: String,
}

impl FittingView {
    pub(super) fn new(outcome: &Outcome, at: usize, fitting: &Fitting, shown: &Shown) -> Self {
        let (stills, plots) = (shown.stills, shown.plots);
        let several = outcome.fittings.len() > 1;
        let leads = tell::leading_finding(fitting);
        let told = leads.filter(|_| !several);
        let limits = worst::limits(outcome, fitting);
        let (judged, rest): (Vec<&Drawn>, Vec<&Drawn>) = plots
            .iter()
            .filter(|p| p.fitting == at)
            .partition(|p| limits.contains_key(&p.path));
        let views = |of: Vec<&Drawn>| of.into_iter().map(|p| PlotView::new(fitting, p)).collect();
        let troubles = troubles(at, fitting, shown);
        let anchored = |which: usize| {
            let anchor = anchor(at, which);
            if troubles.iter().any(|t| t.anchor == anchor) {
                anchor
            } else {
                String::new()
            }
        };
        let findings = fitting.rig_findings.iter();
        Self {
            name: words::fitting(fitting),
            verdict: Word::of(fitting.verdict),
            page: shown.pages.get(at).cloned().flatten(),
            line: match leads {
                None => capital(&text::in_a_line(fitting)),
                Some(_) => String::new(),
            },
            sentences: if several {
                tell::sentences(fitting, false)
            } else {
                Vec::new()
            },
            poses: (fitting.poses.iter().enumerate())
                .map(|(n, p)| PoseRow::new(limits, p, anchored(n)))
                .collect(),
            left_out: left_out(&troubles),
            open: if shown.view.blobs.is_empty() {
                String::new()
            } else {
                opening_whole(at, fitting, stills)
            },
            moments: curve::moments(plots.iter().find(|p| p.fitting == at)),
            at,
            plots: views(judged),
            more_plots: views(if shown.share { Vec::new() } else { rest }),
            findings: findings
                .filter(|finding| told.is_none_or(|told| !std::ptr::eq(told, *finding)))
                .map(FindingView::new)
                .collect(),
            rig: shown
                .rigs
                .iter()
                .find(|(sheet, _)| sheet.fitting == at)
                .map(|rig| RigView::new(rig, shown.share)),
            told: told.is_some(),
            untested: tell::untested(fitting),
            limits: tell::limits(outcome, fitting),
            spots: (0..fitting.spots.len())
                .map(|spot| SpotView::new(at, fitting, spot, shown))
                .collect(),
            troubles,
        }
    }
}

fn anchor(fitting: usize, pose: usize) -> String {
    format!("f{fitting}p{pose}")
}

/// Poses that are not a clean pass: by verdict, then as the reasons are sorted, the worst first.
fn troubles(at: usize, fitting: &Fitting, shown: &Shown) -> Vec<Trouble> {
    let rank = |pose: &PoseResult| fitting.reasons.iter().position(|r| r.pose == pose.pose);
    let mut poses: Vec<(usize, &PoseResult)> = fitting
        .poses
        .iter()
        .enumerate()
        .filter(|(_, pose)| pose.verdict > Verdict::Pass)
        .collect();
    poses.sort_by_key(|(_, pose)| (Reverse(pose.verdict), rank(pose).unwrap_or(usize::MAX)));
    poses
        .into_iter()
        .map(|(which, pose)| {
            let pictures = pictures(shown.stills, at, &pose.pose);
            let mut trouble = Trouble::new(fitting, pose, anchor(at, which), pictures);
            if !shown.view.blobs.is_empty() {
                trouble.open = opening(at, fitting, pose, shown.stills);
            }
            trouble
        })
        .collect()
}

/// Where it opens by itself: the whole figure in its worst pose, or in the one that has a picture.
fn opening_whole(at: usize, fitting: &Fitting, stills: &[Still]) -> String {
    let worst = fitting.reasons.iter().find(|reason| !reason.pose.is_empty());
    let still = stills
        .iter()
        .find(|still| still.fitting == at && still.card.is_none());
    let (pose, frame, what) = match (worst, still) {
        (Some(reason), _) => (reason.pose.as_str(), reason.frame, reason.what.as_str()),
        (None, Some(still)) => (still.pose.as_str(), still.frame, ""),
        (None, None) => ("", 0, ""),
    };
    serde_json::json!({
        "fitting": at,
        "pose": words::plain(pose),
        "frame": frame,
        "measure": what.split('.').next(),
    })
    .to_string()
}

/// Where the 3-D view opens for a pose: its worst frame, coloured by what is worst, from where the picture was taken.
fn opening(at: usize, fitting: &Fitting, pose: &PoseResult, stills: &[Still]) -> String {
    let still = stills
        .iter()
        .rfind(|still| still.fitting == at && still.pose == pose.pose && still.card.is_none());
    let reason = fitting.reasons.iter().find(|reason| reason.pose == pose.pose);
    let what = reason.map_or("", |reason| reason.what.as_str());
    serde_json::json!({
        "fitting": at,
        "pose": words::plain(&pose.pose),
        "frame": reason.map_or(0, |reason| reason.frame),
        "measure": what.split('.').next(),
        "eye": still.map(|still| Eye {
            // A little more round it than in the close-up.
            half: if still.close { still.eye.half * 1.6 } else { still.eye.half },
            ..still.eye
        }),
    })
    .to_string()
}

fn left_out(troubles: &[Trouble]) -> String {
    let without = troubles.iter().filter(|t| t.pictures.is_empty()).count();
    match without {
        0 => String::new(),
        all if all == troubles.len() => String::new(),
        1 => "1 pose below has no picture, to keep the page short.".into(),
        more => format!("{more} poses below have no picture, to keep the page short."),
    }
}

impl PoseRow {
    fn new(limits: &worst::Limits, pose: &PoseResult, anchor: String) -> Self {
        Self {
            name: capital(&words::pose(&pose.pose)),
            demand: words::demand(pose.demand),
            verdict: Word::of(pose.verdict),
            worst: text::worst_number(limits, pose),
            anchor,
        }
    }
}

impl Trouble {
    fn new(fitting: &Fitting, pose: &PoseResult, anchor: String, pictures: Vec<Picture>) -> Self {
        let reasons = || fitting.reasons.iter().filter(|r| r.pose == pose.pose);
        Self {
            anchor,
            name: capital(&words::pose(&pose.pose)),
            about: capital(&words::plain(&pose.about)),
            verdict: Word::of(pose.verdict),
            reasons: reasons().map(|r| capital(&words::plain(&r.say))).collect(),
            details: reasons().map(tell::detail).collect(),
            pictures,
            open: String::new(),
        }
    }
}

impl FindingView {
    fn new(finding: &Finding) -> Self {
        Self {
            severity: Word::of_finding(finding),
            place: words::whereabouts(finding),
            say: words::plain(&finding.say),
            help: words::plain(&finding.help),
        }
    }
}
