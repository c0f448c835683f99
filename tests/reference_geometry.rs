//! Nearest points, winding numbers and stretches against reference libraries (PyPI `libigl`, `numpy`, see
//! `tests/reference/README.md`); the body that overlaps itself and crossings are in `seated.rs`.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::geometry::box_tree::{ALL, BoxTree};
use gusset::geometry::corners;
use gusset::geometry::stretch::RestFrame;
use gusset::geometry::winding::{Winding, exact};
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::surface::{Surface, assemble};
use gusset::rig::{Local, Rig};
use gusset::skin::{blend, palette};
use nalgebra::{Matrix4, Quaternion, UnitQuaternion};
use serde_json::Value;
use std::path::Path;

/// Metres.
const NEAREST: f64 = 1e-5;

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

/// Compares all rows of one pose and direction; returns how many nearest points were compared.
fn compare(key: &str, rows: &Value, points: &[[f32; 3]], at: &[[f32; 3]], surface: &Surface) -> usize {
    let tree = BoxTree::build(at, &surface.triangles);
    let winding = Winding::build(&tree);
    let [vertices, distances, nearest, ambiguous, windings] =
        ["vertices", "distance", "closest", "ambiguous", "winding"].map(|name| numbers(&rows[name]));
    assert_eq!((vertices.len(), points.len()), (300, 300));
    let mut compared = 0;
    for (row, &point) in points.iter().enumerate() {
        let place = format!("{key}: vertex {}", vertices[row]);
        let found = tree.closest(point, f32::INFINITY, ALL, None).unwrap();
        let off = (f64::from(found.distance_sq).sqrt() - distances[row]).abs();
        assert!(off < 1e-5, "{place}: the distance is {off} m off");
        let exactly = exact(point, at, &surface.triangles);
        let off = (exactly - windings[row]).abs();
        assert!(off < 1e-3, "{place}: the exact winding number is {off} off");
        let off = (winding.at(&tree, point) - exactly).abs();
        assert!(off < 1e-2, "{place}: the fast winding number is {off} off");
        if ambiguous.contains(&vertices[row]) {
            continue;
        }
        let off = (0..3)
            .map(|axis| (f64::from(found.point[axis]) - nearest[3 * row + axis]).abs())
            .fold(0.0, f64::max);
        assert!(off < NEAREST, "{place}: the nearest point is {off} m off");
        compared += 1;
    }
    compared
}

#[test]
fn nearest_points_and_winding_numbers_are_those_of_the_reference() {
    let Some(rigs) = support::rigs() else { return };
    let closest = reference("closest.json");
    let [(body_rig, body), (trousers_rig, trousers)] =
        ["body", "trousers"].map(|which| load(&rigs.join(closest[which].as_str().unwrap())));
    let mut compared = 0;
    for pose in closest["poses"].as_array().unwrap() {
        let place = |rig: &Rig, surface: &Surface| posed(surface, &turned(rig, &pose["rotations"]));
        let (body_at, trousers_at) = (place(&body_rig, &body), place(&trousers_rig, &trousers));
        for (key, from, from_at, to, to_at) in [
            ("trousers_to_body", &trousers, &trousers_at, &body, &body_at),
            ("body_to_trousers", &body, &body_at, &trousers, &trousers_at),
        ] {
            let rows = &pose[key];
            let points: Vec<[f32; 3]> = numbers(&rows["vertices"])
                .iter()
                .map(|&vertex| from_at[own(from, vertex)])
                .collect();
            compared += compare(key, rows, &points, to_at, to);
        }
    }
    assert_eq!(compared, 1200 - 6, "all but the ambiguous ones");
}

#[test]
fn stretches_are_those_of_the_reference() {
    let Some(rigs) = support::rigs() else { return };
    let stretch = reference("stretch.json");
    let (rig, trousers) = load(&rigs.join(stretch["trousers"].as_str().unwrap()));
    let seated = posed(&trousers, &turned(&rig, &stretch["rotations"]));
    let uvs = trousers.uvs.as_ref().unwrap();
    let [numbered, wanted, metric_rest, metric_posed] = [
        "triangles",
        "stretches",
        "texture_metric_rest",
        "texture_metric_posed",
    ]
    .map(|name| numbers(&stretch[name]));
    assert_eq!(numbered.len(), 300);
    for (row, triangle) in numbered.iter().enumerate() {
        let triangle = trousers.triangles[*triangle as usize];
        let rest = corners(&trousers.positions, triangle);
        let after = corners(&seated, triangle);
        let found = RestFrame::new(rest).stretches(after);
        for side in 0..2 {
            let off = (found[side] - wanted[2 * row + side]).abs();
            assert!(off < 1e-4, "stretch {side} of triangle {row} is {off} off");
        }
        let flat = RestFrame::from_flat(triangle.map(|v| uvs[v as usize].map(f64::from)));
        for (at, expected) in [(rest, &metric_rest), (after, &metric_posed)] {
            let metric = flat.metric(at);
            let expected = &expected[3 * row..3 * row + 3];
            let size = expected[0] + expected[2];
            for (found, expected) in [metric.a, metric.b, metric.c].iter().zip(expected) {
                let off = (found - expected).abs() / size;
                assert!(off < 1e-4, "metric of triangle {row} is {off} of its size off");
            }
        }
    }
}
