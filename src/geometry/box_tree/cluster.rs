//! How do points that lie together lie to one triangle?

use super::closest::{to_box, to_triangle};
use super::{WIDTH, lower, upper};
use crate::geometry::Corners;
use crate::geometry::vector::{cross, dot, sub};

/// Points of a [`Cluster`] at most: two rounds of eight lanes.
pub const MOST_POINTS: usize = 2 * WIDTH;

/// A distance along a normal counts only above this share of the numbers it was made from: ten times what `f32`
/// can lose on the way.
const ROUNDING: f32 = 1e-5;

/// Up to sixteen points that lie together, asked all at once.
#[derive(Clone, Copy, Debug)]
pub struct Cluster {
    axes: [[f32; MOST_POINTS]; 3],
}

impl Cluster {
    /// At least one point; of more than [`MOST_POINTS`] only the first are taken.
    pub fn new(points: impl IntoIterator<Item = [f32; 3]>) -> Self {
        let mut axes = [[f32::NAN; MOST_POINTS]; 3];
        let mut count = 0;
        for point in points.into_iter().take(MOST_POINTS) {
            (0..3).for_each(|axis| axes[axis][count] = point[axis]);
            count += 1;
        }
        for row in &mut axes {
            let last = row[count.max(1) - 1];
            row[count..].fill(last);
        }
        Self { axes }
    }

    /// The corners of the box round the points.
    pub fn bounds(&self) -> [[f32; 3]; 2] {
        [
            self.axes.map(|row| row.into_iter().fold(f32::INFINITY, lower)),
            self.axes
                .map(|row| row.into_iter().fold(f32::NEG_INFINITY, upper)),
        ]
    }

    #[inline(always)]
    fn point(&self, lane: usize) -> [f32; 3] {
        [self.axes[0][lane], self.axes[1][lane], self.axes[2][lane]]
    }

    /// Distance of each point from the nearest of some triangles, metres; infinite without triangles, and for a point
    /// or a triangle that is nowhere.
    pub fn distances(&self, triangles: impl Iterator<Item = Corners>) -> [f32; MOST_POINTS] {
        let mut distances_sq = [f32::INFINITY; MOST_POINTS];
        for corners in triangles {
            for (lane, least_sq) in distances_sq.iter_mut().enumerate() {
                let distance_sq = to_triangle(corners.map(|corner| sub(corner, self.point(lane))));
                *least_sq = lower(distance_sq, *least_sq);
            }
        }
        distances_sq.map(f32::sqrt)
    }

    /// The points that lie surely behind the plane of a triangle, by more than `margin` metres, as bits. None for a
    /// triangle without area.
    pub fn behind(&self, corners: Corners, margin: f32) -> u32 {
        let [origin, b, c] = corners;
        let (ab, ac) = (sub(b, origin), sub(c, origin));
        let normal = cross(ab, ac);
        let length = dot(normal, normal).sqrt();
        // Cancellation within the normal is bounded by the longest products that went into it.
        let (p, q) = (ab.map(f32::abs), ac.map(f32::abs));
        let thick = [
            p[1] * q[2] + p[2] * q[1],
            p[2] * q[0] + p[0] * q[2],
            p[0] * q[1] + p[1] * q[0],
        ];
        let most: [f32; MOST_POINTS] = std::array::from_fn(|lane| {
            let away = sub(self.point(lane), origin);
            dot(away, normal) + ROUNDING * dot(away.map(f32::abs), thick)
        });
        lanes(|lane| most[lane] < -margin * length)
    }

    /// The points that are no further than this, each its own distance in metres, from the box round a triangle, as bits.
    pub fn near(&self, corners: Corners, within: &[f32; MOST_POINTS]) -> u32 {
        let distances_sq: [f32; MOST_POINTS] =
            std::array::from_fn(|lane| to_box(corners.map(|corner| sub(corner, self.point(lane)))));
        lanes(|lane| distances_sq[lane] <= within[lane] * within[lane])
    }
}

/// Bit `k` is whether `test(k)` holds.
#[inline(always)]
fn lanes(test: impl Fn(usize) -> bool) -> u32 {
    (0..MOST_POINTS).fold(0, |bits, lane| bits | u32::from(test(lane)) << lane)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::box_tree::{ALL, BoxTree};
    use crate::geometry::closest_point::closest_point;
    use crate::geometry::shapes::{self, Random};
    use crate::geometry::triangle;
    use crate::geometry::vector::{norm, wide};

    fn points(random: &mut Random, count: usize) -> Vec<[f32; 3]> {
        (0..count).map(|_| random.point()).collect()
    }

    #[test]
    fn distances_and_sides_of_many_points() {
        let mut random = Random::new(21);
        let (mut behind, mut before) = (0, 0);
        for round in 0..2000 {
            let corners = [random.point(), random.point(), random.point()];
            let near = random.point().map(|x| 2.0 * x);
            let points: Vec<[f32; 3]> = points(&mut random, 1 + round % MOST_POINTS)
                .into_iter()
                .map(|p| std::array::from_fn(|k| near[k] + 0.1 * p[k]))
                .collect();
            let cluster = Cluster::new(points.iter().copied());
            let distances = cluster.distances(std::iter::once(corners));
            let lanes = cluster.behind(corners, 1e-3);
            let near = cluster.near(corners, &[0.5; MOST_POINTS]);
            let normal = triangle::normal(corners);
            for (lane, &point) in points.iter().enumerate() {
                let distance = norm(sub(closest_point(point, corners).point, wide(point)));
                assert!((f64::from(distances[lane]) - distance).abs() < 1e-5);
                assert!(distance > 0.5 - 1e-6 || near >> lane & 1 == 1);
                let height = dot(normal, sub(wide(point), wide(corners[0])));
                if lanes >> lane & 1 == 1 {
                    assert!(height < -1e-3);
                    behind += 1;
                } else {
                    assert!(height > -2e-2 || norm(triangle::area_vector(corners)) < 0.1);
                    before += 1;
                }
            }
        }
        assert!(behind > 200 && before > 200, "{behind} {before}");
    }

    #[test]
    fn nothing_is_behind_a_needle_or_nowhere() {
        let cluster = Cluster::new([[0.0, 0.0, -1.0]]);
        assert!(0 != cluster.behind([[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], 1e-5));
        assert!(0 == cluster.behind([[0.0; 3], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]], 1e-5));
        assert!(0 == cluster.behind([[f32::NAN; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], 1e-5));
        let nowhere = Cluster::new([[f32::NAN; 3]]);
        assert!(0 == nowhere.behind([[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], 1e-5));
    }

    /// Every triangle that is near enough to any point of a box is found around it.
    #[test]
    fn all_around_misses_nothing() {
        let (positions, triangles) = shapes::limb(4);
        let tags: Vec<u32> = (0..triangles.len()).map(|t| 1 << (t % 3)).collect();
        let tree = BoxTree::build_tagged(&positions, &triangles, &tags);
        let mut random = Random::new(22);
        for _ in 0..200 {
            let near = random.point().map(|x| 0.3 * x);
            let points: Vec<[f32; 3]> = points(&mut random, 7)
                .into_iter()
                .map(|p| std::array::from_fn(|k| near[k] + 0.02 * p[k]))
                .collect();
            let bounds = Cluster::new(points.iter().copied()).bounds();
            let mut found = Vec::new();
            assert!(tree.all_around(bounds, 0.05, 0b101, |triangle, _| {
                found.push(triangle);
                true
            }));
            for (number, corners) in (0u32..).zip(&triangles) {
                let at = crate::geometry::corners(&positions, *corners);
                let near = points
                    .iter()
                    .any(|&point| norm(sub(closest_point(point, at).point, wide(point))) < 0.05 - 1e-6);
                if near && tags[number as usize] & 0b101 != 0 {
                    assert!(found.contains(&number));
                }
            }
            assert!(found.iter().all(|&t| tags[t as usize] & 0b101 != 0));
            assert!(found.is_empty() || !tree.all_around(bounds, 0.05, ALL, |_, _| false));
        }
    }
}
