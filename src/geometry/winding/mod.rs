//! How often does a surface go round a point?
//!
//! The generalized winding number (Jacobson, Kavan and Sorkine-Hornung 2013): about 1 inside a surface
//! that faces outward, 0 outside, 2 inside two overlapping limbs, a fraction where the surface is open.
//! Far parts are replaced by their moments (Barill et al. 2018, "Fast winding numbers for soups and clouds").

use std::f32::consts::{FRAC_PI_2, PI};
use std::f64::consts::TAU;

mod moments;
mod series;

use self::moments::{Moments, total};
use self::series::Series;
use super::box_tree::{BoxTree, Inside, WIDTH};
use super::corners;
use super::triangle::solid_angle;
use super::vector::{cross, dot};

/// A part is far at this many times its radius.
///
/// Largest error seen near a bumpy limb of 32,768 triangles: 0.021 at 1.3, 0.005 at 1.7, 0.002 at 2, 0.001 at 2.3;
/// near a seated body that overlaps itself 0.004 at 2. From 1.3 to 2 the time doubles.
pub const FAR: f32 = 2.0;

/// The winding number of `point`: the sum over all triangles, exact but slow.
pub fn exact(point: [f32; 3], positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> f64 {
    triangles
        .iter()
        .map(|&triangle| solid_angle(point, corners(positions, triangle)))
        .sum::<f64>()
        / (2.0 * TAU)
}

/// Moments of every part of a [`BoxTree`], in one pose. Triangles with tag 0 are left out.
#[derive(Clone, Debug)]
pub struct Winding {
    far_sq: f32,
    nodes: Vec<Series>,
    /// Working memory of `refit`, kept so that it needs none: moments of the children of every node.
    moments: Vec<[Moments; WIDTH]>,
}

type Lanes = [f32; WIDTH];

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
                    Inside::Node(child) => Moments::joined(&self.moments[child], bounds),
                    Inside::Leaf(leaf) => Moments::of_leaf(tree.leaf_corners(leaf), bounds),
                };
                self.nodes[node].set(lane, &moments);
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
        self.solid_angle(tree, 0, point) / (2.0 * TAU)
    }

    /// Of everything below a node.
    fn solid_angle(&self, tree: &BoxTree, node: usize, point: [f32; 3]) -> f64 {
        let series = &self.nodes[node];
        let (angles, distances_sq) = series.solid_angles(point);
        let mut sum = 0.0;
        for lane in 0..WIDTH {
            if distances_sq[lane] > self.far_sq * series.radius_sq[lane] {
                sum += f64::from(angles[lane]);
                continue;
            }
            sum += match tree.child(node, lane) {
                Some((Inside::Node(child), _)) => self.solid_angle(tree, child, point),
                Some((Inside::Leaf(leaf), _)) => leaf_solid_angle(tree.leaf_corners(leaf), point),
                None => 0.0,
            };
        }
        sum
    }
}

/// Sum over the tagged triangles of a leaf, after van Oosterom and Strackee (1983); see [`solid_angle`].
#[inline(always)]
fn leaf_solid_angle(([a, b, c], tags): ([&[Lanes; 3]; 3], &[u32; WIDTH]), point: [f32; 3]) -> f64 {
    let mut halves = [0.0; WIDTH];
    for lane in 0..WIDTH {
        let from = |corner: &[Lanes; 3]| -> [f32; 3] {
            [
                corner[0][lane] - point[0],
                corner[1][lane] - point[1],
                corner[2][lane] - point[2],
            ]
        };
        let (a, b, c) = (from(a), from(b), from(c));
        let (la, lb, lc) = (dot(a, a).sqrt(), dot(b, b).sqrt(), dot(c, c).sqrt());
        let volume = dot(a, cross(b, c));
        let half = arc_tangent(
            volume,
            la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb,
        );
        halves[lane] = if tags[lane] == 0 { 0.0 } else { half };
    }
    2.0 * f64::from(total(halves))
}

/// The angle whose sine and cosine are in this proportion, within 1e-7; 0 for 0 and 0. Abramowitz and Stegun
/// 4.4.49 and symmetry, without branches: the library's cannot be had for eight at once.
#[inline(always)]
fn arc_tangent(sine: f32, cosine: f32) -> f32 {
    let (y, x) = (sine.abs(), cosine.abs());
    let (small, large) = if y < x { (y, x) } else { (x, y) };
    let ratio = small
        / if large > f32::MIN_POSITIVE {
            large
        } else {
            f32::MIN_POSITIVE
        };
    let z = ratio * ratio;
    let series = 1.0
        + z * (-0.333_331_45
            + z * (0.199_935_51
                + z * (-0.142_089
                    + z * (0.106_562_64
                        + z * (-0.075_289_64
                            + z * (0.042_909_61 + z * (-0.016_165_737 + z * 0.002_866_225_7)))))));
    let eighth = ratio * series;
    let quarter = if y < x { eighth } else { FRAC_PI_2 - eighth };
    let quarter = if y == 0.0 && x == 0.0 { 0.0 } else { quarter };
    let half = if cosine < 0.0 { PI - quarter } else { quarter };
    half.copysign(sine)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::shapes::{self, Random};
    use crate::geometry::vector::{add, scale};
    use crate::geometry::{triangle, vector};

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
    fn arc_tangent_agrees_with_the_library() {
        for step in 0..=20_000 {
            let angle = (f64::from(step) / 10_000.0 - 1.0) * std::f64::consts::PI;
            let (sine, cosine) = ((angle.sin() * 3e-7) as f32, (angle.cos() * 3e-7) as f32);
            let expected = f64::from(sine).atan2(f64::from(cosine));
            assert!(
                (f64::from(arc_tangent(sine, cosine)) - expected).abs() < 5e-7,
                "{sine} {cosine}"
            );
        }
        assert_eq!(arc_tangent(0.0, 0.0), 0.0);
        assert_eq!(arc_tangent(0.0, 1.0), 0.0);
        assert_eq!(arc_tangent(1.0, 0.0), FRAC_PI_2);
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
                points.push(vector::narrow(at));
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

    /// Triangles without a tag are left out, wherever they reach and even if they are nowhere.
    #[test]
    fn what_no_mask_finds_is_not_counted() {
        let (mut positions, triangles) = shapes::limb(4);
        let tags: Vec<u32> = (0..triangles.len()).map(|t| u32::from(t % 40 != 0)).collect();
        let kept: Vec<[u32; 3]> = (0..triangles.len())
            .filter(|&t| tags[t] != 0)
            .map(|t| triangles[t])
            .collect();
        let mut with_spikes = triangles.clone();
        for (triangle, tag) in with_spikes.iter_mut().zip(&tags) {
            if *tag == 0 {
                triangle[0] = positions.len() as u32 + triangle[0] % 2;
            }
        }
        positions.extend([[2.0, 3.0, 1.0], [f32::NAN; 3]]);
        let tree = BoxTree::build_tagged(&positions, &with_spikes, &tags);
        let winding = Winding::build(&tree);
        let mut random = Random::new(6);
        for round in 0..400 {
            let point = random
                .point()
                .map(|x| if round % 2 == 0 { 0.2 * x } else { 3.0 * x });
            let (found, expected) = (winding.at(&tree, point), exact(point, &positions, &kept));
            assert!(
                (found - expected).abs() < 1e-2,
                "{point:?}: {found}, exactly {expected}"
            );
        }
        let none = BoxTree::build_tagged(&positions, &with_spikes, &vec![0; tags.len()]);
        assert_eq!(Winding::build(&none).at(&none, [0.0; 3]), 0.0);
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
