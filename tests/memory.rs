//! What a frame asks of the memory once everything is warm, and how much a long sweep holds.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::contact::Scratch;
use gusset::demo::{BodyShape, Kind, Pattern, body, garment};
use gusset::fitting::{self, Dressed, Frame, Plan, Sequence, joints_at, meet};
use gusset::outcome::Demand;
use gusset::pose;
use gusset::wardrobe::{Outfit, dress, dress_rigs};

/// Joint matrices and palettes of body and garment, the ray directions of the frame, and what the curves of fabric
/// through itself need where there are any: small lists whose number does not grow with the mesh.
const MOST_PER_FRAME: u64 = 20;

fn invented() -> Dressed {
    let wearer = body(&BodyShape::woman("wren"));
    let trousers = garment(&wearer, &Pattern::new("trousers", Kind::SlimTrousers));
    dress_rigs(wearer.rig(), trousers.rig().clone())
}

#[test]
fn a_warm_frame_takes_only_small_memory() {
    let dressed = invented();
    let frames: Vec<Frame> = ["standing", "walk", "sitting"]
        .iter()
        .filter_map(|name| pose::all().iter().find(|pose| pose.name == *name))
        .flat_map(|pose| pose.frames.iter().cloned().map(Frame::Angles))
        .collect();
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let world: Vec<_> = frames.iter().map(|frame| joints_at(&dressed, frame)).collect();
    let round = |scratch: &mut Scratch| {
        for world in &world {
            let _ = meet(&dressed, world, scratch);
        }
    };
    round(&mut scratch);
    let taken = allocation_counter::measure(|| round(&mut scratch));
    let per_frame = taken.count_total / world.len() as u64;
    let bytes = taken.bytes_total / world.len() as u64;
    eprintln!("{per_frame} allocations and {bytes} bytes per frame");
    assert!(per_frame <= MOST_PER_FRAME, "{per_frame} allocations per frame");
    // Nothing as large as the mesh: one float per vertex of the body would be more.
    assert!(
        bytes < 4 * dressed.body.surface.positions.len() as u64,
        "{bytes} bytes per frame"
    );
}

#[test]
#[ignore = "minutes; prints the most memory a long sweep held"]
fn a_long_sweep_stays_small() {
    let dressed = support::rigs().map_or_else(invented, |rigs| {
        let outfit = Outfit {
            body: Some(rigs.join("synthetic/body.glb")),
            garment: rigs.join("synthetic/trousers.glb"),
            ..Outfit::default()
        };
        dress(&outfit).unwrap()
    });
    let mut sequence = if dressed.rig.clips.is_empty() {
        Sequence::from(&pose::all()[0])
    } else {
        Sequence::of_clip(0, &dressed.rig.clips[0], Demand::Hard)
    };
    sequence.frames = sequence.frames.iter().cycle().take(10_000).cloned().collect();
    let plan = Plan {
        sequences: vec![sequence],
        ..Plan::default()
    };
    let fitting = fitting::run(&dressed, &plan, &|| ());
    assert_eq!(fitting.poses[0].frames.len(), 10_000);
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let most = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .map(|most| most.trim().to_owned());
    eprintln!("most memory held: {most:?}");
    if let Some(kilobytes) = most.and_then(|most| most.split(' ').next()?.parse::<u64>().ok()) {
        assert!(kilobytes < 500_000, "{kilobytes} kB");
    }
}
