//! What a file says wrongly of itself as a whole, and its user states: its unit of length, its upward axis.
//!
//! A file that is right has metres and Y up (glTF 2.0, 3.4). The reader believes the file; only a user's word changes it,
//! as one more node above all others, so that meshes, joints and clips change together and nothing else does.

use super::{Local, Node, Rig};
use nalgebra::{UnitQuaternion, Vector3};
use std::f64::consts::FRAC_PI_2;

/// A unit of length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Metres.
    Metres,
    /// Centimetres.
    Centimetres,
    /// Millimetres.
    Millimetres,
    /// Inches.
    Inches,
    /// Feet.
    Feet,
}

impl Unit {
    /// All of them, by the word a user writes.
    pub const WORDS: [(&'static str, Self); 5] = [
        ("m", Self::Metres),
        ("cm", Self::Centimetres),
        ("mm", Self::Millimetres),
        ("in", Self::Inches),
        ("ft", Self::Feet),
    ];

    /// In metres.
    pub fn metres(self) -> f64 {
        match self {
            Self::Metres => 1.0,
            Self::Centimetres => 0.01,
            Self::Millimetres => 0.001,
            Self::Inches => 0.0254,
            Self::Feet => 0.3048,
        }
    }
}

/// The axis that points up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Up {
    /// The first.
    X,
    /// As glTF has it.
    Y,
    /// The last.
    Z,
}

impl Up {
    /// All of them, by the word a user writes.
    pub const WORDS: [(&'static str, Self); 3] = [("x", Self::X), ("y", Self::Y), ("z", Self::Z)];

    fn to_y(self) -> UnitQuaternion<f64> {
        match self {
            Self::X => UnitQuaternion::from_axis_angle(&Vector3::z_axis(), FRAC_PI_2),
            Self::Y => UnitQuaternion::identity(),
            Self::Z => UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -FRAC_PI_2),
        }
    }
}

/// What a user states of a file. Nothing by default: the file is right.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Fix {
    /// What a length of 1 really is.
    pub unit: Option<Unit>,
    /// Which axis really points up.
    pub up: Option<Up>,
}

impl Fix {
    /// Whether it states nothing.
    pub fn is_nothing(&self) -> bool {
        *self == Self::default()
    }

    /// The rig with one more node above all others; as it is where nothing is stated.
    pub fn apply(&self, rig: &mut Rig) {
        if self.is_nothing() {
            return;
        }
        for node in &mut rig.nodes {
            node.parent = Some(node.parent.map_or(0, |parent| parent + 1));
        }
        let top = Node {
            name: String::new(),
            parent: None,
            local: Local::Parts {
                translation: Vector3::zeros(),
                rotation: self.up.map_or_else(UnitQuaternion::identity, Up::to_y),
                scale: Vector3::repeat(self.unit.map_or(1.0, Unit::metres)),
            },
            // Not of the file; no remark points at it.
            file_index: usize::MAX,
        };
        rig.nodes.insert(0, top);
        let binds = rig.meshes.iter_mut().flat_map(|mesh| &mut mesh.binds);
        binds.for_each(|bind| bind.node += 1);
        let channels = rig.clips.iter_mut().flat_map(|clip| &mut clip.channels);
        channels.for_each(|channel| channel.node += 1);
        rig.stated_roles.iter_mut().for_each(|role| role.1 += 1);
    }
}
