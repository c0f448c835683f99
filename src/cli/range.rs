//! `gusset range`: up to which angle a garment holds.

use super::Trouble;
use super::try_on::{CAUTION, Fabric, bar};
use super::wearing::Wearing;
use gusset::outcome::Severity;
use gusset::pose::sweep::{self as motions, Sweep};
use gusset::pose::{OnSide, ranges};
use gusset::report::leaf::{self, Leaf, Section};
use gusset::report::{folder, words};
use gusset::scenes::{maps, range as shown};
use gusset::sweep::{self, Asked, Grid, Range};
use gusset::wardrobe::{Outfit, dress};
use serde_json::json;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The body, then the garment; or one file that holds both
    #[arg(required = true, num_args = 1..=2, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Joint, motion, from and to in degrees, like hip.flexion=0:120
    #[arg(long, value_name = "MOTION=FROM:TO")]
    motion: String,
    /// A second motion: every pair of angles, as a map
    #[arg(long, value_name = "MOTION=FROM:TO")]
    with: Option<String>,
    /// Which side moves
    #[arg(long, value_enum, default_value = "both")]
    side: Side,
    /// Even steps from end to end [default: one a degree, at most 120; with a second motion 5 degrees apart]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=2000))]
    steps: Option<u32>,
    /// How much the cloth gives
    #[arg(long, value_enum, default_value = "rigid")]
    fabric: Fabric,
    /// Where the report folder goes
    #[arg(
        long,
        value_name = "DIR",
        help = "Where the report folder goes [default: reports]"
    )]
    out: Option<PathBuf>,
    /// What to print; JSON writes no report folder unless --out is given
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// No progress on stderr
    #[arg(long, short)]
    quiet: bool,
    #[command(flatten)]
    wearing: Wearing,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Side {
    Left,
    Right,
    Both,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Format {
    Text,
    Json,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let first = motions::parse(&arguments.motion)?;
    let second = arguments.with.as_deref().map(motions::parse).transpose()?;
    if second.is_some_and(|second| second.what == first.what) {
        return Err(Trouble::Say(format!(
            "--with {} is the motion of --motion; name another one",
            first.what
        )));
    }
    let sides = match arguments.side {
        Side::Left => OnSide::Left,
        Side::Right => OnSide::Right,
        Side::Both => OnSide::Both,
    };
    let base = arguments.wearing.outfit();
    let outfit = match arguments.files.as_slice() {
        [body, garment] => Outfit {
            body: Some(body.clone()),
            garment: garment.clone(),
            ..base
        },
        files => Outfit {
            garment: files[0].clone(),
            ..base
        },
    };
    let dressed = dress(&outfit).map_err(Trouble::say)?;
    could_run(&dressed, first, second, sides)?;
    let asked = Asked {
        sweep: first,
        sides,
        steps: arguments
            .steps
            .map_or_else(|| by_degrees(first, 1.0, 120), |steps| steps as usize),
        fabric: arguments.fabric.into(),
    };
    let progress = bar(asked.steps as u64 + 1, arguments.quiet, "angles");
    let range = sweep::range(&dressed, &asked, &|| progress.inc(1));
    let grid = second.map(|second| {
        let steps = [first, second].map(|one| {
            arguments
                .steps
                .map_or_else(|| by_degrees(one, 5.0, 60), |n| n as usize)
        });
        progress.set_length(((steps[0] + 1) * (steps[1] + 1)) as u64);
        progress.set_position(0);
        sweep::grid(&dressed, [first, second], sides, steps, asked.fabric, &|| {
            progress.inc(1)
        })
    });
    progress.finish_and_clear();
    let json = json(&range, grid.as_ref());
    let mut text = format!(
        "{} on {}, {}: {}.\n",
        words::plain(&range.garment),
        words::plain(&range.body),
        shown::motion(&range),
        shown::in_words(&range)
    );
    let mut said = sentences(&range, [Some(first), second], sides);
    said.extend(grid.as_ref().map(maps::in_words));
    for sentence in &said {
        text.push_str(&format!("  {sentence}\n"));
    }
    if arguments.format == Format::Text || arguments.out.is_some() {
        let mut sections = vec![shown::plots(&dressed, &range, asked.fabric)];
        if let Some(places) = shown::places(&range) {
            let section = Section {
                heading: "Where".into(),
                sentences: vec!["Places that alone would fail, in the order in which they do.".into()],
                table: Some(places),
                ..Section::default()
            };
            sections.insert(0, section);
        }
        // Who asked for two motions looks for the maps first.
        sections.splice(0..0, grid.as_ref().map(maps::maps));
        let leaf = Leaf {
            title: format!("{} on {}: {}", range.garment, range.body, shown::motion(&range)),
            headline: words::capital(&shown::in_words(&range)) + ".",
            sentences: said,
            sections,
            caution: CAUTION.into(),
            json: json.clone(),
        };
        let name = format!("range_{}_{}_on_{}", range.motion, range.garment, range.body);
        let folder = arguments
            .out
            .clone()
            .unwrap_or_else(|| "reports".into())
            .join(folder::safe_name(&name));
        let written = leaf::write(&folder, &leaf).map_err(Trouble::say)?;
        text.push_str(&format!("\nReport: {}\n", written.page.display()));
    }
    super::print(if arguments.format == Format::Json {
        &json
    } else {
        &text
    });
    Ok(ExitCode::SUCCESS)
}

/// One step for so many degrees.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "at most `most`"
)]
fn by_degrees(sweep: Sweep, degrees: f64, most: usize) -> usize {
    (((sweep.to_deg - sweep.from_deg).abs() / degrees).round() as usize).clamp(1, most)
}

/// A garment that cannot run, or a rig without the joint, is said before anything is measured.
fn could_run(
    dressed: &gusset::fitting::Dressed,
    first: Sweep,
    second: Option<Sweep>,
    sides: OnSide,
) -> Result<(), Trouble> {
    if let Some(finding) = dressed
        .findings
        .iter()
        .find(|finding| finding.severity == Severity::Stop)
    {
        return Err(Trouble::Say(format!(
            "could not run: {} {}",
            words::plain(&finding.say),
            finding.help
        )));
    }
    if dressed.garment_alone {
        return Err(Trouble::Say(
            "a range needs a body: gusset range BODY GARMENT --motion hip.flexion=0:120".into(),
        ));
    }
    for sweep in std::iter::once(first).chain(second) {
        let pose = motions::sweep(sweep.what, sweep.from_deg, sweep.to_deg, 2, sides);
        if let Some(missing) = gusset::fitting::missing_bones(dressed, &(&pose).into()) {
            return Err(Trouble::Say(format!("{} does not apply: {missing}", sweep.what)));
        }
    }
    Ok(())
}

/// What begins later, and that a motion goes further than joints do.
fn sentences(range: &Range, sweeps: [Option<Sweep>; 2], sides: OnSide) -> Vec<String> {
    let mut said = shown::sentences(range);
    for sweep in sweeps.into_iter().flatten() {
        let pose = motions::sweep(sweep.what, sweep.from_deg, sweep.to_deg, 2, sides);
        if let Some(out) = ranges::check(&pose).first() {
            said.push(format!(
                "{} {:.0} degrees is beyond what joints do, {:.0} to {:.0} ({}).",
                sweep.what, out.value_deg, out.least_deg, out.most_deg, out.source
            ));
        }
    }
    said
}

/// Shape: everything of [`Range`], and under `grid` everything of [`Grid`] where there is a second motion.
fn json(range: &Range, grid: Option<&Grid>) -> String {
    let mut value = json!(range);
    if let (Some(object), Some(grid)) = (value.as_object_mut(), grid) {
        object.insert("grid".into(), json!(grid));
    }
    format!("{value:#}\n")
}
