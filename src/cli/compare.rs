//! `gusset compare`: which of two garments does better, or what an edit changed.

use super::Trouble;
use super::accept::result_of;
use super::range::Format;
use super::try_on::CAUTION;
use super::wearing::Wearing;
use gusset::compare::{Moved, Pair, moved, pairs};
use gusset::fitting::{self, Dressed, Plan, Sequence};
use gusset::outcome::{Fitting, Verdict};
use gusset::pose;
use gusset::report::leaf::{self, Leaf};
use gusset::report::{folder, words};
use gusset::scenes::compare::{self as shown, Two};
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

/// Two fittings, and what they were made from where garments were given.
struct Tried {
    fittings: [Fitting; 2],
    worn: Option<([Dressed; 2], Plan)>,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let [a, b] = [&arguments.two[0], &arguments.two[1]];
    let tried = match &arguments.body {
        Some(body) => both(arguments, body)?,
        None => Tried {
            fittings: [only_fitting(a)?, only_fitting(b)?],
            worn: None,
        },
    };
    let fittings = &tried.fittings;
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
    let names = names(fittings, [a, b]);
    let two = Two {
        pairs: &pairs,
        names: &names,
        fittings: [&fittings[0], &fittings[1]],
    };
    let moved = (tried.worn.as_ref()).and_then(|([a, b], _)| moved(&a.layers[0], &b.layers[0]));
    let json = format!("{:#}\n", as_json(&pairs, &names, moved.as_ref()));
    let mut text = in_words(&two);
    if arguments.format == Format::Text || arguments.out.is_some() {
        let page = report(arguments, &tried, &two, moved.as_ref(), &json)?;
        text.push_str(&format!("\nReport: {}\n", page.display()));
    }
    super::print(if arguments.format == Format::Json {
        &json
    } else {
        &text
    });
    Ok(ExitCode::SUCCESS)
}

fn both(arguments: &Arguments, body: &Path) -> Result<Tried, Trouble> {
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
    let worn = |garment: &Path| {
        dress(&Outfit {
            body: Some(body.to_owned()),
            garment: garment.to_owned(),
            ..arguments.wearing.outfit()
        })
        .map_err(Trouble::say)
    };
    let dressed = [worn(&arguments.two[0])?, worn(&arguments.two[1])?];
    let frames: usize = plan.sequences.iter().map(|sequence| sequence.frames.len()).sum();
    let bar = super::try_on::bar(2 * frames as u64, arguments.quiet, "frames");
    let fittings = [0, 1].map(|which| fitting::run(&dressed[which], &plan, &|| bar.inc(1)));
    bar.finish_and_clear();
    Ok(Tried {
        fittings,
        worn: Some((dressed, plan)),
    })
}

/// Writes the page; its path.
fn report(
    arguments: &Arguments,
    tried: &Tried,
    two: &Two,
    moved: Option<&Moved>,
    json: &str,
) -> Result<PathBuf, Trouble> {
    let leaf = page_of(
        two,
        tried.worn.as_ref().map(|([a, b], plan)| ([a, b], plan)),
        moved,
        json,
    );
    let named = two.fittings.map(|fitting| {
        fitting
            .garments
            .first()
            .map_or("garment", |garment| &garment.name)
    });
    let name = folder::safe_name(&format!("compare_{}_and_{}", named[0], named[1]));
    let folder = arguments
        .out
        .clone()
        .unwrap_or_else(|| "reports".into())
        .join(name);
    Ok(leaf::write(&folder, &leaf).map_err(Trouble::say)?.page)
}

/// The page of a comparison; pictures where the garments themselves are there.
pub(super) fn page_of(
    two: &Two,
    worn: Option<([&Dressed; 2], &Plan)>,
    moved: Option<&Moved>,
    json: &str,
) -> Leaf {
    let mut sections = Vec::new();
    if let Some(([a, b], plan)) = worn {
        if two.pairs.iter().any(|pair| pair.better().is_some()) {
            sections.push(shown::pictures(two, [a, b], plan));
        }
        if let Some(moved) = moved {
            sections.push(shown::moved(two, b, moved));
        }
    }
    sections.push(shown::table(two));
    sections.push(shown::curves(two));
    Leaf {
        title: format!(
            "{} against {} on {}",
            two.names[0],
            two.names[1],
            words::plain(&two.fittings[0].body)
        ),
        headline: shown::headline(two),
        sentences: shown::sentences(two),
        sections,
        caution: CAUTION.into(),
        json: json.to_owned(),
    }
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

fn in_words(two: &Two) -> String {
    let mut text = format!("{}\n", shown::headline(two));
    for sentence in shown::sentences(two) {
        let _ = writeln!(text, "  {sentence}");
    }
    for which in [0, 1] {
        for pair in two.pairs.iter().filter(|pair| pair.better() == Some(which)) {
            let verdicts = pair.verdicts.map(words::verdict);
            let _ = writeln!(
                text,
                "\n{}: {} is better ({} {}, {} {})",
                words::capital(&words::pose(&pair.pose)),
                two.names[which],
                two.names[0],
                verdicts[0],
                two.names[1],
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

pub(super) fn as_json(pairs: &[Pair], names: &[String; 2], moved: Option<&Moved>) -> serde_json::Value {
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
    let moved = moved.map(|moved| {
        let most = |values: &[f32]| f64::from(values.iter().copied().fold(0.0, f32::max));
        json!({
            "vertices": moved.shape.len(),
            "shape_most_mm": most(&moved.shape) * 1e3,
            "weights_most": most(&moved.weights),
        })
    });
    json!({ "a": names[0], "b": names[1], "moved": moved, "poses": poses })
}
