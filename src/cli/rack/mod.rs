//! `gusset try FITTING.yaml`: every garment of a rack on every body.
//!
//! Each fitting has a report of its own in a folder of the rack's report, which is taken over by the next run where
//! nothing of it changed. A fitting that cannot run does not stop the others.

mod asked; // a fitting file and the switches -> what to run
mod one; // one fitting: run, or taken from the report before
pub(super) mod recheck; // against what was accepted
pub(super) mod shards; // a part of the rack, and all parts together

use super::Trouble;
use super::try_on::{self, Arguments, Format};
use asked::Asked;
use gusset::measure::{FabricClass, Facts};
use gusset::outcome::{Fitting, Outcome, Verdict};
use gusset::report::{Tree, csv, folder, json, junit, markdown, text};
use gusset::timings;
use gusset::verdict::{Limits, Told};
use one::Shop;
use recheck::Recheck;
pub(super) use shards::{Shard, shard};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

pub(super) fn run(arguments: &Arguments, file: &Path) -> Result<ExitCode, Trouble> {
    let start = Instant::now();
    let asked = Asked::of(arguments, file)?;
    let recheck = Recheck::of(arguments.against.as_deref(), Some(&asked.accepted))?;
    let chosen = Shard::of(arguments.shard, asked.jobs.len());
    let folder = try_on::wants_report(arguments).then(|| asked.folder(arguments.shard));
    let tree = folder
        .as_deref()
        .map(Tree::begin)
        .transpose()
        .map_err(Trouble::say)?;
    let mut shop = Shop::new(arguments, &asked, folder.as_deref(), tree.as_ref());
    let mut fittings = Vec::new();
    let bar = try_on::bar(chosen.len() as u64, arguments.quiet, "fittings");
    for &at in &chosen {
        fittings.push(shop.fit(at)?);
        bar.inc(1);
    }
    bar.finish_and_clear();
    let reused = shop.reused;
    let outcome = outcome_of(fittings, &asked.limits);
    let page = match (tree, &folder) {
        (Some(tree), Some(folder)) => {
            let parts: Vec<String> = chosen.iter().map(|&at| asked.parts[at].clone()).collect();
            if let Some(shard) = arguments.shard {
                shards::note(&tree, shard, &asked, arguments.share)?;
            }
            Some(write(tree, folder, &outcome, &parts, arguments.share)?)
        }
        _ => None,
    };
    if reused > 0 {
        eprintln!(
            "{reused} of {} fittings did not change and were not run again (--again does)",
            chosen.len()
        );
    }
    if arguments.timings {
        let poses = outcome.fittings.iter().flat_map(|fitting| &fitting.poses);
        eprint!(
            "{}",
            timings::table(start.elapsed(), poses.map(|pose| pose.frames.len()).sum())
        );
    }
    let told = recheck.against(&outcome, Some(&asked.names));
    finish(&outcome, told, arguments.format, page.as_deref())
}

/// The record of a rack.
pub(super) fn outcome_of(fittings: Vec<Fitting>, limits: &Told) -> Outcome {
    let facts = Facts {
        median_ease_mm: 0.0,
        fabric: FabricClass::Rigid,
    };
    Outcome {
        limits: Limits::told(limits, &facts, 1.0).most,
        ..try_on::outcome_of(fittings)
    }
}

/// Puts the report in its place, with the parts that were written; returns its page.
pub(super) fn write(
    tree: Tree,
    folder: &Path,
    outcome: &Outcome,
    parts: &[String],
    share: bool,
) -> Result<PathBuf, Trouble> {
    let there = |part: &String| tree.part(part).join("index.html").is_file().then(|| part.clone());
    let parts: Vec<Option<String>> = parts.iter().map(there).collect();
    let written = folder::write_rack(tree, folder, outcome, &parts, share).map_err(Trouble::say)?;
    Ok(written.page)
}

/// Says what came out, and with which exit code.
pub(super) fn finish(
    outcome: &Outcome,
    told: recheck::Told,
    format: Format,
    page: Option<&Path>,
) -> Result<ExitCode, Trouble> {
    let said = match format {
        Format::Text => format!("{}{}", told.text, text::of_rack(outcome, page, try_on::look())),
        Format::Json => json::render(outcome),
        Format::Csv => csv::render(outcome),
        Format::Junit => junit::render_against(outcome, &told.worse),
        Format::Markdown => markdown::of_rack(outcome),
    };
    crate::cli::print(&said);
    if format != Format::Text {
        eprint!("{}", told.text);
    }
    if let Some(trouble) = told.trouble {
        return Err(Trouble::Say(trouble));
    }
    let code = match try_on::exit_code(outcome.verdict) {
        0 if told.is_worse => 1,
        code => code,
    };
    Ok(ExitCode::from(code))
}

/// Whether a fitting has something to show.
fn ran(fitting: &Fitting) -> bool {
    fitting.verdict != Verdict::CouldNotRun
}
