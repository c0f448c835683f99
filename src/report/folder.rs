//! A run as a folder to open and to keep: whole or not at all.
//!
//! A run that is killed leaves the old report as it was ([`super::tree`]).

use super::model::{self, Model};
use super::page::{RigPictures, Shown};
use super::pictures;
use super::rig::{self, Sheet};
use super::stills::{self, Still};
use super::tree::Tree;
use super::{card, csv, json, page, plot, scene::Scene, share, words};
use crate::outcome::{Fitting, Outcome};
use crate::timings::{Step, time};
use rayon::prelude::*;
use serde::Serialize;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What was written.
#[derive(Clone, Debug)]
pub struct Written {
    /// The page to open.
    pub page: PathBuf,
    /// All files, relative to the folder, sorted.
    pub files: Vec<String>,
}

/// Why a report could not be written; nothing of the old one is lost.
#[derive(Debug, Error)]
pub enum ReportError {
    /// The folder holds something else.
    #[error("{0} exists and is not a gusset report (it has no result.json); name another folder with --out")]
    NotOurs(String),
    /// The disk or the system refused.
    #[error("the report cannot be written to {folder}: {why}; check the path and the space on the disk")]
    Refused {
        /// As named.
        folder: String,
        /// The system's own words.
        why: String,
    },
    /// The template failed.
    #[error("the report page could not be made: {0}; please report this")]
    Page(#[from] minijinja::Error),
}

/// What a report shows beside the record.
#[derive(Clone, Copy, Debug, Default)]
pub struct Extras<'a> {
    /// Frames worth a picture.
    pub scenes: &'a [Scene],
    /// What the 3-D view shows; none for a page to pass on.
    pub models: &'a [Model],
    /// What was understood of the rigs.
    pub rigs: &'a [Sheet],
    /// Leave out the curves: for a tour of many fittings with few frames each.
    pub no_curves: bool,
    /// A page to pass on: pictures and numbers only, and nothing in the whole folder that holds a vertex.
    pub share: bool,
    /// Two of the garments beside each other, on a page of their own.
    pub beside: Option<&'a Beside>,
    /// More files for the folder, by relative name.
    pub files: &'a [(String, Vec<u8>)],
}

/// What a report says of a comparison that lies beside it.
#[derive(Clone, Debug, Serialize)]
pub struct Beside {
    /// Which two.
    pub heading: String,
    /// What came out.
    pub sentences: Vec<String>,
    /// Its page, from this report's folder.
    pub page: String,
}

/// Writes `index.html`, `result.json`, `measures.csv`, `plots/` and `pictures/` with a list of them.
///
/// # Errors
/// The old report, if there was one, is then still there as it was.
pub fn write(folder: &Path, outcome: &Outcome, extras: &Extras) -> Result<Written, ReportError> {
    write_files(folder, &time(Step::Write, || render(outcome, extras))?)
}

/// Writes a folder of files that were made elsewhere, whole or not at all; `index.html` and `result.json` are among
/// them, so that the next run knows the folder as its own.
///
/// # Errors
/// The old report, if there was one, is then still there as it was.
pub fn write_files(folder: &Path, files: &[(String, Vec<u8>)]) -> Result<Written, ReportError> {
    let tree = Tree::begin(folder)?;
    tree.fill(files)?;
    tree.finish()?;
    let mut names: Vec<String> = files.iter().map(|file| file.0.clone()).collect();
    names.sort();
    Ok(Written {
        page: folder.join("index.html"),
        files: names,
    })
}

/// Puts a rack's report in its place: a page that shows the worst of every fitting and leads to the fitting's own report,
/// `parts` of the tree (`None` for a fitting that could not run), and the record of all.
///
/// # Errors
/// The old report, if there was one, is then still there as it was.
pub fn write_rack(
    tree: Tree,
    folder: &Path,
    outcome: &Outcome,
    parts: &[Option<String>],
    share: bool,
) -> Result<Written, ReportError> {
    let worst = |(at, part): (usize, &Option<String>)| {
        let folder = part.as_ref().map(|part| tree.part(part));
        folder.map_or_else(Vec::new, |folder| pictures::of_the_worst(&folder, at))
    };
    let stills: Vec<Still> = parts.iter().enumerate().flat_map(worst).collect();
    let pages: Vec<Option<String>> = parts
        .iter()
        .map(|part| part.as_ref().map(|part| format!("{part}/index.html")))
        .collect();
    let shown = Shown {
        stills: &stills,
        plots: &[],
        view: &model::Packed::default(),
        rigs: &[],
        share,
        beside: None,
        pages: &pages,
    };
    let record = if share {
        &share::without_places(outcome)
    } else {
        outcome
    };
    let html = time(Step::Write, || page::render(record, &shown))?;
    tree.fill(&[
        ("index.html".to_owned(), html.into_bytes()),
        ("result.json".to_owned(), json::render(record).into_bytes()),
        ("measures.csv".to_owned(), csv::render(outcome).into_bytes()),
    ])?;
    tree.finish()?;
    Ok(Written {
        page: folder.join("index.html"),
        files: ["index.html", "measures.csv", "result.json"]
            .map(str::to_owned)
            .to_vec(),
    })
}

/// All files of the report: relative name and bytes.
fn render(outcome: &Outcome, extras: &Extras) -> Result<Vec<(String, Vec<u8>)>, ReportError> {
    let share = extras.share;
    let of_scene = |scene: &Scene| {
        time(Step::Stills, || {
            // A scene is either of a pose or of a spot.
            let mut pictures = match scene.spot {
                Some(_) => card::of_scene(scene),
                None => stills::of_scene(scene),
            };
            if share {
                pictures.iter_mut().for_each(Still::shrink);
            }
            pictures
        })
    };
    let draw_stills = || -> Vec<Still> {
        let stills: Vec<Vec<Still>> = extras.scenes.par_iter().map(of_scene).collect();
        stills.into_iter().flatten().collect()
    };
    let draw_plots = || {
        if extras.no_curves {
            Vec::new()
        } else {
            plot::all(outcome)
        }
    };
    let draw_rigs = || -> Vec<RigPictures> {
        let sheets = extras.rigs.par_iter();
        sheets.map(|sheet| (sheet, rig::weight_pictures(sheet))).collect()
    };
    let pack_view = || model::pack(if share { &[] } else { extras.models });
    // What takes longest first; each of them is parallel in itself.
    let ((pictures, view), (plots, rigs)) = rayon::join(
        || rayon::join(draw_stills, || time(Step::Scenes, pack_view)),
        || rayon::join(draw_plots, || time(Step::Stills, draw_rigs)),
    );
    let shown = Shown {
        stills: &pictures,
        plots: &plots,
        view: &view,
        rigs: &rigs,
        share,
        beside: extras.beside,
        pages: &[],
    };
    let html = if share {
        share::page(outcome, &shown)?
    } else {
        page::render(outcome, &shown)?
    };
    let record = if share {
        &share::without_places(outcome)
    } else {
        outcome
    };
    let mut files = vec![
        ("index.html".to_owned(), html.into_bytes()),
        ("result.json".to_owned(), json::render(record).into_bytes()),
        ("measures.csv".to_owned(), csv::render(outcome).into_bytes()),
    ];
    if !share {
        files.extend(extras.files.iter().cloned());
    }
    let folders = fitting_folders(outcome);
    let drawn: Vec<Vec<(String, Vec<u8>)>> = plots
        .par_iter()
        .map(|drawn| {
            let base = format!(
                "plots/{}/{}",
                folders[drawn.fitting],
                drawn.path.replace('.', "_")
            );
            vec![
                (format!("{base}.svg"), drawn.svg.clone().into_bytes()),
                (format!("{base}.png"), time(Step::Plots, || plot::png(&drawn.svg))),
            ]
        })
        .collect();
    files.extend(drawn.into_iter().flatten());
    let mut taken = BTreeSet::new();
    let mut listed = Vec::new();
    for still in pictures {
        let name = match still.card {
            Some((spot, part)) => format!("place_{}_{}", spot + 1, part.word()),
            None if still.close => format!("{}_{:03}_close", still.pose, still.frame),
            None => format!("{}_{:03}_figure", still.pose, still.frame),
        };
        let name = safe_name(&name);
        let name = unique(&mut taken, &format!("pictures/{}/{name}", folders[still.fitting]));
        let name = format!("{name}.png");
        if still.card.is_none() {
            listed.push(pictures::Listed::of(&still, &name));
        }
        files.push((name, still.png));
    }
    if !listed.is_empty() {
        files.push((pictures::LIST.to_owned(), pictures::render(&listed).into_bytes()));
    }
    Ok(files)
}

/// The folder of each fitting's pictures, plots and models within a report.
pub fn fitting_folders(outcome: &Outcome) -> Vec<String> {
    let names: Vec<String> = outcome.fittings.iter().map(words::fitting).collect();
    folders_of(&names)
}

/// Folder names for fittings, `trousers on ash` by `trousers on ash`, no two alike on any system.
pub fn folders_of(fittings: &[String]) -> Vec<String> {
    let mut taken = BTreeSet::new();
    let folder = |name: &String| unique(&mut taken, &safe_name(&name.replace(' ', "_")));
    fittings.iter().map(folder).collect()
}

/// A folder name for a fitting: `trousers_on_ash`.
pub fn fitting_folder(fitting: &Fitting) -> String {
    safe_name(&words::fitting(fitting).replace(' ', "_"))
}

/// The name, or the name with a number where another one differs from it by case only.
fn unique(taken: &mut BTreeSet<String>, name: &str) -> String {
    let free = std::iter::once(name.to_owned())
        .chain((2..u32::MAX).map(|number| format!("{name}_{number}")))
        .find(|candidate| !taken.contains(&candidate.to_lowercase()))
        .unwrap_or_else(|| name.to_owned());
    taken.insert(free.to_lowercase());
    free
}

/// A file name for every system: letters, digits, `-` and `_`, at most 80, never a reserved one.
pub fn safe_name(name: &str) -> String {
    const RESERVED: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];
    let mut safe: String = name
        .chars()
        .map(|letter| {
            if letter.is_ascii_alphanumeric() || "-_".contains(letter) {
                letter
            } else {
                '_'
            }
        })
        .take(80)
        .collect();
    let stem = safe.to_lowercase();
    let stem = stem.trim_end_matches(|letter: char| letter.is_ascii_digit());
    if safe.is_empty() || RESERVED.contains(&stem) {
        safe.insert(0, '_');
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use std::fs;

    #[test]
    fn names_are_safe_everywhere() {
        assert_eq!(safe_name("../../etc/passwd"), "______etc_passwd");
        assert_eq!(safe_name("NUL"), "_NUL");
        assert_eq!(safe_name("com1"), "_com1");
        assert_eq!(safe_name(""), "_");
        assert_eq!(safe_name("a\u{202e}b\u{1f456}"), "a_b_");
        let mut taken = BTreeSet::new();
        assert_eq!(unique(&mut taken, "Sit"), "Sit");
        assert_eq!(unique(&mut taken, "sit"), "sit_2");
    }

    #[test]
    fn a_report_replaces_a_report_and_nothing_else() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("fit");
        write(&folder, &sample::outcome(), &Extras::default()).unwrap();
        fs::write(folder.join("stale.txt"), "x").unwrap();
        let written = write(&folder, &sample::outcome(), &Extras::default()).unwrap();
        assert!(written.page.is_file() && !folder.join("stale.txt").exists());
        assert_eq!(
            fs::read_dir(parent.path()).unwrap().count(),
            1,
            "nothing is left beside it"
        );
        let other = parent.path().join("photos");
        fs::create_dir(&other).unwrap();
        fs::write(other.join("holiday.txt"), "x").unwrap();
        assert!(matches!(
            write(&other, &sample::outcome(), &Extras::default()),
            Err(ReportError::NotOurs(_))
        ));
        assert!(other.join("holiday.txt").is_file());
    }
}
