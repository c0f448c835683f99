//! How far the fabric is pulled: alone, along its yarns, and beyond what the skin beneath is pulled.
//!
//! Principal stretches are the singular values of the deformation gradient from the bind mesh (Sander et al. 2001).
//! Skin stretches too, over a bent knee by a third; a garment that follows it is not at fault. So the judged value
//! is the fabric's stretch over max(1, stretch of the skin beneath). Where there are UVs, pull along U, along V and the
//! angle between them tell a stretched yarn from cloth that only shears.

use super::statistics::least_of_worst;
use super::{At, FabricClass, Facts, Failing, Fault, Field, Limit, Measure, Number, Sampled, Spread, Taken};
use crate::contact::Moment;
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
                most: [Some(1.10), Some(1.18), Some(1.22)],
                slack,
            }),
        },
        Number {
            path: "beyond_skin.worst_5cm2",
            about: "pull beyond the skin's on the worst 5 cm²",
            unit: Unit::Ratio,
            limit: Some(Limit::fixed(1.8, 2.5, Some(2.7))),
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
        Number {
            path: "u",
            about: "pull along the texture's U, but for the worst hundredth of the area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "v",
            about: "pull along the texture's V, but for the worst hundredth of the area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "shear_deg",
            about: "change of the angle between U and V, but for the worst hundredth of the area",
            unit: Unit::Angle,
            limit: None,
        },
    ],
    take,
    spread: Some(Spread {
        unit: Unit::Ratio,
        samples: spread,
    }),
    failing: Some(Failing {
        number: "beyond_skin.p99",
        unit: Unit::Ratio,
        by_area: false,
        find: failing,
    }),
    field: Some(Field {
        values: |moment| mean_per_vertex(moment, |triangle| beyond(moment, triangle)),
        unit: Unit::Ratio,
        bottom: 1.0,
        limit: Some(1.2),
        top: 1.6,
    }),
};

/// Worst area that a single sliver cannot fill, square metres at the scale of 1.
pub(super) const WORST_AREA: f64 = 5e-4;

/// Loose and elastic cloth may be pulled further (DESIGN 7).
fn slack(facts: &Facts) -> f64 {
    let class = match facts.fabric {
        FabricClass::Rigid => 0.0,
        FabricClass::Comfort => 0.10,
        FabricClass::Power => 0.30,
    };
    class + 0.007 * (facts.median_ease_mm - 7.0).max(0.0)
}

/// A triangle's larger principal stretch beyond the skin's; NaN where it was not measured.
fn beyond(moment: &Moment, triangle: usize) -> f64 {
    let skin = moment.pulls.skin[triangle][0];
    if skin.is_nan() {
        f64::NAN // not max: it would take 1 for a skin that was not measured
    } else {
        moment.pulls.fabric[triangle].principal()[0] / skin.max(1.0)
    }
}

fn take(moment: &Moment) -> Taken {
    let mut raw: Vec<(f64, f64)> = Vec::with_capacity(moment.layer.areas.len());
    let mut over_skin = raw.clone();
    let mut worst: Option<(f64, usize)> = None;
    let mut most: Option<f64> = None;
    for (triangle, &area) in moment.layer.areas.iter().enumerate() {
        let pull = moment.pulls.fabric[triangle].principal()[0];
        if pull.is_nan() {
            continue;
        }
        raw.push((pull, area));
        most = Some(most.map_or(pull, |most| most.max(pull)));
        let beyond = beyond(moment, triangle);
        if !beyond.is_nan() {
            over_skin.push((beyond, area));
        }
        let ranked = if beyond.is_nan() { 0.0 } else { beyond };
        if worst.is_none_or(|(value, _)| ranked > value) {
            worst = Some((ranked, triangle));
        }
    }
    let total = moment.layer.area();
    let small = WORST_AREA * moment.scale.powi(2);
    let [beyond_p99, beyond_worst] = least_of_worst(&mut over_skin, [0.01 * total, small], 1.0);
    let [raw_p99, raw_p95] = least_of_worst(&mut raw, [0.01 * total, 0.05 * total], 1.0);
    let [u, v, shear] = yarns(moment, total);
    Taken::at(
        vec![beyond_p99, beyond_worst, most, raw_p99, raw_p95, u, v, shear],
        worst.map(|(_, triangle)| At::Triangle(triangle)),
    )
}

/// Pull along U, along V, and change of angle between them, but for the worst hundredth of the garment's area each.
fn yarns(moment: &Moment, total: f64) -> [Option<f64>; 3] {
    let mut pairs: [Vec<(f64, f64)>; 3] =
        std::array::from_fn(|_| Vec::with_capacity(moment.layer.areas.len()));
    for (triangle, print) in moment.layer.cloth.prints.iter().enumerate() {
        let (Some(print), area) = (print, moment.layer.areas[triangle]) else {
            continue;
        };
        let ([u, v], shear) = print.along(moment.pulls.fabric[triangle]);
        // A collapsed triangle has no angle; its yarns are not pulled.
        for (pairs, value) in pairs.iter_mut().zip([u, v, shear.abs()]) {
            if !value.is_nan() {
                pairs.push((value, area));
            }
        }
    }
    let [u, v, shear] = &mut pairs;
    let [u] = least_of_worst(u, [0.01 * total], 1.0);
    let [v] = least_of_worst(v, [0.01 * total], 1.0);
    let [shear] = least_of_worst(shear, [0.01 * total], 0.0);
    [u, v, shear]
}

/// Area-weighted mean of a value of the triangles round each vertex; NaN where none has one.
#[expect(clippy::cast_possible_truncation, reason = "for pictures")]
pub(super) fn mean_per_vertex(moment: &Moment, value: impl Fn(usize) -> f64) -> Vec<f32> {
    let layer = moment.layer;
    let mut sums = vec![(0.0f64, 0.0f64); moment.posed.positions.len()];
    for (triangle, corners) in layer.surface.triangles.iter().enumerate() {
        let here = value(triangle);
        if here.is_finite() {
            for &vertex in corners {
                let sum = &mut sums[layer.topology.canonical()[vertex as usize] as usize];
                sum.0 += here * layer.areas[triangle];
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

fn spread(moment: &Moment) -> Vec<Sampled> {
    by_triangle(moment, |triangle| beyond(moment, triangle))
}

/// A value of every triangle that has one.
pub(super) fn by_triangle(moment: &Moment, value: impl Fn(usize) -> f64) -> Vec<Sampled> {
    let areas = moment.layer.areas.iter().enumerate();
    areas
        .map(|(triangle, &area)| Sampled {
            at: At::Triangle(triangle),
            area,
            value: value(triangle),
            over: false,
        })
        .filter(|sample| sample.area > 0.0 && !sample.value.is_nan())
        .collect()
}

fn failing(moment: &Moment, limit: f64) -> Vec<Fault> {
    over(moment, limit, |triangle| beyond(moment, triangle))
}

/// Triangles whose value is over a limit.
pub(super) fn over(moment: &Moment, limit: f64, value: impl Fn(usize) -> f64) -> Vec<Fault> {
    let areas = moment.layer.areas.iter().enumerate();
    areas
        .filter(|(_, area)| **area > 0.0)
        .map(|(triangle, &area)| Fault {
            at: At::Triangle(triangle),
            area,
            value: value(triangle),
        })
        .filter(|fault| fault.value > limit)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn elastic_and_loose_cloth_may_be_pulled_further() {
        let slack_of = |median_ease_mm, fabric| {
            slack(&Facts {
                median_ease_mm,
                fabric,
            })
        };
        assert_eq!(slack_of(7.0, FabricClass::Rigid), 0.0);
        assert!((slack_of(17.0, FabricClass::Rigid) - 0.07).abs() < 1e-12);
        assert!((slack_of(3.0, FabricClass::Comfort) - 0.10).abs() < 1e-12);
        assert!((slack_of(17.0, FabricClass::Power) - 0.37).abs() < 1e-12);
    }
}
