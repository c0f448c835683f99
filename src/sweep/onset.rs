//! At which angle does a number first pass its limit, and where does a place first fail?

use super::{Appears, FINEST_DEG, Onset, Step};
use crate::contact::Moment;
use crate::fitting::{Dressed, Regions};
use crate::measure::{self, Measure};
use crate::outcome::{Demand, FrameResult};
use crate::verdict::{Limits, judge};
use std::collections::{BTreeMap, BTreeSet};

/// What can begin: a number over its limit, or a place that fails a measure.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Event {
    Number(String),
    Place(&'static str, String),
}

/// Everything that is the matter at a step.
fn events(step: &Step, limits: &Limits) -> BTreeSet<Event> {
    let numbers = limits
        .most
        .keys()
        .filter(|path| is_over(step, limits, path))
        .map(|path| Event::Number(path.clone()));
    let places = step
        .failing
        .iter()
        .filter(|(_, times)| **times >= 1.0)
        .map(|((measure, region), _)| Event::Place(measure, region.clone()));
    numbers.chain(places).collect()
}

/// Silence is never a pass.
fn is_over(step: &Step, limits: &Limits, path: &str) -> bool {
    step.against(limits, path)
        .is_some_and(|(value, limit)| value.is_none_or(|value| !value.is_finite() || value > limit))
}

/// Middles of the gaps that must be looked into: in which something begins for the first time, and that are wider than
/// [`FINEST_DEG`]. `None` where every onset is known.
pub(super) fn gaps(steps: &[Step], limits: &Limits) -> Option<Vec<f64>> {
    let mut known: BTreeSet<Event> = BTreeSet::new();
    let mut middles = Vec::new();
    let mut before: Option<f64> = None;
    for step in steps {
        let here = events(step, limits);
        let new = here.iter().any(|event| !known.contains(event));
        if let Some(before) = before.filter(|before| new && (step.angle_deg - before).abs() > FINEST_DEG) {
            middles.push(f64::midpoint(before, step.angle_deg));
        }
        known.extend(here);
        before = Some(step.angle_deg);
    }
    (!middles.is_empty()).then_some(middles)
}

/// Numbers that pass their limit anywhere, in the order in which they do.
pub(super) fn onsets(steps: &[Step], limits: &Limits) -> Vec<Onset> {
    let mut found: Vec<(usize, Onset)> = limits
        .most
        .keys()
        .filter_map(|path| {
            let at = steps.iter().position(|step| is_over(step, limits, path))?;
            let step = &steps[at];
            let (value, limit) = step.against(limits, path)?;
            let onset = Onset {
                number: path.clone(),
                at_deg: step.angle_deg,
                value,
                limit,
                region: step
                    .place(path)
                    .map_or_else(String::new, |place| place.region.clone()),
                no_help: steps
                    .iter()
                    .filter(|step| is_over(step, limits, path))
                    .all(|step| !judge::can_be_helped(&step.result, path)),
                over_deg: stretches(steps, limits, path),
            };
            Some((at, onset))
        })
        .collect();
    found.sort_by(|(a, one), (b, other)| a.cmp(b).then_with(|| times(other).total_cmp(&times(one))));
    found.into_iter().map(|(_, onset)| onset).collect()
}

fn times(onset: &Onset) -> f64 {
    onset
        .value
        .map_or(f64::INFINITY, |value| value / onset.limit.max(1e-9))
}

/// Stretches of angles over the limit.
fn stretches(steps: &[Step], limits: &Limits, path: &str) -> Vec<[f64; 2]> {
    let mut stretches: Vec<[f64; 2]> = Vec::new();
    let mut open = false;
    for step in steps {
        let over = is_over(step, limits, path);
        match stretches.last_mut().filter(|_| open) {
            Some(last) if over => last[1] = step.angle_deg,
            _ if over => stretches.push([step.angle_deg; 2]),
            _ => {}
        }
        open = over;
    }
    stretches
}

/// Places that fail anywhere, in the order in which they do.
pub(super) fn places(steps: &[Step]) -> Vec<Appears> {
    let mut known: BTreeSet<(&'static str, &str)> = BTreeSet::new();
    let mut places = Vec::new();
    for step in steps {
        for ((measure, region), _) in step.failing.iter().filter(|(_, times)| **times >= 1.0) {
            if known.insert((measure, region)) {
                places.push(Appears {
                    region: region.clone(),
                    measure: (*measure).to_owned(),
                    at_deg: step.angle_deg,
                });
            }
        }
    }
    places
}

/// By measure and region: how many times over what would fail alone. A place fails where it alone would break the
/// measure's limit: its failing area is over an area's limit, over a hundredth of the garment for a p99, or there at
/// all for a depth.
pub(super) fn failing(
    dressed: &Dressed,
    limits: &Limits,
    demand: Demand,
    regions: &Regions,
    moment: &Moment,
    result: &FrameResult,
) -> BTreeMap<(&'static str, String), f64> {
    let mut places = BTreeMap::new();
    for measure in measure::taken(!dressed.beneath.is_empty()) {
        let Some((path, limit)) = limit_of(measure, limits, demand) else {
            continue;
        };
        // Where the whole is within its limit, no place of it is over; and what no edit can help is no place to mend.
        if result.measures.get(&path).is_some_and(|value| value <= limit)
            || !judge::can_be_helped(result, &path)
        {
            continue;
        }
        let Some(failing) = &measure.failing else { continue };
        let mut areas: BTreeMap<&str, f64> = BTreeMap::new();
        for fault in (failing.find)(moment, limit) {
            if let Some(region) = regions.name(moment, fault.at) {
                *areas.entry(region).or_default() += fault.area;
            }
        }
        let needed = failing.least_area(limit, dressed.layers[0].area());
        let times = areas
            .into_iter()
            .map(|(region, area)| ((measure.id, region.to_owned()), area / needed));
        places.extend(times.filter(|(_, times)| *times >= 1.0));
    }
    places
}

/// The number whose limit says what is too much for a place, and that limit.
fn limit_of(measure: &Measure, limits: &Limits, demand: Demand) -> Option<(String, f64)> {
    let path = format!("{}.{}", measure.id, measure.failing.as_ref()?.number);
    let limit = limits.get(&path, demand)?;
    Some((path, limit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::Numbers;

    const PATH: &str = "lift.area_cm2";

    fn limits() -> Limits {
        let most = BTreeMap::from([(PATH.into(), BTreeMap::from([(Demand::Upright, 3.0)]))]);
        Limits { most }
    }

    fn step(angle_deg: f64, value: f64) -> Step {
        let mut measures = Numbers::default();
        measures.values.insert(PATH.into(), Some(value));
        Step {
            angle_deg,
            demand: Demand::Upright,
            even: true,
            result: FrameResult {
                frame: 0,
                time_s: None,
                angles_deg: BTreeMap::new(),
                measures,
                worst: BTreeMap::new(),
                pairs: BTreeMap::new(),
            },
            failing: BTreeMap::new(),
        }
    }

    /// A number that is known in closed form: `5 sin(a)` passes 3 at 36.87 degrees.
    #[test]
    fn halving_finds_a_known_crossing_to_a_quarter_degree() {
        let number = |angle: f64| 5.0 * angle.to_radians().sin();
        for steps in [3, 10, 90] {
            let mut found: Vec<Step> = super::super::even_angles(0.0, 90.0, steps)
                .into_iter()
                .map(|angle| step(angle, number(angle)))
                .collect();
            while let Some(middles) = gaps(&found, &limits()) {
                found.extend(middles.into_iter().map(|angle| step(angle, number(angle))));
                found.sort_by(|a, b| a.angle_deg.total_cmp(&b.angle_deg));
            }
            let onsets = onsets(&found, &limits());
            let exact = 0.6f64.asin().to_degrees();
            assert_eq!(onsets.len(), 1);
            assert!(
                (0.0..=FINEST_DEG).contains(&(onsets[0].at_deg - exact)),
                "{}",
                onsets[0].at_deg
            );
            assert!(
                found.len() < steps + 12,
                "{} looks for {steps} steps",
                found.len()
            );
        }
    }

    #[test]
    fn only_the_first_crossing_is_searched_and_every_stretch_is_told() {
        let values = [0.0, 4.0, 0.0, 0.0, 4.0, 4.0];
        let steps: Vec<Step> = (0..6).map(|n| step(f64::from(n), values[n as usize])).collect();
        assert_eq!(gaps(&steps, &limits()), Some(vec![0.5]));
        assert_eq!(onsets(&steps, &limits())[0].over_deg, [[1.0, 1.0], [4.0, 5.0]]);
    }
}
