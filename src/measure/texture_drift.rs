//! How far the print on the fabric smears: its size, its shape, against the bind mesh.
//!
//! Texel density is texture per length; what the print is enlarged by is the square root of the texture-area ratio, as
//! built over now. Judged is the print drawn out, which blurs it. Pressed together it stays sharp, and lies in the folds
//! of a bent hip or knee: judging that too failed clean trousers at 2.4 when sitting, so it is shown only. How lopsided the print gets is the ratio of the principal stretches of
//! the texture's map (Sander et al. 2001), now against as built. The L2 over the whole mesh takes the print as it lay at
//! the bind for flat: through the UVs themselves one sliver of a UV map outweighed the rest. How even the texture is on
//! the bind mesh itself is a rig finding. A body that is worn in a size larger as a whole takes its print along.

use super::statistics::least_of_worst;
use super::stretch::mean_per_vertex;
use super::{At, Failing, Fault, Field, Limit, Measure, Number, Sampled, Spread, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "texture_drift",
    about: "the print smears",
    numbers: &[
        Number {
            path: "density_p99",
            about: "by how much the print is enlarged, but for the worst hundredth of the garment's area",
            unit: Unit::Ratio,
            limit: Some(Limit::fixed(1.18, 1.30, Some(1.42))),
        },
        Number {
            path: "density_worst",
            about: "by how much the print is enlarged in the worst place",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "pressed_p99",
            about: "by how much the print is made smaller, but for the worst hundredth of the garment's area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "anisotropy_p99",
            about: "how lopsided the print gets, but for the worst hundredth of the garment's area",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "l2",
            about: "root mean square stretch of the whole print, against as built",
            unit: Unit::Ratio,
            limit: None,
        },
    ],
    take,
    spread: Some(Spread {
        unit: Unit::Ratio,
        samples: spread,
    }),
    failing: Some(Failing {
        number: "density_p99",
        unit: Unit::Ratio,
        by_area: false,
        find: failing,
    }),
    field: Some(Field {
        values: |moment| mean_per_vertex(moment, |triangle| density(moment, triangle)),
        unit: Unit::Ratio,
        bottom: 1.02,
        limit: Some(1.25),
        top: 1.6,
    }),
};

/// By how much the print is larger than as built, below 1 where it is smaller; NaN where nothing is printed.
fn density(moment: &Moment, triangle: usize) -> f64 {
    let printed = moment
        .layer
        .cloth
        .prints
        .get(triangle)
        .is_some_and(Option::is_some);
    if printed {
        moment.pulls.fabric[triangle].area_ratio().sqrt() / moment.body.growth()
    } else {
        f64::NAN
    }
}

fn take(moment: &Moment) -> Taken {
    let layer = moment.layer;
    let mut densities: Vec<(f64, f64)> = Vec::with_capacity(layer.areas.len());
    let (mut lopsided, mut pressed) = (densities.clone(), densities.clone());
    let mut l2 = Mean::default();
    let mut worst: Option<(f64, usize)> = None;
    for (triangle, print) in layer.cloth.prints.iter().enumerate() {
        let pull = moment.pulls.fabric[triangle];
        let (Some(print), false, area) = (print, pull.a.is_nan(), layer.areas[triangle]) else {
            continue;
        };
        let drift = density(moment, triangle);
        densities.push((drift, area));
        pressed.push((1.0 / drift, area));
        lopsided.push((print.lopsided(pull), area));
        l2.add((pull.a + pull.c) / 2.0, area * pull.area_ratio());
        if worst.is_none_or(|(most, _)| drift > most) {
            worst = Some((drift, triangle));
        }
    }
    let hundredth = [0.01 * layer.area()];
    let [density_p99] = least_of_worst(&mut densities, hundredth, 1.0);
    let [pressed_p99] = least_of_worst(&mut pressed, hundredth, 1.0);
    let [anisotropy_p99] = least_of_worst(&mut lopsided, hundredth, 1.0);
    Taken::at(
        vec![
            density_p99,
            worst.map(|(drift, _)| drift),
            pressed_p99,
            anisotropy_p99,
            l2.value().map(f64::sqrt),
        ],
        worst.map(|(_, triangle)| At::Triangle(triangle)),
    )
}

/// A mean weighted by area.
#[derive(Default)]
struct Mean {
    sum: f64,
    area: f64,
}

impl Mean {
    fn add(&mut self, value: f64, area: f64) {
        self.sum += value * area;
        self.area += area;
    }

    fn value(&self) -> Option<f64> {
        (self.area > 0.0).then(|| self.sum / self.area)
    }
}

fn spread(moment: &Moment) -> Vec<Sampled> {
    super::stretch::by_triangle(moment, |triangle| density(moment, triangle))
}

fn failing(moment: &Moment, limit: f64) -> Vec<Fault> {
    super::stretch::over(moment, limit, |triangle| density(moment, triangle))
}
