//! Fabric that stands off more than it did as built: the best single sign of wrong weights.

use super::{At, Failing, Fault, Field, Limit, Measure, Number, Sampled, Spread, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// Fabric may stand off this much more than as built, metres at the scale of 1.
const MOST: f32 = 0.003;
/// Never judged finer than this, metres at the scale of 1.
const LEAST: f32 = 0.0015;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "lift",
    about: "fabric that stands off more than it did as built",
    numbers: &[
        Number {
            path: "area_cm2",
            about: "area that stands off too far",
            unit: Unit::Area,
            limit: Some(Limit::fixed(8.0, 15.0, Some(20.0))),
        },
        Number {
            path: "worst_mm",
            about: "furthest stand-off beyond as built",
            unit: Unit::Length,
            limit: None,
        },
    ],
    take,
    spread: Some(Spread {
        unit: Unit::Length,
        samples: spread,
    }),
    failing: Some(Failing {
        number: "area_cm2",
        unit: Unit::Length,
        by_area: true,
        find: failing,
    }),
    field: Some(Field {
        values: |moment| super::ease::change_per_vertex(moment, 1.0),
        unit: Unit::Length,
        bottom: 0.5,
        limit: Some(3.0),
        top: 10.0,
    }),
};

fn take(moment: &Moment) -> Taken {
    let fabric = &moment.layer.fabric;
    let scale = moment.body.scale();
    let mut area = 0.0;
    let mut worst: Option<(f32, usize)> = None;
    for point in 0..fabric.points.len() {
        let more = moment.ease[point] - fabric.ease[point];
        if more.is_nan() {
            continue;
        }
        if more > allowed(fabric.ease[point], scale) {
            area += fabric.points.area[point];
        }
        if worst.is_none_or(|(most, _)| more > most) {
            worst = Some((more, point));
        }
    }
    let measured = worst.is_some();
    let worst_lift = worst.map_or(0.0, |(more, _)| f64::from(more.max(0.0)));
    Taken::at(
        vec![measured.then_some(area), measured.then_some(worst_lift)],
        worst.map(|(_, point)| At::Fabric(point)),
    )
}

/// 3 mm, or half the ease as built where that is less, but never less than 1.5 mm.
fn allowed(ease_as_built: f32, scale: f32) -> f32 {
    (ease_as_built / 2.0).clamp(LEAST * scale, MOST * scale)
}

fn spread(moment: &Moment) -> Vec<Sampled> {
    let fabric = &moment.layer.fabric;
    let scale = moment.body.scale();
    let more = |point: usize| moment.ease[point] - fabric.ease[point];
    (0..fabric.points.len())
        .filter(|point| !more(*point).is_nan())
        .map(|point| Sampled {
            at: At::Fabric(point),
            area: fabric.points.area[point],
            value: Unit::Length.to_edge(f64::from(more(point))),
            over: more(point) > allowed(fabric.ease[point], scale),
        })
        .collect()
}

fn failing(moment: &Moment, _: f64) -> Vec<Fault> {
    let fabric = &moment.layer.fabric;
    let scale = moment.body.scale();
    (0..fabric.points.len())
        .filter_map(|point| {
            let more = moment.ease[point] - fabric.ease[point];
            (more > allowed(fabric.ease[point], scale)).then(|| Fault {
                at: At::Fabric(point),
                area: fabric.points.area[point],
                value: Unit::Length.to_edge(f64::from(more)),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tight_garments_are_held_closer() {
        assert!((allowed(0.030, 1.0) - 0.003).abs() < 1e-9);
        assert!((allowed(0.004, 1.0) - 0.002).abs() < 1e-9);
        assert!((allowed(0.001, 1.0) - 0.0015).abs() < 1e-9);
        assert!((allowed(-0.002, 2.0) - 0.003).abs() < 1e-9);
    }
}
