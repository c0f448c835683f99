//! Posed vertices against an independent renderer's skinning (npm `three`, see `tests/reference/README.md`).

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::pose::clip;
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::surface::assemble;
use gusset::rig::{Local, Rig};
use gusset::skin::{blend, palette};
use nalgebra::{Matrix4, Quaternion, UnitQuaternion};
use serde_json::Value;

/// Metres.
const TOLERANCE: f64 = 1e-5;

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|number| number.as_f64().unwrap())
        .collect()
}

/// World matrices of all nodes in one case of the reference.
fn world(rig: &Rig, case: &Value) -> Vec<Matrix4<f64>> {
    if let Some(rotations) = case["rotations"].as_array() {
        let mut posed = rig.clone();
        for row in rotations {
            let file_index = row["node"].as_u64().unwrap() as usize;
            let node = posed
                .nodes
                .iter_mut()
                .find(|node| node.file_index == file_index)
                .unwrap();
            let q = numbers(&row["rotation"]);
            let Local::Parts { rotation, .. } = &mut node.local else {
                panic!("a matrix node cannot be turned")
            };
            *rotation = UnitQuaternion::from_quaternion(Quaternion::new(q[3], q[0], q[1], q[2]));
        }
        return posed.rest_world();
    }
    let index = case["clip_index"].as_u64().unwrap() as usize;
    rig.world(&clip::sample(
        rig,
        &rig.clips[index],
        case["time"].as_f64().unwrap(),
    ))
}

/// That renderer divides every row by its sum on loading.
fn normalise(rig: &mut Rig) {
    for mesh in &mut rig.meshes {
        for vertex in 0..mesh.rows.len() {
            let sum: f32 = mesh.rows.row(vertex).map(|entry| entry.1).sum();
            let span = mesh.rows.starts[vertex] as usize..mesh.rows.starts[vertex + 1] as usize;
            mesh.rows.weights[span]
                .iter_mut()
                .for_each(|weight| *weight /= sum);
        }
    }
}

#[test]
fn posed_vertices_agree_with_an_independent_renderer() {
    let Some(rigs) = support::rigs() else { return };
    let text = std::fs::read_to_string("tests/reference/skinning.json").unwrap();
    let reference: Value = serde_json::from_str(&text).unwrap();
    let (mut cases, mut compared, mut unused, mut worst) = (0, 0, 0, 0.0f64);
    for file in reference["files"].as_array().unwrap() {
        let name = file["file"].as_str().unwrap();
        let mut rig = read(&rigs.join(name), &ReadOptions::default()).unwrap();
        if file["weight_rows_off"].as_u64().unwrap() > 0 {
            normalise(&mut rig);
        }
        let place = format!("/meshes/{}/primitives/{}", file["mesh"], file["primitive"]);
        let mesh = rig
            .meshes
            .iter()
            .position(|mesh| mesh.place == place)
            .expect("the primitive is there");
        let surface = assemble(&rig, &[mesh], name);
        let vertices = numbers(&file["vertices"]);
        for case in file["cases"].as_array().unwrap() {
            let mut posed = Vec::new();
            blend(&surface, &palette(&surface, &world(&rig, case)), &mut posed);
            let expected = numbers(&case["positions"]);
            for (number, &vertex) in vertices.iter().enumerate() {
                let Some(own) = surface
                    .sources
                    .iter()
                    .position(|source| f64::from(source.1) == vertex)
                else {
                    unused += 1; // no triangle uses it
                    continue;
                };
                let off = (0..3)
                    .map(|axis| (f64::from(posed[own][axis]) - expected[3 * number + axis]).abs())
                    .fold(0.0, f64::max);
                worst = worst.max(off);
                compared += 1;
                assert!(
                    off < TOLERANCE,
                    "{name}, pose {pose}, clip {clip} at {time}: vertex {vertex} is {off} m off",
                    pose = case["pose"],
                    clip = case["clip"],
                    time = case["time"]
                );
            }
            cases += 1;
        }
    }
    assert!(cases > 40, "only {cases} cases");
    assert_eq!(unused, 0, "of {compared} vertices");
    eprintln!("{cases} poses and clip times, {compared} vertices, worst difference {worst:.2e} m");
}
