//! Which pose does a hand-written file describe? The format is in `poses/README.md`.

use super::joint::{self, Joint, Motion};
use super::keys::{self, Clock, Sequence};
use super::{Angles, Pose, PoseError, PoseFrame, ranges};
use crate::outcome::Demand;
use crate::rig::bone::{Bone, Side};
use crate::written::tree::{self, Tree, Value, Wrong};
use crate::written::values::{self, Entries, flag, list, map, need, text, unknown, wrong};
use std::collections::BTreeMap;

/// The keys of a pose file, in the order the README tells them.
pub(super) const KEYS: [&str; 10] = [
    "name",
    "about",
    "basis",
    "demand",
    "beyond_range",
    "optional",
    "angles",
    "frames",
    "steps",
    "cycle",
];
/// The keys of `cycle`.
pub(super) const CYCLE_KEYS: [&str; 2] = ["seconds", "right_after_percent"];
/// The words for demand.
pub(super) const DEMANDS: [(&str, Demand); 3] = [
    ("upright", Demand::Upright),
    ("seated", Demand::Seated),
    ("hard", Demand::Hard),
];
/// Most frames of one pose: each is skinned and measured.
pub(super) const MOST_FRAMES: usize = 1000;

/// Reads a pose file (YAML text). `file_name` is only for messages.
///
/// # Errors
/// [`PoseError::Written`] with line, column and the nearest right word for whatever cannot stand: an unknown or
/// repeated key, a value of the wrong kind, an angle outside [`ranges`] without `beyond_range: true`.
pub fn parse(text: impl AsRef<[u8]>, file_name: &str) -> Result<Pose, PoseError> {
    Ok(tree::read(text.as_ref(), file_name, pose)?)
}

fn pose(top: &Tree) -> Result<Pose, Wrong> {
    let fields = map(top, "a pose file", &KEYS)?;
    let beyond_range = fields.get("beyond_range").map_or(Ok(false), |tree| flag(tree))?;
    let optional = fields
        .get("optional")
        .map_or(Ok(Vec::new()), |tree| optional(tree))?;
    let mut marks = Marks::default();
    let sequence = sequence(top, &fields, &mut marks)?;
    if !beyond_range {
        marks.check(&sequence)?;
    }
    let pose = Pose {
        name: name(need(top, &fields, "name")?)?,
        about: text(need(top, &fields, "about")?)?,
        basis: basis(need(top, &fields, "basis")?)?,
        demand: demand(need(top, &fields, "demand")?)?,
        beyond_range,
        optional,
        frames: keys::frames(&sequence),
    };
    // The keys are legal, but between two of them a pose may still leave what joints can do.
    match ranges::check(&pose).first() {
        Some(out) if !beyond_range => {
            let node = fields.get("frames").map_or(top.id, |tree| tree.id);
            Err(beyond(
                node,
                &format!("between the key frames, at frame {}, {out}", out.frame),
            ))
        }
        _ => Ok(pose),
    }
}

fn sequence(top: &Tree, fields: &Entries, marks: &mut Marks) -> Result<Sequence, Wrong> {
    match (fields.get("angles"), fields.get("frames")) {
        (Some(angles), None) => still(angles, fields, marks),
        (None, Some(frames)) => moving(frames, fields, marks),
        (Some(_), Some(frames)) => Err(wrong(
            frames.id,
            "a pose has either `angles` or `frames`, not both",
            "one of the two is enough",
            "write one set of `angles` for a still pose, a list of `frames` for a sequence",
        )),
        (None, None) => Err(wrong(
            top.id,
            "this pose says nothing about any joint",
            "no `angles` and no `frames`",
            "add `angles:` for a still pose or `frames:` for a sequence; check the indentation below",
        )),
    }
}

fn still(angles: &Tree, fields: &Entries, marks: &mut Marks) -> Result<Sequence, Wrong> {
    for key in ["steps", "cycle"] {
        if let Some(tree) = fields.get(key) {
            let say = format!("`{key}` belongs to a sequence, and this pose has no `frames`");
            return Err(wrong(
                tree.id,
                &say,
                "not for a still pose",
                "write the key frames as a list `frames:`",
            ));
        }
    }
    let entries = map(angles, "`angles`", &joint_words())?;
    let angles = joints(&entries, marks, 0)?;
    Ok(Sequence {
        keys: vec![(0.0, angles)],
        clock: Clock::None,
        steps: None,
    })
}

fn moving(frames: &Tree, fields: &Entries, marks: &mut Marks) -> Result<Sequence, Wrong> {
    let cycle = fields.get("cycle").map(|tree| cycle(tree)).transpose()?;
    let steps = fields.get("steps").map(|tree| count(tree)).transpose()?;
    let list = list(frames)?;
    if list.is_empty() || list.len() > MOST_FRAMES {
        let say = format!("`frames` has {} entries; it needs 1 to {MOST_FRAMES}", list.len());
        return Err(wrong(frames.id, &say, "here", "write one entry a key frame"));
    }
    let time_key = time_key(list, cycle.is_some());
    let mut keys: Vec<(f64, BTreeMap<Bone, Angles>)> = Vec::new();
    for (index, item) in list.iter().enumerate() {
        let words: Vec<&str> = time_key.into_iter().chain(joint_words()).collect();
        let entries = map(item, "a frame", &words)?;
        let at = frame_time(item, &entries, time_key, keys.last().map(|last| last.0), index)?;
        let angles = joints(&entries, marks, index)?;
        marks.one_kind(&keys, &angles, index)?;
        keys.push((at, angles));
    }
    let clock = match (cycle, time_key) {
        (Some(clock), _) => clock,
        (None, Some(_)) => Clock::Seconds,
        (None, None) => Clock::None,
    };
    if let Clock::Cycle {
        right_after: Some(_), ..
    } = clock
    {
        marks.left_only()?;
    }
    Ok(Sequence { keys, clock, steps })
}

/// Cycles count in percent; other sequences in seconds, if their first frame does.
fn time_key(list: &[Tree], cycle: bool) -> Option<&'static str> {
    let first_has = |word: &str| match list.first().map(|tree| &tree.value) {
        Some(Value::Map(entries)) => entries.iter().any(|(key, _)| key.text == word),
        _ => false,
    };
    match cycle {
        true => Some("at_percent"),
        false => first_has("at_s").then_some("at_s"),
    }
}

#[expect(clippy::cast_precision_loss, reason = "frame numbers are far below 2^52")]
fn frame_time(
    item: &Tree,
    entries: &Entries,
    time_key: Option<&str>,
    before: Option<f64>,
    index: usize,
) -> Result<f64, Wrong> {
    let Some(key) = time_key else {
        return Ok(index as f64);
    };
    let tree = need(item, entries, key)?;
    let at = match key {
        "at_percent" => number(tree, 0.0, 100.0)?,
        _ => number(tree, 0.0, 3600.0)?,
    };
    match before {
        Some(before) if at <= before => Err(wrong(
            tree.id,
            &format!("frames must follow each other in time, and {at} comes after {before}"),
            "not later than the frame above",
            "sort the frames by time",
        )),
        _ => Ok(at),
    }
}

fn cycle(tree: &Tree) -> Result<Clock, Wrong> {
    let fields = map(tree, "`cycle`", &CYCLE_KEYS)?;
    let seconds = number(need(tree, &fields, "seconds")?, 0.01, 3600.0)?;
    let right_after = fields
        .get("right_after_percent")
        .map(|tree| number(tree, 0.0, 100.0))
        .transpose()?;
    Ok(Clock::Cycle { seconds, right_after })
}

// Joints and angles.

/// Which node of the file said what, so that a check of the whole can point at a word.
#[derive(Default)]
struct Marks {
    /// Frame, bone, motion (`None` for the joint's key) to node.
    nodes: BTreeMap<(usize, Bone, Option<Motion>), usize>,
}

impl Marks {
    fn check(&self, sequence: &Sequence) -> Result<(), Wrong> {
        for (frame, (_, angles)) in sequence.keys.iter().enumerate() {
            let posed = PoseFrame {
                time_s: None,
                angles: angles.clone(),
            };
            if let Some(out) = ranges::check_frame(&posed, frame).first() {
                let place = self.nodes.get(&(frame, out.bone, Some(out.motion)));
                let place = place.or_else(|| self.nodes.get(&(frame, out.bone, None)));
                return Err(beyond(place.copied().unwrap_or(0), &out.to_string()));
            }
        }
        Ok(())
    }

    /// A joint may not be bind in one key and at an angle in another: there is no way between the two.
    fn one_kind(
        &self,
        before: &[(f64, BTreeMap<Bone, Angles>)],
        now: &BTreeMap<Bone, Angles>,
        index: usize,
    ) -> Result<(), Wrong> {
        for (bone, angles) in now {
            let earlier = before.iter().find_map(|(_, angles)| angles.get(bone));
            if earlier.is_some_and(|old| matches!(old, Angles::Bind) != matches!(angles, Angles::Bind)) {
                let place = self.nodes.get(&(index, *bone, None)).copied().unwrap_or(0);
                return Err(wrong(
                    place,
                    "this joint is `bind` in one frame and at an angle in another",
                    "unlike a frame above",
                    "give it an angle in every frame, or `bind` in every frame",
                ));
            }
        }
        Ok(())
    }

    fn left_only(&self) -> Result<(), Wrong> {
        match self
            .nodes
            .iter()
            .find(|((_, bone, _), _)| bone.side() == Some(Side::Right))
        {
            Some((_, &node)) => Err(wrong(
                node,
                "this cycle gives the right side what the left did, so its frames name only the left",
                "the right side is already told",
                "name left joints only, or leave `right_after_percent` out",
            )),
            None => Ok(()),
        }
    }
}

fn joint_words() -> Vec<&'static str> {
    static WORDS: std::sync::LazyLock<Vec<String>> =
        std::sync::LazyLock::new(|| joint::keys().into_iter().map(|(word, ..)| word).collect());
    WORDS.iter().map(String::as_str).collect()
}

fn joints(entries: &Entries, marks: &mut Marks, frame: usize) -> Result<BTreeMap<Bone, Angles>, Wrong> {
    let mut found = BTreeMap::new();
    for (word, tree) in entries {
        // Time keys stand beside the joints.
        let Some((joint, sides)) = Joint::from_key(word) else {
            continue;
        };
        let (angles, nodes) = angles(tree, joint, word)?;
        for bone in joint.bones(sides) {
            if found.insert(bone, angles.clone()).is_some() {
                return Err(twice(tree.id, joint));
            }
            marks.nodes.insert((frame, bone, None), tree.id);
            marks.nodes.extend(
                nodes
                    .iter()
                    .map(|&(motion, node)| ((frame, bone, Some(motion)), node)),
            );
        }
    }
    Ok(found)
}

fn twice(node: usize, joint: Joint) -> Wrong {
    let word = joint.word();
    wrong(
        node,
        &format!("the {word} of this side is told twice: `{word}s` means both"),
        "told twice",
        &format!("write `left_{word}` and `right_{word}`, or `{word}s` alone"),
    )
}

type Nodes = Vec<(Motion, usize)>;

fn angles(tree: &Tree, joint: Joint, word: &str) -> Result<(Angles, Nodes), Wrong> {
    let motions = joint.motions();
    let words: Vec<&str> = motions.iter().map(|motion| motion.word()).collect();
    match &tree.value {
        Value::Word(text) if text == "bind" => return Ok((Angles::Bind, Vec::new())),
        Value::Map(_) => {}
        other => {
            return Err(wrong(
                tree.id,
                &format!(
                    "`{word}` needs its motions or the word `bind`, and this is {}",
                    other.kind()
                ),
                "not a set of motions",
                &format!(
                    "write `{word}: {{ {}: 10 }}` (degrees) or `{word}: bind`",
                    words.first().unwrap_or(&"flexion")
                ),
            ));
        }
    }
    let entries = map(tree, &format!("`{word}`"), &words)?;
    let (mut set, mut nodes) = (BTreeMap::new(), Vec::new());
    for &motion in motions {
        if let Some(value) = entries.get(motion.word()) {
            set.insert(motion, number(value, -360.0, 360.0)?.to_radians());
            nodes.push((motion, value.id));
        }
    }
    Ok((Angles::Set(set), nodes))
}

fn beyond(node: usize, say: &str) -> Wrong {
    wrong(
        node,
        say,
        "further than joints go",
        "change the angle, or write `beyond_range: true` if this is meant",
    )
}

fn optional(tree: &Tree) -> Result<Vec<Bone>, Wrong> {
    let mut bones = Vec::new();
    for item in list(tree)? {
        let word = text(item)?;
        let Some((joint, sides)) = Joint::from_key(&word) else {
            return Err(unknown(item.id, &word, "the joints", &joint_words()));
        };
        bones.extend(joint.bones(sides));
    }
    bones.sort();
    bones.dedup();
    Ok(bones)
}

// Plain values.

fn number(tree: &Tree, least: f64, most: f64) -> Result<f64, Wrong> {
    if matches!(&tree.value, Value::Word(word) if word == "bind") {
        return Err(wrong(
            tree.id,
            "a number belongs here, not `bind`",
            "not a number",
            "`bind` stands for a whole joint: write `knees: bind`, not `knees: { flexion: bind }`",
        ));
    }
    let in_degrees = |wrong: Wrong| Wrong {
        help: match tree.value {
            Value::Number(_) => "angles are in degrees, times in seconds or percent".into(),
            _ => wrong.help,
        },
        ..wrong
    };
    values::number(tree, least, most).map_err(in_degrees)
}

fn name(tree: &Tree) -> Result<String, Wrong> {
    let name = text(tree)?;
    let fits = |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit() || letter == '_';
    if name.chars().all(fits) && name.starts_with(|letter: char| letter.is_ascii_lowercase()) {
        return Ok(name);
    }
    Err(wrong(
        tree.id,
        "a pose's name has small letters, digits and `_` only, since files and options are named after it",
        "not such a name",
        "write it like `sitting_leaning`",
    ))
}

fn basis(tree: &Tree) -> Result<Vec<String>, Wrong> {
    let list = list(tree)?.iter().map(text).collect::<Result<Vec<_>, _>>()?;
    match list.is_empty() {
        false => Ok(list),
        true => Err(wrong(
            tree.id,
            "a pose says where its angles come from",
            "an empty list",
            "cite a source, or write `- common practice`",
        )),
    }
}

fn demand(tree: &Tree) -> Result<Demand, Wrong> {
    let word = text(tree)?;
    let words = DEMANDS.map(|(word, _)| word);
    let found = DEMANDS.iter().find(|(known, _)| *known == word);
    found
        .map(|(_, demand)| *demand)
        .ok_or_else(|| unknown(tree.id, &word, "the demands", &words))
}

fn count(tree: &Tree) -> Result<usize, Wrong> {
    #[expect(clippy::cast_precision_loss, reason = "a small constant")]
    let value = number(tree, 1.0, MOST_FRAMES as f64)?;
    if value.fract() != 0.0 {
        return Err(wrong(
            tree.id,
            "the number of frames is a whole number",
            "not whole",
            "write, say, 24",
        ));
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole and 1 to 1000"
    )]
    Ok(value as usize)
}

#[cfg(test)]
#[path = "yaml_tests.rs"]
mod tests;
