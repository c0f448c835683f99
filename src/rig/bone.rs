//! Which humanoid bones there are, what they are called, and how they hang together (VRM 1.0, `VRMC_vrm`).

use std::fmt;

/// The wearer's left or right; left is +X in glTF axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Side {
    /// The wearer's left.
    Left,
    /// The wearer's right.
    Right,
}

impl Side {
    /// Left, then right.
    pub const BOTH: [Self; 2] = [Self::Left, Self::Right];

    /// The opposite side.
    pub fn mirror(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// `left` or `right`, in names and sentences.
    pub fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

/// A finger of one hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Finger {
    /// Metacarpal, proximal, distal.
    Thumb,
    /// Proximal, intermediate, distal, as the others.
    Index,
    /// The longest.
    Middle,
    /// Beside the little finger.
    Ring,
    /// The outermost.
    Little,
}

impl Finger {
    /// From the thumb outward.
    pub const ALL: [Self; 5] = [Self::Thumb, Self::Index, Self::Middle, Self::Ring, Self::Little];
}

/// The three bones of a finger, from the palm outward. The thumb's are called metacarpal, proximal, distal,
/// those of the others proximal, intermediate, distal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Phalanx {
    /// Nearest the palm.
    Base,
    /// Between the two.
    Middle,
    /// The outermost.
    Tip,
}

impl Phalanx {
    /// From the palm outward.
    pub const ALL: [Self; 3] = [Self::Base, Self::Middle, Self::Tip];
}

/// A bone of the VRM 1.0 humanoid. The order is the one used in every list: trunk, head, legs, arms, fingers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Bone {
    /// Root of the humanoid; the pelvis.
    Hips,
    /// Lowest spine bone.
    Spine,
    /// Second spine bone.
    Chest,
    /// Third spine bone, only with [`Bone::Chest`].
    UpperChest,
    /// Below the head.
    Neck,
    /// Skull.
    Head,
    /// Eyeball.
    Eye(Side),
    /// Lower jaw.
    Jaw,
    /// Thigh; its joint is the hip.
    UpperLeg(Side),
    /// Shank; its joint is the knee.
    LowerLeg(Side),
    /// Its joint is the ankle.
    Foot(Side),
    /// Its joint is the ball of the foot.
    Toes(Side),
    /// Collar bone.
    Shoulder(Side),
    /// Its joint is the shoulder.
    UpperArm(Side),
    /// Forearm; its joint is the elbow.
    LowerArm(Side),
    /// Its joint is the wrist.
    Hand(Side),
    /// One bone of one finger.
    Finger(Side, Finger, Phalanx),
}

/// Names by side, finger and phalanx, in the order of their enums.
const FINGER_NAMES: [[[&str; 3]; 5]; 2] = [
    [
        ["leftThumbMetacarpal", "leftThumbProximal", "leftThumbDistal"],
        ["leftIndexProximal", "leftIndexIntermediate", "leftIndexDistal"],
        ["leftMiddleProximal", "leftMiddleIntermediate", "leftMiddleDistal"],
        ["leftRingProximal", "leftRingIntermediate", "leftRingDistal"],
        ["leftLittleProximal", "leftLittleIntermediate", "leftLittleDistal"],
    ],
    [
        ["rightThumbMetacarpal", "rightThumbProximal", "rightThumbDistal"],
        ["rightIndexProximal", "rightIndexIntermediate", "rightIndexDistal"],
        [
            "rightMiddleProximal",
            "rightMiddleIntermediate",
            "rightMiddleDistal",
        ],
        ["rightRingProximal", "rightRingIntermediate", "rightRingDistal"],
        [
            "rightLittleProximal",
            "rightLittleIntermediate",
            "rightLittleDistal",
        ],
    ],
];

impl Bone {
    /// All 55 bones, in the order of the enum, left before right.
    pub fn all() -> Vec<Self> {
        let mut all = vec![
            Self::Hips,
            Self::Spine,
            Self::Chest,
            Self::UpperChest,
            Self::Neck,
            Self::Head,
            Self::Jaw,
        ];
        let sided: [fn(Side) -> Self; 9] = [
            Self::Eye,
            Self::UpperLeg,
            Self::LowerLeg,
            Self::Foot,
            Self::Toes,
            Self::Shoulder,
            Self::UpperArm,
            Self::LowerArm,
            Self::Hand,
        ];
        for side in Side::BOTH {
            all.extend(sided.iter().map(|bone| bone(side)));
            for finger in Finger::ALL {
                all.extend(Phalanx::ALL.map(|phalanx| Self::Finger(side, finger, phalanx)));
            }
        }
        all.sort();
        all
    }

    /// The VRM 1.0 name, `leftUpperLeg`.
    pub fn name(self) -> &'static str {
        use Side::{Left, Right};
        match self {
            Self::Hips => "hips",
            Self::Spine => "spine",
            Self::Chest => "chest",
            Self::UpperChest => "upperChest",
            Self::Neck => "neck",
            Self::Head => "head",
            Self::Jaw => "jaw",
            Self::Eye(Left) => "leftEye",
            Self::Eye(Right) => "rightEye",
            Self::UpperLeg(Left) => "leftUpperLeg",
            Self::UpperLeg(Right) => "rightUpperLeg",
            Self::LowerLeg(Left) => "leftLowerLeg",
            Self::LowerLeg(Right) => "rightLowerLeg",
            Self::Foot(Left) => "leftFoot",
            Self::Foot(Right) => "rightFoot",
            Self::Toes(Left) => "leftToes",
            Self::Toes(Right) => "rightToes",
            Self::Shoulder(Left) => "leftShoulder",
            Self::Shoulder(Right) => "rightShoulder",
            Self::UpperArm(Left) => "leftUpperArm",
            Self::UpperArm(Right) => "rightUpperArm",
            Self::LowerArm(Left) => "leftLowerArm",
            Self::LowerArm(Right) => "rightLowerArm",
            Self::Hand(Left) => "leftHand",
            Self::Hand(Right) => "rightHand",
            Self::Finger(side, finger, phalanx) => {
                FINGER_NAMES[side as usize][finger as usize][phalanx as usize]
            }
        }
    }

    /// The name in a maker's words: `left upper leg`.
    pub fn words(self) -> String {
        let mut words = String::new();
        for letter in self.name().chars() {
            if letter.is_uppercase() {
                words.push(' ');
            }
            words.extend(letter.to_lowercase());
        }
        words
    }

    /// The bone of a VRM 1.0 name, spelt exactly so.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::all().into_iter().find(|bone| bone.name() == name)
    }

    /// The bone it hangs from when every optional bone is present; `None` for the hips.
    /// A rig without that bone uses the next of [`Bone::ancestors`] that it has.
    pub fn parent(self) -> Option<Self> {
        Some(match self {
            Self::Hips => return None,
            Self::Spine | Self::UpperLeg(_) => Self::Hips,
            Self::Chest => Self::Spine,
            Self::UpperChest => Self::Chest,
            Self::Neck | Self::Shoulder(_) => Self::UpperChest,
            Self::Head => Self::Neck,
            Self::Eye(_) | Self::Jaw => Self::Head,
            Self::LowerLeg(side) => Self::UpperLeg(side),
            Self::Foot(side) => Self::LowerLeg(side),
            Self::Toes(side) => Self::Foot(side),
            Self::UpperArm(side) => Self::Shoulder(side),
            Self::LowerArm(side) => Self::UpperArm(side),
            Self::Hand(side) => Self::LowerArm(side),
            Self::Finger(side, _, Phalanx::Base) => Self::Hand(side),
            Self::Finger(side, finger, Phalanx::Middle) => Self::Finger(side, finger, Phalanx::Base),
            Self::Finger(side, finger, Phalanx::Tip) => Self::Finger(side, finger, Phalanx::Middle),
        })
    }

    /// The chain from its parent up to the hips.
    pub fn ancestors(self) -> impl Iterator<Item = Self> {
        std::iter::successors(self.parent(), |bone| bone.parent())
    }

    /// The side it is on; `None` on the midline.
    pub fn side(self) -> Option<Side> {
        match self {
            Self::Hips
            | Self::Spine
            | Self::Chest
            | Self::UpperChest
            | Self::Neck
            | Self::Head
            | Self::Jaw => None,
            Self::Eye(side)
            | Self::UpperLeg(side)
            | Self::LowerLeg(side)
            | Self::Foot(side)
            | Self::Toes(side)
            | Self::Shoulder(side)
            | Self::UpperArm(side)
            | Self::LowerArm(side)
            | Self::Hand(side)
            | Self::Finger(side, ..) => Some(side),
        }
    }

    /// The same bone of the other side; midline bones are their own mirror.
    #[must_use]
    pub fn mirror(self) -> Self {
        match self {
            Self::Eye(side) => Self::Eye(side.mirror()),
            Self::UpperLeg(side) => Self::UpperLeg(side.mirror()),
            Self::LowerLeg(side) => Self::LowerLeg(side.mirror()),
            Self::Foot(side) => Self::Foot(side.mirror()),
            Self::Toes(side) => Self::Toes(side.mirror()),
            Self::Shoulder(side) => Self::Shoulder(side.mirror()),
            Self::UpperArm(side) => Self::UpperArm(side.mirror()),
            Self::LowerArm(side) => Self::LowerArm(side.mirror()),
            Self::Hand(side) => Self::Hand(side.mirror()),
            Self::Finger(side, finger, phalanx) => Self::Finger(side.mirror(), finger, phalanx),
            midline => midline,
        }
    }

    /// True for the 15 bones that VRM 1.0 requires of every humanoid.
    pub fn required(self) -> bool {
        matches!(
            self,
            Self::Hips
                | Self::Spine
                | Self::Head
                | Self::UpperLeg(_)
                | Self::LowerLeg(_)
                | Self::Foot(_)
                | Self::UpperArm(_)
                | Self::LowerArm(_)
                | Self::Hand(_)
        )
    }
}

impl fmt::Display for Bone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn vrm_counts_hold() {
        let all = Bone::all();
        assert_eq!(all.len(), 55);
        assert_eq!(
            all.iter().map(|bone| bone.name()).collect::<BTreeSet<_>>().len(),
            55
        );
        assert_eq!(all.iter().filter(|bone| bone.required()).count(), 15);
        assert_eq!(
            all.iter().filter(|bone| bone.name().contains("Proximal")).count(),
            10
        );
    }

    #[test]
    fn names_come_back() {
        for bone in Bone::all() {
            assert_eq!(Bone::from_name(bone.name()), Some(bone));
        }
        assert_eq!(Bone::from_name("LeftUpperLeg"), None);
        assert_eq!(
            Bone::from_name("leftThumbMetacarpal"),
            Some(Bone::Finger(Side::Left, Finger::Thumb, Phalanx::Base))
        );
    }

    #[test]
    fn every_chain_ends_at_the_hips_on_one_side() {
        for bone in Bone::all().into_iter().skip(1) {
            let chain: Vec<Bone> = bone.ancestors().collect();
            assert_eq!(chain.last(), Some(&Bone::Hips), "{bone}");
            assert!(
                chain
                    .iter()
                    .all(|up| up.side().is_none() || up.side() == bone.side()),
                "{bone}: {chain:?}"
            );
        }
        let hand: Vec<&str> = Bone::Hand(Side::Right).ancestors().map(Bone::name).collect();
        assert_eq!(
            hand,
            [
                "rightLowerArm",
                "rightUpperArm",
                "rightShoulder",
                "upperChest",
                "chest",
                "spine",
                "hips"
            ]
        );
        let tip = Bone::Finger(Side::Left, Finger::Ring, Phalanx::Tip);
        assert_eq!(
            tip.ancestors().take(3).map(Bone::name).collect::<Vec<_>>(),
            ["leftRingIntermediate", "leftRingProximal", "leftHand"]
        );
    }

    #[test]
    fn the_mirror_swaps_only_the_side() {
        for bone in Bone::all() {
            assert_eq!(bone.mirror().mirror(), bone);
            assert_eq!(bone.mirror().side(), bone.side().map(Side::mirror));
            assert_eq!(bone.mirror().parent(), bone.parent().map(Bone::mirror));
            let swapped = bone
                .name()
                .strip_prefix("left")
                .map(|rest| format!("right{rest}"));
            if let Some(swapped) = swapped {
                assert_eq!(bone.mirror().name(), swapped);
            }
        }
    }
}
