//! What a run found: the record every output reads, and the shape of `result.json`.
//!
//! Values are in the unit their name ends in, rounded where they are written. No clock, path or thread count.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The number in every `result.json`; it rises when a reader of the older form would misread the newer.
pub const SCHEMA_VERSION: u32 = 1;

/// A whole run: one or more fittings, judged together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Outcome {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The worst verdict of all fittings.
    pub verdict: Verdict,
    /// What the tool's numbers do not say; printed with every report.
    pub caution: String,
    /// Limit key (`skin_shows.inner.area_cm2`) to its value by demand (`upright`, `seated`, `hard`).
    pub limits: BTreeMap<String, BTreeMap<Demand, f64>>,
    /// In the order they were asked for.
    pub fittings: Vec<Fitting>,
}

/// One garment on one body.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fitting {
    /// The body's name.
    pub body: String,
    /// The garment that is measured, then those it is worn over.
    pub garments: Vec<Garment>,
    /// Hip splay at the body's own bind.
    pub body_hip_splay_deg: Sides,
    /// The worst of its poses and findings.
    pub verdict: Verdict,
    /// Why the verdict is what it is, worst first, in plain words; empty for a clean pass.
    pub reasons: Vec<Reason>,
    /// What the rig itself shows, once per rig.
    pub rig_findings: Vec<Finding>,
    /// Every pose asked for, also those that do not apply.
    pub poses: Vec<PoseResult>,
    /// Patches that fail, worst first.
    #[serde(default)]
    pub spots: Vec<Spot>,
    /// The limits this fitting was judged by: the defaults, scaled by body size and with the slack of its ease and
    /// fabric.
    #[serde(default)]
    pub limits: BTreeMap<String, BTreeMap<Demand, f64>>,
    /// The size in which it is worn, where a fitting file names one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size: Option<SizeResult>,
}

/// A size of a body, and how far towards it a garment holds.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SizeResult {
    /// Its name; `least` and `most` are the corners.
    pub size: String,
    /// What a tape reads in this size, in times of what it reads as built: `thigh girth`.
    pub girths: BTreeMap<String, f64>,
    /// The share of the way from as built (0) to the size (1) up to which nothing fails, to a thirty-second; absent where
    /// nothing fails in the size, or something fails as built.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clean_to: Option<f64>,
    /// The same in words: `clean to thigh girth x 1.15`; empty where nothing fails.
    pub say: String,
}

/// One connected patch that fails, followed through frames and poses.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Spot {
    /// Limit key of the number it breaks.
    pub measure: String,
    /// Its worst value.
    pub value: f64,
    /// Unit of the value: `mm`, `cm2`, or empty for a ratio.
    pub unit: String,
    /// In tailor's words.
    pub region: String,
    /// `left`, `right`, or empty in the middle.
    pub side: String,
    /// Area as built.
    pub area_cm2: f64,
    /// The pose it is worst in.
    pub pose: String,
    /// Frame of that pose.
    pub frame: usize,
    /// Where it first appears: in a pose of several frames the first frame; on the way from standing into a still pose the
    /// angle of `onset_motion`, degrees, to a quarter. Absent where it has no place in a pose.
    pub onset: Option<f64>,
    /// The motion that `onset` is an angle of, `left_hip.flexion`; empty where it is a frame.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub onset_motion: String,
    /// The worst place.
    pub place: Place,
    /// Joints that move it.
    pub joints: Vec<String>,
    /// Why, as far as trying remedies could tell.
    pub cause: Cause,
    /// How far the cause can be trusted: the share of the fault that the best remedy removes, 0 to 1. Absent without one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub removed_share: Option<f64>,
    /// One plain sentence.
    pub say: String,
    /// What was tried and helped, best first.
    pub remedies: Vec<Remedy>,
    /// The garment's triangles that fail, sorted: for pictures and marked files of this run, in no record.
    #[serde(skip)]
    pub triangles: Vec<u32>,
}

/// Why a spot fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// Painted weights.
    Weights,
    /// The shape as built.
    Shape,
    /// Weights that differ across a seam.
    Seam,
    /// Rows that do not add up.
    Rows,
    /// Bound in another pose than it was built in.
    Bind,
    /// Size of the file.
    Scale,
    /// Axes of the file.
    Axes,
    /// Missing or wrong joints.
    Joints,
    /// Skin that should be hidden.
    HiddenSkin,
    /// The two skins are closer than the two eases.
    NoRoom,
    /// The body is inside itself there.
    BodyOverlaps,
    /// Nothing that was tried helped.
    Unknown,
}

/// An edit that was tried in memory and measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Remedy {
    /// What to do.
    #[serde(rename = "do")]
    pub action: String,
    /// By how much, with its unit.
    pub by: String,
    /// The spot's value before.
    pub before: f64,
    /// And after.
    pub after: f64,
    /// What it changed elsewhere, in a sentence; empty for nothing.
    pub elsewhere: String,
    /// How many numbers fail the fitting with this remedy alone, each pose in the frame that was worst before; absent where
    /// that was not tried.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub still_failing: Option<u64>,
}

/// What is known of a garment before any pose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Garment {
    /// The garment's name.
    pub name: String,
    /// Hip splay at the garment's own bind: the pose it was built in. Absent without leg joints.
    pub hip_splay_deg: Sides,
    /// Share of the body's skin that the garment covers as built, 0 to 1.
    pub covered_share: f64,
    /// Share of the fabric that lies over skin as built, 0 to 1; the rest is not tested for ease, lift and stretch
    /// beyond the skin.
    pub over_skin_share: f64,
    /// Fabric area as built.
    pub area_cm2: f64,
    /// Median room between skin and fabric as built.
    pub ease_median_mm: Option<f64>,
}

/// A value for the wearer's left and right.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sides {
    /// The wearer's left; absent where it cannot be known.
    pub left: Option<f64>,
    /// The wearer's right; absent where it cannot be known.
    pub right: Option<f64>,
}

/// How a pose, a fitting or a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Listed, not judged: the rig lacks joints that the pose needs.
    NotApplicable,
    /// Everything measured is within its limit.
    Pass,
    /// Within limits where it must be; over them in a hard pose, or something to look at.
    Warn,
    /// Nothing failed, but part of the test could not be made.
    PartlyTested,
    /// Over a limit, or not measured where it should be.
    Fail,
    /// This fitting could not run.
    CouldNotRun,
}

/// How much a pose asks of a garment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Demand {
    /// Everyday, on one's feet.
    Upright,
    /// Chair, stairs, bicycle.
    Seated,
    /// Squat, split, lunge, floor: over the limit is a warning unless promised.
    Hard,
}

/// How grave a rig finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Shown.
    Note,
    /// Fails the fitting.
    Fault,
    /// The fitting cannot run.
    Stop,
}

/// Something a rig shows before any pose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Stable name, `snake_case`.
    pub code: String,
    /// How grave.
    pub severity: Severity,
    /// Name of the body or garment.
    pub surface: String,
    /// How many vertices, joints or triangles; 1 for a property of the whole.
    pub count: u64,
    /// The worst place: vertex and joint names, or a JSON pointer.
    #[serde(rename = "where")]
    pub place: String,
    /// One sentence for a maker.
    pub say: String,
    /// What to do.
    pub help: String,
}

/// Why something is not a clean pass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Reason {
    /// Limit key, or the code of a rig finding.
    pub what: String,
    /// Pose, empty for a finding.
    pub pose: String,
    /// Frame of the pose at which it is worst.
    pub frame: usize,
    /// The worst value; absent where nothing could be measured.
    pub value: Option<f64>,
    /// The limit it was judged against.
    pub limit: Option<f64>,
    /// Fail, warn or partly tested.
    pub weight: Verdict,
    /// One plain sentence.
    pub say: String,
    /// The worst place, where there is one.
    pub place: Option<Place>,
}

/// A point one can look at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Place {
    /// `body` or the garment's name.
    pub surface: String,
    /// Nearest vertex, as numbered in the file.
    pub vertex: u64,
    /// Posed position in metres (glTF axes).
    pub position_m: [f64; 3],
    /// In tailor's words: `inner left thigh`.
    pub region: String,
    /// From where it is seen best: `from behind, below`; empty where that was not asked.
    pub seen_from: String,
    /// The same as a unit direction out of the place (glTF axes).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen_along: Option<[f64; 3]>,
}

/// One pose, all its frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PoseResult {
    /// The pose's name.
    pub pose: String,
    /// The pose in a sentence.
    pub about: String,
    /// How much it asks.
    pub demand: Demand,
    /// The worst frame's verdict.
    pub verdict: Verdict,
    /// Why it is not applicable: the joints that are missing.
    pub not_applicable: Option<String>,
    /// In order of time.
    pub frames: Vec<FrameResult>,
    /// By region in a tailor's words (`inner left thigh`): numbers of the fabric or skin there, the gravest over all
    /// frames; `over_cm2` is the area that is over.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub regions: BTreeMap<String, Numbers>,
}

/// One frame of a pose.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrameResult {
    /// 0, 1, 2 ...
    pub frame: usize,
    /// Time in the clip or sequence, where it has one.
    pub time_s: Option<f64>,
    /// Anatomical angles as they took effect: VRM bone, motion, degrees.
    pub angles_deg: BTreeMap<String, BTreeMap<String, f64>>,
    /// Every measure's numbers.
    pub measures: Numbers,
    /// Worst places by the beginning of the paths they belong to: `stretch`, `skin_shows.inner`.
    pub worst: BTreeMap<String, Place>,
    /// Numbers of pairs of parts that touch: `left thigh, right thigh` to measures.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub pairs: BTreeMap<String, Numbers>,
}

impl FrameResult {
    /// The worst place of a number, by its full path.
    pub fn place_of(&self, path: &str) -> Option<&Place> {
        let mut head = path;
        loop {
            if let Some(place) = self.worst.get(head) {
                return Some(place);
            }
            head = head.rsplit_once('.')?.0;
        }
    }
}

/// Named numbers and words, written as nested objects: `stretch.beyond_skin.p99` is `{"stretch": {"beyond_skin": {"p99": ..}}}`.
/// A number that could not be measured is `null`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "serde_json::Value", into = "serde_json::Value")]
pub struct Numbers {
    /// Full path to value, sorted by path.
    pub values: BTreeMap<String, Option<f64>>,
    /// Full path to a word (a class).
    pub words: BTreeMap<String, String>,
}

impl JsonSchema for Numbers {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Numbers".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": "object",
            "description": "Measure, then part, then number; null is not measurable here.",
            "additionalProperties": {"type": "object"}
        })
    }
}

impl Numbers {
    /// The value at a full path; `None` where it is absent or not measurable.
    pub fn get(&self, path: &str) -> Option<f64> {
        self.values.get(path).copied().flatten()
    }
}

impl From<Numbers> for serde_json::Value {
    fn from(numbers: Numbers) -> Self {
        let mut root = serde_json::Map::new();
        for (path, value) in numbers.values {
            let leaf = value
                .and_then(serde_json::Number::from_f64)
                .map_or(Self::Null, Self::Number);
            insert(&mut root, &path, leaf);
        }
        for (path, word) in numbers.words {
            insert(&mut root, &path, Self::String(word));
        }
        Self::Object(root)
    }
}

fn insert(root: &mut serde_json::Map<String, serde_json::Value>, path: &str, leaf: serde_json::Value) {
    let mut at = root;
    let mut steps = path.split('.').peekable();
    while let Some(step) = steps.next() {
        if steps.peek().is_none() {
            at.insert(step.to_owned(), leaf);
            return;
        }
        let next = at
            .entry(step)
            .or_insert_with(|| serde_json::Value::Object(serde_json::Map::new()));
        match next {
            serde_json::Value::Object(map) => at = map,
            _ => return, // a number and a group of one name: the registry's test forbids it
        }
    }
}

impl TryFrom<serde_json::Value> for Numbers {
    type Error = String;

    /// # Errors
    /// A key that no path is made of: written again it would be other keys.
    fn try_from(value: serde_json::Value) -> Result<Self, String> {
        let mut numbers = Self::default();
        collect(&mut numbers, String::new(), &value)?;
        Ok(numbers)
    }
}

fn collect(numbers: &mut Numbers, path: String, value: &serde_json::Value) -> Result<(), String> {
    match value {
        serde_json::Value::Object(map) => {
            for (key, inner) in map {
                if key.is_empty() || key.contains('.') {
                    return Err(format!("`{key}` is no part of a measure's path"));
                }
                let path = if path.is_empty() {
                    key.clone()
                } else {
                    format!("{path}.{key}")
                };
                collect(numbers, path, inner)?;
            }
        }
        serde_json::Value::String(word) => {
            numbers.words.insert(path, word.clone());
        }
        other => {
            numbers.values.insert(path, other.as_f64());
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Found by the fuzzer: a key of many dots became as many levels, too deep to be read again.
    #[test]
    fn a_key_that_is_no_part_of_a_path_is_refused() {
        for key in ["inner.....", "", "a.b"] {
            let text = serde_json::json!({ "skin_shows": { key: 1.0 } }).to_string();
            let said = serde_json::from_str::<Numbers>(&text).unwrap_err().to_string();
            assert!(said.contains("is no part of a measure's path"), "{said}");
        }
    }

    #[test]
    fn numbers_come_back_as_they_were_written() {
        let mut numbers = Numbers::default();
        numbers
            .values
            .insert("stretch.beyond_skin.p99".into(), Some(1.25));
        numbers.values.insert("stretch.raw.p99".into(), None);
        numbers
            .words
            .insert("part_contact.skin.class".into(), "garment".into());
        let text = serde_json::to_string(&numbers).unwrap();
        assert_eq!(
            text,
            r#"{"part_contact":{"skin":{"class":"garment"}},"stretch":{"beyond_skin":{"p99":1.25},"raw":{"p99":null}}}"#
        );
        assert_eq!(serde_json::from_str::<Numbers>(&text).unwrap(), numbers);
    }
}
