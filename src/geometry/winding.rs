//! How often does a surface go round a point?
//!
//! The generalized winding number (Jacobson, Kavan and Sorkine-Hornung 2013): about 1 inside a surface
//! that faces outward, 0 outside, 2 inside two overlapping limbs, a fraction where the surface is open.
//! Far parts are replaced by their moments (Barill et al. 2018, "Fast winding numbers for soups and clouds").

use std::f64::consts::TAU;

use super::box_tree::{BoxTree, Inside, WIDTH};
use super::triangle::solid_angle;
use super::vector::{add, scale, sub, wide};
use super::{corners, triangle};

/// A part is far at this many times its radius. At 2 the error stays below 1e-3 on closed limbs.
pub const FAR: f32 = 2.0;

/// The winding number of `point`: the sum over all triangles, exact but slow.
pub fn exact(point: [f32; 3], positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> f64 {
    triangles
        .iter()
        .map(|&triangle| solid_angle(point, corners(positions, triangle)))
        .sum::<f64>()
        / (2.0 * TAU)
}

/// Moments of every part of a [`BoxTree`], in one pose.
#[derive(Clone, Debug)]
pub struct Winding {
    far_sq: f32,
    nodes: Vec<Series>,
    /// Working memory of `refit`, kept so that it needs none: moments of the children of every node.
    moments: Vec<[Moments; WIDTH]>,
}

type Lanes = [f32; WIDTH];

/// What eight parts look like from far away: with `r` from the point to the centre, the solid angle is
/// `(first . r + second(r, r) / r^2 + third(r, r, r) / r^4) / r^3`.
#[derive(Clone, Debug)]
struct Series {
    centre: [Lanes; 3],
    radius_sq: Lanes,
    first: [Lanes; 3],
    /// xx yy zz xy yz zx
    second: [Lanes; 6],
    /// xxx yyy zzz xxy xxz yyx yyz zzx zzy xyz
    third: [Lanes; 10],
}

/// Moments of the area vectors `n dA` of a part about its centre, with `y` from the centre.
#[derive(Clone, Copy, Debug)]
struct Moments {
    centre: [f64; 3],
    area: f64,
    /// Sum of `n`.
    normal: [f64; 3],
    /// Sum of `n y`, row `n`.
    first: [[f64; 3]; 3],
    /// Sum of `n y y`: per component of `n` the symmetric matrix xx yy zz xy yz zx.
    second: [[f64; 6]; 3],
}

/// Rows and columns of a symmetric matrix in the order in which it is stored.
const PAIRS: [(usize, usize); 6] = [(0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (2, 0)];

impl Winding {
    /// The moments of the tree's parts with the usual accuracy, [`FAR`].
    pub fn build(tree: &BoxTree) -> Self {
        Self::with_accuracy(tree, FAR)
    }

    /// The same with another bound from which a part is far, in times its radius: larger is more exact
    /// and slower. Below 1 the series need not converge.
    pub fn with_accuracy(tree: &BoxTree, far: f32) -> Self {
        let count = tree.node_count();
        let mut winding = Self {
            far_sq: far * far,
            nodes: vec![Series::EMPTY; count],
            moments: vec![[Moments::EMPTY; WIDTH]; count],
        };
        winding.refit(tree);
        winding
    }

    /// The same for another pose of the same tree, to which that has been refitted.
    pub fn refit(&mut self, tree: &BoxTree) {
        for node in (0..tree.node_count()).rev() {
            for lane in 0..WIDTH {
                let Some((inside, bounds)) = tree.child(node, lane) else {
                    continue;
                };
                let moments = match inside {
                    Inside::Node(child) => Moments::joined(&self.moments[child]),
                    Inside::Leaf(leaf) => {
                        let mut parts = [Moments::EMPTY; WIDTH];
                        for (part, (_, corners)) in parts.iter_mut().zip(tree.leaf_triangles(leaf)) {
                            *part = Moments::of(corners);
                        }
                        Moments::joined(&parts)
                    }
                };
                self.nodes[node].set(lane, &moments, bounds);
                self.moments[node][lane] = moments;
            }
        }
    }

    /// The winding number of `point` with respect to the pose of the last `refit`; `tree` is the same tree.
    /// On the surface itself the value lies between those of its two sides; NaN if the point is not finite.
    pub fn at(&self, tree: &BoxTree, point: [f32; 3]) -> f64 {
        if !point.iter().all(|value| value.is_finite()) {
            return f64::NAN;
        }
        let mut sum = Sum {
            solid_angle: 0.0,
            near: Angle::ZERO,
        };
        self.add_node(tree, 0, point, &mut sum);
        (sum.solid_angle + 2.0 * sum.near.radians()) / (2.0 * TAU)
    }

    fn add_node(&self, tree: &BoxTree, node: usize, point: [f32; 3], sum: &mut Sum) {
        let (angles, distances_sq) = self.nodes[node].solid_angles(point);
        let series = &self.nodes[node];
        for lane in 0..WIDTH {
            if distances_sq[lane] > self.far_sq * series.radius_sq[lane] {
                sum.solid_angle += f64::from(angles[lane]);
                continue;
            }
            match tree.child(node, lane) {
                Some((Inside::Node(child), _)) => self.add_node(tree, child, point, sum),
                Some((Inside::Leaf(leaf), _)) => {
                    let [volumes, rests] = tree.leaf_half_angles(leaf, point);
                    for lane in 0..WIDTH {
                        sum.near.add(f64::from(volumes[lane]), f64::from(rests[lane]));
                    }
                }
                None => {}
            }
        }
    }
}

struct Sum {
    solid_angle: f64,
    near: Angle,
}

/// A sum of angles of which sine and cosine are known up to a factor: complex numbers are multiplied and
/// full turns counted, so that one arc tangent does for all.
struct Angle {
    sine: f64,
    cosine: f64,
    turns: f64,
}

impl Angle {
    const ZERO: Self = Self {
        sine: 0.0,
        cosine: 1.0,
        turns: 0.0,
    };

    /// Adds `atan2(sine, cosine)`; nothing if both are 0.
    #[inline(always)]
    fn add(&mut self, sine: f64, cosine: f64) {
        let size = sine.abs() + cosine.abs();
        if size == 0.0 || !size.is_finite() {
            return;
        }
        let (sine, cosine) = (sine / size, cosine / size);
        let joined = Self {
            sine: self.sine * cosine + self.cosine * sine,
            cosine: self.cosine * cosine - self.sine * sine,
            turns: self.turns,
        };
        // Two angles to the same side whose sum appears on the other side passed half a turn.
        let turns = match (self.sine >= 0.0, sine >= 0.0, joined.sine >= 0.0) {
            (true, true, false) => 1.0,
            (false, false, true) => -1.0,
            _ => 0.0,
        };
        let size = 1.0 / (joined.sine.abs() + joined.cosine.abs());
        *self = Self {
            sine: joined.sine * size,
            cosine: joined.cosine * size,
            turns: self.turns + turns,
        };
    }

    fn radians(&self) -> f64 {
        self.sine.atan2(self.cosine) + TAU * self.turns
    }
}

impl Moments {
    const EMPTY: Self = Self {
        centre: [0.0; 3],
        area: 0.0,
        normal: [0.0; 3],
        first: [[0.0; 3]; 3],
        second: [[0.0; 6]; 3],
    };

    /// Of one triangle, exactly: the second moment of a triangle about its centre is its area times
    /// the sum of the outer products of its corners over 12.
    fn of(at: super::Corners) -> Self {
        let twice = triangle::area_vector(at);
        let normal = scale(twice, 0.5);
        let area = super::vector::norm(normal);
        let centre = triangle::centre(at);
        let arms = at.map(|corner| sub(wide(corner), centre));
        let spread = PAIRS.map(|(i, j)| arms.iter().map(|arm| arm[i] * arm[j]).sum::<f64>() / 12.0);
        let second = normal.map(|n| spread.map(|value| n * value));
        Self {
            centre,
            area,
            normal,
            first: [[0.0; 3]; 3],
            second,
        }
    }

    fn joined(parts: &[Self; WIDTH]) -> Self {
        let mut sum = Self::EMPTY;
        for part in parts {
            sum.area += part.area;
            sum.centre = add(sum.centre, scale(part.centre, part.area));
            sum.normal = add(sum.normal, part.normal);
        }
        if !(sum.area > 0.0 && sum.area.is_finite()) {
            return Self {
                centre: parts[0].centre,
                ..Self::EMPTY
            };
        }
        sum.centre = scale(sum.centre, 1.0 / sum.area);
        for part in parts {
            let arm = sub(part.centre, sum.centre);
            for n in 0..3 {
                sum.first[n] = add(sum.first[n], add(part.first[n], scale(arm, part.normal[n])));
                for (slot, (i, j)) in PAIRS.into_iter().enumerate() {
                    sum.second[n][slot] += part.second[n][slot]
                        + arm[i] * part.first[n][j]
                        + part.first[n][i] * arm[j]
                        + arm[i] * arm[j] * part.normal[n];
                }
            }
        }
        sum
    }
}

impl Series {
    const EMPTY: Self = Self {
        centre: [[0.0; WIDTH]; 3],
        // What is not there is never far, so that its series is not asked.
        radius_sq: [f32::INFINITY; WIDTH],
        first: [[0.0; WIDTH]; 3],
        second: [[0.0; WIDTH]; 6],
        third: [[0.0; WIDTH]; 10],
    };

    /// The Taylor terms of `r / |r|^3` contracted with the moments; traces folded in with `r^2`.
    #[expect(clippy::cast_possible_truncation, reason = "f32 is enough for what is far")]
    fn set(&mut self, lane: usize, m: &Moments, [low, high]: [[f32; 3]; 2]) {
        let centre = m.centre.map(|value| value as f32);
        let mut radius_sq = 0.0;
        for axis in 0..3 {
            self.centre[axis][lane] = centre[axis];
            self.first[axis][lane] = m.normal[axis] as f32;
            let reach = (high[axis] - centre[axis]).max(centre[axis] - low[axis]);
            radius_sq += reach * reach;
        }
        self.radius_sq[lane] = radius_sq;
        let trace = m.first[0][0] + m.first[1][1] + m.first[2][2];
        for (slot, (i, j)) in PAIRS.into_iter().enumerate() {
            let value = if i == j {
                trace - 3.0 * m.first[i][i]
            } else {
                -3.0 * (m.first[i][j] + m.first[j][i])
            };
            self.second[slot][lane] = value as f32;
        }
        for (slot, value) in third(&m.second).into_iter().enumerate() {
            self.third[slot][lane] = value as f32;
        }
    }

    /// Per lane the solid angle by the series and the squared distance of the centre.
    #[inline(always)]
    fn solid_angles(&self, point: [f32; 3]) -> (Lanes, Lanes) {
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
fn third(m: &[[f64; 6]; 3]) -> [f64; 10] {
    let at = |n: usize, i: usize, j: usize| {
        // Off the diagonal the sum of the two tells which: xy 1, yz 3, zx 2.
        let slot = if i == j { i } else { [3, 5, 4][i + j - 1] };
        m[n][slot]
    };
    let trace: [f64; 3] =
        std::array::from_fn(|k| (0..3).map(|i| 2.0 * at(i, i, k) + at(k, i, i)).sum::<f64>() * 1.5);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::shapes::{self, Random};
    use std::f64::consts::PI;

    fn fast(mesh: &shapes::Mesh, point: [f32; 3]) -> f64 {
        let tree = BoxTree::build(&mesh.0, &mesh.1);
        Winding::build(&tree).at(&tree, point)
    }

    #[test]
    fn a_cube() {
        let cube = shapes::cube();
        let cases = [
            ([0.0; 3], 1.0),
            ([0.4; 3], 1.0),
            ([0.0, 0.0, 0.998], 1.0),
            ([3.0, 0.5, 0.0], 0.0),
        ];
        for (point, expected) in cases {
            assert!((exact(point, &cube.0, &cube.1) - expected).abs() < 1e-6);
            assert!((fast(&cube, point) - expected).abs() < 1e-3);
        }
        let open = (cube.0.clone(), cube.1[..10].to_vec());
        assert!((exact([0.0; 3], &open.0, &open.1) - 5.0 / 6.0).abs() < 1e-12);
        assert!((fast(&open, [0.0; 3]) - 5.0 / 6.0).abs() < 1e-3);
        let turned = (
            cube.0.clone(),
            cube.1.iter().map(|&[a, b, c]| [a, c, b]).collect::<Vec<_>>(),
        );
        assert!((exact([0.4; 3], &turned.0, &turned.1) + 1.0).abs() < 1e-6);
        assert!((fast(&turned, [0.4; 3]) + 1.0).abs() < 1e-3);
    }

    #[test]
    fn turns_are_counted() {
        let mut random = Random::new(1);
        let (mut angle, mut sum) = (Angle::ZERO, 0.0);
        for _ in 0..10_000 {
            let (sine, cosine) = (f64::from(random.point()[0]), f64::from(random.point()[1]));
            angle.add(sine * 1e-9, cosine * 1e-9);
            sum += sine.atan2(cosine);
            assert!((angle.radians() - sum).abs() < 1e-8);
        }
        let mut turning = Angle::ZERO;
        (0..100).for_each(|_| turning.add(1.0, 1.0));
        assert!((turning.radians() - 25.0 * PI).abs() < 1e-9);
    }

    /// Closed, open, loose: near the surface, on both sides, far away.
    #[test]
    fn fast_agrees_with_the_sum() {
        let mut random = Random::new(2);
        let open = {
            let (positions, mut triangles) = shapes::limb(4);
            triangles.truncate(1500);
            (positions, triangles)
        };
        for mesh in [
            shapes::limb(4),
            open,
            shapes::soup(3, 500, 0.2),
            shapes::soup(3, 9, 0.4),
        ] {
            let tree = BoxTree::build(&mesh.0, &mesh.1);
            let winding = Winding::build(&tree);
            let mut points: Vec<[f32; 3]> = (0..300).map(|_| random.point()).collect();
            points.extend((0..100).map(|_| random.point().map(|x| 40.0 * x)));
            for k in 0..300 {
                let [a, b, c] = corners(&mesh.0, mesh.1[k * 7 % mesh.1.len()]);
                let normal = triangle::normal([a, b, c]);
                let off = [1e-5, -1e-5, 0.004, -0.004, 0.03, -0.03][k % 6];
                let at = add(triangle::centre([a, b, c]), scale(normal, off));
                points.push(super::super::vector::narrow(at));
            }
            for point in points {
                let (expected, found) = (exact(point, &mesh.0, &mesh.1), winding.at(&tree, point));
                assert!(
                    (expected - found).abs() < 1e-2,
                    "{point:?}: {found}, exactly {expected}"
                );
            }
        }
    }

    /// Without the higher terms the error from a fixed distance falls with the square, with them faster.
    #[test]
    fn a_part_is_far_sooner_with_every_term() {
        let mesh = shapes::soup(8, 60, 0.1);
        let tree = BoxTree::build(&mesh.0, &mesh.1);
        let error = |far: f32, times: f32| {
            let winding = Winding::with_accuracy(&tree, far);
            let mut random = Random::new(4);
            (0..200)
                .map(|_| random.point().map(|x| times * x))
                .map(|p| (winding.at(&tree, p) - exact(p, &mesh.0, &mesh.1)).abs())
                .fold(0.0, f64::max)
        };
        assert!(error(4.0, 1.0) < error(1.2, 1.0));
        assert!(error(6.0, 1.0) < 2e-5);
    }

    #[test]
    fn refit_equals_rebuild() {
        let (positions, triangles) = shapes::limb(3);
        let moved: Vec<[f32; 3]> = positions
            .iter()
            .map(|&[x, y, z]| [z + 0.2 * y, x, 0.5 * y])
            .collect();
        let mut tree = BoxTree::build(&positions, &triangles);
        let mut winding = Winding::build(&tree);
        tree.refit(&moved);
        winding.refit(&tree);
        let again = Winding::build(&tree);
        let mut random = Random::new(5);
        for _ in 0..100 {
            let point = random.point();
            assert_eq!(winding.at(&tree, point), again.at(&tree, point));
            assert!((winding.at(&tree, point) - exact(point, &moved, &triangles)).abs() < 1e-2);
        }
    }

    #[test]
    fn nothing_goes_round_nowhere() {
        let tree = BoxTree::build(&[], &[]);
        assert_eq!(Winding::build(&tree).at(&tree, [0.0; 3]), 0.0);
        let cube = shapes::cube();
        assert!(fast(&cube, [f32::NAN; 3]).is_nan());
        assert!(fast(&cube, cube.0[0]).is_finite());
    }
}
