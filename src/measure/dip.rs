//! Ease that was lost: what sinks without showing.

use super::statistics::least_of_worst;
use super::{At, Facts, Failing, Fault, Limit, Measure, Number, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "dip",
    about: "room between skin and fabric that was lost",
    numbers: &[
        Number {
            path: "p99_mm",
            about: "room lost, but for the worst hundredth of the garment's area",
            unit: Unit::Length,
            limit: Some(Limit {
                most: [Some(5.0), Some(11.0), None],
                slack,
            }),
        },
        Number {
            path: "worst_mm",
            about: "most room lost",
            unit: Unit::Length,
            limit: None,
        },
    ],
    take,
    spread: None,
    failing: Some(Failing {
        number: "p99_mm",
        unit: Unit::Length,
        by_area: false,
        find: failing,
    }),
    field: None,
};

/// A bent hip takes all the room of loose cloth and presses it a little further, out of sight.
fn slack(facts: &Facts) -> f64 {
    1.3 * (facts.median_ease_mm - 7.0).max(0.0)
}

fn take(moment: &Moment) -> Taken {
    let fabric = &moment.layer.fabric;
    let usual = usual(moment);
    let mut all: Vec<(f64, f64)> = Vec::with_capacity(fabric.points.len());
    let mut worst: Option<(f32, usize)> = None;
    for point in 0..fabric.points.len() {
        let less = lost(moment, usual, point);
        if less.is_nan() {
            continue;
        }
        all.push((f64::from(less.max(0.0)), fabric.points.area[point]));
        if worst.is_none_or(|(most, _)| less > most) {
            worst = Some((less, point));
        }
    }
    let [p99] = least_of_worst(&mut all, [0.01 * moment.layer.area()], 0.0);
    Taken::at(
        vec![p99, worst.map(|(less, _)| f64::from(less.max(0.0)))],
        worst.map(|(_, point)| At::Fabric(point)),
    )
}

/// The garment's median room as built, metres.
fn usual(moment: &Moment) -> f32 {
    moment
        .layer
        .median_ease()
        .map_or(f32::INFINITY, |median| median as f32)
}

/// Room lost, metres; NaN where there is none to measure. Cloth that hung further off than the garment usually does
/// (over an armpit, at the back of a wide knee) may come as near as the rest of it lies: that is no sinking.
fn lost(moment: &Moment, usual: f32, point: usize) -> f32 {
    let built = moment.layer.fabric.ease[point];
    if built > usual {
        usual - moment.ease[point]
    } else {
        built - moment.ease[point]
    }
}

fn failing(moment: &Moment, limit: f64) -> Vec<Fault> {
    let fabric = &moment.layer.fabric;
    let usual = usual(moment);
    (0..fabric.points.len())
        .filter_map(|point| {
            let less = Unit::Length.to_edge(f64::from(lost(moment, usual, point)));
            (less > limit).then(|| Fault {
                at: At::Fabric(point),
                area: fabric.points.area[point],
                value: less,
            })
        })
        .collect()
}
