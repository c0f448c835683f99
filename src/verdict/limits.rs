//! What a number may be at most, by demand, for one fitting.
//!
//! There is no published standard for these limits: the defaults are the project's own, and the report says so.

use crate::measure::{self, Facts};
use crate::outcome::Demand;
use crate::units::Unit;
use std::collections::BTreeMap;

/// Demands in the order of [`measure::Limit::most`].
pub const DEMANDS: [Demand; 3] = [Demand::Upright, Demand::Seated, Demand::Hard];

/// Limits in edge units by full path and demand.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limits {
    /// `skin_shows.inner.area_cm2` to its values.
    pub most: BTreeMap<String, BTreeMap<Demand, f64>>,
}

/// Limits that a maker states, by full path and demand, for a body whose thigh is 0.41 m.
pub type Told = BTreeMap<String, BTreeMap<Demand, f64>>;

impl Limits {
    /// The defaults for a body whose thigh is 0.41 m and a garment that adds nothing.
    pub fn defaults() -> Self {
        Self::of(
            &Facts {
                median_ease_mm: 0.0,
                fabric: measure::FabricClass::Rigid,
            },
            1.0,
        )
    }

    /// The limits of one fitting: each with the slack of its facts, lengths times `scale`, areas times its square.
    pub fn of(facts: &Facts, scale: f64) -> Self {
        Self::told(&BTreeMap::new(), facts, scale)
    }

    /// As [`Limits::of`], with the limits that a maker states in the place of the project's own. Only what the project
    /// judges can be told another limit.
    pub fn told(told: &Told, facts: &Facts, scale: f64) -> Self {
        let mut most = BTreeMap::new();
        for measure in measure::ALL {
            for number in measure.numbers {
                let Some(limit) = number.limit else { continue };
                let factor = match number.unit {
                    Unit::Length => scale,
                    Unit::Area => scale * scale,
                    Unit::Angle | Unit::Ratio => 1.0,
                };
                let slack = (limit.slack)(facts);
                let path = measure.path(number);
                let told = told.get(&path);
                let row: BTreeMap<Demand, f64> = DEMANDS
                    .into_iter()
                    .zip(limit.most)
                    .filter_map(|(demand, own)| {
                        let value = told.and_then(|row| row.get(&demand)).copied().or(own)?;
                        Some((demand, (value + slack) * factor))
                    })
                    .collect();
                most.insert(path, row);
            }
        }
        Self { most }
    }

    /// The limit of a number at a demand.
    pub fn get(&self, path: &str, demand: Demand) -> Option<f64> {
        self.most.get(path)?.get(&demand).copied()
    }
}
