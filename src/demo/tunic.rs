//! Which rows make a tunic or jacket, from its hem over neck and shoulders to the wrists?
//!
//! The same strip as trousers, upside down: below the arms rows go round the trunk, at the neck they part, and past
//! the shoulder they close round the sleeve, whose seam lies along the top of the arm.

use super::limb::{profile, smooth_max, smooth_min};
use super::mannequin::Mannequin;
use super::pattern::{Kind, Pattern};
use super::shape::{HALF_GAP, Shape};
use super::strip::{Ends, RowPlan, Strip, even_out, evenly, length, normals, shoot, weave};
use nalgebra::{Rotation3, Vector3};

type Point = Vector3<f64>;

/// Levels as shares of stature.
const FAN: f64 = 0.640;
const NECK_FRONT: f64 = 0.812;
const NECK_BACK: f64 = 0.842;
/// Slope at which the rays of the neckline look up at the shoulder.
const SHOULDER_RISE: f64 = 0.40;

/// The surface of upper clothes.
struct Upper<'a> {
    body: &'a Shape,
    /// Height and room there, hem to chest.
    room: [(f64, f64); 3],
    /// Along the arm and room there, shoulder to wrist.
    sleeve: [(f64, f64); 2],
}

impl Upper<'_> {
    fn distance(&self, point: &Point) -> f64 {
        let p = Vector3::new(point.x.abs(), point.y, point.z);
        let trunk = self.body.bodice(&p) - profile(&self.room, p.y);
        let leg = smooth_max(
            self.body.bound_leg_limb(&p) - self.room[0].1,
            0.4 * HALF_GAP - p.x,
            0.012,
        );
        let along = self.body.arm.frame.local(&p).z;
        let arm = self.body.sleeve(&p) - profile(&self.sleeve, along);
        smooth_min(smooth_min(trunk, leg, 0.06), arm, 0.07)
    }
}

/// Cuts a tunic or jacket for the body posed in the pattern's build pose.
pub(super) fn cut(of: &Mannequin, body: &Shape, pattern: &Pattern) -> (Strip, Vec<Vec<Point>>) {
    let shape = &of.shape;
    let size = shape.stature / 1.75;
    let joints = shape.joints();
    let wrist = body.arm.frame.local(&joints.hand).z;
    let (hem, loose) = match pattern.kind {
        Kind::Jacket => (0.578, 0.003),
        _ => (0.552, 0.004),
    };
    let e = pattern.ease;
    let cloth = Upper {
        body,
        room: [
            (shape.level(hem), e + 0.6 * loose * size),
            (shape.level(0.62), e + loose * size),
            (shape.level(0.72), e),
        ],
        sleeve: [(0.1 * wrist, e), (wrist, e + 1.2 * loose * size)],
    };
    let distance = |p: &Point| cloth.distance(p);
    let (plans, fork, fan) = plans(of, &cloth, pattern, hem, &distance);
    let columns = ((shape.girths.chest * 0.25 / pattern.grain).round() as usize).max(4);
    let mut strip = weave(&plans, [columns, columns], &distance);
    strip.upward = true;
    even_out(
        &mut strip,
        fan.saturating_sub(5).max(1)..(fork + 18).min(plans.len() - 2),
        &distance,
    );
    let normals = normals(&strip, &distance);
    (strip, normals)
}

fn plans(
    of: &Mannequin,
    cloth: &Upper,
    pattern: &Pattern,
    hem: f64,
    distance: &impl Fn(&Point) -> f64,
) -> (Vec<RowPlan>, usize, usize) {
    let shape = &of.shape;
    let (fronts, backs) = middle_and_neck(of, pattern, hem, distance);
    let fork = fronts.len() - 1;
    let bottom = fronts[0].y;
    let (fan_level, arm) = (shape.level(FAN), cloth.body.arm.frame);
    let fan = fronts.iter().position(|point| point.y > fan_level).unwrap_or(1);
    let drop = shape.arm_drop;
    let all = std::f64::consts::FRAC_PI_2 + drop;
    let joints = shape.joints();
    let shoulder = joints.upper_arm;
    let at_fork = Vector3::new(0.62 * shoulder.x, shoulder.y - 0.012 * shape.stature, shoulder.z);
    let frame_at = |angle: f64| {
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), -angle);
        (turn * Vector3::x(), turn * Vector3::y())
    };
    let mut plans = Vec::new();
    for row in 0..=fork {
        let share = ((row as f64 - fan as f64) / (fork - fan) as f64).max(0.0);
        let height = bottom + (fan_level - bottom) * (row as f64 / fan as f64).min(1.0);
        let start = Vector3::new(0.0, height, -0.008 * shape.stature);
        let (side, up) = frame_at(share.powf(1.3) * FORK_TURN * all);
        let ends = Ends::At(fronts[row], backs[row]);
        plans.push(RowPlan {
            centre: start + (at_fork - start) * share,
            side,
            front: Vector3::z(),
            up,
            ends,
        });
    }
    let to_neck = fronts[fork] - at_fork;
    let (side, up) = frame_at(FORK_TURN * all);
    let rise = to_neck.dot(&up).atan2(to_neck.dot(&side).abs());
    let wrist = arm.local(&joints.hand).z * 0.955;
    let over_arm = (fronts[fork] - joints.hand).norm();
    let rows = (over_arm / pattern.grain).round() as usize;
    let settle = 0.34;
    for row in 1..=rows {
        let share = row as f64 / rows as f64;
        let early = (share / settle).min(1.0);
        let on_arm = cloth.body.arm.centre(wrist * (0.10 + 0.90 * share));
        let centre = at_fork + (on_arm - at_fork) * early;
        let (side, up) = frame_at((FORK_TURN + (1.0 - FORK_TURN) * early) * all);
        let fade = (1.0 - early).powi(2);
        plans.push(RowPlan {
            centre,
            side,
            front: Vector3::z(),
            up,
            ends: Ends::Round(rise * fade),
        });
    }
    (plans, fork, fan)
}

/// Share of the turn from hem to sleeve that is done where the neckline ends.
const FORK_TURN: f64 = 0.48;

/// Front and back ends of the rows: up the middle to the neck, then along the neckline to the shoulder.
fn middle_and_neck(
    of: &Mannequin,
    pattern: &Pattern,
    hem: f64,
    distance: &impl Fn(&Point) -> f64,
) -> (Vec<Point>, Vec<Point>) {
    let shape = &of.shape;
    let inside = -0.012 * shape.stature;
    let (low, high) = (shape.level(NECK_FRONT), shape.level(NECK_BACK));
    let shot = |height: f64, hand: f64| {
        let mut at = shoot(
            distance,
            &Vector3::new(0.0, height, inside),
            &Vector3::new(0.0, 0.0, hand),
        );
        at.x = 0.0;
        at
    };
    let (neck_front, neck_back) = (shot(low, 1.0), shot(high, -1.0));
    let centre = (neck_front + neck_back) / 2.0;
    let middle = |hand: f64, neck: &Point| {
        let from = shape.level(hem);
        let mut curve: Vec<Point> = (0..60)
            .map(|step| shot(from + (neck.y - from) * f64::from(step) / 60.0, hand))
            .collect();
        curve.push(*neck);
        curve
    };
    let (front_up, back_up) = (middle(1.0, &neck_front), middle(-1.0, &neck_back));
    let ahead = (neck_front - centre).normalize();
    let along = |hand: f64, neck: &Point| {
        let mut curve = vec![*neck];
        for step in 1..=24 {
            let (sine, cosine) = (f64::from(step) / 24.0 * std::f64::consts::FRAC_PI_2).sin_cos();
            curve.push(shoot(
                distance,
                &centre,
                &(ahead * (cosine * hand) + Vector3::new(sine, SHOULDER_RISE * sine * sine, 0.0)),
            ));
        }
        curve
    };
    let (front_neck, back_neck) = (along(1.0, &neck_front), along(-1.0, &neck_back));
    let count = |a: &[Point], b: &[Point]| (0.5 * (length(a) + length(b)) / pattern.grain).round() as usize;
    let (up, round) = (count(&front_up, &back_up), count(&front_neck, &back_neck).max(3));
    let join = |first: &[Point], then: &[Point]| {
        let mut points = evenly(first, up);
        points.extend(evenly(then, round).into_iter().skip(1));
        points
    };
    let (fronts, mut backs) = (join(&front_up, &front_neck), join(&back_up, &back_neck));
    backs[up + round] = fronts[up + round];
    (fronts, backs)
}
