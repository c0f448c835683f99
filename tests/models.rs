//! The GLB files of a report folder: poses with colours, and a garment with its failing places marked.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/binary.rs"]
mod binary;
#[path = "support/files.rs"]
mod files;

use binary::{gusset, refuses};
use gusset::demo::{BodyShape, Fault, Kind, Pattern, Piece, body, garment, plant};
use std::path::Path;

/// A coarse wearer and trousers that bleed from the left leg onto the right.
fn pair(folder: &Path) -> [String; 2] {
    let wearer = body(&BodyShape::woman("wren").meshed(0.022));
    let pattern = Pattern {
        ease: 0.005,
        ..Pattern::new("trousers", Kind::SlimTrousers)
    };
    let bled = plant(garment(&wearer, &pattern).rig(), Fault::Bleed);
    [("wren.glb", wearer.rig()), ("bled.glb", bled)].map(|(name, rig)| {
        let file = folder.join(name);
        std::fs::write(&file, Piece::plain(name, &rig).glb()).unwrap();
        file.display().to_string()
    })
}

/// Read by the `gltf` crate, which shares no code with the writer.
fn numbers(file: &Path, attribute: &str) -> Vec<f32> {
    let read = gltf::Gltf::from_slice(&std::fs::read(file).unwrap()).unwrap();
    let (document, blob) = (&read.document, read.blob.as_ref().unwrap());
    let mesh = document.meshes().next().unwrap();
    let primitive = mesh.primitives().next().unwrap();
    let semantic = gltf::Semantic::Extras(attribute.trim_start_matches('_').to_owned());
    let accessor = primitive.get(&semantic).unwrap();
    let view = accessor.view().unwrap();
    let start = view.offset() + accessor.offset();
    let bytes = &blob[start..start + accessor.count() * 4];
    bytes
        .chunks_exact(4)
        .map(|four| f32::from_le_bytes(four.try_into().unwrap()))
        .collect()
}

#[test]
fn failing_places_are_marked_on_the_garment_as_built() {
    let own = tempfile::tempdir().unwrap();
    let [body, bled] = pair(own.path());
    let poses = "standing,sitting,arms_up";
    let (output, place) = gusset(&[
        "try", &body, &bled, "--poses", poses, "--marks", "--glb", "failing", "-q",
    ]);
    assert_eq!(
        output.status.code(),
        Some(1),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let report = place.path().join("reports/bled_on_wren");
    let record: serde_json::Value =
        serde_json::from_slice(&std::fs::read(report.join("result.json")).unwrap()).unwrap();
    let spots = record["fittings"][0]["spots"].as_array().unwrap().len();
    let marks = numbers(&report.join("models/bled_on_wren/marked_as_built.glb"), "_SPOT");
    let marked = marks.iter().filter(|mark| **mark > 0.0).count();
    assert!(
        marked > 5 && marked < marks.len() / 2,
        "{marked} of {} are marked",
        marks.len()
    );
    let last = marks.iter().copied().fold(0.0, f32::max);
    assert!(last >= 1.0 && last <= spots as f32, "{last} of {spots} spots");
    let vertices = numbers(&report.join("models/bled_on_wren/marked_as_built.glb"), "_VERTEX");
    assert!(
        vertices
            .iter()
            .all(|vertex| vertex.fract() == 0.0 && *vertex >= 0.0)
    );
    let models = files::files(&report.join("models"));
    let failing = record["fittings"][0]["poses"].as_array().unwrap();
    let failing = failing.iter().filter(|pose| pose["verdict"] == "fail").count();
    assert_eq!(
        models.len(),
        failing + 1,
        "a model for each pose that fails, and the marks"
    );
    // The card's pictures lie beside those of the poses.
    let cards = files::files(&report.join("pictures"));
    let cards = cards
        .iter()
        .filter(|(name, _)| name.to_string_lossy().contains("place_1_"))
        .count();
    assert_eq!(cards, 3);
}

#[test]
fn every_pose_is_written_when_asked() {
    let own = tempfile::tempdir().unwrap();
    let [body, bled] = pair(own.path());
    let poses = ["--poses", "arms_up,arms_wide"];
    let (output, place) = gusset(&["try", &body, &bled, poses[0], poses[1], "--glb", "all", "-q"]);
    assert!(output.status.success() || output.status.code() == Some(1));
    let models = files::files(&place.path().join("reports/bled_on_wren/models"));
    assert_eq!(
        models.len(),
        2,
        "{models:?}",
        models = models.iter().map(|m| &m.0).collect::<Vec<_>>()
    );
}

#[test]
fn models_need_a_report_that_may_hold_geometry() {
    let own = tempfile::tempdir().unwrap();
    let [body, bled] = pair(own.path());
    refuses(
        &["try", &body, &bled, "--glb", "all", "--share"],
        &["--glb", "--share", "leave one of them out"],
    );
    refuses(
        &["try", &body, &bled, "--marks", "--no-report"],
        &["--marks", "no report is asked for", "--out"],
    );
    refuses(
        &["try", &body, &bled, "--marks", "--no-remedies"],
        &["--marks", "--no-remedies", "leave one"],
    );
}
