//! Numbers by region: how a measure's values lie over each of the tailor's places.

use super::Dressed;
use super::place::region_of;
use crate::contact::Moment;
use crate::measure::statistics::weighted_quantile;
use crate::measure::{self, At, Sampled};
use crate::outcome::Numbers;
use crate::units::Unit;
use std::collections::{BTreeMap, BTreeSet};

/// Stands for cloth without a home and for skin nobody asks about.
const NOWHERE: u16 = u16::MAX;

/// The regions of a body, found once.
#[derive(Debug)]
pub struct Regions {
    /// In the order of the alphabet.
    names: Vec<String>,
    /// By skin triangle: index into the names.
    of_skin: Vec<u16>,
}

/// Gravest numbers so far, by region and full path.
pub(super) type Gravest = BTreeMap<(u16, String), f64>;

impl Regions {
    /// Of the skin that the garment lies on.
    pub fn new(dressed: &Dressed) -> Self {
        let layer = &dressed.layers[0];
        let homes = layer.homes.iter().chain(&layer.fabric.home);
        let asked: BTreeSet<u32> = homes.chain(&layer.skin.points.triangle).copied().collect();
        let words: Vec<(u32, String)> = asked
            .into_iter()
            .map(|triangle| (triangle, region_of(&dressed.body, triangle)))
            .filter(|(_, name)| !name.is_empty())
            .collect();
        let names: BTreeSet<&str> = words.iter().map(|(_, name)| name.as_str()).collect();
        let names: Vec<String> = names.into_iter().map(ToOwned::to_owned).collect();
        let mut of_skin = vec![NOWHERE; dressed.body.surface.triangles.len()];
        for (triangle, name) in &words {
            let index = names
                .binary_search(name)
                .ok()
                .and_then(|at| u16::try_from(at).ok());
            of_skin[*triangle as usize] = index.unwrap_or(NOWHERE);
        }
        Self { names, of_skin }
    }

    /// The numbers of one frame.
    pub(super) fn of_frame(&self, moment: &Moment) -> Gravest {
        let mut numbers = Gravest::new();
        for measure in measure::ALL {
            let Some(spread) = &measure.spread else { continue };
            let mut by_region: Vec<Vec<Sampled>> = vec![Vec::new(); self.names.len()];
            for sample in (spread.samples)(moment) {
                if let Some(samples) = by_region.get_mut(usize::from(self.region(moment, sample.at))) {
                    samples.push(sample);
                }
            }
            for (region, samples) in (0u16..)
                .zip(&by_region)
                .filter(|(_, samples)| !samples.is_empty())
            {
                for (name, value) in summary(samples, spread.unit) {
                    numbers.insert((region, format!("{}.{name}", measure.id)), value);
                }
            }
        }
        numbers
    }

    /// The tailor's name of a place among the samples; `None` for cloth that lies over no skin.
    pub fn name(&self, moment: &Moment, at: At) -> Option<&str> {
        let region = usize::from(self.region(moment, at));
        self.names.get(region).map(String::as_str)
    }

    fn region(&self, moment: &Moment, at: At) -> u16 {
        let layer = moment.layer;
        let skin = match at {
            At::Skin(point) => layer.skin.points.triangle[point],
            At::Fabric(point) => layer.fabric.home[point],
            At::Triangle(triangle) => layer.homes[triangle],
            At::Vertex(_) | At::Beneath(..) => return NOWHERE,
        };
        self.of_skin.get(skin as usize).copied().unwrap_or(NOWHERE)
    }

    /// With names, as the record keeps them.
    pub(super) fn named(&self, gravest: Gravest) -> BTreeMap<String, Numbers> {
        let mut named: BTreeMap<String, Numbers> = BTreeMap::new();
        for ((region, path), value) in gravest {
            let numbers = named.entry(self.names[usize::from(region)].clone()).or_default();
            numbers.values.insert(path, Some(value));
        }
        named
    }
}

/// The gravest of two frames: the lowest of what is least, the highest of all else.
pub(super) fn fold(so_far: &mut Gravest, frame: Gravest) {
    for (key, value) in frame {
        let lowest = key.1.contains(".least");
        let kept = so_far.entry(key).or_insert(value);
        *kept = if lowest { kept.min(value) } else { kept.max(value) };
    }
}

fn summary(samples: &[Sampled], unit: Unit) -> Vec<(String, f64)> {
    let pairs: Vec<(f64, f64)> = samples.iter().map(|sample| (sample.value, sample.area)).collect();
    let extreme = |pick: fn(f64, f64) -> f64| pairs.iter().map(|pair| pair.0).reduce(pick);
    let over: f64 = samples
        .iter()
        .filter(|sample| sample.over)
        .map(|sample| sample.area)
        .sum();
    let with_unit = |name: &str| format!("{name}{}", unit.suffix());
    let mut numbers = vec![("over_cm2".to_owned(), Unit::Area.to_edge(over))];
    let found = [
        ("least", extreme(f64::min)),
        ("median", weighted_quantile(&pairs, 0.5)),
        ("most", extreme(f64::max)),
        ("p95", weighted_quantile(&pairs, 0.95)),
        ("p99", weighted_quantile(&pairs, 0.99)),
    ];
    numbers.extend(
        found
            .into_iter()
            .filter_map(|(name, value)| Some((with_unit(name), value?))),
    );
    numbers
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(value: f64, area: f64, over: bool) -> Sampled {
        Sampled {
            at: At::Fabric(0),
            area,
            value,
            over,
        }
    }

    #[test]
    fn a_region_is_summed_up_by_area() {
        let samples = [sample(1.0, 0.0098, false), sample(9.0, 0.0002, true)];
        let numbers: BTreeMap<String, f64> = summary(&samples, Unit::Length).into_iter().collect();
        assert_eq!(numbers["least_mm"], 1.0);
        assert_eq!(numbers["most_mm"], 9.0);
        assert_eq!(numbers["p95_mm"], 1.0);
        assert_eq!(numbers["p99_mm"], 9.0);
        assert!((numbers["over_cm2"] - 2.0).abs() < 1e-9);
    }

    #[test]
    fn the_gravest_frame_is_kept() {
        let frame = |value: f64| {
            let paths = ["ease.least_mm", "ease.most_mm"];
            Gravest::from(paths.map(|path| ((0, path.to_owned()), value)))
        };
        let mut kept = frame(3.0);
        fold(&mut kept, frame(5.0));
        fold(&mut kept, frame(4.0));
        let values: Vec<f64> = kept.into_values().collect();
        assert_eq!(values, [3.0, 5.0]);
    }
}
