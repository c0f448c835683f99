//! The tree against plain loops over all triangles.

use super::*;
use crate::geometry::closest_point::closest_point;
use crate::geometry::crossing::crossing;
use crate::geometry::shapes::{self, Mesh, Random};
use crate::geometry::triangle;
use crate::geometry::vector::{dot, norm, sub, wide};
use crate::geometry::weld::{TOLERANCE, weld};

fn distance(point: [f32; 3], corners: Corners) -> f64 {
    norm(sub(closest_point(point, corners).point, wide(point)))
}

fn all_corners((positions, triangles): &Mesh) -> Vec<Corners> {
    triangles
        .iter()
        .map(|&t| crate::geometry::corners(positions, t))
        .collect()
}

fn meshes() -> Vec<Mesh> {
    let mut flat = shapes::soup(5, 40, 0.4);
    for p in &mut flat.0 {
        p[2] = 0.0;
    }
    let needles = {
        let mut needles = shapes::soup(6, 200, 0.5);
        for t in 0..200 {
            let (a, b) = (needles.0[3 * t], needles.0[3 * t + 1]);
            needles.0[3 * t + 2] = std::array::from_fn(|k| 0.5 * (a[k] + b[k]));
        }
        needles
    };
    vec![
        shapes::soup(1, 1, 0.5),
        shapes::soup(2, 8, 0.5),
        shapes::soup(3, 9, 0.5),
        shapes::soup(4, 700, 0.2),
        flat,
        needles,
        shapes::cube(),
        shapes::limb(4),
        shapes::soup(7, 300, 0.0),
    ]
}

#[test]
fn closest_agrees_with_all_triangles() {
    let mut random = Random::new(100);
    for mesh in meshes() {
        let corners = all_corners(&mesh);
        let tags: Vec<u32> = (0..corners.len()).map(|_| 1 << random.below(3)).collect();
        let tree = BoxTree::build_tagged(&mesh.0, &mesh.1, &tags);
        for round in 0..200 {
            let point = random.point();
            let mask = [ALL, 1, 6, 8][round % 4];
            let best = corners
                .iter()
                .zip(&tags)
                .filter(|(_, tag)| *tag & mask != 0)
                .map(|(c, _)| distance(point, *c))
                .min_by(f64::total_cmp);
            let found = tree.closest(point, f32::INFINITY, mask, None);
            assert_eq!(found.is_some(), best.is_some());
            let (Some(found), Some(best)) = (found, best) else {
                continue;
            };
            assert!((f64::from(found.distance_sq).sqrt() - best).abs() < 2e-6);
            assert!((distance(point, corners[found.triangle as usize]) - best).abs() < 2e-6);
            assert!(tags[found.triangle as usize] & mask != 0);
            assert!((norm(sub(wide(found.point), wide(point))) - best).abs() < 2e-6);
            let half = (best / 2.0) as f32;
            assert_eq!(tree.closest(point, half, mask, None), None);
            assert_eq!(
                tree.closest(point, best as f32 * 1.001 + 1e-5, mask, None),
                Some(found)
            );
        }
    }
}

/// Points on a lattice about a cube have many equally near triangles.
#[test]
fn the_hint_changes_nothing_and_the_lowest_of_equals_wins() {
    let mut random = Random::new(101);
    for mesh in meshes() {
        let tags: Vec<u32> = (0..mesh.1.len()).map(|_| 1 << random.below(3)).collect();
        let tree = BoxTree::build_tagged(&mesh.0, &mesh.1, &tags);
        for round in 0..400 {
            let mut point = random.point();
            if round % 2 == 0 {
                point = point.map(|x| (x * 3.0).round() / 2.0);
            }
            let mask = [ALL, 1, 6][round % 3];
            let within = [f32::INFINITY, 0.5, 0.05][round % 3];
            let cold = tree.closest(point, within, mask, None);
            for _ in 0..3 {
                let hint = random.below(mesh.1.len()) as u32;
                assert_eq!(tree.closest(point, within, mask, Some(hint)), cold);
            }
            assert_eq!(tree.closest(point, within, mask, Some(u32::MAX)), cold);
            assert_eq!(tree.closest(point, within, mask, cold.map(|c| c.triangle)), cold);
            let Some(cold) = cold else { continue };
            let lower = tree.closest_where(point, within, mask, None, |t| t <= cold.triangle);
            assert_eq!(lower, Some(cold));
            let others = tree.closest_where(point, within, mask, None, |t| t < cold.triangle);
            assert!(others.is_none_or(|o| o.distance_sq > cold.distance_sq));
            let above = tree.closest_where(point, within, mask, None, |t| t > cold.triangle);
            assert!(above.is_none_or(|o| o.distance_sq >= cold.distance_sq));
        }
    }
}

#[test]
fn a_point_that_is_no_place_has_nothing_near() {
    let (positions, triangles) = shapes::cube();
    let tree = BoxTree::build(&positions, &triangles);
    assert_eq!(tree.closest([f32::NAN, 0.0, 0.0], 1.0, ALL, None), None);
    assert_eq!(tree.closest([f32::INFINITY; 3], f32::INFINITY, ALL, None), None);
    assert_eq!(tree.closest([0.0; 3], -1.0, ALL, None), None);
    assert!(!tree.ray_any([0.0; 3], [0.0; 3], 1.0, ALL, None));
    let broken: Vec<[f32; 3]> = positions.iter().map(|_| [f32::NAN; 3]).collect();
    let nowhere = BoxTree::build(&broken, &triangles);
    assert_eq!(nowhere.closest([0.0; 3], f32::INFINITY, ALL, None), None);
    let empty = BoxTree::build(&[], &[]);
    assert!(empty.is_empty());
    assert_eq!(empty.closest([0.0; 3], f32::INFINITY, ALL, None), None);
    assert_eq!(empty.ray([0.0; 3], [1.0, 0.0, 0.0], 1.0, ALL), None);
    let mut found = Vec::new();
    crossings(&empty, &tree, &mut found);
    self_crossings(&empty, &[], &mut found);
    assert!(found.is_empty());
}

#[test]
fn refit_equals_rebuild() {
    let (positions, triangles) = shapes::limb(4);
    let bent: Vec<[f32; 3]> = positions
        .iter()
        .map(|&[x, y, z]| {
            let turn = (y * 8.0).clamp(0.0, 2.6);
            [
                x * turn.cos() - y * turn.sin(),
                x * turn.sin() + y * turn.cos(),
                z,
            ]
        })
        .collect();
    let mut refitted = BoxTree::build(&positions, &triangles);
    refitted.refit(&bent);
    let rebuilt = BoxTree::build(&bent, &triangles);
    let mut random = Random::new(9);
    let (mut some, mut other) = (Vec::new(), Vec::new());
    for _ in 0..500 {
        let (point, direction) = (random.point(), random.point());
        let within = f32::INFINITY;
        assert_eq!(
            refitted.closest(point, within, ALL, None),
            rebuilt.closest(point, within, ALL, None)
        );
        refitted.ray_all(point, direction, 10.0, ALL, &mut some);
        rebuilt.ray_all(point, direction, 10.0, ALL, &mut other);
        assert_eq!(some, other);
    }
    let canonical = weld(&bent, TOLERANCE);
    let (mut some, mut other) = (Vec::new(), Vec::new());
    self_crossings(&refitted, &canonical, &mut some);
    self_crossings(&rebuilt, &canonical, &mut other);
    // The two triangles may be given in either order, which moves the ends by a rounding.
    let pairs = |found: &[Crossing]| found.iter().map(|c| (c.first, c.second)).collect::<Vec<_>>();
    assert_eq!(pairs(&some), pairs(&other));
    assert!(!some.is_empty(), "bent this far the limb runs into itself");
}

/// Plain plane-and-corner test in f64: t and how far from the nearest edge the ray passes, as a share.
fn meet(origin: [f32; 3], direction: [f32; 3], corners: Corners) -> Option<(f64, f64, bool)> {
    let (o, d) = (wide(origin), wide(direction));
    let [a, b, c] = corners.map(wide);
    let normal = triangle::area_vector(corners);
    let t = dot(normal, sub(a, o)) / dot(normal, d);
    let p: [f64; 3] = std::array::from_fn(|k| o[k] + t * d[k]);
    let share =
        |u, v| dot(crate::geometry::vector::cross(sub(v, u), sub(p, u)), normal) / dot(normal, normal);
    let least = share(a, b).min(share(b, c)).min(share(c, a));
    (t >= 0.0).then_some((t, least, dot(normal, d) < 0.0))
}

#[test]
fn rays_agree_with_all_triangles() {
    let mut random = Random::new(102);
    let mut hits = Vec::new();
    let mut compared = 0;
    for mesh in [shapes::soup(4, 700, 0.2), shapes::cube(), shapes::limb(4)] {
        let corners = all_corners(&mesh);
        let tags: Vec<u32> = (0..corners.len()).map(|_| 1 << random.below(2)).collect();
        let tree = BoxTree::build_tagged(&mesh.0, &mesh.1, &tags);
        for round in 0..700 {
            let (origin, mut direction) = (random.point(), random.point());
            if round % 5 == 0 {
                direction = [[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]][round / 5 % 3];
            }
            let mask = [ALL, 1, 2][round % 3];
            let max_t = 1.0;
            let met: Vec<(u32, f64, f64, bool)> = (0..corners.len())
                .filter(|&t| tags[t] & mask != 0)
                .filter_map(|t| meet(origin, direction, corners[t]).map(|m| (t as u32, m.0, m.1, m.2)))
                .filter(|m| m.1 < 1.0001)
                .collect();
            if met
                .iter()
                .any(|m| m.2.abs() < 1e-4 || (m.1 - 1.0).abs() < 1e-4 || m.1 < 1e-4)
            {
                continue; // too near an edge or an end to be told
            }
            let mut expected: Vec<_> = met.into_iter().filter(|m| m.2 > 0.0 && m.1 < 1.0).collect();
            expected.sort_by(|p, q| p.1.total_cmp(&q.1));
            tree.ray_all(origin, direction, max_t, mask, &mut hits);
            let mut numbers: Vec<u32> = hits.iter().map(|h| h.triangle).collect();
            numbers.sort_unstable();
            let mut wanted: Vec<u32> = expected.iter().map(|m| m.0).collect();
            wanted.sort_unstable();
            assert_eq!(numbers, wanted);
            for hit in &hits {
                let known = expected.iter().find(|m| m.0 == hit.triangle).unwrap();
                assert!((known.1 - f64::from(hit.t)).abs() < 1e-4);
                assert_eq!(known.3, hit.front);
            }
            assert!(hits.is_sorted_by_key(|h| h.t));
            let first = tree.ray(origin, direction, max_t, mask);
            assert_eq!(first.map(|h| h.t), hits.first().map(|h| h.t));
            assert_eq!(
                tree.ray_any(origin, direction, max_t, mask, None),
                !hits.is_empty()
            );
            let skip = hits.first().map(|h| h.triangle);
            assert_eq!(tree.ray_any(origin, direction, max_t, mask, skip), hits.len() > 1);
            compared += hits.len();
        }
    }
    assert!(compared > 500, "{compared}");
}

/// From inside a closed surface no ray gets out, not even one aimed at an edge or a vertex.
#[test]
fn nothing_slips_between_neighbours() {
    for (positions, triangles) in [shapes::cube(), shapes::sphere(4), shapes::limb(4)] {
        let tree = BoxTree::build(&positions, &triangles);
        let mut random = Random::new(103);
        let mut targets = positions.clone();
        for &[a, b, _] in &triangles {
            let share = random.share();
            let (a, b) = (positions[a as usize], positions[b as usize]);
            targets.push(std::array::from_fn(|k| a[k] + share * (b[k] - a[k])));
        }
        for origin in [[0.0; 3], [0.01, 0.02, -0.03], [0.05, 0.3, 0.04]] {
            for target in &targets {
                let direction = std::array::from_fn(|k| target[k] - origin[k]);
                assert!(
                    tree.ray_any(origin, direction, 4.0, ALL, None),
                    "{origin:?} {target:?}"
                );
            }
        }
    }
}

#[test]
fn crossings_agree_with_all_pairs() {
    let mut found = Vec::new();
    let mut ball = shapes::sphere(3);
    ball.0.iter_mut().for_each(|p| *p = p.map(|x| 0.25 * x));
    let cases = [
        (shapes::soup(20, 300, 0.2), shapes::soup(21, 250, 0.2)),
        (ball, shapes::limb(3)),
        (shapes::soup(22, 9, 0.8), shapes::soup(23, 1, 3.0)),
    ];
    for (one, two) in cases {
        let (first, second) = (all_corners(&one), all_corners(&two));
        crossings(
            &BoxTree::build(&one.0, &one.1),
            &BoxTree::build(&two.0, &two.1),
            &mut found,
        );
        let mut expected = Vec::new();
        for (a, p) in (0u32..).zip(&first) {
            for (b, q) in (0u32..).zip(&second) {
                if crossing(*p, *q).is_some() {
                    expected.push((a, b));
                }
            }
        }
        let pairs: Vec<(u32, u32)> = found.iter().map(|c| (c.first, c.second)).collect();
        assert!(!expected.is_empty());
        assert_eq!(pairs, expected);
    }
}

#[test]
fn self_crossings_agree_with_all_pairs() {
    let mut joined = shapes::limb(3);
    let (mut more, triangles) = shapes::sphere(2);
    let count = joined.0.len() as u32;
    more.iter_mut()
        .for_each(|p| *p = [p[0] * 0.3, p[1] * 0.3, p[2] * 0.3]);
    joined.0.extend(more);
    joined.1.extend(triangles.iter().map(|t| t.map(|v| v + count)));
    let mut found = Vec::new();
    for mesh in [shapes::soup(30, 300, 0.2), joined, shapes::cube()] {
        let corners = all_corners(&mesh);
        let canonical = weld(&mesh.0, TOLERANCE);
        self_crossings(&BoxTree::build(&mesh.0, &mesh.1), &canonical, &mut found);
        let mut expected = Vec::new();
        for a in 0..corners.len() {
            for b in a + 1..corners.len() {
                let share = mesh.1[a].iter().any(|v| mesh.1[b].contains(v));
                if !share && crossing(corners[a], corners[b]).is_some() {
                    expected.push((a as u32, b as u32));
                }
            }
        }
        let pairs: Vec<(u32, u32)> = found.iter().map(|c| (c.first, c.second)).collect();
        assert_eq!(pairs, expected);
    }
    assert!(found.is_empty(), "the cube was the last");
}
