//! What is wrong in this frame? One file per measure: a record, and a function that returns named numbers.
//!
//! A measure keeps nothing between frames. What several of them need is in the [`Moment`]. Names, limits, axis
//! labels, table columns and the schema are made from the records.

pub mod buried;
pub mod dip;
pub mod ease;
pub mod findings; // once per rig, not per frame

pub mod layer_shows;
pub mod lift;
pub mod part_contact;
pub mod pinch;
pub mod seam_gap;
pub mod self_crossing;
pub mod skin_shows;
pub mod squeeze;
pub mod statistics;
pub mod stretch;
pub mod texture_drift;
pub mod uncovered;

use crate::contact::tangle::Pair;
use crate::contact::{Layer, Moment};
use crate::units::Unit;

/// All measures, sorted by name.
pub static ALL: &[&Measure] = &[
    &buried::MEASURE,
    &dip::MEASURE,
    &ease::MEASURE,
    &layer_shows::MEASURE,
    &lift::MEASURE,
    &part_contact::MEASURE,
    &pinch::MEASURE,
    &seam_gap::MEASURE,
    &self_crossing::MEASURE,
    &skin_shows::MEASURE,
    &squeeze::MEASURE,
    &stretch::MEASURE,
    &texture_drift::MEASURE,
    &uncovered::MEASURE,
];

/// A measure as data.
#[derive(Debug)]
pub struct Measure {
    /// `snake_case`; the file's name.
    pub id: &'static str,
    /// What it says, in a maker's words.
    pub about: &'static str,
    /// Its numbers, in the order [`Measure::take`] returns them.
    pub numbers: &'static [Number],
    /// Measures one frame.
    pub take: fn(&Moment) -> Taken,
    /// Its values sample by sample, for the numbers of each region.
    pub spread: Option<Spread>,
    /// Where it is over its limit, for measures that have places; a global number has none.
    pub failing: Option<Failing>,
    /// What to colour the fabric by: one value per garment vertex in the edge unit of the first number with a
    /// matching unit; NaN where nothing was measured.
    pub field: Option<Field>,
}

/// The values of a measure over the garment in a frame.
#[derive(Debug)]
pub struct Spread {
    /// Of the values.
    pub unit: Unit,
    /// Every sample that was measured, in a fixed order.
    pub samples: fn(&Moment) -> Vec<Sampled>,
}

/// A measure's value at one sample.
#[derive(Clone, Copy, Debug)]
pub struct Sampled {
    /// Where.
    pub at: At,
    /// Area as built under it, square metres.
    pub area: f64,
    /// In the edge unit of [`Spread::unit`].
    pub value: f64,
    /// Whether this sample is over by itself, for measures that judge an area.
    pub over: bool,
}

/// Where a measure is over its limit in a frame.
#[derive(Debug)]
pub struct Failing {
    /// The number whose limit says what is too much, below the measure's id.
    pub number: &'static str,
    /// Unit of [`Fault::value`].
    pub unit: Unit,
    /// True where the area that fails is what is judged, false where it is how far each place is over.
    pub by_area: bool,
    /// The samples that are over that limit, which is given in its edge unit.
    pub find: fn(&Moment, f64) -> Vec<Fault>,
}

impl Failing {
    /// How much must be over a limit (edge unit) for a place to fail by itself, square metres: an area's limit, a
    /// hundredth of the garment for a p99, anything at all for a depth.
    pub fn least_area(&self, limit: f64, garment_area: f64) -> f64 {
        if self.by_area {
            limit * 1e-4 // square centimetres
        } else if self.number.ends_with("p99") || self.number.ends_with("p99_mm") {
            0.01 * garment_area
        } else {
            f64::MIN_POSITIVE
        }
    }
}

/// One sample that is over a limit.
#[derive(Clone, Copy, Debug)]
pub struct Fault {
    /// Where.
    pub at: At,
    /// Area as built under it, square metres.
    pub area: f64,
    /// What it is, in the edge unit of [`Failing::unit`].
    pub value: f64,
}

/// How a picture colours the fabric by a measure.
#[derive(Debug)]
pub struct Field {
    /// One value per garment vertex.
    pub values: fn(&Moment) -> Vec<f32>,
    /// Unit of the values.
    pub unit: Unit,
    /// Values up to this are drawn plain (edge unit).
    pub bottom: f32,
    /// From here on a value counts as over (edge unit), where there is such a value.
    pub limit: Option<f32>,
    /// The value of the last colour (edge unit).
    pub top: f32,
}

/// One number of a measure.
#[derive(Debug)]
pub struct Number {
    /// Below the measure's id, dots between groups: `inner.area_cm2`. Ends in its unit.
    pub path: &'static str,
    /// What it says.
    pub about: &'static str,
    /// Of the value inside; the path's ending is the unit at the edge.
    pub unit: Unit,
    /// What is judged; `None` is shown only.
    pub limit: Option<Limit>,
}

/// The most a number may be.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    /// Upright, seated, hard, in the edge unit, for a thigh of 0.41 m; `None` where it is not judged.
    pub most: [Option<f64>; 3],
    /// What this fitting adds to it.
    pub slack: fn(&Facts) -> f64,
}

/// What a limit may depend on.
#[derive(Clone, Copy, Debug)]
pub struct Facts {
    /// Median ease as built, millimetres at the scale of 1.
    pub median_ease_mm: f64,
    /// How much the cloth gives.
    pub fabric: FabricClass,
}

/// How much the cloth gives (`SOURCES` 4.3: classes of textile handbooks).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FabricClass {
    /// Woven without stretch yarn.
    #[default]
    Rigid,
    /// Up to 30 %.
    Comfort,
    /// Over 30 %.
    Power,
}

/// A measure's answer for one frame.
#[derive(Clone, Debug, Default)]
pub struct Taken {
    /// In step with [`Measure::numbers`], in inside units; `None` where it cannot be measured.
    pub values: Vec<Option<f64>>,
    /// Worst places by the path of the numbers they belong to: `inner` for all that begin so, empty for all of the
    /// measure's.
    pub worst: Vec<(&'static str, At)>,
    /// Words beside the numbers, by path below the measure's id: a class.
    pub words: Vec<(&'static str, &'static str)>,
    /// The same numbers for one pair of parts.
    pub pairs: Vec<PairNumber>,
}

/// A number of a measure for one pair of the body's parts.
#[derive(Clone, Copy, Debug)]
pub struct PairNumber {
    /// Leg and leg, sleeve and trunk.
    pub pair: Pair,
    /// As in [`Number::path`].
    pub path: &'static str,
    /// In the edge unit.
    pub value: f64,
}

impl Taken {
    /// Numbers whose worst place is one and the same.
    pub fn at(values: Vec<Option<f64>>, worst: Option<At>) -> Self {
        Self {
            values,
            worst: worst.map(|at| ("", at)).into_iter().collect(),
            ..Self::default()
        }
    }
}

/// A place among the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// Covered skin sample.
    Skin(usize),
    /// Number of a layer beneath, counted from 0, and a covered sample of its cloth.
    Beneath(usize, usize),
    /// Fabric sample.
    Fabric(usize),
    /// Fabric triangle.
    Triangle(usize),
    /// Fabric vertex.
    Vertex(usize),
}

impl Limit {
    /// A limit that is the same for every garment.
    pub const fn fixed(upright: f64, seated: f64, hard: Option<f64>) -> Self {
        Self {
            most: [Some(upright), Some(seated), hard],
            slack: |_| 0.0,
        }
    }
}

impl Measure {
    /// The full path of a number: `skin_shows.inner.area_cm2`.
    pub fn path(&self, number: &Number) -> String {
        format!("{}.{}", self.id, number.path)
    }
}

/// The measure and number of a full path.
pub fn find(path: &str) -> Option<(&'static Measure, &'static Number)> {
    let (id, rest) = path.split_once('.')?;
    let measure = ALL.iter().find(|measure| measure.id == id)?;
    Some((
        measure,
        measure.numbers.iter().find(|number| number.path == rest)?,
    ))
}

/// The measures that are taken: those of a layer beneath only where there is one.
pub fn taken(has_layer_beneath: bool) -> impl Iterator<Item = &'static Measure> {
    let asked = move |measure: &&&'static Measure| has_layer_beneath || measure.id != layer_shows::MEASURE.id;
    ALL.iter().filter(asked).copied()
}

/// Measures of the cloth itself: they need no body.
const OF_CLOTH_ALONE: [&str; 3] = ["seam_gap", "squeeze", "texture_drift"];

/// Whether a number is asked of this garment at all: what needs a body is not where there is none, and a print cannot
/// smear on cloth without UVs. Everything else must be measured, or fails.
pub fn can_be_asked(path: &str, layer: &Layer, has_body: bool, has_layer_beneath: bool) -> bool {
    let id = path.split('.').next().unwrap_or(path);
    (has_body || OF_CLOTH_ALONE.contains(&id))
        && (id != "texture_drift" || layer.cloth.is_printed())
        && (id != layer_shows::MEASURE.id || has_layer_beneath)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_file_is_registered_and_sorted() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/measure");
        let files: BTreeSet<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| {
                entry
                    .unwrap()
                    .path()
                    .file_stem()
                    .unwrap()
                    .to_string_lossy()
                    .into_owned()
            })
            .filter(|name| !["mod", "statistics", "findings"].contains(&name.as_str()))
            .collect();
        let known: Vec<&str> = ALL.iter().map(|measure| measure.id).collect();
        let sorted: BTreeSet<String> = known.iter().map(|id| (*id).to_owned()).collect();
        assert_eq!(files, sorted);
        assert!(known.is_sorted());
    }

    #[test]
    fn every_number_ends_in_its_unit() {
        for measure in ALL {
            for number in measure.numbers {
                assert!(
                    number.path.ends_with(number.unit.suffix()),
                    "{}",
                    measure.path(number)
                );
                if number.unit == Unit::Ratio {
                    for unit in [Unit::Length, Unit::Area, Unit::Angle] {
                        assert!(
                            !number.path.ends_with(unit.suffix()) || number.path.ends_with("worst_5cm2"),
                            "{}",
                            measure.path(number)
                        );
                    }
                }
            }
        }
    }
}
