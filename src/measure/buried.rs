//! Fabric under the skin it lay on: shown, not judged, since a crease closes over clean fabric too.

use super::{At, Measure, Number, Taken};
use crate::contact::Moment;
use crate::contact::layer::NOBODY;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "buried",
    about: "fabric under the skin it lay on",
    numbers: &[
        Number {
            path: "area_cm2",
            about: "area under the skin",
            unit: Unit::Area,
            limit: None,
        },
        Number {
            path: "depth_mm",
            about: "deepest place",
            unit: Unit::Length,
            limit: None,
        },
        Number {
            path: "share",
            about: "share of the garment's area",
            unit: Unit::Ratio,
            limit: None,
        },
    ],
    take,
    spread: None,
    failing: None,
    field: None,
};

fn take(moment: &Moment) -> Taken {
    let fabric = &moment.layer.fabric;
    let mut area = 0.0;
    let mut worst: Option<(f32, usize)> = None;
    for point in (0..fabric.points.len()).filter(|&point| moment.within[point]) {
        area += fabric.points.area[point];
        let depth = -moment.ease[point];
        if worst.is_none_or(|(most, _)| depth > most) {
            worst = Some((depth, point));
        }
    }
    let share = area / moment.layer.area().max(1e-12);
    let measured = fabric.home.iter().any(|home| *home != NOBODY);
    let values = [area, worst.map_or(0.0, |(depth, _)| f64::from(depth)), share];
    Taken::at(
        values.map(|value| measured.then_some(value)).to_vec(),
        worst.map(|(_, point)| At::Fabric(point)),
    )
}
