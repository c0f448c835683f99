//! What does a BVH file say: a tree of joints, and their rotations frame by frame?
//!
//! The format as Meredith and Maddock describe it ("Motion Capture File Formats Explained", University of Sheffield, 2001):
//! `HIERARCHY` with `ROOT`, `JOINT`, `End Site`, `OFFSET` and `CHANNELS`, then `MOTION` with `Frames`, `Frame Time` and one
//! row of numbers a frame. A joint's rotation is the product of its channels in the order they are listed, degrees.

use crate::written::shortened;
use nalgebra::{Rotation3, UnitQuaternion, Vector3};
use thiserror::Error;

/// Longest file that is read, bytes.
pub const MOST_BYTES: u64 = 64 * 1024 * 1024;
/// Most joints of a file, end sites included.
const MOST_JOINTS: usize = 2_000;
/// Deepest joint.
const MOST_DEEP: usize = 400;
/// Most frames of a file.
const MOST_FRAMES: usize = 1_000_000;

/// What is wrong with a BVH file, in a sentence with its line.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("{file}:{line}: {say}; {help}")]
pub struct BvhError {
    /// As given.
    pub file: String,
    /// From 1.
    pub line: usize,
    /// What and where.
    pub say: String,
    /// What to do.
    pub help: String,
}

/// A joint or an end site.
#[derive(Clone, Debug, PartialEq)]
pub struct Joint {
    /// As in the file; empty for an end site.
    pub name: String,
    /// Index of the parent, always smaller.
    pub parent: Option<usize>,
    /// From the parent, in the file's own unit of length.
    pub offset: Vector3<f64>,
    /// Where its channels begin in a row, and what they are.
    first: usize,
    channels: Vec<Channel>,
}

/// What one number of a row moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Channel {
    /// Along an axis; where a joint goes changes nothing in its clothes, and bones keep their length.
    Position,
    /// About X, Y or Z.
    Rotation(usize),
}

/// A motion capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Bvh {
    /// Parents before children.
    pub joints: Vec<Joint>,
    /// Seconds from one frame to the next.
    pub frame_s: f64,
    /// Numbers of a row.
    width: usize,
    /// All rows, one behind the other.
    values: Vec<f32>,
}

impl Bvh {
    /// How many frames there are.
    pub fn frames(&self) -> usize {
        self.values.len() / self.width.max(1)
    }

    /// Rotation of each joint against its parent at a frame; none for a frame that is not there.
    pub fn rotations(&self, frame: usize) -> Vec<UnitQuaternion<f64>> {
        let row = self.values.get(frame * self.width..(frame + 1) * self.width);
        let of = |joint: &Joint| {
            let numbers = row.and_then(|row| row.get(joint.first..)).unwrap_or_default();
            let turns = joint
                .channels
                .iter()
                .zip(numbers)
                .filter_map(|(channel, degrees)| match channel {
                    Channel::Rotation(axis) => {
                        let axis = [Vector3::x_axis(), Vector3::y_axis(), Vector3::z_axis()][*axis];
                        Some(Rotation3::from_axis_angle(
                            &axis,
                            f64::from(*degrees).to_radians(),
                        ))
                    }
                    Channel::Position => None,
                });
            let turn = turns.fold(Rotation3::identity(), |turn, next| turn * next);
            UnitQuaternion::from_rotation_matrix(&turn)
        };
        self.joints.iter().map(of).collect()
    }
}

/// Reads a BVH file. `file` is only for messages.
///
/// # Errors
/// [`BvhError`] with the line for whatever is not as the format says, and for what is beyond every capture: more than 2,000
/// joints, 400 deep, 1,000,000 frames, 64 MiB.
pub fn parse(bytes: &[u8], file: &str) -> Result<Bvh, BvhError> {
    let mut words = Words::new(bytes, file)?;
    words.expect("HIERARCHY", "a BVH file begins with HIERARCHY; is this one?")?;
    let mut tree = Tree::default();
    loop {
        let word = words.next("ROOT or MOTION")?;
        match word {
            _ if word.eq_ignore_ascii_case("ROOT") => tree.joint(&mut words)?,
            _ if word.eq_ignore_ascii_case("MOTION") => break,
            _ => {
                return Err(words.wrong(&format!(
                    "`{}` stands where ROOT or MOTION belongs",
                    shortened(word, 40)
                )));
            }
        }
    }
    if tree.joints.is_empty() || tree.width == 0 {
        return Err(words.wrong("no joint with channels comes before MOTION"));
    }
    motion(&mut words, tree)
}

fn motion(words: &mut Words, tree: Tree) -> Result<Bvh, BvhError> {
    words.expect("Frames:", "the number of frames belongs here, as `Frames: 120`")?;
    let frames = words.number("the number of frames")?;
    if frames.fract() != 0.0 || !(1.0..=MOST_FRAMES as f64).contains(&frames) {
        return Err(words.wrong(&format!(
            "{frames} frames; it has to be a whole number from 1 to {MOST_FRAMES}"
        )));
    }
    words.expect(
        "Frame",
        "the time of a frame belongs here, as `Frame Time: 0.0333`",
    )?;
    words.expect(
        "Time:",
        "the time of a frame belongs here, as `Frame Time: 0.0333`",
    )?;
    let frame_s = words.number("the time of a frame")?;
    if !(1e-4..=10.0).contains(&frame_s) {
        return Err(words.wrong(&format!("a frame of {frame_s} s; it has to last 0.0001 to 10")));
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole, 1 to a million"
    )]
    let frames = frames as usize;
    let wanted = frames * tree.width;
    // The file says how many there are; room is only made for what its bytes can hold.
    let mut values: Vec<f32> = Vec::with_capacity(wanted.min(words.left() / 2 + 1));
    for at in 0..wanted {
        let Some(word) = words.word() else {
            let say = format!(
                "the file ends in frame {} of {frames}, at number {} of {}",
                at / tree.width + 1,
                at % tree.width + 1,
                tree.width
            );
            return Err(words.wrong(&say));
        };
        #[expect(
            clippy::cast_possible_truncation,
            reason = "degrees; 7 digits are far below a sensor's noise"
        )]
        match word.parse::<f64>() {
            Ok(value) if value.is_finite() && value.abs() <= 1e9 => values.push(value as f32),
            _ => return Err(words.no_number("a row of the motion", word)),
        }
    }
    if let Some(word) = words.word() {
        let say = format!(
            "`{}` stands behind the last of {frames} frames",
            shortened(word, 40)
        );
        return Err(words.wrong(&say));
    }
    Ok(Bvh {
        joints: tree.joints,
        frame_s,
        width: tree.width,
        values,
    })
}

/// The joints as they are read.
#[derive(Default)]
struct Tree {
    joints: Vec<Joint>,
    /// Channels so far.
    width: usize,
}

impl Tree {
    /// A joint whose first word is read already, with all below it.
    fn joint(&mut self, words: &mut Words) -> Result<(), BvhError> {
        let mut open: Vec<usize> = Vec::new();
        self.open(words, None, true)?;
        open.push(self.joints.len() - 1);
        while let Some(&parent) = open.last() {
            let word = words.next("OFFSET, CHANNELS, JOINT, End Site or `}`")?;
            let is = |known: &str| word.eq_ignore_ascii_case(known);
            if is("OFFSET") {
                for axis in 0..3 {
                    self.joints[parent].offset[axis] = words.number("an offset")?;
                }
            } else if is("CHANNELS") {
                self.channels(words, parent)?;
            } else if is("JOINT") || is("End") {
                if open.len() >= MOST_DEEP {
                    return Err(words.wrong(&format!("joints lie more than {MOST_DEEP} deep")));
                }
                self.open(words, Some(parent), is("JOINT"))?;
                open.push(self.joints.len() - 1);
            } else if word == "}" {
                open.pop();
            } else {
                let say = format!(
                    "`{}` stands where OFFSET, CHANNELS, JOINT, End Site or `}}` belongs",
                    shortened(word, 40)
                );
                return Err(words.wrong(&say));
            }
        }
        Ok(())
    }

    fn open(&mut self, words: &mut Words, parent: Option<usize>, named: bool) -> Result<(), BvhError> {
        if self.joints.len() >= MOST_JOINTS {
            return Err(words.wrong(&format!("there are more than {MOST_JOINTS} joints")));
        }
        // A name may hold blanks; the bracket may stand behind it or on the next line.
        let rest = words.rest_of_line();
        let (name, bracket) = match rest.strip_suffix('{') {
            Some(name) => (name.trim(), true),
            None => (rest, false),
        };
        if !bracket {
            words.expect("{", "a joint opens with `{`")?;
        }
        self.joints.push(Joint {
            name: if named {
                shortened(name, 256)
            } else {
                String::new()
            },
            parent,
            offset: Vector3::zeros(),
            first: self.width,
            channels: Vec::new(),
        });
        Ok(())
    }

    fn channels(&mut self, words: &mut Words, joint: usize) -> Result<(), BvhError> {
        let count = words.number("the number of channels")?;
        if !(0.0..=6.0).contains(&count) || count.fract() != 0.0 || !self.joints[joint].channels.is_empty() {
            return Err(words.wrong("a joint has one CHANNELS line with 0 to 6 channels"));
        }
        self.joints[joint].first = self.width;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "whole, 0 to 6"
        )]
        for _ in 0..count as usize {
            let word = words.next("a channel")?;
            let channel = match word.to_ascii_lowercase().as_str() {
                "xposition" | "yposition" | "zposition" => Channel::Position,
                "xrotation" => Channel::Rotation(0),
                "yrotation" => Channel::Rotation(1),
                "zrotation" => Channel::Rotation(2),
                _ => {
                    let say = format!(
                        "`{}` is no channel; known are Xposition to Zrotation",
                        shortened(word, 40)
                    );
                    return Err(words.wrong(&say));
                }
            };
            self.joints[joint].channels.push(channel);
            self.width += 1;
        }
        Ok(())
    }
}

/// The words of the file with their lines.
struct Words<'a> {
    text: &'a str,
    at: usize,
    line: usize,
    file: &'a str,
}

impl<'a> Words<'a> {
    fn new(bytes: &'a [u8], file: &'a str) -> Result<Self, BvhError> {
        let mut words = Self {
            text: "",
            at: 0,
            line: 1,
            file,
        };
        if bytes.len() as u64 > MOST_BYTES {
            return Err(words.wrong(&format!(
                "{} bytes are more than the {MOST_BYTES} that are read",
                bytes.len()
            )));
        }
        words.text = match std::str::from_utf8(bytes) {
            Ok(text) => text.strip_prefix('\u{feff}').unwrap_or(text),
            Err(error) => return Err(words.wrong(&format!("not text (byte {})", error.valid_up_to()))),
        };
        Ok(words)
    }

    /// Bytes not read yet.
    fn left(&self) -> usize {
        self.text.len() - self.at
    }

    fn word(&mut self) -> Option<&'a str> {
        let rest = &self.text[self.at..];
        let blank = rest
            .find(|letter: char| !letter.is_whitespace())
            .unwrap_or(rest.len());
        self.line += rest[..blank].matches('\n').count();
        let word = &rest[blank..];
        let length = word.find(char::is_whitespace).unwrap_or(word.len());
        self.at += blank + length;
        (length > 0).then(|| &word[..length])
    }

    fn next(&mut self, wanted: &str) -> Result<&'a str, BvhError> {
        match self.word() {
            Some(word) => Ok(word),
            None => Err(self.wrong(&format!("the file ends where {wanted} belongs"))),
        }
    }

    fn expect(&mut self, wanted: &str, say: &str) -> Result<(), BvhError> {
        match self.word() {
            Some(word) if word.eq_ignore_ascii_case(wanted) => Ok(()),
            _ => Err(self.wrong(say)),
        }
    }

    fn number(&mut self, what: &str) -> Result<f64, BvhError> {
        let word = self.next(what)?;
        match word.parse::<f64>() {
            Ok(value) if value.is_finite() && value.abs() <= 1e9 => Ok(value),
            _ => Err(self.no_number(what, word)),
        }
    }

    /// What stands behind the last word, to the end of its line.
    fn rest_of_line(&mut self) -> &'a str {
        let rest = &self.text[self.at..];
        let length = rest.find('\n').unwrap_or(rest.len());
        self.at += length;
        rest[..length].trim()
    }

    fn no_number(&self, what: &str, word: &str) -> BvhError {
        self.wrong(&format!(
            "`{}` is no number, and {what} is one",
            shortened(word, 40)
        ))
    }

    fn wrong(&self, say: &str) -> BvhError {
        BvhError {
            file: shortened(self.file, 300),
            line: self.line,
            say: say.to_owned(),
            help: "export the capture again as BVH".into(),
        }
    }
}

#[cfg(test)]
#[path = "bvh_tests.rs"]
mod tests;
