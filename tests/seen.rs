//! Seen is seen: is the skin that the product calls seen what an independent picture count finds?
//!
//! `support/flat.rs` draws body and fabric in flat ids from all sides. Covered skin shows in a frame if it is visible in
//! views worth over 5 % of its cosine weight, by 5 % more than as built; what shows as built is left out on both sides.
//! The product's count is what `skin_shows` and `uncovered` publish, inner and edge together: areas as built. Both are
//! weighed here by the posed area, triangle by triangle.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/flat.rs"]
mod flat;
#[path = "support/rigs.rs"]
mod support;

use flat::{Mesh, Parts, Scene};
use gusset::contact::{Moment, Scratch};
use gusset::demo::scenario;
use gusset::fitting::{Dressed, Frame, Sequence, joints_at, meet, missing_bones};
use gusset::measure::{skin_shows, uncovered};
use gusset::outcome::Severity;
use gusset::pose;
use gusset::rig::surface::Surface;
use gusset::wardrobe::{Outfit, dress};
use std::path::Path;

/// Seen by more than this share of the cosine weight.
const SHOWS: f64 = 0.05;
/// Skin is counted in parts of at most this, square metres.
const GRAIN: f64 = 0.1e-4;
/// Side of a pixel, metres.
const PIXEL: f64 = 0.5e-3;
/// Directions of a picture count.
const DIRECTIONS: usize = 150;

/// A pair in a frame: areas in cm2.
#[derive(Debug)]
struct Row {
    pair: String,
    pose: String,
    frame: usize,
    /// Posed, by the pictures.
    picture: f64,
    /// Posed, by the product.
    product: f64,
    /// As built and with what shows as built: what the product publishes.
    published: f64,
    note: String,
}

impl Row {
    fn is_near(&self) -> bool {
        (self.product - self.picture).abs() <= (0.15 * self.picture).max(2.0)
    }

    fn line(&self) -> String {
        format!(
            "| {} | {} {} | {:.1} | {:.1} | {:+.1} | {:.1} |{} {}",
            self.pair,
            self.pose,
            self.frame,
            self.picture,
            self.product,
            self.product - self.picture,
            self.published,
            if self.is_near() { "" } else { " OVER" },
            self.note
        )
    }
}

/// A dressed body and what its pictures show as built.
struct Study<'a> {
    dressed: &'a Dressed,
    parts: Parts,
    /// By layer the triangles that are drawn: all but those of a faulty weight row, which the product leaves out.
    cloths: Vec<Vec<[u32; 3]>>,
    openings: Vec<Vec<Vec<u32>>>,
    directions: Vec<[f64; 3]>,
    as_built: Vec<f64>,
    areas_as_built: Vec<f64>,
    /// By covered skin sample of the product: the part it lies in.
    part_of: Vec<usize>,
}

impl<'a> Study<'a> {
    fn new(dressed: &'a Dressed) -> Self {
        let layer = &dressed.layers[0];
        let skin = &layer.skin.points;
        let body = mesh(&layer.body_as_built, &dressed.body.surface);
        let mut covered = vec![false; body.triangles.len()];
        skin.triangle.iter().for_each(|triangle| covered[*triangle as usize] = true);
        let parts = Parts::new(body, GRAIN, |triangle| covered[triangle]);
        let cloths: Vec<Vec<[u32; 3]>> = dressed
            .layers
            .iter()
            .map(|layer| {
                let tagged = layer.surface.triangles.iter().zip(&layer.tags);
                tagged.filter(|(_, tag)| **tag != 0).map(|(corners, _)| *corners).collect()
            })
            .collect();
        let openings: Vec<Vec<Vec<u32>>> = dressed.layers.iter().zip(&cloths).map(|(layer, triangles)| flat::openings(Mesh { positions: &layer.surface.positions, triangles })).collect();
        println!("openings {:?}", openings.iter().map(|o| o.iter().map(Vec::len).collect::<Vec<_>>()).collect::<Vec<_>>());
        let directions = flat::directions(DIRECTIONS);
        let worn = dressed.layers.iter().zip(&cloths).map(|(layer, triangles)| Mesh {
            positions: &layer.surface.positions,
            triangles,
        });
        let scene = Scene {
            body,
            worn: worn.collect(),
        };
        let as_built = flat::weights(&scene, &parts, &directions, PIXEL);
        let part_of = (0..skin.len())
            .map(|point| {
                let [_, second, third] = skin.barycentric[point];
                parts.at(skin.triangle[point] as usize, [second, third]).unwrap()
            })
            .collect();
        Self {
            areas_as_built: parts.areas(body),
            part_of,
            as_built,
            directions,
            cloths,
            openings,
            parts,
            dressed,
        }
    }

    /// Meets a frame, and lets `look` compare.
    fn row(&self, pair: &str, pose: &str, frame: usize, of: &Frame) -> Row {
        let world = joints_at(self.dressed, of);
        let mut scratch = Scratch::new(&self.dressed.body, &self.dressed.layers);
        let moment = meet(self.dressed, &world, &mut scratch);
        let (now, areas) = self.pictures(&moment, false);
        let (capped, _) = self.pictures(&moment, true);
        let capped: f64 = (0..now.len()).filter(|part| self.as_built[*part] <= SHOWS && capped[*part] > SHOWS + self.as_built[*part]).map(|part| areas[part] * 1e4).sum::<f64>() + 0.0;
        let became = |part: &usize| {
            self.as_built[*part] <= SHOWS && now[*part] > SHOWS + self.as_built[*part]
        };
        let picture = (0..now.len()).filter(became).map(|part| areas[part] * 1e4).sum::<f64>();
        let skin = &moment.layer.skin.points;
        let (mut product, mut all) = (0.0, 0.0);
        let mut outside = [0.0f64; 5];
        let mut over = 0.0;
        for point in 0..skin.len() {
            let part = self.part_of[point];
            let area = skin.area[point] * 1e4;
            let posed = area * areas[part] / self.areas_as_built[part];
            if moment.shows(point) || moment.gone[point] {
                all += area;
                if self.as_built[part] <= SHOWS { product += posed; if !became(&part) { over += posed; } }
            } else if became(&part) {
                let o = moment.outside[point];
                outside[if o.is_nan() {4} else if o > 0.2e-3 {0} else if o > 0.0 {1} else if o > -0.01 {2} else {3}] += posed;
            }
        }
        assert!((all - published(&moment)).abs() < 1e-6 * all.max(1.0), "the numbers are these samples");
        Row {
            pair: pair.into(),
            pose: pose.into(),
            frame,
            picture: picture + 0.0,
            product,
            published: all,
            note: format!("closed {capped:.1} {}; product only {over:.1}; picture only: outside {:.1}, <0.2 mm {:.1}, inside {:.1}, deep {:.1}, edge {:.1}", if (product-capped).abs() <= (0.15*capped).max(2.0) {""} else {"CLOSED OVER"}, outside[0], outside[1], outside[2], outside[3], outside[4]),
        }
    }

    /// By part: its weight in a frame, and its posed area.
    fn pictures(&self, moment: &Moment, close: bool) -> (Vec<f64>, Vec<f64>) {
        let body = mesh(&moment.posed_body.positions, &self.dressed.body.surface);
        let worn = moment.worn.iter().zip(&self.cloths).zip(&self.openings);
        let worn: Vec<_> = worn.map(|((posed, triangles), openings)| {
            let cloth = Mesh { positions: &posed.positions, triangles };
            flat::closed(cloth, if close { openings } else { &[] })
        }).collect();
        let scene = Scene {
            body,
            worn: worn.iter().map(|(positions, triangles)| Mesh { positions, triangles }).collect(),
        };
        (
            flat::weights(&scene, &self.parts, &self.directions, PIXEL),
            self.parts.areas(body),
        )
    }
}

fn mesh<'a>(positions: &'a [[f32; 3]], surface: &'a Surface) -> Mesh<'a> {
    Mesh {
        positions,
        triangles: &surface.triangles,
    }
}

/// `skin_shows` and `uncovered`, inner and edge, cm2.
fn published(moment: &Moment) -> f64 {
    let of = |measure: &gusset::measure::Measure, paths: [&str; 2]| {
        let taken = (measure.take)(moment);
        let numbers = measure.numbers.iter().zip(taken.values);
        let asked = numbers.filter(|(number, _)| paths.contains(&number.path));
        asked.map(|(_, value)| value.unwrap() * 1e4).sum::<f64>()
    };
    let paths = ["inner.area_cm2", "edge.area_cm2"];
    of(&skin_shows::MEASURE, paths) + of(&uncovered::MEASURE, paths)
}

/// Every asked pose and frame of a pair.
fn study(pair: &str, dressed: &Dressed, poses: &[(&str, &[usize])]) -> Vec<Row> {
    let study = Study::new(dressed);
    let mut rows = Vec::new();
    for (name, frames) in poses {
        if !name.contains(&std::env::var("POSE").unwrap_or_default()) { continue; }
        let pose = pose::all().iter().find(|pose| pose.name == *name).unwrap();
        let sequence = Sequence::from(pose);
        if missing_bones(dressed, &sequence).is_some() {
            continue;
        }
        for &frame in *frames {
            let row = study.row(pair, name, frame, &sequence.frames[frame]);
            println!("{}", row.line());
            rows.push(row);
        }
    }
    rows
}

const POSES: [(&str, &[usize]); 5] = [("sitting", &[0]), ("squat", &[0]), ("wide_stance", &[0]), ("walk", &[0, 6, 18]), ("side_split", &[0])];

fn wear(rigs: &Path, body: &str, garment: &str) -> Dressed {
    dress(&Outfit { body: Some(rigs.join(body)), garment: rigs.join(garment), ..Outfit::default() }).unwrap()
}

#[test]
fn rigs_explore() {
    let Some(rigs) = support::rigs() else { return };
    let only = std::env::var("ONLY").unwrap_or_default();
    for (b, g) in [
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_build9.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_build0.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_defect_bleed_L_to_R.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_defect_oversmooth.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_defect_unnormalised_row.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_build9_thick.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_build9_flipped.glb"),
        ("bodies/mhr_body_slim.glb", "trousers/trousers_slim_build9.glb"),
        ("bodies/mhr_body_average_cut.glb", "trousers/trousers_average_build9.glb"),
        ("synthetic/body.glb", "synthetic/trousers.glb"),
    ] {
        if !g.contains(&only) { continue; }
        study(&format!("{} {}", b.rsplit('/').next().unwrap(), g.rsplit('/').next().unwrap()), &wear(&rigs, b, g), &POSES);
    }
}

#[test]
fn demo_explore() {
    let only = std::env::var("ONLY").unwrap_or_default();
    let rack = scenario();
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(format!("{name}.glb"));
    for piece in rack.bodies.iter().chain(rack.garments.iter().chain(rack.faulty.iter().map(|f| &f.1)).map(|worn| &worn.piece)) {
        std::fs::write(file(&piece.name), piece.glb()).unwrap();
    }
    for worn in rack.garments.iter().chain(rack.faulty.iter().map(|f| &f.1)) {
        if !worn.piece.name.contains(&only) { continue; }
        let dressed = dress(&Outfit {
            body: Some(file(&worn.body)),
            garment: file(&worn.piece.name),
            over: worn.over.iter().map(|name| file(name)).collect(),
            ..Outfit::default()
        });
        let dressed = match dressed { Ok(d) => d, Err(e) => { println!("{}: {e}", worn.piece.name); continue; } };
        if dressed.findings.iter().any(|f| f.severity == Severity::Stop) { println!("{}: stop", worn.piece.name); continue; }
        study(&worn.piece.name, &dressed, &POSES);
    }
}
