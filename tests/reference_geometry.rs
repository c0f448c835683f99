//! Distances and stretches against reference libraries (PyPI `libigl`, `numpy`, see `tests/reference/README.md`);
//! winding numbers and crossings are in `seated.rs`.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::geometry::box_tree::{ALL, BoxTree};
use gusset::geometry::corners;
use gusset::geometry::stretch::RestFrame;
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::surface::{Surface, assemble};
use gusset::rig::{Local, Rig};
use gusset::skin::{blend, palette};
use nalgebra::{Matrix4, Quaternion, UnitQuaternion};
use serde_json::Value;
use std::path::Path;

fn reference(name: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(Path::new("tests/reference").join(name)).unwrap()).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|number| number.as_f64().unwrap())
        .collect()
}

fn load(path: &Path) -> (Rig, Surface) {
    let rig = read(path, &ReadOptions::default()).unwrap();
    let all: Vec<usize> = (0..rig.meshes.len()).collect();
    let surface = assemble(&rig, &all, "surface");
    (rig, surface)
}

fn posed(surface: &Surface, world: &[Matrix4<f64>]) -> Vec<[f32; 3]> {
    let mut positions = Vec::new();
    blend(surface, &palette(surface, world), &mut positions);
    positions
}

fn turned(rig: &Rig, rotations: &Value) -> Vec<Matrix4<f64>> {
    let mut rig = rig.clone();
    for row in rotations.as_array().unwrap() {
        let name = row["name"].as_str().unwrap();
        let node = rig.nodes.iter_mut().find(|node| node.name == name).unwrap();
        let q = numbers(&row["rotation"]);
        let Local::Parts { rotation, .. } = &mut node.local else {
            panic!("a matrix node cannot be turned")
        };
        *rotation = UnitQuaternion::from_quaternion(Quaternion::new(q[3], q[0], q[1], q[2]));
    }
    rig.rest_world()
}

/// The vertex of the surface that a vertex of the file became.
fn own(surface: &Surface, vertex: f64) -> usize {
    surface
        .sources
        .iter()
        .position(|source| f64::from(source.1) == vertex)
        .unwrap()
}

#[test]
fn distances_and_stretches_are_those_of_the_reference() {
    let Some(rigs) = support::rigs() else { return };
    let (body_rig, body) = load(&rigs.join("bodies/mhr_body_average.glb"));
    let (trousers_rig, trousers) = load(&rigs.join("trousers/trousers_average_build9.glb"));
    let closest = reference("closest.json");
    for pose in closest["poses"].as_array().unwrap() {
        let place = |rig: &Rig, surface: &Surface| posed(surface, &turned(rig, &pose["rotations"]));
        let (body_at, trousers_at) = (place(&body_rig, &body), place(&trousers_rig, &trousers));
        for (key, from, from_at, to, to_at) in [
            ("trousers_to_body", &trousers, &trousers_at, &body, &body_at),
            ("body_to_trousers", &body, &body_at, &trousers, &trousers_at),
        ] {
            let tree = BoxTree::build(to_at, &to.triangles);
            let rows = &pose[key];
            let (vertices, distances) = (numbers(&rows["vertices"]), numbers(&rows["distance"]));
            assert_eq!(vertices.len(), 300);
            for (vertex, distance) in vertices.iter().zip(&distances) {
                let at = from_at[own(from, *vertex)];
                let found = tree.closest(at, f32::INFINITY, ALL, None).unwrap();
                let off = (f64::from(found.distance_sq).sqrt() - distance).abs();
                assert!(off < 1e-5, "{key}: vertex {vertex} is {off} m off");
            }
        }
    }
    let stretch = reference("stretch.json");
    let rotations = closest["poses"]
        .as_array()
        .unwrap()
        .iter()
        .find(|pose| pose["pose"] == "seated")
        .unwrap();
    let seated = posed(&trousers, &turned(&trousers_rig, &rotations["rotations"]));
    let wanted = numbers(&stretch["stretches"]);
    for (number, triangle) in numbers(&stretch["triangles"]).iter().enumerate() {
        let triangle = trousers.triangles[*triangle as usize];
        let found =
            RestFrame::new(corners(&trousers.positions, triangle)).stretches(corners(&seated, triangle));
        for side in 0..2 {
            let off = (found[side] - wanted[2 * number + side]).abs();
            assert!(off < 1e-4, "stretch {side} of triangle {number} is {off} off");
        }
    }
}
