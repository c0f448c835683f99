//! Which rows make a skirt?

use super::drape::{LegEase, Trousers};
use super::limb::{Frame, Limb, smooth_min};
use super::mannequin::Mannequin;
use super::pattern::Pattern;
use super::shape::Shape;
use super::strip::{Ends, RowPlan, Strip, normals, shoot, weave};
use nalgebra::Vector3;

type Point = Vector3<f64>;

/// Shares of stature: the waist, the seat below which it falls free, the hem above the knee.
const WAIST: f64 = 0.598;
const FREE: f64 = 0.520;
const HEM: f64 = 0.325;

/// Cuts an A-line skirt for the body posed in the pattern's build pose.
pub(super) fn cut(of: &Mannequin, body: &Shape, pattern: &Pattern) -> (Strip, Vec<Vec<Point>>) {
    let ease = LegEase {
        trunk: pattern.ease,
        thigh: pattern.ease,
        knee: pattern.ease,
        hem: pattern.ease,
    };
    let joints = of.shape.joints();
    let close = Trousers {
        body,
        ease,
        knee: of.shape.leg_frame().local(&joints.lower_leg).z,
        hem: 1.0,
        fork: 0.0,
    };
    let fall = fall(of, &close);
    let distance = |p: &Point| smooth_min(close.girdle_and_thigh(p), fall.distance(p), 0.03);
    let (top, bottom) = (of.shape.level(WAIST), of.shape.level(HEM));
    let rows = ((top - bottom) / pattern.grain).round() as usize;
    let plan = |row: usize| {
        let centre = Vector3::new(0.0, top + (bottom - top) * row as f64 / rows as f64, 0.0);
        let end = |hand: f64| {
            Vector3::new(0.0, 1.0, 1.0).component_mul(&shoot(
                &distance,
                &centre,
                &Vector3::new(0.0, 0.0, hand),
            ))
        };
        let ends = Ends::At(end(1.0), end(-1.0));
        RowPlan {
            centre,
            side: Vector3::x(),
            front: Vector3::z(),
            up: Vector3::y(),
            ends,
        }
    };
    let plans: Vec<RowPlan> = (0..=rows).map(plan).collect();
    let columns = ((of.shape.girths.seat * 0.29 / pattern.grain).round() as usize).max(4);
    let strip = weave(&plans, [columns, columns], &distance);
    let normals = normals(&strip, &distance);
    (strip, normals)
}

/// The free part: from the seat's outline it widens evenly to the hem.
fn fall(of: &Mannequin, close: &Trousers) -> Limb {
    let seat = Vector3::new(0.0, of.shape.level(FREE), 0.0);
    let reach = |direction: Point| (shoot(&|p| close.girdle_and_thigh(p), &seat, &direction) - seat).norm();
    let (side, front, back) = (reach(Vector3::x()), reach(Vector3::z()), reach(-Vector3::z()));
    let frame = Frame {
        origin: seat,
        side: Vector3::x(),
        front: Vector3::z(),
        along: Vector3::y(),
    };
    let size = of.shape.stature / 1.75;
    let down = of.shape.level(HEM) - seat.y;
    let row = |at: f64, wider: f64| {
        let w = wider * size;
        (
            at * down,
            [
                side + 1.1 * w,
                side + 1.1 * w,
                front + w,
                back + 0.7 * w,
                2.25,
                0.0,
                0.0,
            ],
        )
    };
    Limb::new(
        frame,
        &[
            row(1.15, 0.018),
            row(0.8, 0.012),
            row(0.4, 0.006),
            row(0.0, -0.001),
            row(-0.12, -0.02),
        ],
        0.02,
    )
}
