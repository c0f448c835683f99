//! How far is a point from a limb whose cross-section changes along a straight axis?
//!
//! A limb is a stack of rounded sections (four half-axes, a squareness and a shift off the axis each), joined
//! smoothly. The distance is first order: exact on the surface, close to true within a few centimetres of it.

use nalgebra::{Rotation3, Vector3};

type Point = Vector3<f64>;

/// Rows of the table a limb is evaluated from; with straight lines between them the error stays under 0.1 mm.
const ROWS: usize = 160;

/// A right-handed frame: where a limb starts and where it points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    /// Start of the axis.
    pub(super) origin: Point,
    /// Towards the wearer's left (or outward along an arm's upper side).
    pub(super) side: Point,
    /// Towards the front.
    pub(super) front: Point,
    /// Along the axis.
    pub(super) along: Point,
}

impl Frame {
    /// A frame whose axis points from `origin` to `end`, with the front as near to +Z as that allows.
    pub(super) fn towards(origin: Point, end: Point) -> Self {
        let along = (end - origin).normalize();
        let front = (Vector3::z() - along * along.z).normalize();
        Self {
            origin,
            side: along.cross(&front) * -1.0,
            front,
            along,
        }
    }

    /// The point at (`side`, `front`, `along`) of this frame.
    pub(super) fn point(&self, side: f64, front: f64, along: f64) -> Point {
        self.origin + self.side * side + self.front * front + self.along * along
    }

    /// Coordinates (`side`, `front`, `along`) of a point.
    pub(super) fn local(&self, point: &Point) -> Point {
        let from = point - self.origin;
        Vector3::new(from.dot(&self.side), from.dot(&self.front), from.dot(&self.along))
    }

    /// This frame turned about `pivot`.
    pub(super) fn turned(&self, turn: &Rotation3<f64>, pivot: &Point) -> Self {
        Self {
            origin: pivot + turn * (self.origin - pivot),
            side: turn * self.side,
            front: turn * self.front,
            along: turn * self.along,
        }
    }
}

/// One cross-section: channels are interpolated one by one.
///
/// In order: half-axis towards +side, -side, +front, -front, exponent (2 is an ellipse, more is boxier), shift
/// along side, shift along front.
pub(super) type Section = [f64; 7];

/// A limb with its sections tabulated.
#[derive(Clone, Debug)]
pub(super) struct Limb {
    /// Where it lies; may be replaced to pose the limb.
    pub(super) frame: Frame,
    from: f64,
    to: f64,
    /// Radius of the rounding at both ends.
    round: f64,
    widest: f64,
    rows: Vec<[f64; 14]>,
}

impl Limb {
    /// A limb from sections at rising positions along the axis (metres), with ends rounded over `round` metres.
    pub(super) fn new(frame: Frame, sections: &[(f64, Section)], round: f64) -> Self {
        let (from, to) = (sections[0].0, sections[sections.len() - 1].0);
        let step = (to - from) / (ROWS - 1) as f64;
        let mut rows = vec![[0.0; 14]; ROWS];
        for channel in 0..7 {
            let knots: Vec<(f64, f64)> = sections
                .iter()
                .map(|(at, section)| (*at, section[channel]))
                .collect();
            let slopes = knot_slopes(&knots);
            for (row, values) in rows.iter_mut().enumerate() {
                values[channel] = hermite(&knots, &slopes, from + step * row as f64);
            }
        }
        soften(&mut rows);
        for channel in 0..7 {
            for row in 0..ROWS {
                let (before, after) = (row.saturating_sub(1), (row + 1).min(ROWS - 1));
                rows[row][channel + 7] =
                    (rows[after][channel] - rows[before][channel]) / (step * (after - before) as f64);
            }
        }
        let widest = sections
            .iter()
            .flat_map(|(_, s)| s[..4].iter().map(|half| half * 1.42 + s[5].hypot(s[6])))
            .fold(0.0, f64::max);
        Self {
            frame,
            from,
            to,
            round,
            widest,
            rows,
        }
    }

    /// First-order signed distance in metres, negative inside.
    pub(super) fn distance(&self, point: &Point) -> f64 {
        let local = self.frame.local(point);
        let past = (self.from - local.z).max(local.z - self.to);
        let far = (local.x.hypot(local.y) - self.widest).max(past);
        if far > 0.12 {
            return far; // too far for any blend to notice
        }
        smooth_max(self.side_distance(&local), past, self.round)
    }

    fn side_distance(&self, local: &Point) -> f64 {
        let at = ((local.z - self.from) / (self.to - self.from)).clamp(0.0, 1.0) * (ROWS - 1) as f64;
        let row = (at as usize).min(ROWS - 2);
        let share = at - row as f64;
        let (low, high) = (&self.rows[row], &self.rows[row + 1]);
        let value = |channel: usize| low[channel] + (high[channel] - low[channel]) * share;
        let (x, y) = (local.x - value(5), local.y - value(6));
        let from_axis = x.hypot(y).max(1e-9);
        let (cosine, sine) = (x / from_axis, y / from_axis);
        let (side, front) = (usize::from(x < 0.0), 2 + usize::from(y < 0.0));
        let power = value(4);
        let radius = ((cosine.abs() / value(side)).powf(power) + (sine.abs() / value(front)).powf(power))
            .powf(-1.0 / power);
        let slope = cosine * cosine * value(side + 7)
            + sine * sine * value(front + 7)
            + cosine * value(12)
            + sine * value(13);
        (from_axis - radius) / (1.0 + slope * slope).sqrt()
    }

    /// Centre of the section at `along` metres.
    pub(super) fn centre(&self, along: f64) -> Point {
        let at = ((along - self.from) / (self.to - self.from)).clamp(0.0, 1.0) * (ROWS - 1) as f64;
        let row = &self.rows[at.round() as usize];
        self.frame.point(row[5], row[6], along)
    }
}

/// Evens out the change of curvature at the knots, which a lamp from the side would show as a band.
fn soften(rows: &mut [[f64; 14]]) {
    for _ in 0..3 {
        let before = rows.to_vec();
        for row in SOFT..rows.len() - SOFT {
            for channel in 0..7 {
                let sum: f64 = before[row - SOFT..=row + SOFT]
                    .iter()
                    .map(|values| values[channel])
                    .sum();
                rows[row][channel] = sum / (2 * SOFT + 1) as f64;
            }
        }
    }
}

/// Half width of the softening, in rows.
const SOFT: usize = 3;

/// Slopes of a monotone cubic through the knots (Fritsch and Butland 1984): no section swells between two knots.
fn knot_slopes(knots: &[(f64, f64)]) -> Vec<f64> {
    let secant = |knot: usize| (knots[knot + 1].1 - knots[knot].1) / (knots[knot + 1].0 - knots[knot].0);
    let last = knots.len() - 1;
    (0..knots.len())
        .map(|knot| {
            if knot == 0 || knot == last {
                return if last == 0 {
                    0.0
                } else {
                    secant(knot.min(last - 1))
                };
            }
            let (before, after) = (secant(knot - 1), secant(knot));
            if before * after <= 0.0 {
                return 0.0;
            }
            let (left, right) = (
                knots[knot].0 - knots[knot - 1].0,
                knots[knot + 1].0 - knots[knot].0,
            );
            let (first, second) = (2.0 * right + left, right + 2.0 * left);
            (first + second) / (first / before + second / after)
        })
        .collect()
}

fn hermite(knots: &[(f64, f64)], slopes: &[f64], at: f64) -> f64 {
    let knot = knots
        .partition_point(|knot| knot.0 <= at)
        .clamp(1, knots.len() - 1)
        - 1;
    let width = knots[knot + 1].0 - knots[knot].0;
    let t = (at - knots[knot].0) / width;
    let (t2, t3) = (t * t, t * t * t);
    knots[knot].1 * (2.0 * t3 - 3.0 * t2 + 1.0)
        + slopes[knot] * width * (t3 - 2.0 * t2 + t)
        + knots[knot + 1].1 * (3.0 * t2 - 2.0 * t3)
        + slopes[knot + 1] * width * (t3 - t2)
}

/// A value read off a monotone cubic through `knots`; constant beyond the ends.
pub(super) fn profile(knots: &[(f64, f64)], at: f64) -> f64 {
    let (first, last) = (knots[0], knots[knots.len() - 1]);
    if at <= first.0 {
        return first.1;
    }
    if at >= last.0 {
        return last.1;
    }
    hermite(knots, &knot_slopes(knots), at)
}

/// Distance to an ellipsoid in a frame of its own, first order (zero on the surface).
#[derive(Clone, Copy, Debug)]
pub(super) struct Egg {
    /// Centre and axes.
    pub(super) frame: Frame,
    /// Half-axes along side, front, along.
    pub(super) half: Point,
}

impl Egg {
    /// First-order signed distance in metres.
    pub(super) fn distance(&self, point: &Point) -> f64 {
        let scaled = self.frame.local(point).component_div(&self.half);
        let (near, steep) = (scaled.norm(), scaled.component_div(&self.half).norm());
        if steep < 1e-9 {
            -self.half.min()
        } else {
            near * (near - 1.0) / steep
        }
    }
}

/// Smooth minimum: the joint of two surfaces is filled over `width` metres.
pub(super) fn smooth_min(a: f64, b: f64, width: f64) -> f64 {
    let over = (width - (a - b).abs()).max(0.0);
    a.min(b) - over * over / (4.0 * width)
}

/// Smooth maximum: the edge where two surfaces cut each other is rounded over `width` metres.
pub(super) fn smooth_max(a: f64, b: f64, width: f64) -> f64 {
    -smooth_min(-a, -b, width)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_round_limb_is_a_cylinder() {
        let frame = Frame::towards(Vector3::zeros(), Vector3::new(0.0, -1.0, 0.0));
        let round = [0.1, 0.1, 0.1, 0.1, 2.0, 0.0, 0.0];
        let limb = Limb::new(frame, &[(0.0, round), (1.0, round)], 0.01);
        for angle in 0..8 {
            let (sine, cosine) = (f64::from(angle) * 0.7).sin_cos();
            let point = Vector3::new(0.13 * cosine, -0.5, 0.13 * sine);
            assert!((limb.distance(&point) - 0.03).abs() < 1e-9);
        }
    }

    #[test]
    fn frames_are_right_handed_and_side_is_left() {
        let frame = Frame::towards(Vector3::zeros(), Vector3::new(0.0, -1.0, 0.0));
        assert!((frame.side - Vector3::x()).norm() < 1e-12);
        assert!((frame.front - Vector3::z()).norm() < 1e-12);
    }
}
