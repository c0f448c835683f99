//! Skin that can be seen through the fabric that covered it.

use super::{At, Failing, Fault, Limit, Measure, Number, Sampled, Spread, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// Covered skin this close to an edge of the garment as built is the edge band, metres at the scale of 1.
pub const EDGE_BAND: f32 = 0.020;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "skin_shows",
    about: "skin that can be seen through the fabric that covered it",
    numbers: &[
        Number {
            path: "inner.area_cm2",
            about: "area that shows, 20 mm or more from an edge",
            unit: Unit::Area,
            limit: Some(Limit::fixed(1.0, 20.0, Some(60.0))),
        },
        Number {
            path: "inner.depth_mm",
            about: "how far it stands out, inner area",
            unit: Unit::Length,
            limit: None,
        },
        Number {
            path: "inner.over_1mm_cm2",
            about: "area that stands out by more than 1 mm, inner area",
            unit: Unit::Area,
            limit: None,
        },
        Number {
            path: "edge.area_cm2",
            about: "area that shows within 20 mm of an edge",
            unit: Unit::Area,
            limit: None,
        },
        Number {
            path: "edge.depth_mm",
            about: "how far it stands out near an edge",
            unit: Unit::Length,
            limit: None,
        },
        Number {
            path: "anywhere.over_3mm_cm2",
            about: "area that stands out by more than 3 mm, edges included",
            unit: Unit::Area,
            limit: Some(Limit::fixed(1.0, 1.5, Some(30.0))),
        },
        Number {
            path: "outside.area_cm2",
            about: "skin outside its fabric, seen or closed in a crease",
            unit: Unit::Area,
            limit: None,
        },
    ],
    take,
    spread: Some(Spread {
        unit: Unit::Length,
        samples: spread,
    }),
    failing: Some(Failing {
        number: "inner.area_cm2",
        unit: Unit::Length,
        by_area: true,
        find: failing,
    }),
    field: None,
};

fn take(moment: &Moment) -> Taken {
    let sums = Sums::new(moment);
    Taken {
        // Without covered skin there is nothing to measure, which is not the same as nothing showing.
        values: sums
            .values
            .iter()
            .map(|sum| (!moment.layer.skin.points.is_empty()).then_some(*sum))
            .collect(),
        worst: sums
            .places()
            .map(|(group, point)| (group, At::Skin(point)))
            .collect(),
        ..Taken::default()
    }
}

/// The numbers of one surface under one garment, in the order of the record, and the worst places of their groups.
pub(super) struct Sums {
    pub(super) values: [f64; 7],
    /// Each number points at its own worst place: the deepest may lie in the edge band, which is not what is judged.
    pub(super) worst: [Option<(f32, usize)>; 4],
}

impl Sums {
    pub(super) fn new(moment: &Moment) -> Self {
        let skin = &moment.layer.skin;
        let scale = moment.body.scale();
        let (band, over_1mm, over_3mm) = (EDGE_BAND * scale, 0.001 * scale, 0.003 * scale);
        let mut sums = [0.0f64; 7];
        let mut worst = [None; 4];
        for point in 0..skin.points.len() {
            let (depth, area) = (moment.outside[point], skin.points.area[point]);
            if skin.hidden[point] || depth.is_nan() || depth <= crate::contact::moment::OUTSIDE * scale {
                continue;
            }
            sums[6] += area;
            deepest(&mut worst[3], depth, point);
            if !moment.shows(point) {
                continue;
            }
            let inner = skin.to_edge[point] >= band;
            let (area_at, depth_at) = if inner { (0, 1) } else { (3, 4) };
            sums[area_at] += area;
            sums[depth_at] = sums[depth_at].max(f64::from(depth));
            if inner && depth > over_1mm {
                sums[2] += area;
            }
            deepest(&mut worst[usize::from(!inner)], depth, point);
            if depth > over_3mm {
                sums[5] += area;
                deepest(&mut worst[2], depth, point);
            }
        }
        Self { values: sums, worst }
    }

    /// The group of numbers and the sample at which it is worst.
    fn places(&self) -> impl Iterator<Item = (&'static str, usize)> {
        ["inner", "edge", "anywhere", "outside"]
            .into_iter()
            .zip(self.worst)
            .filter_map(|(group, worst)| Some((group, worst?.1)))
    }
}

fn deepest(worst: &mut Option<(f32, usize)>, depth: f32, point: usize) {
    if worst.is_none_or(|(most, _)| depth > most) {
        *worst = Some((depth, point));
    }
}

/// Of the skin that shows: all of it is over.
fn spread(moment: &Moment) -> Vec<Sampled> {
    let skin = &moment.layer.skin;
    (0..skin.points.len())
        .filter(|&point| moment.shows(point))
        .map(|point| Sampled {
            at: At::Skin(point),
            area: skin.points.area[point],
            value: Unit::Length.to_edge(f64::from(moment.outside[point])),
            over: true,
        })
        .collect()
}

fn failing(moment: &Moment, _: f64) -> Vec<Fault> {
    showing(moment)
        .map(|(point, fault)| Fault {
            at: At::Skin(point),
            ..fault
        })
        .collect()
}

/// Samples that count in a judged number: those that show beyond the edge band, and those that stand out by over 3 mm.
pub(super) fn showing<'a>(moment: &'a Moment) -> impl Iterator<Item = (usize, Fault)> + 'a {
    let skin = &moment.layer.skin;
    let scale = moment.body.scale();
    (0..skin.points.len())
        .filter(|&point| moment.shows(point))
        .filter(move |&point| {
            skin.to_edge[point] >= EDGE_BAND * scale || moment.outside[point] > 0.003 * scale
        })
        .map(|point| {
            let fault = Fault {
                at: At::Skin(point),
                area: skin.points.area[point],
                value: Unit::Length.to_edge(f64::from(moment.outside[point])),
            };
            (point, fault)
        })
}
