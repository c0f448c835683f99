//! What a garment shows as built on this body: flipped fabric, fabric inside the skin, how much lies over skin, weights
//! against those of the skin beneath.

use super::finding;
use crate::contact::layer::NOBODY;
use crate::contact::{Body, Layer};
use crate::outcome::{Finding, Severity};
use crate::rig::bone::{Bone, Side};
use crate::rig::part::Part;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use std::collections::BTreeMap;

/// More fabric than this share inside its home skin as built is worth a note.
const INSIDE_NOTE: f64 = 0.005;
/// More than this share: the garment was made for another body.
const INSIDE_STOP: f64 = 0.10;
/// Weights that differ by more than this (half the sum of differences) are unlike.
const UNLIKE: f64 = 0.05;
/// More fabric than this share over a hole in the skin: the garment is only partly tested.
const OVER_HOLE: f64 = 0.02;
/// Code of the finding that part of the garment lies where skin is missing.
pub const PARTLY_OVER_SKIN: &str = "partly_over_skin";

/// A part that is turned against the rest must be this large to be a fault, square metres at the scale of 1.
const TURNED_PART: f64 = 1e-4;

/// A garment that is turned as a whole measures the same once it is turned back, and most engines have a switch for
/// it: a note. A panel that is turned against the rest is a hole wherever only outer sides are drawn: a fault.
pub(super) fn flipped(body: &Body, layer: &Layer) -> Option<Finding> {
    let scale = f64::from(body.scale());
    let part = layer.flipped_part > TURNED_PART * scale * scale;
    let say = if part {
        format!(
            "{} triangles of the fabric face inward while the rest faces outward: a hole where only outer sides are \
             drawn. They were turned for measuring.",
            layer.flipped
        )
    } else if layer.flipped == 1 {
        "1 triangle of the fabric faces inward; it was turned for measuring.".into()
    } else {
        format!(
            "{} triangles of the fabric face inward; they were turned for measuring.",
            layer.flipped
        )
    };
    (layer.flipped > 0).then(|| {
        finding(
            "flipped_fabric",
            if part { Severity::Fault } else { Severity::Note },
            &layer.surface.name,
            layer.flipped,
            String::new(),
            say,
            "Turn the normals outward; most games draw only the outer side.",
        )
    })
}

pub(super) fn inside(body: &Body, layer: &Layer) -> Option<Finding> {
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

/// What to do about a garment that covers nothing: its size may say why.
fn wrong_size(layer: &Layer) -> String {
    let size = |positions: &[[f32; 3]]| {
        let mut bounds = [[f32::INFINITY; 3], [f32::NEG_INFINITY; 3]];
        for position in positions {
            for (axis, value) in position.iter().enumerate() {
                bounds[0][axis] = bounds[0][axis].min(*value);
                bounds[1][axis] = bounds[1][axis].max(*value);
            }
        }
        let sides: [f64; 3] = std::array::from_fn(|axis| f64::from(bounds[1][axis] - bounds[0][axis]));
        sides.iter().map(|side| side * side).sum::<f64>().sqrt()
    };
    let (body, garment) = (size(&layer.body_as_built), size(&layer.surface.positions));
    let times = garment / body.max(1e-9);
    if (0.05..4.0).contains(&times) {
        return "Check that body and garment belong together and stand in the same place.".into();
    }
    format!(
        "It is {} times as large as the body: apply the scale in your 3-D program (1 unit is 1 metre) and export again.",
        crate::units::number(times)
    )
}

/// How much of the garment is tested, and whether it covers anything.
pub(super) fn over_skin(body: &Body, layer: &Layer) -> Option<Finding> {
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
            &wrong_size(layer),
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

pub(super) fn vertex_of(layer: &Layer, point: usize) -> usize {
    let points = &layer.fabric.points;
    let corner = points.barycentric[point]
        .iter()
        .position(|weight| *weight > 0.5)
        .unwrap_or(0);
    layer.surface.triangles[points.triangle[point] as usize][corner] as usize
}

pub(super) fn unlike_skin(body: &Body, layer: &Layer) -> Option<Finding> {
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
pub(super) fn wrong_side(body: &Body, layer: &Layer) -> Option<Finding> {
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
