//! `gusset demo`: an invented crew, their clothes, planted faults, and what gusset says of them.

use super::compare::{as_json, page_of};
use super::{Trouble, posed, try_on};
use gusset::compare;
use gusset::demo::{self, Fault, Scenario, Worn};
use gusset::fitting::{self, Dressed, Plan, Sequence};
use gusset::outcome::{Fitting, Outcome};
use gusset::pose;
use gusset::report::folder::{self, Beside, Extras};
use gusset::report::leaf;
use gusset::report::model::Model;
use gusset::report::{text, words};
use gusset::scenes::compare::{self as shown, Two};
use gusset::scenes::{self, watch::Watch};
use gusset::wardrobe::{Outfit, dress};
use rayon::prelude::*;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Where to write the rigs and the report
    #[arg(default_value = "gusset-demo", value_name = "DIR")]
    folder: PathBuf,
    /// Write the rigs and stop
    #[arg(long)]
    only_files: bool,
    /// No progress on stderr
    #[arg(long, short)]
    quiet: bool,
}

/// Still poses for the clean clothes: everyday, seated, hard. All 40 of the library, with those that move, take a
/// minute for all garments together.
const CLEAN_POSES: [&str; 12] = [
    "standing",
    "wide_stance",
    "arms_forward",
    "elbows_bent",
    "bend_forward",
    "leg_raise",
    "sitting",
    "sitting_leaning",
    "sitting_knees_apart",
    "squat",
    "cross_legged",
    "side_split",
];
/// Poses that show each planted fault.
const FAULT_POSES: [&str; 3] = ["standing", "sitting", "bend_forward"];
/// The trousers that are compared, and the folder of their page.
const BUILT_AT: [&str; 2] = ["work_trousers_0", "work_trousers_9"];
const COMPARED: &str = "built_at_0_or_9";
/// Scenes of one fitting: the report is a tour, not an archive.
const SCENES: usize = 1;

/// One fitting of the demo.
struct Stand<'a> {
    worn: &'a Worn,
    fault: Option<Fault>,
}

/// The demo succeeds when it ran: its planted faults must fail, and that is what it shows.
pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let folder = &arguments.folder;
    std::fs::create_dir_all(folder).map_err(|error| {
        Trouble::Say(format!(
            "{} cannot be made: {error}; name another folder",
            folder.display()
        ))
    })?;
    let scenario = demo::scenario();
    let count = write(&scenario, folder)?;
    super::print(&format!(
        "An invented crew and their rack: {count} files written to {}.\n",
        folder.display()
    ));
    if arguments.only_files {
        return Ok(ExitCode::SUCCESS);
    }
    let stands = stands(&scenario);
    let bar = try_on::bar(stands.len() as u64, arguments.quiet, "fittings");
    let done: Vec<Done> = stands
        .par_iter()
        .enumerate()
        .map(|(number, stand)| {
            let done = fit(stand, number, folder);
            bar.inc(1);
            done
        })
        .collect::<Result<_, _>>()?;
    bar.finish_and_clear();
    let outcome = try_on::outcome_of(done.iter().map(|done| done.fitting.clone()).collect());
    let beside = compared(&done, folder)?;
    let page = report(&done, &outcome, &folder.join("report"), beside.as_ref())?;
    super::print(&summary(&stands, &outcome, folder, &page));
    Ok(ExitCode::SUCCESS)
}

/// Writes every body and garment; returns how many files that were.
fn write(scenario: &Scenario, folder: &Path) -> Result<usize, Trouble> {
    let clothes = scenario
        .garments
        .iter()
        .chain(scenario.faulty.iter().map(|(_, worn)| worn))
        .map(|worn| &worn.piece);
    let pieces: Vec<_> = scenario.bodies.iter().chain(clothes).collect();
    pieces
        .par_iter()
        .map(|piece| posed::write_whole(&file(folder, &piece.name), &piece.glb()))
        .collect::<Result<Vec<()>, _>>()?;
    Ok(pieces.len())
}

fn file(folder: &Path, name: &str) -> PathBuf {
    folder.join(format!("{name}.glb"))
}

/// Clean clothes first, then one planted fault after the other.
fn stands(scenario: &Scenario) -> Vec<Stand<'_>> {
    let clean = scenario.garments.iter().map(|worn| Stand { worn, fault: None });
    let faulty = scenario.faulty.iter().map(|(fault, worn)| Stand {
        worn,
        fault: Some(*fault),
    });
    clean.chain(faulty).collect()
}

/// A fitting that was run, and what its pictures are made from.
struct Done {
    dressed: Dressed,
    plan: Plan,
    fitting: Fitting,
    model: Option<Model>,
}

fn fit(stand: &Stand, number: usize, folder: &Path) -> Result<Done, Trouble> {
    let dressed = dress(&Outfit {
        body: Some(file(folder, &stand.worn.body)),
        garment: file(folder, &stand.worn.piece.name),
        over: stand.worn.over.iter().map(|name| file(folder, name)).collect(),
        ..Outfit::default()
    })
    .map_err(Trouble::say)?;
    let plan = Plan {
        sequences: poses(stand),
        ..Plan::default()
    };
    // The 3-D view is for one pair with its fault: with all of them the page would be too heavy to open.
    let viewed = number == 0 || stand.fault == Some(Fault::Bleed);
    let watch = Watch::new(&dressed, &plan);
    let fitting = fitting::run_watched(&dressed, &plan, &|seen| {
        if viewed {
            watch.see(seen);
        }
    });
    let model = viewed.then(|| watch.model(&plan, &fitting, number));
    Ok(Done {
        dressed,
        plan,
        fitting,
        model,
    })
}

fn poses(stand: &Stand) -> Vec<Sequence> {
    let names: &[&str] = if stand.fault.is_none() {
        &CLEAN_POSES
    } else {
        &FAULT_POSES
    };
    let wanted = |pose: &&pose::Pose| names.contains(&pose.name.as_str());
    pose::all().iter().filter(wanted).map(Sequence::from).collect()
}

/// The same trousers built at 0 and at 9 degrees of hip splay, compared on a page of its own.
fn compared(done: &[Done], folder: &Path) -> Result<Option<Beside>, Trouble> {
    let named = |name: &str| {
        done.iter()
            .find(|done| done.dressed.layers[0].surface.name == name)
    };
    let (Some(zero), Some(nine)) = (named(BUILT_AT[0]), named(BUILT_AT[1])) else {
        return Ok(None);
    };
    let pairs = compare::pairs(&zero.fitting, &nine.fitting);
    let names = BUILT_AT.map(str::to_owned);
    let two = Two {
        pairs: &pairs,
        names: &names,
        fittings: [&zero.fitting, &nine.fitting],
    };
    let json = format!("{:#}\n", as_json(&pairs, &names, None));
    let leaf = page_of(
        &two,
        Some(([&zero.dressed, &nine.dressed], &zero.plan)),
        None,
        &json,
    );
    leaf::write(&folder.join(COMPARED), &leaf).map_err(Trouble::say)?;
    let said = [vec![shown::headline(&two)], shown::sentences(&two)].concat();
    Ok(Some(Beside {
        heading: "Built at 0 or at 9 degrees of hip splay".into(),
        sentences: said,
        page: format!("../{COMPARED}/index.html"),
    }))
}

fn report(
    done: &[Done],
    outcome: &Outcome,
    folder: &Path,
    beside: Option<&Beside>,
) -> Result<PathBuf, Trouble> {
    let scenes: Vec<_> = done
        .par_iter()
        .enumerate()
        .map(|(number, done)| scenes::worst_of(&done.dressed, &done.plan, &done.fitting, number, SCENES))
        .collect::<Vec<_>>()
        .concat();
    let models: Vec<Model> = done.iter().filter_map(|done| done.model.clone()).collect();
    let extras = Extras {
        scenes: &scenes,
        models: &models,
        no_curves: true,
        beside,
        ..Extras::default()
    };
    Ok(folder::write(folder, outcome, &extras)
        .map_err(Trouble::say)?
        .page)
}

/// A line for each fitting: the verdict, who wears what, and why.
fn summary(stands: &[Stand], outcome: &Outcome, folder: &Path, page: &Path) -> String {
    let mut text = String::new();
    for (stand, fitting) in stands.iter().zip(&outcome.fittings) {
        if stand.fault == Some(Fault::SHOWN[0]) {
            text.push_str("\nThe work trousers with a fault planted:\n");
        } else if stand.fault.is_none() && text.is_empty() {
            text.push_str("\nClean clothes, in a dozen still poses of the library:\n");
        }
        let verdict = words::verdict(fitting.verdict);
        let _ = writeln!(
            text,
            "{verdict:14} {}: {}",
            stand.worn.piece.name,
            text::in_a_line(fitting)
        );
        if let (Some(shows), None) = (stand.worn.shows, stand.fault) {
            let _ = writeln!(text, "{:14} {shows}", "");
        }
    }
    let _ = writeln!(
        text,
        "\nReport: {}\nBuilt at 0 or at 9 degrees, side by side: {}\nAll 40 poses, also those that move:  gusset try {} {}",
        page.display(),
        folder.join(COMPARED).join("index.html").display(),
        file(folder, "wren").display(),
        file(folder, "work_trousers_9").display(),
    );
    text
}
