//! What is a part of a surface, seen from afar, made up of?

use super::Lanes;
use crate::geometry::box_tree::WIDTH;
use crate::geometry::vector::{add, cross, dot, scale, sub};

/// Moments of the area vectors `n dA` of a part about its centre, with `y` from the centre.
#[derive(Clone, Copy, Debug)]
pub(super) struct Moments {
    pub(super) centre: [f32; 3],
    /// No point of the part is further from the centre, metres.
    pub(super) radius: f32,
    pub(super) area: f32,
    /// Sum of `n`.
    pub(super) normal: [f32; 3],
    /// Sum of `n y`, row `n`.
    pub(super) first: [[f32; 3]; 3],
    /// Sum of `n y y`: per component of `n` the symmetric matrix xx yy zz xy yz zx; two places are empty.
    pub(super) second: [Lanes; 3],
}

/// Rows and columns of a symmetric matrix in the order in which it is stored.
pub(super) const PAIRS: [(usize, usize); 6] = [(0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (2, 0)];

impl Moments {
    pub(super) const EMPTY: Self = Self {
        centre: [0.0; 3],
        radius: 0.0,
        area: 0.0,
        normal: [0.0; 3],
        first: [[0.0; 3]; 3],
        second: [[0.0; WIDTH]; 3],
    };

    /// Of the tagged triangles of a leaf, exactly: the second moment of a triangle is its area over 12 times the sum of
    /// the outer products of its corners and of their sum.
    pub(super) fn of_leaf(
        ([a, b, c], tags): ([&[Lanes; 3]; 3], &[u32; WIDTH]),
        bounds: [[f32; 3]; 2],
    ) -> Self {
        let (mut normal, mut weighted) = ([[0.0; WIDTH]; 3], [[0.0; WIDTH]; 3]);
        let mut areas = [0.0; WIDTH];
        for lane in 0..WIDTH {
            let at = |corner: &[Lanes; 3]| counted(corner, lane, tags, [0.0; 3]);
            let (a, b, c) = (at(a), at(b), at(c));
            let n = scale(cross(sub(b, a), sub(c, a)), 0.5);
            areas[lane] = dot(n, n).sqrt();
            for axis in 0..3 {
                normal[axis][lane] = n[axis];
                weighted[axis][lane] = (a[axis] + b[axis] + c[axis]) * areas[lane];
            }
        }
        let area = total(areas);
        if !(area > 0.0 && area.is_finite()) {
            return Self {
                centre: middle(bounds),
                radius: reach(middle(bounds), bounds),
                ..Self::EMPTY
            };
        }
        let centre = weighted.map(|row| total(row) / (3.0 * area));
        let (mut sums, mut spread) = ([[0.0; WIDTH]; 3], [[0.0; WIDTH]; 6]);
        let mut furthest = [0.0; WIDTH];
        for lane in 0..WIDTH {
            let from = |corner: &[Lanes; 3]| sub(counted(corner, lane, tags, centre), centre);
            let (a, b, c) = (from(a), from(b), from(c));
            let sum = add(add(a, b), c);
            for axis in 0..3 {
                sums[axis][lane] = sum[axis] * (1.0 / 3.0);
            }
            for (slot, (i, j)) in PAIRS.into_iter().enumerate() {
                spread[slot][lane] =
                    (a[i] * a[j] + b[i] * b[j] + c[i] * c[j] + sum[i] * sum[j]) * (1.0 / 12.0);
            }
            furthest[lane] = larger(larger(dot(a, a), dot(b, b)), dot(c, c));
        }
        let along = |n: &Lanes, row: &Lanes| total(std::array::from_fn(|lane| n[lane] * row[lane]));
        let mut second = [[0.0; WIDTH]; 3];
        for (row, n) in second.iter_mut().zip(&normal) {
            for (value, spread) in row.iter_mut().zip(&spread) {
                *value = along(n, spread);
            }
        }
        Self {
            centre,
            radius: furthest.into_iter().fold(0.0, larger).sqrt(),
            area,
            normal: normal.map(total),
            first: normal.map(|n| sums.map(|sum| along(&n, &sum))),
            second,
        }
    }

    pub(super) fn joined(parts: &[Self; WIDTH], bounds: [[f32; 3]; 2]) -> Self {
        let mut sum = Self::EMPTY;
        for part in parts {
            sum.area += part.area;
            sum.centre = add(sum.centre, scale(part.centre, part.area));
            sum.normal = add(sum.normal, part.normal);
        }
        if !(sum.area > 0.0 && sum.area.is_finite()) {
            return Self {
                centre: middle(bounds),
                radius: reach(middle(bounds), bounds),
                ..Self::EMPTY
            };
        }
        sum.centre = scale(sum.centre, 1.0 / sum.area);
        // The box knows nothing of what the parts know, nor they of it: the smaller of the two bounds holds.
        let mut furthest = 0.0;
        for part in parts.iter().filter(|part| part.radius > 0.0) {
            let arm = sub(part.centre, sum.centre);
            furthest = larger(furthest, dot(arm, arm).sqrt() + part.radius);
            let (rows, columns) = (rows(arm), columns(arm));
            for n in 0..3 {
                sum.first[n] = add(sum.first[n], add(part.first[n], scale(arm, part.normal[n])));
                let (first_rows, first_columns) = (self::rows(part.first[n]), self::columns(part.first[n]));
                for slot in 0..WIDTH {
                    sum.second[n][slot] += part.second[n][slot]
                        + rows[slot] * first_columns[slot]
                        + first_rows[slot] * columns[slot]
                        + rows[slot] * columns[slot] * part.normal[n];
                }
            }
        }
        let around = reach(sum.centre, bounds);
        sum.radius = if furthest < around { furthest } else { around };
        sum
    }
}

/// A corner of a triangle in a leaf; of one without a tag `otherwise`, so that all its corners are one.
#[inline(always)]
fn counted(corner: &[Lanes; 3], lane: usize, tags: &[u32; WIDTH], otherwise: [f32; 3]) -> [f32; 3] {
    std::array::from_fn(|axis| {
        if tags[lane] == 0 {
            otherwise[axis]
        } else {
            corner[axis][lane]
        }
    })
}

/// The components by row number of [`PAIRS`].
#[inline(always)]
fn rows([x, y, z]: [f32; 3]) -> Lanes {
    [x, y, z, x, y, z, 0.0, 0.0]
}

/// The components by column number of [`PAIRS`].
#[inline(always)]
fn columns([x, y, z]: [f32; 3]) -> Lanes {
    [x, y, z, y, z, x, 0.0, 0.0]
}

#[inline(always)]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

fn middle([low, high]: [[f32; 3]; 2]) -> [f32; 3] {
    std::array::from_fn(|axis| low[axis] / 2.0 + high[axis] / 2.0)
}

/// How far the furthest corner of a box is.
fn reach(from: [f32; 3], [low, high]: [[f32; 3]; 2]) -> f32 {
    let away: [f32; 3] = std::array::from_fn(|axis| larger(high[axis] - from[axis], from[axis] - low[axis]));
    dot(away, away).sqrt()
}

#[inline(always)]
pub(super) fn total(lanes: Lanes) -> f32 {
    let quad: [f32; 4] = std::array::from_fn(|lane| lanes[lane] + lanes[lane + 4]);
    (quad[0] + quad[2]) + (quad[1] + quad[3])
}
