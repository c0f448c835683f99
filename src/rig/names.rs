//! What a joint's name says: side and part words in any order and spelling.
//!
//! Words are common practice among exporters, and the joint names of H-Anim (ISO/IEC 19774, LOA-1 chain).

use super::bone::{Bone, Side};

/// A name taken apart.
#[derive(Clone, Debug, Default)]
pub struct Words {
    /// Lower-case words without side words and numbers.
    words: Vec<String>,
    /// The words run together: `upperleg`.
    joined: String,
    /// The side, where a word says it.
    pub side: Option<Side>,
}

/// Splits `LeftUpLeg`, `thigh.L`, `l_hip`, `Bip01 L Thigh` into words and a side.
pub fn read_name(name: &str) -> Words {
    let mut result = Words::default();
    for word in split(name) {
        match word.as_str() {
            "left" | "l" | "lft" => result.side = Some(Side::Left),
            "right" | "r" | "rgt" => result.side = Some(Side::Right),
            _ => result.words.push(word),
        }
    }
    if result.side.is_none() {
        result.side = glued_side(&mut result.words);
    }
    result.joined = result.words.concat();
    result
}

/// `leftarm`, `rightarm`: one case and no separator. Takes the side off its word.
fn glued_side(words: &mut [String]) -> Option<Side> {
    for word in words {
        for (prefix, side) in [("left", Side::Left), ("right", Side::Right)] {
            if let Some(rest) = word.strip_prefix(prefix) {
                *word = rest.to_owned();
                return Some(side);
            }
        }
    }
    None
}

fn split(name: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut open = false;
    let mut before: Option<char> = None;
    let letters: Vec<char> = name.chars().take(256).collect();
    for (index, &letter) in letters.iter().enumerate() {
        if !letter.is_alphabetic() {
            open = false;
            before = None;
            continue;
        }
        let lower_follows = letters.get(index + 1).is_some_and(|next| next.is_lowercase());
        let starts = letter.is_uppercase()
            && before.is_some_and(|before| before.is_lowercase() || (before.is_uppercase() && lower_follows));
        if !open || starts {
            words.push(String::new());
            open = true;
        }
        if let Some(word) = words.last_mut() {
            word.extend(letter.to_lowercase());
        }
        before = Some(letter);
    }
    words
}

/// How sure a word is that names a whole limb.
pub const UNSURE: u8 = 2;

/// Words, what they mean on a side, and how sure that is.
type LimbWords = (&'static [&'static str], fn(Side) -> Bone, u8);

/// Words for a limb's part, the bone, and how sure the word is. The first row that matches counts.
const LIMBS: &[LimbWords] = &[
    (
        &["upperleg", "upleg", "thigh", "femur", "legupper"],
        Bone::UpperLeg,
        0,
    ),
    (&["hip"], Bone::UpperLeg, 1),
    (
        &[
            "lowerleg", "lowleg", "calf", "shin", "shank", "tibia", "knee", "leglower", "foreleg",
        ],
        Bone::LowerLeg,
        0,
    ),
    (&["foot", "talocrural"], Bone::Foot, 0),
    (&["ankle"], Bone::Foot, 1),
    (
        &["toes", "toebase", "toe", "ball", "metatarsophalangeal"],
        Bone::Toes,
        0,
    ),
    (
        &["lowerarm", "forearm", "elbow", "lowarm", "armlower"],
        Bone::LowerArm,
        0,
    ),
    (
        &["upperarm", "uparm", "humerus", "armupper", "shldr"],
        Bone::UpperArm,
        0,
    ),
    (&["hand", "radiocarpal"], Bone::Hand, 0),
    (&["wrist"], Bone::Hand, 1),
    (&["clavicle", "collar", "sternoclavicular"], Bone::Shoulder, 0),
    (&["leg"], Bone::LowerLeg, UNSURE),
    (&["arm"], Bone::UpperArm, UNSURE),
];

impl Words {
    /// True where one of the words is this.
    pub fn has(&self, word: &str) -> bool {
        self.words.iter().any(|own| own == word)
    }

    fn says(&self, part: &str) -> bool {
        self.joined.ends_with(part) || self.has(part)
    }

    /// Control handles and twist or roll helpers are not limbs.
    pub fn is_helper(&self) -> bool {
        [
            "ik", "fk", "twist", "roll", "control", "ctrl", "pole", "target", "helper", "slot", "socket",
            "end", "nub",
        ]
        .iter()
        .any(|word| self.has(word))
            || self.joined.ends_with("ik")
    }

    /// The bone a name means and how sure that is (0 is best). The trunk's bones are not named here.
    ///
    /// `elbows`: the rig names a joint `elbow`, so its `shoulder` is the upper arm's joint (H-Anim); `knees` likewise.
    pub fn bone(&self, elbows: bool, knees: bool) -> Option<(Bone, u8)> {
        const FINGERS: [&str; 7] = ["thumb", "index", "middle", "ring", "little", "pinky", "finger"];
        if FINGERS.iter().any(|finger| self.joined.contains(finger)) {
            return None;
        }
        let Some(side) = self.side else {
            return self.middle_bone();
        };
        let part: fn(Side) -> Bone = if self.says("shoulder") {
            if elbows { Bone::UpperArm } else { Bone::Shoulder }
        } else {
            let (_, part, rank) = LIMBS
                .iter()
                .find(|(words, ..)| words.iter().any(|word| self.says(word)))?;
            let rank = if self.says("hip") && knees { 0 } else { *rank };
            return Some((part(side), rank));
        };
        Some((part(side), 0))
    }

    fn middle_bone(&self) -> Option<(Bone, u8)> {
        if self.says("hips") || self.says("pelvis") || self.says("hip") {
            return Some((Bone::Hips, 0));
        }
        if self.joined == "humanoidroot" || self.says("sacroiliac") {
            return Some((Bone::Hips, 1));
        }
        if self.says("neck") {
            return Some((Bone::Neck, 0));
        }
        if self.words.len() == 1 && self.joined == "vc" {
            return Some((Bone::Neck, 1)); // H-Anim vc4, vc7: cervical vertebrae
        }
        if self.says("head") || self.says("skullbase") {
            return Some((Bone::Head, 0));
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bone(name: &str) -> Option<Bone> {
        read_name(name)
            .bone(name.contains("elbow"), false)
            .map(|found| found.0)
    }

    #[test]
    fn side_and_part_words_in_any_order() {
        for name in [
            "leftUpperLeg",
            "thigh.L",
            "Bip01 L Thigh",
            "LeftUpLeg",
            "upperleg.l",
            "L_Thigh",
            "leg_upper_l",
        ] {
            assert_eq!(bone(name), Some(Bone::UpperLeg(Side::Left)), "{name}");
        }
        for name in [
            "rightLowerLeg",
            "shin.R",
            "calf.r",
            "Bip01 R Calf",
            "r_knee",
            "RightLeg",
        ] {
            assert_eq!(bone(name), Some(Bone::LowerLeg(Side::Right)), "{name}");
        }
        assert_eq!(bone("pelvis"), Some(Bone::Hips));
        assert_eq!(bone("l_hip"), Some(Bone::UpperLeg(Side::Left)));
        assert_eq!(bone("Bip01 L Finger0"), None);
        assert_eq!(bone("ball.r"), Some(Bone::Toes(Side::Right)));
        assert!(read_name("kneeIK.l").is_helper());
        assert_eq!(bone("spine_01"), None);
    }
}
