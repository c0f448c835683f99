//! What is the mannequin's surface? A signed distance: smoothly joined limbs, trunk, head, hands and feet.
//!
//! Only the left half is described; a point on the right is mirrored. Each leg is joined with the trunk, never with
//! the other leg, and stays on its own side of the middle, so thighs can meet without growing together.

use super::limb::{Egg, Frame, Limb, Section, profile, smooth_max, smooth_min};
use super::size::{BodyShape, Girths, Joints};
use nalgebra::{Rotation3, Vector3};
use std::f64::consts::TAU;

type Point = Vector3<f64>;

/// Half the least gap between the legs below the crotch: they nearly touch.
pub(super) const HALF_GAP: f64 = 0.0015;

/// The implicit body, bound or with its legs turned to another splay.
#[derive(Clone, Debug)]
pub(super) struct Shape {
    pub(super) trunk: Limb,
    pub(super) neck: Limb,
    pub(super) leg: Limb,
    pub(super) arm: Limb,
    foot: Foot,
    palm: Limb,
    thumb: Limb,
    skull: Egg,
    face: Egg,
    jaw: Egg,
    nose: Egg,
    seat: Egg,
    bust: Egg,
    shoulder: Egg,
    bust_blend: f64,
    seat_blend: f64,
    pub(super) hip_blend: f64,
    /// Turn of the legs about the hip joint against the bind, radians outward.
    pub(super) turn: f64,
    hip: Point,
}

#[derive(Clone, Debug)]
struct Foot {
    sole: Limb,
    heel: Egg,
}

impl Shape {
    /// The body for sections scaled by `sizes` (girths that the sections aim at before they are blended).
    pub(super) fn new(body: &BodyShape, sizes: &Girths) -> Self {
        let joints = body.joints();
        let h = body.stature;
        let mean = |girth: f64| girth / TAU;
        let seat_radius = mean(sizes.seat);
        let upright = |origin: Point| Frame {
            origin,
            side: Vector3::x(),
            front: Vector3::z(),
            along: Vector3::y(),
        };
        let seat_at = Vector3::new(0.42 * seat_radius, body.level(0.524), -0.40 * seat_radius);
        let chest_radius = mean(sizes.chest);
        let bust_at = Vector3::new(
            (0.46 + 0.02 * body.womanly) * chest_radius,
            body.level(0.730 - 0.012 * body.womanly),
            0.46 * chest_radius,
        );
        let head = joints.head;
        let chin = joints.head.y;
        let tall = joints.crown.y - chin;
        let head_scale = tall / 0.205;
        let at = |up: f64, z: f64| upright(Vector3::new(0.0, chin + up * tall, head.z + z * head_scale));
        let egg = |frame, side: f64, front: f64, along: f64| Egg {
            frame,
            half: Vector3::new(side, front, along),
        };
        Self {
            trunk: trunk(body, sizes, &joints),
            neck: neck(body, &joints),
            leg: leg(body, sizes),
            arm: arm(body, sizes, &joints),
            foot: foot(body, &joints),
            palm: palm(&joints, h),
            thumb: thumb(&joints, h),
            skull: egg(
                at(0.585, 0.006),
                0.076 * head_scale,
                0.097 * head_scale,
                0.086 * head_scale,
            ),
            face: egg(
                at(0.30, 0.034),
                0.064 * head_scale,
                0.066 * head_scale,
                0.088 * head_scale,
            ),
            jaw: egg(
                at(0.07, 0.050),
                0.045 * head_scale,
                0.045 * head_scale,
                0.036 * head_scale,
            ),
            nose: egg(
                at(0.295, 0.100),
                0.011 * head_scale,
                0.017 * head_scale,
                0.022 * head_scale,
            ),
            seat: egg(
                upright(seat_at),
                0.52 * seat_radius,
                0.46 * seat_radius,
                0.54 * seat_radius,
            ),
            bust: egg(
                upright(bust_at),
                (0.44 - 0.04 * body.womanly) * chest_radius,
                (0.24 + 0.20 * body.womanly) * chest_radius,
                (0.36 + 0.06 * body.womanly) * chest_radius,
            ),
            shoulder: egg(
                Frame {
                    origin: joints.upper_arm + Vector3::new(0.002, -0.004, 0.002) * h,
                    ..upright(Vector3::zeros())
                },
                0.030 * h,
                0.030 * h,
                0.028 * h,
            ),
            bust_blend: 0.06,
            seat_blend: 0.05,
            hip_blend: 0.045 * h / 1.75,
            turn: 0.0,
            hip: joints.upper_leg,
        }
    }

    /// The same body with the thighs at `splay` more than bound (radians, outward positive).
    pub(super) fn with_turn(mut self, turn: f64) -> Self {
        self.turn = turn;
        self
    }

    /// Turns a point of the posed left leg back to the bind.
    fn to_bound_leg(&self, point: &Point) -> Point {
        if self.turn == 0.0 {
            return *point;
        }
        self.hip + Rotation3::from_axis_angle(&Vector3::z_axis(), -self.turn) * (point - self.hip)
    }

    /// First-order signed distance in metres, negative inside.
    pub(super) fn distance(&self, point: &Point) -> f64 {
        let p = Vector3::new(point.x.abs(), point.y, point.z);
        let leg = self.leg_distance(&p);
        let arm = self.arm_distance(&p);
        let trunk = self.trunk_distance(&p);
        let body = smooth_min(trunk, arm, 0.06);
        smooth_min(body, leg, self.hip_blend)
    }

    /// The trunk with seat, bust, neck and head.
    pub(super) fn trunk_distance(&self, p: &Point) -> f64 {
        let trunk = self.trunk.distance(p);
        let seat = self.seat.distance(p);
        let trunk = smooth_min(trunk, seat, self.seat_blend);
        let trunk = smooth_min(trunk, self.bust.distance(p), self.bust_blend);
        let face = smooth_min(self.skull.distance(p), self.face.distance(p), 0.03);
        let face = smooth_min(face, self.jaw.distance(p), 0.03);
        let head = smooth_min(face, self.nose.distance(p), 0.012);
        let neck = smooth_min(self.neck.distance(p), head, 0.025);
        smooth_min(trunk, neck, 0.05)
    }

    /// One leg with its foot, kept on its own side of the middle.
    pub(super) fn leg_distance(&self, p: &Point) -> f64 {
        let bound = self.to_bound_leg(p);
        let foot = smooth_min(
            self.foot.sole.distance(&bound),
            self.foot.heel.distance(&bound),
            0.03,
        );
        let leg = smooth_min(self.leg.distance(&bound), foot, 0.035);
        smooth_max(leg, HALF_GAP - p.x, 0.012)
    }

    /// The leg without its foot, not kept from crossing the middle.
    pub(super) fn bound_leg_limb(&self, p: &Point) -> f64 {
        self.leg.distance(&self.to_bound_leg(p))
    }

    /// How far along the leg a posed point lies: metres from the hip joint towards the ankle.
    pub(super) fn along_leg(&self, p: &Point) -> f64 {
        self.leg.frame.local(&self.to_bound_leg(p)).z
    }

    /// The leg's frame as posed.
    pub(super) fn posed_leg_frame(&self) -> Frame {
        self.leg.frame.turned(
            &Rotation3::from_axis_angle(&Vector3::z_axis(), self.turn),
            &self.hip,
        )
    }

    /// Middle of the posed leg's section.
    pub(super) fn posed_leg_centre(&self, along: f64) -> Point {
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), self.turn);
        self.hip + turn * (self.leg.centre(along) - self.hip)
    }

    /// The trunk from waist to crotch as cloth sees it: the hollow between the two sides of the seat is spanned.
    pub(super) fn girdle(&self, p: &Point) -> f64 {
        let across = Vector3::new(-p.x, p.y, p.z);
        let seat = smooth_min(self.seat.distance(p), self.seat.distance(&across), 0.06);
        smooth_min(self.trunk.distance(p), seat, 0.06)
    }

    /// The trunk from hip to neck as cloth sees it: hollows between the two sides are spanned.
    pub(super) fn bodice(&self, p: &Point) -> f64 {
        let across = Vector3::new(-p.x, p.y, p.z);
        let bust = smooth_min(self.bust.distance(p), self.bust.distance(&across), 0.08);
        let trunk = smooth_min(self.girdle(p), bust, 0.07);
        smooth_min(trunk, self.neck.distance(p), 0.05)
    }

    /// Arm and shoulder without the hand.
    pub(super) fn sleeve(&self, p: &Point) -> f64 {
        smooth_min(self.arm.distance(p), self.shoulder.distance(p), 0.04)
    }

    /// One arm with shoulder and hand.
    pub(super) fn arm_distance(&self, p: &Point) -> f64 {
        let hand = smooth_min(self.palm.distance(p), self.thumb.distance(p), 0.014);
        let arm = smooth_min(self.arm.distance(p), hand, 0.02);
        smooth_min(arm, self.shoulder.distance(p), 0.04)
    }
}

/// Gradient of a distance by four evaluations at the corners of a tetrahedron (0.2 mm steps).
pub(super) fn gradient(distance: &impl Fn(&Point) -> f64, point: &Point) -> Point {
    const STEP: f64 = 2e-4;
    let corners = [
        [1.0, -1.0, -1.0],
        [-1.0, -1.0, 1.0],
        [-1.0, 1.0, -1.0],
        [1.0, 1.0, 1.0],
    ];
    corners
        .iter()
        .map(|corner| {
            let corner = Vector3::from(*corner);
            corner * distance(&(point + corner * STEP))
        })
        .sum::<Point>()
        / (4.0 * STEP)
}

/// Half-axes of a section from its mean radius and shares of it: side out, side in, front, back.
fn section(mean: f64, shares: [f64; 4], power: f64, shift: [f64; 2]) -> Section {
    [
        mean * shares[0],
        mean * shares[1],
        mean * shares[2],
        mean * shares[3],
        power,
        shift[0],
        shift[1],
    ]
}

fn trunk(body: &BodyShape, sizes: &Girths, joints: &Joints) -> Limb {
    let woman = body.womanly;
    let base = joints.upper_leg.y;
    let (chest, waist, seat) = (sizes.chest / TAU, sizes.waist / TAU, sizes.seat / TAU);
    let shoulder = body.shoulder_breadth / 2.0;
    let between = |share: f64| waist + (chest - waist) * share;
    let narrow = 1.0 - 0.11 * woman; // a woman's waist is narrowest above the navel
    let z = |metres: f64| metres * body.stature / 1.75;
    let both = |mean: f64, side: f64, front: f64, back: f64, power: f64, ahead: f64| {
        section(mean, [side, side, front, back], power, [0.0, z(ahead)])
    };
    let rows: Vec<(f64, Section)> = vec![
        (0.490, both(seat, 0.50, 0.42, 0.46, 2.0, -0.010)),
        (0.504, both(seat, 0.80, 0.60, 0.62, 2.2, -0.010)),
        (0.515, both(seat, 1.01, 0.72, 0.74, 2.3, -0.006)),
        (0.545, both(seat, 1.02, 0.75 - 0.02 * woman, 0.74, 2.3, -0.002)),
        (
            0.572,
            both(0.45 * seat + 0.55 * waist, 1.06, 0.82, 0.68, 2.3, 0.0),
        ),
        (0.600, both(waist, 1.09, 0.86, 0.68, 2.3, 0.002)),
        (
            0.636,
            both(between(0.12) * narrow, 1.09 - 0.05 * woman, 0.84, 0.70, 2.3, 0.0),
        ),
        (
            0.672,
            both(
                between(0.48) * narrow,
                1.06 - 0.04 * woman,
                0.80,
                0.74,
                2.3,
                -0.004,
            ),
        ),
        (
            0.708,
            both(
                between(0.86) * (1.0 - 0.05 * woman),
                1.03,
                0.78 - 0.08 * woman,
                0.80,
                2.35,
                -0.010,
            ),
        ),
        (
            0.740,
            both(
                chest * (1.0 - 0.04 * woman),
                1.0,
                0.70 - 0.06 * woman,
                0.80,
                2.4,
                -0.016,
            ),
        ),
        (
            0.772,
            both(chest * (1.0 - 0.04 * woman), 0.94, 0.56, 0.72, 2.4, -0.022),
        ),
        (
            0.797,
            both(0.5 * chest + 0.38 * shoulder, 0.92, 0.44, 0.58, 2.3, -0.026),
        ),
        (
            0.815,
            section(shoulder, [0.70, 0.70, 0.31, 0.42], 2.1, [0.0, z(-0.026)]),
        ),
        (
            0.832,
            section(shoulder, [0.48, 0.48, 0.24, 0.33], 2.0, [0.0, z(-0.024)]),
        ),
        (
            0.850,
            section(shoulder, [0.27, 0.27, 0.18, 0.25], 2.0, [0.0, z(-0.020)]),
        ),
    ];
    let origin = Vector3::new(0.0, base, 0.0);
    let frame = Frame {
        origin,
        side: Vector3::x(),
        front: Vector3::z(),
        along: Vector3::y(),
    };
    let rows: Vec<_> = rows
        .into_iter()
        .map(|(level, s)| (body.level(level) - base, s))
        .collect();
    Limb::new(frame, &rows, 0.05)
}

fn neck(body: &BodyShape, joints: &Joints) -> Limb {
    let thick = (0.0345 - 0.0035 * body.womanly) * body.stature * (1.0 - 0.06 * body.childlike);
    let from = joints.neck - Vector3::new(0.0, 0.035, 0.004) * (body.stature / 1.75);
    let to = joints.head + Vector3::new(0.0, 0.045, 0.004) * (body.stature / 1.75);
    let frame = Frame {
        front: Vector3::z(),
        ..Frame::towards(from, to)
    };
    let frame = Frame {
        side: Vector3::x(),
        front: frame.along.cross(&Vector3::x()) * -1.0,
        ..frame
    };
    let long = (to - from).norm();
    let ring = |share: f64, size: f64| {
        (
            share * long,
            section(thick * size, [1.0, 1.0, 1.0, 1.02], 2.1, [0.0, 0.0]),
        )
    };
    Limb::new(
        frame,
        &[ring(0.0, 1.25), ring(0.3, 1.03), ring(0.6, 0.98), ring(1.0, 1.0)],
        0.02,
    )
}

/// The leg from inside the pelvis to below the ankle, along the line from hip joint to ankle.
fn leg(body: &BodyShape, sizes: &Girths) -> Limb {
    let joints = body.joints();
    let frame = body.leg_frame();
    let knee = frame.local(&joints.lower_leg);
    let ankle = frame.local(&joints.foot).z;
    let (thigh, lower) = (sizes.thigh / TAU, sizes.lower_thigh / TAU);
    let (calf, least) = (sizes.calf / TAU, sizes.ankle / TAU);
    let soft = body.womanly;
    // 0 at the hip joint, 1 at the knee, 2 at the ankle
    let along = |at: f64| {
        if at < 1.0 {
            knee.z * at
        } else {
            knee.z + (ankle - knee.z) * (at - 1.0)
        }
    };
    let bow = |at: f64| profile(&[(0.0, 0.0), (1.0, 1.0), (2.0, 0.0)], at);
    let z = |metres: f64| metres * body.stature / 1.75;
    let row = |at: f64, mean: f64, shares: [f64; 4], power: f64, ahead: f64, out: f64| {
        let shift = [knee.x * bow(at) + z(out), knee.y * bow(at) + z(ahead)];
        (along(at), section(mean, shares, power, shift))
    };
    let rows = [
        row(-0.22, thigh, [0.70, 0.62, 0.62, 0.62], 2.1, 0.010, 0.004),
        row(0.00, thigh, [0.86, 0.76, 0.86, 0.80], 2.2, 0.010, 0.006),
        row(0.24, thigh, [0.93, 0.93, 1.04, 1.03], 2.2, 0.006, 0.008),
        row(
            0.50,
            0.56 * thigh + 0.42 * lower,
            [0.98, 0.98, 1.06, 0.99],
            2.15,
            0.010,
            0.005,
        ),
        row(
            0.76,
            0.20 * thigh + 0.80 * lower,
            [0.98, 0.99, 1.03, 0.98],
            2.15,
            0.006,
            0.001,
        ),
        row(0.90, lower, [0.97, 1.00, 1.02, 0.98], 2.2, 0.000, -0.002),
        row(1.00, 0.96 * lower, [0.97, 0.99, 1.05, 0.94], 2.3, -0.002, -0.002),
        row(
            1.09,
            0.50 * lower + 0.42 * calf,
            [0.98, 0.97, 1.02, 0.98],
            2.25,
            -0.006,
            0.0,
        ),
        row(
            1.20,
            0.18 * lower + 0.76 * calf,
            [1.00, 0.98, 0.96, 1.06],
            2.15,
            -0.012,
            0.001,
        ),
        row(1.32, calf, [1.00, 0.99, 0.93, 1.09], 2.1, -0.018, 0.001),
        row(1.46, 0.93 * calf, [0.98, 1.00, 0.94, 1.06], 2.1, -0.017, 0.0),
        row(
            1.64,
            0.52 * calf + 0.36 * least,
            [0.97, 0.99, 0.97, 1.03],
            2.1,
            -0.010,
            0.0,
        ),
        row(
            1.80,
            0.12 * calf + 0.84 * least,
            [0.96, 0.96, 1.0, 1.02],
            2.1,
            -0.005,
            0.0,
        ),
        row(1.88, least, [0.94, 0.94, 1.04, 1.04], 2.1, -0.003, 0.0),
        row(
            1.98,
            1.08 * least,
            [1.0 - 0.02 * soft, 0.98, 1.04, 1.06],
            2.1,
            -0.002,
            0.0,
        ),
        row(2.06, 1.04 * least, [0.94, 0.92, 1.02, 1.02], 2.2, 0.0, 0.0),
    ];
    Limb::new(frame, &rows, 0.025)
}

/// The arm from inside the shoulder to the wrist.
fn arm(body: &BodyShape, sizes: &Girths, joints: &Joints) -> Limb {
    let frame = Frame::towards(joints.upper_arm, joints.hand);
    let elbow = frame.local(&joints.lower_arm);
    let wrist = frame.local(&joints.hand).z;
    let stout = (sizes.chest / body.stature / 0.59).powf(0.8) * (1.0 - 0.04 * body.womanly);
    let r = |share: f64| share * body.stature * stout;
    let along = |at: f64| {
        if at < 1.0 {
            elbow.z * at
        } else {
            elbow.z + (wrist - elbow.z) * (at - 1.0)
        }
    };
    let bow = |at: f64| profile(&[(0.0, 0.0), (1.0, 1.0), (2.0, 0.0)], at);
    let z = |metres: f64| metres * body.stature / 1.75;
    let row = |at: f64, mean: f64, shares: [f64; 4], ahead: f64| {
        (
            along(at),
            section(
                mean,
                shares,
                2.15,
                [elbow.x * bow(at), elbow.y * bow(at) + z(ahead)],
            ),
        )
    };
    let muscle = 1.0 - 0.10 * body.womanly;
    let rows = [
        row(-0.12, r(0.028), [0.95, 1.0, 0.95, 0.95], 0.0),
        row(0.12, r(0.0325), [1.0, 1.05, 1.02, 1.02], 0.0),
        row(0.42, r(0.0305) * muscle, [0.95, 1.0, 1.08, 1.05], 0.004),
        row(0.72, r(0.0265), [0.96, 1.0, 1.06, 1.0], 0.003),
        row(1.00, r(0.0245), [0.96, 0.96, 1.0, 1.08], -0.002),
        row(1.20, r(0.0255) * muscle, [0.95, 0.97, 1.06, 1.04], 0.002),
        row(1.50, r(0.0215), [0.92, 0.94, 1.06, 1.04], 0.001),
        row(1.80, r(0.0165), [0.86, 0.88, 1.14, 1.10], 0.0),
        row(2.00, r(0.0150), [0.82, 0.84, 1.22, 1.16], 0.0),
        row(2.08, r(0.0150), [0.80, 0.82, 1.28, 1.20], 0.0),
    ];
    Limb::new(frame, &rows, 0.015)
}

/// The four fingers and the palm as one mitten, slightly cupped.
fn palm(joints: &Joints, h: f64) -> Limb {
    let frame = Frame::towards(joints.hand, joints.fingertips);
    let long = (joints.fingertips - joints.hand).norm();
    let row = |share: f64, thick: f64, wide: f64, curl: f64| {
        let half = [
            thick * h,
            thick * h * 0.95,
            wide * h,
            wide * h * 0.95,
            2.4,
            -curl * h,
            0.0,
        ];
        (share * long, half)
    };
    let rows = [
        row(-0.10, 0.0125, 0.0165, 0.0),
        row(0.12, 0.0125, 0.0195, 0.0),
        row(0.35, 0.0120, 0.0240, 0.0005),
        row(0.52, 0.0105, 0.0245, 0.0010),
        row(0.75, 0.0090, 0.0220, 0.0030),
        row(0.92, 0.0075, 0.0175, 0.0060),
        row(1.00, 0.0050, 0.0110, 0.0075),
    ];
    Limb::new(frame, &rows, 0.014)
}

fn thumb(joints: &Joints, h: f64) -> Limb {
    let along = (joints.fingertips - joints.hand).normalize();
    let from = joints.hand + along * (0.018 * h) + Vector3::new(0.0, -0.002, 0.014) * h;
    let to = from + (along * 0.80 + Vector3::new(0.0, -0.12, 0.60)).normalize() * (0.046 * h);
    let frame = Frame::towards(from, to);
    let long = (to - from).norm();
    let row = |share: f64, r: f64| (share * long, [r * h, r * h, r * h, r * h, 2.0, 0.0, 0.0]);
    Limb::new(
        frame,
        &[
            row(-0.1, 0.0095),
            row(0.5, 0.0080),
            row(0.85, 0.0072),
            row(1.05, 0.0045),
        ],
        0.008,
    )
}

/// The foot along its sole, heel to toes.
fn foot(body: &BodyShape, joints: &Joints) -> Foot {
    let h = body.stature;
    let ahead = joints.toe_tips - joints.toes;
    let along = Vector3::new(ahead.x, 0.0, ahead.z).normalize();
    let long = 0.152 * h;
    let heel = Vector3::new(joints.foot.x, 0.0, joints.foot.z) - along * (0.25 * long);
    // side is up here: a section's +side half-axis is the instep, its -side half-axis the sole
    let frame = Frame {
        origin: heel,
        side: Vector3::y(),
        front: Vector3::y().cross(&along),
        along,
    };
    let row = |share: f64, top: f64, wide: f64, out: f64| {
        let lift = 0.012 * h; // the widest line lies this far above the sole
        (
            share * long,
            [top * h - lift, lift, wide * h, wide * h, 2.6, lift, out * h],
        )
    };
    let rows = [
        row(0.02, 0.026, 0.0160, 0.0),
        row(0.18, 0.042, 0.0190, 0.0),
        row(0.38, 0.040, 0.0200, 0.001),
        row(0.55, 0.031, 0.0235, 0.001),
        row(0.72, 0.0225, 0.0275, 0.0),
        row(0.88, 0.0175, 0.0255, -0.001),
        row(1.00, 0.0150, 0.0190, -0.003),
    ];
    let heel = Egg {
        frame: Frame {
            origin: heel + along * (0.13 * long) + Vector3::y() * (0.0235 * h),
            ..frame
        },
        half: Vector3::new(0.0235, 0.0185, 0.0200) * h,
    };
    Foot {
        sole: Limb::new(frame, &rows, 0.022),
        heel,
    }
}
