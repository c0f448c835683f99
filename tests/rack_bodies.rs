//! What a fitting file says of its bodies: what their files have wrong, and the sizes in which they come. On rigs made by
//! the tests.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gusset::demo::{BodyShape, Kind, Pattern, Piece, body, garment};
use gusset::rig::{Local, Morph, Node, Rig};
use nalgebra::{UnitQuaternion, Vector3};
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

/// A coarse body and trousers for it.
fn dressed() -> (Rig, Rig) {
    let wearer = body(&BodyShape::woman("wren").meshed(0.024));
    let pattern = Pattern {
        ease: 0.005,
        ..Pattern::new("trousers", Kind::SlimTrousers)
    };
    (wearer.rig(), garment(&wearer, &pattern).rig().clone())
}

fn write(at: &Path, name: &str, rig: &Rig) {
    std::fs::write(at.join(name), Piece::plain(name, rig).glb()).unwrap();
}

fn run(at: &Path, text: &str, words: &[&str]) -> Output {
    std::fs::write(at.join("fitting.yaml"), text).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_gusset"));
    command.args(["try", "fitting.yaml", "-q"]).args(words);
    command.current_dir(at).env_remove("CI").env_remove("COLUMNS");
    command.output().unwrap()
}

fn record(at: &Path, text: &str) -> Value {
    let output = run(at, text, &["--format", "json", "--no-remedies"]);
    serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{output:?}"))
}

/// The file again as an exporter with other units and axes writes it: everything a hundred times as large, Z up.
fn spoiled(rig: &Rig) -> Rig {
    let mut rig = rig.clone();
    rig.nodes
        .iter_mut()
        .for_each(|node| node.parent = Some(node.parent.map_or(0, |parent| parent + 1)));
    let top = Node {
        name: "world".into(),
        parent: None,
        local: Local::Parts {
            translation: Vector3::zeros(),
            rotation: UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::FRAC_PI_2),
            scale: Vector3::repeat(100.0),
        },
        file_index: 0,
    };
    rig.nodes.insert(0, top);
    let binds = rig.meshes.iter_mut().flat_map(|mesh| &mut mesh.binds);
    binds.for_each(|bind| bind.node += 1);
    rig
}

#[test]
fn units_and_axes_that_the_user_states_make_a_wrong_file_right() {
    let place = tempfile::tempdir().unwrap();
    let at = place.path();
    let (body, trousers) = dressed();
    write(at, "body.glb", &body);
    write(at, "trousers.glb", &trousers);
    write(at, "body_cm.glb", &spoiled(&body));
    write(at, "trousers_cm.glb", &spoiled(&trousers));
    let right = record(
        at,
        "bodies: [{ name: wren, file: body.glb }]\ngarments: [{ name: trousers, file: trousers.glb }]\nposes: [sitting]\n",
    );
    let stated = "bodies: [{ name: wren, file: body_cm.glb, unit: cm, up: z }]\n\
        garments: [{ name: trousers, file: trousers_cm.glb, unit: cm, up: z }]\nposes: [sitting]\n";
    let found = record(at, stated);
    assert_eq!(found["verdict"], right["verdict"]);
    let numbers = |record: &Value| record["fittings"][0]["poses"][0]["frames"][0]["measures"].clone();
    let (one, other) = (numbers(&right), numbers(&found));
    for path in [
        "/ease/median_mm",
        "/stretch/beyond_skin/p99",
        "/lift/area_cm2",
        "/dip/p99_mm",
    ] {
        let value = |numbers: &Value| numbers.pointer(path).unwrap().as_f64().unwrap();
        let (one, other) = (value(&one), value(&other));
        assert!(
            (one - other).abs() <= 0.02 * one.abs().max(0.5),
            "{path}: {one} {other}"
        );
    }
    let vertical = |record: &Value| record["fittings"][0]["reasons"].clone();
    assert_eq!(
        vertical(&right).as_array().map(Vec::len),
        vertical(&found).as_array().map(Vec::len)
    );
    // Only one of the two stated: they do not fit, and that is said.
    let half = record(
        at,
        &stated.replace("trousers_cm.glb, unit: cm, up: z", "trousers_cm.glb"),
    );
    assert_eq!(half["fittings"][0]["verdict"], "could_not_run", "{half:#}");
}

/// Gives every mesh a target that pushes the thighs out from their bones, metres at weight 1, fading over the ends.
fn with_thicker_thighs(rig: &mut Rig, name: &str, by: f32) {
    let at = |bone: &str| {
        let node = rig.nodes.iter().position(|node| node.name == bone).unwrap();
        let world = rig.rest_world()[node];
        Vector3::new(world[(0, 3)], world[(1, 3)], world[(2, 3)])
    };
    let legs = ["left", "right"].map(|side| [at(&format!("{side}UpperLeg")), at(&format!("{side}LowerLeg"))]);
    for mesh in &mut rig.meshes {
        let delta = |point: &[f32; 3]| {
            let point = Vector3::from(point.map(f64::from));
            let leg = &legs[usize::from(point.x * legs[0][0].x < 0.0)];
            let axis = leg[1] - leg[0];
            let along = (point - leg[0]).dot(&axis) / axis.norm_squared();
            let out = point - leg[0] - axis * along;
            let fade = ((along - 0.1).min(0.8 - along) / 0.15).clamp(0.0, 1.0);
            let push = out.normalize() * fade * f64::from(by);
            [push.x as f32, push.y as f32, push.z as f32]
        };
        mesh.morphs.push(Morph {
            name: name.into(),
            deltas: mesh.positions.iter().map(delta).collect(),
            weight: 0.0,
        });
    }
}

const SIZED: &str = "\
bodies:
  - name: wren
    file: body.glb
    sizes: [{ name: M }, { name: sporty, morphs: { muscle: 1 } }, { name: soft, morphs: { padding: 1 } }]
    corners: true
garments: [{ name: trousers, file: trousers.glb }]
poses: [standing, bend_forward]
";

/// The cloth has room for the one or for the other, and not for both.
#[test]
fn a_garment_that_fails_at_one_corner_only_is_found_there_with_the_range_it_holds() {
    let place = tempfile::tempdir().unwrap();
    let at = place.path();
    let (mut body, mut trousers) = dressed();
    for name in ["muscle", "padding"] {
        with_thicker_thighs(&mut body, name, 0.004);
        with_thicker_thighs(&mut trousers, name, 0.0005);
    }
    write(at, "body.glb", &body);
    write(at, "trousers.glb", &trousers);
    let output = run(at, SIZED, &[]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(1), "{text} {output:?}");
    assert!(text.starts_with("FAIL  4 fittings: 1 fail, 3 pass\n"), "{text}");
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("Sizes that fail trousers on wren most: clean to thigh girth x 1."),
        "{text}"
    );
    let read = std::fs::read_to_string(at.join("reports/fitting/result.json")).unwrap();
    let record: Value = serde_json::from_str(&read).unwrap();
    let of = |name: &str| {
        let fittings = record["fittings"].as_array().unwrap();
        fittings.iter().find(|one| one["body"] == name).unwrap()["size"].clone()
    };
    let thigh = |name: &str| of(name)["girths"]["thigh girth"].as_f64().unwrap();
    // As many times as the targets push the skin out: both together as much as each alone, added up.
    let (one, both) = (thigh("wren sporty") - 1.0, thigh("wren most") - 1.0);
    assert!(
        one > 0.01 && (both - 2.0 * one).abs() < 0.1 * both,
        "{one} {both}"
    );
    assert_eq!(thigh("wren M"), 1.0);
    let clean = of("wren most")["clean_to"].as_f64().unwrap();
    assert!((0.5..1.0).contains(&clean), "{clean}");
    let say = of("wren most")["say"].as_str().unwrap().to_owned();
    let told: f64 = say
        .split(" x ")
        .nth(1)
        .unwrap()
        .split(',')
        .next()
        .unwrap()
        .parse()
        .unwrap();
    assert!((told - 1.0 - clean * both).abs() < 0.011, "{say} {both}");
    // The page of all, a comment and an accepted result know it too.
    let page = std::fs::read_to_string(at.join("reports/fitting/index.html")).unwrap();
    assert!(page.contains("Sizes that fail") && page.contains("clean to thigh girth"));
    let comment = run(at, SIZED, &["--format", "markdown"]);
    assert!(String::from_utf8_lossy(&comment.stdout).contains("Sizes that fail"));
    // A garment that does not come in the corner is not tried there.
    let fewer = SIZED.replace("file: trousers.glb }", "file: trousers.glb, sizes: [M, soft] }");
    let output = run(at, &fewer, &["--format", "json"]);
    let record: Value = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{output:?}"));
    assert_eq!(record["fittings"].as_array().unwrap().len(), 2);
    // Names that are not there.
    for (text, said) in [
        (
            SIZED.replace("muscle: 1", "muskle: 1"),
            "no morph target is called `muskle`",
        ),
        (
            SIZED.replace("{ name: M }", "{ name: M, joints: { leftKnee: 1.1 } }"),
            "no joint is called `leftKnee`",
        ),
    ] {
        let output = run(at, &text, &[]);
        let text = String::from_utf8_lossy(&output.stdout).replace('\n', " ");
        assert!(output.status.code() == Some(2) && text.contains(said), "{text}");
    }
}

/// Clothes follow the joints of a size as they follow those of a pose: whatever is scaled or moved, they stay on.
#[test]
fn clothes_follow_the_joints_of_a_size() {
    let place = tempfile::tempdir().unwrap();
    let at = place.path();
    let (body, trousers) = dressed();
    write(at, "body.glb", &body);
    write(at, "trousers.glb", &trousers);
    let text = "\
bodies:
  - name: wren
    file: body.glb
    sizes:
      - { name: M }
      - { name: tall, joints: { leftUpperLeg: { scale: [1, 1.08, 1] }, rightUpperLeg: { scale: [1, 1.08, 1] } } }
      - { name: wide, joints: { leftUpperLeg: { offset_mm: [8, 0, 0] }, rightUpperLeg: { offset_mm: [-8, 0, 0] } } }
      - { name: large, joints: { hips: 1.1 } }
garments: [{ name: trousers, file: trousers.glb }]
poses: [standing, sitting]
";
    let record = record(at, text);
    let fittings = record["fittings"].as_array().unwrap();
    let ease = |at: usize| {
        fittings[at]["poses"][0]["frames"][0]["measures"]["ease"]["median_mm"]
            .as_f64()
            .unwrap()
    };
    for (at, fitting) in fittings.iter().enumerate() {
        assert_eq!(
            fitting["verdict"], "pass",
            "{} {:#}",
            fitting["body"], fitting["reasons"]
        );
        assert!(
            (ease(at) / ease(0) - 1.0).abs() < 0.15,
            "{} {}",
            ease(at),
            ease(0)
        );
        assert_eq!(fitting["size"]["say"], "");
    }
    let girth = |at: usize, tape: &str| fittings[at]["size"]["girths"][tape].as_f64().unwrap();
    assert!((girth(3, "thigh girth") - 1.1).abs() < 1e-3 && (girth(3, "chest girth") - 1.1).abs() < 1e-3);
    assert!((girth(1, "calf girth") - 1.0).abs() < 0.02);
    // The pose is the same in every size: the thigh points where the pose says.
    let flexion = |at: usize| {
        fittings[at]["poses"][1]["frames"][0]["angles_deg"]["leftUpperLeg"]["flexion"]
            .as_f64()
            .unwrap()
    };
    assert!((0..4).all(|at| (flexion(at) - flexion(0)).abs() < 1e-3));
}
