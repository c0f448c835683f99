//! Seen is seen: is the skin that the product calls seen what an independent picture count finds?
//!
//! `support/flat.rs` draws body and fabric in flat ids from all sides. Covered skin shows in a frame if it is visible in
//! views worth over 5 % of its cosine weight, and by 5 % more than as built (at hems and waists the weight runs from a half
//! to nothing; without that a strip crosses 5 % in every pose). What shows as built is left out on both sides. The product
//! publishes areas as built of `skin_shows` and `uncovered`, inner and edge; here the same samples are weighed by the posed
//! area of their triangles. Which skin is covered is not in question here: both count on triangles that the product calls
//! covered. `SEEN_PICTURES=DIR` writes pictures: skin that shows red, other covered skin yellow.

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
use gusset::rig::bone::{Bone, Side};
use gusset::rig::surface::Surface;
use gusset::wardrobe::{Outfit, dress};
use nalgebra::Vector3;
use std::collections::HashSet;
use std::path::Path;

/// Seen by more than this share of the cosine weight.
const SHOWS: f64 = 0.05;
/// Skin is counted in parts of at most this, square metres.
const GRAIN: f64 = 0.1e-4;
/// Side of a pixel, metres.
const PIXEL: f64 = 0.7e-3;
/// Fabric is drawn this far out, metres: skin that is out by less is rounding, not seen (DESIGN 6).
const TIE: f64 = 0.2e-3;
/// Directions of a picture count.
const DIRECTIONS: usize = 120;

/// Pairs that cannot meet the bound in some frame, by how many cm2 the product may fall short, and why. All of them show
/// skin that is looked at obliquely through an opening, behind fabric that still lies straight out of it: by DESIGN 6 that
/// is neither skin through fabric nor uncovered (`lift`, `seam_gap` and the retreat of the edge say it). Seen in pictures.
const LOOKED_INTO: [(&str, f64, &str); 8] = [
    (
        "average + average_build0",
        8.0,
        "down the waist and up the hems, which stand off by a little",
    ),
    ("average + average_defect_oversmooth", 5.0, "down the waist"),
    (
        "wren + skirt",
        90.0,
        "up the skirt, legs apart; with its openings closed 0",
    ),
    (
        "pip + wide_trousers",
        2.6,
        "up the wide hems; with its openings closed 0",
    ),
    (
        "wren + work_trousers_9_smoothed",
        7.0,
        "down the waist at the back",
    ),
    ("wren + work_trousers_9_ripped", 80.0, "through the burst seam"),
    ("wren + work_trousers_9_climbing", 55.0, "up the leg that climbs"),
    ("wren + work_trousers_9_waistband", 140.0, "down the gaping waist"),
];

/// A pair in a frame: areas in cm2.
#[derive(Debug)]
struct Row {
    pair: String,
    pose: String,
    frame: usize,
    /// Posed, by the pictures.
    picture: f64,
    /// The same with the garment's openings closed.
    closed: f64,
    /// Posed, by the product.
    product: f64,
    /// As built and with what shows as built: what the product publishes.
    published: f64,
}

impl Row {
    fn is_near(&self) -> bool {
        (self.product - self.picture).abs() <= (0.15 * self.picture).max(2.0)
    }

    fn line(&self) -> String {
        format!(
            "| {} | {} {} | {:.1} | {:.1} | {:.1} | {:+.1} | {:.1} |",
            self.pair,
            self.pose,
            self.frame,
            self.picture,
            self.closed,
            self.product,
            self.product - self.picture,
            self.published
        )
    }

    /// Near, or short of the pictures by no more than what is looked at through a listed opening.
    fn is_known(&self) -> bool {
        let short = self.picture - self.product;
        let listed = LOOKED_INTO.iter().find(|(pair, ..)| *pair == self.pair);
        self.is_near() || listed.is_some_and(|(_, most, _)| (0.0..=*most).contains(&short))
    }
}

/// Places and triangles of a cloth.
type Cloth = (Vec<[f32; 3]>, Vec<[u32; 3]>);

/// A dressed body and what its pictures show as built.
struct Study<'a> {
    dressed: &'a Dressed,
    parts: Parts,
    /// By layer the triangles that are drawn: all but those of a faulty weight row, which the product leaves out.
    cloths: Vec<Vec<[u32; 3]>>,
    openings: Vec<Vec<Vec<u32>>>,
    directions: Vec<[f64; 3]>,
    /// By part: its weight as built.
    as_built: Vec<f64>,
    /// By part: left out.
    shows_as_built: Vec<bool>,
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
        skin.triangle
            .iter()
            .for_each(|triangle| covered[*triangle as usize] = true);
        let parts = Parts::new(body, GRAIN, |triangle| covered[triangle]);
        let cloths: Vec<Vec<[u32; 3]>> = dressed
            .layers
            .iter()
            .map(|layer| {
                let tagged = layer.surface.triangles.iter().zip(&layer.tags);
                tagged
                    .filter(|(_, tag)| **tag != 0)
                    .map(|(corners, _)| *corners)
                    .collect()
            })
            .collect();
        let openings: Vec<Vec<Vec<u32>>> = dressed
            .layers
            .iter()
            .zip(&cloths)
            .map(|(layer, triangles)| {
                flat::openings(Mesh {
                    positions: &layer.surface.positions,
                    triangles,
                })
            })
            .collect();
        let directions = flat::directions(DIRECTIONS);
        let built = |by: f64| {
            let raised: Vec<Vec<[f32; 3]>> = dressed
                .layers
                .iter()
                .zip(&cloths)
                .map(|(layer, triangles)| {
                    let positions = &layer.surface.positions;
                    flat::raised(Mesh { positions, triangles }, by)
                })
                .collect();
            let worn = raised
                .iter()
                .zip(&cloths)
                .map(|(positions, triangles)| Mesh { positions, triangles });
            let scene = Scene {
                body,
                worn: worn.collect(),
            };
            flat::weights(&scene, &parts, &directions, PIXEL)
        };
        let as_built = built(TIE);
        // What is out by less than the tie as built shows as built, too.
        let shows_as_built = built(0.0)
            .iter()
            .zip(&as_built)
            .map(|(plain, raised)| plain.max(*raised) > SHOWS)
            .collect();
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
            shows_as_built,
            directions,
            cloths,
            openings,
            parts,
            dressed,
        }
    }

    /// Both counts of one frame.
    fn row(&self, pair: &str, pose: &str, frame: usize, of: &Frame) -> Row {
        let world = joints_at(self.dressed, of);
        let mut scratch = Scratch::new(&self.dressed.body, &self.dressed.layers);
        let moment = meet(self.dressed, &world, &mut scratch);
        let (now, areas) = self.pictures(&moment, Openings::Open);
        let picture = self.shown(&now, &areas);
        if let Some(folder) = std::env::var_os("SEEN_PICTURES") {
            self.draw(
                &moment,
                &now,
                &Path::new(&folder).join(format!("{pair}_{pose}_{frame}").replace(' ', "")),
            );
        }
        let skin = &moment.layer.skin.points;
        let (mut product, mut all) = (0.0, 0.0);
        for point in (0..skin.len()).filter(|&point| moment.shows(point) || moment.gone[point]) {
            let part = self.part_of[point];
            let area = skin.area[point] * 1e4;
            all += area;
            if !self.shows_as_built[part] {
                product += area * areas[part] / self.areas_as_built[part];
            }
        }
        let error = (all - published(&moment)).abs();
        assert!(
            error < 1e-6 * all.max(1.0),
            "{pair}: other samples than the published"
        );
        let mut row = Row {
            pair: pair.into(),
            pose: pose.into(),
            frame,
            picture,
            closed: picture,
            product,
            published: all,
        };
        if !row.is_near() {
            row.closed = self.shown(&self.pictures(&moment, Openings::Closed).0, &areas);
        }
        row
    }

    fn became_visible(&self, now: &[f64], part: usize) -> bool {
        !self.shows_as_built[part] && now[part] > SHOWS + self.as_built[part]
    }

    /// Posed area of what became visible, cm2.
    fn shown(&self, now: &[f64], areas: &[f64]) -> f64 {
        let parts = (0..now.len()).filter(|&part| self.became_visible(now, part));
        parts.map(|part| areas[part] * 1e4).sum::<f64>() + 0.0
    }

    /// Pictures of a frame from four sides, and from above and below.
    fn draw(&self, moment: &Moment, now: &[f64], name: &Path) {
        let body = mesh(&moment.posed_body.positions, &self.dressed.body.surface);
        let cloths = self.worn(moment, Openings::Open);
        let worn = cloths
            .iter()
            .map(|(positions, triangles)| Mesh { positions, triangles });
        let scene = Scene {
            body,
            worn: worn.collect(),
        };
        let mut shows = vec![None; body.triangles.len()];
        for (part, triangle) in self.parts.triangle.iter().enumerate() {
            let shown = &mut shows[*triangle as usize];
            *shown = Some(shown.unwrap_or(false) || self.became_visible(now, part));
        }
        for (side, towards) in [
            ("front", [0.0, 0.2, 0.98]),
            ("left", [0.98, 0.2, 0.0]),
            ("back", [0.0, 0.2, -0.98]),
            ("above", [0.0, 0.98, 0.2]),
            ("below", [0.0, -0.98, 0.2]),
        ] {
            let length = f64::sqrt(0.04 + 0.98 * 0.98);
            let picture = flat::Picture::new(&scene, &self.parts, towards.map(|v| v / length), 1e-3);
            let file = std::fs::File::create(format!("{}_{side}.png", name.display())).unwrap();
            let mut encoder = png::Encoder::new(file, picture.width as u32, picture.height as u32);
            encoder.set_color(png::ColorType::Rgb);
            let colour = |id: &u32| match *id {
                flat::EMPTY => [255u8; 3],
                flat::FABRIC => [70, 90, 140],
                flat::INSIDE => [0, 0, 0],
                id => match shows[id as usize] {
                    None => [190, 190, 190],
                    Some(false) => [230, 200, 90],
                    Some(true) => [220, 30, 30],
                },
            };
            let bytes: Vec<u8> = picture.ids.iter().flat_map(colour).collect();
            encoder.write_header().unwrap().write_image_data(&bytes).unwrap();
        }
    }

    /// The fabric of a frame.
    fn worn(&self, moment: &Moment, openings: Openings) -> Vec<Cloth> {
        let worn = moment.worn.iter().zip(&self.cloths).zip(&self.openings);
        worn.map(|((posed, triangles), rings)| {
            let positions = &flat::raised(
                Mesh {
                    positions: &posed.positions,
                    triangles,
                },
                TIE,
            );
            let rings: &[Vec<u32>] = match openings {
                Openings::Open => &[],
                Openings::Closed => rings,
            };
            flat::closed(Mesh { positions, triangles }, rings)
        })
        .collect()
    }

    /// By part: its weight in a frame, and its posed area.
    fn pictures(&self, moment: &Moment, openings: Openings) -> (Vec<f64>, Vec<f64>) {
        let body = mesh(&moment.posed_body.positions, &self.dressed.body.surface);
        let cloths = self.worn(moment, openings);
        let worn = cloths
            .iter()
            .map(|(positions, triangles)| Mesh { positions, triangles });
        let scene = Scene {
            body,
            worn: worn.collect(),
        };
        (
            flat::weights(&scene, &self.parts, &self.directions, PIXEL),
            self.parts.areas(body),
        )
    }
}

/// Whether one can look into the garment at waist and hems.
#[derive(Clone, Copy)]
enum Openings {
    Open,
    Closed,
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

/// What every pair goes through.
const POSES: [(&str, &[usize]); 4] = [
    ("sitting", &[0]),
    ("squat", &[0]),
    ("wide_stance", &[0]),
    ("walk", &[0, 6, 18]),
];

/// The pairs of `rigs/`: body, garment.
const PAIRS: [(&str, &str); 12] = [
    ("mhr_body_average", "trousers/trousers_average_build9"),
    ("mhr_body_average", "trousers/trousers_average_build0"),
    (
        "mhr_body_average",
        "trousers/trousers_average_defect_bleed_L_to_R",
    ),
    ("mhr_body_average", "trousers/trousers_average_defect_oversmooth"),
    (
        "mhr_body_average",
        "trousers/trousers_average_defect_unnormalised_row",
    ),
    ("mhr_body_average", "trousers/trousers_average_build9_thick"),
    ("mhr_body_average", "trousers/trousers_average_build9_flipped"),
    ("mhr_body_average", "encodings/weights_u8norm"),
    ("mhr_body_average_8inf", "trousers/trousers_average_build9"),
    ("mhr_body_average_cut", "trousers/trousers_average_build9"),
    ("mhr_body_slim", "trousers/trousers_slim_build9"),
    ("synthetic", "synthetic/trousers"),
];

fn wear(rigs: &Path, (body, garment): (&str, &str)) -> (String, Dressed) {
    let file = match body {
        "synthetic" => "synthetic/body.glb".into(),
        name => format!("bodies/{name}.glb"),
    };
    let dressed = dress(&Outfit {
        body: Some(rigs.join(file)),
        garment: rigs.join(format!("{garment}.glb")),
        ..Outfit::default()
    });
    let short = |name: &str| {
        let name = name.rsplit('/').next().unwrap();
        name.trim_start_matches("mhr_body_")
            .trim_start_matches("trousers_")
            .to_owned()
    };
    (format!("{} + {}", short(body), short(garment)), dressed.unwrap())
}

/// All near but those that are listed.
fn check(rows: &[Row]) {
    let over: Vec<String> = rows.iter().filter(|row| !row.is_known()).map(Row::line).collect();
    assert!(over.is_empty(), "over 15 % or 2 cm2:\n{}", over.join("\n"));
}

#[test]
fn a_picture_count_finds_the_same() {
    let Some(rigs) = support::rigs() else { return };
    let (pair, clean) = wear(&rigs, PAIRS[0]);
    let mut rows = study(&pair, &clean, &[("sitting", &[0]), ("squat", &[0])]);
    let (pair, bled) = wear(&rigs, PAIRS[2]);
    rows.extend(study(&pair, &bled, &[("sitting", &[0]), ("walk", &[0])]));
    check(&rows);
    assert!(
        rows.iter().filter(|row| row.picture > 5.0).count() >= 3,
        "{rows:?}"
    );
}

/// Takes some ten minutes on two cores: `cargo test --release --test seen -- --ignored --nocapture`.
#[test]
#[ignore = "every pair of the rigs and of the demo; the table of README.md"]
fn every_pair_of_the_rigs_and_the_demo() {
    let mut rows = demo_rows();
    if let Some(rigs) = support::rigs() {
        for pair in PAIRS {
            let (name, dressed) = wear(&rigs, pair);
            rows.extend(study(&name, &dressed, &POSES));
        }
        for (pair, _, why) in LOOKED_INTO {
            let stale = rows.iter().all(|row| row.pair != pair || row.is_near());
            assert!(!stale, "{pair} meets the bound: {why}");
        }
    }
    check(&rows);
}

fn demo_rows() -> Vec<Row> {
    let rack = scenario();
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(format!("{name}.glb"));
    let worn = || {
        rack.garments
            .iter()
            .chain(rack.faulty.iter().map(|(_, worn)| worn))
    };
    for piece in rack.bodies.iter().chain(worn().map(|worn| &worn.piece)) {
        std::fs::write(file(&piece.name), piece.glb()).unwrap();
    }
    let mut rows = Vec::new();
    for worn in worn() {
        let dressed = dress(&Outfit {
            body: Some(file(&worn.body)),
            garment: file(&worn.piece.name),
            over: worn.over.iter().map(|name| file(name)).collect(),
            ..Outfit::default()
        })
        .unwrap();
        // Bound to another skeleton: it cannot run.
        if dressed
            .findings
            .iter()
            .all(|finding| finding.severity != Severity::Stop)
        {
            rows.extend(study(
                &format!("{} + {}", worn.body, worn.piece.name),
                &dressed,
                &POSES,
            ));
        }
    }
    rows
}

/// Seated and leaning forward the skin of the hip crease lies outside its fabric, which is closed in the fold: nobody can
/// look at it. Sitting upright this body's hip stays open, and the same holds in the hollow of the knee.
#[test]
fn fabric_closed_in_a_crease_is_never_skin_showing() {
    let Some(rigs) = support::rigs() else { return };
    let (_, dressed) = wear(&rigs, PAIRS[0]);
    let study = Study::new(&dressed);
    for (pose, bone, reach) in [
        ("sitting_leaning", Bone::UpperLeg as fn(Side) -> Bone, 0.20),
        ("sitting", Bone::LowerLeg, 0.15),
    ] {
        let posed = pose::all().iter().find(|known| known.name == pose).unwrap();
        let world = joints_at(&dressed, &Sequence::from(posed).frames[0]);
        let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
        let moment = meet(&dressed, &world, &mut scratch);
        let joints = [Side::Left, Side::Right].map(|side| {
            let node = dressed.body.skeleton.roles.node(bone(side)).unwrap();
            world[node].fixed_view::<3, 1>(0, 3).into_owned()
        });
        closed_crease(&study, &moment, pose, |at| {
            // Not the kneecap, which may come through.
            let near = |joint: &Vector3<f64>| (at - joint).norm() < reach;
            joints.iter().any(near) && (pose != "sitting" || at.z < joints[0].z)
        });
    }
}

fn closed_crease(study: &Study, moment: &Moment, pose: &str, is_there: impl Fn(Vector3<f64>) -> bool) {
    let (now, _) = study.pictures(moment, Openings::Open);
    let skin = &moment.layer.skin;
    let crease: Vec<usize> = (0..skin.points.len())
        .filter(|&point| moment.outside[point] > 0.2e-3)
        .filter(|&point| is_there(Vector3::from(moment.skin_at(point).map(f64::from))))
        .collect();
    let area = |is: &dyn Fn(usize) -> bool| {
        let points = crease.iter().filter(|point| is(**point));
        points.map(|point| skin.points.area[*point] * 1e4).sum::<f64>() + 0.0
    };
    // Closed: no part of its triangle, or of one beside it, has a weight.
    let triangles = &moment.body.surface.triangles;
    let open: HashSet<u32> = (0..now.len())
        .filter(|&part| now[part] > 0.0)
        .flat_map(|part| triangles[study.parts.triangle[part] as usize])
        .collect();
    let is_closed = |point: usize| {
        let corners = triangles[skin.points.triangle[point] as usize];
        corners.iter().all(|corner| !open.contains(corner))
    };
    let counts = |point: usize| moment.shows(point) || moment.gone[point];
    let closed = area(&is_closed);
    println!(
        "{pose}: {closed:.1} cm2 closed in the crease, of {:.1} outside their fabric",
        area(&|_| true)
    );
    assert!(closed > 30.0, "{pose}: the crease is not closed: {closed}");
    let by_product = area(&|point| is_closed(point) && counts(point));
    assert_eq!(by_product, 0.0, "{pose}: the product sees into it");
    let shows = |point: usize| study.became_visible(&now, study.part_of[point]);
    let by_pictures = area(&|point| shows(point) && !counts(point));
    assert!(
        by_pictures < 1.0,
        "{pose}: the pictures see {by_pictures} cm2 that the product does not"
    );
}

/// Half of the sky of a place under the middle of a round hole is known: r2 / (r2 + h2) of its cosine weight.
#[test]
fn the_weight_under_a_hole_is_that_of_the_closed_form() {
    let patch = [[-0.001, 0.0, -0.001], [0.0, 0.0, 0.002], [0.001, 0.0, -0.001]];
    let body = Mesh {
        positions: &patch,
        triangles: &[[0, 1, 2]],
    };
    let parts = Parts::new(body, 1.0, |_| true);
    let corners = 256u32;
    for (hole, height) in [(0.05f32, 0.05f32), (0.05, 0.15), (0.02, 0.1)] {
        let ring = |radius: f32| {
            (0..corners).map(move |corner| {
                let turn = corner as f32 / corners as f32 * std::f32::consts::TAU;
                [radius * turn.cos(), height, radius * turn.sin()]
            })
        };
        let positions: Vec<[f32; 3]> = ring(hole).chain(ring(20.0)).collect();
        let triangles: Vec<[u32; 3]> = (0..corners)
            .flat_map(|a| {
                let b = (a + 1) % corners;
                [[a, b, a + corners], [b, b + corners, a + corners]]
            })
            .collect();
        let scene = Scene {
            body,
            worn: vec![Mesh {
                positions: &positions,
                triangles: &triangles,
            }],
        };
        let found = flat::weights(&scene, &parts, &flat::directions(4000), 0.5e-3)[0];
        let wanted = f64::from(hole * hole / (hole * hole + height * height));
        assert!(
            (found - wanted).abs() < 0.01,
            "{hole} {height}: {found}, not {wanted}"
        );
    }
}
