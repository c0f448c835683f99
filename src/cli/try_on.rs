//! `gusset try`: the main job.

use super::wearing::Wearing;
use super::{Trouble, mocap, unchanged};
use gusset::compare::{self, Accepted, Change, Kind};
use gusset::fitting::{self, Dressed, Plan, Sequence};
use gusset::measure::FabricClass;
use gusset::outcome::{Demand, Fitting, Outcome, SCHEMA_VERSION, Verdict};
use gusset::pose::{self, clip};
use gusset::remedies;
use gusset::report::folder::Extras;
use gusset::report::model::Model;
use gusset::report::rig::Sheet;
use gusset::report::scene::Scene;
use gusset::report::text::Look;
use gusset::report::{csv, folder, json, junit, markdown, text};
use gusset::scenes::{self, watch::Watch};
use gusset::timings::{self, Step, time};
use gusset::verdict::judge::Promises;
use gusset::verdict::{Limits, Told};
use gusset::wardrobe::{Outfit, dress};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

/// What every report says (DESIGN 12).
pub(super) const CAUTION: &str = "gusset checks how rigged 3-D garments deform on screen; its numbers say nothing about the fit, \
pressure, comfort or protection of real clothing, and its joint ranges are not medical advice. It tests linear-blend \
skinning: corrective shapes, cloth and swinging joints of a runtime are not simulated.";

#[derive(Clone, Debug, clap::Args)]
pub(super) struct Arguments {
    /// The body, then the garments, each tested by itself; or one file that holds both; or a fitting file (YAML) of many
    #[arg(required = true, value_name = "FILE")]
    pub(super) files: Vec<PathBuf>,
    /// Poses by name or pose file, instead of the whole library
    #[arg(long, value_delimiter = ',', value_name = "NAMES")]
    pub(super) poses: Vec<String>,
    /// A clip of the body's own file (may be repeated); without --poses only clips are run
    #[arg(long, value_name = "NAME")]
    pub(super) clip: Vec<String>,
    /// A motion capture for any body (may be repeated): a BVH file, or a glTF file with clips of another wearer
    #[arg(long, value_name = "FILE")]
    pub(super) mocap: Vec<PathBuf>,
    /// Frames a second that are tested of a BVH capture, of which 600 at most
    #[arg(long, value_name = "HZ", default_value = "30", value_parser = rate)]
    pub(super) mocap_rate: f64,
    /// How much clips and captures ask of the garment
    #[arg(long, value_enum, default_value = "upright")]
    pub(super) demand: DemandArgument,
    /// How much the cloth gives [default: rigid, or what the fitting file says]
    #[arg(long, value_enum)]
    pub(super) fabric: Option<Fabric>,
    /// Measure against this accepted result; without it, GARMENT.accepted.txt beside the garment, or accepted.txt beside
    /// the fitting file, is used where there is one
    #[arg(long, value_name = "FILE")]
    pub(super) against: Option<PathBuf>,
    /// Hard poses must hold as well
    #[arg(long)]
    pub(super) strict: bool,
    /// Where reports go
    #[arg(long, value_name = "DIR", help = "Where report folders go [default: reports]")]
    pub(super) out: Option<PathBuf>,
    /// What to print; anything but text writes no report folder unless --out is given
    #[arg(long, value_enum, default_value = "text")]
    pub(super) format: Format,
    /// Do not try what would help at the places that fail
    #[arg(long)]
    pub(super) no_remedies: bool,
    /// Write no report folder
    #[arg(long)]
    pub(super) no_report: bool,
    /// Write a report to pass on: pictures and numbers only, no geometry of body or garment
    #[arg(long)]
    pub(super) share: bool,
    /// Write GLB models of the poses that fail, or of all, into the report folder, coloured by what is worst
    #[arg(long, value_enum, value_name = "WHICH")]
    pub(super) glb: Option<Posed>,
    /// Write each failing garment as built into the report folder, as a GLB with the failing places marked
    #[arg(long)]
    pub(super) marks: bool,
    /// Run only every Nth fitting of a fitting file, the Ith first; `gusset join` makes one report of all shards
    #[arg(long, value_name = "I/N", value_parser = super::rack::shard)]
    pub(super) shard: Option<super::rack::Shard>,
    /// Measure also where a report of this very run is there already
    #[arg(long)]
    pub(super) again: bool,
    /// Say on stderr where the time went, step by step; measures in any case
    #[arg(long)]
    pub(super) timings: bool,
    /// No progress on stderr
    #[arg(long, short)]
    pub(super) quiet: bool,
    #[command(flatten)]
    pub(super) wearing: Wearing,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Format {
    Text,
    Json,
    Csv,
    /// A case per fitting and pose, for build servers
    Junit,
    /// For a pull request or a chat
    Markdown,
}

/// Which poses are written as models.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Posed {
    Failing,
    All,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(super) enum DemandArgument {
    Upright,
    Seated,
    Hard,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(super) enum Fabric {
    Rigid,
    Comfort,
    Power,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    super::models::check(arguments)?;
    if let Some(file) = arguments.files.iter().find(|file| is_yaml(file)) {
        return super::rack::run(arguments, file);
    }
    if arguments.shard.is_some() {
        return Err(Trouble::Say(
            "--shard shares out the fittings of a fitting file; name one: gusset try FITTING.yaml --shard 1/4".into(),
        ));
    }
    let start = Instant::now();
    let key = key(arguments);
    if let Some(code) = made_before(arguments, key.as_deref()) {
        return Ok(code);
    }
    let accepted = accepted(arguments)?;
    // Everything is read before anything is run, so that a bad file stops before any work is lost.
    let dressed: Vec<Dressed> = outfits(arguments)?
        .iter()
        .map(dress)
        .collect::<Result<_, _>>()
        .map_err(Trouble::say)?;
    let mut fittings: Vec<Fitting> = Vec::new();
    let mut plans: Vec<Plan> = Vec::new();
    let mut models: Vec<Model> = Vec::new();
    let viewed = wants_report(arguments) && !arguments.share;
    for dressed in &dressed {
        let plan = plan(arguments, dressed)?;
        let bar = progress(arguments, &plan);
        let watch = Watch::new(dressed, &plan);
        let fitting = fitting::run_watched(dressed, &plan, &|seen| {
            if viewed {
                watch.see(seen);
            }
            bar.inc(1);
        });
        bar.finish_and_clear();
        let fitting = with_spots(arguments, dressed, &plan, fitting);
        if viewed && fitting.verdict != Verdict::CouldNotRun {
            models.push(time(Step::Scenes, || {
                watch.model(&plan, &fitting, fittings.len())
            }));
        }
        fittings.push(fitting);
        plans.push(plan);
    }
    let outcome = outcome_of(fittings);
    let changes = against(arguments, &accepted, &outcome)?;
    let page = if wants_report(arguments) && any_ran(&outcome) {
        let scenes: Vec<Scene> = time(Step::Scenes, || {
            (0..dressed.len())
                .flat_map(|n| scenes::with_spots(&dressed[n], &plans[n], &outcome.fittings[n], n))
                .collect()
        });
        let rigs: Vec<Sheet> = dressed
            .iter()
            .enumerate()
            .filter_map(|(n, dressed)| scenes::rig::sheet(dressed, n))
            .collect();
        let folder = reports(arguments).join(folder_name(&outcome));
        let files: Vec<_> = dressed
            .iter()
            .zip(&plans)
            .zip(outcome.fittings.iter().zip(folder::fitting_folders(&outcome)))
            .flat_map(|((dressed, plan), (fitting, name))| {
                super::models::of_fitting(arguments, dressed, plan, fitting, &name)
            })
            .collect();
        Some(
            folder::write(
                &folder,
                &outcome,
                &Extras {
                    scenes: &scenes,
                    models: &models,
                    rigs: &rigs,
                    no_curves: false,
                    share: arguments.share,
                    files: &files,
                    ..Extras::default()
                },
            )
            .map_err(Trouble::say)?
            .page,
        )
    } else {
        None
    };
    let said = match arguments.format {
        Format::Text => format!(
            "{}{}",
            changes.text,
            text::render(&outcome, page.as_deref(), look())
        ),
        Format::Json => json::render(&outcome),
        Format::Csv => csv::render(&outcome),
        Format::Junit => junit::render(&outcome),
        Format::Markdown => markdown::render(&outcome),
    };
    let aside = if arguments.format == Format::Text {
        ""
    } else {
        &changes.text
    };
    super::print(&said);
    eprint!("{aside}");
    if arguments.timings {
        let poses = outcome.fittings.iter().flat_map(|fitting| &fitting.poses);
        let frames = poses.map(|pose| pose.frames.len()).sum();
        eprint!("{}", timings::table(start.elapsed(), frames));
    }
    let code = match exit_code(outcome.verdict) {
        0 if changes.worse => 1,
        code => code,
    };
    if let (Some(key), Some(folder)) = (key, page.as_deref().and_then(Path::parent)) {
        unchanged::keep(folder, key, code, &said, aside);
    }
    Ok(ExitCode::from(code))
}

/// A hash of all that this run depends on, where a report can be kept for it.
fn key(arguments: &Arguments) -> Option<String> {
    // A report to pass on holds nothing but itself: what was said may name places.
    if !wants_report(arguments) || arguments.share {
        return None;
    }
    let mut files: Vec<&Path> = arguments.files.iter().map(PathBuf::as_path).collect();
    files.extend(arguments.wearing.files());
    // What is no file is a pose of the library, which is part of the program.
    files.extend(
        arguments
            .poses
            .iter()
            .map(Path::new)
            .filter(|file| file.is_file()),
    );
    files.extend(arguments.mocap.iter().map(PathBuf::as_path));
    let accepted = accepted_files(arguments);
    files.extend(accepted.iter().map(PathBuf::as_path));
    let told = Arguments {
        again: false,
        timings: false,
        quiet: false,
        ..arguments.clone()
    };
    unchanged::key(&format!("{told:?} {files:?}"), &files)
}

/// The exit code of the same run made before, whose words are said once more.
fn made_before(arguments: &Arguments, key: Option<&str>) -> Option<ExitCode> {
    if arguments.again || arguments.timings {
        return None;
    }
    let (folder, run) = unchanged::find(&reports(arguments), key?)?;
    super::print(&run.said);
    eprint!("{}", run.aside);
    eprintln!(
        "Nothing changed since the report in {} was made; it was not made again (--again does)",
        folder.display()
    );
    Some(ExitCode::from(run.code))
}

/// Where report folders go.
fn reports(arguments: &Arguments) -> PathBuf {
    arguments.out.clone().unwrap_or_else(|| "reports".into())
}

/// The accepted results that this run is measured against, with their files.
fn accepted(arguments: &Arguments) -> Result<Vec<(PathBuf, Accepted)>, Trouble> {
    accepted_files(arguments)
        .into_iter()
        .map(|file| Ok((file.clone(), super::accept::read(&file)?)))
        .collect()
}

fn accepted_files(arguments: &Arguments) -> Vec<PathBuf> {
    match &arguments.against {
        Some(file) => vec![file.clone()],
        None => {
            let beside = arguments
                .files
                .iter()
                .map(|garment| super::accept::beside(garment));
            beside.filter(|file| file.is_file()).collect()
        }
    }
}

/// What changed against what was accepted, and whether anything got worse.
#[derive(Default)]
struct Changes {
    text: String,
    worse: bool,
}

fn against(
    arguments: &Arguments,
    accepted: &[(PathBuf, Accepted)],
    outcome: &Outcome,
) -> Result<Changes, Trouble> {
    let mut told = Changes::default();
    for (file, accepted) in accepted {
        let of_file = Outcome {
            fittings: outcome
                .fittings
                .iter()
                .filter(|fitting| arguments.against.is_some() || is_of(file, fitting))
                .cloned()
                .collect(),
            ..outcome.clone()
        };
        if let Some(why) = accepted.stale(&of_file) {
            let say = format!(
                "{0}: this accepted result is stale: {why}; accept again with: gusset accept REPORT --to {0}",
                file.display()
            );
            // A build server must not go on with a yardstick that no longer fits.
            if std::env::var("CI").is_ok_and(|ci| ci == "true") {
                return Err(Trouble::Say(say));
            }
            told.text.push_str(&format!("{say}\n\n"));
        }
        let changes = compare::against(accepted, &of_file);
        told.worse |= changes.iter().any(|change| change.kind == Kind::Worse);
        told.text.push_str(&in_words(file, &changes));
    }
    Ok(told)
}

/// Whether an accepted file lies beside this fitting's garment.
fn is_of(file: &Path, fitting: &Fitting) -> bool {
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned());
    let stem = name
        .as_deref()
        .and_then(|name| name.strip_suffix(".accepted.txt"));
    fitting
        .garments
        .first()
        .is_some_and(|garment| stem == Some(garment.name.as_str()))
}

/// Lines shown of each kind of change; the rest is counted.
const MOST_LINES: usize = 12;

pub(super) fn in_words(file: &Path, changes: &[Change]) -> String {
    let count = |kind| changes.iter().filter(|change| change.kind == kind).count();
    let kinds = [Kind::Worse, Kind::New, Kind::Gone, Kind::Better];
    let parts: Vec<String> = kinds
        .into_iter()
        .filter(|kind| count(*kind) > 0)
        .map(|kind| format!("{} {}", count(kind), kind.word()))
        .collect();
    let head = if parts.is_empty() {
        "nothing changed beyond noise".into()
    } else {
        parts.join(", ")
    };
    let mut text = format!("Against {}: {head}.\n", file.display());
    for kind in kinds {
        let lines = changes.iter().filter(|change| change.kind == kind);
        lines
            .take(MOST_LINES)
            .for_each(|change| text.push_str(&format!("  {}\n", compare::say(change))));
        let more = count(kind).saturating_sub(MOST_LINES);
        if more > 0 {
            text.push_str(&format!("  and {more} more {}\n", kind.word()));
        }
    }
    text.push('\n');
    text
}

/// The fitting with the places that fail, why, and what would help.
pub(super) fn with_spots(
    arguments: &Arguments,
    dressed: &Dressed,
    plan: &Plan,
    mut fitting: Fitting,
) -> Fitting {
    if !arguments.no_remedies && matches!(fitting.verdict, Verdict::Fail | Verdict::CouldNotRun) {
        let bar = bar(0, arguments.quiet, "frames of remedies tried");
        fitting.spots = time(Step::Remedies, || {
            remedies::find(dressed, plan, &fitting, &|| bar.inc(1))
        });
        bar.finish_and_clear();
    }
    fitting
}

/// The record of a run.
pub(super) fn outcome_of(fittings: Vec<Fitting>) -> Outcome {
    Outcome {
        schema_version: SCHEMA_VERSION,
        verdict: fittings
            .iter()
            .map(|fitting| fitting.verdict)
            .max()
            .unwrap_or(Verdict::CouldNotRun),
        caution: CAUTION.into(),
        limits: Limits::defaults().most,
        fittings,
    }
}

/// Fittings that could run are written, also beside one that could not.
pub(super) fn any_ran(outcome: &Outcome) -> bool {
    outcome
        .fittings
        .iter()
        .any(|fitting| fitting.verdict != Verdict::CouldNotRun)
}

/// A report comes with the text, and with any format that says where it goes.
pub(super) fn wants_report(arguments: &Arguments) -> bool {
    !arguments.no_report && (arguments.format == Format::Text || arguments.out.is_some())
}

/// One fitting's own name; for several the body's.
fn folder_name(outcome: &Outcome) -> String {
    match outcome.fittings.as_slice() {
        [only] => folder::fitting_folder(only),
        [first, ..] => folder::safe_name(&first.body),
        [] => "report".into(),
    }
}

pub(super) fn exit_code(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::CouldNotRun | Verdict::NotApplicable => 2,
        Verdict::Fail => 1,
        Verdict::Pass | Verdict::Warn | Verdict::PartlyTested => 0,
    }
}

pub(super) fn look() -> Look {
    let width = std::env::var("COLUMNS")
        .ok()
        .and_then(|columns| columns.parse().ok())
        .unwrap_or(100);
    Look { colour: false, width }
}

fn outfits(arguments: &Arguments) -> Result<Vec<Outfit>, Trouble> {
    let base = arguments.wearing.outfit();
    Ok(match arguments.files.as_slice() {
        [only] => vec![Outfit {
            garment: only.clone(),
            ..base
        }],
        [body, garments @ ..] => garments
            .iter()
            .zip(names_apart(garments))
            .map(|(garment, garment_name)| Outfit {
                body: Some(body.clone()),
                garment: garment.clone(),
                garment_name,
                ..base.clone()
            })
            .collect(),
        [] => Vec::new(),
    })
}

/// Names for garments whose files are called the same: with the folder before, or a number where that is not enough.
fn names_apart(garments: &[PathBuf]) -> Vec<Option<String>> {
    let part = |name: Option<&std::ffi::OsStr>| {
        name.map_or_else(String::new, |name| name.to_string_lossy().into_owned())
    };
    let stem = |file: &Path| part(file.file_stem());
    let long = |file: &Path| format!("{}/{}", part(file.parent().and_then(Path::file_name)), stem(file));
    let alike = |name: &dyn Fn(&Path) -> String, file: &Path| {
        garments.iter().filter(|other| name(other) == name(file)).count() > 1
    };
    garments
        .iter()
        .zip(1..)
        .map(|(file, number)| match (alike(&stem, file), alike(&long, file)) {
            (false, _) => None,
            (true, false) => Some(long(file)),
            (true, true) => Some(format!("{} ({number})", stem(file))),
        })
        .collect()
}

pub(super) fn is_yaml(file: &Path) -> bool {
    file.extension()
        .is_some_and(|ending| ending == "yaml" || ending == "yml")
}

/// Frames a second, as a switch has them.
fn rate(text: &str) -> Result<f64, String> {
    let rate: f64 = text.parse().map_err(|_| format!("`{text}` is no number"))?;
    let (least, most) = pose::capture::RATES_HZ;
    match (least..=most).contains(&rate) {
        true => Ok(rate),
        false => Err(format!("write {least} to {most}")),
    }
}

fn plan(arguments: &Arguments, dressed: &Dressed) -> Result<Plan, Trouble> {
    let mut sequences: Vec<Sequence> = Vec::new();
    for (at, name) in arguments.poses.iter().enumerate() {
        if !arguments.poses[..at].contains(name) {
            sequences.push(Sequence::from(&super::poses::named(name)?));
        }
    }
    if arguments.poses.is_empty() && arguments.clip.is_empty() && arguments.mocap.is_empty() {
        sequences.extend(pose::all().iter().map(Sequence::from));
    }
    for name in &arguments.clip {
        let wanted = clip::find(&dressed.rig, name)
            .map_err(|error| Trouble::Say(format!("{}: {}", dressed.rig.name, error.in_a_line())))?;
        let index = dressed
            .rig
            .clips
            .iter()
            .position(|clip| std::ptr::eq(clip, wanted))
            .unwrap_or(0);
        sequences.push(Sequence::of_clip(index, wanted, arguments.demand.into()));
    }
    for file in &arguments.mocap {
        let options = arguments.wearing.reading.options();
        sequences.extend(mocap::sequences(
            file,
            arguments.demand.into(),
            arguments.mocap_rate,
            &options,
        )?);
    }
    Ok(Plan {
        sequences,
        fabric: arguments.fabric.unwrap_or(Fabric::Rigid).into(),
        promises: Promises {
            strict: arguments.strict,
            ..Promises::default()
        },
        limits: Told::new(),
    })
}

fn progress(arguments: &Arguments, plan: &Plan) -> ProgressBar {
    let frames: usize = plan.sequences.iter().map(|sequence| sequence.frames.len()).sum();
    bar(frames as u64, arguments.quiet, "frames")
}

/// A progress bar on stderr, or none.
pub(super) fn bar(count: u64, quiet: bool, of: &str) -> ProgressBar {
    let target = if quiet {
        ProgressDrawTarget::hidden()
    } else {
        ProgressDrawTarget::stderr()
    };
    let bar = ProgressBar::with_draw_target(Some(count), target);
    if let Ok(style) = ProgressStyle::with_template(&format!("{{bar:32}} {{pos}}/{{len}} {of}")) {
        bar.set_style(style);
    }
    bar
}

impl From<DemandArgument> for Demand {
    fn from(demand: DemandArgument) -> Self {
        match demand {
            DemandArgument::Upright => Self::Upright,
            DemandArgument::Seated => Self::Seated,
            DemandArgument::Hard => Self::Hard,
        }
    }
}

impl From<Fabric> for FabricClass {
    fn from(fabric: Fabric) -> Self {
        match fabric {
            Fabric::Rigid => Self::Rigid,
            Fabric::Comfort => Self::Comfort,
            Fabric::Power => Self::Power,
        }
    }
}
