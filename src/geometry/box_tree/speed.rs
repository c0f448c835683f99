//! How long does it take? Run with `cargo test --release --lib speed -- --ignored --nocapture`.

use std::hint::black_box;
use std::time::Instant;

use super::*;
use crate::geometry::shapes::{self, Random};
use crate::geometry::triangle;
use crate::geometry::vector::{add, narrow, scale};
use crate::geometry::weld::weld;
use crate::geometry::winding::Winding;

/// The least of several rounds, microseconds per call.
fn time(name: &str, calls: usize, mut work: impl FnMut()) {
    let least = (0..9)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min);
    eprintln!("{name:40} {:10.3} us", least * 1e6 / calls as f64);
}

/// The same for many points, piece by piece, so that other work on the machine disturbs less.
fn time_each(name: &str, points: &[[f32; 3]], mut work: impl FnMut(u32, [f32; 3])) {
    let numbered: Vec<(u32, [f32; 3])> = (0..).zip(points.iter().copied()).collect();
    let pieces = numbered.chunks(256).map(|piece| {
        let rounds = (0..9).map(|_| {
            let start = Instant::now();
            piece.iter().for_each(|&(number, point)| work(number, point));
            start.elapsed().as_secs_f64()
        });
        rounds.fold(f64::INFINITY, f64::min)
    });
    let sum: f64 = pieces.sum();
    eprintln!("{name:40} {:10.3} us", sum * 1e6 / points.len() as f64);
}

fn beside(mesh: &shapes::Mesh, off: f64) -> Vec<[f32; 3]> {
    let mut random = Random::new(1);
    mesh.1
        .iter()
        .map(|&t| {
            let at = crate::geometry::corners(&mesh.0, t);
            let off = off * (0.9 + 0.2 * f64::from(random.share()));
            narrow(add(triangle::centre(at), scale(triangle::normal(at), off)))
        })
        .collect()
}

#[test]
#[ignore = "prints timings, judges nothing"]
fn speed() {
    let mesh = shapes::limb(6);
    let other = (
        mesh.0
            .iter()
            .map(|&[x, y, z]| [x * 1.02 + 0.001, y, z])
            .collect::<Vec<_>>(),
        mesh.1.clone(),
    );
    let mut tree = BoxTree::build(&mesh.0, &mesh.1);
    let second = BoxTree::build(&other.0, &other.1);
    let mut winding = Winding::build(&tree);
    let count = mesh.1.len();
    eprintln!(
        "{count} triangles, {} nodes, {} leaves",
        tree.nodes.len(),
        tree.leaves.len()
    );
    time("build", 1, || drop(black_box(BoxTree::build(&mesh.0, &mesh.1))));
    time("weld", 1, || drop(black_box(weld(&mesh.0, 1e-6))));
    time("refit", 1, || tree.refit(black_box(&mesh.0)));
    time("winding refit", 1, || winding.refit(black_box(&tree)));
    for (name, off) in [("6 mm", 0.006), ("1 cm", 0.01), ("3 cm", 0.03), ("-6 mm", -0.006)] {
        let points = beside(&mesh, off);
        time_each(&format!("closest {name}, hint"), &points, |triangle, point| {
            black_box(tree.closest(point, f32::INFINITY, ALL, Some(triangle)));
        });
        time_each(&format!("closest {name}, cold"), &points, |_, point| {
            black_box(tree.closest(point, f32::INFINITY, ALL, None));
        });
        time_each(&format!("winding {name}"), &points, |_, point| {
            black_box(winding.at(&tree, point));
        });
        time_each(&format!("ray out {name}"), &points, |_, point| {
            black_box(tree.ray_any(point, [0.3, 0.5, 0.81], 4.0, ALL, None));
        });
    }
    let mut found = Vec::new();
    time("crossings", 1, || crossings(&tree, &second, &mut found));
    eprintln!("{} pairs", found.len());
    let canonical = weld(&mesh.0, 1e-6);
    time("self crossings", 1, || {
        self_crossings(&tree, &canonical, &mut found)
    });
    eprintln!("{} pairs", found.len());
}
