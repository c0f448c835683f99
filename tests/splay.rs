//! In which splay to build: independent figures on real bodies, and steadiness.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::contact::Body;
use gusset::rig::gltf::ReadOptions;
use gusset::splay::{Asked, Splay, splay};
use gusset::wardrobe::bare;
use std::path::Path;

fn found(rigs: &Path, name: &str) -> Splay {
    let body: Body = bare(&rigs.join("bodies").join(name), &ReadOptions::default())
        .unwrap()
        .body;
    splay(&body, &Asked::default(), &|| ())
}

/// Legs apart: an independent implementation says 1, 0 and 5 whole degrees; met within half a degree. Its grown-skin curve
/// is least at 8, 8, 8 and 2: that is where the wide poses alone lose nothing more here; with the seated poses the least
/// lies higher (the figures of `tests/README.md`), so that part is not met. Common practice lies in the band.
#[test]
fn independent_figures() {
    let Some(rigs) = support::rigs() else { return };
    for (name, apart) in [
        ("mhr_body_average.glb", 1.0),
        ("mhr_body_slim.glb", 0.0),
        ("mhr_body_heavy.glb", 5.0),
    ] {
        let found = found(&rigs, name);
        let from = found.apart_from_deg.unwrap();
        assert!((from - apart).abs() <= 0.5, "{name}: {from}");
        assert!(
            found.advice.band.holds(8.0) && found.advice.band.holds(10.0),
            "{name}: {:?}",
            found.advice
        );
        let wide = |splay: usize| found.rows[splay].lost_cm2[1].1 + found.rows[splay].lost_cm2[2].1;
        assert!(wide(8) < 5.0 && wide(7) > 20.0, "{name}: {} {}", wide(7), wide(8));
    }
}

#[test]
fn eight_influences_answer_as_four_do() {
    let Some(rigs) = support::rigs() else { return };
    let [four, eight] = ["mhr_body_average.glb", "mhr_body_average_8inf.glb"].map(|name| found(&rigs, name));
    assert!((four.apart_from_deg.unwrap() - eight.apart_from_deg.unwrap()).abs() <= 0.5);
    for (a, b) in [
        (four.advice.least_at_deg, eight.advice.least_at_deg),
        (four.advice.band.from_deg, eight.advice.band.from_deg),
        (four.advice.band.to_deg, eight.advice.band.to_deg),
    ] {
        assert!((a - b).abs() <= 0.5, "{a} {b}");
    }
}
