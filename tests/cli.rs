//! What a user meets: exit codes, sentences, and that nothing half-written is left. On rigs made by the tests.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/binary.rs"]
mod binary;
#[path = "support/files.rs"]
mod files;

use binary::{gusset, is_empty, refuses};
use files::files;
use gusset::demo::{BodyShape, Fault, Kind, Pattern, Piece, body, garment, plant};
use gusset::rig::Rig;
use gusset::rig::gltf::{GlbMaterial, GlbScene, GlbSurface, glb};
use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;

struct Rack {
    folder: tempfile::TempDir,
}

/// A coarse mannequin, its trousers and broken copies of them.
fn rack() -> &'static Rack {
    static RACK: OnceLock<Rack> = OnceLock::new();
    RACK.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let wearer = body(&BodyShape::woman("wren").meshed(0.022));
        let pattern = Pattern {
            ease: 0.005,
            ..Pattern::new("trousers", Kind::SlimTrousers)
        };
        let clean = garment(&wearer, &pattern).rig().clone();
        let write = |name: &str, rig: &Rig| {
            std::fs::write(folder.path().join(name), Piece::plain(name, rig).glb()).unwrap()
        };
        write("wren.glb", &wearer.rig());
        write("trousers.glb", &clean);
        write("bled.glb", &plant(&clean, Fault::Bleed));
        let mut not_a_number = clean.clone();
        not_a_number.meshes[0].rows.weights[0] = f32::NAN;
        write("nan.glb", &not_a_number);
        let mut negative = clean.clone();
        let row = negative.meshes[0].rows.starts[1] as usize;
        assert!(row >= 2, "the first vertex follows two joints");
        negative.meshes[0].rows.weights[0] += 0.25 + negative.meshes[0].rows.weights[1];
        negative.meshes[0].rows.weights[1] = -0.25;
        write("negative.glb", &negative);
        let mut armless = wearer.rig();
        for node in &mut armless.nodes {
            node.name = node.name.replace("Arm", "Wing").replace("Hand", "Tip");
        }
        write("armless.glb", &armless);
        let mut strangers = clean.clone();
        for (number, node) in strangers.nodes.iter_mut().enumerate() {
            node.name = format!("peg {number}");
            node.parent = None;
        }
        write("strangers.glb", &strangers);
        let mut legless = wearer.rig();
        for node in &mut legless.nodes {
            node.name = node
                .name
                .replace("Leg", "Peg")
                .replace("Foot", "Stump")
                .replace("Toes", "Tip");
            node.parent = None;
        }
        write("legless.glb", &legless);
        Rack { folder }
    })
}

fn file(name: &str) -> PathBuf {
    rack().folder.path().join(name)
}

fn path(name: &str) -> String {
    file(name).display().to_string()
}

#[test]
fn a_clean_pair_passes_and_leaves_a_whole_report() {
    let (output, place) = gusset(&[
        "try",
        &path("wren.glb"),
        &path("trousers.glb"),
        "--poses",
        "standing,sitting",
        "-q",
    ]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.starts_with("PASS  trousers on wren"), "{text}");
    let report = place.path().join("reports/trousers_on_wren");
    for name in ["index.html", "result.json", "measures.csv"] {
        assert!(report.join(name).is_file(), "{name}");
    }
    let entries = std::fs::read_dir(place.path().join("reports")).unwrap().count();
    assert_eq!(entries, 1, "nothing is left beside the report");
}

#[test]
fn a_fitting_that_could_run_is_written_beside_one_that_could_not() {
    let (output, place) = gusset(&[
        "try",
        &path("wren.glb"),
        &path("trousers.glb"),
        &path("strangers.glb"),
        "--poses",
        "standing",
        "-q",
    ]);
    assert_eq!(output.status.code(), Some(2));
    assert!(place.path().join("reports/wren/result.json").is_file());
}

#[test]
fn a_planted_fault_fails_with_exit_code_1_in_every_format() {
    for format in ["text", "json", "csv", "junit", "markdown"] {
        let (output, _place) = gusset(&[
            "try",
            &path("wren.glb"),
            &path("bled.glb"),
            "--poses",
            "standing",
            "-q",
            "--no-report",
            "--format",
            format,
        ]);
        assert_eq!(output.status.code(), Some(1), "{format}");
        assert!(output.stderr.is_empty(), "a failed check is no error message");
    }
}

#[test]
fn a_build_server_reads_one_failure_per_pose_that_fails_and_one_error_where_nothing_could_run() {
    let ends = |garment: &str| -> Vec<String> {
        let (output, _place) = gusset(&[
            "try",
            &path("wren.glb"),
            &path(garment),
            "--poses",
            "standing,sitting",
            "-q",
            "--format",
            "junit",
        ]);
        let text = String::from_utf8(output.stdout).unwrap();
        let xml = roxmltree::Document::parse(&text).unwrap();
        let cases = xml.descendants().filter(|node| node.has_tag_name("testcase"));
        cases
            .map(|case| {
                let how = case.children().find(roxmltree::Node::is_element);
                how.map_or("passes", |how| how.tag_name().name()).to_owned()
            })
            .collect()
    };
    let bled = ends("bled.glb");
    assert_eq!(bled.len(), 3, "the rig and two poses: {bled:?}");
    assert!(bled[1..].contains(&"failure".to_owned()) && !bled.contains(&"error".to_owned()));
    assert_eq!(ends("strangers.glb"), ["error"]);
}

#[test]
fn a_report_to_pass_on_is_small_and_says_what_it_holds() {
    let report = |more: &[&str]| -> String {
        let (wren, bled) = (path("wren.glb"), path("bled.glb"));
        let mut words = vec!["try", &wren, &bled, "--poses", "standing,walk", "-q"];
        words.extend(more);
        let (_output, place) = gusset(&words);
        std::fs::read_to_string(place.path().join("reports/bled_on_wren/index.html")).unwrap()
    };
    let (full, shared) = (report(&[]), report(&["--share"]));
    assert!(full.contains("carries the geometry") && full.contains("id=\"models\""));
    assert!(shared.contains("no geometry") && !shared.contains("id=\"models\""));
    assert!(shared.len() < 1_000_000 && shared.len() < full.len());
}

#[test]
fn json_and_csv_hold_the_same_numbers() {
    let words = |format: &str| -> String {
        let (output, _place) = gusset(&[
            "try",
            &path("wren.glb"),
            &path("trousers.glb"),
            "--poses",
            "sitting",
            "-q",
            "--format",
            format,
        ]);
        String::from_utf8(output.stdout).unwrap()
    };
    let json: serde_json::Value = serde_json::from_str(&words("json")).unwrap();
    let csv = words("csv");
    let rows: Vec<Vec<String>> = csv
        .lines()
        .map(|line| line.trim_end().split(',').map(str::to_owned).collect())
        .collect();
    let column = rows[0].iter().position(|head| head == "stretch.raw.p99").unwrap();
    let from_csv: f64 = rows[1][column].parse().unwrap();
    let from_json = json["fittings"][0]["poses"][0]["frames"][0]["measures"]["stretch"]["raw"]["p99"]
        .as_f64()
        .unwrap();
    assert!((from_csv - from_json).abs() < 1e-9);
}

#[test]
fn files_that_are_not_rigs() {
    let place = tempfile::tempdir().unwrap();
    let at = |name: &str| place.path().join(name).display().to_string();
    std::fs::write(at("text.glb"), "hello, this is not a model").unwrap();
    let whole = std::fs::read(file("wren.glb")).unwrap();
    std::fs::write(at("cut.glb"), &whole[..whole.len() / 2]).unwrap();
    let plain = GlbScene {
        materials: vec![GlbMaterial {
            name: "plain".into(),
            colour: [1.0; 4],
            picture: None,
        }],
        surfaces: vec![GlbSurface {
            name: "sheet".into(),
            positions: vec![[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
            triangles: vec![[0, 1, 2]],
            ..GlbSurface::default()
        }],
        ..GlbScene::default()
    };
    std::fs::write(at("unskinned.glb"), glb(&plain)).unwrap();
    let garment = path("trousers.glb");
    refuses(&["try", &at("nowhere.glb"), &garment], &["no such file", "check"]);
    refuses(
        &["try", &at("text.glb"), &garment],
        &["not a glTF file", "export"],
    );
    refuses(&["try", &at("cut.glb"), &garment], &["cut off", "again"]);
    refuses(&["try", &at("unskinned.glb"), &garment], &["skin"]);
}

#[test]
fn pairs_that_cannot_be_tested() {
    refuses(
        &["try", &path("legless.glb"), &path("trousers.glb")],
        &["no joint found for", "hip and knee"],
    );
    refuses(
        &["try", &path("wren.glb"), &path("strangers.glb"), "-q"],
        &["matches a joint of the body"],
    );
}

#[test]
fn a_negative_weight_in_a_row_that_adds_up_is_left_out_and_named() {
    let (output, _place) = gusset(&[
        "try",
        &path("wren.glb"),
        &path("negative.glb"),
        "--poses",
        "sitting",
        "-q",
        "--no-report",
        "--format",
        "json",
    ]);
    assert_eq!(output.status.code(), Some(1));
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let findings = json["fittings"][0]["rig_findings"].as_array().unwrap();
    assert!(
        findings
            .iter()
            .any(|finding| finding["code"] == "rows_negative" && finding["severity"] == "fault"),
        "{findings:?}"
    );
    // The negative weight throws the vertex far out; left out, the pull is that of the clean trousers.
    let pull = |json: &serde_json::Value| {
        json["fittings"][0]["poses"][0]["frames"][0]["measures"]["stretch"]["raw"]["worst"].as_f64()
    };
    assert!(pull(&json).unwrap() < 3.0, "{:?}", pull(&json));
}

#[test]
fn one_file_named_twice_and_no_body_at_all() {
    refuses(
        &["try", &path("wren.glb"), &path("wren.glb")],
        &["the same mesh cannot be body and garment"],
    );
    let (output, _place) = gusset(&[
        "try",
        &path("trousers.glb"),
        "--poses",
        "standing",
        "-q",
        "--no-report",
    ]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.starts_with("PARTLY TESTED"), "{text}");
    assert!(
        text.contains("There is no body") && text.contains("gusset try BODY GARMENT"),
        "{text}"
    );
    assert!(
        !text.contains("PASS") && !text.contains("within the limits"),
        "{text}"
    );
}

#[test]
fn poses_that_do_not_apply_are_said_in_words() {
    let (output, place) = gusset(&[
        "try",
        &path("armless.glb"),
        &path("trousers.glb"),
        "--poses",
        "arms_wide",
        "-q",
    ]);
    let text = String::from_utf8_lossy(&output.stdout).replace('\n', " ");
    assert_eq!(output.status.code(), Some(2), "{text}");
    assert!(
        text.contains("None of the asked poses applies: this rig has no left upper arm"),
        "{text}"
    );
    assert!(!text.contains("within the limits"), "{text}");
    assert!(is_empty(place.path()));
}

#[test]
fn garments_of_one_file_name_are_told_apart() {
    let place = tempfile::tempdir().unwrap();
    let copy = |folder: &str| {
        let folder = place.path().join(folder);
        std::fs::create_dir(&folder).unwrap();
        let copy = folder.join("trousers.glb");
        std::fs::copy(file("trousers.glb"), &copy).unwrap();
        copy.display().to_string()
    };
    let (before, after) = (copy("before"), copy("after"));
    let (output, _place) = gusset(&[
        "try",
        &path("wren.glb"),
        &before,
        &after,
        "--poses",
        "standing",
        "-q",
        "--no-report",
    ]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(
        text.contains("before/trousers on wren") && text.contains("after/trousers on wren"),
        "{text}"
    );
}

#[test]
fn a_posed_file_never_replaces_what_was_read() {
    let place = tempfile::tempdir().unwrap();
    let copy = place.path().join("wren.glb");
    std::fs::copy(file("wren.glb"), &copy).unwrap();
    let before = std::fs::read(&copy).unwrap();
    let at = copy.display().to_string();
    refuses(
        &["posed", &at, "--pose", "sitting", "--out", &at],
        &["is the file that is read"],
    );
    refuses(
        &[
            "posed",
            &at,
            "--pose",
            "sitting",
            "--out",
            &place.path().join("wren.obj").display().to_string(),
        ],
        &["must end in .glb"],
    );
    assert_eq!(std::fs::read(&copy).unwrap(), before);
}

#[test]
fn a_weight_that_is_not_a_number_is_a_fault_with_the_vertex() {
    let (output, _place) = gusset(&[
        "try",
        &path("wren.glb"),
        &path("nan.glb"),
        "--poses",
        "standing",
        "-q",
        "--no-report",
    ]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(
        text.contains("a weight that is not a number") && text.contains("vertex"),
        "{text}"
    );
}

#[test]
fn a_pose_file_with_a_typo_shows_its_line() {
    let place = tempfile::tempdir().unwrap();
    let typo = place.path().join("typo.yaml");
    std::fs::write(
        &typo,
        "name: x\nabout: y\nbasis: [z]\ndemand: upright\nangles:\n  hips: { flexon: 90 }\n",
    )
    .unwrap();
    let typo = typo.display().to_string();
    refuses(
        &["try", &path("wren.glb"), &path("trousers.glb"), "--poses", &typo],
        &["typo.yaml:6", "flexon", "did you mean `flexion`"],
    );
    refuses(&["poses", "standng"], &["standing"]);
}

#[test]
fn the_same_bytes_of_every_file_on_any_number_of_threads() {
    let run = |threads: &str, more: &[&str]| {
        let place = tempfile::tempdir().unwrap();
        let (body, cloth) = (path("wren.glb"), path("bled.glb"));
        let output = Command::new(env!("CARGO_BIN_EXE_gusset"))
            .args(["try", &body, &cloth, "--poses", "walk,squat", "-q"])
            .args(["--format", "json", "--out", "out"])
            .args(more)
            .env("RAYON_NUM_THREADS", threads)
            .current_dir(place.path())
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(1));
        let files = files(place.path());
        assert!(files.len() > 6, "{}", files.len());
        for (name, bytes) in &files {
            let text = String::from_utf8_lossy(bytes);
            let told = text.contains(&*place.path().to_string_lossy());
            assert!(!told, "{} names a folder of this run", name.display());
        }
        (output.stdout, files)
    };
    // Remedies are frames measured once more: tried on one and on three threads, left out of the rest.
    assert!(run("1", &[]) == run("3", &[]), "remedies on three threads");
    let one = run("1", &["--no-remedies"]);
    // Each count again: an order that depends on luck need not show the first time.
    for threads in ["2", "3", "8", "1", "2", "3", "8"] {
        let other = run(threads, &["--no-remedies"]);
        assert_eq!(one.0, other.0, "{threads} threads");
        for (one, other) in one.1.iter().zip(&other.1) {
            assert!(one == other, "{} on {threads} threads", one.0.display());
        }
        assert_eq!(one.1.len(), other.1.len());
    }
}

#[test]
fn rig_and_poses_and_schema_answer() {
    let (rig, _place) = gusset(&["rig", &path("wren.glb")]);
    let text = String::from_utf8_lossy(&rig.stdout).into_owned();
    assert!(
        text.contains("leftUpperLeg") && text.contains("hip splay"),
        "{text}"
    );
    let (poses, _place) = gusset(&["poses"]);
    let lines = String::from_utf8_lossy(&poses.stdout).lines().count();
    assert!(lines >= 24, "{lines}");
    let (schema, _place) = gusset(&["schema"]);
    let parsed: serde_json::Value = serde_json::from_slice(&schema.stdout).unwrap();
    assert!(parsed["properties"]["fittings"].is_object());
}

/// Accept a result, change nothing, then plant a fault: the first is no change, the second is worse and exit code 1.
#[test]
fn an_edit_that_makes_something_worse_is_said_and_exits_with_1() {
    let place = tempfile::tempdir().unwrap();
    let garment = place.path().join("trousers.glb");
    std::fs::copy(file("trousers.glb"), &garment).unwrap();
    let run = |words: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_gusset"))
            .args(words)
            .current_dir(place.path())
            .env_remove("CI")
            .output()
            .unwrap();
        (
            output.status.code(),
            String::from_utf8_lossy(&output.stdout).into_owned(),
        )
    };
    let wearer = path("wren.glb");
    let tried = [
        "try",
        &wearer,
        "trousers.glb",
        "--poses",
        "standing,sitting",
        "-q",
    ];
    assert_eq!(run(&tried).0, Some(0));
    let (code, said) = run(&["accept", "reports/trousers_on_wren", "trousers.glb"]);
    assert_eq!(code, Some(0), "{said}");
    let accepted = std::fs::read_to_string(place.path().join("trousers.accepted.txt")).unwrap();
    assert!(
        accepted.contains("trousers on wren, sitting: lift.area_cm2"),
        "{accepted}"
    );
    let (code, said) = run(&tried);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("nothing changed beyond noise"), "{said}");
    std::fs::copy(file("bled.glb"), &garment).unwrap();
    let (code, said) = run(&tried);
    assert_eq!(code, Some(1), "{said}");
    assert!(
        said.contains(" worse") && said.contains("skin_shows.inner.area_cm2 was"),
        "{said}"
    );
    assert!(
        said.contains("What would help") || said.contains("what would help"),
        "{said}"
    );
    // Accepting hides no failure.
    let (_, said) = run(&["accept", "reports/trousers_on_wren", "trousers.glb"]);
    assert!(said.contains("hides no failure"), "{said}");
    assert_eq!(run(&tried).0, Some(1));
}

#[test]
fn two_garments_are_compared_in_words_and_in_numbers() {
    let wearer = path("wren.glb");
    let (clean, bled) = (path("trousers.glb"), path("bled.glb"));
    let words = [
        "compare",
        &clean,
        &bled,
        "--body",
        &wearer,
        "--poses",
        "standing,sitting",
    ];
    let (output, place) = gusset(&words);
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.contains("trousers does better in 2 poses"), "{text}");
    let report = place.path().join("reports/compare_trousers_and_bled");
    let page = std::fs::read_to_string(report.join("index.html")).unwrap();
    for part in [
        "Side by side",
        "What moved from trousers to bled",
        "As built, no vertex moved.",
        "Pose by pose",
        "Both in one plot",
    ] {
        assert!(page.contains(part), "{part}");
    }
    for file in [
        "result.json",
        "pictures/sitting_a.png",
        "pictures/sitting_b.png",
        "pictures/moved_weights_front.png",
        "plots/poses_skin_shows_inner_area_cm2.svg",
    ] {
        assert!(report.join(file).is_file(), "{file}");
    }
    // The same whichever is named first.
    let (output, place) = gusset(&[&words[..], &["--format", "json"]].concat());
    assert!(is_empty(place.path()));
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(value["poses"][0]["better"], "a");
    let turned = [
        "compare",
        &bled,
        &clean,
        "--body",
        &wearer,
        "--poses",
        "standing,sitting",
        "--format",
        "json",
    ];
    let (output, _) = gusset(&turned);
    let other: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(other["poses"][0]["better"], "b");
    assert_eq!(other["moved"], value["moved"]);
    assert_eq!(value["moved"]["shape_most_mm"], 0.0);
    assert!(value["moved"]["weights_most"].as_f64().unwrap() > 0.1);
    let (output, _) = gusset(&["compare", &clean, &clean, "--body", &wearer, "--poses", "sitting"]);
    assert!(String::from_utf8_lossy(&output.stdout).contains("No difference beyond noise"));
}

#[test]
fn what_cannot_be_compared_or_accepted_is_said() {
    let (clean, bled, wearer) = (path("trousers.glb"), path("bled.glb"), path("wren.glb"));
    refuses(&["compare", &clean, &bled], &["say who wears it", "--body"]);
    refuses(
        &["compare", "nothing", "neither"],
        &["no result can be read here"],
    );
    refuses(
        &["accept", "nowhere"],
        &["no result can be read here", "report folder"],
    );
    refuses(&["accept", &clean], &["no result can be read here"]);
    refuses(
        &["try", &wearer, &clean, "--against", "nowhere.txt"],
        &["nowhere.txt", "gusset accept REPORT"],
    );
    refuses(
        &["try", &wearer, &clean, "--against", &wearer],
        &["cannot be read"],
    );
    refuses(
        &["try", &wearer, &clean, "--hidden-skin", "hat"],
        &["no mesh or material is called `hat`"],
    );
    refuses(
        &["try", &wearer, &clean, "--hidden-picture", "none.png"],
        &["none.png", "cannot be read"],
    );
    refuses(
        &["try", &wearer, &clean, "--morph", "belly=0.5"],
        &["no morph target is called `belly`"],
    );
}
