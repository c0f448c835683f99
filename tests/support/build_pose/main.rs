//! Is the advice of `gusset splay` true? Trousers are built at 0, 2, 4 ... 15 degrees for three bodies and run through
//! poses with the legs together, apart, and seated; the table says where they do best.
//!
//! `cargo run --release --example build_pose -- RIGS`

#![allow(clippy::unwrap_used, reason = "an example may stop at the first surprise")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    reason = "grids and pictures"
)]

mod tailor;

use gusset::compare::worst_of;
use gusset::contact::Body;
use gusset::demo::{self, BodyShape};
use gusset::fitting::{Plan, Sequence, run};
use gusset::outcome::Fitting;
use gusset::pose;
use gusset::rig::Rig;
use gusset::rig::anatomy::Anatomy;
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::skeleton::Skeleton;
use gusset::rig::surface::assemble;
use gusset::splay::{Asked, splay};
use gusset::wardrobe::dress_rigs;
use std::path::Path;

/// Room of the trousers, metres.
const EASE: f32 = 0.007;
const SPLAYS: [f64; 9] = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 15.0];
/// Name of the group, and its poses.
const GROUPS: [(&str, &[&str]); 3] = [
    ("together", &["standing", "walk", "arms_down"]),
    ("wide", &["wide_stance", "side_split", "cross_legged"]),
    (
        "seated",
        &["sitting", "sitting_knees_apart", "sitting_leaning", "cycling"],
    ),
];

fn main() {
    let rigs = std::env::args().nth(1).expect("name the folder of real rigs");
    let bound_at = |name: &str, degrees: f64| {
        let mut shape = BodyShape::man(name);
        shape.hip_splay = degrees.to_radians();
        demo::body(&shape).rig()
    };
    let average = read(
        &Path::new(&rigs).join("bodies/mhr_body_average.glb"),
        &ReadOptions::default(),
    )
    .unwrap();
    for rig in [
        bound_at("demo man bound at 9", 9.0),
        bound_at("demo man bound at 3", 3.0),
        average,
    ] {
        table(&rig);
    }
}

fn body_of(rig: &Rig) -> Body {
    let all: Vec<usize> = (0..rig.meshes.len()).collect();
    let surface = assemble(rig, &all, &rig.name);
    let skeleton = Skeleton::new(rig, &[&surface], &[]);
    let anatomy = Anatomy::new(&skeleton).unwrap();
    Body::new(surface, skeleton, anatomy)
}

fn table(rig: &Rig) {
    let body = body_of(rig);
    let found = splay(&body, &Asked::default(), &|| ());
    let band = found.advice.band;
    println!(
        "\n{} (bound at {:.1}): advised {:.1} to {:.1}, least at {:.1}, legs apart from {:.1}\n",
        rig.name,
        found.bind_deg,
        band.from_deg,
        band.to_deg,
        found.advice.least_at_deg,
        found.apart_from_deg.unwrap_or(f64::NAN)
    );
    println!(
        "| built at | in the band | together | wide | seated | wide: skin seen, cm² | wide: least used by |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for degrees in SPLAYS {
        let cloth = tailor::trousers(rig, &body, degrees, EASE);
        let dressed = dress_rigs(rig.clone(), cloth);
        let names: Vec<&str> = GROUPS
            .iter()
            .flat_map(|(_, poses)| poses.iter().copied())
            .collect();
        let sequences = names
            .iter()
            .map(|name| Sequence::from(&pose::find(name).unwrap()))
            .collect();
        let fitting = run(
            &dressed,
            &Plan {
                sequences,
                ..Plan::default()
            },
            &|| (),
        );
        let stop = fitting.reasons.first().filter(|_| fitting.poses.is_empty());
        if let Some(reason) = stop {
            println!("| {degrees} | | {} |", reason.say);
            continue;
        }
        let cells: Vec<String> = GROUPS
            .iter()
            .map(|(_, poses)| format!("{:.2}", used(&fitting, poses).0))
            .collect();
        println!(
            "| {degrees} | {} | {} | {:.0} | {} |",
            if band.holds(degrees) { "yes" } else { "" },
            cells.join(" | "),
            seen(&fitting, GROUPS[1].1),
            used(&fitting, GROUPS[1].1).1
        );
    }
}

/// The mean over poses of the share of its limit that the worst number uses, and which number that is most.
fn used(fitting: &Fitting, names: &[&str]) -> (f64, String) {
    let mut worst = (0.0, String::new());
    let mut sum = 0.0;
    for name in names {
        let pose = fitting.poses.iter().find(|pose| pose.pose == *name).unwrap();
        let mut most = 0.0f64;
        for (path, value) in worst_of(fitting, pose) {
            let limit = fitting.limits[&path][&pose.demand];
            let rest = if path.ends_with("_mm") || path.ends_with("_cm2") && !path.ends_with("worst_5cm2") {
                0.0
            } else {
                1.0
            };
            let share = ((value - rest) / (limit - rest)).max(0.0);
            if share > worst.0 {
                worst = (share, path.clone());
            }
            most = most.max(share);
        }
        sum += most;
    }
    (sum / names.len() as f64, worst.1)
}

fn seen(fitting: &Fitting, names: &[&str]) -> f64 {
    let poses = fitting
        .poses
        .iter()
        .filter(|pose| names.contains(&pose.pose.as_str()));
    let most = |pose: &gusset::outcome::PoseResult| {
        let frames = pose
            .frames
            .iter()
            .filter_map(|frame| frame.measures.get("skin_shows.inner.area_cm2"));
        frames.fold(0.0, f64::max)
    };
    poses.map(most).sum::<f64>() + 0.0
}
