//! Has this very run been made before? A report folder keeps what it was made from, and what was said.
//!
//! A run is told by the bytes of every file it reads, by its arguments and by the program itself. Where all are the same
//! and every file of the report is as it was written, the run need not be made again: its words are printed once more.
//! Whatever cannot be told for sure leads to a full run.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Path, PathBuf};

/// The file in a report folder.
const KEPT: &str = "run.json";

/// A run that was made.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Run {
    /// What it was made from, see [`key`].
    made_from: String,
    /// The files of the report as they were written.
    report: String,
    /// Exit code.
    pub(super) code: u8,
    /// What went to stdout.
    pub(super) said: String,
    /// What went to stderr beside the progress.
    pub(super) aside: String,
}

/// A hash of all that a run depends on; `None` where that cannot be told.
pub(super) fn key(arguments: &str, files: &[&Path]) -> Option<String> {
    let program = program()?;
    let around = ["COLUMNS", "CI"].map(|name| format!("{name}={:?}", std::env::var_os(name)));
    key_of(&[&program, arguments, &around[0], &around[1]], files)
}

/// A hash of words and of the bytes of files; `None` where a file cannot be read.
pub(super) fn key_of(words: &[&str], files: &[&Path]) -> Option<String> {
    let mut hash = Sha256::new();
    let mut add = |bytes: &[u8]| {
        hash.update((bytes.len() as u64).to_le_bytes());
        hash.update(bytes);
    };
    words.iter().for_each(|word| add(word.as_bytes()));
    for file in files {
        let bytes = fs::read(file).ok()?;
        add(&bytes);
        for beside in buffers_beside(file, &bytes)? {
            add(&fs::read(beside).ok()?);
        }
    }
    Some(in_words(hash))
}

/// The program: its version, and which build of it.
fn program() -> Option<String> {
    let file = fs::metadata(std::env::current_exe().ok()?).ok()?;
    let built = file.modified().ok()?;
    Some(format!("{} {} {built:?}", env!("CARGO_PKG_VERSION"), file.len()))
}

/// The program by its own bytes: the same on every machine that has this build.
pub(super) fn program_itself() -> Option<String> {
    let mut hash = Sha256::new();
    let mut file = fs::File::open(std::env::current_exe().ok()?).ok()?;
    std::io::copy(&mut file, &mut hash).ok()?;
    Some(in_words(hash))
}

fn in_words(hash: Sha256) -> String {
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Files that hold a rig's buffers; none for what is no rig. `None` where a rig does not say where they are.
fn buffers_beside(file: &Path, bytes: &[u8]) -> Option<Vec<PathBuf>> {
    let is_rig = file
        .extension()
        .and_then(|ending| ending.to_str())
        .is_some_and(|ending| ["glb", "gltf", "vrm"].contains(&ending.to_ascii_lowercase().as_str()));
    if !is_rig {
        return Some(Vec::new());
    }
    // A binary file has its JSON in the first chunk, behind twelve bytes of header and eight of its own.
    let text = if bytes.starts_with(b"glTF") {
        let length = u32::from_le_bytes(bytes.get(12..16)?.try_into().ok()?);
        bytes.get(20..20 + usize::try_from(length).ok()?)?
    } else {
        bytes
    };
    let json: Value = serde_json::from_slice(text).ok()?;
    let uris = json["buffers"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|buffer| buffer["uri"].as_str());
    let outside = uris.filter(|uri| !uri.starts_with("data:"));
    // A name that is written in some other way is not looked for.
    outside
        .map(|uri| (!uri.contains(['%', ':'])).then(|| file.with_file_name(uri)))
        .collect()
}

/// The report below `reports` that was made by a run with this key, if it is as it was written.
pub(super) fn find(reports: &Path, key: &str) -> Option<(PathBuf, Run)> {
    let mut folders: Vec<PathBuf> = fs::read_dir(reports)
        .ok()?
        .flatten()
        .map(|entry| entry.path())
        .collect();
    folders.sort();
    folders.into_iter().find_map(|folder| {
        let run: Run = serde_json::from_slice(&fs::read(folder.join(KEPT)).ok()?).ok()?;
        let same = run.made_from == key && Some(&run.report) == report(&folder).as_ref();
        same.then_some((folder, run))
    })
}

/// Whether a report was made by a run with this key and is as it was written.
pub(super) fn is_of(folder: &Path, key: &str) -> bool {
    let run = fs::read(folder.join(KEPT)).ok();
    let run: Option<Run> = run.and_then(|bytes| serde_json::from_slice(&bytes).ok());
    run.is_some_and(|run| run.made_from == key && Some(&run.report) == report(folder).as_ref())
}

/// Notes in a report folder what it was made from. A note that cannot be written is no fault of the report.
pub(super) fn keep(folder: &Path, key: String, code: u8, said: &str, aside: &str) {
    let Some(report) = report(folder) else { return };
    let run = Run {
        made_from: key,
        report,
        code,
        said: said.to_owned(),
        aside: aside.to_owned(),
    };
    if let Ok(bytes) = serde_json::to_vec(&run) {
        let _ = fs::write(folder.join(KEPT), bytes);
    }
}

/// A hash of all files of a report but the note itself.
fn report(folder: &Path) -> Option<String> {
    let mut files = Vec::new();
    list(folder, &mut files)?;
    files.sort();
    let mut hash = Sha256::new();
    for file in files.iter().filter(|file| **file != folder.join(KEPT)) {
        let name = file.strip_prefix(folder).ok()?.to_string_lossy().into_owned();
        let bytes = fs::read(file).ok()?;
        hash.update(format!("{}\n{name}\n{}\n", name.len(), bytes.len()));
        hash.update(bytes);
    }
    Some(in_words(hash))
}

fn list(folder: &Path, files: &mut Vec<PathBuf>) -> Option<()> {
    for entry in fs::read_dir(folder).ok()? {
        let path = entry.ok()?.path();
        if path.is_dir() {
            list(&path, files)?;
        } else {
            files.push(path);
        }
    }
    Some(())
}
