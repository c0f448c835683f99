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
    let other = (mesh.0.iter().map(|&[x, y, z]| [x * 1.02 + 0.001, y, z]).collect::<Vec<_>>(), mesh.1.clone());
    let mut tree = BoxTree::build(&mesh.0, &mesh.1);
    let second = BoxTree::build(&other.0, &other.1);
    let mut winding = Winding::build(&tree);
    let count = mesh.1.len();
    eprintln!("{count} triangles, {} nodes, {} leaves", tree.nodes.len(), tree.leaves.len());
    time("build", 1, || drop(black_box(BoxTree::build(&mesh.0, &mesh.1))));
    time("weld", 1, || drop(black_box(weld(&mesh.0, 1e-6))));
    time("refit", 1, || tree.refit(black_box(&mesh.0)));
    time("winding refit", 1, || winding.refit(black_box(&tree)));
    for (name, off) in [("6 mm", 0.006), ("1 cm", 0.01), ("3 cm", 0.03), ("-6 mm", -0.006)] {
        let points = beside(&mesh, off);
        let each = |hinted: bool| {
            let mut sum = 0.0;
            for (triangle, &point) in (0u32..).zip(&points) {
                let hint = hinted.then_some(triangle);
                sum += tree.closest(point, f32::INFINITY, ALL, hint).map_or(0.0, |found| found.distance_sq);
            }
            black_box(sum);
        };
        time(&format!("closest {name}, hint"), count, || each(true));
        time(&format!("closest {name}, cold"), count, || each(false));
        time(&format!("winding {name}"), count / 10, || {
            black_box(points.iter().step_by(10).map(|&p| winding.at(&tree, p)).sum::<f64>());
        });
        time(&format!("ray out {name}"), count, || {
            let met = points.iter().filter(|&&p| tree.ray_any(p, [0.3, 0.5, 0.81], 4.0, ALL, None));
            black_box(met.count());
        });
    }
    let mut found = Vec::new();
    time("crossings", 1, || crossings(&tree, &second, &mut found));
    eprintln!("{} pairs", found.len());
    let canonical = weld(&mesh.0, 1e-6);
    time("self crossings", 1, || self_crossings(&tree, &canonical, &mut found));
    eprintln!("{} pairs", found.len());
}
