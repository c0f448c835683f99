//! What the rigs show before any pose: weight rows, joints, fabric inside the skin. Counted, never one line a vertex.

mod mesh; // degenerate triangles, loose parts, influences, uneven texture
mod weights; // jumps, mirrored sides, missing and still joints

use crate::contact::layer::NOBODY;
use crate::contact::{Body, Layer};
use crate::geometry::topology::Topology;
use crate::geometry::weld;
use crate::outcome::{Finding, Severity};
use crate::rig::Remark;
use crate::rig::anatomy::Anatomy;
use crate::rig::bone::{Bone, Side};
use crate::rig::part::Part;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::{RowFault, Surface, row_fault};
use crate::skin::Pairing;
use nalgebra::Vector3;
use std::collections::BTreeMap;

/// More fabric than this share inside its home skin as built is worth a note.
const INSIDE_NOTE: f64 = 0.005;
/// More than this share: the garment was made for another body.
const INSIDE_STOP: f64 = 0.10;
/// Bone lengths that differ by more than this share: another skeleton.
const LENGTH_TOLERANCE: f64 = 0.02;
/// A scale off by this factor or more is named as one.
const SCALE_FACTOR: f64 = 10.0;
/// Weights that differ by more than this (half the sum of differences) are unlike.
const UNLIKE: f64 = 0.05;
/// More fabric than this share over a hole in the skin: the garment is only partly tested.
const OVER_HOLE: f64 = 0.02;
/// Code of the finding that part of the garment lies where skin is missing.
pub const PARTLY_OVER_SKIN: &str = "partly_over_skin";
/// Rest axes of matched joints may differ by this, radians.
const AXES_TOLERANCE: f64 = 0.09;

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

/// Rows that do not add up to 1, are empty, or hold something that is no weight.
pub fn of_rows(surface: &Surface) -> Vec<Finding> {
    let mut kinds: BTreeMap<&str, Vec<(usize, f64)>> = BTreeMap::new();
    for vertex in 0..surface.positions.len() {
        let code = match row_fault(&surface.rows, vertex) {
            None => continue,
            Some(RowFault::NotFinite) => "rows_not_finite",
            Some(RowFault::Negative) => "rows_negative",
            Some(RowFault::Zero) => "rows_zero",
            Some(RowFault::Unnormalised) => "rows_unnormalised",
        };
        let sum: f64 = surface
            .rows
            .row(vertex)
            .map(|(_, weight)| f64::from(weight))
            .sum();
        kinds.entry(code).or_default().push((vertex, sum));
    }
    let mut findings: Vec<Finding> = kinds
        .iter()
        .map(|(code, rows)| row_finding(surface, code, rows))
        .collect();
    let faulty: usize = kinds.values().map(Vec::len).sum();
    if faulty * 2 > surface.positions.len() {
        findings.push(finding(
            "most_rows_faulty",
            Severity::Stop,
            &surface.name,
            faulty,
            String::new(),
            format!(
                "{faulty} of {} weight rows of {} are faulty.",
                surface.positions.len(),
                surface.name
            ),
            "Normalise the weights in your 3-D program and export again.",
        ));
    }
    findings
}

fn row_finding(surface: &Surface, code: &str, rows: &[(usize, f64)]) -> Finding {
    let off = |sum: f64| {
        if sum.is_finite() {
            (sum - 1.0).abs()
        } else {
            f64::INFINITY
        }
    };
    let worst = rows.iter().fold(
        rows[0],
        |worst, row| if off(row.1) > off(worst.1) { *row } else { worst },
    );
    let vertex = surface.sources[worst.0].1;
    let many = if rows.len() == 1 {
        "1 vertex has".into()
    } else {
        format!("{} vertices have", rows.len())
    };
    let (what, help) = match code {
        "rows_not_finite" => (
            "a weight that is not a number",
            "Repaint these vertices, or remove the bad weights, and export again.",
        ),
        "rows_negative" => (
            "a negative weight",
            "Clamp negative weights to 0, normalise, and export again.",
        ),
        "rows_zero" => (
            "no weight at all",
            "Assign these vertices to a joint and export again.",
        ),
        _ => (
            "weights that do not add up to 1",
            "Normalise all weights and export again.",
        ),
    };
    let sum = if code == "rows_unnormalised" {
        format!(", worst sum {:.3}", worst.1)
    } else {
        String::new()
    };
    finding(
        code,
        Severity::Fault,
        &surface.name,
        rows.len(),
        format!("vertex {vertex}"),
        format!("{many} {what} (worst: vertex {vertex}{sum}); left out of every measure."),
        help,
    )
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
    findings.extend(flipped(layer));
    findings.extend(inside(body, layer));
    findings.extend(over_skin(body, layer));
    findings.extend(unlike_skin(body, layer));
    findings.extend(wrong_side(body, layer));
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

fn flipped(layer: &Layer) -> Option<Finding> {
    (layer.flipped > 0).then(|| {
        finding(
            "flipped_fabric",
            Severity::Note,
            &layer.surface.name,
            layer.flipped,
            String::new(),
            format!(
                "{} triangles of the fabric face inward; they were turned for measuring.",
                layer.flipped
            ),
            "Turn the normals outward; most games draw only the outer side.",
        )
    })
}

fn inside(body: &Body, layer: &Layer) -> Option<Finding> {
    let fabric = &layer.fabric;
    let mut area = 0.0;
    let mut worst: Option<(f32, usize)> = None;
    for (point, &ease) in fabric.ease.iter().enumerate() {
        if ease < 0.0 {
            area += fabric.points.area[point];
            if worst.is_none_or(|(least, _)| ease < least) {
                worst = Some((ease, point));
            }
        }
    }
    let share = area / layer.area().max(1e-12);
    let (depth, point) = worst.filter(|_| share > INSIDE_NOTE)?;
    let severity = if share > INSIDE_STOP {
        Severity::Stop
    } else {
        Severity::Note
    };
    let part = body.parts[fabric.home[point] as usize];
    Some(finding(
        "fabric_inside_as_built",
        severity,
        &layer.surface.name,
        1,
        part.words(),
        format!(
            "{:.1} % of the fabric lies inside the skin as built, up to {} mm at the {}.",
            share * 100.0,
            crate::units::number(-f64::from(depth) * 1e3),
            part.words()
        ),
        if severity == Severity::Stop {
            "This garment was made for another body: refit it first."
        } else {
            "Pull it out of the skin before looking at poses."
        },
    ))
}

/// How much of the garment is tested, and whether it covers anything.
fn over_skin(body: &Body, layer: &Layer) -> Option<Finding> {
    if body.surface.triangles.is_empty() {
        return None;
    }
    let share = layer.area_over_skin() / layer.area().max(1e-12);
    if layer.skin.points.is_empty() || layer.covered_area() <= 0.0 {
        return Some(finding(
            "covers_no_skin",
            Severity::Stop,
            &layer.surface.name,
            1,
            String::new(),
            "This garment covers no skin of this body as built.".into(),
            "Check that body and garment belong together and stand in the same place.",
        ));
    }
    // Fabric that hangs free of a whole skin is as it should be; fabric over a hole could not be tested.
    let over_hole = layer.area_over_hole() / layer.area().max(1e-12);
    let part = over_hole > OVER_HOLE;
    (part || share < 0.995).then(|| {
        finding(
            if part { PARTLY_OVER_SKIN } else { "not_all_over_skin" },
            Severity::Note,
            &layer.surface.name,
            1,
            String::new(),
            format!(
                "{:.0} % of this garment lies over skin{}; the rest is not tested for room, stand-off and pull beyond the skin.",
                share * 100.0,
                if part {
                    format!(", and {:.0} % where the body is open and skin is missing", over_hole * 100.0)
                } else {
                    String::new()
                }
            ),
            if part {
                "Test on the whole body where you have it."
            } else {
                "Nothing to do where it is meant to hang free."
            },
        )
    })
}

/// Weights by part of the body's joints: what a row says, whatever the joints are called.
fn by_joint(
    surface: &Surface,
    vertex: usize,
    to_body: &impl Fn(usize) -> Option<usize>,
    scale: f64,
    into: &mut BTreeMap<usize, f64>,
) {
    for (bind, weight) in surface.rows.row(vertex) {
        if let Some(node) = to_body(surface.binds[bind].node) {
            *into.entry(node).or_insert(0.0) += scale * f64::from(weight);
        }
    }
}

/// Half the sum of differences between a fabric vertex's weights and those of the skin beneath it, 0 to 1.
fn unlike_at(body: &Body, layer: &Layer, point: usize) -> Option<f64> {
    let home = layer.fabric.home[point];
    if home == NOBODY {
        return None;
    }
    let vertex = vertex_of(layer, point);
    let mut difference = BTreeMap::new();
    by_joint(
        &layer.surface,
        vertex,
        &|node| layer.pairing.driver[node],
        1.0,
        &mut difference,
    );
    // The skin triangle's corners stand for the home point: over a triangle of skin weights hardly change.
    for &corner in &body.surface.triangles[home as usize] {
        by_joint(&body.surface, corner as usize, &Some, -1.0 / 3.0, &mut difference);
    }
    Some(difference.values().map(|value| value.abs()).sum::<f64>() / 2.0)
}

fn vertex_of(layer: &Layer, point: usize) -> usize {
    let points = &layer.fabric.points;
    let corner = points.barycentric[point]
        .iter()
        .position(|weight| *weight > 0.5)
        .unwrap_or(0);
    layer.surface.triangles[points.triangle[point] as usize][corner] as usize
}

fn unlike_skin(body: &Body, layer: &Layer) -> Option<Finding> {
    let mut count = 0;
    let mut worst: Option<(f64, usize)> = None;
    for point in 0..layer.fabric.points.vertices {
        let Some(unlike) = unlike_at(body, layer, point).filter(|unlike| *unlike > UNLIKE) else {
            continue;
        };
        count += 1;
        if worst.is_none_or(|(most, _)| unlike > most) {
            worst = Some((unlike, point));
        }
    }
    let (most, point) = worst?;
    let vertex = layer.surface.sources[vertex_of(layer, point)].1;
    let part = body.parts[layer.fabric.home[point] as usize];
    Some(finding(
        "weights_unlike_skin",
        Severity::Note,
        &layer.surface.name,
        count,
        format!("vertex {vertex}, {}", part.words()),
        format!(
            "{} of {} vertices over skin have weights unlike the skin beneath, up to {:.0} % (vertex {vertex}, {}).",
            crate::units::grouped(count as f64),
            crate::units::grouped(layer.fabric.points.vertices as f64),
            most * 100.0,
            part.words()
        ),
        "Copy the skin's weights there if a pose shows a fault at that place.",
    ))
}

/// Weight on the other side's limbs beyond what the skin beneath has: the crotch has honest wrong-side weight.
fn wrong_side(body: &Body, layer: &Layer) -> Option<Finding> {
    let side_weight = |surface: &Surface, skeleton: &Skeleton, vertex: usize, side: Side| -> f64 {
        surface
            .rows
            .row(vertex)
            .filter(|(bind, _)| {
                skeleton.moved_by(surface.binds[*bind].node).and_then(Bone::side) == Some(side)
            })
            .map(|(_, weight)| f64::from(weight))
            .sum()
    };
    let mut count = 0;
    let mut worst: Option<(f64, usize, Part)> = None;
    for point in 0..layer.fabric.points.vertices {
        let home = layer.fabric.home[point];
        if home == NOBODY {
            continue;
        }
        let part = body.parts[home as usize];
        let side = match part {
            Part::Thigh(side) | Part::Shank(side) | Part::UpperArm(side) | Part::Forearm(side) => side,
            _ => continue,
        };
        let own = side_weight(
            &layer.surface,
            &layer.skeleton,
            vertex_of(layer, point),
            side.mirror(),
        );
        let skin: f64 = body.surface.triangles[home as usize]
            .iter()
            .map(|&corner| side_weight(&body.surface, &body.skeleton, corner as usize, side.mirror()) / 3.0)
            .sum();
        let more = own - skin;
        if more > UNLIKE {
            count += 1;
            if worst.as_ref().is_none_or(|(most, ..)| more > *most) {
                worst = Some((more, point, part));
            }
        }
    }
    let (more, point, part) = worst?;
    let vertex = layer.surface.sources[vertex_of(layer, point)].1;
    Some(finding(
        "wrong_side_weight",
        Severity::Note,
        &layer.surface.name,
        count,
        format!("vertex {vertex}, {}", part.words()),
        format!(
            "{count} vertices over one leg or arm follow the other side more than the skin beneath does, up to {:.0} % (vertex {vertex}, {}).",
            more * 100.0,
            part.words()
        ),
        "Remove the other side's weight there, down to the skin's share.",
    ))
}

/// Whether a garment was bound to this skeleton: matched joints, bone lengths, rest axes, scale.
pub fn of_match(garment: &str, driven: &Skeleton, body: &Skeleton, pairing: &Pairing) -> Vec<Finding> {
    let weighted: Vec<usize> = (0..driven.joints.len())
        .filter(|&node| driven.joints[node].weighted)
        .collect();
    let unmatched: Vec<usize> = weighted
        .iter()
        .copied()
        .filter(|&node| pairing.driver[node].is_none())
        .collect();
    if unmatched.len() == weighted.len() {
        return vec![finding(
            "no_joint_matches",
            Severity::Stop,
            garment,
            weighted.len(),
            weighted
                .first()
                .map_or_else(String::new, |&node| driven.label(node)),
            "None of the garment's joints matches a joint of the body, by name or by role.".into(),
            "Bind the garment to the body's skeleton, or give its joints the same names.",
        )];
    }
    let mut findings = Vec::new();
    if !unmatched.is_empty() {
        let names: Vec<String> = unmatched.iter().take(5).map(|&node| driven.label(node)).collect();
        findings.push(finding(
            "joints_only_garment",
            Severity::Note,
            garment,
            unmatched.len(),
            names.join(", "),
            format!(
                "{} joints with weight exist only in the garment: {}.",
                unmatched.len(),
                names.join(", ")
            ),
            "They follow their nearest matched parent; swinging joints of a runtime are not simulated.",
        ));
    }
    findings.extend(another_skeleton(garment, driven, body, pairing, &weighted));
    findings
}

fn another_skeleton(
    garment: &str,
    driven: &Skeleton,
    body: &Skeleton,
    pairing: &Pairing,
    weighted: &[usize],
) -> Option<Finding> {
    let mut ratios: Vec<(f64, usize)> = Vec::new();
    let mut turned: Vec<(f64, usize)> = Vec::new();
    for &node in weighted {
        let Some((own, theirs)) = bone_vectors(driven, body, pairing, node) else {
            continue;
        };
        if theirs.norm() > 0.01 || own.norm() > 0.01 {
            ratios.push((own.norm() / theirs.norm().max(1e-6), node));
            turned.push((own.angle(&theirs), node));
        }
    }
    ratios.sort_by(|a, b| a.0.total_cmp(&b.0));
    let median = ratios.get(ratios.len() / 2)?.0;
    if !(1.0 / SCALE_FACTOR..SCALE_FACTOR).contains(&median) {
        return Some(finding(
            "scale",
            Severity::Stop,
            garment,
            ratios.len(),
            driven.label(ratios[ratios.len() / 2].1),
            format!("The garment's skeleton is {median:.3} times the size of the body's."),
            "Apply the scale in your 3-D program (1 unit is 1 metre) and export again.",
        ));
    }
    let off = |pair: &(f64, usize)| (pair.0 - 1.0).abs();
    let (ratio, node) = ratios.iter().copied().max_by(|a, b| off(a).total_cmp(&off(b)))?;
    if (ratio - 1.0).abs() > LENGTH_TOLERANCE {
        return Some(finding(
            "another_skeleton",
            Severity::Stop,
            garment,
            ratios.iter().filter(|pair| off(pair) > LENGTH_TOLERANCE).count(),
            driven.label(node),
            format!(
                "This garment was bound to another skeleton: the bone to {} is {:.1} % {} than the body's.",
                driven.label(node),
                (ratio - 1.0).abs() * 100.0,
                if ratio > 1.0 { "longer" } else { "shorter" }
            ),
            "Refit the garment to this body first.",
        ));
    }
    let (angle, node) = turned.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0))?;
    (angle > AXES_TOLERANCE).then(|| {
        finding(
            "rest_axes",
            Severity::Stop,
            garment,
            turned.iter().filter(|pair| pair.0 > AXES_TOLERANCE).count(),
            driven.label(node),
            format!(
                "The axes of the joint above {} are turned by {:.0} degrees against the body's: this garment was bound to another skeleton.",
                driven.label(node),
                angle.to_degrees()
            ),
            "Bind the garment to the body's own skeleton.",
        )
    })
}

/// The bone from a joint's nearest matched and weighted ancestor to it, in that ancestor's own axes: garment, body.
fn bone_vectors(
    driven: &Skeleton,
    body: &Skeleton,
    pairing: &Pairing,
    node: usize,
) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let theirs = pairing.driver[node]?;
    let parent = std::iter::successors(driven.joints[node].parent, |&at| driven.joints[at].parent)
        .find(|&at| pairing.driver[at].is_some())?;
    let their_parent = pairing.driver[parent]?;
    let local = |skeleton: &Skeleton, joint: usize, parent: usize| {
        let (joint, parent) = (&skeleton.joints[joint], &skeleton.joints[parent]);
        parent.rotation.inverse() * (joint.position - parent.position)
    };
    Some((local(driven, node, parent), local(body, theirs, their_parent)))
}
