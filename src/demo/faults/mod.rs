//! What can go wrong with a garment? Faults planted into clean rigs, one of each obvious kind.

mod file; // what a file can say wrongly: rows, faces, units, axes, bind, joints
mod leg; // where on the leg
mod shape; // cloth moved
mod weights; // cloth that follows the wrong joint

use crate::rig::Rig;
use leg::Leg;

/// A kind of fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// The inside of the other thigh follows this thigh: skin shows through there.
    Bleed,
    /// The front of the thigh lies under the skin as built: skin shows in every pose.
    Sunk,
    /// A hand's breadth over the knee holds partly to the pelvis: it stands off when the knee bends.
    Held,
    /// Weights smoothed far too much: folds go slack, fabric stands off and sinks.
    Smoothed,
    /// A patch on the seat is nailed to the chest: torn long when the wearer bends.
    Nailed,
    /// Thigh and shin are swapped round the knee: the cloth is wrung out when it bends.
    Swapped,
    /// One edge of the side seam has weights of its own: the seam opens.
    Ripped,
    /// The hem climbs: it holds partly to the thigh.
    Climbing,
    /// The waistband hangs on the thigh: it goes where the thigh goes.
    Waistband,
    /// One weight row sums to 0.62.
    LightRow,
    /// One weight row is empty.
    EmptyRow,
    /// The left front panel is turned inside out: a hole wherever only outer sides are drawn.
    InsideOut,
    /// The thighs of its skeleton are a tenth longer: bound to another body.
    OtherSkeleton,
    /// Round the knee every point follows one joint alone: a sharp edge where the skin bends round.
    HardEdge,
    /// A patch on the inside of the thigh follows the other thigh.
    WrongSide,
    /// Too little ease at one place: the seat lies closer than the rest.
    Close,
    /// Too tight everywhere.
    Tight,
    /// Bound to legs that stand further apart than those it was built on.
    WrongBind,
    /// Exported in other units: a hundred times too large.
    WrongScale,
    /// Exported with another axis up: it lies on its back.
    WrongAxes,
    /// One side's knee lies lower than the other's in the weights.
    Lopsided,
    /// The joint of the shin is missing: all below the knee follows the thigh.
    MissingJoint,
    /// One triangle has come loose and follows the head.
    Loose,
    /// Pulled unevenly onto this body: the print is long above the knee and short below the seat.
    Uneven,
}

impl Fault {
    /// All kinds, in the order of their definition.
    pub const ALL: [Self; 24] = [
        Self::Bleed,
        Self::Sunk,
        Self::Held,
        Self::Smoothed,
        Self::Nailed,
        Self::Swapped,
        Self::Ripped,
        Self::Climbing,
        Self::Waistband,
        Self::LightRow,
        Self::EmptyRow,
        Self::InsideOut,
        Self::OtherSkeleton,
        Self::HardEdge,
        Self::WrongSide,
        Self::Close,
        Self::Tight,
        Self::WrongBind,
        Self::WrongScale,
        Self::WrongAxes,
        Self::Lopsided,
        Self::MissingJoint,
        Self::Loose,
        Self::Uneven,
    ];

    /// Those that the demo shows: one of each obvious kind.
    pub const SHOWN: [Self; 13] = {
        let mut shown = [Self::Bleed; 13];
        let mut at = 0;
        while at < shown.len() {
            shown[at] = Self::ALL[at];
            at += 1;
        }
        shown
    };

    /// Short name for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bleed => "bleed",
            Self::Sunk => "sunk",
            Self::Held => "held",
            Self::Smoothed => "smoothed",
            Self::Nailed => "nailed",
            Self::Swapped => "swapped",
            Self::Ripped => "ripped",
            Self::Climbing => "climbing",
            Self::Waistband => "waistband",
            Self::LightRow => "light_row",
            Self::EmptyRow => "empty_row",
            Self::InsideOut => "inside_out",
            Self::OtherSkeleton => "other_skeleton",
            Self::HardEdge => "hard_edge",
            Self::WrongSide => "wrong_side",
            Self::Close => "close",
            Self::Tight => "tight",
            Self::WrongBind => "wrong_bind",
            Self::WrongScale => "wrong_scale",
            Self::WrongAxes => "wrong_axes",
            Self::Lopsided => "lopsided",
            Self::MissingJoint => "missing_joint",
            Self::Loose => "loose",
            Self::Uneven => "uneven",
        }
    }
}

/// A fault at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Planted {
    /// What is wrong.
    pub fault: Fault,
    /// How much, from 0 (nothing) to 1 (as the demo shows it). Faults that are there or not do not ask.
    pub strength: f64,
    /// Whether it lies on the right leg instead of the left.
    pub on_the_right: bool,
    /// How much further down the leg than in the demo, in thigh lengths; for faults that have a round place.
    pub lower: f64,
}

impl From<Fault> for Planted {
    fn from(fault: Fault) -> Self {
        Self {
            fault,
            strength: 1.0,
            on_the_right: false,
            lower: 0.0,
        }
    }
}

/// The clean rig with a fault planted in its first mesh. Made for trousers on a skeleton with VRM bone names; a rig
/// without the joints that the fault needs comes back unchanged.
pub fn plant(clean: &Rig, planted: impl Into<Planted>) -> Rig {
    let planted = planted.into();
    let mut rig = clean.clone();
    let Some(leg) = Leg::find(&rig, &planted) else {
        return rig;
    };
    let much = planted.strength;
    match planted.fault {
        Fault::Bleed => weights::bleed(&mut rig, &leg, 0.35 * much),
        Fault::Sunk => shape::sink(&mut rig, &leg, 0.045 * much),
        Fault::Held => weights::shift(&mut rig, &leg.ball(1.0, 0.30), leg.hips, 0.35 * much),
        Fault::Smoothed => weights::smooth(&mut rig, (60.0 * much).round() as usize),
        Fault::Nailed => weights::nail(&mut rig, &leg, 0.9 * much),
        Fault::Swapped => weights::swap(&mut rig, &leg, much),
        Fault::Ripped => weights::rip(&mut rig, &leg, 0.25 * much),
        Fault::Climbing => weights::climb(&mut rig, &leg, 0.30 * much),
        Fault::Waistband => weights::hang(&mut rig, &leg, much),
        Fault::LightRow => file::scale_row(&mut rig, &leg, (1.0 - 0.38 * much) as f32),
        Fault::EmptyRow => file::scale_row(&mut rig, &leg, 0.0),
        Fault::InsideOut => file::turn_panel(&mut rig, &leg),
        Fault::OtherSkeleton => file::lengthen(&mut rig, 1.0 + 0.1 * much),
        Fault::HardEdge => weights::harden(&mut rig, &leg, much),
        Fault::WrongSide => weights::shift(&mut rig, &leg.inner_ball(0.35, 0.25), leg.other_thigh, much),
        Fault::Close => shape::draw_in(&mut rig, &leg, 0.025 * much),
        Fault::Tight => shape::tighten(&mut rig, &leg, 0.025 * much),
        Fault::WrongBind => file::bind_apart(&mut rig, (12.0 * much).to_radians()),
        Fault::WrongScale => file::enlarge(&mut rig, 100.0),
        Fault::WrongAxes => file::lay_down(&mut rig),
        Fault::Lopsided => weights::lower(&mut rig, &leg, 0.20 * much),
        Fault::MissingJoint => weights::drop_joint(&mut rig, &leg),
        Fault::Loose => weights::loosen(&mut rig, &leg),
        Fault::Uneven => shape::pull(&mut rig, &leg, 0.35 * much),
    }
    rig
}
