//! What a fitting is run through, and how it is judged.

use crate::measure::FabricClass;
use crate::outcome::Demand;
use crate::pose::capture::Capture;
use crate::pose::{Pose, PoseFrame, clip};
use crate::rig::Clip;
use crate::rig::bone::Bone;
use crate::verdict::Told;
use crate::verdict::judge::Promises;

/// A longer clip is thinned to this many frames, both ends kept.
pub const MOST_CLIP_FRAMES: usize = 600;

/// What to run a fitting through, and how to judge it.
#[derive(Clone, Debug, Default)]
pub struct Plan {
    /// In the order of the report.
    pub sequences: Vec<Sequence>,
    /// How much the cloth gives.
    pub fabric: FabricClass,
    /// Hard poses that must hold, and places that need not.
    pub promises: Promises,
    /// Limits in the place of the project's own.
    pub limits: Told,
}

/// A pose of the library, a clip of the body's own file, or another wearer's motion.
#[derive(Clone, Debug)]
pub struct Sequence {
    /// Shown, and the key in results.
    pub name: String,
    /// A sentence.
    pub about: String,
    /// How much it asks.
    pub demand: Demand,
    /// In order of time.
    pub frames: Vec<Frame>,
    /// Bones it moves.
    pub bones: Vec<Bone>,
}

/// One moment of a sequence.
#[derive(Clone, Debug)]
pub enum Frame {
    /// Anatomical angles.
    Angles(PoseFrame),
    /// A time in a clip of the body's file.
    Clip {
        /// Index into [`Rig::clips`].
        clip: usize,
        /// Seconds.
        time_s: f64,
    },
}

impl From<&Pose> for Sequence {
    fn from(pose: &Pose) -> Self {
        Self {
            name: pose.name.clone(),
            about: pose.about.clone(),
            demand: pose.demand,
            frames: pose.frames.iter().cloned().map(Frame::Angles).collect(),
            bones: pose.needs(),
        }
    }
}

impl Sequence {
    /// Another wearer's motion from a file.
    pub fn of_capture(name: String, file: &str, capture: Capture, demand: Demand) -> Self {
        let about = format!(
            "the motion {name} of {file}: {} of {} frames over {:.2} s; only angles pass over, so its unit of length does not matter",
            capture.frames.len(),
            capture.of,
            capture.length_s
        );
        Self {
            name,
            about,
            demand,
            frames: capture.frames.into_iter().map(Frame::Angles).collect(),
            bones: Vec::new(),
        }
    }

    /// A clip of a rig, at the times worth testing.
    pub fn of_clip(index: usize, clip: &Clip, demand: Demand) -> Self {
        let frames = clip::frames(clip, MOST_CLIP_FRAMES)
            .into_iter()
            .map(|time_s| Frame::Clip { clip: index, time_s })
            .collect();
        Self {
            name: clip.name.clone(),
            about: format!("the clip {} of the body's own file", clip.name),
            demand,
            frames,
            bones: Vec::new(),
        }
    }
}
