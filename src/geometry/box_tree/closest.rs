//! Which triangle is nearest to a point?

use super::{BoxTree, Child, Lanes, Leaf, NOBODY, Nearest, Node, WIDTH, bits, lower, set_bits, upper};
use crate::geometry::Corners;
use crate::geometry::closest_point::closest_point;
use crate::geometry::vector::narrow;

/// The nearest so far: distances are compared first, then triangle numbers.
struct Search<'a, F> {
    tree: &'a BoxTree,
    point: [f32; 3],
    mask: u32,
    accept: F,
    distance_sq: f32,
    triangle: u32,
    /// The leaf of the hint: once searched, it need not be again.
    done: Option<usize>,
}

/// Half a leaf: as many as one vector register of the smallest machines holds.
const HALF: usize = WIDTH / 2;

impl BoxTree {
    /// The triangle nearest to `point`, no further than `within` metres, among those whose tag has a bit
    /// of `mask`. Of equally near ones the lowest number.
    ///
    /// `hint` may name a triangle that is probably near: the answer is the same, only sooner.
    pub fn closest(&self, point: [f32; 3], within: f32, mask: u32, hint: Option<u32>) -> Option<Nearest> {
        self.closest_where(point, within, mask, hint, |_| true)
    }

    /// The same among the triangles that `accept` takes.
    pub fn closest_where(
        &self,
        point: [f32; 3],
        within: f32,
        mask: u32,
        hint: Option<u32>,
        accept: impl Fn(u32) -> bool,
    ) -> Option<Nearest> {
        let finite = point.iter().all(|value| value.is_finite());
        if !finite || within.is_nan() || within < 0.0 {
            return None;
        }
        let distance_sq = within * within;
        let done = hint
            .and_then(|triangle| self.places.get(triangle as usize))
            .map(|&place| place as usize / WIDTH);
        let mut search = Search {
            tree: self,
            point,
            mask,
            accept,
            distance_sq,
            triangle: NOBODY,
            done,
        };
        if let Some(leaf) = done {
            search.leaf(&self.leaves[leaf]);
        }
        search.node(&self.nodes[0]);
        let (triangle, distance_sq) = (search.triangle, search.distance_sq);
        (triangle != NOBODY).then(|| self.nearest(point, triangle, distance_sq))
    }

    fn nearest(&self, point: [f32; 3], triangle: u32, distance_sq: f32) -> Nearest {
        let found = closest_point(point, self.corners(triangle));
        Nearest {
            triangle,
            barycentric: narrow(found.barycentric),
            point: narrow(found.point),
            distance_sq,
            feature: found.feature,
        }
    }
}

impl<F: Fn(u32) -> bool> Search<'_, F> {
    fn node(&mut self, node: &Node) {
        let distances = box_distances(node, self.point);
        let mask = self.mask;
        let near = bits(|lane| (distances[lane] <= self.distance_sq) & (node.tags[lane] & mask != 0));
        // Nearest first: what it finds makes the others unnecessary.
        let mut order = [(0.0f32, 0u32); WIDTH];
        let mut count = 0;
        for lane in set_bits(near) {
            let mut slot = count;
            while slot > 0 && order[slot - 1].0 > distances[lane] {
                order[slot] = order[slot - 1];
                slot -= 1;
            }
            order[slot] = (distances[lane], node.child[lane]);
            count += 1;
        }
        let tree = self.tree;
        for &(distance_sq, child) in &order[..count] {
            if distance_sq > self.distance_sq {
                return;
            }
            match Child::of(child) {
                Child::Node(number) => self.node(&tree.nodes[number as usize]),
                Child::Leaf(number) if self.done == Some(number as usize) => {}
                Child::Leaf(number) => self.leaf(&tree.leaves[number as usize]),
            }
        }
    }

    fn leaf(&mut self, leaf: &Leaf) {
        let boxes = triangle_box_distances(leaf, self.point);
        let mask = self.mask;
        let near = bits(|lane| (boxes[lane] <= self.distance_sq) & (leaf.tags[lane] & mask != 0));
        self.half::<0>(leaf, near & 0b1111, &boxes);
        self.half::<HALF>(leaf, near >> HALF, &boxes);
    }

    #[inline(always)]
    fn half<const FIRST: usize>(&mut self, leaf: &Leaf, near: u32, boxes: &Lanes) {
        if near == 0 {
            return;
        }
        let distances = triangle_distances::<FIRST>(leaf, self.point);
        for lane in set_bits(near) {
            // Not below the distance to the triangle's box, see `box_distances`.
            self.offer(
                upper(boxes[FIRST + lane], distances[lane]),
                leaf.triangle[FIRST + lane],
            );
        }
    }

    #[inline(always)]
    fn offer(&mut self, distance_sq: f32, triangle: u32) {
        let better =
            distance_sq < self.distance_sq || (distance_sq == self.distance_sq && triangle < self.triangle);
        if better && (self.accept)(triangle) {
            self.distance_sq = distance_sq;
            self.triangle = triangle;
        }
    }
}

#[inline(always)]
#[expect(
    clippy::needless_range_loop,
    reason = "a loop over lanes is what compiles to vector code"
)]
fn triangle_box_distances(leaf: &Leaf, point: [f32; 3]) -> Lanes {
    let mut distances = [0.0; WIDTH];
    for lane in 0..WIDTH {
        distances[lane] = to_box(leaf.seen(lane, point));
    }
    distances
}

#[inline(always)]
#[expect(
    clippy::needless_range_loop,
    reason = "a loop over lanes is what compiles to vector code"
)]
fn triangle_distances<const FIRST: usize>(leaf: &Leaf, point: [f32; 3]) -> [f32; HALF] {
    let mut distances = [0.0; HALF];
    for lane in 0..HALF {
        distances[lane] = to_triangle(leaf.seen(FIRST + lane, point));
    }
    distances
}

/// Squared distance to each child's box. Never above that to anything inside it, not even by rounding:
/// every step here is monotone and the same as in [`to_box`].
#[inline(always)]
#[expect(
    clippy::needless_range_loop,
    reason = "a loop over lanes is what compiles to vector code"
)]
fn box_distances(node: &Node, point: [f32; 3]) -> Lanes {
    let mut distances = [0.0; WIDTH];
    for lane in 0..WIDTH {
        let away: [f32; 3] = std::array::from_fn(|axis| {
            let below = node.min[axis][lane] - point[axis];
            let above = point[axis] - node.max[axis][lane];
            upper(upper(below, above), 0.0)
        });
        distances[lane] = squared(away);
    }
    distances
}

/// Squared distance from the origin to the box round a triangle.
#[inline(always)]
pub(super) fn to_box([a, b, c]: Corners) -> f32 {
    squared(std::array::from_fn(|axis| {
        let low = lower(lower(a[axis], b[axis]), c[axis]);
        let high = upper(upper(a[axis], b[axis]), c[axis]);
        upper(upper(low, -high), 0.0)
    }))
}

/// Squared distance from the origin to a triangle: the least of those to its edges and, where the foot of
/// the perpendicular lies inside, to that foot. Each is a distance to a true point of the triangle, so
/// a needle whose plane is lost in rounding can only come out as its edges. No branches: eight at once.
#[inline(always)]
pub(super) fn to_triangle([a, b, c]: Corners) -> f32 {
    let (ab, ac, bc) = (minus(b, a), minus(c, a), minus(c, b));
    let (d00, d01, d11) = (dot(ab, ab), dot(ab, ac), dot(ac, ac));
    let (d20, d21) = (-dot(a, ab), -dot(a, ac));
    let share = 1.0 / (d00 * d11 - d01 * d01);
    let v = (d11 * d20 - d01 * d21) * share;
    let w = (d00 * d21 - d01 * d20) * share;
    let inside = (v >= 0.0) & (w >= 0.0) & (v + w <= 1.0);
    let foot = squared(std::array::from_fn(|k| a[k] + v * ab[k] + w * ac[k]));
    let face = if inside { foot } else { f32::INFINITY };
    let edges = lower(
        to_edge(a, ab, d20, d00),
        lower(to_edge(a, ac, d21, d11), to_edge(b, bc, -dot(b, bc), dot(bc, bc))),
    );
    lower(face, edges)
}

/// Squared distance from the origin to the edge from `start` along `along`.
#[inline(always)]
fn to_edge(start: [f32; 3], along: [f32; 3], forward: f32, length_sq: f32) -> f32 {
    let share = forward / upper(length_sq, f32::MIN_POSITIVE);
    let share = upper(lower(share, 1.0), 0.0);
    squared(std::array::from_fn(|k| start[k] + share * along[k]))
}

#[inline(always)]
fn minus(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

#[inline(always)]
fn dot(a: [f32; 3], b: [f32; 3]) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

#[inline(always)]
fn squared(a: [f32; 3]) -> f32 {
    dot(a, a)
}
