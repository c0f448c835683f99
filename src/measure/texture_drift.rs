//! How far the print on the fabric smears: its size, its shape, against the bind mesh.
//!
//! Texel density is texture per length, so its change is the square root of the texture-area ratio now against as
//! built; it is judged whichever way it changes. How lopsided the print gets is the ratio of the principal stretches of
//! the texture's map (Sander et al. 2001), now against as built, and their L2 over the whole mesh. How even the texture
//! is on the bind mesh itself is a rig finding.

use super::statistics::least_of_worst;
use super::stretch::mean_per_vertex;
use super::{At, Field, Limit, Measure, Number, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "texture_drift",
    about: "the print smears",
    numbers: &[
        Number {
            path: "density_p99",
            about: "change of the print's size, but for the worst hundredth of the garment's area",
            unit: Unit::Ratio,
            limit: Some(Limit::fixed(1.15, 1.25, Some(1.35))),
        },
        Number {
            path: "density_worst",
            about: "largest change of the print's size",
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
            about: "stretch of the whole print (root mean square), against as built",
            unit: Unit::Ratio,
            limit: None,
        },
    ],
    take,
    field: Some(Field {
        values: |moment| mean_per_vertex(moment, |triangle| density(moment, triangle)),
        unit: Unit::Ratio,
        bottom: 1.02,
        limit: Some(1.25),
        top: 1.6,
    }),
};

/// By how much the print is larger or smaller than as built, 1 or more; NaN where nothing is printed.
fn density(moment: &Moment, triangle: usize) -> f64 {
    let printed = moment
        .layer
        .cloth
        .prints
        .get(triangle)
        .is_some_and(Option::is_some);
    let larger = moment.pulls.fabric[triangle].area_ratio().sqrt();
    if printed {
        larger.max(1.0 / larger)
    } else {
        f64::NAN
    }
}

fn take(moment: &Moment) -> Taken {
    let layer = moment.layer;
    let mut densities: Vec<(f64, f64)> = Vec::with_capacity(layer.areas.len());
    let mut lopsided = densities.clone();
    let (mut now, mut as_built) = (Mean::default(), Mean::default());
    let mut worst: Option<(f64, usize)> = None;
    for (triangle, print) in layer.cloth.prints.iter().enumerate() {
        let pull = moment.pulls.fabric[triangle];
        let (Some(print), false, area) = (print, pull.a.is_nan(), layer.areas[triangle]) else {
            continue;
        };
        let drift = density(moment, triangle);
        densities.push((drift, area));
        lopsided.push((print.lopsided(pull), area));
        let metric = print.metric(pull);
        now.add((metric.a + metric.c) / 2.0, area * pull.area_ratio());
        as_built.add((print.at_bind().a + print.at_bind().c) / 2.0, area);
        if worst.is_none_or(|(most, _)| drift > most) {
            worst = Some((drift, triangle));
        }
    }
    let hundredth = [0.01 * layer.area()];
    let [density_p99] = least_of_worst(&mut densities, hundredth, 1.0);
    let [anisotropy_p99] = least_of_worst(&mut lopsided, hundredth, 1.0);
    Taken {
        values: vec![
            density_p99,
            worst.map(|(drift, _)| drift),
            anisotropy_p99,
            worst.and_then(|_| Some((now.value()? / as_built.value()?).sqrt())),
        ],
        worst: worst.map(|(_, triangle)| At::Triangle(triangle)),
    }
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
