//! How far the fabric is pressed together: alone, along its yarns, and beyond what the skin beneath is.
//!
//! The smaller principal stretch (see `stretch`): 1 as built, 0 where a triangle collapsed to a line. Cloth would fold
//! where a skinned mesh is squeezed, so this is shown and not judged.

use super::statistics::least_of_worst;
use super::stretch::{WORST_AREA, mean_per_vertex};
use super::{At, Field, Measure, Number, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// See the module. Smaller is worse.
pub static MEASURE: Measure = Measure {
    id: "squeeze",
    about: "how far the fabric is pressed together",
    numbers: &[
        Number {
            path: "beyond_skin.p99",
            about: "length left, over that of the skin, but for the worst hundredth of the garment's area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "beyond_skin.worst_5cm2",
            about: "length left, over that of the skin, on the worst 5 cm²",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "raw.worst",
            about: "length left of the most squeezed triangle",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "raw.p99",
            about: "length left, but for the worst hundredth of the area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "raw.p95",
            about: "length left, but for the worst twentieth of the area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "u",
            about: "length left along the texture's U, but for the worst hundredth of the area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "v",
            about: "length left along the texture's V, but for the worst hundredth of the area",
            unit: Unit::Ratio,
            limit: None,
        },
    ],
    take,
    spread: None,
    failing: None,
    field: Some(Field {
        // More is worse in a picture: what is gone of the length.
        values: |moment| {
            mean_per_vertex(moment, |triangle| {
                1.0 - moment.pulls.fabric[triangle].principal()[1]
            })
        },
        unit: Unit::Ratio,
        bottom: 0.05,
        limit: None,
        top: 0.6,
    }),
};

fn take(moment: &Moment) -> Taken {
    // Signs are turned, so that the worst is the largest.
    let mut raw: Vec<(f64, f64)> = Vec::with_capacity(moment.layer.areas.len());
    let mut over_skin = raw.clone();
    let mut worst: Option<(f64, usize)> = None;
    for (triangle, &area) in moment.layer.areas.iter().enumerate() {
        let left = moment.pulls.fabric[triangle].principal()[1];
        if left.is_nan() {
            continue;
        }
        raw.push((-left, area));
        let skin = moment.pulls.skin[triangle][1].min(1.0);
        if skin > 0.0 && !moment.pulls.skin[triangle][1].is_nan() {
            over_skin.push((-left / skin, area));
        }
        if worst.is_none_or(|(least, _)| left < least) {
            worst = Some((left, triangle));
        }
    }
    let total = moment.layer.area();
    let small = WORST_AREA * moment.scale.powi(2);
    let [beyond_p99, beyond_worst] = least_of_worst(&mut over_skin, [0.01 * total, small], -1.0);
    let [raw_p99, raw_p95] = least_of_worst(&mut raw, [0.01 * total, 0.05 * total], -1.0);
    let [u, v] = yarns(moment, total);
    let turned = [raw_p99, raw_p95, u, v].map(|value| value.map(|value| -value));
    let [raw_p99, raw_p95, u, v] = turned;
    Taken::at(
        vec![
            beyond_p99.map(|value| -value),
            beyond_worst.map(|value| -value),
            worst.map(|(left, _)| left),
            raw_p99,
            raw_p95,
            u,
            v,
        ],
        worst.map(|(_, triangle)| At::Triangle(triangle)),
    )
}

/// What is left along U and along V, sign turned, but for the worst hundredth of the garment's area each.
fn yarns(moment: &Moment, total: f64) -> [Option<f64>; 2] {
    let mut pairs: [Vec<(f64, f64)>; 2] =
        std::array::from_fn(|_| Vec::with_capacity(moment.layer.areas.len()));
    for (triangle, print) in moment.layer.cloth.prints.iter().enumerate() {
        let Some(print) = print else { continue };
        let (along, _) = print.along(moment.pulls.fabric[triangle]);
        for (pairs, left) in pairs.iter_mut().zip(along) {
            if !left.is_nan() {
                pairs.push((-left, moment.layer.areas[triangle]));
            }
        }
    }
    pairs.each_mut().map(|pairs| {
        let [left] = least_of_worst(pairs, [0.01 * total], -1.0);
        left
    })
}
