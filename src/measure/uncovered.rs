//! Skin that was covered and no longer is: a hole that opens, a hem that retreats.

use super::skin_shows::EDGE_BAND;
use super::{At, Failing, Fault, Limit, Measure, Number, Taken};
use crate::contact::Moment;
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "uncovered",
    about: "skin that was covered and no longer is",
    numbers: &[
        Number {
            path: "inner.area_cm2",
            about: "area laid bare, 20 mm or more from an edge",
            unit: Unit::Area,
            limit: Some(Limit::fixed(1.0, 1.0, Some(3.0))),
        },
        Number {
            path: "edge.area_cm2",
            about: "area laid bare within 20 mm of an edge",
            unit: Unit::Area,
            limit: None,
        },
        Number {
            path: "edge.retreat_mm",
            about: "how far an edge drew back from the skin it covered: area laid bare beside it over its length, the most of any edge",
            unit: Unit::Length,
            limit: Some(Limit::fixed(5.0, 8.0, Some(15.0))),
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

fn take(moment: &Moment) -> Taken {
    let skin = &moment.layer.skin;
    let band = EDGE_BAND * moment.body.scale();
    let lengths = moment.layer.edges.loop_lengths();
    let (mut inner, mut edge) = (0.0, 0.0);
    let mut by_loop = vec![0.0f64; lengths.len()];
    // The place furthest from any edge is the plainest hole; beside edges the one furthest in.
    let mut deepest: Option<(f32, usize)> = None;
    let mut furthest: Vec<Option<(f32, usize)>> = vec![None; lengths.len()];
    for point in (0..skin.points.len()).filter(|&point| moment.gone[point]) {
        let (area, to_edge) = (skin.points.area[point], skin.to_edge[point]);
        if to_edge >= band {
            inner += area;
            further(&mut deepest, to_edge, point);
            continue;
        }
        edge += area;
        let number = skin.edge_loop[point] as usize;
        by_loop[number] += area;
        further(&mut furthest[number], to_edge, point);
    }
    let retreats = by_loop.iter().zip(lengths).map(|(area, length)| area / length);
    let worst = retreats
        .enumerate()
        .fold((0.0, None), |worst: (f64, Option<usize>), (number, retreat)| {
            if retreat > worst.0 {
                (retreat, Some(number))
            } else {
                worst
            }
        });
    let at_edge = worst.1.and_then(|number| furthest[number]);
    let places = [("inner", deepest), ("edge", at_edge)];
    Taken {
        // Without covered skin there is nothing to lose, which is not the same as nothing lost.
        values: [inner, edge, worst.0]
            .map(|value| (!skin.points.is_empty()).then_some(value))
            .to_vec(),
        worst: places
            .into_iter()
            .filter_map(|(group, at)| Some((group, At::Skin(at?.1))))
            .collect(),
        ..Taken::default()
    }
}

fn further(worst: &mut Option<(f32, usize)>, value: f32, point: usize) {
    if worst.is_none_or(|(most, _)| value > most) {
        *worst = Some((value, point));
    }
}

fn failing(moment: &Moment, _: f64) -> Vec<Fault> {
    let skin = &moment.layer.skin;
    let bare = (0..skin.points.len()).filter(|&point| moment.gone[point]);
    bare.map(|point| Fault {
        at: At::Skin(point),
        area: skin.points.area[point],
        value: Unit::Length.to_edge(f64::from(skin.to_edge[point])),
    })
    .collect()
}
