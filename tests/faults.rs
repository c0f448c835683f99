//! Runs that are stopped, starved of disk, or sent to folders that cannot be written: the report on the disk is the
//! old one whole or the new one whole, and the next run leaves nothing stray.

#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/files.rs"]
mod support;

use gusset::demo::{BodyShape, Kind, Pattern, Piece, body, garment};
use gusset::rig::Rig;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;
use std::time::Duration;

/// A coarse wearer and trousers, as files.
fn rack() -> &'static Path {
    static RACK: OnceLock<tempfile::TempDir> = OnceLock::new();
    RACK.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let wearer = body(&BodyShape::woman("wren").meshed(0.035));
        let pattern = Pattern {
            ease: 0.005,
            ..Pattern::new("trousers", Kind::SlimTrousers)
        };
        let trousers = garment(&wearer, &pattern);
        let write = |name: &str, rig: Rig| {
            let piece = Piece::plain(name, &rig);
            std::fs::write(folder.path().join(format!("{name}.glb")), piece.glb()).unwrap();
        };
        write("wren", wearer.rig());
        write("trousers", trousers.rig().clone());
        folder
    })
    .path()
}

/// The shell line that tries the trousers on, with the report in `out`.
fn line(out: &Path, poses: &str) -> String {
    format!(
        "exec '{}' try '{rack}/wren.glb' '{rack}/trousers.glb' --poses {poses} -q --out '{}'",
        env!("CARGO_BIN_EXE_gusset"),
        out.display(),
        rack = rack().display()
    )
}

fn shell(line: &str) -> Command {
    let mut command = Command::new("sh");
    command
        .args(["-c", line])
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    command
}

fn finish(line: &str) -> Output {
    shell(line).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The report's own files. The note of what it was made from names the place and the build.
fn files(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut files = support::files(folder);
    files.retain(|(name, _)| name != Path::new("run.json"));
    files
}

/// Replaces a report by one read before.
fn put_back(report: &Path, files: &[(PathBuf, Vec<u8>)]) {
    std::fs::remove_dir_all(report).unwrap();
    for (name, bytes) in files {
        let path = report.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
}

const REPORT: &str = "trousers_on_wren";

/// The reports of two plans, as they look when nothing disturbs the run.
fn both() -> [Vec<(PathBuf, Vec<u8>)>; 2] {
    ["standing", "sitting"].map(|pose| {
        let place = tempfile::tempdir().unwrap();
        let output = finish(&line(place.path(), pose));
        assert!(matches!(output.status.code(), Some(0 | 1)), "{}", said(&output));
        files(&place.path().join(REPORT))
    })
}

#[test]
fn killed_at_fifty_moments_the_report_is_the_old_or_the_new_one() {
    let [old, new] = both();
    assert_ne!(old, new);
    let place = tempfile::tempdir().unwrap();
    let out = place.path();
    let report = out.join(REPORT);
    finish(&line(out, "standing"));
    let start = std::time::Instant::now();
    finish(&line(out, "sitting"));
    let whole = start.elapsed();
    put_back(&report, &old);
    let (mut kept, mut replaced, mut swapping) = (0, 0, 0);
    for moment in 0..50_u32 {
        let mut child = shell(&line(out, "sitting")).spawn().unwrap();
        std::thread::sleep(whole * (moment * 7 % 50) / 48);
        // Every other time as Ctrl-C does it.
        if moment % 2 == 0 {
            child.kill().unwrap();
        } else {
            Command::new("kill")
                .args(["-INT", &child.id().to_string()])
                .status()
                .unwrap();
        }
        child.wait().unwrap();
        // Between the two renames the old report stands beside, whole, and comes back with the next run.
        let set_aside = out.join(format!(".{REPORT}.gusset-old"));
        let found = if report.exists() {
            files(&report)
        } else {
            swapping += 1;
            files(&set_aside)
        };
        match found {
            found if found == old => kept += 1,
            found if found == new => {
                replaced += 1;
                put_back(&report, &old);
            }
            _ => panic!("moment {moment}: neither the old report nor the new one"),
        }
    }
    eprintln!("killed 50 times: {kept} old, {replaced} new, {swapping} of them between the renames");
    assert!(kept > 0, "no run was stopped before its end");
    finish(&line(out, "sitting"));
    assert_eq!(files(&report), new);
    assert_eq!(
        std::fs::read_dir(out).unwrap().count(),
        1,
        "something stray is left"
    );
}

#[test]
fn a_full_disk_leaves_the_old_report() {
    let [old, new] = both();
    let place = tempfile::tempdir().unwrap();
    let out = place.path();
    finish(&line(out, "standing"));
    // No file may grow beyond this many blocks of 512 bytes; the page is larger. Ignoring the signal makes the
    // write fail as it does on a full disk.
    for blocks in [0, 1, 40] {
        let output = finish(&format!(
            "trap '' XFSZ; ulimit -f {blocks}; {}",
            line(out, "sitting")
        ));
        let text = said(&output);
        assert_eq!(output.status.code(), Some(2), "{blocks}: {text}");
        assert!(
            text.contains("cannot be written") && text.contains("the space on the disk"),
            "{text}"
        );
        assert_eq!(files(&out.join(REPORT)), old, "{blocks}");
        assert_eq!(
            std::fs::read_dir(out).unwrap().count(),
            1,
            "something stray is left"
        );
    }
    finish(&line(out, "sitting"));
    assert_eq!(files(&out.join(REPORT)), new);
}

#[test]
fn a_folder_removed_meanwhile_is_made_again() {
    let place = tempfile::tempdir().unwrap();
    let out = place.path().join("out");
    finish(&line(&out, "standing"));
    let mut child = shell(&line(&out, "sitting")).spawn().unwrap();
    std::thread::sleep(Duration::from_millis(20));
    std::fs::remove_dir_all(&out).unwrap();
    assert!(matches!(child.wait().unwrap().code(), Some(0 | 1)));
    let [_, new] = both();
    assert_eq!(files(&out.join(REPORT)), new);
}

#[test]
fn a_place_that_cannot_be_written_is_named() {
    let place = tempfile::tempdir().unwrap();
    let file = place.path().join("file");
    std::fs::write(&file, "a note").unwrap();
    // A file where a folder should be, and a system that takes no files: true also for root.
    for out in [&file, Path::new("/proc/gusset")] {
        let output = finish(&line(out, "standing"));
        let text = said(&output);
        assert_eq!(output.status.code(), Some(2), "{text}");
        assert!(
            text.contains(&out.display().to_string()) && text.contains("check the path"),
            "{text}"
        );
    }
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "a note");
}

#[test]
fn an_input_that_cannot_be_read_is_named() {
    let place = tempfile::tempdir().unwrap();
    let at = |name: &str| place.path().join(name);
    std::fs::create_dir(at("folder.glb")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", at("endless.glb")).unwrap();
    std::os::unix::fs::symlink("nowhere", at("dangling.glb")).unwrap();
    // Opening this one is permitted, reading it fails: true also for root.
    std::os::unix::fs::symlink("/proc/self/mem", at("locked.glb")).unwrap();
    for name in ["folder.glb", "endless.glb", "dangling.glb", "locked.glb"] {
        let file = at(name).display().to_string();
        let output = finish(&format!("exec '{}' rig '{file}'", env!("CARGO_BIN_EXE_gusset")));
        let text = said(&output);
        assert_eq!(output.status.code(), Some(2), "{name}: {text}");
        assert!(text.contains(name) && text.lines().count() == 1, "{name}: {text}");
    }
}
