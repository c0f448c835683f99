//! Where do the threads of a garment lie? Half a garment as one strip of rows round the body.
//!
//! Trousers, skirts and tunics are the same cloth: rows that run from the front middle round the side to the back
//! middle, then, past a fork (crotch or shoulder), rows that close round a limb. Each point is where a ray from
//! inside meets the surface that the garment is cut along.

use nalgebra::Vector3;
use rayon::prelude::*;

type Point = Vector3<f64>;

/// A row's place: rays start at `centre`; `side` is azimuth 0, `front` azimuth 90 degrees, `up` is elevation.
#[derive(Clone, Debug)]
pub(super) struct RowPlan {
    pub(super) centre: Point,
    pub(super) side: Point,
    pub(super) front: Point,
    pub(super) up: Point,
    pub(super) ends: Ends,
}

/// How a row ends.
#[derive(Clone, Debug)]
pub(super) enum Ends {
    /// At these two points: front and back middle, or both sides of a neckline.
    At(Point, Point),
    /// It closes round a limb; the elevation of the ray at the inseam, radians.
    Round(f64),
}

/// Points of half a garment, `rows` x (`front` + `back` + 1), column 0 at the front end.
#[derive(Clone, Debug)]
pub(super) struct Strip {
    pub(super) front: usize,
    pub(super) back: usize,
    pub(super) rows: Vec<Vec<Point>>,
    /// For each row whether its two ends are the same points.
    pub(super) round: Vec<bool>,
    /// Rows follow each other upwards (upper clothes) instead of downwards.
    pub(super) upward: bool,
}

/// Ray directions of a row at a share of the way from the side (0) to an end (1).
struct Fan<'a> {
    plan: &'a RowPlan,
    azimuth: f64,
    elevation: f64,
}

impl<'a> Fan<'a> {
    /// `hand` is 1 for the front panel and -1 for the back one.
    fn new(plan: &'a RowPlan, hand: f64) -> Self {
        let (azimuth, elevation) = match &plan.ends {
            Ends::Round(elevation) => (std::f64::consts::PI, *elevation),
            Ends::At(front, back) => {
                let to = if hand > 0.0 { front } else { back } - plan.centre;
                let (x, y, z) = (to.dot(&plan.side), to.dot(&plan.front) * hand, to.dot(&plan.up));
                let azimuth = y.max(1e-6).atan2(x);
                (azimuth, z.atan2(x.hypot(y)))
            }
        };
        Self {
            plan,
            azimuth: azimuth * hand,
            elevation,
        }
    }

    fn direction(&self, share: f64) -> Point {
        let (sine, cosine) = (self.azimuth * share).sin_cos();
        let (rise, level) = (self.elevation * share * share).sin_cos();
        (self.plan.side * cosine + self.plan.front * sine) * level + self.plan.up * rise
    }
}

/// Where a ray from `from` first leaves the surface's inside; the farthest point looked at where it never does.
pub(super) fn shoot(distance: &impl Fn(&Point) -> f64, from: &Point, direction: &Point) -> Point {
    let mut low = 0.0;
    let mut high = 0.0;
    while high < 0.8 {
        let gap = distance(&(from + direction * high));
        if gap > 0.0 && high > 0.0 {
            break;
        }
        low = high;
        high += (0.7 * gap.abs()).clamp(0.004, 0.03);
    }
    for _ in 0..22 {
        let middle = 0.5 * (low + high);
        if distance(&(from + direction * middle)) < 0.0 {
            low = middle
        } else {
            high = middle
        }
    }
    from + direction * low
}

/// Steps of the first, fine pass along a row, from which columns are spaced evenly.
const FINE: usize = 20;

/// Weaves the strip: columns spaced evenly along each row on either side of the side seam.
pub(super) fn weave(
    plans: &[RowPlan],
    [front, back]: [usize; 2],
    distance: &(impl Fn(&Point) -> f64 + Sync),
) -> Strip {
    let rows = plans
        .par_iter()
        .map(|plan| {
            let mut row = panel_row(&Fan::new(plan, 1.0), front, distance);
            row.reverse();
            row.extend(
                panel_row(&Fan::new(plan, -1.0), back, distance)
                    .into_iter()
                    .skip(1),
            );
            match &plan.ends {
                Ends::At(first, last) => {
                    row[0] = *first;
                    row[front + back] = *last;
                }
                Ends::Round(_) => row[front + back] = row[0],
            }
            row
        })
        .collect();
    let round = plans
        .iter()
        .map(|plan| matches!(plan.ends, Ends::Round(_)))
        .collect();
    Strip {
        front,
        back,
        rows,
        round,
        upward: false,
    }
}

/// Points from the side seam to the end of one panel.
fn panel_row(fan: &Fan, columns: usize, distance: &impl Fn(&Point) -> f64) -> Vec<Point> {
    let hit = |share: f64| shoot(distance, &fan.plan.centre, &fan.direction(share));
    let fine: Vec<Point> = (0..=FINE).map(|step| hit(step as f64 / FINE as f64)).collect();
    let mut length = vec![0.0];
    for pair in fine.windows(2) {
        length.push(length[length.len() - 1] + (pair[1] - pair[0]).norm());
    }
    let share_at = |wanted: f64| {
        let step = length.partition_point(|so_far| *so_far < wanted).clamp(1, FINE);
        (step as f64 - 1.0 + (wanted - length[step - 1]) / (length[step] - length[step - 1]).max(1e-9))
            / FINE as f64
    };
    (0..=columns)
        .map(|column| hit(share_at(length[FINE] * column as f64 / columns as f64)))
        .collect()
}

/// Rounds of evening out near the fork; with fewer the rows of a small ease still cross there.
const ROUNDS: usize = 50;

/// Over-relaxation (Young 1954): carries a change over the span in a few rounds instead of hundreds.
const STRIDE: f64 = 1.5;

/// Evens out the rows of a span by drawing each point to the middle of its neighbours along the surface.
///
/// Rays from inside cannot follow the saddle at a fork; a net drawn tight over it can. The rows next to the span and
/// all points on the middle plane and on free edges keep their place.
pub(super) fn even_out(strip: &mut Strip, span: std::ops::Range<usize>, distance: &impl Fn(&Point) -> f64) {
    let last = strip.front + strip.back;
    for round in 0..ROUNDS {
        let stride = if round + 6 < ROUNDS { STRIDE } else { 1.0 };
        for row in span.clone() {
            for column in usize::from(!strip.round[row])..last {
                let rows = &strip.rows;
                let before = rows[row][if column == 0 { last - 1 } else { column - 1 }];
                let sum = before + rows[row][column + 1] + rows[row - 1][column] + rows[row + 1][column];
                let here = rows[row][column];
                strip.rows[row][column] = onto(distance, here + (sum / 4.0 - here) * stride);
            }
            if strip.round[row] {
                strip.rows[row][last] = strip.rows[row][0];
            }
        }
    }
    for row in span {
        for column in usize::from(!strip.round[row])..last {
            for _ in 0..SETTLE {
                strip.rows[row][column] = onto(distance, strip.rows[row][column]);
            }
        }
        if strip.round[row] {
            strip.rows[row][last] = strip.rows[row][0];
        }
    }
}

/// Newton steps after the last round, for points that a strongly bent place has drawn deep inside.
const SETTLE: usize = 5;

/// One Newton step onto the surface, on the left of the middle plane.
fn onto(distance: &impl Fn(&Point) -> f64, point: Point) -> Point {
    let slope = super::shape::gradient(distance, &point);
    let mut on = point - slope * (distance(&point) / slope.norm_squared().max(0.1)).clamp(-0.02, 0.02);
    on.x = on.x.max(3e-4);
    on
}

/// Length of a polygon.
pub(super) fn length(curve: &[Point]) -> f64 {
    curve.windows(2).map(|pair| (pair[1] - pair[0]).norm()).sum()
}

/// `count` + 1 points at equal distances along a curve, its ends included.
pub(super) fn evenly(curve: &[Point], count: usize) -> Vec<Point> {
    let whole = length(curve);
    let mut points = vec![curve[0]];
    let (mut passed, mut piece) = (0.0, 0);
    for step in 1..count {
        let wanted = whole * step as f64 / count as f64;
        loop {
            let long = (curve[piece + 1] - curve[piece]).norm();
            if passed + long >= wanted || piece + 2 == curve.len() {
                points.push(curve[piece] + (curve[piece + 1] - curve[piece]) * ((wanted - passed) / long));
                break;
            }
            passed += long;
            piece += 1;
        }
    }
    points.push(curve[curve.len() - 1]);
    points
}

/// Outward directions of all points of a strip; on the middle they stay in the middle plane.
pub(super) fn normals(strip: &Strip, distance: &impl Fn(&Point) -> f64) -> Vec<Vec<Point>> {
    let normal = |point: &Point| {
        let mut slope = super::shape::gradient(distance, point);
        if point.x == 0.0 {
            slope.x = 0.0;
        }
        slope.normalize()
    };
    strip
        .rows
        .iter()
        .map(|row| row.iter().map(normal).collect())
        .collect()
}
