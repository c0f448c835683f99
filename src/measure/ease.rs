//! How tight, how loose: the room between skin and fabric.

use super::statistics::weighted_quantile;
use super::{At, Measure, Number, Sampled, Spread, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "ease",
    about: "room between skin and fabric",
    numbers: &[
        Number {
            path: "median_mm",
            about: "half of the fabric has less",
            unit: Unit::Length,
            limit: None,
        },
        Number {
            path: "least_mm",
            about: "tightest place; below 0 the fabric is under the skin",
            unit: Unit::Length,
            limit: None,
        },
        Number {
            path: "most_mm",
            about: "loosest place",
            unit: Unit::Length,
            limit: None,
        },
    ],
    take,
    spread: Some(Spread {
        unit: Unit::Length,
        samples: spread,
    }),
    failing: None,
    field: None,
};

fn take(moment: &Moment) -> Taken {
    let fabric = &moment.layer.fabric;
    let mut pairs: Vec<(f64, f64)> = Vec::with_capacity(fabric.points.len());
    let mut least: Option<(f32, usize)> = None;
    let mut most = f64::MIN;
    for (point, &ease) in moment.ease.iter().enumerate() {
        if ease.is_nan() {
            continue;
        }
        pairs.push((f64::from(ease), fabric.points.area[point]));
        most = most.max(f64::from(ease));
        if least.is_none_or(|(value, _)| ease < value) {
            least = Some((ease, point));
        }
    }
    Taken::at(
        vec![
            weighted_quantile(&pairs, 0.5),
            least.map(|(value, _)| f64::from(value)),
            least.map(|_| most),
        ],
        least.map(|(_, point)| At::Fabric(point)),
    )
}

fn spread(moment: &Moment) -> Vec<Sampled> {
    let fabric = &moment.layer.fabric.points;
    let eases = moment.ease.iter().enumerate().filter(|(_, ease)| !ease.is_nan());
    eases
        .map(|(point, &ease)| Sampled {
            at: At::Fabric(point),
            area: fabric.area[point],
            value: Unit::Length.to_edge(f64::from(ease)),
            over: false,
        })
        .collect()
}

/// Ease now less ease as built, times `sign`, millimetres, one per garment vertex; NaN where not measured.
pub fn change_per_vertex(moment: &Moment, sign: f32) -> Vec<f32> {
    let fabric = &moment.layer.fabric;
    let mut values = vec![f32::NAN; moment.posed.positions.len()];
    for point in 0..fabric.points.vertices {
        let triangle = moment.layer.surface.triangles[fabric.points.triangle[point] as usize];
        let corner = fabric.points.barycentric[point]
            .iter()
            .position(|weight| *weight > 0.5)
            .unwrap_or(0);
        values[triangle[corner] as usize] = sign * (moment.ease[point] - fabric.ease[point]) * 1e3;
    }
    values
}
