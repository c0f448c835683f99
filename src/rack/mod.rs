//! A rack: which garments are tested on which bodies, in which poses, as a fitting file (YAML) says.
//!
//! ```text
//! file    text           -> Rack     every key known, every name there, no path out of the folder
//! jobs    Rack           -> Job      one garment on one body: what `wardrobe` dresses
//! start   rigs, names    -> text     a fitting file for what lies in a folder
//! ```

mod day; // 2027-01-31
mod file;
mod jobs;
mod sizes; // the sizes of a body, and their corners
mod names; // what bodies and clothes are called
pub mod schema; // the JSON Schema of a fitting file
pub mod start;

pub use day::Day;
pub use file::parse;
pub use jobs::{Job, Place};

use crate::measure::FabricClass;
use crate::outcome::Demand;
use crate::rig::bone::Bone;
use crate::rig::fix::Fix;
use crate::rig::sized::Size;
use crate::verdict::Told;

/// What a fitting file says. Paths are as written, relative to the file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rack {
    /// Who wears; at least one.
    pub bodies: Vec<Wearer>,
    /// What is worn; at least one.
    pub garments: Vec<Worn>,
    /// Poses of the library by name, or pose files; empty for the whole library where there are no clips either.
    pub poses: Vec<String>,
    /// Clips of the bodies' own files, and how much each asks.
    pub clips: Vec<(String, Demand)>,
    /// Motion captures for every body.
    pub captures: Vec<Captured>,
    /// Hard poses that must hold.
    pub promised: Vec<String>,
    /// Places that may be over their limit.
    pub excuses: Vec<Excused>,
    /// Limits in the place of the project's own.
    pub limits: Told,
    /// Where reports go, relative to the file.
    pub out: Option<String>,
}

/// A motion capture of a rack.
#[derive(Clone, Debug, PartialEq)]
pub struct Captured {
    /// A BVH file, or a glTF file with clips of another wearer.
    pub file: String,
    /// How much it asks.
    pub demand: Demand,
    /// Frames a second that are tested of a BVH file.
    pub rate_hz: f64,
}

/// A body of a rack.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wearer {
    /// Shown, and what `{body}` stands for.
    pub name: String,
    /// Its file.
    pub file: String,
    /// Meshes or materials that are skin; empty for all.
    pub meshes: Vec<String>,
    /// Meshes or materials that the wearer hides.
    pub hidden: Vec<String>,
    /// A picture in the body's texture layout, white where skin is hidden.
    pub hidden_picture: Option<String>,
    /// Joints by the role they play.
    pub roles: Vec<(Bone, String)>,
    /// What its file says wrongly of its units and axes.
    pub fix: Fix,
    /// The sizes in which it is worn; empty for as its file has it.
    pub sizes: Vec<Size>,
    /// Whether all that sizes change is also tried at its least, and at its most.
    pub corners: bool,
}

/// A garment of a rack.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Worn {
    /// Shown.
    pub name: String,
    /// Its file; `{body}` in it stands for the body's name.
    pub file: String,
    /// Meshes or materials that are cloth; empty for all.
    pub meshes: Vec<String>,
    /// Names of the garments it is worn over.
    pub over: Vec<String>,
    /// Names of the bodies that wear it; empty for all.
    pub bodies: Vec<String>,
    /// Names of the sizes in which it comes; empty for all of the body's.
    pub sizes: Vec<String>,
    /// How much its cloth gives.
    pub fabric: FabricClass,
    /// What its file says wrongly of its units and axes.
    pub fix: Fix,
}

/// A place that may be over its limit, until a day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Excused {
    /// Limit key, or a measure with all its numbers.
    pub measure: String,
    /// The pose; every pose where it is empty.
    pub pose: String,
    /// In tailor's words; the whole garment where it is empty.
    pub region: String,
    /// The body; every body where it is empty.
    pub body: String,
    /// The garment; every garment where it is empty.
    pub garment: String,
    /// Why.
    pub reason: String,
    /// The last day it holds.
    pub until: Option<Day>,
}
