//! In which splay to build: closed forms for two capsules, independent figures on real bodies, and steadiness.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::contact::Body;
use gusset::splay::{Asked, splay};
use gusset::rig::gltf::ReadOptions;
use gusset::wardrobe::bare;
use std::path::Path;

fn body(rigs: &Path, name: &str) -> Body {
    bare(&rigs.join("bodies").join(name), &ReadOptions::default()).unwrap().body
}

#[test]
fn independent_figures() {
    let Some(rigs) = support::rigs() else { return };
    for name in ["mhr_body_average.glb", "mhr_body_slim.glb", "mhr_body_heavy.glb", "rocketbox_male_adult_17.glb"] {
        let begin = std::time::Instant::now();
        let found = splay(&body(&rigs, name), &Asked::default(), &|| ());
        println!("{name} bind {:.2} apart {:?} least {:.2} band {:?} nodiff {} ({:?})", found.bind_deg, found.apart_from_deg, found.advice.least_at_deg, found.advice.band, found.advice.no_difference, begin.elapsed());
        for row in &found.rows {
            println!("  {:4.1} overlap {:7.2} through {:7.2} price {:7.2} {:?}", row.splay_deg, row.overlap_cm2, row.through_cm2, row.price_cm2, row.lost_cm2.iter().map(|(_, a)| format!("{a:.1}")).collect::<Vec<_>>());
        }
    }
}
