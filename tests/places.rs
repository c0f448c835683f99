//! Every number that speaks against a garment can be pointed at: its place is in the result, lies on the surface it
//! names, is one of the places that are over, and is what the picture looks at.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gusset::contact::{Moment, Scratch};
use gusset::demo::{BodyShape, Fault, Kind, Pattern, body, garment, plant};
use gusset::fitting::{Dressed, Plan, Sequence, joints_at, meet, run};
use gusset::measure::{self, At};
use gusset::outcome::{Fitting, Place};
use gusset::pose;
use gusset::report::stills;
use gusset::rig::Rig;
use gusset::scenes;
use gusset::units::Unit;
use gusset::verdict::limits::Limits;
use gusset::wardrobe::dress_rigs;
use std::collections::BTreeSet;

/// A place is no further from the vertex it names than a triangle is long, torn ones too, metres.
const BESIDE: f64 = 0.10;
/// Positions in the result are as they were posed, metres.
const SAME: f64 = 1e-6;

fn plan() -> Plan {
    let poses =
        ["standing", "sitting", "squat", "side_split", "leg_back"].map(|name| pose::find(name).unwrap());
    Plan {
        sequences: poses.iter().map(Sequence::from).collect(),
        ..Plan::default()
    }
}

fn position(moment: &Moment, at: At) -> [f32; 3] {
    match at {
        At::Skin(point) => moment.skin_at(point),
        At::Fabric(point) => moment.fabric_at(point),
        At::Vertex(vertex) => moment.posed.positions[vertex],
        At::Triangle(triangle) => {
            let corners = moment.layer.surface.triangles[triangle];
            let at = corners.map(|corner| moment.posed.positions[corner as usize]);
            std::array::from_fn(|k| (at[0][k] + at[1][k] + at[2][k]) / 3.0)
        }
        At::Beneath(..) => panic!("nothing is worn beneath"),
    }
}

fn apart(place: &Place, position: [f32; 3]) -> f64 {
    let along = (0..3).map(|k| (place.position_m[k] - f64::from(position[k])).powi(2));
    along.sum::<f64>().sqrt()
}

/// What is wrong with the places of a run; the numbers that had one are added to `pointed`.
fn lost(dressed: &Dressed, fitting: &Fitting, pointed: &mut BTreeSet<String>) -> Vec<String> {
    let (plan, mut lost) = (plan(), Vec::new());
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    for (sequence, pose) in plan.sequences.iter().zip(&fitting.poses) {
        for (frame, result) in sequence.frames.iter().zip(&pose.frames) {
            let moment = meet(dressed, &joints_at(dressed, frame), &mut scratch);
            for (path, limits) in &fitting.limits {
                let Some(value) = result.measures.get(path) else {
                    continue;
                };
                let (measure, number) = measure::find(path).unwrap();
                let nothing = f64::from(u8::from(number.unit == Unit::Ratio));
                if value <= nothing {
                    continue;
                }
                let name = format!("{} {} {path} = {value}", pose.pose, result.frame);
                let Some(place) = result.place_of(path) else {
                    lost.push(format!("{name}: no place"));
                    continue;
                };
                pointed.insert(path.clone());
                let surface = match place.surface.as_str() {
                    "body" => (&dressed.body.surface, &moment.posed_body.positions),
                    _ => (&moment.layer.surface, &moment.posed.positions),
                };
                let vertex = surface
                    .0
                    .sources
                    .iter()
                    .position(|source| u64::from(source.1) == place.vertex);
                let near = vertex.is_some_and(|vertex| apart(place, surface.1[vertex]) < BESIDE);
                if place.region.is_empty() || !near {
                    lost.push(format!("{name}: {place:?}"));
                }
                let failing = measure
                    .failing
                    .as_ref()
                    .filter(|failing| measure.path(number) == format!("{}.{}", measure.id, failing.number));
                let over = limits.get(&pose.demand).is_some_and(|limit| value > *limit);
                if let (Some(failing), true) = (failing, over) {
                    let all = (failing.find)(&moment, limits[&pose.demand]);
                    if !all
                        .iter()
                        .any(|fault| apart(place, position(&moment, fault.at)) < SAME)
                    {
                        lost.push(format!("{name}: {place:?} is none of {} places over", all.len()));
                    }
                }
            }
        }
    }
    lost
}

/// Every reason of a pose that has a picture is what the picture looks at, and lies in both pictures.
fn unseen(dressed: &Dressed, fitting: &Fitting) -> Vec<String> {
    let mut unseen = Vec::new();
    for scene in scenes::of_fitting(dressed, &plan(), fitting, 0) {
        // A garment that passes is shown where it comes nearest to a limit.
        let pose = fitting.poses.iter().find(|pose| pose.pose == scene.pose).unwrap();
        let Some(place) = pose.frames[scene.frame].place_of(&scene.what) else {
            unseen.push(format!("{} {}: no place", scene.pose, scene.what));
            continue;
        };
        for still in stills::of_scene(&scene) {
            let eye = still.eye;
            let off: Vec<f64> = (0..3)
                .map(|k| place.position_m[k] - f64::from(eye.target[k]))
                .collect();
            let along: f64 = (0..3).map(|k| off[k] * f64::from(eye.toward[k])).sum();
            let across = (off.iter().map(|value| value * value).sum::<f64>() - along * along)
                .max(0.0)
                .sqrt();
            // The close-up has it in its middle.
            let most = if still.close { 0.5 } else { 1.0 } * f64::from(eye.half);
            if scene.focus.is_empty() || across > most {
                unseen.push(format!(
                    "{} {}: {across} m from the middle of {}",
                    scene.pose, still.what, eye.half
                ));
            }
        }
    }
    unseen
}

#[test]
fn every_number_can_be_pointed_at() {
    let shape = BodyShape::woman("wren");
    let wearer = body(&shape);
    let cut = |splay| {
        let pattern = Pattern::new("cloth", Kind::SlimTrousers).built_at(splay);
        garment(&wearer, &pattern).rig().clone()
    };
    let trousers = cut(9.0);
    let faults = [
        Fault::Bleed,
        Fault::Ripped,
        Fault::Climbing,
        Fault::Sunk,
        Fault::Uneven,
        Fault::Nailed,
    ];
    let spoilt = faults.map(|fault| plant(&trousers, fault));
    let mut worn: Vec<(Rig, Rig)> = (spoilt.into_iter().chain([cut(0.0)]))
        .map(|cloth| (wearer.rig(), cloth))
        .collect();
    // Thighs that meet, and more room than there is between them.
    let heavier = body(&BodyShape::man("wearer").heavier(1.0));
    let pattern = Pattern {
        ease: 0.014,
        ..Pattern::new("cloth", Kind::WideTrousers).built_at(11.7)
    };
    worn.push((heavier.rig(), garment(&heavier, &pattern).rig().clone()));
    let mut pointed = BTreeSet::new();
    for (wearer, cloth) in worn {
        let dressed = dress_rigs(wearer, cloth);
        let fitting = run(&dressed, &plan(), &|| ());
        let lost = lost(&dressed, &fitting, &mut pointed);
        assert!(lost.is_empty(), "{}", lost.join("\n"));
        let unseen = unseen(&dressed, &fitting);
        assert!(unseen.is_empty(), "{}", unseen.join("\n"));
    }
    // A layer beneath has its own test (`contact.rs`).
    let judged = Limits::defaults().most.into_keys();
    let never: Vec<String> = judged
        .filter(|path| !pointed.contains(path) && !path.starts_with("layer_shows"))
        .collect();
    assert!(never.is_empty(), "never more than nothing: {never:?}");
}
