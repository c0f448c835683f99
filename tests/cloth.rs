//! The measures of the cloth itself: closed forms on tubes, and whole garments against singular values by numpy
//! (`tests/reference/cloth.py`).

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    reason = "small counts"
)]

#[path = "support/rigs.rs"]
mod support;
#[path = "support/tube.rs"]
mod tube;

use gusset::contact::Scratch;
use gusset::fitting::{Dressed, Plan, Sequence, meet, run};
use gusset::measure::{self, At, findings};
use gusset::outcome::Verdict;
use gusset::rig::Local;
use gusset::wardrobe::{Outfit, dress};
use nalgebra::{Matrix4, Quaternion, UnitQuaternion, Vector3};
use serde_json::Value;
use std::f64::consts::TAU;
use std::path::Path;
use tube::{KNEE, LOWER, OTHER, ROUND, Tube, UPPER, Weights, moved};

/// A number at the edge, and where the measure is worst.
fn number(dressed: &Dressed, world: &[Matrix4<f64>], path: &str) -> f64 {
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let moment = meet(dressed, world, &mut scratch);
    let (measure, number) = measure::find(path).unwrap();
    let at = measure
        .numbers
        .iter()
        .position(|known| known.path == number.path)
        .unwrap();
    let value = (measure.take)(&moment).values[at].unwrap_or_else(|| panic!("{path} is not measured"));
    number.unit.to_edge(value)
}

fn near(found: f64, wanted: f64, what: &str) {
    assert!((found - wanted).abs() < 2e-4, "{what}: {found} is not {wanted}");
}

/// Half and half within 30 mm of the knee.
const HALVES: Weights = |y| {
    if (y - KNEE).abs() < 0.0301 {
        [0.5, 0.5]
    } else if y > KNEE {
        [1.0, 0.0]
    } else {
        [0.0, 1.0]
    }
};
/// From all to nothing over 120 mm round the knee.
const SLOPE: Weights = |y| {
    let upper = ((y - KNEE + 0.06) / 0.12).clamp(0.0, 1.0);
    [upper, 1.0 - upper]
};
const ALL_UPPER: Weights = |_| [1.0, 0.0];
const ALL_LOWER: Weights = |_| [0.0, 1.0];

fn sleeve(radius: f64, weights: Weights) -> Tube {
    Tube {
        radius,
        low: 0.29,
        high: 0.69,
        weights,
        bad: None,
        ..Tube::LEFT
    }
}

fn down(by: f64) -> Vec<Matrix4<f64>> {
    moved(&[(LOWER, Matrix4::new_translation(&Vector3::new(0.0, -by, 0.0)))])
}

/// `SOURCES` 5.1: a twist by t narrows the ring where half the weight turns to `cos(t / 2)`; so does a bend, across.
#[test]
fn limbs_narrow_as_the_closed_form_says() {
    let dressed = tube::dress(&[sleeve(0.06, HALVES)], &[&[sleeve(0.07, HALVES)]]);
    near(
        number(&dressed, &moved(&[]), "pinch.width_least"),
        1.0,
        "as built",
    );
    for (degrees, wanted) in [
        (60.0f64, 0.866_025),
        (90.0, std::f64::consts::FRAC_1_SQRT_2),
        (120.0, 0.5),
        (150.0, 0.258_819),
    ] {
        for axis in [Vector3::y_axis(), Vector3::x_axis()] {
            let turn = nalgebra::Rotation3::from_axis_angle(&axis, degrees.to_radians()).to_homogeneous();
            let world = moved(&[(LOWER, turn)]);
            near(
                number(&dressed, &world, "pinch.width_least"),
                wanted,
                &format!("{degrees} about {axis:?}"),
            );
        }
    }
}

/// Drawn out by a fifth along V over 120 mm of 400; the skin beneath is drawn out too, or it is not.
#[test]
fn a_pulled_sleeve() {
    let follows = tube::dress(&[sleeve(0.06, SLOPE)], &[&[sleeve(0.07, SLOPE)]]);
    let stays = tube::dress(&[sleeve(0.06, ALL_UPPER)], &[&[sleeve(0.07, SLOPE)]]);
    let world = down(0.024);
    for (path, wanted) in [
        ("stretch.raw.worst", 1.2),
        ("stretch.raw.p99", 1.2),
        ("stretch.u", 1.0),
        ("stretch.v", 1.2),
        ("stretch.shear_deg", 0.0),
        ("stretch.beyond_skin.p99", 1.0),
        ("squeeze.raw.p99", 1.0),
        ("texture_drift.density_p99", 1.2f64.sqrt()),
        ("texture_drift.anisotropy_p99", 1.2),
        // L2(T)² is (1.2² + 1) / 2 on 120 mm that became 144, 1 on the other 280 (`SOURCES` 6.1).
        (
            "texture_drift.l2",
            ((1.22 * 0.144 + 0.28) / (0.144 + 0.28f64)).sqrt(),
        ),
        ("seam_gap.worst_mm", 0.0),
        ("pinch.flipped_cm2", 0.0),
        ("pinch.crease_mm", 0.0),
    ] {
        near(number(&follows, &world, path), wanted, path);
    }
    near(
        number(&stays, &world, "stretch.beyond_skin.p99"),
        1.2,
        "over skin that stays",
    );
}

#[test]
fn a_pressed_sleeve() {
    let follows = tube::dress(&[sleeve(0.06, SLOPE)], &[&[sleeve(0.07, SLOPE)]]);
    let stays = tube::dress(&[sleeve(0.06, ALL_UPPER)], &[&[sleeve(0.07, SLOPE)]]);
    let world = down(-0.024);
    for (path, wanted) in [
        ("squeeze.raw.worst", 0.8),
        ("squeeze.raw.p99", 0.8),
        ("squeeze.raw.p95", 0.8),
        ("squeeze.u", 1.0),
        ("squeeze.v", 0.8),
        ("squeeze.beyond_skin.p99", 1.0),
        ("stretch.raw.worst", 1.0),
        ("texture_drift.density_p99", 1.0),
        ("texture_drift.pressed_p99", 0.8f64.sqrt().recip()),
    ] {
        near(number(&follows, &world, path), wanted, path);
    }
    near(
        number(&stays, &world, "squeeze.beyond_skin.p99"),
        0.8,
        "over skin that stays",
    );
}

/// Two meshes sewn at the knee, one on each side of the joint: they part by as much as the joint moves.
#[test]
fn a_seam_between_two_meshes_opens() {
    let half = |low, high, weights| Tube {
        low,
        high,
        ..sleeve(0.07, weights)
    };
    let sewn = [half(KNEE, 0.69, ALL_UPPER), half(0.29, KNEE, ALL_LOWER)];
    let dressed = tube::dress(&[sleeve(0.06, HALVES)], &[&sewn]);
    near(
        number(&dressed, &moved(&[]), "seam_gap.worst_mm"),
        0.0,
        "as built",
    );
    near(
        number(&dressed, &down(0.003), "seam_gap.worst_mm"),
        3.0,
        "3 mm down",
    );
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let moment = meet(&dressed, &down(0.003), &mut scratch);
    let taken = (measure::find("seam_gap.worst_mm").unwrap().0.take)(&moment);
    let [(_, At::Vertex(vertex))] = taken.worst[..] else {
        panic!("no place: {:?}", taken.worst)
    };
    assert!((f64::from(dressed.layers[0].surface.positions[vertex][1]) - KNEE).abs() < 1e-6);
}

/// One vertex of a still sleeve is pulled away: the triangles that turn over are those whose normal turned, no joint
/// having turned.
#[test]
fn a_torn_vertex_turns_its_triangles_over() {
    let bad = Some((20, ROUND / 4));
    let torn = || Tube {
        bad,
        ..sleeve(0.07, ALL_UPPER)
    };
    let away = Matrix4::new_translation(&Vector3::new(0.0, 0.025, -0.02));
    let world = moved(&[(OTHER, away)]);
    let dressed = tube::dress(&[sleeve(0.06, ALL_UPPER)], &[&[torn()]]);
    let layer = &dressed.layers[0].surface;
    let middle = bad.map(|(ring, column)| ring * (ROUND + 1) + column).unwrap();
    let at = Vector3::from(rig_position(middle));
    let moved_vertex = layer
        .positions
        .iter()
        .position(|p| (Vector3::from(*p) - at).norm() < 1e-6)
        .unwrap();
    let mut wanted = 0.0;
    for corners in &layer.triangles {
        let built = corners.map(|v| Vector3::from(layer.positions[v as usize]).cast::<f64>());
        let mut now = built;
        for (corner, place) in corners.iter().zip(&mut now) {
            if *corner as usize == moved_vertex {
                *place += Vector3::new(0.0, 0.025, -0.02);
            }
        }
        let normal = |at: [Vector3<f64>; 3]| (at[1] - at[0]).cross(&(at[2] - at[0]));
        if normal(built).dot(&normal(now)) < 0.0 {
            wanted += normal(built).norm() / 2.0 * 1e4;
        }
    }
    assert!(wanted > 1.0, "{wanted} cm² turn over");
    near(number(&dressed, &world, "pinch.flipped_cm2"), wanted, "flipped");
    // It hangs over like a fold and shows its outer side.
    near(
        number(&dressed, &world, "pinch.flipped_seen_cm2"),
        0.0,
        "inner side of a fold",
    );
    near(
        number(&dressed, &moved(&[]), "pinch.flipped_cm2"),
        0.0,
        "as built",
    );

    // All weight on joints that turn as one: nothing is flipped, whichever way it then faces.
    let turn = nalgebra::Rotation3::from_axis_angle(&Vector3::x_axis(), 2.5).to_homogeneous();
    let sound = tube::dress(&[sleeve(0.06, ALL_UPPER)], &[&[sleeve(0.07, ALL_UPPER)]]);
    near(
        number(&sound, &moved(&[(UPPER, turn)]), "pinch.flipped_cm2"),
        0.0,
        "leg turned over",
    );
}

/// A hem turned up by 25 mm and 5 mm to the front: in front its inner side lies outside, behind it lies under the
/// sleeve. At least a third and at most two thirds of the round are clearly the one or the other.
#[test]
fn a_turned_up_hem_shows_its_inner_side_in_front() {
    let hem: Weights = |y| if y < 0.295 { [0.0, 1.0] } else { [1.0, 0.0] };
    let world = moved(&[(LOWER, Matrix4::new_translation(&Vector3::new(0.0, 0.025, 0.005)))]);
    let open = tube::dress(&[sleeve(0.06, ALL_UPPER)], &[&[sleeve(0.07, hem)]]);
    let band = 2.0 * ROUND as f64 * 0.07 * (TAU / ROUND as f64 / 2.0).sin() * 0.01 * 1e4;
    let flipped = number(&open, &world, "pinch.flipped_cm2");
    assert!((flipped - band).abs() < 1e-3, "{flipped} is not {band}");
    let seen = number(&open, &world, "pinch.flipped_seen_cm2");
    assert!(
        seen >= band / 3.0 && seen <= band * 2.0 / 3.0,
        "{seen} of {band} cm²"
    );
    let wide = Tube {
        radius: 0.15,
        low: -0.5,
        high: 1.5,
        weights: ALL_UPPER,
        bad: None,
        ..Tube::LEFT
    };
    let under = tube::dress(&[sleeve(0.06, ALL_UPPER)], &[&[sleeve(0.07, hem)], &[wide]]);
    near(
        number(&under, &world, "pinch.flipped_cm2"),
        band,
        "flipped under a skirt",
    );
    near(
        number(&under, &world, "pinch.flipped_seen_cm2"),
        0.0,
        "seen under a skirt",
    );
    // Skin that turns over with it is a fault of the body's.
    let both = tube::dress(&[sleeve(0.06, hem)], &[&[sleeve(0.07, hem)]]);
    near(
        number(&both, &world, "pinch.flipped_seen_cm2"),
        0.0,
        "with its skin",
    );
}

/// Where the tube's vertex of a number is built.
fn rig_position(vertex: usize) -> [f32; 3] {
    tube::rig(&[sleeve(0.07, ALL_UPPER)]).meshes[0].positions[vertex]
}

/// Folded by more than a right angle at the knee's ring, whose length is the tube's girth.
#[test]
fn a_crease_is_as_long_as_its_edge() {
    let half = Tube {
        low: KNEE - 0.01,
        ..sleeve(0.07, |y| if y > KNEE - 0.005 { [1.0, 0.0] } else { [0.0, 1.0] })
    };
    let dressed = tube::dress(&[sleeve(0.06, HALVES)], &[&[half]]);
    // The last ring is carried up past the knee's: its band hangs inside out over the rest.
    let world = down(-0.03);
    let girth = 2.0 * ROUND as f64 * 0.07 * (TAU / ROUND as f64 / 2.0).sin() * 1e3;
    let found = number(&dressed, &world, "pinch.crease_mm");
    assert!((found - girth).abs() < 0.01, "{found} is not {girth}");
}

/// What the rig page says of a garment: code, count.
fn found(dressed: &Dressed) -> Vec<(String, u64)> {
    findings::of_layer(&dressed.body, &dressed.layers[0])
        .into_iter()
        .map(|finding| (finding.code, finding.count))
        .collect()
}

fn count(found: &[(String, u64)], code: &str) -> Option<u64> {
    found.iter().find(|row| row.0 == code).map(|row| row.1)
}

#[test]
fn a_rig_says_what_is_odd_about_it() {
    let sound = found(&tube::dress(&[sleeve(0.06, SLOPE)], &[&[sleeve(0.07, SLOPE)]]));
    for code in [
        "weights_jump",
        "loose_parts",
        "degenerate_triangles",
        "influences_over_four",
        "texture_uneven",
        "joints_missing",
    ] {
        assert_eq!(count(&sound, code), None, "{code}");
    }

    // From one ring to the next the other joint takes over: along every edge between the two rings.
    let step: Weights = |y| if y > KNEE - 0.005 { [1.0, 0.0] } else { [0.0, 1.0] };
    let jumping = tube::dress(&[sleeve(0.06, SLOPE)], &[&[sleeve(0.07, step)]]);
    assert_eq!(count(&found(&jumping), "weights_jump"), Some(2 * ROUND as u64));
    // Where the skin jumps too, the garment must.
    let both = tube::dress(&[sleeve(0.06, step)], &[&[sleeve(0.07, step)]]);
    assert_eq!(count(&found(&both), "weights_jump"), None);

    let apart = Tube {
        low: 0.1,
        high: 0.2,
        ..sleeve(0.07, ALL_LOWER)
    };
    let two = tube::dress(&[sleeve(0.06, SLOPE)], &[&[sleeve(0.07, SLOPE), apart]]);
    assert_eq!(count(&found(&two), "loose_parts"), Some(2));

    // The print at twice its size on a quarter of the sleeve.
    let mut uneven = tube::rig(&[sleeve(0.07, SLOPE)]);
    for uv in &mut uneven.meshes[0].uvs.as_mut().unwrap()[..10 * (ROUND + 1)] {
        *uv = uv.map(|value| value / 2.0);
    }
    let uneven = tube::dress_rigs(tube::rig(&[sleeve(0.06, SLOPE)]), &[uneven]);
    let triangles = count(&found(&uneven), "texture_uneven").unwrap();
    assert!(triangles >= 9 * 2 * ROUND as u64, "{triangles}");

    // A garment that knows no lower leg, over one.
    let mut short = tube::rig(&[sleeve(0.07, ALL_UPPER)]);
    short.meshes[0].binds.truncate(UPPER + 1);
    let short = tube::dress_rigs(tube::rig(&[sleeve(0.06, SLOPE)]), &[short]);
    assert_eq!(count(&found(&short), "joints_missing"), Some(1));
}

#[test]
fn rigs_say_what_was_planted() {
    let Some(rigs) = support::rigs() else { return };
    let wear = |garment: &str| {
        dress(&Outfit {
            body: Some(rigs.join("bodies/mhr_body_average.glb")),
            garment: rigs.join(garment),
            ..Outfit::default()
        })
        .unwrap()
    };
    // 136 vertices: the planted patch and its mirror image, which lacks the weight.
    let bled = found(&wear("trousers/trousers_average_defect_bleed_L_to_R.glb"));
    assert!(count(&bled, "sides_not_mirrored").unwrap() > 100);
    for clean in ["build9", "build0"] {
        let clean = found(&wear(&format!("trousers/trousers_average_{clean}.glb")));
        for code in [
            "sides_not_mirrored",
            "weights_jump",
            "loose_parts",
            "texture_uneven",
        ] {
            assert_eq!(count(&clean, code), None, "{code}");
        }
    }
}

/// Clean garments through the whole library: nothing of the cloth itself is over a limit, in upright and seated poses.
#[test]
fn clean_garments_pass() {
    let Some(rigs) = support::rigs() else { return };
    for (body, garment) in [
        ("average", "average_build9"),
        ("average", "average_build9_thick"),
        ("slim", "slim_build9"),
    ] {
        let dressed = dress(&Outfit {
            body: Some(rigs.join(format!("bodies/mhr_body_{body}.glb"))),
            garment: rigs.join(format!("trousers/trousers_{garment}.glb")),
            ..Outfit::default()
        })
        .unwrap();
        let plan = Plan {
            sequences: gusset::pose::all().iter().map(Sequence::from).collect(),
            ..Plan::default()
        };
        let fitting = run(&dressed, &plan, &|| ());
        assert!(fitting.limits.contains_key("texture_drift.density_p99"));
        let over: Vec<&str> = fitting
            .reasons
            .iter()
            .filter(|reason| reason.weight == Verdict::Fail)
            .filter(|reason| {
                ["pinch", "seam_gap", "stretch", "texture_drift"]
                    .iter()
                    .any(|id| reason.what.starts_with(id))
            })
            .map(|reason| reason.say.as_str())
            .collect();
        assert!(over.is_empty(), "{garment}: {over:?}");
    }
}

#[test]
fn whole_garments_are_those_of_the_reference() {
    let Some(rigs) = support::rigs() else { return };
    let text = std::fs::read_to_string("tests/reference/cloth.json").unwrap();
    let reference: Value = serde_json::from_str(&text).unwrap();
    for row in reference["garments"].as_array().unwrap() {
        let (dressed, world) = posed(&rigs, row, &reference["rotations"]);
        let mut compared = 0;
        for (path, wanted) in row.as_object().unwrap() {
            let Some(wanted) = wanted.as_f64() else { continue };
            let found = number(&dressed, &world, path);
            // 1e-3 of the value: posed positions are kept in 32 bits, edges are some millimetres long.
            let off = (found - wanted).abs();
            assert!(
                off <= 1e-3 * wanted.abs().max(0.1),
                "{path} of {}: {found} is not {wanted}",
                row["garment"]
            );
            compared += 1;
        }
        assert_eq!(compared, 17);
    }
}

/// The average body in a row's garment, and its joints with some rotations replaced.
fn posed(rigs: &Path, row: &Value, rotations: &Value) -> (Dressed, Vec<Matrix4<f64>>) {
    let mut dressed = dress(&Outfit {
        body: Some(rigs.join("bodies/mhr_body_average.glb")),
        garment: rigs.join(row["garment"].as_str().unwrap()),
        ..Outfit::default()
    })
    .unwrap();
    for turned in rotations.as_array().unwrap() {
        let q: Vec<f64> = turned["rotation"]
            .as_array()
            .unwrap()
            .iter()
            .map(|value| value.as_f64().unwrap())
            .collect();
        let name = turned["name"].as_str().unwrap();
        let node = dressed
            .rig
            .nodes
            .iter_mut()
            .find(|node| node.name == name)
            .unwrap();
        let Local::Parts { rotation, .. } = &mut node.local else {
            panic!("a matrix node cannot be turned")
        };
        *rotation = UnitQuaternion::from_quaternion(Quaternion::new(q[3], q[0], q[1], q[2]));
    }
    let world = dressed.rig.rest_world();
    (dressed, world)
}

/// The reference looks at sixteen points of every triangle, the tool at its corners and its middle, each for a third of
/// the triangles round it: of these coarse triangles (10 cm² at most) areas agree within 8 % or 3 cm², depths within
/// what lies between samples.
#[test]
fn room_is_as_libigl_finds_it() {
    let Some(rigs) = support::rigs() else { return };
    let text = std::fs::read_to_string("tests/reference/room.json").unwrap();
    let reference: Value = serde_json::from_str(&text).unwrap();
    let rows = reference["rows"].as_array().unwrap();
    for row in rows {
        let pose = row["pose"].as_str().unwrap();
        let (dressed, world) = posed(&rigs, row, &reference["poses"][pose]);
        for (path, wanted) in row.as_object().unwrap() {
            let Some(wanted) = wanted.as_f64().filter(|_| path != "compared") else {
                continue;
            };
            let found = number(&dressed, &world, path);
            let bound = match path.as_str() {
                "ease.median_mm" => 0.2,
                "dip.p99_mm" | "buried.depth_mm" => 0.25,
                _ => (0.08 * wanted).max(3.0),
            };
            assert!(
                (found - wanted).abs() <= bound,
                "{path} of {} in {pose}: {found} is not {wanted}",
                row["garment"]
            );
        }
    }
}
