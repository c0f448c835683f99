//! What a bone moves: the body's parts, which of them are neighbours, and where on a limb a point lies.

use super::bone::{Bone, Side};

/// A part of the body.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// Head with neck.
    Head,
    /// Spine, chest, collar bones.
    Torso,
    /// Hips.
    Pelvis,
    /// Shoulder to elbow.
    UpperArm(Side),
    /// Elbow to wrist.
    Forearm(Side),
    /// With fingers.
    Hand(Side),
    /// Hip to knee.
    Thigh(Side),
    /// Knee to ankle.
    Shank(Side),
    /// With toes.
    Foot(Side),
}

/// A set of parts, one bit each.
pub type PartMask = u32;

/// The tag of fabric that lies over no skin: it counts for every part (DESIGN 6).
pub const HOMELESS: PartMask = 1 << 15;

impl Part {
    /// All parts, in the order of their bits.
    pub const ALL: [Self; 15] = [
        Self::Head,
        Self::Torso,
        Self::Pelvis,
        Self::UpperArm(Side::Left),
        Self::UpperArm(Side::Right),
        Self::Forearm(Side::Left),
        Self::Forearm(Side::Right),
        Self::Hand(Side::Left),
        Self::Hand(Side::Right),
        Self::Thigh(Side::Left),
        Self::Thigh(Side::Right),
        Self::Shank(Side::Left),
        Self::Shank(Side::Right),
        Self::Foot(Side::Left),
        Self::Foot(Side::Right),
    ];

    /// Position in [`Part::ALL`].
    pub fn index(self) -> usize {
        Self::ALL.iter().position(|&part| part == self).unwrap_or(0)
    }

    /// This part's bit.
    pub fn bit(self) -> PartMask {
        1 << self.index()
    }

    /// The part a bone moves.
    pub fn of(bone: Bone) -> Self {
        match bone {
            Bone::Neck | Bone::Head | Bone::Jaw | Bone::Eye(_) => Self::Head,
            Bone::Spine | Bone::Chest | Bone::UpperChest | Bone::Shoulder(_) => Self::Torso,
            Bone::Hips => Self::Pelvis,
            Bone::UpperArm(side) => Self::UpperArm(side),
            Bone::LowerArm(side) => Self::Forearm(side),
            Bone::Hand(side) | Bone::Finger(side, ..) => Self::Hand(side),
            Bone::UpperLeg(side) => Self::Thigh(side),
            Bone::LowerLeg(side) => Self::Shank(side),
            Bone::Foot(side) | Bone::Toes(side) => Self::Foot(side),
        }
    }

    /// The next part towards the trunk's middle; the pelvis has none.
    fn inner(self) -> Option<Self> {
        match self {
            Self::Head | Self::UpperArm(_) => Some(Self::Torso),
            Self::Torso | Self::Thigh(_) => Some(Self::Pelvis),
            Self::Pelvis => None,
            Self::Forearm(side) => Some(Self::UpperArm(side)),
            Self::Hand(side) => Some(Self::Forearm(side)),
            Self::Shank(side) => Some(Self::Thigh(side)),
            Self::Foot(side) => Some(Self::Shank(side)),
        }
    }

    /// The part itself and its neighbours. All others are far.
    pub fn near(self) -> PartMask {
        Self::ALL
            .iter()
            .filter(|&&other| other == self || other.inner() == Some(self) || self.inner() == Some(other))
            .fold(0, |mask, part| mask | part.bit())
    }

    /// As a maker says it: `left thigh`.
    pub fn words(self) -> String {
        let sided = |side: Side, word: &str| format!("{} {word}", side.word());
        match self {
            Self::Head => "head".into(),
            Self::Torso => "torso".into(),
            Self::Pelvis => "pelvis".into(),
            Self::UpperArm(side) => sided(side, "upper arm"),
            Self::Forearm(side) => sided(side, "forearm"),
            Self::Hand(side) => sided(side, "hand"),
            Self::Thigh(side) => sided(side, "thigh"),
            Self::Shank(side) => sided(side, "shank"),
            Self::Foot(side) => sided(side, "foot"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbours_are_mutual_and_the_legs_are_far() {
        for a in Part::ALL {
            assert_ne!(a.near() & a.bit(), 0);
            for b in Part::ALL {
                assert_eq!(a.near() & b.bit() != 0, b.near() & a.bit() != 0, "{a:?} {b:?}");
            }
        }
        assert_eq!(Part::Thigh(Side::Left).near() & Part::Thigh(Side::Right).bit(), 0);
        assert_ne!(Part::UpperArm(Side::Left).near() & Part::Torso.bit(), 0);
    }
}
