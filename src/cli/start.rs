//! `gusset start`: a fitting file for what lies in a folder.

use super::Trouble;
use super::reading::Reading;
use gusset::rack::start::{self, Found, Kind};
use gusset::rig::gltf::read;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Folders below the named one that are looked into.
const DEPTH: usize = 3;
/// More rigs than this are no rack but an archive.
const MOST_FILES: usize = 1000;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The folder with the bodies and the clothes
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Name of the fitting file; one that is there already is never written over
    #[arg(long, value_name = "NAME", default_value = "fitting.yaml")]
    name: String,
    #[command(flatten)]
    reading: Reading,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let folder = &arguments.folder;
    let file = folder.join(&arguments.name);
    let there = || {
        Trouble::Say(format!(
            "{}: this file is there already and is not written over; choose another name with --name",
            file.display()
        ))
    };
    if Path::new(&arguments.name).components().count() != 1 || arguments.name.contains("..") {
        return Err(Trouble::Say(format!(
            "`{}` is no file name; the file is written into the folder",
            arguments.name
        )));
    }
    if file.exists() {
        return Err(there());
    }
    let mut rigs = Vec::new();
    list(folder, "", DEPTH, &mut rigs).map_err(|error| {
        Trouble::Say(format!(
            "{}: this folder cannot be read ({error}); check the path",
            folder.display()
        ))
    })?;
    if rigs.len() > MOST_FILES {
        return Err(Trouble::Say(format!(
            "{}: {} rigs lie here, and at most {MOST_FILES} are looked at; name a smaller folder",
            folder.display(),
            rigs.len()
        )));
    }
    rigs.sort();
    let found: Vec<Found> = rigs
        .into_iter()
        .map(|name| look(folder, name, &arguments.reading))
        .collect();
    let text = start::text(&found).map_err(|say| Trouble::Say(format!("{}: {say}", folder.display())))?;
    let written = std::fs::File::create_new(&file).and_then(|mut new| new.write_all(text.as_bytes()));
    written.map_err(|error| match error.kind() {
        std::io::ErrorKind::AlreadyExists => there(),
        _ => Trouble::Say(format!("{}: cannot be written ({error})", file.display())),
    })?;
    super::print(&format!(
        "{text}\nWritten: {0}. Read it, correct it, then: gusset try {0}\n",
        file.display()
    ));
    Ok(ExitCode::SUCCESS)
}

fn look(folder: &Path, file: String, reading: &Reading) -> Found {
    let kind = match read(&folder.join(&file), &reading.options()) {
        Ok(rig) => start::kind(&rig),
        Err(_) => Kind::Neither("it cannot be read (`gusset rig` says why)"),
    };
    Found { file, kind }
}

/// Rigs in a folder and below, by their paths from it. Links are not followed, hidden folders and reports left out.
fn list(folder: &Path, from: &str, depth: usize, into: &mut Vec<String>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder.join(from))? {
        let entry = entry?;
        let Ok(name) = entry.file_name().into_string() else {
            continue;
        };
        let path = if from.is_empty() {
            name.clone()
        } else {
            format!("{from}/{name}")
        };
        let kind = entry.file_type()?;
        let hidden = name.starts_with('.') || name == "reports";
        if kind.is_dir() && depth > 0 && !hidden {
            list(folder, &path, depth - 1, into)?;
        } else if kind.is_file() && is_rig(&name) {
            into.push(path);
        }
    }
    Ok(())
}

fn is_rig(name: &str) -> bool {
    let ending = name.rsplit('.').next().unwrap_or_default().to_ascii_lowercase();
    ["glb", "gltf", "vrm"].contains(&ending.as_str())
}
