//! One page to look at and to pass on: self-contained, without a script and without a request to anywhere.

use super::plot::Drawn;
use super::stills::Still;
use super::words::{self, capital};
use super::{text, worst};
use crate::outcome::{Demand, Finding, Fitting, Outcome, PoseResult, Reason, Verdict};
use base64::Engine;
use minijinja::Environment;
use serde::Serialize;

/// The page with its pictures and plots inside.
pub fn render(outcome: &Outcome, stills: &[Still], plots: &[Drawn]) -> Result<String, minijinja::Error> {
    let mut engine = Environment::new();
    // The ending of the name turns escaping on.
    engine.add_template("page.html", include_str!("page.html.j2"))?;
    engine
        .get_template("page.html")?
        .render(minijinja::Value::from(minijinja::value::Serde(Page::new(
            outcome, stills, plots,
        ))))
}

#[derive(Serialize)]
struct Page {
    style: &'static str,
    verdict: Word,
    title: String,
    headline: String,
    lead: Vec<Picture>,
    lead_caption: String,
    sentences: Vec<String>,
    fittings: Vec<FittingView>,
    limits: Vec<LimitRow>,
    caution: String,
}

/// A verdict or severity: word, a mark of its own shape, and a class for the colour.
#[derive(Serialize)]
struct Word {
    word: &'static str,
    mark: &'static str,
    class: &'static str,
}

#[derive(Serialize)]
struct FittingView {
    name: String,
    verdict: Word,
    line: String,
    /// Only where there are several fittings: with one, they stand at the top.
    sentences: Vec<String>,
    poses: Vec<PoseRow>,
    troubles: Vec<Trouble>,
    plots: Vec<PlotView>,
    more_plots: Vec<PlotView>,
    findings: Vec<FindingView>,
    untested: Vec<String>,
}

#[derive(Serialize)]
struct PoseRow {
    name: String,
    about: String,
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
}

#[derive(Serialize)]
struct Picture {
    data: String,
    alt: String,
    caption: String,
    wide: u32,
    high: u32,
}

#[derive(Serialize)]
struct PlotView {
    label: String,
    svg: String,
    wide: u32,
}

#[derive(Serialize)]
struct FindingView {
    severity: Word,
    place: String,
    say: String,
    help: String,
}

#[derive(Serialize)]
struct LimitRow {
    title: String,
    values: Vec<String>,
}

impl Page {
    fn new(outcome: &Outcome, stills: &[Still], plots: &[Drawn]) -> Self {
        let worst = outcome
            .fittings
            .iter()
            .enumerate()
            .max_by_key(|(at, f)| (f.verdict, std::cmp::Reverse(*at)));
        let several = outcome.fittings.len() != 1;
        let of_worst = worst.map(|(at, fitting)| {
            let first = fitting
                .reasons
                .iter()
                .find(|r| stills.iter().any(|s| shows(s, at, &r.pose)));
            let pose = first.map_or("", |r| r.pose.as_str());
            (pictures(stills, at, pose), words::pose(pose))
        });
        let (lead, pose) = of_worst.unwrap_or_default();
        let fittings = outcome.fittings.iter().enumerate();
        Self {
            style: include_str!("style.css"),
            verdict: Word::of(outcome.verdict),
            title: match outcome.fittings.as_slice() {
                [only] => words::fitting(only),
                all => format!("{} fittings", all.len()),
            },
            headline: match outcome.fittings.as_slice() {
                [only] => capital(&text::in_a_line(only)),
                _ => text::overall(outcome),
            },
            lead_caption: if pose.is_empty() {
                String::new()
            } else {
                format!("The worst pose: {pose}.")
            },
            lead,
            sentences: if several {
                let line = |f: &Fitting| format!("{}: {}.", words::fitting(f), text::in_a_line(f));
                outcome.fittings.iter().take(6).map(line).collect()
            } else {
                worst.map(|(_, f)| sentences(f)).unwrap_or_default()
            },
            fittings: fittings
                .map(|(at, f)| FittingView::new(outcome, at, f, stills, plots))
                .collect(),
            limits: limits(outcome),
            caution: outcome.caution.clone(),
        }
    }
}

impl Word {
    fn of(verdict: Verdict) -> Self {
        let class = match verdict {
            Verdict::Pass => "pass",
            Verdict::Warn | Verdict::PartlyTested => "warn",
            Verdict::Fail | Verdict::CouldNotRun => "fail",
            Verdict::NotApplicable => "none",
        };
        Self {
            word: words::verdict(verdict),
            mark: words::mark(verdict),
            class,
        }
    }
}

impl FittingView {
    fn new(outcome: &Outcome, at: usize, fitting: &Fitting, stills: &[Still], plots: &[Drawn]) -> Self {
        let (judged, rest): (Vec<&Drawn>, Vec<&Drawn>) = plots
            .iter()
            .filter(|p| p.fitting == at)
            .partition(|p| worst::limits(outcome, fitting).contains_key(&p.path));
        let views = |of: Vec<&Drawn>| of.into_iter().map(|p| PlotView::new(fitting, p)).collect();
        let troubles: Vec<Trouble> = fitting
            .poses
            .iter()
            .enumerate()
            .filter(|(_, pose)| pose.verdict > Verdict::Pass)
            .map(|(which, pose)| {
                Trouble::new(
                    fitting,
                    pose,
                    format!("f{at}p{which}"),
                    pictures(stills, at, &pose.pose),
                )
            })
            .collect();
        let anchored = |which: usize| {
            let anchor = format!("f{at}p{which}");
            if troubles.iter().any(|t| t.anchor == anchor) {
                anchor
            } else {
                String::new()
            }
        };
        Self {
            name: words::fitting(fitting),
            verdict: Word::of(fitting.verdict),
            line: capital(&text::in_a_line(fitting)),
            sentences: if outcome.fittings.len() > 1 {
                sentences(fitting)
            } else {
                Vec::new()
            },
            poses: (fitting.poses.iter().enumerate())
                .map(|(n, p)| PoseRow::new(worst::limits(outcome, fitting), p, anchored(n)))
                .collect(),
            plots: views(judged),
            more_plots: views(rest),
            findings: fitting.rig_findings.iter().map(FindingView::new).collect(),
            untested: untested(fitting),
            troubles,
        }
    }
}

impl PoseRow {
    fn new(limits: &worst::Limits, pose: &PoseResult, anchor: String) -> Self {
        Self {
            name: capital(&words::pose(&pose.pose)),
            about: words::plain(&pose.about),
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
            about: words::plain(&pose.about),
            verdict: Word::of(pose.verdict),
            reasons: reasons().map(|r| capital(&words::plain(&r.say))).collect(),
            details: reasons().map(detail).collect(),
            pictures,
        }
    }
}

impl PlotView {
    /// The SVG takes the page's own ink, so that it reads on light and on dark paper.
    fn new(fitting: &Fitting, drawn: &Drawn) -> Self {
        let svg = drawn.svg.replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1);
        let svg = svg
            .replace("\"#242026\"", "\"currentColor\"")
            .replace("\"#000000\"", "\"currentColor\"");
        let svg = svg.replace("\"#777376\"", "\"currentColor\"");
        let body = svg.find("viewBox").map_or("", |from| &svg[from..]);
        let wide = svg.split('"').nth(1).and_then(|w| w.parse().ok()).unwrap_or(940);
        let label = format!("{}. {}", words::title(&drawn.path), highest(fitting, &drawn.path));
        Self {
            label,
            svg: format!("<svg aria-hidden=\"true\" {body}"),
            wide,
        }
    }
}

impl FindingView {
    fn new(finding: &Finding) -> Self {
        use crate::outcome::Severity;
        let (mark, class) = match finding.severity {
            Severity::Note => ("i", "none"),
            Severity::Fault => ("\u{2715}", "fail"),
            Severity::Stop => ("?", "fail"),
        };
        Self {
            severity: Word {
                word: words::severity(finding.severity),
                mark,
                class,
            },
            place: words::whereabouts(finding),
            say: words::plain(&finding.say),
            help: words::plain(&finding.help),
        }
    }
}

fn shows(still: &Still, fitting: usize, pose: &str) -> bool {
    still.fitting == fitting && still.pose == pose
}

fn pictures(stills: &[Still], fitting: usize, pose: &str) -> Vec<Picture> {
    let of_pose = stills.iter().filter(|s| shows(s, fitting, pose));
    of_pose
        .map(|still| Picture {
            data: base64::engine::general_purpose::STANDARD.encode(&still.png),
            alt: still.alt.clone(),
            caption: still.caption.clone(),
            wide: still.size[0],
            high: still.size[1],
        })
        .collect()
}

/// The numbers behind a reason: `Skin shows through: area 243 cm², limit 1 cm², frame 0, near vertex 1203 of body`.
fn detail(reason: &Reason) -> String {
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

/// Three or four sentences that say how the fitting stands.
fn sentences(fitting: &Fitting) -> Vec<String> {
    let mut said: Vec<String> = fitting
        .reasons
        .first()
        .map(|r| words::plain(&r.say))
        .into_iter()
        .collect();
    said.push(counts(fitting));
    if let Some(tested) = fitting.garments.first() {
        let room = tested.ease_median_mm.map_or_else(String::new, |mm| {
            format!(
                ", with {} of room between skin and fabric (median)",
                words::quantity("_mm", mm)
            )
        });
        said.push(format!(
            "As built it covers {} of the skin{room}.",
            percent(tested.covered_share)
        ));
        if let (Some(garment), Some(body)) = (tested.hip_splay_deg.left, fitting.body_hip_splay_deg.left) {
            let (garment, body) = (words::number(garment), words::number(body));
            said.push(format!(
                "It was built at {garment}° of hip splay; the body stands at {body}°."
            ));
        }
    }
    said
}

/// `3 of 23 poses fail, 2 warn and 17 pass.`
fn counts(fitting: &Fitting) -> String {
    let count = |verdict| fitting.poses.iter().filter(|p| p.verdict == verdict).count();
    let all = fitting.poses.len() - count(Verdict::NotApplicable);
    let said = [
        (Verdict::CouldNotRun, "could not run"),
        (Verdict::Fail, "fail"),
        (Verdict::Warn, "warn"),
        (Verdict::PartlyTested, "partly tested"),
        (Verdict::Pass, "pass"),
    ];
    let parts: Vec<String> = said
        .into_iter()
        .filter(|(verdict, _)| count(*verdict) > 0)
        .map(|(verdict, say)| format!("{} {say}", count(verdict)))
        .collect();
    format!("Of {all} poses: {}.", parts.join(", "))
}

fn untested(fitting: &Fitting) -> Vec<String> {
    let mut said: Vec<String> = fitting
        .garments
        .iter()
        .filter(|g| g.over_skin_share < 0.995)
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

fn limits(outcome: &Outcome) -> Vec<LimitRow> {
    let row = |path: &String| LimitRow {
        title: words::title(path),
        values: [Demand::Upright, Demand::Seated, Demand::Hard]
            .map(|d| {
                worst::limit(&outcome.limits, path, d)
                    .map_or_else(|| "\u{2013}".into(), |l| words::quantity(path, l))
            })
            .to_vec(),
    };
    outcome.limits.keys().map(row).collect()
}

/// `Highest: 243 cm² in standing, frame 0.`
fn highest(fitting: &Fitting, path: &str) -> String {
    let all = fitting
        .poses
        .iter()
        .flat_map(|p| p.frames.iter().map(move |f| (p, f)));
    let values = all.filter_map(|(pose, frame)| Some((frame.measures.get(path)?, pose, frame.frame)));
    let most = values.max_by(|a, b| a.0.total_cmp(&b.0));
    most.map_or_else(String::new, |(value, pose, frame)| {
        format!(
            "Highest: {} in {}, frame {frame}.",
            words::quantity(path, value),
            words::pose(&pose.pose)
        )
    })
}

fn percent(share: f64) -> String {
    format!("{} %", words::number((share * 100.0).round()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{plot, sample, stills};

    fn page(outcome: &Outcome) -> String {
        let stills: Vec<Still> = sample::scenes().iter().flat_map(stills::of_scene).collect();
        render(outcome, &stills, &plot::all(outcome)).unwrap()
    }

    /// The page without its pictures.
    fn bare(page: &str) -> String {
        let mut parts = page.split("data:image/png;base64,");
        let first = parts.next().unwrap().to_owned();
        parts.fold(first, |text, part| text + part.split_once('"').unwrap().1)
    }

    #[test]
    fn it_asks_nothing_of_the_network() {
        let page = page(&sample::outcome());
        sample::save("index.html", page.as_bytes());
        let text = bare(&page);
        assert!(!text.replace("http-equiv", "").contains("http"), "an address");
        for loader in [
            "<script", "<link", "<iframe", "@import", "url(", "srcset", " onload", " onerror",
        ] {
            assert!(!text.contains(loader), "{loader}");
        }
        assert!(text.contains("default-src 'none'"));
    }

    #[test]
    fn names_with_markup_are_only_text() {
        let mut outcome = sample::outcome();
        let evil = "</style><script>alert(1)</script><img src=x onerror=alert(2)>\"'";
        let fitting = &mut outcome.fittings[0];
        fitting.body = evil.into();
        fitting.garments[0].name = evil.into();
        fitting.poses[0].pose = evil.into();
        fitting.poses[0].about = evil.into();
        fitting.reasons[0].pose = evil.into();
        fitting.reasons[0].say = evil.into();
        fitting.rig_findings[0].place = evil.into();
        fitting.poses[14].not_applicable = Some(evil.into());
        let text = bare(&page(&outcome));
        assert!(
            !text.contains("<script") && !text.contains("<img src=x"),
            "markup got through"
        );
        assert_eq!(text.matches("</style>").count(), 1);
        assert!(text.contains("&lt;script&gt;"));
    }

    #[test]
    fn every_pose_has_a_word_and_every_picture_a_text() {
        let outcome = sample::outcome();
        let text = bare(&page(&outcome));
        for pose in &outcome.fittings[0].poses {
            assert!(text.contains(&capital(&words::pose(&pose.pose))), "{}", pose.pose);
        }
        assert_eq!(text.matches("<img").count(), text.matches("alt=\"").count());
        assert!(text.matches("<img").count() >= 10 && !text.contains("alt=\"\""));
        assert!(text.contains("project&#x27;s own") || text.contains("project's own"));
        assert!(
            text.contains("1 partly tested, 17 pass."),
            "{}",
            counts(&outcome.fittings[0])
        );
    }

    #[test]
    fn headings_do_not_skip_a_level() {
        let text = bare(&page(&sample::outcome()));
        let levels: Vec<u32> = text
            .match_indices("<h")
            .filter_map(|(at, _)| text[at + 2..].chars().next().and_then(|c| c.to_digit(10)))
            .collect();
        assert_eq!(levels.iter().filter(|l| **l == 1).count(), 1);
        assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    }
}
