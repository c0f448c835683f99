//! Do mannequins and clothes keep what the demo promises of them?

use super::{BodyShape, Fault, Garment, Helpers, Kind, Mannequin, Pattern, body, garment, plant};
use crate::rig::{Mesh, Rig};
use std::collections::BTreeMap;

/// Coarse meshes: these tests run without optimisation.
const COARSE: f64 = 0.020;

fn crew() -> Vec<BodyShape> {
    vec![
        BodyShape::man("average man"),
        BodyShape::woman("average woman"),
        BodyShape::woman("slim").heavier(-1.0),
        BodyShape::man("heavy").heavier(1.5),
        BodyShape::man("tall").taller(0.14),
        BodyShape::child("child").meshed(0.017),
    ]
}

fn coarse(shape: BodyShape) -> Mannequin {
    let edge = shape.edge.max(COARSE * shape.stature / 1.75);
    body(&shape.meshed(edge))
}

fn sewn(of: &Mannequin, kind: Kind) -> Garment {
    garment(
        of,
        &Pattern {
            grain: 0.028,
            ..Pattern::new("cloth", kind)
        },
    )
}

/// Welded corners of a mesh: the same place, the same number.
fn welded(mesh: &Mesh) -> Vec<[usize; 3]> {
    let mut place = BTreeMap::new();
    let number: Vec<usize> = mesh
        .positions
        .iter()
        .map(|position| {
            let next = place.len();
            *place
                .entry(position.map(|value| (value + 0.0).to_bits()))
                .or_insert(next)
        })
        .collect();
    mesh.triangles
        .iter()
        .map(|triangle| triangle.map(|vertex| number[vertex as usize]))
        .collect()
}

/// How often each directed edge occurs.
fn directed(triangles: &[[usize; 3]]) -> BTreeMap<(usize, usize), usize> {
    let mut edges = BTreeMap::new();
    for triangle in triangles {
        for corner in 0..3 {
            *edges
                .entry((triangle[corner], triangle[(corner + 1) % 3]))
                .or_default() += 1;
        }
    }
    edges
}

fn euler(triangles: &[[usize; 3]]) -> i64 {
    let corners: std::collections::BTreeSet<usize> = triangles.iter().flatten().copied().collect();
    let edges: std::collections::BTreeSet<(usize, usize)> = directed(triangles)
        .into_keys()
        .map(|(a, b)| (a.min(b), a.max(b)))
        .collect();
    corners.len() as i64 - edges.len() as i64 + triangles.len() as i64
}

/// Volume enclosed, positive where the faces point outward.
fn volume(mesh: &Mesh) -> f64 {
    let at = |vertex: u32| nalgebra::Vector3::from(mesh.positions[vertex as usize].map(f64::from));
    mesh.triangles
        .iter()
        .map(|t| at(t[0]).dot(&at(t[1]).cross(&at(t[2]))) / 6.0)
        .sum()
}

fn assert_rows_are_sound(rig: &Rig) {
    for mesh in &rig.meshes {
        assert_eq!(mesh.rows.len(), mesh.positions.len());
        for vertex in 0..mesh.positions.len() {
            let row: Vec<(usize, f32)> = mesh.rows.row(vertex).collect();
            assert!((1..=4).contains(&row.len()));
            assert!(
                row.iter()
                    .all(|(joint, weight)| *weight > 0.0 && *joint < mesh.binds.len())
            );
            assert_eq!(row.iter().map(|(_, weight)| weight).sum::<f32>(), 1.0);
        }
    }
}

/// Every vertex has a twin at the mirrored place whose weights are the mirrored ones.
fn assert_mirrored(rig: &Rig) {
    let mesh = &rig.meshes[0];
    let name = |joint: usize| rig.nodes[mesh.binds[joint].node].name.clone();
    let other = |name: String| match (name.strip_prefix("left"), name.strip_prefix("right")) {
        (Some(rest), _) => format!("right{rest}"),
        (_, Some(rest)) => format!("left{rest}"),
        _ => name,
    };
    let key = |x: f32, position: &[f32; 3]| [x + 0.0, position[1], position[2]].map(f32::to_bits);
    let row = |vertex: usize| {
        mesh.rows
            .row(vertex)
            .map(|(joint, weight)| (name(joint), weight))
            .collect::<Vec<_>>()
    };
    let mut places: BTreeMap<[u32; 3], Vec<(String, f32)>> = BTreeMap::new();
    for (vertex, position) in mesh.positions.iter().enumerate() {
        let mut row = row(vertex);
        row.sort_by(|a, b| a.0.cmp(&b.0));
        places.insert(key(position[0], position), row);
    }
    for (vertex, position) in mesh.positions.iter().enumerate() {
        let mut mine: Vec<_> = row(vertex)
            .into_iter()
            .map(|(joint, weight)| (other(joint), weight))
            .collect();
        mine.sort_by(|a, b| a.0.cmp(&b.0));
        let twin = places
            .get(&key(-position[0], position))
            .expect("a vertex at the mirrored place");
        assert_eq!(&mine, twin, "vertex {vertex} at {position:?}");
    }
}

#[test]
fn bodies_are_closed_spheres_of_the_asked_girths() {
    for shape in crew() {
        let name = shape.name.clone();
        let made = coarse(shape);
        let rig = made.rig();
        let triangles = welded(&rig.meshes[0]);
        let edges = directed(&triangles);
        let wrong = edges
            .iter()
            .find(|((a, b), count)| **count != 1 || !edges.contains_key(&(*b, *a)));
        let place = wrong.map(|((a, _), count)| (count, rig.meshes[0].positions[*a]));
        assert_eq!(place, None, "{name} is open");
        assert_eq!(euler(&triangles), 2, "{name}");
        assert!(volume(&rig.meshes[0]) > 0.02, "{name} is inside out");
        for (slot, (read, asked)) in made
            .girths()
            .all()
            .into_iter()
            .zip(made.shape.girths.all())
            .enumerate()
        {
            assert!(
                (read / asked - 1.0).abs() < 0.03,
                "{name}: girth {slot} is {read:.3}, not {asked:.3}"
            );
        }
        assert_rows_are_sound(&rig);
        assert_mirrored(&rig);
    }
}

#[test]
fn stature_and_crotch_come_out_as_published() {
    for (shape, crotch) in [(BodyShape::man("man"), 0.482), (BodyShape::woman("woman"), 0.480)] {
        let made = coarse(BodyShape {
            hip_splay: 0.0,
            ..shape
        });
        let top = made.positions().iter().map(|p| p[1]).fold(f32::MIN, f32::max);
        let low = made.positions().iter().map(|p| p[1]).fold(f32::MAX, f32::min);
        assert!(
            (f64::from(top - low) / made.shape.stature - 1.0).abs() < 0.02,
            "{top} {low}"
        );
        let middle = made
            .positions()
            .into_iter()
            .filter(|p| p[0] == 0.0 && f64::from(p[1]) < 0.6 * made.shape.stature);
        let fork = f64::from(middle.map(|p| p[1]).fold(f32::MAX, f32::min)) / made.shape.stature;
        assert!(
            (fork / crotch - 1.0).abs() < 0.05,
            "crotch at {fork:.3} of stature"
        );
    }
}

#[test]
fn clothes_are_sewn_whole_and_mirror() {
    let woman = coarse(BodyShape::woman("woman"));
    // two hems and a waist or neckline: a sphere with three holes; the skirt has two; a lined jacket is closed
    let kinds = [
        (Kind::Leggings, -1),
        (Kind::SlimTrousers, -1),
        (Kind::WideTrousers, -1),
        (Kind::Skirt, 0),
        (Kind::Tunic, -2),
        (Kind::Jacket, -4),
    ];
    for (kind, holes) in kinds {
        let cloth = sewn(&woman, kind);
        let triangles = welded(&cloth.rig().meshes[0]);
        let edges = directed(&triangles);
        assert!(
            edges.values().all(|count| *count == 1),
            "{kind:?} has an edge used twice in one direction"
        );
        let open = edges
            .keys()
            .filter(|(a, b)| !edges.contains_key(&(*b, *a)))
            .count();
        assert_eq!(open == 0, kind == Kind::Jacket, "{kind:?} has {open} open edges");
        assert_eq!(euler(&triangles), holes, "{kind:?}");
        assert_rows_are_sound(cloth.rig());
        assert_mirrored(cloth.rig());
    }
}

#[test]
fn clothes_lie_outside_the_skin_they_were_made_on() {
    let man = coarse(BodyShape::man("man"));
    for kind in [
        Kind::Leggings,
        Kind::SlimTrousers,
        Kind::WideTrousers,
        Kind::Skirt,
        Kind::Tunic,
        Kind::Jacket,
    ] {
        let usual = Pattern::new("cloth", kind).ease;
        for (degrees, ease) in [(0.0, usual), (12.0, usual), (0.0, 0.0015), (8.0, 0.030)] {
            let pattern = Pattern {
                grain: 0.018,
                ease,
                ..Pattern::new("cloth", kind)
            }
            .built_at(degrees);
            let posed = man
                .surface
                .clone()
                .with_turn(pattern.build_splay - man.shape.hip_splay);
            let cloth = garment(&man, &pattern);
            let gap = |position: &[f32; 3]| posed.distance(&nalgebra::Vector3::from(position.map(f64::from)));
            let positions = cloth.rig().meshes[0].positions.iter();
            let (least, place) = positions
                .map(|p| (gap(p), p))
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .expect("vertices");
            assert!(
                least > 0.0,
                "{kind:?} at {degrees}, ease {ease}: {:.2} mm at {place:?}",
                least * 1e3
            );
        }
    }
}

#[test]
fn the_same_again_gives_the_same() {
    let first = coarse(BodyShape::woman("woman"));
    let again = coarse(BodyShape::woman("woman"));
    assert_eq!(first.rig(), again.rig());
    assert_eq!(sewn(&first, Kind::Tunic).rig(), sewn(&again, Kind::Tunic).rig());
}

#[test]
fn thighs_nearly_meet_and_stay_apart() {
    let made = coarse(BodyShape {
        hip_splay: 0.0,
        ..BodyShape::man("heavy").heavier(1.0)
    });
    let joints = made.shape.joints();
    let low = joints.lower_leg.y + 0.35 * (joints.upper_leg.y - joints.lower_leg.y);
    let inner = made.positions().into_iter().filter(|p| {
        let height = f64::from(p[1]);
        p[0] > 0.0 && height > low && height < 0.45 * made.shape.stature
    });
    let gap = inner.map(|p| p[0]).fold(f32::MAX, f32::min);
    assert!(gap > 0.0 && gap < 0.006, "{gap}");
}

/// A cut pattern lies flat: no triangle of it is turned over, and nothing lies on anything else.
#[test]
fn the_flat_pattern_has_no_fold_and_no_overlap() {
    const SIDE: usize = 1200;
    let wearer = coarse(BodyShape::man("man"));
    for kind in [
        Kind::SlimTrousers,
        Kind::WideTrousers,
        Kind::Skirt,
        Kind::Tunic,
        Kind::Jacket,
    ] {
        for lined in [false, true] {
            let pattern = Pattern {
                grain: 0.028,
                lined,
                ..Pattern::new("cloth", kind)
            };
            let garment = garment(&wearer, &pattern);
            let mesh = &garment.rig().meshes[0];
            let uvs = mesh.uvs.as_ref().unwrap();
            let mut owner = vec![false; SIDE * SIDE];
            let (mut turned, mut signs) = ([0usize; 2], 0.0);
            let mut twice = 0usize;
            for triangle in &mesh.triangles {
                let [a, b, c] = triangle.map(|corner| uvs[corner as usize].map(f64::from));
                let side = |p: [f64; 2], q: [f64; 2], at: [f64; 2]| {
                    (q[0] - p[0]) * (at[1] - p[1]) - (q[1] - p[1]) * (at[0] - p[0])
                };
                let area = side(a, b, c);
                signs += area;
                turned[usize::from(area > 1e-12)] += usize::from(area.abs() > 1e-12);
                let pixels = |axis: usize| {
                    let values = [a[axis], b[axis], c[axis]].map(|value| value * SIDE as f64);
                    let low = values.into_iter().fold(f64::INFINITY, f64::min).floor() as usize;
                    let high = values.into_iter().fold(0.0, f64::max).ceil() as usize;
                    low..high.min(SIDE)
                };
                for row in pixels(1) {
                    for column in pixels(0) {
                        let at = [column, row].map(|index| (index as f64 + 0.5) / SIDE as f64);
                        let sides = [side(a, b, at), side(b, c, at), side(c, a, at)];
                        if sides.iter().all(|value| *value > 1e-12)
                            || sides.iter().all(|value| *value < -1e-12)
                        {
                            twice += usize::from(owner[row * SIDE + column]);
                            owner[row * SIDE + column] = true;
                        }
                    }
                }
            }
            let all = owner.iter().filter(|owned| **owned).count();
            assert!(all > SIDE * SIDE / 5, "{kind:?}: an empty pattern");
            assert_eq!(
                turned[usize::from(signs < 0.0)],
                0,
                "{kind:?}, lined {lined}: turned over"
            );
            assert!(
                twice * 2000 < all,
                "{kind:?}, lined {lined}: {twice} of {all} pixels lie on others"
            );
        }
    }
}

/// With the legs bound close together a tape round one thigh has the other within reach.
#[test]
fn girths_hold_at_every_hip_splay() {
    for splay in [0.0_f64, 3.0, 12.0] {
        for shape in [BodyShape::man("man"), BodyShape::man("heavy").heavier(1.5)] {
            let made = coarse(BodyShape {
                hip_splay: splay.to_radians(),
                ..shape
            });
            for (read, asked) in made.girths().all().into_iter().zip(made.shape.girths.all()) {
                assert!(
                    (read / asked - 1.0).abs() < 0.03,
                    "{} at {splay}: {read:.3}, not {asked:.3}",
                    made.shape.name
                );
            }
        }
    }
}

#[test]
fn twist_helpers_ride_on_their_limbs() {
    let made = coarse(BodyShape {
        helpers: Helpers::Twist,
        ..BodyShape::woman("woman")
    });
    let rig = made.rig();
    let twists = rig
        .nodes
        .iter()
        .filter(|node| node.name.ends_with("Twist"))
        .count();
    assert_eq!(twists, 6);
    let mesh = &rig.meshes[0];
    let used = (0..mesh.positions.len())
        .flat_map(|vertex| mesh.rows.row(vertex).collect::<Vec<_>>())
        .any(|(joint, _)| rig.nodes[mesh.binds[joint].node].name == "leftLowerArmTwist");
    assert!(used, "the helper moves no skin");
    assert_rows_are_sound(&rig);
    assert_mirrored(&rig);
}

#[test]
fn every_fault_changes_the_rig() {
    let woman = coarse(BodyShape::woman("woman"));
    let clean = sewn(&woman, Kind::SlimTrousers);
    for fault in Fault::ALL {
        assert_ne!(&plant(clean.rig(), fault), clean.rig(), "{}", fault.name());
    }
}
