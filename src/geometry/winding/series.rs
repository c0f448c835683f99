//! Under which solid angle is a far part seen, by its moments?

use super::Lanes;
use super::moments::{Moments, PAIRS};
use crate::geometry::box_tree::WIDTH;

/// What eight parts look like from far away: with `r` from the point to the centre, the solid angle is
/// `(first . r + second(r, r) / r^2 + third(r, r, r) / r^4) / r^3`.
#[derive(Clone, Debug)]
pub(super) struct Series {
    centre: [Lanes; 3],
    pub(super) radius_sq: Lanes,
    first: [Lanes; 3],
    /// xx yy zz xy yz zx
    second: [Lanes; 6],
    /// xxx yyy zzz xxy xxz yyx yyz zzx zzy xyz
    third: [Lanes; 10],
}

impl Series {
    pub(super) const EMPTY: Self = Self {
        centre: [[0.0; WIDTH]; 3],
        // What is not there is never far, so that its series is not asked.
        radius_sq: [f32::INFINITY; WIDTH],
        first: [[0.0; WIDTH]; 3],
        second: [[0.0; WIDTH]; 6],
        third: [[0.0; WIDTH]; 10],
    };

    /// The Taylor terms of `r / |r|^3` contracted with the moments; traces folded in with `r^2`.
    pub(super) fn set(&mut self, lane: usize, m: &Moments) {
        self.radius_sq[lane] = m.radius * m.radius;
        for axis in 0..3 {
            self.centre[axis][lane] = m.centre[axis];
            self.first[axis][lane] = m.normal[axis];
        }
        let trace = m.first[0][0] + m.first[1][1] + m.first[2][2];
        for (slot, (i, j)) in PAIRS.into_iter().enumerate() {
            self.second[slot][lane] = if i == j {
                trace - 3.0 * m.first[i][i]
            } else {
                -3.0 * (m.first[i][j] + m.first[j][i])
            };
        }
        for (slot, value) in third(&m.second).into_iter().enumerate() {
            self.third[slot][lane] = value;
        }
    }

    /// Per lane the solid angle by the series and the squared distance of the centre.
    #[inline(always)]
    pub(super) fn solid_angles(&self, point: [f32; 3]) -> (Lanes, Lanes) {
        let (mut angles, mut distances_sq) = ([0.0; WIDTH], [0.0; WIDTH]);
        for lane in 0..WIDTH {
            let x = self.centre[0][lane] - point[0];
            let y = self.centre[1][lane] - point[1];
            let z = self.centre[2][lane] - point[2];
            let (xx, yy, zz) = (x * x, y * y, z * z);
            let r2 = xx + yy + zz;
            let (f, s, t) = (&self.first, &self.second, &self.third);
            let first = f[0][lane] * x + f[1][lane] * y + f[2][lane] * z;
            let second = s[0][lane] * xx
                + s[1][lane] * yy
                + s[2][lane] * zz
                + s[3][lane] * (x * y)
                + s[4][lane] * (y * z)
                + s[5][lane] * (z * x);
            let third = x * (t[0][lane] * xx + t[5][lane] * yy + t[7][lane] * zz)
                + y * (t[1][lane] * yy + t[3][lane] * xx + t[8][lane] * zz)
                + z * (t[2][lane] * zz + t[4][lane] * xx + t[6][lane] * yy)
                + t[9][lane] * (x * y * z);
            let inverse = 1.0 / r2;
            angles[lane] = (first + (second + third * inverse) * inverse) * (inverse * inverse.sqrt());
            distances_sq[lane] = r2;
        }
        (angles, distances_sq)
    }
}

/// Coefficients of `15/2 n_i y_j y_k r_i r_j r_k - 3/2 (2 n_i y_i y_k + n_k y_j y_j) r_k r^2`, in the
/// order of [`Series::third`].
fn third(m: &[Lanes; 3]) -> [f32; 10] {
    let at = |n: usize, i: usize, j: usize| {
        // Off the diagonal the sum of the two tells which: xy 1, yz 3, zx 2.
        let slot = if i == j { i } else { [3, 5, 4][i + j - 1] };
        m[n][slot]
    };
    let trace: [f32; 3] =
        std::array::from_fn(|k| (0..3).map(|i| 2.0 * at(i, i, k) + at(k, i, i)).sum::<f32>() * 1.5);
    let cube = |k: usize| 7.5 * at(k, k, k) - trace[k];
    // r_i r_i r_k, i != k
    let mixed = |i: usize, k: usize| 7.5 * (at(k, i, i) + 2.0 * at(i, i, k)) - trace[k];
    let all = 15.0 * (at(0, 1, 2) + at(1, 0, 2) + at(2, 0, 1));
    [
        cube(0),
        cube(1),
        cube(2),
        mixed(0, 1),
        mixed(0, 2),
        mixed(1, 0),
        mixed(1, 2),
        mixed(2, 0),
        mixed(2, 1),
        all,
    ]
}
