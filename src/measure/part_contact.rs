//! Fabric inside another part's skin, and fabric through another part's fabric: leg and leg, sleeve and trunk.

use super::{At, Failing, Fault, Field, Limit, Measure, Number, PairNumber, Taken};
use crate::contact::Moment;
use crate::contact::far::{Class, Met};
use crate::contact::tangle::Pair;
use crate::units::Unit;
use std::collections::BTreeMap;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "part_contact",
    about: "fabric that runs into another part of the body, or through its fabric",
    numbers: &[
        Number {
            path: "skin.depth_mm",
            about: "how deep fabric lies inside another part's skin, where the body itself does not",
            unit: Unit::Length,
            limit: Some(Limit::fixed(2.0, 2.0, Some(6.0))),
        },
        Number {
            path: "skin.area_cm2",
            about: "fabric inside another part's skin, where the body itself does not overlap",
            unit: Unit::Area,
            limit: None,
        },
        Number {
            path: "fabric.depth_mm",
            about: "how deep fabric runs through another part's fabric, where the body itself does not overlap",
            unit: Unit::Length,
            limit: Some(Limit::fixed(6.0, 6.0, None)),
        },
        Number {
            path: "fabric.area_cm2",
            about: "fabric behind another part's fabric, where the body itself does not overlap",
            unit: Unit::Area,
            limit: None,
        },
    ],
    take,
    spread: None,
    failing: Some(Failing {
        number: "skin.depth_mm",
        unit: Unit::Length,
        by_area: false,
        find: failing,
    }),
    field: Some(Field {
        values: depths,
        unit: Unit::Length,
        bottom: 0.0,
        limit: Some(6.0),
        top: 20.0,
    }),
};

/// What one kind of contact adds up to.
#[derive(Default)]
struct Sum {
    depth: f64,
    area: f64,
    by_class: [f64; 3],
    worst: Option<(f32, usize)>,
    pairs: BTreeMap<Pair, (f64, f64)>,
}

impl Sum {
    fn new(moment: &Moment, mets: &[Met]) -> Self {
        let mut sum = Self::default();
        for met in mets {
            let area = moment.layer.fabric.points.area[met.point];
            sum.by_class[met.class as usize] += area;
            if met.class == Class::BodyOverlaps {
                continue;
            }
            sum.area += area;
            sum.depth = sum.depth.max(f64::from(met.depth));
            let pair = sum.pairs.entry(met.pair).or_default();
            *pair = (pair.0.max(f64::from(met.depth)), pair.1 + area);
            if sum.worst.is_none_or(|(most, _)| met.depth > most) {
                sum.worst = Some((met.depth, met.point));
            }
        }
        sum
    }

    /// The class of largest area; the first of equals.
    fn class(&self) -> Option<Class> {
        let most = self.by_class.iter().fold(0.0, |most: f64, area| most.max(*area));
        let first = Class::ALL
            .into_iter()
            .find(|class| self.by_class[*class as usize] >= most);
        first.filter(|_| most > 0.0)
    }
}

fn take(moment: &Moment) -> Taken {
    let sums = [
        ("skin", Sum::new(moment, &moment.meetings.skin)),
        ("fabric", Sum::new(moment, &moment.meetings.fabric)),
    ];
    let mut taken = Taken::default();
    for (group, sum) in &sums {
        taken.values.extend([Some(sum.depth), Some(sum.area)]);
        taken
            .worst
            .extend(sum.worst.map(|(_, point)| (*group, At::Fabric(point))));
        let path = if *group == "skin" {
            "skin.class"
        } else {
            "fabric.class"
        };
        taken.words.extend(sum.class().map(|class| (path, class.word())));
        let paths = if *group == "skin" {
            ["skin.depth_mm", "skin.area_cm2"]
        } else {
            ["fabric.depth_mm", "fabric.area_cm2"]
        };
        for (pair, (depth, area)) in &sum.pairs {
            for (path, value) in paths
                .into_iter()
                .zip([Unit::Length.to_edge(*depth), Unit::Area.to_edge(*area)])
            {
                taken.pairs.push(PairNumber {
                    pair: *pair,
                    path,
                    value,
                });
            }
        }
    }
    taken
}

/// By garment vertex: how deep it is in another part or its fabric, millimetres; 0 elsewhere.
fn depths(moment: &Moment) -> Vec<f32> {
    let points = &moment.layer.fabric.points;
    let mut values = vec![0.0f32; moment.posed.positions.len()];
    for met in moment.meetings.skin.iter().chain(&moment.meetings.fabric) {
        let corners = moment.layer.surface.triangles[points.triangle[met.point] as usize];
        for (&corner, share) in corners.iter().zip(points.barycentric[met.point]) {
            if share > 0.3 && met.class != Class::BodyOverlaps {
                let value = &mut values[corner as usize];
                *value = value.max(met.depth * 1e3);
            }
        }
    }
    values
}

fn failing(moment: &Moment, limit: f64) -> Vec<Fault> {
    let meetings = moment.meetings;
    // Fabric may run three times as deep through fabric as into skin.
    let through = meetings.fabric.iter().map(|met| (met, 3.0 * limit));
    let into = meetings.skin.iter().map(|met| (met, limit));
    into.chain(through)
        .filter(|(met, _)| met.class != Class::BodyOverlaps)
        .map(|(met, most)| (met, Unit::Length.to_edge(f64::from(met.depth)), most))
        .filter(|(_, depth, most)| depth > most)
        .map(|(met, depth, _)| Fault {
            at: At::Fabric(met.point),
            area: moment.layer.fabric.points.area[met.point],
            value: depth,
        })
        .collect()
}
