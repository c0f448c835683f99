//! A part of a rack for each of several machines, and all parts as one report again.

use super::asked::Asked;
use super::recheck::Recheck;
use crate::cli::Trouble;
use crate::cli::accept::result_of;
use crate::cli::try_on::Format;
use gusset::outcome::{Fitting, Outcome};
use gusset::report::Tree;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// What a shard's report says of the whole.
const NOTE: &str = "shard.json";

/// One part of a rack.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::cli) struct Shard {
    /// From 1.
    pub(super) index: usize,
    /// How many there are.
    pub(super) of: usize,
}

/// `2/4`.
pub(in crate::cli) fn shard(text: &str) -> Result<Shard, String> {
    let parts = text
        .split_once('/')
        .and_then(|(index, of)| Some((index.parse().ok()?, of.parse().ok()?)));
    match parts {
        Some((index, of)) if (1..=of).contains(&index) && of <= 10_000 => Ok(Shard { index, of }),
        _ => Err("write which part of how many, like 2/4".into()),
    }
}

impl Shard {
    /// The fittings of a shard by their place in the rack: every Nth, so that a body's garments are spread.
    pub(super) fn of(shard: Option<Self>, fittings: usize) -> Vec<usize> {
        let own = |at: &usize| shard.is_none_or(|shard| at % shard.of == shard.index - 1);
        (0..fittings).filter(own).collect()
    }
}

/// What a shard's report says of the whole.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Note {
    /// The report of the whole.
    report: String,
    index: usize,
    of: usize,
    /// It is a report to pass on.
    share: bool,
    /// All fittings of the rack, by their folders.
    parts: Vec<String>,
}

/// Writes into a shard's report what it is a part of.
pub(super) fn note(tree: &Tree, shard: Shard, asked: &Asked, share: bool) -> Result<(), Trouble> {
    let note = Note {
        report: asked.name.clone(),
        index: shard.index,
        of: shard.of,
        share,
        parts: asked.parts.clone(),
    };
    let text = serde_json::to_string_pretty(&note).map_err(Trouble::say)?;
    tree.fill(&[(NOTE.to_owned(), text.into_bytes())])
        .map_err(Trouble::say)
}

#[derive(Debug, clap::Args)]
pub(in crate::cli) struct Arguments {
    /// The reports of all shards
    #[arg(required = true, value_name = "DIR")]
    shards: Vec<PathBuf>,
    /// Where report folders go
    #[arg(long, value_name = "DIR", default_value = "reports")]
    out: PathBuf,
    /// What to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// Measure against this accepted result
    #[arg(long, value_name = "FILE")]
    against: Option<PathBuf>,
}

/// One shard as it was read.
struct Part {
    folder: PathBuf,
    note: Note,
    outcome: Outcome,
}

/// `gusset join`.
pub(in crate::cli) fn join(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let recheck = Recheck::of(arguments.against.as_deref(), None)?;
    let parts: Vec<Part> = arguments
        .shards
        .iter()
        .map(|folder| read(folder))
        .collect::<Result<_, _>>()?;
    complete(&parts)?;
    let Some(first) = parts.first() else {
        return Err(Trouble::Say("name the reports of all shards".into()));
    };
    let folder = arguments.out.join(&first.note.report);
    let tree = Tree::begin(&folder).map_err(Trouble::say)?;
    let mut fittings: Vec<Option<Fitting>> = first.note.parts.iter().map(|_| None).collect();
    for part in &parts {
        let own = Shard::of(
            Some(Shard {
                index: part.note.index,
                of: part.note.of,
            }),
            fittings.len(),
        );
        for (at, fitting) in own.into_iter().zip(&part.outcome.fittings) {
            let name = &part.note.parts[at];
            if part.folder.join(name).is_dir() {
                tree.take_over(&part.folder.join(name), name)
                    .map_err(Trouble::say)?;
            }
            fittings[at] = Some(fitting.clone());
        }
    }
    let outcome = Outcome {
        limits: first.outcome.limits.clone(),
        ..crate::cli::try_on::outcome_of(fittings.into_iter().flatten().collect())
    };
    let page = super::write(tree, &folder, &outcome, &first.note.parts, first.note.share)?;
    let told = recheck.against(&outcome, None);
    super::finish(&outcome, told, arguments.format, Some(&page))
}

fn read(folder: &Path) -> Result<Part, Trouble> {
    let wrong = |why: &str| {
        Trouble::Say(format!(
            "{}: {why}; name the reports that `gusset try --shard` wrote",
            folder.display()
        ))
    };
    let note = std::fs::read(folder.join(NOTE)).map_err(|_| wrong("this is no report of a shard"))?;
    let note: Note =
        serde_json::from_slice(&note).map_err(|_| wrong("what it says of the whole cannot be read"))?;
    let safe = |name: &String| gusset::report::folder::safe_name(name) == *name;
    if !(1..=note.of).contains(&note.index) || !note.parts.iter().chain([&note.report]).all(safe) {
        return Err(wrong("what it says of the whole cannot be right"));
    }
    let outcome = result_of(folder)?;
    let shard = Shard {
        index: note.index,
        of: note.of,
    };
    if Shard::of(Some(shard), note.parts.len()).len() != outcome.fittings.len() {
        return Err(wrong("its result has another number of fittings than it says"));
    }
    Ok(Part {
        folder: folder.to_owned(),
        note,
        outcome,
    })
}

/// Every shard of one rack is there once.
fn complete(parts: &[Part]) -> Result<(), Trouble> {
    let first = parts.first().map(|part| (&part.note, &part.outcome.limits));
    let Some((note, limits)) = first else {
        return Ok(());
    };
    for part in parts {
        if (&part.note.parts, part.note.of, part.note.share) != (&note.parts, note.of, note.share)
            || part.outcome.limits != *limits
        {
            return Err(Trouble::Say(format!(
                "{}: this is a shard of another rack than {}; run all shards of one fitting file, with the same switches",
                part.folder.display(),
                parts[0].folder.display()
            )));
        }
    }
    for index in 1..=note.of {
        let count = parts.iter().filter(|part| part.note.index == index).count();
        if count != 1 {
            let what = if count == 0 {
                "is missing"
            } else {
                "is there twice"
            };
            return Err(Trouble::Say(format!(
                "shard {index} of {} {what}; name the report of every shard once",
                note.of
            )));
        }
    }
    Ok(())
}
