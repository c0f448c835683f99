//! How far the fabric is pulled: alone, and beyond what the skin beneath is pulled.
//!
//! Principal stretches are the singular values of the deformation gradient from the bind mesh (Sander et al. 2001).
//! Skin stretches too, over a bent knee by a third; a garment that follows it is not at fault. So the judged value
//! is the fabric's stretch over max(1, stretch of the skin beneath).

use super::statistics::least_of_worst;
use super::{At, FabricClass, Facts, Field, Limit, Measure, Number, Taken};
use crate::contact::Moment;
use crate::contact::layer::NOBODY;
use crate::geometry::corners;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "stretch",
    about: "how far the fabric is pulled",
    numbers: &[
        Number {
            path: "beyond_skin.p99",
            about: "pull beyond the skin's, but for the worst hundredth of the garment's area",
            unit: Unit::Ratio,
            limit: Some(Limit {
                most: [Some(1.10), Some(1.14), Some(1.20)],
                slack,
            }),
        },
        Number {
            path: "beyond_skin.worst_5cm2",
            about: "pull beyond the skin's on the worst 5 cm²",
            unit: Unit::Ratio,
            limit: Some(Limit::fixed(1.8, 2.0, Some(2.5))),
        },
        Number {
            path: "raw.worst",
            about: "most pulled triangle",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "raw.p99",
            about: "pull, but for the worst hundredth of the area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "raw.p95",
            about: "pull, but for the worst twentieth of the area",
            unit: Unit::Ratio,
            limit: None,
        },
    ],
    take,
    field: Some(Field {
        values: field,
        unit: Unit::Ratio,
        bottom: 1.0,
        limit: Some(1.2),
        top: 1.6,
    }),
};

/// Worst area that a single sliver cannot fill, square metres at the scale of 1.
const WORST_AREA: f64 = 5e-4;

/// Loose and elastic cloth may be pulled further (DESIGN 7).
fn slack(facts: &Facts) -> f64 {
    let class = match facts.fabric {
        FabricClass::Rigid => 0.0,
        FabricClass::Comfort => 0.10,
        FabricClass::Power => 0.30,
    };
    class + 0.007 * (facts.median_ease_mm - 7.0).max(0.0)
}

/// A triangle's larger principal stretch, raw and beyond the skin's; NaN where it was not measured.
fn pulls(moment: &Moment, triangle: usize) -> (f64, f64) {
    let layer = moment.layer;
    if layer.areas[triangle] <= 0.0 {
        return (f64::NAN, f64::NAN);
    }
    let posed = corners(&moment.posed.positions, layer.surface.triangles[triangle]);
    let raw = layer.rest[triangle].stretches(posed)[0];
    let home = layer.homes[triangle];
    let (true, Some(rest)) = (home != NOBODY, &layer.home_rest[triangle]) else {
        return (raw, f64::NAN);
    };
    let skin = corners(
        &moment.posed_body.positions,
        moment.body.surface.triangles[home as usize],
    );
    let skin_pull = rest.stretches(skin)[0];
    (
        raw,
        if skin_pull.is_nan() {
            f64::NAN
        } else {
            raw / skin_pull.max(1.0)
        },
    )
}

fn take(moment: &Moment) -> Taken {
    let layer = moment.layer;
    let mut raw: Vec<(f64, f64)> = Vec::with_capacity(layer.areas.len());
    let mut beyond: Vec<(f64, f64)> = Vec::with_capacity(layer.areas.len());
    let mut worst: Option<(f64, usize)> = None;
    let mut most = None;
    for (triangle, &area) in layer.areas.iter().enumerate() {
        let (pull, pull_beyond) = pulls(moment, triangle);
        if pull.is_nan() {
            continue;
        }
        raw.push((pull, area));
        most = Some(most.map_or(pull, |most: f64| most.max(pull)));
        let ranked = if pull_beyond.is_nan() { 0.0 } else { pull_beyond };
        if !pull_beyond.is_nan() {
            beyond.push((pull_beyond, area));
        }
        if worst.is_none_or(|(value, _)| ranked > value) {
            worst = Some((ranked, triangle));
        }
    }
    let total = layer.area();
    Taken::at(
        vec![
            least_of_worst(&beyond, 0.01 * total, 1.0),
            least_of_worst(&beyond, WORST_AREA * moment.scale.powi(2), 1.0),
            most,
            least_of_worst(&raw, 0.01 * total, 1.0),
            least_of_worst(&raw, 0.05 * total, 1.0),
        ],
        worst.map(|(_, triangle)| At::Triangle(triangle)),
    )
}

/// Area-weighted mean of the triangles round each vertex.
#[expect(clippy::cast_possible_truncation, reason = "for pictures")]
fn field(moment: &Moment) -> Vec<f32> {
    let layer = moment.layer;
    let mut sums = vec![(0.0f64, 0.0f64); moment.posed.positions.len()];
    for (triangle, corners) in layer.surface.triangles.iter().enumerate() {
        let (_, beyond) = pulls(moment, triangle);
        if beyond.is_finite() {
            for &vertex in corners {
                let sum = &mut sums[layer.topology.canonical()[vertex as usize] as usize];
                sum.0 += beyond * layer.areas[triangle];
                sum.1 += layer.areas[triangle];
            }
        }
    }
    layer
        .topology
        .canonical()
        .iter()
        .map(|&vertex| {
            let (sum, area) = sums[vertex as usize];
            if area > 0.0 { (sum / area) as f32 } else { f32::NAN }
        })
        .collect()
}
