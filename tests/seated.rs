//! Whether the geometry gives, on a seated body that overlaps itself, what an independent library gives.
//!
//! `reference/winding.json` says what libigl found; the rig lies outside the repository, see `GUSSET_RIGS`.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::path::Path;

use base64::Engine;
use gusset::geometry::box_tree::{BoxTree, Crossing, crossings, self_crossings};
use gusset::geometry::weld::{TOLERANCE, weld};
use gusset::geometry::winding::{Winding, exact};
use gusset::pose::clip;
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::surface;
use gusset::skin;

/// Vertices and triangles numbered as in the file.
struct Posed {
    positions: Vec<[f32; 3]>,
    triangles: Vec<[u32; 3]>,
}

#[path = "support/rigs.rs"]
mod support;
use support::rigs;

fn reference() -> serde_json::Value {
    serde_json::from_str(include_str!("reference/winding.json")).unwrap()
}

fn posed(folder: &Path, known: &serde_json::Value, which: &str) -> Posed {
    let rig = read(
        &folder.join(known[which].as_str().unwrap()),
        &ReadOptions::default(),
    )
    .unwrap();
    let clip = clip::find(&rig, known["clip"].as_str().unwrap()).unwrap();
    let world = rig.world(&clip::sample(&rig, clip, known["key"].as_f64().unwrap()));
    let surface = surface::assemble(&rig, &[0], which);
    let mut positions = Vec::new();
    skin::blend(&surface, &skin::palette(&surface, &world), &mut positions);
    let mut by_file = vec![[f32::NAN; 3]; positions.len()];
    for (position, (_, vertex)) in positions.iter().zip(&surface.sources) {
        by_file[*vertex as usize] = *position;
    }
    let triangles = surface
        .triangles
        .iter()
        .map(|t| t.map(|v| surface.sources[v as usize].1))
        .collect();
    Posed {
        positions: by_file,
        triangles,
    }
}

fn bits(known: &serde_json::Value, key: &str, count: usize) -> Vec<bool> {
    let bytes = base64::engine::general_purpose::STANDARD
        .decode(known[key].as_str().unwrap())
        .unwrap();
    (0..count)
        .map(|bit| bytes[bit / 8] >> (bit % 8) & 1 == 1)
        .collect()
}

fn pairs(known: &serde_json::Value, key: &str) -> Vec<(u32, u32)> {
    let flat: Vec<u32> = known[key]
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_u64().unwrap() as u32)
        .collect();
    flat.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
}

fn numbers(found: &[Crossing]) -> Vec<(u32, u32)> {
    found
        .iter()
        .map(|crossing| (crossing.first, crossing.second))
        .collect()
}

#[test]
fn every_side_of_the_seated_frame() {
    let Some(folder) = rigs() else { return };
    let known = reference();
    let (body, trousers) = (posed(&folder, &known, "body"), posed(&folder, &known, "trousers"));
    let tree = BoxTree::build(&body.positions, &body.triangles);
    let winding = Winding::build(&tree);
    let count = trousers.positions.len();
    let (inside, twice) = (bits(&known, "inside", count), bits(&known, "inside_twice", count));
    let mut worst = 0f64;
    for (vertex, &point) in trousers.positions.iter().enumerate() {
        let found = winding.at(&tree, point);
        assert_eq!(found > 0.5, inside[vertex], "vertex {vertex}: {found}");
        assert_eq!(found > 1.5, twice[vertex], "vertex {vertex}: {found}");
        worst = worst.max((found - found.round()).abs());
    }
    eprintln!("largest error of the winding number in {count} points: {worst:.6}");
    assert!(worst < 1e-2, "{worst}");
    assert_eq!(inside.iter().filter(|inside| **inside).count(), 2053);
    assert_eq!(twice.iter().filter(|twice| **twice).count(), 447);
}

/// Also triangle by triangle, where it is hardest: inside two limbs at once, and at the seeded vertices.
#[test]
fn the_sum_over_all_triangles_says_the_same() {
    let Some(folder) = rigs() else { return };
    let known = reference();
    let (body, trousers) = (posed(&folder, &known, "body"), posed(&folder, &known, "trousers"));
    let at = |vertex: usize| exact(trousers.positions[vertex], &body.positions, &body.triangles);
    let twice = bits(&known, "inside_twice", trousers.positions.len());
    let doubly: Vec<usize> = (0..twice.len()).filter(|&vertex| twice[vertex]).collect();
    assert_eq!(doubly.len(), 447);
    for vertex in doubly {
        let found = at(vertex);
        assert!((found - 2.0).abs() < 1e-6, "vertex {vertex}: {found}");
    }
    let vertices = known["sample_vertices"].as_array().unwrap();
    let values = known["sample_winding"].as_array().unwrap();
    assert_eq!((vertices.len(), values.len()), (200, 200));
    for (vertex, value) in vertices.iter().zip(values) {
        let found = at(vertex.as_u64().unwrap() as usize);
        assert!((found - value.as_f64().unwrap()).abs() < 1e-6, "vertex {vertex}");
    }
}

#[test]
fn the_open_trousers_go_partly_round_the_body() {
    let Some(folder) = rigs() else { return };
    let known = reference();
    let (body, trousers) = (posed(&folder, &known, "body"), posed(&folder, &known, "trousers"));
    let tree = BoxTree::build(&trousers.positions, &trousers.triangles);
    let winding = Winding::build(&tree);
    let vertices = known["body_vertices"].as_array().unwrap();
    let values = known["winding_of_open_trousers"].as_array().unwrap();
    assert!(!vertices.is_empty());
    for (vertex, value) in vertices.iter().zip(values) {
        let point = body.positions[vertex.as_u64().unwrap() as usize];
        let value = value.as_f64().unwrap();
        assert!((exact(point, &trousers.positions, &trousers.triangles) - value).abs() < 1e-3);
        assert!((winding.at(&tree, point) - value).abs() < 1e-2);
    }
}

#[test]
fn every_crossing_of_the_seated_frame() {
    let Some(folder) = rigs() else { return };
    let known = reference();
    let (body, trousers) = (posed(&folder, &known, "body"), posed(&folder, &known, "trousers"));
    let skin = BoxTree::build(&body.positions, &body.triangles);
    let cloth = BoxTree::build(&trousers.positions, &trousers.triangles);
    let mut found = Vec::new();
    crossings(&skin, &cloth, &mut found);
    assert_eq!(found.len(), 1775);
    assert_eq!(numbers(&found), pairs(&known, "crossing"));
    // Of pairs that share no vertex; the library reports four more that meet beyond a shared one (README there).
    self_crossings(&cloth, &weld(&trousers.positions, TOLERANCE), &mut found);
    assert_eq!(found.len(), 182);
    assert_eq!(numbers(&found), pairs(&known, "self_crossing"));
}
