//! Which rows make a pair of trousers, from waistband over the fork to the hems?

use super::drape::{LegEase, Trousers};
use super::mannequin::Mannequin;
use super::pattern::{Kind, Pattern};
use super::shape::Shape;
use super::strip::{Ends, RowPlan, Strip, even_out, evenly, length, normals, shoot, weave};
use nalgebra::Vector3;

type Point = Vector3<f64>;

/// Where trousers begin and end: shares of stature, and of the shank.
const WAIST: f64 = 0.598;
const HEM: f64 = 0.90;
/// Below this the trunk is its underside.
const FORK: f64 = 0.500;

/// Cuts trousers for the body posed in the pattern's build pose.
pub(super) fn cut(of: &Mannequin, body: &Shape, pattern: &Pattern) -> (Strip, Vec<Vec<Point>>) {
    let bound = of.shape.leg_frame();
    let joints = of.shape.joints();
    let (knee, ankle) = (bound.local(&joints.lower_leg).z, bound.local(&joints.foot).z);
    let hem = knee + (ankle - knee) * HEM;
    let cloth = Trousers {
        body,
        ease: ease(pattern, of.shape.stature / 1.75),
        knee,
        hem,
        fork: of.shape.level(FORK),
    };
    let distance = |p: &Point| cloth.distance(p);
    let plans = plans(of, body, pattern, hem, &distance);
    let fork = plans
        .iter()
        .take_while(|plan| matches!(plan.ends, Ends::At(..)))
        .count();
    let girth = of.shape.girths;
    let columns = |share: f64| ((girth.thigh * share / pattern.grain).round() as usize).max(4);
    let mut strip = weave(&plans, [columns(0.5), columns(0.5)], &distance);
    even_out(&mut strip, fork - (fork * 3) / 4..fork + 14, &distance);
    let normals = normals(&strip, &distance);
    (strip, normals)
}

fn ease(pattern: &Pattern, size: f64) -> LegEase {
    let e = pattern.ease;
    match pattern.kind {
        Kind::Leggings => LegEase {
            trunk: e,
            thigh: e,
            knee: e,
            hem: e,
        },
        Kind::SlimTrousers => LegEase {
            trunk: e,
            thigh: e,
            knee: e + 0.004 * size,
            hem: e + 0.010 * size,
        },
        _ => LegEase {
            trunk: e * size,
            thigh: (e + 0.003) * size,
            knee: (e + 0.026) * size,
            hem: (e + 0.046) * size,
        },
    }
}

fn plans(
    of: &Mannequin,
    body: &Shape,
    pattern: &Pattern,
    hem: f64,
    distance: &impl Fn(&Point) -> f64,
) -> Vec<RowPlan> {
    let (fronts, backs) = rise(of, pattern, distance);
    let fork = fronts.len() - 1;
    let crotch = fronts[fork];
    let frame = body.posed_leg_frame();
    let upper = crotch.y + 0.030;
    let top = frame
        .local(&Vector3::new(frame.origin.x, upper, frame.origin.z))
        .z;
    let waist = fronts[0].y;
    let mut plans = Vec::new();
    for row in 0..=fork {
        let share = row as f64 / fork as f64;
        let lean = share * share * (3.0 - 2.0 * share);
        let along = top * lean;
        let inside = body.posed_leg_centre(along.max(0.0));
        let height = waist + (upper - waist) * share;
        let centre = Vector3::new(inside.x * lean, height, inside.z * lean);
        let side = (Vector3::x() * (1.0 - lean) + frame.side * lean).normalize();
        let front = (Vector3::z() * (1.0 - lean) + frame.front * lean).normalize();
        plans.push(RowPlan {
            centre,
            side,
            front,
            up: front.cross(&side),
            ends: Ends::At(fronts[row], backs[row]),
        });
    }
    let from = frame.local(&plans[fork].centre).z;
    let to_crotch = crotch - plans[fork].centre;
    let drop = to_crotch
        .dot(&plans[fork].up)
        .atan2(to_crotch.dot(&plans[fork].side).abs());
    let rows = ((hem - from) / pattern.grain).round() as usize;
    for row in 1..=rows {
        let fade = (1.0 - row as f64 / 10.0).max(0.0);
        let centre = body.posed_leg_centre(from + (hem - from) * row as f64 / rows as f64);
        plans.push(RowPlan {
            centre,
            side: frame.side,
            front: frame.front,
            up: -frame.along,
            ends: Ends::Round(drop * fade * fade),
        });
    }
    plans
}

/// Front and back of the seam in the middle, from the waist to the crotch, evenly spaced.
fn rise(of: &Mannequin, pattern: &Pattern, distance: &impl Fn(&Point) -> f64) -> (Vec<Point>, Vec<Point>) {
    let joints = of.shape.joints();
    let waist = of.shape.level(WAIST);
    let start = Vector3::new(0.0, joints.upper_leg.y + 0.02, 0.0);
    let curve = |hand: f64| {
        let mut points = Vec::new();
        for step in 0..24 {
            let height = waist + (start.y - waist) * f64::from(step) / 24.0;
            points.push(shoot(
                distance,
                &Vector3::new(0.0, height, 0.0),
                &Vector3::new(0.0, 0.0, hand),
            ));
        }
        for step in 0..=40 {
            let (sine, cosine) = (f64::from(step) / 40.0 * std::f64::consts::FRAC_PI_2).sin_cos();
            points.push(shoot(distance, &start, &Vector3::new(0.0, -sine, hand * cosine)));
        }
        points
    };
    let (front, back) = (curve(1.0), curve(-1.0));
    let rows = (0.5 * (length(&front) + length(&back)) / pattern.grain).round() as usize;
    let (mut fronts, mut backs) = (evenly(&front, rows), evenly(&back, rows));
    fronts
        .iter_mut()
        .chain(&mut backs)
        .for_each(|point| point.x = 0.0);
    backs[rows] = fronts[rows];
    (fronts, backs)
}
