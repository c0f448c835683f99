//! `gusset accept`: from here on, this result is what an edit is measured against.

use super::{Trouble, try_on};
use gusset::compare::Accepted;
use gusset::outcome::{Outcome, Verdict};
use gusset::report::json;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// A report folder, or its result.json
    #[arg(value_name = "REPORT")]
    report: PathBuf,
    /// The garment or the fitting file it was made for: the accepted result is written beside it and used by `gusset try`
    /// from then on
    #[arg(value_name = "GARMENT")]
    garment: Option<PathBuf>,
    /// Where to write the accepted result instead
    #[arg(long, value_name = "FILE", conflicts_with = "garment")]
    to: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let outcome = result_of(&arguments.report)?;
    if outcome.verdict == Verdict::CouldNotRun {
        return Err(Trouble::Say(format!(
            "{}: part of this could not run, so there is nothing to accept; mend that and test again",
            arguments.report.display()
        )));
    }
    let file = match (&arguments.garment, &arguments.to) {
        (Some(garment), _) => {
            if !garment.is_file() {
                return Err(Trouble::Say(format!(
                    "{}: there is no such garment; check the spelling and the folder, or say where to write with --to FILE",
                    garment.display()
                )));
            }
            if try_on::is_yaml(garment) {
                garment.with_file_name("accepted.txt")
            } else {
                check_name(&outcome, garment)?;
                beside(garment)
            }
        }
        (None, Some(file)) => file.clone(),
        (None, None) => PathBuf::from("accepted.txt"),
    };
    let text = Accepted::of(&outcome).render();
    write_whole(&file, &text)?;
    let failing = outcome.verdict == Verdict::Fail;
    super::print(&format!(
        "Accepted: {}{}\n",
        file.display(),
        if failing {
            "\nIt fails as it stands; accepting hides no failure, it only keeps track of what gets worse."
        } else {
            ""
        }
    ));
    Ok(ExitCode::SUCCESS)
}

/// A report of another garment would be taken for this one's from then on.
fn check_name(outcome: &Outcome, garment: &Path) -> Result<(), Trouble> {
    let stem = garment
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned())
        .unwrap_or_default();
    let tested: Vec<&str> = outcome
        .fittings
        .iter()
        .filter_map(|fitting| Some(fitting.garments.first()?.name.as_str()))
        .collect();
    if tested.contains(&stem.as_str()) {
        return Ok(());
    }
    Err(Trouble::Say(format!(
        "{}: this report tested {}, not this garment; name the garment it was made for, or a file with --to",
        garment.display(),
        tested.join(", ")
    )))
}

/// `trousers.accepted.txt` beside `trousers.glb`.
pub(super) fn beside(garment: &Path) -> PathBuf {
    garment.with_extension("accepted.txt")
}

/// The result in a report folder, or in a file.
pub(super) fn result_of(report: &Path) -> Result<Outcome, Trouble> {
    let file = if report.is_dir() {
        report.join("result.json")
    } else {
        report.to_owned()
    };
    let text = std::fs::read_to_string(&file).map_err(|error| {
        Trouble::Say(format!(
            "{}: no result can be read here ({error}); name a report folder, or its result.json",
            file.display()
        ))
    })?;
    json::parse(&text).map_err(|error| Trouble::Say(format!("{}: {error}", file.display())))
}

/// An accepted file.
pub(super) fn read(file: &Path) -> Result<Accepted, Trouble> {
    let text = std::fs::read_to_string(file).map_err(|error| {
        Trouble::Say(format!(
            "{}: this accepted result cannot be read ({error}); make one with: gusset accept REPORT GARMENT",
            file.display()
        ))
    })?;
    Accepted::parse(&text).map_err(|error| Trouble::Say(format!("{}: {error}", file.display())))
}

/// Written beside and renamed: the old file whole or the new one whole.
fn write_whole(file: &Path, text: &str) -> Result<(), Trouble> {
    let trouble = |error: std::io::Error| {
        Trouble::Say(format!(
            "{}: cannot be written ({error}); choose another place with --to FILE",
            file.display()
        ))
    };
    let name = file
        .file_name()
        .map_or_else(|| "accepted".into(), |name| name.to_string_lossy().into_owned());
    let part = file.with_file_name(format!(".{name}.part"));
    let done = std::fs::write(&part, text).and_then(|()| std::fs::rename(&part, file));
    if done.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    done.map_err(trouble)
}
