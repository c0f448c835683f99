//! The same garment on the same body, written another way, gets the same numbers.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/changes.rs"]
mod changes;
#[path = "support/rigs.rs"]
mod support;

use gusset::contact::Scratch;
use gusset::demo::{BodyShape, Fault, Kind, Pattern, body, garment, plant};
use gusset::fitting::{Dressed, Frame, Sequence, joints_at, meet};
use gusset::measure;
use gusset::pose;
use gusset::rig::Rig;
use gusset::rig::gltf::{ReadOptions, read};
use gusset::units::Unit;
use gusset::wardrobe::dress_rigs;
use nalgebra::{Matrix4, Rotation3, Vector3};
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// A number and its unit by frame and path; pairs of parts too.
type Record = BTreeMap<String, (f64, Unit)>;

fn numbers(dressed: &Dressed, frames: &[Frame], then: &Matrix4<f64>) -> (Record, BTreeMap<String, String>) {
    let (mut record, mut words) = (Record::new(), BTreeMap::new());
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    for (at, frame) in frames.iter().enumerate() {
        let world: Vec<Matrix4<f64>> = joints_at(dressed, frame).iter().map(|joint| then * joint).collect();
        let moment = meet(dressed, &world, &mut scratch);
        for measure in measure::taken(false) {
            let taken = (measure.take)(&moment);
            for (number, value) in measure.numbers.iter().zip(&taken.values) {
                let value = value.map_or(f64::NAN, |value| number.unit.to_edge(value));
                record.insert(format!("{at} {}", measure.path(number)), (value, number.unit));
            }
            for number in &taken.pairs {
                let unit = measure.numbers.iter().find(|of| of.path == number.path).map_or(Unit::Ratio, |of| of.unit);
                let (one, other) = (number.pair.0.words(), number.pair.1.words());
                record.insert(format!("{at} {one}, {other}: {}.{}", measure.id, number.path), (number.value, unit));
            }
            for (path, word) in &taken.words {
                words.insert(format!("{at} {}.{path}", measure.id), (*word).to_owned());
            }
        }
    }
    (record, words)
}

fn report(name: &str, a: &(Record, BTreeMap<String, String>), b: &(Record, BTreeMap<String, String>)) {
    let mut rows = Vec::new();
    for (path, (value, _)) in &a.0 {
        match b.0.get(path) {
            Some((other, _)) if value.is_nan() && other.is_nan() => {}
            Some((other, _)) => rows.push(((value - other).abs(), path.clone(), *value, *other)),
            None => rows.push((f64::INFINITY, path.clone(), *value, f64::NAN)),
        }
    }
    for path in b.0.keys() { if !a.0.contains_key(path) { println!("{name} NEW {path}"); } }
    rows.sort_by(|x, y| y.0.total_cmp(&x.0));
    for row in rows.iter().take(14) { println!("{name} {row:?}"); }
    if a.1 != b.1 { println!("{name} WORDS {:?} {:?}", a.1, b.1); }
}

fn demo() -> &'static (Rig, Rig) {
    static PAIR: OnceLock<(Rig, Rig)> = OnceLock::new();
    PAIR.get_or_init(|| {
        let wearer = body(&BodyShape::woman("wren").meshed(0.03));
        let made = garment(&wearer, &Pattern::new("trousers", Kind::SlimTrousers));
        (wearer.rig(), plant(made.rig(), Fault::Bleed))
    })
}

fn real() -> Option<(Rig, Rig)> {
    let rigs = support::rigs()?;
    let open = |name: &str| read(&rigs.join(name), &ReadOptions::default()).unwrap();
    Some((open("bodies/mhr_body_average.glb"), open("trousers/trousers_average_defect_bleed_L_to_R.glb")))
}

fn frames(mirror: bool) -> Vec<Frame> {
    ["sitting", "squat", "leg_back", "walk"].iter().map(|name| {
        let pose = pose::find(name).unwrap();
        let frame = Sequence::from(&pose).frames[0].clone();
        match frame { Frame::Angles(a) if mirror => Frame::Angles(a.mirrored()), f => f }
    }).collect()
}

fn all(name: &str, (body, cloth): &(Rig, Rig)) {
    let start = std::time::Instant::now();
    let one = Matrix4::identity();
    let base_d = dress_rigs(body.clone(), cloth.clone());
    let base = numbers(&base_d, &frames(false), &one);
    println!("{name} base {:?}", start.elapsed());
    for (p, v) in &base.0 { println!("{name} {p} {v:?}"); }
    println!("{:?}", base.1);
    let turn = Rotation3::from_euler_angles(0.4, -1.1, 0.7).to_homogeneous();
    let moved = Matrix4::new_translation(&Vector3::new(0.7, -0.4, 1.3)) * turn;
    report(&format!("{name} rigid"), &base, &numbers(&base_d, &frames(false), &moved));
    let yaw = Matrix4::new_translation(&Vector3::new(0.7, 0.0, 1.3)) * Rotation3::from_axis_angle(&Vector3::y_axis(), 0.8).to_homogeneous();
    let d = dress_rigs(changes::carried(body, &yaw), changes::carried(cloth, &yaw));
    report(&format!("{name} yaw"), &base, &numbers(&d, &frames(false), &one));
    let d = dress_rigs(changes::mirrored(body), changes::mirrored(cloth));
    let mut m = numbers(&d, &frames(true), &one);
    m.0 = m.0.into_iter().map(|(p, v)| (changes::swapped(&p), v)).collect();
    report(&format!("{name} mirror"), &base, &m);
    let d = dress_rigs(changes::renumbered(body, 1), changes::renumbered(cloth, 2));
    report(&format!("{name} renumber"), &base, &numbers(&d, &frames(false), &one));
    for f in [0.5, 1.37] {
        let d = dress_rigs(changes::enlarged(body, f), changes::enlarged(cloth, f));
        let mut m = numbers(&d, &frames(false), &one);
        for v in m.0.values_mut() { match v.1 { Unit::Length => v.0 /= f, Unit::Area => v.0 /= f * f, _ => {} } }
        report(&format!("{name} scale {f}"), &base, &m);
    }
    let spelt = |_: usize, n: &str| n.replace("leftUpperLeg", "thigh.L").replace("rightUpperLeg", "thigh.R").replace("leftLowerLeg", "shin.L").replace("rightLowerLeg", "shin.R").replace("leftFoot", "foot.L").replace("rightFoot", "foot.R");
    let d = dress_rigs(changes::renamed(body, spelt), changes::renamed(cloth, spelt));
    report(&format!("{name} rename"), &base, &numbers(&d, &frames(false), &one));
    let d = dress_rigs(changes::renamed(body, |n, _| format!("j{n}")), changes::renamed(cloth, |n, _| format!("j{n}")));
    report(&format!("{name} shape"), &base, &numbers(&d, &frames(false), &one));
    println!("{name} all {:?}", start.elapsed());
}

#[test]
fn explore() {
    all("demo", demo());
    if let Some(real) = real() { all("real", &real); }
}
