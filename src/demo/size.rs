//! Who is the mannequin? Sizes a tailor would take, and where the joints lie inside.

use super::limb::Frame;
use nalgebra::Vector3;

type Point = Vector3<f64>;

/// Sizes of a mannequin, in metres and radians. Girths are what a tape reads on the finished mesh, within 3 %.
#[derive(Clone, Debug, PartialEq)]
pub struct BodyShape {
    /// Name of the body, as shown to people.
    pub name: String,
    /// Standing height.
    pub stature: f64,
    /// Distance between the hip joints; 0.72 of the distance of the two ASIS (Bell 1989).
    pub hip_spacing: f64,
    /// Distance between the tips of the shoulders.
    pub shoulder_breadth: f64,
    /// Tape measures.
    pub girths: Girths,
    /// 0 is a man's frame, 1 a woman's: bust, broader pelvis, narrower shoulders and neck.
    pub womanly: f64,
    /// 0 is an adult; 1 a child of about seven: larger head, shorter legs, smaller hands and feet.
    pub childlike: f64,
    /// Angle of the thigh to the vertical in the frontal plane, as bound.
    pub hip_splay: f64,
    /// Angle of the upper arm below the horizontal, as bound.
    pub arm_drop: f64,
    /// Whether twist helper bones are added to upper arms, forearms and thighs.
    pub helpers: Helpers,
    /// Edge length of the mesh: 0.0155 gives about 23,000 triangles on an average adult.
    pub edge: f64,
}

/// Whether the skeleton has bones that take half of a limb's twist.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Helpers {
    /// Only the humanoid bones.
    Without,
    /// One twist bone for each upper arm, forearm and thigh.
    Twist,
}

/// Girths in metres, as a tape reads them (over hollows, not into them).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Girths {
    /// At chest height.
    pub chest: f64,
    /// At the navel.
    pub waist: f64,
    /// At the fullest height of the seat.
    pub seat: f64,
    /// Of the thigh, just below the crotch.
    pub thigh: f64,
    /// Just above the kneecap.
    pub lower_thigh: f64,
    /// At the fullest height of the calf.
    pub calf: f64,
    /// Least girth above the ankle bones.
    pub ankle: f64,
}

impl Girths {
    /// All seven, in the order of the fields.
    pub fn all(&self) -> [f64; 7] {
        [
            self.chest,
            self.waist,
            self.seat,
            self.thigh,
            self.lower_thigh,
            self.calf,
            self.ankle,
        ]
    }

    /// From seven values in the order of the fields.
    pub(super) fn from_all(all: [f64; 7]) -> Self {
        let [chest, waist, seat, thigh, lower_thigh, calf, ankle] = all;
        Self {
            chest,
            waist,
            seat,
            thigh,
            lower_thigh,
            calf,
            ankle,
        }
    }
}

/// Means of ANSUR II (Gordon 2014, NATICK/TR-15/007): 4,082 men.
const MAN: ([f64; 2], [f64; 7]) = (
    [1.7562, 0.4157],
    [1.0587, 0.9406, 1.0195, 0.6251, 0.4093, 0.3923, 0.2293],
);
/// Means of ANSUR II: 1,986 women.
const WOMAN: ([f64; 2], [f64; 7]) = (
    [1.6285, 0.3653],
    [0.9469, 0.8609, 1.0212, 0.6161, 0.4007, 0.3733, 0.2157],
);
/// Standard deviations of the girths, men and women (chest from its coefficient of variation, about that of the waist's).
const MAN_SPREAD: [f64; 7] = [0.087, 0.1117, 0.0767, 0.0585, 0.0319, 0.0297, 0.0146];
const WOMAN_SPREAD: [f64; 7] = [0.083, 0.0999, 0.0759, 0.0558, 0.0352, 0.0285, 0.0149];

impl BodyShape {
    /// The average man of ANSUR II.
    pub fn man(name: &str) -> Self {
        Self::adult(name, MAN, 0.0)
    }

    /// The average woman of ANSUR II.
    pub fn woman(name: &str) -> Self {
        Self::adult(name, WOMAN, 1.0)
    }

    fn adult(name: &str, ([stature, shoulder_breadth], girths): ([f64; 2], [f64; 7]), womanly: f64) -> Self {
        Self {
            name: name.to_owned(),
            stature,
            hip_spacing: 0.72 * (0.232 + 0.008 * womanly),
            shoulder_breadth,
            girths: Girths::from_all(girths),
            womanly,
            childlike: 0.0,
            hip_splay: 7.0_f64.to_radians(),
            arm_drop: 45.0_f64.to_radians(),
            helpers: Helpers::Without,
            edge: 0.0155,
        }
    }

    /// The same person with every girth this many standard deviations larger (heavy) or smaller (slim).
    pub fn heavier(mut self, deviations: f64) -> Self {
        let mut all = self.girths.all();
        for (slot, girth) in all.iter_mut().enumerate() {
            let spread = MAN_SPREAD[slot] + (WOMAN_SPREAD[slot] - MAN_SPREAD[slot]) * self.womanly;
            *girth += deviations * spread;
        }
        self.girths = Girths::from_all(all);
        self
    }

    /// The same girths on a taller or shorter frame.
    pub fn taller(mut self, metres: f64) -> Self {
        let ratio = (self.stature + metres) / self.stature;
        self.stature += metres;
        self.shoulder_breadth *= 1.0 + (ratio - 1.0) * 0.5;
        self
    }

    /// A child of about seven years: 1.22 m tall, girths of school children's size tables in round figures.
    pub fn child(name: &str) -> Self {
        Self {
            stature: 1.22,
            hip_spacing: 0.110,
            shoulder_breadth: 0.268,
            girths: Girths::from_all([0.62, 0.56, 0.655, 0.375, 0.275, 0.25, 0.17]),
            childlike: 1.0,
            womanly: 0.3,
            edge: 0.0095,
            ..Self::man(name)
        }
    }

    /// This shape with another mesh edge length, metres. Up to 0.020 for an adult the body is closed (a test holds it
    /// there); coarser meshes may leave holes between the thighs and are for tests that do not mind.
    pub fn meshed(mut self, edge: f64) -> Self {
        self.edge = edge;
        self
    }
}

/// Joint positions of the left half and the middle; the right half is the mirror image.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Joints {
    pub(super) hips: Point,
    pub(super) spine: Point,
    pub(super) chest: Point,
    pub(super) upper_chest: Point,
    pub(super) neck: Point,
    pub(super) head: Point,
    pub(super) crown: Point,
    pub(super) shoulder: Point,
    pub(super) upper_arm: Point,
    pub(super) lower_arm: Point,
    pub(super) hand: Point,
    pub(super) fingertips: Point,
    pub(super) upper_leg: Point,
    pub(super) lower_leg: Point,
    pub(super) foot: Point,
    pub(super) toes: Point,
    pub(super) toe_tips: Point,
}

/// Toe-out of the feet, as people stand.
const TOE_OUT: f64 = 0.10;

impl BodyShape {
    /// Joints as bound. Segment ratios after Drillis and Contini; a child's legs and arms are shorter by 6 %.
    pub(super) fn joints(&self) -> Joints {
        let h = self.stature;
        let limb = 1.0 - 0.06 * self.childlike;
        let (thigh, shank, ankle) = (0.245 * h * limb, 0.246 * h * limb, 0.039 * h);
        let (splay, shin) = (self.hip_splay, self.hip_splay * 0.55);
        let hip = ankle + shank * shin.cos() + thigh * splay.cos();
        let knee_at =
            |share: f64| Vector3::new(share * thigh * splay.sin(), -share * thigh * splay.cos(), 0.0);
        let upper_leg = Vector3::new(self.hip_spacing / 2.0, hip, -0.002 * h);
        let lower_leg = upper_leg + knee_at(1.0) + Vector3::new(0.0, 0.0, 0.001 * h);
        let foot = lower_leg + Vector3::new(shank * shin.sin(), -shank * shin.cos(), -0.008 * h);
        let ahead = Vector3::new(TOE_OUT.sin(), 0.0, TOE_OUT.cos());
        let long = 0.152 * h * (1.0 - 0.02 * self.childlike);
        let toes = Vector3::new(foot.x, 0.014 * h, foot.z) + ahead * (0.50 * long);
        let up = |share: f64, z: f64| Vector3::new(0.0, hip + (share - 0.530) * (h - hip) / 0.470, z * h);
        let upper_arm = Vector3::new(
            self.shoulder_breadth / 2.0 - 0.016 * h,
            up(0.795, 0.0).y,
            -0.012 * h,
        );
        let (sine, cosine) = self.arm_drop.sin_cos();
        let out = Vector3::new(cosine, -sine, 0.0);
        let lower_arm = upper_arm + out * (0.178 * h * limb) + Vector3::new(0.0, 0.0, -0.004 * h);
        let hand = lower_arm + out * (0.146 * h * limb) + Vector3::new(0.0, 0.0, 0.012 * h);
        Joints {
            hips: up(0.548, -0.003),
            spine: up(0.592, -0.012),
            chest: up(0.655, -0.018),
            upper_chest: up(0.730, -0.022),
            neck: up(0.838 - 0.012 * self.childlike, -0.012),
            head: up(0.874 - 0.022 * self.childlike, 0.004),
            crown: up(1.0, 0.008),
            shoulder: Vector3::new(0.018 * h, up(0.815, 0.0).y, -0.004 * h),
            upper_arm,
            lower_arm,
            hand,
            fingertips: hand + out * (0.104 * h),
            upper_leg,
            lower_leg,
            foot,
            toes,
            toe_tips: toes + ahead * (0.25 * long),
        }
    }

    /// Height of a landmark that an adult has at this share of stature above the hip joint's 0.530.
    pub(super) fn level(&self, share: f64) -> f64 {
        let hip = self.joints().upper_leg.y;
        hip + (share - 0.530) * (self.stature - hip) / 0.470
    }

    /// The leg's frame: hip joint to ankle.
    pub(super) fn leg_frame(&self) -> Frame {
        let joints = self.joints();
        Frame::towards(joints.upper_leg, joints.foot)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn segments_have_the_published_shares_of_stature() {
        let man = BodyShape::man("man");
        let joints = man.joints();
        let thigh = (joints.lower_leg - joints.upper_leg).norm() / man.stature;
        let shank = (joints.foot - joints.lower_leg).norm() / man.stature;
        assert!((thigh - 0.245).abs() < 0.001 && (shank - 0.246).abs() < 0.001);
        assert!((joints.upper_leg.x * 2.0 - 0.72 * 0.232).abs() < 1e-12);
        let drop = joints.upper_leg - joints.lower_leg;
        assert!((-drop.x / drop.y).atan().to_degrees() - 7.0 < 1e-9);
    }
}
