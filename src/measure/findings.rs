//! What the rigs show before any pose: weight rows, joints, fabric inside the skin. Counted, never one line a vertex.

mod matching; // bound to this skeleton?
mod mesh; // degenerate triangles, loose parts, influences, uneven texture
mod rows; // weights that do not add up
mod weights; // jumps, mirrored sides, missing and still joints
mod worn; // against the skin beneath

pub use matching::of_match;
pub use rows::of_rows;
pub use worn::PARTLY_OVER_SKIN;

use crate::contact::{Body, Layer};
use crate::geometry::topology::Topology;
use crate::geometry::weld;
use crate::outcome::{Finding, Severity};
use crate::rig::Remark;
use crate::rig::anatomy::Anatomy;
use crate::rig::hidden;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use std::collections::BTreeMap;

fn finding(
    code: &str,
    severity: Severity,
    surface: &str,
    count: usize,
    place: String,
    say: String,
    help: &str,
) -> Finding {
    Finding {
        code: code.into(),
        severity,
        surface: surface.into(),
        count: count as u64,
        place,
        say,
        help: help.into(),
    }
}

/// What the reader noticed, as notes.
pub fn of_remarks(surface: &str, remarks: &[Remark]) -> Vec<Finding> {
    let mut by_code: BTreeMap<&str, (usize, &Remark)> = BTreeMap::new();
    for remark in remarks {
        by_code.entry(remark.code).or_insert((0, remark)).0 += 1;
    }
    by_code
        .into_iter()
        .map(|(code, (count, first))| {
            finding(
                code,
                Severity::Note,
                surface,
                count,
                first.place.clone(),
                first.say.clone(),
                &first.help,
            )
        })
        .collect()
}

/// What the body shows by itself.
pub fn of_body(body: &Body) -> Vec<Finding> {
    let mut findings = of_rows(&body.surface);
    findings.extend(mesh::of_mesh(&body.surface, &body.topology));
    findings.extend(weights::jumps(
        &body.surface,
        &body.topology,
        &body.skeleton,
        |_| 0.0,
    ));
    findings.extend(weights::mirror(
        &body.surface,
        &body.topology,
        &body.skeleton,
        &body.anatomy,
    ));
    findings.extend(weights::still_joints(&body.surface, &body.skeleton));
    let hidden = hidden::share(&body.surface);
    if hidden > 0.0 {
        findings.push(finding(
            "hidden_skin",
            Severity::Note,
            &body.surface.name,
            body.surface.hidden.iter().filter(|hidden| **hidden).count(),
            String::new(),
            format!("{:.0} % of the skin is hidden by the wearer: it cannot show, but cloth that opens over it is a hole.", hidden * 100.0),
            "Nothing to do, if that is meant.",
        ));
    }
    let borders = body.topology.border_edges().count();
    if borders > 0 {
        findings.push(finding(
            "open_body",
            Severity::Note,
            &body.surface.name,
            borders,
            String::new(),
            format!("The body is open: {borders} edges have skin on one side only."),
            "Nothing is measured beyond a rim. Test on the whole body where you have it.",
        ));
    }
    if body.anatomy.toes_to_front == Some(false) {
        findings.push(finding(
            "sides_swapped",
            Severity::Note,
            &body.surface.name,
            1,
            String::new(),
            "The toes point to the back of what the joint names call left and right.".into(),
            "Check that left joints are on the wearer's left.",
        ));
    }
    findings
}

/// What a surface shows by itself, body or garment.
pub fn of_surface(surface: &Surface, skeleton: &Skeleton) -> Vec<Finding> {
    let mut findings = of_rows(surface);
    let canonical = weld::weld(&surface.positions, weld::TOLERANCE);
    let topology = Topology::new(&surface.triangles, &canonical);
    findings.extend(mesh::of_mesh(surface, &topology));
    findings.extend(mesh::inward(surface, &topology));
    findings.extend(weights::jumps(surface, &topology, skeleton, |_| 0.0));
    if let Ok(anatomy) = Anatomy::new(skeleton) {
        findings.extend(weights::mirror(surface, &topology, skeleton, &anatomy));
    }
    findings.extend(weights::still_joints(surface, skeleton));
    let unused = skeleton.joints.iter().filter(|joint| !joint.weighted).count();
    if surface.triangles.is_empty() {
        findings.push(finding(
            "no_mesh",
            Severity::Note,
            &surface.name,
            1,
            String::new(),
            "This file holds no skinned mesh.".into(),
            "Nothing can be dressed from it.",
        ));
    } else if unused > 0 {
        findings.push(finding(
            "joints_without_weight",
            Severity::Note,
            &surface.name,
            unused,
            String::new(),
            format!(
                "{} no vertex.",
                if unused == 1 {
                    "1 node moves".into()
                } else {
                    format!("{unused} nodes move")
                }
            ),
            "Nothing to do: helpers and root nodes have none.",
        ));
    }
    findings
}

/// What a garment shows on this body. The layer exists, so the joints were matched as far as they go.
pub fn of_layer(body: &Body, layer: &Layer) -> Vec<Finding> {
    let mut findings = of_rows(&layer.surface);
    findings.extend(worn::flipped(body, layer));
    findings.extend(worn::inside(body, layer));
    findings.extend(worn::over_skin(body, layer));
    findings.extend(worn::unlike_skin(body, layer));
    findings.extend(worn::wrong_side(body, layer));
    findings.extend(mesh::of_mesh(&layer.surface, &layer.topology));
    findings.extend(mesh::uneven_texture(layer));
    findings.extend(weights::jumps(
        &layer.surface,
        &layer.topology,
        &layer.skeleton,
        weights::skin_change(body, layer),
    ));
    if let Ok(anatomy) = Anatomy::new(&layer.skeleton) {
        findings.extend(weights::mirror(
            &layer.surface,
            &layer.topology,
            &layer.skeleton,
            &anatomy,
        ));
    }
    findings.extend(weights::missing_joints(body, layer));
    findings
}
