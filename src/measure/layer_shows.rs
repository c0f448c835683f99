//! The layer beneath, seen through the garment worn over it.

use super::skin_shows::Sums;
use super::{At, Failing, Fault, Limit, Measure, Number, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "layer_shows",
    about: "cloth of a layer beneath that can be seen through the garment over it",
    numbers: &[
        Number {
            path: "inner.area_cm2",
            about: "cloth beneath that shows, 20 mm or more from an edge",
            unit: Unit::Area,
            limit: Some(Limit::fixed(1.0, 20.0, Some(60.0))),
        },
        Number {
            path: "inner.depth_mm",
            about: "how far the cloth beneath stands out, inner area",
            unit: Unit::Length,
            limit: None,
        },
        Number {
            path: "edge.area_cm2",
            about: "cloth beneath that shows within 20 mm of an edge",
            unit: Unit::Area,
            limit: None,
        },
        Number {
            path: "anywhere.over_3mm_cm2",
            about: "cloth beneath that stands out by more than 3 mm, edges included",
            unit: Unit::Area,
            limit: Some(Limit::fixed(1.0, 1.5, Some(30.0))),
        },
    ],
    take,
    spread: None,
    failing: Some(Failing {
        number: "inner.area_cm2",
        unit: Unit::Length,
        by_area: true,
        find: failing,
    }),
    field: None,
};

/// Where the numbers of [`Sums`] go: inner area and depth, edge area, area over 3 mm.
const TAKEN: [usize; 4] = [0, 1, 3, 5];
/// The groups of [`Sums`] that have a place here.
const GROUPS: [(&str, usize); 3] = [("inner", 0), ("edge", 1), ("anywhere", 2)];

fn take(moment: &Moment) -> Taken {
    let mut values: [Option<f64>; 4] = [None; 4];
    let mut worst: [Option<(f32, usize, usize)>; 3] = [None; 3];
    for (number, over) in moment.over_layers().enumerate() {
        if over.layer.skin.points.is_empty() {
            continue;
        }
        let sums = Sums::new(&over);
        for (at, (value, from)) in values.iter_mut().zip(TAKEN).enumerate() {
            let (known, new) = (value.unwrap_or(0.0), sums.values[from]);
            *value = Some(if at == 1 { known.max(new) } else { known + new });
        }
        for (place, (_, from)) in worst.iter_mut().zip(GROUPS) {
            if let Some((depth, point)) = sums.worst[from]
                && place.is_none_or(|(most, ..)| depth > most)
            {
                *place = Some((depth, number, point));
            }
        }
    }
    Taken {
        values: values.to_vec(),
        worst: GROUPS
            .into_iter()
            .zip(worst)
            .filter_map(|((group, _), place)| {
                let (_, number, point) = place?;
                Some((group, At::Beneath(number, point)))
            })
            .collect(),
        ..Taken::default()
    }
}

fn failing(moment: &Moment, _: f64) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (number, over) in moment.over_layers().enumerate() {
        faults.extend(super::skin_shows::showing(&over).map(|(point, fault)| Fault {
            at: At::Beneath(number, point),
            ..fault
        }));
    }
    faults
}
