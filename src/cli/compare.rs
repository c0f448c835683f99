//! `gusset compare`: which of two garments does better, or what an edit changed.

use super::Trouble;
use super::accept::result_of;
use super::wearing::Wearing;
use gusset::compare::{Pair, pairs};
use gusset::fitting::{self, Plan, Sequence};
use gusset::outcome::{Fitting, Verdict};
use gusset::pose;
use gusset::report::words;
use gusset::wardrobe::{Outfit, dress};
use serde_json::json;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Two garments, or two report folders or result.json files of one garment each
    #[arg(num_args = 2, required = true, value_names = ["A", "B"])]
    two: Vec<PathBuf>,
    /// The body that wears both garments
    #[arg(long, value_name = "FILE")]
    body: Option<PathBuf>,
    /// Poses by name or pose file, instead of the whole library
    #[arg(long, value_delimiter = ',', value_name = "NAMES")]
    poses: Vec<String>,
    /// Print numbers for scripts
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    wearing: Wearing,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let [a, b] = [&arguments.two[0], &arguments.two[1]];
    let fittings = match &arguments.body {
        Some(body) => [tried(arguments, body, a)?, tried(arguments, body, b)?],
        None => [only_fitting(a)?, only_fitting(b)?],
    };
    if let Some((at, fitting)) = fittings
        .iter()
        .enumerate()
        .find(|(_, f)| f.verdict == Verdict::CouldNotRun)
    {
        let why = fitting.reasons.first().map_or("", |reason| reason.say.as_str());
        return Err(Trouble::Say(format!(
            "{}: could not run: {}",
            arguments.two[at].display(),
            words::plain(why)
        )));
    }
    let pairs = pairs(&fittings[0], &fittings[1]);
    if pairs.is_empty() {
        return Err(Trouble::Say(
            "the two have no pose in common; run both through the same poses".into(),
        ));
    }
    let names = names(&fittings, [a, b]);
    super::print(&if arguments.json {
        format!("{:#}\n", as_json(&pairs, &names))
    } else {
        in_words(&pairs, &names)
    });
    Ok(ExitCode::SUCCESS)
}

fn tried(arguments: &Arguments, body: &Path, garment: &Path) -> Result<Fitting, Trouble> {
    let dressed = dress(&Outfit {
        body: Some(body.to_owned()),
        garment: garment.to_owned(),
        ..arguments.wearing.outfit()
    })
    .map_err(Trouble::say)?;
    let mut sequences: Vec<Sequence> = Vec::new();
    for name in &arguments.poses {
        sequences.push(Sequence::from(&super::poses::named(name)?));
    }
    if sequences.is_empty() {
        sequences.extend(pose::all().iter().map(Sequence::from));
    }
    let plan = Plan {
        sequences,
        ..Plan::default()
    };
    let frames = plan
        .sequences
        .iter()
        .map(|sequence| sequence.frames.len())
        .sum::<usize>();
    let bar = super::try_on::bar(frames as u64, arguments.json, "frames");
    let fitting = fitting::run(&dressed, &plan, &|| bar.inc(1));
    bar.finish_and_clear();
    Ok(fitting)
}

fn only_fitting(result: &Path) -> Result<Fitting, Trouble> {
    if is_rig(result) {
        return Err(Trouble::Say(format!(
            "{}: say who wears it: gusset compare A.glb B.glb --body BODY.glb",
            result.display()
        )));
    }
    let mut outcome = result_of(result)?;
    match outcome.fittings.len() {
        1 => Ok(outcome.fittings.remove(0)),
        count => Err(Trouble::Say(format!(
            "{}: holds {count} fittings; compare reports of one garment each",
            result.display()
        ))),
    }
}

fn is_rig(file: &Path) -> bool {
    let ending = file
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    ending.is_some_and(|ending| ["glb", "gltf", "vrm"].contains(&ending.as_str()))
}

/// The garments' names; with a letter before where they are the same.
fn names(fittings: &[Fitting; 2], files: [&PathBuf; 2]) -> [String; 2] {
    let name = |at: usize| {
        let garment = fittings[at]
            .garments
            .first()
            .map(|garment| words::plain(&garment.name));
        garment.unwrap_or_else(|| files[at].display().to_string())
    };
    let [a, b] = [name(0), name(1)];
    if a == b {
        [format!("A ({a})"), format!("B ({b})")]
    } else {
        [a, b]
    }
}

fn in_words(pairs: &[Pair], names: &[String; 2]) -> String {
    let mut text = String::new();
    let poses = |which: Option<usize>| pairs.iter().filter(|pair| pair.better() == which).count();
    let (draws, wins) = (poses(None), [poses(Some(0)), poses(Some(1))]);
    if wins == [0, 0] {
        let _ = writeln!(
            text,
            "No difference beyond noise between {} and {} in {}.",
            names[0],
            names[1],
            words::count(pairs.len(), "pose", "poses")
        );
        return text;
    }
    let _ = writeln!(
        text,
        "{} does better in {}, {} in {}; in {} it makes no difference.",
        names[0],
        words::count(wins[0], "pose", "poses"),
        names[1],
        words::count(wins[1], "pose", "poses"),
        words::count(draws, "pose", "poses"),
    );
    for which in [0, 1] {
        for pair in pairs.iter().filter(|pair| pair.better() == Some(which)) {
            let verdicts = pair.verdicts.map(words::verdict);
            let _ = writeln!(
                text,
                "\n{}: {} is better ({} {}, {} {})",
                words::capital(&words::pose(&pair.pose)),
                names[which],
                names[0],
                verdicts[0],
                names[1],
                verdicts[1]
            );
            for (path, side) in pair.numbers.iter().filter(|(_, side)| side.matters()) {
                let [a, b] = side.values.map(|value| words::quantity(path, value));
                let _ = writeln!(text, "  {}: {a} against {b}", words::title(path));
            }
        }
    }
    text
}

fn as_json(pairs: &[Pair], names: &[String; 2]) -> serde_json::Value {
    let letter = |which: Option<usize>| which.map(|which| ["a", "b"][which]);
    let poses: Vec<serde_json::Value> = pairs
        .iter()
        .map(|pair| {
            let numbers: serde_json::Map<String, serde_json::Value> = pair
                .numbers
                .iter()
                .map(|(path, side)| {
                    let [a, b] = side.values;
                    let row = json!({ "a": a, "b": b, "change": b - a, "better": letter(side.better) });
                    (path.clone(), row)
                })
                .collect();
            json!({ "pose": pair.pose, "verdicts": pair.verdicts, "better": letter(pair.better()), "numbers": numbers })
        })
        .collect();
    json!({ "a": names[0], "b": names[1], "poses": poses })
}
