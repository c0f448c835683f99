//! One page to look at and to pass on: self-contained and without a request to anywhere.

mod curve; // a plot, and how its values are read
mod fitting; // one garment on one body
mod rig; // what was understood of the rigs
mod spot; // a card for each place that fails
mod tell; // sentences
#[cfg(test)]
mod tests;

use super::folder::Beside;
use super::model::{Blob, Packed};
use super::plot::Drawn;
use super::rig::{Sheet, WeightPicture};
use super::stills::Still;
use super::words::{self, capital};
use super::{json, rack, text};
use crate::outcome::{Finding, Fitting, Outcome, Verdict};
use base64::Engine;
use fitting::FittingView;
use minijinja::Environment;
use serde::Serialize;

/// What a page shows beside the numbers.
#[derive(Clone, Copy, Debug)]
pub struct Shown<'a> {
    /// In the order of the poses' reasons.
    pub stills: &'a [Still],
    /// Of all fittings.
    pub plots: &'a [Drawn],
    /// The 3-D view; without models there is none.
    pub view: &'a Packed,
    /// What was understood of the rigs.
    pub rigs: &'a [RigPictures<'a>],
    /// A page to pass on: it says that it carries pictures only.
    pub share: bool,
    /// A comparison that lies beside the report.
    pub beside: Option<&'a Beside>,
    /// Each fitting's own page, from this one; empty for one page that shows all.
    pub pages: &'a [Option<String>],
}

/// A rig sheet and the pictures of its weights.
pub type RigPictures<'a> = (&'a Sheet, Vec<WeightPicture>);

/// The page with its pictures and plots inside.
pub fn render(outcome: &Outcome, shown: &Shown) -> Result<String, minijinja::Error> {
    let mut engine = Environment::new();
    // The ending of the name turns escaping on.
    engine.add_template("page.html", include_str!("../page.html.j2"))?;
    engine
        .get_template("page.html")?
        .render(minijinja::Value::from(minijinja::value::Serde(Page::new(
            outcome, shown,
        ))))
}

#[derive(Serialize)]
struct Page {
    style: &'static str,
    /// Only scripts with this number run; a name from a file cannot know it, since it is made from the whole run.
    nonce: String,
    read: &'static str,
    /// Empty without a 3-D view.
    view: &'static str,
    models: String,
    blobs: Vec<Blob>,
    share: bool,
    verdict: Word,
    title: String,
    headline: String,
    lead: Vec<Picture>,
    lead_caption: String,
    sentences: Vec<String>,
    overview: Option<Overview>,
    /// Failures by what would mend them, where there are several fittings.
    mends: Vec<Mend>,
    sizes: Vec<String>,
    beside: Option<Beside>,
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
    fn new(outcome: &Outcome, shown: &Shown) -> Self {
        let stills = shown.stills;
        let fittings = || outcome.fittings.iter().enumerate();
        // A fitting that could not run has nothing to show: the picture is of the worst that has one.
        let pictured = |at: usize| stills.iter().any(|still| still.fitting == at);
        let worst = fittings().max_by_key(|(at, f)| (pictured(*at), f.verdict, std::cmp::Reverse(*at)));
        let (lead, pose) = worst.map(|(at, f)| lead(stills, at, f)).unwrap_or_default();
        Self {
            style: include_str!("../style.css"),
            nonce: nonce(outcome),
            read: include_str!("../read.js"),
            view: if shown.view.blobs.is_empty() {
                ""
            } else {
                include_str!("../view.js")
            },
            models: shown.view.list.clone(),
            blobs: shown.view.blobs.clone(),
            share: shown.share,
            verdict: Word::of(outcome.verdict),
            title: match outcome.fittings.as_slice() {
                [only] => words::fitting(only),
                all => words::count(all.len(), "fitting", "fittings"),
            },
            headline: match outcome.fittings.as_slice() {
                [only] => headline(only),
                _ => text::overall(outcome),
            },
            lead_caption: match worst {
                _ if pose.is_empty() => String::new(),
                Some((_, f)) if f.reasons.iter().all(|r| r.pose.is_empty()) => {
                    format!("The pose nearest to a limit: {pose}.")
                }
                Some((_, f)) if outcome.fittings.len() > 1 => {
                    format!("The worst pose: {pose}, {}.", words::fitting(f))
                }
                _ => format!("The worst pose: {pose}."),
            },
            lead,
            sentences: match outcome.fittings.as_slice() {
                [only] => tell::sentences(only, true),
                _ => Vec::new(),
            },
            overview: (outcome.fittings.len() > 1).then(|| Overview::new(outcome)),
            mends: match outcome.fittings.as_slice() {
                [_] => Vec::new(),
                _ => rack::groups(outcome).into_iter().map(Mend::from).collect(),
            },
            sizes: match outcome.fittings.as_slice() {
                [_] => Vec::new(),
                _ => rack::sizes(outcome),
            },
            beside: shown.beside.cloned(),
            fittings: fittings()
                .map(|(at, f)| FittingView::new(outcome, at, f, shown))
                .collect(),
            caution: outcome.caution.clone(),
        }
    }
}

/// Failures that one kind of edit would mend.
#[derive(Serialize)]
struct Mend {
    place: String,
    share: String,
    cause: &'static str,
    mend: String,
}

impl From<rack::Group> for Mend {
    fn from(group: rack::Group) -> Self {
        Self {
            place: capital(&group.place),
            share: group.share,
            cause: group.cause,
            mend: capital(&group.mend),
        }
    }
}

/// The pictures of the worst pose that has any, else the first there are, and the pose's name.
fn lead(stills: &[Still], at: usize, fitting: &Fitting) -> (Vec<Picture>, String) {
    let mut poses = fitting.reasons.iter().map(|r| r.pose.as_str());
    let worst = poses.find(|pose| stills.iter().any(|s| shows(s, at, pose)));
    let any = stills
        .iter()
        .find(|s| s.fitting == at && s.card.is_none())
        .map(|s| s.pose.as_str());
    let pose = worst.or(any).unwrap_or_default();
    (pictures(stills, at, pose), words::pose(pose))
}

/// FNV-1a over the whole record.
fn nonce(outcome: &Outcome) -> String {
    let text = json::render(outcome);
    let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    format!("{hash:016x}")
}

/// What the reader learns first.
fn headline(fitting: &Fitting) -> String {
    if let Some(finding) = tell::leading_finding(fitting) {
        return capital(&words::plain(&finding.say));
    }
    let tested = fitting.poses.iter().filter(|p| !p.frames.is_empty()).count();
    if fitting.reasons.is_empty() && tested == 1 {
        return "Within the limits in the one pose that was run".into();
    }
    capital(&text::in_a_line(fitting))
}

/// Garments down, bodies across, where there are several fittings.
#[derive(Serialize)]
struct Overview {
    bodies: Vec<String>,
    rows: Vec<OverviewRow>,
}

#[derive(Serialize)]
struct OverviewRow {
    garment: String,
    cells: Vec<Vec<Cell>>,
}

#[derive(Serialize)]
struct Cell {
    /// Index of the fitting, for the link.
    at: usize,
    verdict: Word,
    line: String,
}

impl Overview {
    fn new(outcome: &Outcome) -> Self {
        let [bodies, garments] = rack::names(outcome);
        let cells = |name: &str, body: &str| {
            let fittings = outcome.fittings.iter().enumerate();
            fittings
                .filter(|(_, f)| rack::garment(f) == name && words::plain(&f.body) == body)
                .map(|(at, f)| Cell {
                    at,
                    verdict: Word::of(f.verdict),
                    line: text::in_a_line(f),
                })
                .collect()
        };
        Self {
            rows: garments
                .iter()
                .map(|name| OverviewRow {
                    garment: name.clone(),
                    cells: bodies.iter().map(|body| cells(name, body)).collect(),
                })
                .collect(),
            bodies,
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
    still.fitting == fitting && still.pose == pose && still.card.is_none()
}

fn pictures(stills: &[Still], fitting: usize, pose: &str) -> Vec<Picture> {
    let of_pose = stills.iter().filter(|s| shows(s, fitting, pose));
    of_pose.map(Picture::from).collect()
}

impl From<&Still> for Picture {
    fn from(still: &Still) -> Self {
        Self {
            data: base64::engine::general_purpose::STANDARD.encode(&still.small),
            alt: still.alt.clone(),
            caption: still.caption.clone(),
            wide: still.image.width,
            high: still.image.height,
        }
    }
}
