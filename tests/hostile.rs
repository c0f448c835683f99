//! Files made to eat memory or time: the binary says one sentence, below 200 MB and within two seconds.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/gltf.rs"]
#[allow(dead_code, reason = "other tests use the rest")]
mod support;

use serde_json::{Value, json};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use support::Sample;

/// What a refusal may take.
const MOST_MB: u64 = 200;
const MOST_TIME: Duration = Duration::from_secs(2);

/// What a run of the binary said and took.
struct Run {
    code: Option<i32>,
    said: String,
    peak_mb: u64,
    time: Duration,
}

/// Runs the binary and watches its highest resident memory, which Linux keeps in `/proc`.
fn run(words: &[&str]) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let said = folder.path().join("said");
    let out = std::fs::File::create(&said).unwrap();
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_gusset"))
        .args(words)
        .stdout(Stdio::null())
        .stderr(out)
        .spawn()
        .unwrap();
    let mut peak_kb = 0;
    let code = loop {
        peak_kb = peak_kb.max(high_water_kb(child.id()));
        if let Some(status) = child.try_wait().unwrap() {
            break status.code();
        }
        if start.elapsed() > 10 * MOST_TIME {
            child.kill().unwrap();
            panic!("{words:?} does not end");
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    Run {
        code,
        said: std::fs::read_to_string(&said).unwrap(),
        peak_mb: peak_kb / 1024,
        time: start.elapsed(),
    }
}

/// 0 where the system does not tell.
fn high_water_kb(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok())
        .unwrap_or(0)
}

/// The sentence of a file that every command that reads rigs must refuse.
#[track_caller]
fn refused(name: &str, bytes: &[u8], words: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(format!("{name}.glb"));
    std::fs::write(&file, bytes).unwrap();
    let file = file.display().to_string();
    for command in [
        vec!["rig", &file],
        vec!["try", &file, &file, "--no-report"],
        vec!["posed", &file, "--pose", "sitting", "--out", "/nonexistent/x.glb"],
    ] {
        let run = run(&command);
        eprintln!("{name}: {} MB, {:?}: {}", run.peak_mb, run.time, run.said.trim());
        assert_eq!(run.code, Some(2), "{name}: {}", run.said);
        assert_eq!(run.said.lines().count(), 1, "{name}: {}", run.said);
        assert!(run.said.len() < 900, "{name}: {}", run.said);
        for word in words {
            assert!(run.said.contains(word), "{name} without `{word}`: {}", run.said);
        }
        assert!(run.peak_mb < MOST_MB, "{name}: {} MB", run.peak_mb);
        assert!(run.time < MOST_TIME, "{name}: {:?}", run.time);
    }
}

/// A sample whose numbers come from nowhere: accessors without data are all zeros.
fn zeros(count: u64) -> Sample {
    let mut sample = Sample::new();
    for accessor in 0..4 {
        sample.remove(&format!("/accessors/{accessor}/bufferView"));
        sample.set(&format!("/accessors/{accessor}/count"), json!(count));
    }
    sample.remove("/meshes/0/primitives/0/targets");
    sample.remove("/meshes/0/weights");
    sample
}

/// Adds nodes to a sample.
fn with_nodes(mut sample: Sample, nodes: impl IntoIterator<Item = Value>) -> Sample {
    sample.json["nodes"].as_array_mut().unwrap().extend(nodes);
    sample
}

#[test]
fn four_billion_vertices_that_are_not_there() {
    let words = [
        "4000000000",
        "`corners`",
        "--raise corners=",
        "(at /accessors/0/count)",
    ];
    refused("billions", &zeros(4_000_000_000).glb(), &words);
    let words = ["`vertices`", "--raise vertices="];
    refused("millions", &zeros(4_000_000).glb(), &words);
}

#[test]
fn a_chain_of_100_000_nodes_and_a_loop() {
    let chain = (3..100_002).map(|node| json!({ "children": [node + 1] }));
    let chain = with_nodes(Sample::new(), chain.chain([json!({})]));
    refused("chain", &chain.glb(), &["`nodes`", "--raise nodes="]);
    let own_child = with_nodes(Sample::new(), [json!({ "children": [3] })]);
    refused("loop", &own_child.glb(), &["loop", "(at /nodes/3)"]);
}

#[test]
fn a_skin_of_60_000_joints() {
    let mut sample = with_nodes(Sample::new(), vec![json!({}); 60_000 - 3]);
    sample.set("/skins/0", json!({ "joints": (0..60_000).collect::<Vec<_>>() }));
    sample = Sample {
        json: sample.json,
        bin: sample.bin,
    };
    refused("joints", &sample.glb(), &["--raise nodes="]);
    sample.json["nodes"].as_array_mut().unwrap().truncate(40_000);
    sample.set("/skins/0/joints", json!((0..40_000).collect::<Vec<_>>()));
    refused("joints", &sample.glb(), &["`joints`", "--raise joints="]);
}

#[test]
fn a_mesh_shown_ten_thousand_times() {
    let mut sample = zeros(100_000);
    sample.remove("/meshes/0/primitives/0/indices");
    let shown = with_nodes(sample, vec![json!({ "mesh": 0, "skin": 0 }); 10_000]);
    refused(
        "shown",
        &shown.glb(),
        &["`decoded_bytes`", "--raise decoded_bytes="],
    );
}

#[test]
fn a_name_of_a_million_letters_copied_for_every_node() {
    let mut sample = with_nodes(Sample::new(), vec![json!({ "mesh": 0, "skin": 0 }); 20_000]);
    for (place, name) in [
        ("/meshes/0/name", "n".repeat(1_000_000)),
        ("/materials/0/name", "m".repeat(1_000_000)),
    ] {
        sample.set(place, json!(name));
        refused(
            "name",
            &sample.glb(),
            &["`name_bytes`", place, "--raise name_bytes="],
        );
        sample.set(place, json!("short"));
    }
    sample.set("/meshes/0/extras/targetNames/0", json!("t".repeat(1_000_000)));
    refused("target name", &sample.glb(), &["`name_bytes`"]);
}

#[test]
fn many_parts_times_many_nodes() {
    let mut sample = with_nodes(Sample::new(), vec![json!({ "mesh": 0 }); 40_000]);
    sample.remove("/meshes/0/weights");
    sample.set(
        "/meshes/0/primitives",
        json!(vec![json!({ "attributes": {} }); 40_000]),
    );
    refused("parts", &sample.glb(), &["`parts`", "--raise parts="]);
}

#[test]
fn ten_thousand_channels_on_a_million_keys() {
    let mut sample = Sample::new();
    for accessor in [support::TIMES, support::TURNS] {
        sample.remove(&format!("/accessors/{accessor}/bufferView"));
        sample.set(&format!("/accessors/{accessor}/count"), json!(1_000_000));
    }
    let channel = sample.json["animations"][0]["channels"][0].clone();
    sample.set("/animations/0/channels", json!(vec![channel; 10_000]));
    refused(
        "channels",
        &sample.glb(),
        &["`decoded_bytes`", "(at /animations/0)"],
    );
    for accessor in [support::TIMES, support::TURNS] {
        sample.set(&format!("/accessors/{accessor}/count"), json!(1_000_001));
    }
    let channel = sample.json["animations"][0]["channels"][0].clone();
    sample.set("/animations/0/channels", json!([channel]));
    refused("keys", &sample.glb(), &["`keys`", "--raise keys="]);
}

#[test]
fn json_of_nothing_but_objects() {
    let mut sample = Sample::new();
    sample.set("/nodes/0/extras", json!(vec![json!({ "": 0 }); 1_000_000]));
    refused(
        "objects",
        &sample.glb(),
        &["`json_values`", "--raise json_values="],
    );
}

#[test]
fn keys_and_names_that_would_break_the_line() {
    let long = format!("a\nb\u{1b}[2J\u{202e}{}", "x".repeat(200_000));
    let mut sample = Sample::new();
    sample.set("/accessors/0/type", json!(long));
    refused("type", &sample.glb(), &["(at /accessors/0/type)"]);
    let mut sample = Sample::new();
    sample.json["meshes"][0]["primitives"][0]["attributes"][&long] = json!(4_294_967_296_u64);
    refused("key", &sample.glb(), &["(at /meshes/0/primitives/0/attributes"]);
    let mut sample = Sample::new();
    sample.set("/nodes/0/rotation", json!(long));
    refused("rotation", &sample.glb(), &["(at /nodes/0)"]);
}

#[test]
fn a_raised_limit_is_raised_and_a_wrong_one_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("long.glb");
    let mut sample = Sample::new();
    sample.set("/nodes/0/name", json!("hips".repeat(300)));
    std::fs::write(&file, sample.glb()).unwrap();
    let file = file.display().to_string();
    assert_eq!(run(&["rig", &file]).code, Some(2));
    let raised = run(&["rig", &file, "--raise", "name_bytes=2000"]);
    assert_ne!(raised.code, Some(2), "{}", raised.said);
    for (wrong, said) in [
        ("bones=3", "there is no limit called `bones`"),
        ("joints=70000", "cannot be more than 65535"),
        ("nodes", "a number"),
        ("nodes=many", "not a whole number"),
    ] {
        let run = run(&["rig", &file, "--raise", wrong]);
        assert_eq!(run.code, Some(2));
        assert!(run.said.contains(said), "{wrong}: {}", run.said);
    }
}

#[test]
fn pose_files_that_swell() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    let mut bomb = String::from("a0: &a0 [x, x, x, x, x, x, x, x]\n");
    for level in 1..12 {
        let below = vec![format!("*a{}", level - 1); 8].join(", ");
        bomb += &format!("a{level}: &a{level} [{below}]\n");
    }
    let many = "name: x\nabout: y\nbasis: [z]\ndemand: hard\nframes:\n".to_owned()
        + &"- { knees: bind }\n".repeat(1001);
    let cases = [
        ("aliases.yaml", bomb, "more than 50000 values"),
        ("deep.yaml", "[".repeat(20_000), "recursion"),
        (
            "long.yaml",
            "#".repeat(50_000_000),
            "too long for a file written by hand",
        ),
        ("frames.yaml", many, "1 to 1000"),
    ];
    for (name, text, word) in cases {
        std::fs::write(place(name), text).unwrap();
        pose_refused(&place(name), word);
    }
    std::fs::create_dir(place("folder.yaml")).unwrap();
    pose_refused(&place("folder.yaml"), "a folder, a device or a pipe");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("/dev/zero", place("endless.yaml")).unwrap();
        pose_refused(&place("endless.yaml"), "a folder, a device or a pipe");
    }
}

#[track_caller]
fn pose_refused(file: &Path, word: &str) {
    let run = run(&["poses", &file.display().to_string()]);
    eprintln!("{}: {} MB, {:?}", file.display(), run.peak_mb, run.time);
    assert_eq!(run.code, Some(2), "{}", run.said);
    let said = run.said.replace("\n  │ ", " ");
    assert!(said.contains(word), "without `{word}`: {said}");
    assert!(run.peak_mb < MOST_MB && run.time < MOST_TIME);
}
