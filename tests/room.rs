//! Room between skin and cloth, skin that comes out and cloth that goes under: closed forms on round things.
//!
//! Cylinders of n sides, spheres and the capsule after `SOURCES` 7 (elementary geometry, its digits re-evaluated there).
//! A tube of radius R whose axis is shifted by e lies at `sqrt(R² + e² + 2 R e cos t)` from the old axis.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    reason = "small counts"
)]

#[path = "support/tube.rs"]
mod tube;

use gusset::contact::{Samples, Scratch};
use gusset::fitting::{Dressed, meet};
use gusset::geometry::box_tree::{ALL, BoxTree};
use gusset::geometry::pseudo_normal::PseudoNormals;
use gusset::geometry::signed::clearance;
use gusset::geometry::topology::Topology;
use gusset::geometry::winding::{Winding, exact};
use gusset::measure;
use nalgebra::{Matrix4, Vector3};
use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};
use tube::{LOWER, OTHER, ROUND, Tube, UPPER, moved};

const SKIN: f64 = 0.08;
const CLOTH: f64 = 0.09;
/// Length of the cloth; the skin goes on beyond both hems.
const LONG: f64 = 0.40;

fn sleeve() -> Dressed {
    let skin = Tube {
        radius: SKIN,
        low: 0.19,
        high: 0.79,
        ..Tube::LEFT
    };
    let cloth = Tube {
        radius: CLOTH,
        carried_by: [OTHER, LOWER],
        ..Tube::LEFT
    };
    assert_eq!(skin.carried_by[0], UPPER);
    tube::dress(&[skin], &[&[cloth]])
}

/// Every number with the cloth shifted by `e` metres, in edge units.
fn shifted(dressed: &Dressed, e: f64) -> BTreeMap<String, f64> {
    let by = Matrix4::new_translation(&Vector3::new(e, 0.0, 0.0));
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let world = moved(&[(OTHER, by)]);
    let moment = meet(dressed, &world, &mut scratch);
    let mut found = BTreeMap::new();
    for measure in measure::taken(false) {
        let taken = (measure.take)(&moment);
        for (number, value) in measure.numbers.iter().zip(&taken.values) {
            if let Some(value) = value {
                found.insert(measure.path(number), number.unit.to_edge(*value));
            }
        }
    }
    found
}

fn near(found: f64, wanted: f64, off: f64, what: &str) {
    assert!((found - wanted).abs() <= off, "{what}: {found} is not {wanted}");
}

/// Half the angle over which a circle of radius `of`, shifted by `e`, is further than `from` from the middle.
fn beyond(of: f64, from: f64, e: f64) -> f64 {
    ((from * from - of * of - e * e) / (2.0 * of * e)).acos()
}

/// Thirty-two sides, each over its own: 9.9518 mm (`SOURCES` 7, concentric cylinders).
#[test]
fn room_between_cylinders() {
    assert_eq!(ROUND, 32);
    let found = shifted(&sleeve(), 0.0);
    near(found["ease.least_mm"], 9.9518, 1e-3, "least");
    near(found["ease.most_mm"], 10.0, 1e-3, "most, from corner to corner");
    near(found["dip.worst_mm"], 0.0, 1e-3, "nothing is lost");
    assert_eq!(found["lift.area_cm2"], 0.0);
}

/// Off the middle by e: least room R2 - R1 - e; it stands off by more than 3 mm over an arc.
#[test]
fn room_off_the_middle() {
    let e = 0.005;
    let found = shifted(&sleeve(), e);
    near(found["ease.least_mm"], (CLOTH - SKIN - e) * 1e3, 0.05, "least");
    near(found["ease.most_mm"], (CLOTH - SKIN + e) * 1e3, 0.01, "most");
    near(found["lift.worst_mm"], e * 1e3, 0.01, "stands off");
    // Cloth that hung further off than usual may come as near as the rest: half a sagitta is left out of the loss.
    near(found["dip.worst_mm"], e * 1e3, 0.05, "lost");
    near(
        found["dip.p99_mm"],
        e * 1e3 * (0.01 * PI).cos(),
        0.05,
        "lost but for a hundredth",
    );
    let area = 2.0 * beyond(CLOTH, CLOTH + 0.003, e) * CLOTH * LONG * 1e4;
    // Each end of the arc is known to half a side.
    let side = TAU * CLOTH / ROUND as f64 * LONG * 1e4;
    near(found["lift.area_cm2"], area, side, "area that stands off");
}

/// Further off than there is room: depth e - (R2 - R1), on both sides of the cloth.
#[test]
fn skin_that_comes_out_and_cloth_that_goes_under() {
    let e = 0.016;
    let found = shifted(&sleeve(), e);
    let depth = (e - (CLOTH - SKIN)) * 1e3;
    near(found["skin_shows.inner.depth_mm"], depth, 0.1, "skin's depth");
    near(found["buried.depth_mm"], depth, 0.1, "cloth's depth");
    // Of skin that lay under cloth, by 20 mm from both hems, more than 0.2 mm outside.
    let out = 2.0 * beyond(SKIN, CLOTH + 0.0002, e) * SKIN;
    let inner = out * (LONG - 0.04) * 1e4;
    near(
        found["skin_shows.inner.area_cm2"],
        inner,
        0.05 * inner,
        "skin in sight",
    );
    let edge = out * 0.04 * 1e4;
    near(
        found["skin_shows.edge.area_cm2"],
        edge,
        0.15 * edge,
        "skin beside the hems",
    );
    let under = 2.0 * (PI - beyond(CLOTH, SKIN, e)) * CLOTH * LONG * 1e4;
    near(
        found["buried.area_cm2"],
        under,
        0.05 * under,
        "cloth under the skin",
    );
    let over_3mm = 2.0 * beyond(SKIN, CLOTH + 0.003, e) * SKIN * LONG * 1e4;
    near(
        found["skin_shows.anywhere.over_3mm_cm2"],
        over_3mm,
        0.08 * over_3mm,
        "skin out by more than 3 mm",
    );
}

/// A ball of 5,120 or more triangles: an icosahedron, each triangle in four so many times.
fn ball(radius: f64, middle: [f64; 3], times: usize) -> (Vec<[f32; 3]>, Vec<[u32; 3]>) {
    let golden = (1.0 + 5.0_f64.sqrt()) / 2.0;
    let mut points: Vec<Vector3<f64>> = Vec::new();
    for [a, b] in [[1.0, golden], [1.0, -golden], [-1.0, golden], [-1.0, -golden]] {
        points.extend([
            Vector3::new(0.0, a, b),
            Vector3::new(a, b, 0.0),
            Vector3::new(b, 0.0, a),
        ]);
    }
    let side = 2.0;
    let mut triangles = Vec::new();
    for a in 0..12u32 {
        for b in a + 1..12 {
            for c in b + 1..12 {
                let [p, q, r] = [a, b, c].map(|corner| points[corner as usize]);
                let sides = [(p - q).norm(), (q - r).norm(), (r - p).norm()];
                if sides.iter().all(|length| (length - side).abs() < 1e-9) {
                    let outward = (q - p).cross(&(r - p)).dot(&p) > 0.0;
                    triangles.push(if outward { [a, b, c] } else { [a, c, b] });
                }
            }
        }
    }
    assert_eq!(triangles.len(), 20);
    for _ in 0..times {
        let mut middles: BTreeMap<[u32; 2], u32> = BTreeMap::new();
        let mut finer = Vec::new();
        for [a, b, c] in triangles {
            let [ab, bc, ca] = [[a, b], [b, c], [c, a]].map(|[p, q]| {
                *middles.entry([p.min(q), p.max(q)]).or_insert_with(|| {
                    points.push(points[p as usize].normalize() + points[q as usize].normalize());
                    points.len() as u32 - 1
                })
            });
            finer.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
        }
        triangles = finer;
    }
    let place = |point: &Vector3<f64>| {
        let at = point.normalize() * radius + Vector3::from(middle);
        [at.x as f32, at.y as f32, at.z as f32]
    };
    (points.iter().map(place).collect(), triangles)
}

/// Equal spheres, R = 0.1, 0.18 apart: 20 mm deep, a twentieth of each inside the other, 6.073746e-5 m³ in common
/// (`SOURCES` 7).
#[test]
fn a_ball_in_a_ball() {
    let (skin, skin_triangles) = ball(0.1, [0.0; 3], 5);
    let (cloth, cloth_triangles) = ball(0.1, [0.18, 0.0, 0.0], 5);
    assert_eq!(skin.len(), 10_242);
    let tree = BoxTree::build(&skin, &skin_triangles);
    let topology = Topology::new(&skin_triangles, &(0..skin.len() as u32).collect::<Vec<u32>>());
    let normals = PseudoNormals::new(&topology, &skin);
    let winding = Winding::build(&tree);
    let samples = Samples::new(&cloth, &cloth_triangles, f64::INFINITY, |_| true);
    let (mut inside, mut all, mut deepest) = (0.0, 0.0, 0.0_f32);
    for point in 0..samples.len() {
        let at = samples.position(point, &cloth, &cloth_triangles);
        all += samples.area[point];
        let nearest = tree.closest(at, f32::INFINITY, ALL, None).unwrap();
        let room = clearance(at, &nearest, &normals);
        let within = winding.at(&tree, at) > 0.5;
        assert!(within == (room < 0.0) || room.abs() < 1e-5, "{at:?}: {room}");
        if within {
            inside += samples.area[point];
            deepest = deepest.max(-room);
        }
    }
    // The mesh's own corners: 0.019995 (`SOURCES` 7, mesh check of this row).
    near(f64::from(deepest), 0.019_995, 2e-5, "deepest");
    near(inside / all, 0.05, 0.001, "share inside");
}

/// Area 0.281486702 m² of a capsule of radius 0.08 and length 0.4 (`SOURCES` 7), inscribed with many sides.
#[test]
fn a_capsule_has_its_area() {
    let (radius, long, around, rings) = (0.08, 0.4, 256usize, 128usize);
    let mut points: Vec<[f32; 3]> = Vec::new();
    for ring in 0..=rings {
        // Half the rings on each cap, the middle one twice.
        let tilt = PI * ring as f64 / rings as f64;
        let caps: &[f64] = if 2 * ring == rings {
            &[0.5, -0.5]
        } else {
            &[if 2 * ring < rings { 0.5 } else { -0.5 }]
        };
        for cap in caps {
            for column in 0..around {
                let turn = TAU * column as f64 / around as f64;
                let out = radius * tilt.sin();
                let y = cap * long + radius * tilt.cos();
                points.push([(out * turn.cos()) as f32, y as f32, (-out * turn.sin()) as f32]);
            }
        }
    }
    let vertex = |ring: usize, column: usize| (ring * around + column % around) as u32;
    let mut triangles = Vec::new();
    for ring in 0..=rings {
        for column in 0..around {
            let [a, b] = [vertex(ring, column), vertex(ring, column + 1)];
            let [c, d] = [vertex(ring + 1, column), vertex(ring + 1, column + 1)];
            triangles.extend([[a, c, d], [a, d, b]]);
        }
    }
    let samples = Samples::new(&points, &triangles, 0.25e-4, |_| true);
    let area: f64 = samples.area.iter().sum();
    near(area, 0.281_486_702, 0.281_486_702 * 2e-4, "area");
    for (y, inside) in [(0.27, 1.0), (0.0, 1.0), (0.29, 0.0)] {
        near(
            exact([0.0, y, 0.0], &points, &triangles),
            inside,
            1e-6,
            "winding number",
        );
    }
}
