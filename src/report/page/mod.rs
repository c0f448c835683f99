//! One page to look at and to pass on: self-contained and without a request to anywhere.

mod curve; // a plot, and how its values are read
mod fitting; // one garment on one body
mod tell; // sentences
#[cfg(test)]
mod tests;

use super::plot::Drawn;
use super::stills::Still;
use super::text;
use super::words::{self, capital};
use crate::outcome::{Finding, Fitting, Outcome, Verdict};
use base64::Engine;
use fitting::FittingView;
use minijinja::Environment;
use serde::Serialize;

/// The page with its pictures and plots inside.
pub fn render(outcome: &Outcome, stills: &[Still], plots: &[Drawn]) -> Result<String, minijinja::Error> {
    let mut engine = Environment::new();
    // The ending of the name turns escaping on.
    engine.add_template("page.html", include_str!("../page.html.j2"))?;
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
struct Picture {
    data: String,
    alt: String,
    caption: String,
    wide: u32,
    high: u32,
}

impl Page {
    fn new(outcome: &Outcome, stills: &[Still], plots: &[Drawn]) -> Self {
        let fittings = || outcome.fittings.iter().enumerate();
        let worst = fittings().max_by_key(|(at, f)| (f.verdict, std::cmp::Reverse(*at)));
        let (lead, pose) = worst.map(|(at, f)| lead(stills, at, f)).unwrap_or_default();
        Self {
            style: include_str!("../style.css"),
            verdict: Word::of(outcome.verdict),
            title: match outcome.fittings.as_slice() {
                [only] => words::fitting(only),
                all => words::count(all.len(), "fitting", "fittings"),
            },
            headline: match outcome.fittings.as_slice() {
                [only] => match tell::leading_finding(only) {
                    Some(finding) => capital(&words::plain(&finding.say)),
                    None => capital(&text::in_a_line(only)),
                },
                _ => text::overall(outcome),
            },
            lead_caption: if pose.is_empty() {
                String::new()
            } else {
                format!("The worst pose: {pose}.")
            },
            lead,
            sentences: match outcome.fittings.as_slice() {
                [only] => tell::sentences(only, true),
                all => all.iter().take(6).map(line_at_the_top).collect(),
            },
            fittings: fittings()
                .map(|(at, f)| FittingView::new(outcome, at, f, stills, plots))
                .collect(),
            caution: outcome.caution.clone(),
        }
    }
}

/// The pictures of the worst pose that has any, and its name.
fn lead(stills: &[Still], at: usize, fitting: &Fitting) -> (Vec<Picture>, String) {
    let first = fitting
        .reasons
        .iter()
        .find(|r| stills.iter().any(|s| shows(s, at, &r.pose)));
    let pose = first.map_or("", |r| r.pose.as_str());
    (pictures(stills, at, pose), words::pose(pose))
}

/// A fitting among others; what its rig shows is told further down, once.
fn line_at_the_top(fitting: &Fitting) -> String {
    let name = words::fitting(fitting);
    match tell::leading_finding(fitting) {
        Some(_) => format!(
            "{name}: {}, for what its rig shows.",
            words::verdict(fitting.verdict).to_lowercase()
        ),
        None => format!("{name}: {}.", text::in_a_line(fitting)),
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

    fn of_finding(finding: &Finding) -> Self {
        use crate::outcome::Severity;
        let (mark, class) = match finding.severity {
            Severity::Note => ("i", "none"),
            Severity::Fault => ("\u{2715}", "fail"),
            Severity::Stop => ("?", "fail"),
        };
        Self {
            word: words::severity(finding.severity),
            mark,
            class,
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
