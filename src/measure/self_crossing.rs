//! Fabric through fabric: how long the curves are, and how much they enclose. Shown; judged through `part_contact`.

use super::{At, Measure, Number, PairNumber, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "self_crossing",
    about: "fabric that runs through itself, beyond what it did as built",
    numbers: &[
        Number {
            path: "far_mm",
            about: "curve where fabric of two far parts crosses, such as leg and leg",
            unit: Unit::Length,
            limit: None,
        },
        Number {
            path: "fold_mm",
            about: "curve where fabric of neighbours crosses, as in a fold",
            unit: Unit::Length,
            limit: None,
        },
        Number {
            path: "area_cm2",
            about: "fabric that such curves enclose",
            unit: Unit::Area,
            limit: None,
        },
    ],
    take,
    spread: None,
    failing: None,
    field: None,
};

fn take(moment: &Moment) -> Taken {
    let tangle = moment.tangle;
    let pairs = tangle.far.iter().map(|(pair, length)| PairNumber {
        pair: *pair,
        path: "far_mm",
        value: Unit::Length.to_edge(*length),
    });
    Taken {
        values: vec![
            Some(tangle.far_length()),
            Some(tangle.fold),
            Some(tangle.enclosed),
        ],
        worst: tangle
            .worst
            .map(|triangle| ("", At::Triangle(triangle)))
            .into_iter()
            .collect(),
        words: Vec::new(),
        pairs: pairs.collect(),
    }
}
