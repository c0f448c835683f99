//! A run that was made before is not made again, and nothing else is ever skipped.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const SKIPPED: &str = "Nothing changed since the report";

fn gusset(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_gusset"))
        .args(arguments)
        .current_dir(folder)
        .env_remove("CI")
        .output()
        .unwrap()
}

fn skipped(output: &Output) -> bool {
    String::from_utf8_lossy(&output.stderr).contains(SKIPPED)
}

fn all_files(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files.extend(all_files(&path));
        } else {
            files.push((path.clone(), std::fs::read(&path).unwrap()));
        }
    }
    files.sort();
    files
}

#[test]
fn a_run_is_skipped_only_where_nothing_differs() {
    let place = tempfile::tempdir().unwrap();
    let at = place.path();
    gusset(at, &["demo", "files", "--only-files", "-q"]);
    let rigs = all_files(&at.join("files"));
    let find = |name: &str| {
        let found = rigs.iter().find(|file| file.0.file_name().unwrap() == name);
        found.unwrap().0.display().to_string()
    };
    let (body, garment) = (find("wren.glb"), find("work_trousers_9_bleed.glb"));
    let pose = at.join("mine.yaml");
    let write_pose = |flexion: u32| {
        let text = format!(
            "name: mine\nabout: A seat.\nbasis: [common practice]\ndemand: seated\nangles: {{ hips: {{ flexion: {flexion} }} }}\n"
        );
        std::fs::write(&pose, text).unwrap();
    };
    write_pose(60);
    let usual = [
        "try",
        &body,
        &garment,
        "--poses",
        "standing,mine.yaml",
        "--no-remedies",
        "-q",
    ];
    let with = |more: &[&'static str]| [&usual[..], more].concat();

    let first = gusset(at, &usual);
    assert!(!skipped(&first), "{first:?}");
    let reports = at.join("reports");
    let files = all_files(&reports);

    let second = gusset(at, &usual);
    assert!(skipped(&second), "{}", String::from_utf8_lossy(&second.stderr));
    assert_eq!(
        (&second.stdout, second.status.code()),
        (&first.stdout, first.status.code())
    );
    assert_eq!(all_files(&reports), files);

    let again = gusset(at, &with(&["--again"]));
    assert!(!skipped(&again));
    assert_eq!(
        (&again.stdout, again.status.code()),
        (&first.stdout, first.status.code())
    );
    assert_eq!(all_files(&reports), files, "a full run writes the same bytes");

    // Other arguments, also those that only change how it is told.
    for more in [
        &["--strict"][..],
        &["--fabric", "power"],
        &["--format", "csv", "--out", "reports"],
    ] {
        assert!(!skipped(&gusset(at, &with(more))), "{more:?}");
        assert!(skipped(&gusset(at, &with(more))), "{more:?}");
    }
    assert!(
        !skipped(&gusset(at, &usual)),
        "the folder now holds another run's report"
    );
    assert!(skipped(&gusset(at, &usual)));

    // A report to pass on keeps nothing but itself.
    assert!(!skipped(&gusset(at, &with(&["--share"]))));
    assert!(!skipped(&gusset(at, &with(&["--share"]))));
    assert!(
        all_files(&reports)
            .iter()
            .all(|file| !file.0.ends_with("run.json"))
    );
    assert!(!skipped(&gusset(at, &usual)));

    // Another pose in the same file.
    write_pose(61);
    assert!(!skipped(&gusset(at, &usual)));
    assert!(skipped(&gusset(at, &usual)));

    // A report that is no longer as it was written.
    let result = all_files(&reports)
        .into_iter()
        .find(|file| file.0.ends_with("result.json"))
        .unwrap();
    std::fs::write(&result.0, [&result.1[..], b" "].concat()).unwrap();
    assert!(!skipped(&gusset(at, &usual)));
    assert!(skipped(&gusset(at, &usual)));
    std::fs::remove_file(result.0.with_file_name("measures.csv")).unwrap();
    assert!(!skipped(&gusset(at, &usual)));

    // Another garment under the same name: a bit of its last number.
    let mut bytes = std::fs::read(&garment).unwrap();
    *bytes.last_mut().unwrap() ^= 1;
    std::fs::write(&garment, bytes).unwrap();
    assert!(!skipped(&gusset(at, &usual)));

    // An accepted result beside the garment that was not there before.
    assert!(skipped(&gusset(at, &usual)));
    let report = result.0.parent().unwrap().display().to_string();
    let accepted = Path::new(&garment)
        .with_extension("accepted.txt")
        .display()
        .to_string();
    assert!(
        gusset(at, &["accept", &report, "--to", &accepted])
            .status
            .success()
    );
    assert!(!skipped(&gusset(at, &usual)));
    assert!(skipped(&gusset(at, &usual)));
}
