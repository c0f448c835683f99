//! What a fitting file says of its bodies: what their files have wrong, and the sizes in which they come. On rigs made by
//! the tests.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gusset::demo::{BodyShape, Kind, Pattern, Piece, body, garment};
use gusset::rig::{Local, Node, Rig};
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
