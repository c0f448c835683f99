//! The main job on real rigs: verdicts, findings and figures of an independent implementation of the same measures.
//!
//! The independent figures are those of another implementation on other libraries, on the same files (`DESIGN` 6).

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::demo::Piece;
use gusset::fitting::{Dressed, Plan, Sequence, run};
use gusset::outcome::{Demand, Fitting, FrameResult, PoseResult, Severity, Verdict};
use gusset::pose::{self, clip};
use gusset::wardrobe::{Outfit, dress};
use std::path::Path;

const AVERAGE: &str = "bodies/mhr_body_average.glb";

fn wear(rigs: &Path, body: &str, garment: &str) -> Dressed {
    let outfit = Outfit {
        body: Some(rigs.join(body)),
        garment: rigs.join(garment),
        ..Outfit::default()
    };
    dress(&outfit).unwrap()
}

fn plan(names: &[&str]) -> Plan {
    let sequences = pose::all()
        .iter()
        .filter(|pose| names.is_empty() || names.contains(&pose.name.as_str()))
        .map(Sequence::from)
        .collect();
    Plan {
        sequences,
        ..Plan::default()
    }
}

fn try_on(rigs: &Path, garment: &str, names: &[&str]) -> Fitting {
    run(&wear(rigs, AVERAGE, garment), &plan(names), &|| ())
}

fn pose_of<'a>(fitting: &'a Fitting, name: &str) -> &'a PoseResult {
    fitting.poses.iter().find(|pose| pose.pose == name).unwrap()
}

fn number(fitting: &Fitting, pose: &str, path: &str) -> f64 {
    pose_of(fitting, pose).frames[0]
        .measures
        .get(path)
        .unwrap_or_else(|| panic!("{path} in {pose}"))
}

/// Within 15 % or `least` of the figure.
fn near(found: f64, figure: f64, least: f64) -> bool {
    (found - figure).abs() <= (0.15 * figure).max(least)
}

/// A pose file of our own for the exact angles of the independent figures.
fn angles(text: &str) -> Plan {
    let head = "name: figure\nabout: As in the independent figures.\nbasis: [independent figures]\n";
    let pose = pose::parse(format!("{head}{text}"), "figure.yaml").unwrap();
    Plan {
        sequences: vec![Sequence::from(&pose)],
        ..Plan::default()
    }
}

#[test]
fn clean_trousers_pass_every_upright_and_seated_pose() {
    let Some(rigs) = support::rigs() else { return };
    for (body, garment) in [
        (AVERAGE, "trousers/trousers_average_build9.glb"),
        (AVERAGE, "trousers/trousers_average_build9_thick.glb"),
        ("bodies/mhr_body_slim.glb", "trousers/trousers_slim_build9.glb"),
    ] {
        let fitting = run(&wear(&rigs, body, garment), &plan(&[]), &|| ());
        for pose in fitting.poses.iter().filter(|pose| pose.demand != Demand::Hard) {
            assert_eq!(
                pose.verdict,
                Verdict::Pass,
                "{garment}, {}: {:?}",
                pose.pose,
                fitting.reasons.first()
            );
        }
        assert!(
            fitting
                .rig_findings
                .iter()
                .all(|finding| finding.severity == Severity::Note)
        );
    }
}

#[test]
fn planted_defects_fail_by_the_measure_that_names_them() {
    let Some(rigs) = support::rigs() else { return };
    let bled = try_on(
        &rigs,
        "trousers/trousers_average_defect_bleed_L_to_R.glb",
        &["standing", "walk"],
    );
    assert_eq!(bled.verdict, Verdict::Fail);
    assert!(
        bled.reasons[0].what.starts_with("skin_shows"),
        "{:?}",
        bled.reasons[0]
    );
    assert!(
        bled.reasons[0].say.contains("inner right thigh"),
        "{}",
        bled.reasons[0].say
    );
    assert!(
        bled.rig_findings
            .iter()
            .any(|finding| finding.code == "wrong_side_weight")
    );
    // Independent figures: standing 243 cm² of inner skin 8.6 mm deep; at heel strike of the walk 286 cm², 14 mm.
    assert!(near(
        number(&bled, "standing", "skin_shows.inner.area_cm2"),
        243.0,
        1.0
    ));
    assert!(near(
        number(&bled, "standing", "skin_shows.inner.depth_mm"),
        8.6,
        0.0
    ));
    assert!(near(
        number(&bled, "walk", "skin_shows.inner.area_cm2"),
        286.0,
        1.0
    ));
    assert!(near(
        number(&bled, "walk", "skin_shows.inner.depth_mm"),
        14.0,
        0.0
    ));

    let smooth = try_on(
        &rigs,
        "trousers/trousers_average_defect_oversmooth.glb",
        &["standing", "sitting"],
    );
    assert_eq!(smooth.verdict, Verdict::Fail);
    let unlike = smooth
        .rig_findings
        .iter()
        .find(|finding| finding.code == "weights_unlike_skin")
        .unwrap();
    assert!(unlike.count > 1000, "{unlike:?}");

    let row = try_on(
        &rigs,
        "trousers/trousers_average_defect_unnormalised_row.glb",
        &["standing", "running"],
    );
    let fault = row
        .rig_findings
        .iter()
        .find(|finding| finding.severity == Severity::Fault)
        .unwrap();
    assert_eq!((fault.code.as_str(), fault.count), ("rows_unnormalised", 1));
    assert!(
        fault.say.contains("0.620") && fault.place == "vertex 172",
        "{fault:?}"
    );
    assert_eq!(row.verdict, Verdict::Fail);
    assert_eq!(
        pose_of(&row, "standing").verdict,
        Verdict::Pass,
        "the row is left out of the measures"
    );
    // Nor does it turn its neighbours' normals: what shows is what shows on the sound trousers.
    let sound = try_on(&rigs, "trousers/trousers_average_build9.glb", &["running"]);
    for (own, plain) in pose_of(&row, "running")
        .frames
        .iter()
        .zip(&pose_of(&sound, "running").frames)
    {
        for path in [
            "skin_shows.inner.area_cm2",
            "skin_shows.anywhere.over_3mm_cm2",
            "pinch.flipped_seen_cm2",
        ] {
            let (own, plain) = (own.measures.get(path).unwrap(), plain.measures.get(path).unwrap());
            assert!((own - plain).abs() < 0.05, "{path}: {own} and {plain}");
        }
    }
}

fn chair_plan() -> Plan {
    angles("demand: seated\nangles: { hips: { flexion: 90, abduction: 5 }, knees: { flexion: 90 } }\n")
}

/// Covered skin outside the nearest fabric of its part and neighbours, where that faces the same way, cm2.
fn outside_facing_fabric(dressed: &Dressed, plan: &Plan) -> f64 {
    let world = gusset::fitting::joints_at(dressed, &plan.sequences[0].frames[0]);
    let mut scratch = gusset::contact::Scratch::new(&dressed.body, &dressed.layers);
    let moment = gusset::fitting::meet(dressed, &world, &mut scratch);
    let (layer, skin) = (moment.layer, &moment.layer.skin);
    let is_out = |point: usize| {
        let at = moment.skin_at(point);
        let found = moment
            .posed
            .tree
            .closest(at, f32::INFINITY, skin.mask[point], None)
            .unwrap();
        let edges = &layer.edges;
        let on_edge = edges.holds(
            &layer.topology,
            &layer.surface.triangles,
            found.triangle,
            found.feature,
        );
        let normals = moment.fabric_normals();
        let body = &dressed.body.surface;
        let own =
            gusset::contact::layer::vertex_or_face_normal(&skin.points, point, body, &moment.skin_normals());
        let other = normals.face(found.triangle);
        let facing = (0..3).map(|k| own[k] * other[k]).sum::<f32>() > 0.0;
        facing && !on_edge && gusset::geometry::signed::clearance(at, &found, &normals) > 0.2e-3
    };
    let area = (0..skin.points.len())
        .filter(|&point| is_out(point))
        .map(|point| skin.points.area[point]);
    area.sum::<f64>() * 1e4
}

#[test]
fn clean_trousers_do_not_stand_off_standing_or_walking() {
    let Some(rigs) = support::rigs() else { return };
    let fitting = try_on(
        &rigs,
        "trousers/trousers_average_build9.glb",
        &["standing", "walk"],
    );
    for pose in &fitting.poses {
        assert!(!pose.frames.is_empty());
        for frame in &pose.frames {
            assert_eq!(
                frame.measures.get("lift.area_cm2"),
                Some(0.0),
                "{} {}",
                pose.pose,
                frame.frame
            );
        }
    }
}

#[test]
fn independent_figures_on_a_chair_and_in_a_squat() {
    let Some(rigs) = support::rigs() else { return };
    let dressed = wear(&rigs, AVERAGE, "trousers/trousers_average_build9.glb");
    let chair = run(&dressed, &chair_plan(), &|| ());
    for (path, figure) in [
        ("stretch.raw.p99", 1.65),
        ("stretch.beyond_skin.p99", 1.10),
        ("stretch.beyond_skin.worst_5cm2", 1.21),
    ] {
        assert!(
            (number(&chair, "figure", path) - figure).abs() < 0.01,
            "{path} {}",
            number(&chair, "figure", path)
        );
    }
    assert!(near(number(&chair, "figure", "buried.depth_mm"), 2.2, 0.05));
    assert!(near(number(&chair, "figure", "buried.area_cm2"), 35.0, 1.0));
    assert!(near(
        number(&chair, "figure", "skin_shows.inner.area_cm2"),
        1.6,
        1.0
    ));
    assert_eq!(number(&chair, "figure", "lift.area_cm2"), 0.0);
    // The independent figure is 5.0 cm2; an independent count by rays (reference/seen.py, embree) finds 3.00 that became
    // visible.
    let seen = number(&chair, "figure", "skin_shows.inner.area_cm2")
        + number(&chair, "figure", "skin_shows.edge.area_cm2");
    assert!(near(seen, 3.0, 1.0), "{seen}");
    // Without the samples whose nearest fabric faces the other way, which the independent count leaves out.
    let outside = outside_facing_fabric(&dressed, &chair_plan());
    assert!(near(outside, 54.0, 1.0), "{outside}");
    let squat = run(
        &dressed,
        &angles(
            "demand: hard\nangles: { hips: { flexion: 95, abduction: 15, rotation: 10 }, knees: { flexion: 135 } }\n",
        ),
        &|| (),
    );
    let seen = number(&squat, "figure", "skin_shows.inner.area_cm2")
        + number(&squat, "figure", "skin_shows.edge.area_cm2");
    assert!(near(seen, 26.0, 1.0), "{seen}");
    assert!(near(
        number(&squat, "figure", "skin_shows.outside.area_cm2"),
        362.0,
        1.0
    ));
    assert!(near(number(&squat, "figure", "buried.area_cm2"), 304.0, 1.0));
    assert!(near(number(&squat, "figure", "buried.depth_mm"), 6.7, 0.05));
}

/// Build 9 against build 0 where it matters: legs together there is no room for the one, apart and crossed the other
/// shows skin.
#[test]
fn independent_figures_of_the_build_poses() {
    let Some(rigs) = support::rigs() else { return };
    let demands = [
        "demand: upright\nangles: { hips: { flexion: 0, abduction: 0 }, knees: { flexion: 0 } }\n",
        "demand: hard\nangles: { hips: { flexion: 0, abduction: 45, rotation: 20 }, knees: { flexion: 0 } }\n",
        "demand: hard\nangles: { hips: { flexion: 95, abduction: 29, rotation: 62 }, knees: { flexion: 120 } }\n",
    ];
    // Fabric through the legs' fabric standing: mm, cm2. Skin that shows in the split and cross-legged: all, inner, cm2.
    let figures = [
        (
            "trousers/trousers_average_build9.glb",
            [5.0, 62.0],
            [[0.0, 0.0], [34.0, 25.0]],
        ),
        (
            "trousers/trousers_average_build0.glb",
            [0.0, 0.0],
            [[154.0, 117.0], [297.0, 281.0]],
        ),
    ];
    for (garment, standing, shows) in figures {
        let dressed = wear(&rigs, AVERAGE, garment);
        let [stand, split, crossed] = demands.map(|text| run(&dressed, &angles(text), &|| ()));
        let depth = number(&stand, "figure", "part_contact.fabric.depth_mm");
        let area = number(&stand, "figure", "part_contact.fabric.area_cm2");
        assert!(near(depth, standing[0], 0.1), "{garment}: {depth}");
        assert!(near(area, standing[1], 1.0), "{garment}: {area}");
        let class = pose_of(&stand, "figure").frames[0]
            .measures
            .words
            .get("part_contact.fabric.class");
        assert_eq!(
            class.map(String::as_str),
            (standing[1] > 0.0).then_some("no_room")
        );
        for (fitting, [all, inner]) in [split, crossed].iter().zip(shows) {
            let found = number(fitting, "figure", "skin_shows.inner.area_cm2");
            let seen = found + number(fitting, "figure", "skin_shows.edge.area_cm2");
            assert!(near(found, inner, 1.0), "{garment}: inner {found}, not {inner}");
            assert!(near(seen, all, 1.0), "{garment}: {seen}, not {all}");
            assert_eq!(number(fitting, "figure", "uncovered.inner.area_cm2"), 0.0);
        }
    }
}

#[test]
fn flipped_and_thick_cloth_measure_as_the_plain_one() {
    let Some(rigs) = support::rigs() else { return };
    let names = ["standing", "sitting", "squat", "running", "range_of_motion"];
    let plain = try_on(&rigs, "trousers/trousers_average_build9.glb", &names);
    let flipped = try_on(&rigs, "trousers/trousers_average_build9_flipped.glb", &names);
    for pose in names {
        assert_eq!(pose_of(&plain, pose).verdict, pose_of(&flipped, pose).verdict);
        for (path, value) in &pose_of(&plain, pose).frames[0].measures.values {
            // Turned triangles begin at another corner: sums round differently, nothing more.
            let (a, b) = (value.unwrap(), number(&flipped, pose, path));
            assert!(
                (a - b).abs() <= 1e-4 * a.abs().max(1.0),
                "{pose} {path}: {a} and {b}"
            );
        }
    }
    let turned = flipped
        .rig_findings
        .iter()
        .find(|finding| finding.code == "flipped_fabric")
        .unwrap();
    assert_eq!(turned.count, 3110);
    let thick = try_on(&rigs, "trousers/trousers_average_build9_thick.glb", &names);
    for pose in names {
        for (a, b) in pose_of(&plain, pose)
            .frames
            .iter()
            .zip(&pose_of(&thick, pose).frames)
        {
            same_within_a_sample(pose, a, b);
        }
    }
}

/// Thick cloth has the outer sheet of the plain one: nothing but a few samples in deep folds may differ.
fn same_within_a_sample(pose: &str, plain: &FrameResult, thick: &FrameResult) {
    for (path, part, least) in [
        // The inner sheet is one more surface that hides skin from a ray, so in a deep fold a little less is seen.
        ("skin_shows.inner.area_cm2", 0.06, 0.8),
        ("skin_shows.edge.area_cm2", 0.06, 0.8),
        ("skin_shows.edge.depth_mm", 0.06, 0.5),
        ("skin_shows.anywhere.over_3mm_cm2", 0.06, 0.8),
        ("buried.depth_mm", 0.02, 0.2),
        ("lift.area_cm2", 0.06, 0.8),
        ("dip.p99_mm", 0.02, 0.05),
        ("stretch.beyond_skin.p99", 0.0, 0.01),
        ("stretch.raw.p99", 0.0, 0.01),
    ] {
        let (a, b) = (
            plain.measures.get(path).unwrap(),
            thick.measures.get(path).unwrap(),
        );
        assert!(
            (a - b).abs() <= (part * a).max(least),
            "{pose} frame {} {path}: {a} and {b}",
            plain.frame
        );
    }
}

#[test]
fn a_cut_body_is_partly_tested_without_a_false_alarm() {
    let Some(rigs) = support::rigs() else { return };
    let cut = run(
        &wear(
            &rigs,
            "bodies/mhr_body_average_cut.glb",
            "trousers/trousers_average_build9.glb",
        ),
        &plan(&[]),
        &|| (),
    );
    assert_eq!(cut.verdict, Verdict::PartlyTested, "{:?}", cut.reasons.first());
    let share = cut.garments[0].over_skin_share;
    assert!((0.06..0.08).contains(&share), "{share}");
    assert!(
        cut.rig_findings
            .iter()
            .any(|finding| finding.say.contains("7 % of this garment lies over skin"))
    );
}

#[test]
fn a_hole_under_one_leg_is_partly_tested_however_much_else_lies_over_skin() {
    let Some(rigs) = support::rigs() else { return };
    let mut body =
        gusset::rig::gltf::read(&rigs.join(AVERAGE), &gusset::rig::gltf::ReadOptions::default()).unwrap();
    // The left shank, cut away as for a boot.
    let mesh = &mut body.meshes[0];
    let positions = mesh.positions.clone();
    let top = positions.iter().map(|p| p[1]).fold(f32::MIN, f32::max);
    let gone = |corner: &u32| {
        let [x, y, _] = positions[*corner as usize];
        x > 0.0 && y > 0.07 * top && y < 0.25 * top
    };
    let before = mesh.triangles.len();
    mesh.triangles.retain(|corners| !corners.iter().any(gone));
    assert!(mesh.triangles.len() < before);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("cut_leg.glb");
    std::fs::write(&file, Piece::plain("cut_leg", &body).glb()).unwrap();
    let outfit = Outfit {
        body: Some(file),
        garment: rigs.join("trousers/trousers_average_build9.glb"),
        ..Outfit::default()
    };
    let fitting = run(&dress(&outfit).unwrap(), &plan(&["standing", "sitting"]), &|| ());
    assert!(fitting.garments[0].over_skin_share > 0.75);
    assert_eq!(
        fitting.verdict,
        Verdict::PartlyTested,
        "{:?}",
        fitting.reasons.first()
    );
    assert!(
        fitting.reasons[0].say.contains("skin is missing"),
        "{}",
        fitting.reasons[0].say
    );
}

#[test]
fn one_file_works_by_mesh_and_unchosen_gets_a_proposal() {
    let Some(rigs) = support::rigs() else { return };
    let file = rigs.join("one_file/average_dressed.glb");
    let unchosen = dress(&Outfit {
        garment: file.clone(),
        ..Outfit::default()
    })
    .unwrap_err()
    .to_string();
    assert!(
        unchosen.contains("--garment-mesh \"trousers\"") && unchosen.contains("--body-mesh \"body\""),
        "{unchosen}"
    );
    let chosen = Outfit {
        garment: file,
        garment_meshes: vec!["trousers".into()],
        ..Outfit::default()
    };
    let one = run(&dress(&chosen).unwrap(), &plan(&["standing", "sitting"]), &|| ());
    let two = try_on(
        &rigs,
        "trousers/trousers_average_build9.glb",
        &["standing", "sitting"],
    );
    for pose in ["standing", "sitting"] {
        assert_eq!(
            pose_of(&one, pose).frames[0].measures,
            pose_of(&two, pose).frames[0].measures,
            "the same pair in one file"
        );
    }
}

#[test]
fn a_garment_alone_is_partly_tested() {
    let Some(rigs) = support::rigs() else { return };
    let outfit = Outfit {
        garment: rigs.join("trousers/trousers_average_build9.glb"),
        ..Outfit::default()
    };
    let alone = run(&dress(&outfit).unwrap(), &plan(&["standing", "sitting"]), &|| ());
    assert_eq!(alone.verdict, Verdict::PartlyTested);
    assert!(
        alone
            .poses
            .iter()
            .all(|pose| pose.verdict == Verdict::PartlyTested)
    );
    assert_eq!(alone.reasons[0].what, "no_body");
    assert!(alone.garments[0].over_skin_share.is_sign_positive());
    assert!(number(&alone, "sitting", "stretch.raw.p99") > 1.3);
    assert_eq!(
        pose_of(&alone, "sitting").frames[0]
            .measures
            .get("skin_shows.inner.area_cm2"),
        None
    );
}

#[test]
fn another_bodys_garment_stops() {
    let Some(rigs) = support::rigs() else { return };
    let other = try_on(&rigs, "trousers/trousers_slim_build9.glb", &["standing"]);
    assert_eq!(other.verdict, Verdict::CouldNotRun);
    assert!(other.poses.is_empty());
}

#[test]
fn the_synthetic_clip_has_numbers_for_every_key() {
    let Some(rigs) = support::rigs() else { return };
    let dressed = wear(&rigs, "synthetic/body.glb", "synthetic/trousers.glb");
    let wanted = clip::find(&dressed.rig, "poses32").unwrap().clone();
    let sequence = Sequence::of_clip(0, &wanted, Demand::Hard);
    let fitting = run(
        &dressed,
        &Plan {
            sequences: vec![sequence],
            ..Plan::default()
        },
        &|| (),
    );
    assert_eq!(fitting.poses[0].frames.len(), 32);
    for frame in &fitting.poses[0].frames {
        for (path, value) in &frame.measures.values {
            assert!(value.is_some_and(f64::is_finite), "key {}: {path}", frame.frame);
        }
    }
}

#[test]
fn the_eighteen_encodings_pose_alike() {
    let Some(rigs) = support::rigs() else { return };
    let plan = plan(&["sitting"]);
    let posed = |garment: &str| {
        let dressed = wear(&rigs, AVERAGE, garment);
        let world = gusset::fitting::joints_at(&dressed, &plan.sequences[0].frames[0]);
        let mut scratch = gusset::contact::Scratch::new(&dressed.body, &dressed.layers);
        scratch.pose(&dressed.body, &dressed.layers, &world);
        // Encodings order and split vertices differently: compare as a set of places by nearest distance.
        scratch.layer_positions(0).to_vec()
    };
    let base = posed("trousers/trousers_average_build9.glb");
    let mut files: Vec<_> = std::fs::read_dir(rigs.join("encodings"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".glb") || name.ends_with(".gltf"))
        .collect();
    files.sort();
    assert_eq!(files.len(), 18);
    for file in files {
        // The two quantised files hold other weights at 16 vertices of the front waist, by up to 0.03 (vertex 109: 0.476
        // of the hips against 0.449), far more than quantisation; the rest moves by what 8 or 16 bits allow.
        let (most, strays) = match file.as_str() {
            "weights_u8norm.glb" => (1.5e-3, 16),
            "weights_u16norm.glb" => (1e-5, 16),
            _ => (1e-5, 0),
        };
        let own = posed(&format!("encodings/{file}"));
        // Both ways: a vertex that is lost or stands for another would be near to something in one of them.
        for (from, to) in [(&own, &base), (&base, &own)] {
            let off: Vec<f32> = from
                .iter()
                .map(|p| nearest(p, to))
                .filter(|distance| *distance > most)
                .collect();
            assert!(
                off.len() <= strays,
                "{file}: {} vertices are off: {off:?}",
                off.len()
            );
            assert!(off.iter().all(|distance| *distance < 4.5e-3), "{file}: {off:?}");
        }
    }
}

fn nearest(point: &[f32; 3], others: &[[f32; 3]]) -> f32 {
    let distance_sq = |other: &[f32; 3]| (0..3).map(|k| (point[k] - other[k]).powi(2)).sum::<f32>();
    others
        .iter()
        .map(distance_sq)
        .fold(f32::INFINITY, f32::min)
        .sqrt()
}
