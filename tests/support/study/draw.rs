//! Which fitting does a seed stand for? Bodies, clothes and faults drawn at random, the same again for the same seed.

use gusset::demo::{BodyShape, Fault, Kind, Mannequin, Pattern, Planted, body, garment, plant};
use gusset::rig::Rig;

/// A stream of numbers (SplitMix64; Steele, Lea, Flood 2014).
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Even between two values.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn one_of<T: Copy>(&mut self, all: &[T]) -> T {
        all[(self.next() % all.len() as u64) as usize]
    }
}

/// One fitting of the study.
pub(crate) struct Drawn {
    /// What was drawn, in words.
    pub(crate) about: String,
    /// The body's file.
    pub(crate) body: Vec<u8>,
    /// The garment without a fault.
    pub(crate) clean: Rig,
    /// What was planted, if anything.
    pub(crate) planted: Option<Planted>,
}

impl Drawn {
    /// The garment under test.
    pub(crate) fn garment(&self) -> Rig {
        self.planted
            .map_or_else(|| self.clean.clone(), |planted| plant(&self.clean, planted))
    }
}

/// Legwear on a mannequin. `fault` counts through the kinds, so that each is met as often as another.
pub(crate) fn fitting(seed: u64, fault: Option<usize>) -> Drawn {
    let mut dice = Dice::new(seed);
    let shape = person(&mut dice);
    let wearer = body(&shape);
    let pattern = legwear(&mut dice, &shape);
    let cloth = garment(&wearer, &pattern);
    let planted = fault.map(|number| fault_at(&mut dice, number));
    let about = format!(
        "{}; {:?}, ease {:.1} mm, built at {:.1} degrees, threads {:.0} mm{}",
        shape.name,
        pattern.kind,
        pattern.ease * 1e3,
        pattern.build_splay.to_degrees(),
        pattern.grain * 1e3,
        if pattern.lined { ", lined" } else { "" }
    );
    Drawn {
        about,
        body: file_of(&wearer),
        clean: cloth.rig().clone(),
        planted,
    }
}

fn file_of(wearer: &Mannequin) -> Vec<u8> {
    gusset::demo::Piece::plain("body", &wearer.rig()).glb()
}

/// Any person of the size tables: within a standard deviation of the average girths and 8 cm of its height, or a child.
fn person(dice: &mut Dice) -> BodyShape {
    let heavier = dice.between(-1.0, 1.0);
    let taller = dice.between(-0.08, 0.08);
    let edge = dice.between(0.0145, 0.0175);
    let splay = dice.between(6.0, 9.0);
    let (name, shape) = match dice.one_of(&[0, 0, 1, 1, 2]) {
        0 => (
            "a woman",
            BodyShape::woman("wearer").heavier(heavier).taller(taller),
        ),
        1 => ("a man", BodyShape::man("wearer").heavier(heavier).taller(taller)),
        _ => ("a child", BodyShape::child("wearer")),
    };
    let edge = if shape.childlike > 0.0 { shape.edge } else { edge };
    let words = if shape.childlike > 0.0 {
        format!("{name}, bound at {splay:.1} degrees")
    } else {
        format!(
            "{name}, {heavier:+.1} spreads heavier, {:+.0} cm, bound at {splay:.1} degrees",
            taller * 100.0
        )
    };
    BodyShape {
        name: words,
        hip_splay: splay.to_radians(),
        ..shape.meshed(edge)
    }
}

/// As a maker would cut it: no tighter than the threads of the mesh can follow, and built with the legs so far apart that
/// the cloth of both has room between the thighs (at the body's own splay they nearly meet).
fn legwear(dice: &mut Dice, shape: &BodyShape) -> Pattern {
    let kind = dice.one_of(&[Kind::Leggings, Kind::SlimTrousers, Kind::WideTrousers]);
    let size = shape.stature / 1.70;
    let (ease, grain) = match kind {
        Kind::Leggings => (dice.between(0.0015, 0.004), dice.between(0.009, 0.012)),
        Kind::SlimTrousers => (dice.between(0.004, 0.010), dice.between(0.012, 0.018)),
        _ => (dice.between(0.005, 0.012), dice.between(0.012, 0.018)),
    };
    let lined = ease > 0.006 && dice.one_of(&[true, false]);
    // Two sheets between thighs that nearly meet: so many degrees further apart for each metre of ease.
    let apart = (shape.hip_splay.to_degrees() + 350.0 * ease / size).min(11.5);
    Pattern {
        ease,
        lined,
        thickness: size
            * if lined {
                0.4 * ease.min(0.009)
            } else {
                0.0015_f64.min(0.4 * ease)
            },
        grain: size * grain,
        build_splay: dice.between(apart, 12.0).to_radians(),
        ..Pattern::new("legwear", kind)
    }
}

/// A fault of the given kind, anywhere it can lie, from a third of its full strength.
pub(crate) fn fault_at(dice: &mut Dice, number: usize) -> Planted {
    Planted {
        fault: Fault::ALL[number % Fault::ALL.len()],
        strength: dice.between(0.33, 1.0),
        on_the_right: dice.one_of(&[true, false]),
        lower: dice.between(-0.08, 0.08),
    }
}
