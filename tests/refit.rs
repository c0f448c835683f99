//! Was a garment pulled evenly: shapes whose stretch is known.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::demo::{self, BodyShape, Kind, Pattern};
use gusset::refit::{cloth, refit};
use gusset::rig::surface::Surface;

fn trousers() -> Surface {
    let body = demo::body(&BodyShape::man("ash"));
    cloth(demo::garment(&body, &Pattern::new("work trousers", Kind::SlimTrousers)).rig())
}

fn changed(before: &Surface, change: impl Fn([f32; 3]) -> [f32; 3]) -> Surface {
    let mut after = before.clone();
    after.name = "after".into();
    after.positions.iter_mut().for_each(|p| *p = change(*p));
    after
}

/// A sheet pulled 1.2 along U: 1.2 along U, 1 along V, everywhere; one direction of a body of cloth likewise.
#[test]
fn one_direction_by_a_fifth() {
    let before = trousers();
    let after = changed(&before, |[x, y, z]| [x, y * 1.2, z]);
    let found = refit(&before, &after, None).unwrap();
    // Cloth that hangs straight down is pulled by the whole fifth; nothing by more.
    assert!((found.whole.most - 1.2).abs() < 1e-4, "{}", found.whole.most);
    assert!((found.whole.p99 - 1.2).abs() < 1e-3, "{}", found.whole.p99);
    assert!(found.whole.least_p01 > 0.999);

    let flat = changed(&before, |_| [0.0; 3]);
    let uvs = before.uvs.clone().unwrap();
    let sheet = |scale: f32| {
        let mut sheet = flat.clone();
        for (position, [u, v]) in sheet.positions.iter_mut().zip(&uvs) {
            *position = [u * scale, *v, 0.0];
        }
        sheet
    };
    let found = refit(&sheet(1.0), &sheet(1.2), None).unwrap();
    let (u, v) = (found.whole.u.unwrap(), found.whole.v.unwrap());
    assert!((u - 1.2).abs() < 1e-4 && (v - 1.0).abs() < 1e-4, "{u} {v}");
    assert!((found.whole.median - 1.2).abs() < 1e-3 && (found.whole.area_ratio - 1.2).abs() < 1e-4);
    assert!((found.whole.smear_p99.unwrap() - 1.2).abs() < 1e-3);
}

#[test]
fn moving_and_turning_is_no_pull_and_sides_are_told_apart() {
    let before = trousers();
    let still = refit(
        &before,
        &changed(&before, |[x, y, z]| [z + 0.3, y - 0.1, -x]),
        None,
    )
    .unwrap();
    assert!((still.whole.most - 1.0).abs() < 1e-3 && (still.whole.area_ratio - 1.0).abs() < 1e-4);
    let even = refit(&before, &changed(&before, |[x, y, z]| [x * 1.1, y, z]), None).unwrap();
    let sides = even.sides.unwrap();
    assert!(sides.paired_share > 0.9, "{}", sides.paired_share);
    assert!(
        sides.unlike_p99 < 0.02 && (sides.left - sides.right).abs() < 0.005,
        "{sides:?}"
    );
    let uneven = refit(
        &before,
        &changed(&before, |[x, y, z]| [if x > 0.0 { x * 1.3 } else { x }, y, z]),
        None,
    )
    .unwrap();
    let sides = uneven.sides.unwrap();
    assert!(
        sides.left > 1.1 && sides.right < 1.01 && sides.unlike_p99 > 0.2,
        "{sides:?}"
    );
}

#[test]
fn other_topology_is_refused_in_a_sentence() {
    let before = trousers();
    let mut after = before.clone();
    after.triangles[7].swap(0, 1);
    let said = refit(&before, &after, None).unwrap_err().to_string();
    assert!(said.contains("triangle 7"), "{said}");
    after.triangles.pop();
    assert!(
        refit(&before, &after, None)
            .unwrap_err()
            .to_string()
            .contains("triangles")
    );
}

#[test]
fn on_a_body_its_room_and_what_is_inside_are_told() {
    let Some(rigs) = support::rigs() else { return };
    let read = |file: &str| gusset::rig::gltf::read(&rigs.join(file), &Default::default()).unwrap();
    let before = cloth(&read("trousers/trousers_average_build9.glb"));
    let body = gusset::wardrobe::bare(&rigs.join("bodies/mhr_body_average.glb"), &Default::default())
        .unwrap()
        .body;
    let found = refit(&before, &before, Some(&body)).unwrap();
    let worn = found.worn.unwrap();
    assert!(
        (worn.ease_median_mm - 7.0).abs() < 0.5 && worn.inside_cm2 < 1.0,
        "{worn:?}"
    );
    assert!(found.regions.contains_key("crotch"), "{:?}", found.regions.keys());
    let slim = changed(&before, |[x, y, z]| [x * 0.8, y, z * 0.8]);
    let worn = refit(&before, &slim, Some(&body)).unwrap().worn.unwrap();
    assert!(worn.inside_cm2 > 500.0 && worn.inside_depth_mm > 5.0, "{worn:?}");
}

/// What the headline calls even is even everywhere: no place pulled, none pushed together, no print that smears.
#[test]
fn evenly_is_said_only_of_what_is_even_everywhere() {
    use gusset::scenes::refit::headline;
    let before = trousers();
    let told = |after: &Surface| headline(&refit(&before, after, None).unwrap());
    assert!(told(&before).starts_with("Pulled evenly"), "{}", told(&before));
    let squashed = changed(&before, |[x, y, z]| [x, y * 0.5, z]);
    assert!(
        told(&squashed).starts_with("Pushed together"),
        "{}",
        told(&squashed)
    );
    // One spot of the left thigh, too small to move the garment's own hundredth.
    let spot = |[x, y, z]: [f32; 3]| ((x - 0.12).powi(2) + (y - 0.6).powi(2)).sqrt() < 0.04 && z > 0.0;
    let pulled = changed(&before, |at| {
        if spot(at) {
            [at[0], at[1], at[2] + 0.03]
        } else {
            at
        }
    });
    assert!(!told(&pulled).starts_with("Pulled evenly"), "{}", told(&pulled));
}
