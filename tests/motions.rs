//! What a user asks of a motion, of a build pose and of a refit: the commands `range`, `splay` and `refit`, end to end.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/binary.rs"]
mod binary;

use binary::{gusset, refuses};
use gusset::demo::{BodyShape, Kind, Mannequin, Pattern, Piece, body, garment};
use gusset::fitting;
use gusset::measure::FabricClass;
use gusset::outcome::Demand;
use gusset::pose::{OnSide, sweep};
use gusset::rig::bone::{Bone, Side};
use gusset::rig::{Rig, Rows};
use gusset::wardrobe::dress_rigs;
use serde_json::Value;
use std::path::PathBuf;
use std::sync::OnceLock;

/// How far the opening seam lies from the hip joint, metres.
const REACH: f64 = 1.0e-3;

struct Rack {
    folder: tempfile::TempDir,
    wearer: Mannequin,
    /// Trousers with a seam across the hip joint, of which one side follows the pelvis and the other the thigh.
    tabbed: Rig,
}

fn rack() -> &'static Rack {
    static RACK: OnceLock<Rack> = OnceLock::new();
    RACK.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let shape = BodyShape {
            hip_splay: 0.0,
            ..BodyShape::woman("wren").meshed(0.022)
        };
        let wearer = body(&shape);
        let pattern = Pattern {
            build_splay: 0.0,
            ease: 0.005,
            ..Pattern::new("trousers", Kind::SlimTrousers)
        };
        let clean = garment(&wearer, &pattern).rig().clone();
        let tabbed = with_a_tab(&clean, &wearer.rig());
        let mut pulled = clean.clone();
        for mesh in &mut pulled.meshes {
            for position in &mut mesh.positions {
                position[1] *= 1.2;
            }
        }
        for (name, rig) in [
            ("wren", &wearer.rig()),
            ("trousers", &clean),
            ("tabbed", &tabbed),
            ("pulled", &pulled),
        ] {
            std::fs::write(
                folder.path().join(format!("{name}.glb")),
                Piece::plain(name, rig).glb(),
            )
            .unwrap();
        }
        Rack {
            folder,
            wearer,
            tabbed,
        }
    })
}

/// Where a joint stands as bound, metres.
fn joint(rig: &Rig, name: &str) -> [f64; 3] {
    let mesh = &rig.meshes[0];
    let bind = mesh
        .binds
        .iter()
        .find(|bind| rig.nodes[bind.node].name == name)
        .unwrap();
    let place = bind.inverse_bind.try_inverse().unwrap();
    [place[(0, 3)], place[(1, 3)], place[(2, 3)]]
}

/// Two narrow strips that meet on a short line just below the left hip joint: one rides on the pelvis, one on the thigh.
fn with_a_tab(clean: &Rig, wearer: &Rig) -> Rig {
    let [hip, knee] = ["leftUpperLeg", "leftLowerLeg"].map(|name| joint(wearer, name));
    let thigh: [f64; 3] = std::array::from_fn(|axis| knee[axis] - hip[axis]);
    let length = thigh.iter().map(|part| part * part).sum::<f64>().sqrt();
    // On the thigh's axis: turning the leg about itself moves nothing there.
    let [x, y, z]: [f64; 3] = std::array::from_fn(|axis| hip[axis] + thigh[axis] / length * REACH);
    let mut rig = clean.clone();
    let mut tab = rig.meshes[0].clone();
    tab.name = "tab".into();
    let carrier = |name: &str| {
        let of = |bind: &gusset::rig::Bind| rig.nodes[bind.node].name == name;
        tab.binds.iter().position(of).unwrap() as u16
    };
    let (pelvis, leg) = (carrier("hips"), carrier("leftUpperLeg"));
    let line = |up: f64| {
        let at = |across: f64| [(x + across) as f32, (y + up) as f32, z as f32];
        [at(-2e-4), at(2e-4)]
    };
    tab.positions = [line(0.0), line(0.02), line(0.0), line(-0.02)].concat();
    tab.triangles = vec![[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5]];
    tab.uvs = None;
    tab.hidden = Vec::new();
    tab.morphs = Vec::new();
    tab.rows = Rows {
        starts: (0..=8).collect(),
        binds: [[pelvis; 4], [leg; 4]].concat(),
        weights: vec![1.0; 8],
    };
    rig.meshes.push(tab);
    rig
}

fn path(name: &str) -> String {
    let file: PathBuf = rack().folder.path().join(format!("{name}.glb"));
    file.display().to_string()
}

fn json(words: &[&str]) -> Value {
    let (output, _place) = gusset(words);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Two places at a distance `r` from a joint part by `2 r sin(a / 2)` (chord of an arc): the limit is met at a known angle.
#[test]
fn a_seam_below_the_hip_opens_at_the_angle_of_its_chord() {
    let rack = rack();
    let dressed = dress_rigs(rack.wearer.rig(), rack.tabbed.clone());
    let limits = fitting::limits_of(&dressed, FabricClass::Rigid);
    let limit = limits.get("seam_gap.worst_mm", Demand::Upright).unwrap() * 1e-3;
    // Straight, by the rig's own trunk, is not quite how the leg was bound.
    let forward = |thigh: [f64; 3]| thigh[2].atan2(-thigh[1]);
    let [hip, knee] = ["leftUpperLeg", "leftLowerLeg"].map(|name| joint(&rack.wearer.rig(), name));
    let bound = forward(std::array::from_fn(|axis| knee[axis] - hip[axis]));
    let zero = sweep::at(
        &[(sweep::parse("hip.flexion=0:1").unwrap().what, 0.0)],
        OnSide::Left,
    );
    let straight = fitting::joints_at(&dressed, &fitting::Frame::Angles(zero));
    let [hip, knee] = [Bone::UpperLeg(Side::Left), Bone::LowerLeg(Side::Left)]
        .map(|bone| straight[dressed.body.skeleton.roles.node(bone).unwrap()]);
    let straight = forward(std::array::from_fn(|axis| knee[(axis, 3)] - hip[(axis, 3)]));
    let exact = (bound - straight + 2.0 * (limit / (2.0 * REACH)).asin()).to_degrees();
    let (wearer, tabbed) = (path("wren"), path("tabbed"));
    for steps in ["6", "40"] {
        let found = json(&[
            "range",
            &wearer,
            &tabbed,
            "--motion",
            "hip.flexion=0:40",
            "--side",
            "left",
            "--steps",
            steps,
            "--format",
            "json",
            "--quiet",
        ]);
        let opens = (found["onsets"].as_array().unwrap().iter())
            .find(|onset| onset["number"] == "seam_gap.worst_mm")
            .unwrap_or_else(|| panic!("the seam opens at {exact}: {found}"));
        let at = opens["at_deg"].as_f64().unwrap();
        assert!((0.0..=0.26).contains(&(at - exact)), "{at} for {exact}");
    }
}

#[test]
fn a_range_is_told_in_words_curves_and_maps() {
    let (wearer, tabbed) = (path("wren"), path("tabbed"));
    let (output, place) = gusset(&[
        "range",
        &wearer,
        &tabbed,
        "--motion",
        "hip.flexion=0:40",
        "--with",
        "hip.abduction=0:20",
        "--steps",
        "4",
        "--quiet",
    ]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    for words in [
        "tabbed on wren, hip flexion: clean to ",
        "a seam opens",
        "Hip flexion and hip abduction together: ",
        "25 pairs of angles are clean",
    ] {
        assert!(said.contains(words), "`{words}` is not in {said}");
    }
    let folder = place.path().join("reports/range_hip_flexion_tabbed_on_wren");
    let page = std::fs::read_to_string(folder.join("index.html")).unwrap();
    assert!(page.find("Both motions together").unwrap() < page.find("Every number over the angle").unwrap());
    for file in [
        "result.json",
        "plots/range_seam_gap_worst_mm.svg",
        "plots/range_seam_gap_worst_mm.png",
        "plots/map_seam_gap_worst_mm.png",
    ] {
        assert!(
            std::fs::metadata(folder.join(file)).unwrap().len() > 500,
            "{file}"
        );
    }
}

#[test]
fn a_build_pose_is_advised_with_both_curves() {
    let wearer = path("wren");
    let (output, place) = gusset(&["splay", &wearer, "--quiet"]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    for words in [
        "This rig is bound at 0.0 degrees",
        "Common practice, 8 to 10 degrees",
        "of room",
    ] {
        assert!(said.contains(words), "`{words}` is not in {said}");
    }
    let folder = place.path().join("reports/splay_wren");
    for file in [
        "index.html",
        "result.json",
        "plots/legs_apart.svg",
        "plots/grown_skin.png",
        "pictures/front_0.png",
        "pictures/front_bind.png",
    ] {
        assert!(folder.join(file).is_file(), "{file}");
    }
}

#[test]
fn a_refit_pulled_by_a_fifth_says_so() {
    let (trousers, pulled, wearer) = (path("trousers"), path("pulled"), path("wren"));
    let found = json(&["refit", &trousers, &pulled, "--format", "json"]);
    let regions = found["regions"].as_object().unwrap();
    assert!(regions.len() >= 8, "{found}");
    let most = (regions.values())
        .map(|region| region["most"].as_f64().unwrap())
        .fold(0.0, f64::max);
    assert!((most - 1.2).abs() < 1e-4, "{most}");
    let (output, place) = gusset(&["refit", &trousers, &pulled, "--body", &wearer]);
    assert_eq!(output.status.code(), Some(0));
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("1.2"), "{said}");
    assert!(place.path().join("reports/refit_pulled/index.html").is_file());
}

#[test]
fn what_cannot_be_swept_or_refitted_is_said() {
    let (wearer, trousers) = (path("wren"), path("trousers"));
    for (words, said) in [
        (
            vec!["range", &*wearer, &trousers, "--motion", "hip.flexon=0:90"],
            "hip.flexion",
        ),
        (
            vec!["range", &wearer, &trousers, "--motion", "hip.flexion"],
            "hip.flexion=0:120",
        ),
        (
            vec!["range", &wearer, "--motion", "hip.flexion=0:90"],
            "range needs",
        ),
        (vec!["refit", &trousers, &wearer], "vertices"),
        (vec!["splay", "missing.glb"], "missing.glb"),
    ] {
        refuses(&words, &[said]);
    }
}
