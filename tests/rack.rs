//! A rack as a user runs it: a fitting file, its report, what was accepted, shards, what did not change. On rigs made by
//! the tests.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/files.rs"]
mod files;

use files::files;
use gusset::demo::{BodyShape, Fault, Kind, Pattern, Piece, body, garment, plant};
use gusset::rack::start::{Kind as Lies, kind};
use gusset::rig::Rig;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// Two coarse bodies, trousers for each, and a bled copy for one.
fn rigs() -> &'static Path {
    static RIGS: OnceLock<tempfile::TempDir> = OnceLock::new();
    let folder = RIGS.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, rig: &Rig| {
            std::fs::write(folder.path().join(name), Piece::plain(name, rig).glb()).unwrap();
        };
        for (name, shape) in [
            ("wren", BodyShape::woman("wren")),
            ("brock", BodyShape::man("brock")),
        ] {
            let wearer = body(&shape.meshed(0.024));
            let pattern = Pattern {
                ease: 0.005,
                ..Pattern::new("trousers", Kind::SlimTrousers)
            };
            let clean = garment(&wearer, &pattern).rig().clone();
            write(&format!("body_{name}.glb"), &wearer.rig());
            write(&format!("trousers_{name}.glb"), &clean);
            if name == "wren" {
                write("bled.glb", &plant(&clean, Fault::Bleed));
            }
        }
        folder
    });
    folder.path()
}

const RACK: &str = "\
bodies: [{ name: wren, file: body_wren.glb }, { name: brock, file: body_brock.glb }]
garments:
  - { name: trousers, file: 'trousers_{body}.glb' }
  - { name: bled, file: bled.glb, bodies: [wren] }
poses: [standing, sitting]
";

/// A shop of its own: copies of the rigs and a fitting file.
fn shop(text: &str) -> tempfile::TempDir {
    let place = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(rigs()).unwrap() {
        let from = entry.unwrap().path();
        std::fs::copy(&from, place.path().join(from.file_name().unwrap())).unwrap();
    }
    std::fs::write(place.path().join("fitting.yaml"), text).unwrap();
    place
}

fn run_where(at: &Path, words: &[&str], ci: bool) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gusset"));
    command
        .args(words)
        .current_dir(at)
        .env_remove("CI")
        .env_remove("COLUMNS");
    if ci {
        command.env("CI", "true");
    }
    command.output().unwrap()
}

fn run(at: &Path, words: &[&str]) -> Output {
    run_where(at, words, false)
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn complained(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).replace('\n', " ")
}

fn report(at: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    files(&at.join("reports/fitting"))
}

fn result(at: &Path) -> serde_json::Value {
    serde_json::from_slice(&std::fs::read(at.join("reports/fitting/result.json")).unwrap()).unwrap()
}

#[test]
fn the_smallest_file_is_two_lists() {
    let place = shop(
        "bodies:   [{ name: ash, file: body_wren.glb }]\ngarments: [{ name: work-trousers, file: trousers_wren.glb }]\n",
    );
    let output = run(
        place.path(),
        &["try", "fitting.yaml", "--poses", "standing", "-q"],
    );
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(
        said(&output).starts_with("PASS  1 fitting: 1 pass\n"),
        "{}",
        said(&output)
    );
    assert!(said(&output).contains("work-trousers  PASS"), "{}", said(&output));
}

#[test]
fn a_fitting_that_cannot_run_stops_no_other_and_the_summary_groups_failures() {
    let missing = format!("{RACK}  \n").replace(
        "poses:",
        "  - { name: lost, file: 'lost_{body}.glb', bodies: [brock] }\nposes:",
    );
    let place = shop(&missing);
    let output = run(place.path(), &["try", "fitting.yaml", "-q"]);
    let text = said(&output);
    assert_eq!(output.status.code(), Some(2), "{text} {}", complained(&output));
    assert!(
        text.starts_with("COULD NOT RUN  4 fittings: 1 could not run, 1 fail, 2 pass\n"),
        "{text}"
    );
    assert!(
        text.contains("lost on brock: lost_brock.glb: there is no such file"),
        "{text}"
    );
    assert!(
        text.contains("What would mend them") && text.contains("1 of 2 bodies"),
        "{text}"
    );
    for fitting in ["trousers_on_wren", "trousers_on_brock", "bled_on_wren"] {
        let page = place
            .path()
            .join("reports/fitting")
            .join(fitting)
            .join("index.html");
        assert!(page.is_file(), "{fitting}");
    }
    let page = std::fs::read_to_string(place.path().join("reports/fitting/index.html")).unwrap();
    assert!(page.contains("href=\"bled_on_wren&#x2f;index.html\"") && page.contains("What would mend them"));
    assert!(!page.contains("lost_on_brock&#x2f;"));
    let names: Vec<String> = result(place.path())["fittings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| {
            format!(
                "{} on {}: {}",
                one["garments"][0]["name"], one["body"], one["verdict"]
            )
            .replace('"', "")
        })
        .collect();
    assert_eq!(
        names,
        [
            "trousers on wren: pass",
            "bled on wren: fail",
            "trousers on brock: pass",
            "lost on brock: could_not_run"
        ]
    );
}

#[test]
fn a_build_server_reads_a_case_for_every_fitting_and_pose() {
    let place = shop(RACK);
    let output = run(place.path(), &["try", "fitting.yaml", "-q", "--format", "junit"]);
    assert_eq!(output.status.code(), Some(1));
    let text = said(&output);
    let xml = roxmltree::Document::parse(&text).unwrap();
    let count = |name: &str| xml.descendants().filter(|node| node.has_tag_name(name)).count();
    assert_eq!((count("testsuite"), count("testcase")), (3, 3 * 3));
    assert!(count("failure") >= 1 && count("error") == 0);
    assert!(!place.path().join("reports").exists());
}

#[test]
fn the_table_of_numbers_reads_back_as_the_record_has_it() {
    let place = shop(RACK);
    run(place.path(), &["try", "fitting.yaml", "-q", "--no-remedies"]);
    let mut reader = csv::Reader::from_path(place.path().join("reports/fitting/measures.csv")).unwrap();
    let head = reader.headers().unwrap().clone();
    let mut rows = reader.records().map(Result::unwrap);
    let mut numbers = 0;
    for fitting in result(place.path())["fittings"].as_array().unwrap() {
        for pose in fitting["poses"].as_array().unwrap() {
            for frame in pose["frames"].as_array().unwrap() {
                let row = rows.next().unwrap();
                assert_eq!(
                    (&row[0], &row[3]),
                    (fitting["body"].as_str().unwrap(), pose["pose"].as_str().unwrap())
                );
                for (name, cell) in head.iter().zip(&row).skip(8) {
                    let of = name
                        .split('.')
                        .fold(&frame["measures"], |value, step| &value[step]);
                    match of {
                        serde_json::Value::Number(number) => {
                            assert_eq!(cell.parse::<f64>().unwrap(), number.as_f64().unwrap(), "{name}");
                            numbers += 1;
                        }
                        serde_json::Value::String(word) => assert_eq!(cell, word),
                        other => assert!(other.is_null() && cell.is_empty(), "{name}: {other} {cell}"),
                    }
                }
            }
        }
    }
    assert!(rows.next().is_none() && numbers > 200, "{numbers}");
}

#[test]
fn shards_joined_are_the_run_itself_to_the_byte() {
    let place = shop(RACK);
    let at = place.path();
    let whole = run(at, &["try", "fitting.yaml", "-q"]);
    let expected = report(at);
    for of in [1, 2, 4] {
        let mut folders = Vec::new();
        for index in 1..=of {
            let shard = format!("{index}/{of}");
            let output = run(
                at,
                &["try", "fitting.yaml", "-q", "--shard", &shard, "--out", "parts"],
            );
            assert!(output.status.code() < Some(2) || of == 4, "{output:?}");
            folders.push(format!("parts/fitting_{index}_of_{of}"));
        }
        // In whatever order they are named.
        folders.reverse();
        let names: Vec<&str> = folders.iter().map(String::as_str).collect();
        let joined = run(at, &[&["join"][..], &names, &["--out", "joined"]].concat());
        assert_eq!(joined.status.code(), whole.status.code(), "{joined:?}");
        assert_eq!(said(&joined).replace("joined/", "reports/"), said(&whole));
        let found = files(&at.join("joined/fitting"));
        let of_files =
            |files: &[(PathBuf, Vec<u8>)]| files.iter().map(|file| file.0.clone()).collect::<Vec<_>>();
        assert_eq!(of_files(&found), of_files(&expected));
        for (one, other) in found.iter().zip(&expected) {
            assert!(one == other, "{} differs in {of} shards", one.0.display());
        }
        for format in ["json", "csv", "junit", "markdown"] {
            let joined = run(
                at,
                &[&["join"][..], &names, &["--out", "joined", "--format", format]].concat(),
            );
            let whole = run(at, &["try", "fitting.yaml", "-q", "--format", format]);
            assert!(joined.stdout == whole.stdout, "{format} differs in {of} shards");
        }
        if of == 2 {
            let once = run(at, &["join", names[0]]);
            assert!(complained(&once).contains("shard 1 of 2 is missing"), "{once:?}");
            let twice = run(at, &["join", names[0], names[1], names[1]]);
            assert!(complained(&twice).contains("is there twice"), "{twice:?}");
        }
    }
    let other = run(at, &["join", "parts/fitting_1_of_2", "parts/fitting_2_of_4"]);
    assert!(complained(&other).contains("another rack"), "{other:?}");
    assert!(complained(&run(at, &["join", "reports/fitting"])).contains("no report of a shard"));
    assert!(
        complained(&run(at, &["try", "body_wren.glb", "bled.glb", "--shard", "1/2"]))
            .contains("fitting file")
    );
    for wrong in ["0/2", "3/2", "1", "a/b", "1/0"] {
        assert_eq!(
            run(at, &["try", "fitting.yaml", "--shard", wrong]).status.code(),
            Some(2),
            "{wrong}"
        );
    }
}

#[test]
fn only_what_changed_is_run_again_and_the_bytes_are_those_of_a_full_run() {
    let place = shop(RACK);
    let at = place.path();
    let usual = ["try", "fitting.yaml", "-q"];
    let first = run(at, &usual);
    let before = report(at);
    let second = run(at, &usual);
    assert!(
        complained(&second).contains("3 of 3 fittings did not change"),
        "{}",
        complained(&second)
    );
    assert_eq!(
        (second.stdout, second.status.code()),
        (first.stdout, first.status.code())
    );
    assert!(report(at) == before, "what is taken over is as it was");
    // One garment edited: two of three are taken over, and the whole is as if run anew.
    let bled = std::fs::read(at.join("bled.glb")).unwrap();
    std::fs::copy(at.join("trousers_wren.glb"), at.join("bled.glb")).unwrap();
    let edited = run(at, &usual);
    assert!(
        complained(&edited).contains("2 of 3 fittings did not change"),
        "{}",
        complained(&edited)
    );
    assert_eq!(edited.status.code(), Some(0));
    let after = report(at);
    let anew = run(at, &["try", "fitting.yaml", "-q", "--again"]);
    assert!(!complained(&anew).contains("did not change"));
    assert_eq!(anew.stdout, edited.stdout);
    assert!(report(at) == after, "a full run writes the same bytes");
    // Other poses, limits, excuses and switches are other runs.
    for (text, switches) in [
        (RACK.replace("sitting", "squat"), &[][..]),
        (
            format!("{RACK}limits: {{ lift.area_cm2: {{ seated: 1 }} }}\n"),
            &[],
        ),
        (
            format!("{RACK}excuses: [{{ measure: lift, reason: meant }}]\n"),
            &[],
        ),
        (format!("{RACK}promised: [sitting]\n"), &[]),
        (RACK.to_owned(), &["--strict"]),
        (RACK.to_owned(), &["--fabric", "power"]),
        (RACK.to_owned(), &["--no-remedies"]),
    ] {
        std::fs::write(at.join("fitting.yaml"), &text).unwrap();
        let changed = run(at, &[&usual[..], switches].concat());
        assert!(
            !complained(&changed).contains("did not change"),
            "{text} {switches:?}"
        );
    }
    // A report that is no longer as it was written is not taken over.
    std::fs::write(at.join("fitting.yaml"), RACK).unwrap();
    std::fs::write(at.join("bled.glb"), bled).unwrap();
    run(at, &usual);
    std::fs::write(at.join("reports/fitting/bled_on_wren/result.json"), "{}").unwrap();
    assert!(complained(&run(at, &usual)).contains("2 of 3 fittings"));
    assert!(report(at) == before, "it was made again as it was");
    // A report to pass on keeps no note and takes nothing over.
    run(at, &["try", "fitting.yaml", "-q", "--share"]);
    assert!(report(at).iter().all(|file| !file.0.ends_with("run.json")));
    assert!(!complained(&run(at, &usual)).contains("did not change"));
}

#[test]
fn what_was_accepted_is_measured_against_and_a_build_server_insists_on_it() {
    let place = shop(RACK);
    let at = place.path();
    let usual = ["try", "fitting.yaml", "-q", "--no-remedies"];
    let none = run_where(at, &usual, true);
    assert_eq!(none.status.code(), Some(2));
    assert!(
        complained(&none).contains("nothing was accepted yet"),
        "{}",
        complained(&none)
    );
    assert!(
        at.join("reports/fitting/index.html").is_file(),
        "there is something to accept"
    );
    let accepted = run(at, &["accept", "reports/fitting", "fitting.yaml"]);
    assert!(accepted.status.success(), "{accepted:?}");
    assert!(
        said(&accepted).contains("It fails as it stands"),
        "accepting hides no failure"
    );
    let file = std::fs::read_to_string(at.join("accepted.txt")).unwrap();
    assert!(
        file.contains("bled on wren, standing: skin_shows.inner.area_cm2 "),
        "{file}"
    );
    // The same again: nothing changed, and a failure is still one.
    let same = run_where(at, &usual, true);
    assert_eq!(same.status.code(), Some(1), "{}", complained(&same));
    assert!(
        said(&same).contains("nothing changed beyond noise"),
        "{}",
        said(&same)
    );
    // Worse is 1 where all limits hold.
    let clean = RACK.replace("  - { name: bled, file: bled.glb, bodies: [wren] }\n", "");
    std::fs::write(at.join("fitting.yaml"), &clean).unwrap();
    let stale = run_where(at, &usual, true);
    assert_eq!(stale.status.code(), Some(2));
    assert!(
        complained(&stale).contains("it knows bled on wren, which is not in this rack"),
        "{}",
        complained(&stale)
    );
    assert_eq!(
        run(at, &usual).status.code(),
        Some(0),
        "said, but no error anywhere else"
    );
    assert!(
        run(at, &["accept", "reports/fitting", "fitting.yaml"])
            .status
            .success()
    );
    let lower = |line: &str| match line.strip_prefix("trousers on brock, sitting: lift.area_cm2 ") {
        Some(_) => "trousers on brock, sitting: lift.area_cm2 -9".to_owned(),
        None => line.to_owned(),
    };
    let text = std::fs::read_to_string(at.join("accepted.txt")).unwrap();
    let text: Vec<String> = text.lines().map(lower).collect();
    std::fs::write(at.join("accepted.txt"), text.join("\n") + "\n").unwrap();
    let worse = run_where(at, &usual, true);
    assert_eq!(worse.status.code(), Some(1), "{}", complained(&worse));
    assert!(
        said(&worse).contains("trousers on brock, sitting: lift.area_cm2 was −9, is"),
        "{}",
        said(&worse)
    );
    let junit = run(
        at,
        &["try", "fitting.yaml", "-q", "--no-remedies", "--format", "junit"],
    );
    assert!(
        said(&junit).contains("type=\"worse\"") && said(&junit).contains("failures=\"1\""),
        "{}",
        said(&junit)
    );
    // A new warning is worse, and each shard is measured by its own lines.
    let text = text
        .join("\n")
        .replace("lift.area_cm2 -9", "lift.area_cm2 0.7")
        .replace(
            "trousers on wren, standing: verdict pass",
            "trousers on wren, standing: verdict not_applicable",
        );
    std::fs::write(at.join("accepted.txt"), text + "\n").unwrap();
    for (shard, code) in [("1/2", 1), ("2/2", 0)] {
        let output = run_where(
            at,
            &["try", "fitting.yaml", "-q", "--no-remedies", "--shard", shard],
            true,
        );
        assert_eq!(
            output.status.code(),
            Some(code),
            "{shard}: {} {}",
            said(&output),
            complained(&output)
        );
    }
}

#[test]
fn an_excuse_warns_and_one_that_ran_out_fails() {
    let excused = |until: &str| {
        format!(
            "{RACK}excuses:\n  - {{ measure: skin_shows, garment: bled, reason: a slit that is meant{until} }}\n"
        )
    };
    let verdict = |text: &str| {
        let place = shop(text);
        let output = run(place.path(), &["try", "fitting.yaml", "-q", "--no-remedies"]);
        let reasons = result(place.path())["fittings"][1]["reasons"].clone();
        let weight = |reason: &serde_json::Value| {
            (
                reason["weight"].clone(),
                reason["say"].as_str().unwrap().to_owned(),
            )
        };
        let of: Vec<_> = reasons
            .as_array()
            .unwrap()
            .iter()
            .filter(|one| one["what"].as_str().unwrap().starts_with("skin_shows"))
            .map(weight)
            .collect();
        (output.status.code(), of)
    };
    let (_, plain) = verdict(RACK);
    assert!(
        !plain.is_empty() && plain.iter().all(|one| one.0 == "fail"),
        "{plain:?}"
    );
    let (_, now) = verdict(&excused(""));
    assert!(
        now.len() == plain.len()
            && now
                .iter()
                .all(|one| one.0 == "warn" && one.1.ends_with("Excused: a slit that is meant.")),
        "{now:?}"
    );
    let (_, over) = verdict(&excused(", until: 2020-01-01"));
    assert!(
        over.iter()
            .all(|one| one.0 == "fail" && one.1.contains("ran out on 2020-01-01")),
        "{over:?}"
    );
    let (_, later) = verdict(&excused(", until: 2999-12-31"));
    assert!(later.iter().all(|one| one.0 == "warn"), "{later:?}");
}

#[test]
fn a_typo_shows_its_line_and_nothing_is_written() {
    for (text, words) in [
        (
            RACK.replace("garments", "garmets"),
            ["`garmets` is not one of the keys", "did you mean `garments`?"],
        ),
        (
            RACK.replace("sitting", "siting"),
            ["`siting`", "did you mean `sitting`?"],
        ),
        (
            RACK.replace("bled.glb", "../bled.glb"),
            ["climbs out", "--allow-outside-files"],
        ),
        (
            RACK.replace("poses: [standing, sitting]", "poses: [standing, other.yaml]"),
            ["other.yaml", "cannot be read"],
        ),
    ] {
        let place = shop(&text);
        let output = run(place.path(), &["try", "fitting.yaml"]);
        assert_eq!(output.status.code(), Some(2));
        for word in words {
            assert!(
                complained(&output).contains(word),
                "{text}: {}",
                complained(&output)
            );
        }
        assert!(!place.path().join("reports").exists());
    }
    let place = shop(RACK);
    for words in [
        &["try", "fitting.yaml", "bled.glb"][..],
        &["try", "fitting.yaml", "--garment-mesh", "x"],
    ] {
        assert_eq!(run(place.path(), words).status.code(), Some(2), "{words:?}");
    }
}

#[test]
fn start_writes_a_file_that_runs_and_never_writes_over_one() {
    let place = shop(RACK);
    let at = place.path();
    let refused = run(at, &["start", "."]);
    assert!(
        refused.status.code() == Some(2) && complained(&refused).contains("not written over"),
        "{refused:?}"
    );
    assert_eq!(std::fs::read_to_string(at.join("fitting.yaml")).unwrap(), RACK);
    let made = run(at, &["start", ".", "--name", "mine.yaml"]);
    assert!(made.status.success(), "{made:?}");
    let text = std::fs::read_to_string(at.join("mine.yaml")).unwrap();
    assert!(
        text.contains("file: \"trousers_{body}.glb\"")
            && text.contains("{ name: wren, file: body_wren.glb }"),
        "{text}"
    );
    let output = run(
        at,
        &["try", "mine.yaml", "--poses", "standing", "-q", "--no-remedies"],
    );
    assert!(
        said(&output).contains("on brock") && at.join("reports/mine/index.html").is_file(),
        "{output:?}"
    );
    assert_eq!(
        run(at, &["start", ".", "--name", "../mine.yaml"]).status.code(),
        Some(2)
    );
    let empty = tempfile::tempdir().unwrap();
    assert!(complained(&run(empty.path(), &["start", "."])).contains("no body lies here"));
}

#[test]
fn a_body_and_its_trousers_are_told_apart_by_their_shape() {
    let wearer = body(&BodyShape::woman("wren").meshed(0.022));
    let pattern = Pattern {
        ease: 0.005,
        ..Pattern::new("legs", Kind::SlimTrousers)
    };
    let trousers = garment(&wearer, &pattern);
    assert_eq!(kind(&wearer.rig()), Lies::Body);
    let mut alone = trousers.rig().clone();
    // Neither by its name.
    alone.name = "x1".into();
    alone.meshes.iter_mut().for_each(|mesh| mesh.name = "x1".into());
    assert_eq!(kind(&alone), Lies::Garment);
    // One file that holds both.
    let mut both = wearer.rig();
    let mut cloth = alone.meshes[0].clone();
    cloth.name = "Trousers".into();
    let by_name = |name: &str| both.nodes.iter().position(|node| node.name == name).unwrap();
    cloth
        .binds
        .iter_mut()
        .for_each(|bind| bind.node = by_name(&alone.nodes[bind.node].name));
    both.meshes.push(cloth);
    let Lies::Both { skin, cloth } = kind(&both) else {
        panic!("{:?}", kind(&both))
    };
    assert_eq!((skin.len(), cloth), (1, vec!["Trousers".to_owned()]));
    assert!(matches!(kind(&Rig::default()), Lies::Neither(_)));
}
