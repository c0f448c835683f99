//! Ease that was lost: what sinks without showing.

use super::statistics::least_of_worst;
use super::{At, Failing, Fault, Limit, Measure, Number, Taken};
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
            limit: Some(Limit::fixed(5.0, 10.0, None)),
        },
        Number {
            path: "worst_mm",
            about: "most room lost",
            unit: Unit::Length,
            limit: None,
        },
    ],
    take,
    failing: Some(Failing {
        number: "p99_mm",
        unit: Unit::Length,
        by_area: false,
        find: failing,
    }),
    field: None,
};

fn take(moment: &Moment) -> Taken {
    let fabric = &moment.layer.fabric;
    let mut lost: Vec<(f64, f64)> = Vec::with_capacity(fabric.points.len());
    let mut worst: Option<(f32, usize)> = None;
    for point in 0..fabric.points.len() {
        let less = fabric.ease[point] - moment.ease[point];
        if less.is_nan() {
            continue;
        }
        lost.push((f64::from(less.max(0.0)), fabric.points.area[point]));
        if worst.is_none_or(|(most, _)| less > most) {
            worst = Some((less, point));
        }
    }
    let [p99] = least_of_worst(&mut lost, [0.01 * moment.layer.area()], 0.0);
    Taken::at(
        vec![p99, worst.map(|(less, _)| f64::from(less.max(0.0)))],
        worst.map(|(_, point)| At::Fabric(point)),
    )
}

fn failing(moment: &Moment, limit: f64) -> Vec<Fault> {
    let fabric = &moment.layer.fabric;
    (0..fabric.points.len())
        .filter_map(|point| {
            let less = Unit::Length.to_edge(f64::from(fabric.ease[point] - moment.ease[point]));
            (less > limit).then(|| Fault {
                at: At::Fabric(point),
                area: fabric.points.area[point],
                value: less,
            })
        })
        .collect()
}
