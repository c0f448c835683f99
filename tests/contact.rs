//! Skin that is laid bare, parts that meet and cloth that runs through itself: closed forms on tubes.
//!
//! Two parallel tubes of radius R whose axes are d apart cross along two straight lines; each has an arc of
//! `2 acos(d / 2R)` inside the other, at most `2R - d` deep (circle and circle, elementary geometry).

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/tube.rs"]
mod tube;

use gusset::contact::Scratch;
use gusset::fitting::{Dressed, meet};
use gusset::measure::{self, At};
use nalgebra::{Matrix4, Vector3};
use std::collections::BTreeMap;
use tube::{AXIS, LOWER, OTHER, Tube, UPPER, moved};

/// Node of the right shank: nothing of the right thigh's skin follows it.
const OTHER_LOWER: usize = OTHER + 1;
const SKIN: f64 = 0.06;
const CLOTH: f64 = 0.08;
const LONG: f64 = 0.40;

/// Every number of a frame in edge units, and every word.
fn numbers(dressed: &Dressed, world: &[Matrix4<f64>]) -> (BTreeMap<String, f64>, BTreeMap<String, String>) {
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let moment = meet(dressed, world, &mut scratch);
    let (mut numbers, mut words) = (BTreeMap::new(), BTreeMap::new());
    for measure in measure::ALL {
        let taken = (measure.take)(&moment);
        for (number, value) in measure.numbers.iter().zip(&taken.values) {
            if let Some(value) = value {
                numbers.insert(measure.path(number), number.unit.to_edge(*value));
            }
        }
        words.extend(
            taken
                .words
                .iter()
                .map(|(path, word)| (format!("{}.{path}", measure.id), (*word).to_owned())),
        );
    }
    (numbers, words)
}

fn by(x: f64, y: f64) -> Matrix4<f64> {
    Matrix4::new_translation(&Vector3::new(x, y, 0.0))
}

fn tube(radius: f64, axis: f64, node: usize) -> Tube {
    Tube {
        radius,
        axis,
        carried_by: [node, LOWER],
        low: 0.29,
        high: 0.29 + LONG,
        ..Tube::LEFT
    }
}

/// Both legs in cloth; the right one's cloth is carried by `right`.
fn two_legs(right: usize) -> Dressed {
    let skin = [tube(SKIN, AXIS, UPPER), tube(SKIN, -AXIS, OTHER)];
    let cloth = [tube(CLOTH, AXIS, UPPER), tube(CLOTH, -AXIS, right)];
    tube::dress(&skin, &[&cloth])
}

fn close(found: f64, wanted: f64, share: f64, what: &str) {
    assert!(
        (found - wanted).abs() <= share * wanted.abs(),
        "{what}: {found} is not {wanted}"
    );
}

/// Legs that come together until their cloth meets: the gap between the skins is less than the two eases.
#[test]
fn legs_without_room_cross_as_circles_do() {
    let dressed = two_legs(OTHER);
    let apart = 0.13;
    let (found, words) = numbers(&dressed, &moved(&[(OTHER, by(2.0 * AXIS - apart, 0.0))]));
    close(found["self_crossing.far_mm"], 2.0 * LONG * 1e3, 0.01, "curve");
    let depth = (2.0 * CLOTH - apart) * 1e3;
    close(found["part_contact.fabric.depth_mm"], depth, 0.03, "depth");
    let inside = 2.0 * LONG * CLOTH * 2.0 * (apart / (2.0 * CLOTH)).acos() * 1e4;
    // Samples are as fine as the tube's 32 columns: the arc is known to one column on either side.
    close(found["part_contact.fabric.area_cm2"], inside, 0.10, "area behind");
    assert_eq!(words["part_contact.fabric.class"], "no_room");
    close(
        found["part_contact.skin.depth_mm"],
        (SKIN + CLOTH - apart) * 1e3,
        0.03,
        "depth in the skin",
    );
    assert_eq!(words["part_contact.skin.class"], "no_room");
}

/// A curve that runs from border to border parts what went through: a short tube in a long one's side.
#[test]
fn a_curve_encloses_the_arc_that_went_through() {
    let skin = [tube(SKIN, AXIS, UPPER), tube(SKIN, -AXIS, OTHER)];
    let short = Tube {
        low: 0.345,
        high: 0.635,
        ..tube(CLOTH, AXIS, UPPER)
    };
    let dressed = tube::dress(&skin, &[&[short, tube(CLOTH, -AXIS, OTHER)]]);
    let apart = 0.13;
    let (found, _) = numbers(&dressed, &moved(&[(OTHER, by(2.0 * AXIS - apart, 0.0))]));
    let inside = 0.29 * CLOTH * 2.0 * (apart / (2.0 * CLOTH)).acos() * 1e4;
    close(found["self_crossing.far_mm"], 2.0 * 0.29 * 1e3, 0.01, "curve");
    // The long tube's own side of the curve is open: nothing is parted from it.
    close(found["self_crossing.area_cm2"], inside, 0.12, "area enclosed");
}

/// The skins stay where they are and the right leg's cloth alone is carried over: that is the garment's doing.
#[test]
fn cloth_that_leaves_its_leg_is_the_garments_doing() {
    let dressed = two_legs(OTHER_LOWER);
    let apart = 0.15;
    let (found, words) = numbers(&dressed, &moved(&[(OTHER_LOWER, by(2.0 * AXIS - apart, 0.0))]));
    close(
        found["part_contact.fabric.depth_mm"],
        (2.0 * CLOTH - apart) * 1e3,
        0.03,
        "depth",
    );
    assert_eq!(words["part_contact.fabric.class"], "garment");
    assert_eq!(
        found["part_contact.skin.depth_mm"], 0.0,
        "it does not reach the skin"
    );
    // Further over it goes into the left leg's skin.
    let apart = 0.12;
    let (found, words) = numbers(&dressed, &moved(&[(OTHER_LOWER, by(2.0 * AXIS - apart, 0.0))]));
    close(
        found["part_contact.skin.depth_mm"],
        (SKIN + CLOTH - apart) * 1e3,
        0.03,
        "depth in the skin",
    );
    assert_eq!(words["part_contact.skin.class"], "garment");
    let cosine = |own: f64, other: f64| (apart * apart + own * own - other * other) / (2.0 * apart * own);
    let inside = LONG * CLOTH * 2.0 * cosine(CLOTH, SKIN).acos() * 1e4;
    close(
        found["part_contact.skin.area_cm2"],
        inside,
        0.15,
        "area in the skin",
    );
}

/// Legs pushed into each other: nothing that a garment could do about that counts.
#[test]
fn where_the_body_overlaps_itself_nothing_is_the_garments() {
    let dressed = two_legs(OTHER);
    let (_, words) = numbers(&dressed, &moved(&[(OTHER, by(2.0 * AXIS - 0.105, 0.0))]));
    assert_eq!(words["part_contact.fabric.class"], "body_overlaps");
}

/// Legs where they were, and legs further apart.
#[test]
fn legs_apart_touch_nothing() {
    let dressed = two_legs(OTHER);
    for x in [0.0, -0.1] {
        let (found, words) = numbers(&dressed, &moved(&[(OTHER, by(x, 0.0))]));
        for path in [
            "part_contact.skin.depth_mm",
            "part_contact.fabric.depth_mm",
            "part_contact.fabric.area_cm2",
            "self_crossing.far_mm",
            "self_crossing.fold_mm",
            "self_crossing.area_cm2",
        ] {
            assert_eq!(found[path], 0.0, "{path} at {x}");
        }
        assert!(words.is_empty(), "{words:?}");
    }
}

/// Cloth that slides along a leg by s lays 2 pi r s of skin bare; its edge, 2 pi R long, draws back by s r / R.
#[test]
fn a_hem_that_slides_up_lays_bare_what_it_covered() {
    let skin = Tube {
        low: 0.10,
        high: 0.90,
        ..tube(SKIN, AXIS, UPPER)
    };
    let dressed = tube::dress(&[skin], &[&[tube(0.065, AXIS, OTHER)]]);
    let bare = |slide: f64| {
        let (found, _) = numbers(&dressed, &moved(&[(OTHER, by(0.0, slide))]));
        [
            "uncovered.edge.retreat_mm",
            "uncovered.inner.area_cm2",
            "uncovered.edge.area_cm2",
        ]
        .map(|path| found[path])
    };
    assert_eq!(bare(0.0), [0.0; 3]);
    let round = std::f64::consts::TAU * SKIN;
    let [retreat, inner, edge] = bare(0.015);
    // Rings of vertices are 10 mm apart and each triangle has a sample within: half a ring either way.
    close(edge, round * 0.015 * 1e4, 0.25, "band");
    close(
        retreat,
        edge * 100.0 / (std::f64::consts::TAU * 65.0),
        0.01,
        "retreat",
    );
    assert_eq!(inner, 0.0);
    let [_, inner, edge] = bare(0.060);
    close(edge, round * 0.020 * 1e4, 0.25, "band");
    close(inner, round * 0.040 * 1e4, 0.10, "beyond the band");
}

/// A sleeve beneath that moves sideways by s comes out of the one over it where `r^2 + s^2 + 2 r s cos(t) > R^2`.
#[test]
fn a_layer_beneath_shows_where_it_comes_out() {
    let skin = [tube(0.05, AXIS, UPPER)];
    let (inner, aside) = (0.07, 0.03);
    let garments: [&[Tube]; 2] = [&[tube(CLOTH, AXIS, UPPER)], &[tube(inner, AXIS, OTHER)]];
    let dressed = tube::dress(&skin, &garments);
    let (found, _) = numbers(&dressed, &moved(&[]));
    assert_eq!(found["layer_shows.inner.area_cm2"], 0.0);
    let (found, _) = numbers(&dressed, &moved(&[(OTHER, by(aside, 0.0))]));
    let turn = ((CLOTH * CLOTH - inner * inner - aside * aside) / (2.0 * inner * aside)).acos();
    let all = found["layer_shows.inner.area_cm2"] + found["layer_shows.edge.area_cm2"];
    close(all, LONG * inner * 2.0 * turn * 1e4, 0.08, "area");
    close(
        found["layer_shows.inner.depth_mm"],
        (inner + aside - CLOTH) * 1e3,
        0.05,
        "depth",
    );
    assert_eq!(
        found["skin_shows.inner.area_cm2"], 0.0,
        "the skin stays beneath both"
    );
    // It comes out on the side it moved to, and can be pointed at there.
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let world = moved(&[(OTHER, by(aside, 0.0))]);
    let moment = meet(&dressed, &world, &mut scratch);
    let (measure, _) = measure::find("layer_shows.inner.depth_mm").unwrap();
    let worst = (measure.take)(&moment).worst;
    let Some((_, At::Beneath(0, point))) = worst.iter().find(|(group, _)| *group == "inner") else {
        panic!("no place: {worst:?}");
    };
    let below = &dressed.beneath[0];
    let surface = &below.body.surface;
    let at = (below.over.skin.points).position(*point, &surface.positions, &surface.triangles);
    assert!((f64::from(at[0]) - AXIS - inner).abs() < 2e-3, "{at:?}");
}

/// Skin that the wearer hides cannot show; cloth that slides off it leaves a hole all the same.
#[test]
fn hidden_skin_cannot_show_but_can_be_laid_bare() {
    let skin = |hidden: bool| {
        let skin = Tube {
            low: 0.10,
            high: 0.90,
            ..tube(SKIN, AXIS, UPPER)
        };
        let mut rig = tube::rig(&[skin]);
        rig.meshes[0].hidden = vec![hidden; rig.meshes[0].positions.len()];
        rig
    };
    let cloth = || tube::rig(&[tube(0.065, AXIS, OTHER)]);
    let sideways = moved(&[(OTHER, by(0.02, 0.0))]);
    let up = moved(&[(OTHER, by(0.0, 0.06))]);
    let [drawn, hidden] = [false, true].map(|hidden| tube::dress_rigs(skin(hidden), &[cloth()]));
    assert!(numbers(&drawn, &sideways).0["skin_shows.inner.area_cm2"] > 100.0);
    assert_eq!(numbers(&hidden, &sideways).0["skin_shows.inner.area_cm2"], 0.0);
    let bare = "uncovered.inner.area_cm2";
    let (with, without) = (numbers(&drawn, &up).0[bare], numbers(&hidden, &up).0[bare]);
    assert!(with > 100.0);
    close(without, with, 0.01, "the same hole");
}

/// A shape key that grows a leg through its cloth, and the same key in the cloth that grows with it.
#[test]
fn a_morph_target_changes_the_shape_before_it_is_skinned() {
    let grown = |radius: f64, by: f64| {
        let mut rig = tube::rig(&[tube(radius, AXIS, UPPER)]);
        let mesh = &mut rig.meshes[0];
        #[allow(clippy::cast_possible_truncation, reason = "metres")]
        let out = |p: &[f32; 3]| [(p[0] - AXIS as f32) / radius as f32, 0.0, p[2] / radius as f32];
        let deltas = mesh.positions.iter().map(out).collect();
        let name = "thicker".to_owned();
        mesh.morphs.push(gusset::rig::Morph {
            name,
            deltas,
            weight: 0.0,
        });
        gusset::rig::morph::morph(&mut rig, &[("thicker".into(), by), ("other".into(), 1.0)]);
        rig
    };
    let ease = |body: f64, cloth: f64| {
        let dressed = tube::dress_rigs(grown(0.06, body), &[grown(0.07, cloth)]);
        numbers(&dressed, &moved(&[])).0["ease.median_mm"]
    };
    close(ease(0.0, 0.0), 10.0, 0.01, "as the files have it");
    close(ease(0.004, 0.0), 6.0, 0.02, "a thicker leg");
    close(ease(0.004, 0.004), 10.0, 0.01, "cloth that follows");
}
