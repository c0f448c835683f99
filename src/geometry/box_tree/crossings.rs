//! Which triangles of two meshes, or of one mesh with itself, cross?

use super::{Bounds, BoxTree, Child, Lanes, Leaf, Node, WIDTH, bits, set_bits};
use crate::geometry::Corners;
use crate::geometry::crossing::crossing;
use crate::geometry::vector::{cross, dot, narrow, sub};

/// Two triangles that cross.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Triangle of the first mesh; within one mesh the lower number.
    pub first: u32,
    /// Triangle of the second mesh; within one mesh the higher number.
    pub second: u32,
    /// The segment they have in common, metres; both ends alike where they only touch.
    pub ends: [[f32; 3]; 2],
}

/// All pairs of triangles of two trees that cross, sorted. What counts: [`crate::geometry::crossing`].
pub fn crossings(first: &BoxTree, second: &BoxTree, found: &mut Vec<Crossing>) {
    crossings_where(first, second, |_, _| true, found);
}

/// The same among the pairs that `accept` takes; it is asked before the triangles are tested.
pub fn crossings_where(
    first: &BoxTree,
    second: &BoxTree,
    accept: impl Fn(u32, u32) -> bool,
    found: &mut Vec<Crossing>,
) {
    found.clear();
    if first.is_empty() || second.is_empty() {
        return;
    }
    let mut walk = Walk {
        first,
        second,
        accept,
        found,
        two_meshes: true,
    };
    walk.nodes(&first.nodes[0], &second.nodes[0]);
    sort(found);
}

/// All pairs of triangles of one tree that cross, sorted, but for those that share a vertex. `canonical`
/// names for every vertex the one that stands for it.
pub fn self_crossings(tree: &BoxTree, canonical: &[u32], found: &mut Vec<Crossing>) {
    let welded: Vec<[u32; 3]> = tree
        .triangles
        .iter()
        .map(|corners| corners.map(|vertex| canonical[vertex as usize]))
        .collect();
    let apart = |a: u32, b: u32| {
        let (a, b) = (welded[a as usize], welded[b as usize]);
        !a.iter().any(|vertex| b.contains(vertex))
    };
    self_pairs_where(tree, apart, found);
}

/// All pairs of triangles of one tree that cross among those that `accept` takes, sorted. It is asked before the
/// triangles are tested, in either order, and is to refuse triangles that share a vertex.
pub fn self_pairs_where(tree: &BoxTree, accept: impl Fn(u32, u32) -> bool, found: &mut Vec<Crossing>) {
    found.clear();
    if tree.is_empty() {
        return;
    }
    let mut walk = Walk {
        first: tree,
        second: tree,
        accept,
        found,
        two_meshes: false,
    };
    walk.node_itself(&tree.nodes[0]);
    for pair in found.iter_mut() {
        (pair.first, pair.second) = (pair.first.min(pair.second), pair.first.max(pair.second));
    }
    sort(found);
}

fn sort(found: &mut [Crossing]) {
    found.sort_unstable_by_key(|pair| (pair.first, pair.second));
}

/// A walk through two trees at once.
struct Walk<'a, F> {
    first: &'a BoxTree,
    second: &'a BoxTree,
    accept: F,
    found: &'a mut Vec<Crossing>,
    /// Leaves of one mesh mostly hang together and cannot be parted; there it is not worth trying.
    two_meshes: bool,
}

impl<F: Fn(u32, u32) -> bool> Walk<'_, F> {
    fn nodes(&mut self, a: &Node, b: &Node) {
        for lane in set_bits(bits(|lane| a.child[lane] != super::NO_CHILD)) {
            let bounds = a.bounds(lane);
            for other in set_bits(overlapping(bounds, &b.min, &b.max)) {
                self.children(
                    Child::of(a.child[lane]),
                    bounds,
                    Child::of(b.child[other]),
                    b.bounds(other),
                );
            }
        }
    }

    fn children(&mut self, a: Child, around_a: Bounds, b: Child, around_b: Bounds) {
        let (first, second) = (self.first, self.second);
        match (a, b) {
            (Child::Node(a), Child::Node(b)) => {
                self.nodes(&first.nodes[a as usize], &second.nodes[b as usize]);
            }
            (Child::Leaf(a), Child::Leaf(b)) => {
                self.leaves(&first.leaves[a as usize], around_b, &second.leaves[b as usize]);
            }
            (Child::Node(node), Child::Leaf(_)) => {
                let node = &first.nodes[node as usize];
                for lane in set_bits(overlapping(around_b, &node.min, &node.max)) {
                    self.children(Child::of(node.child[lane]), node.bounds(lane), b, around_b);
                }
            }
            (Child::Leaf(_), Child::Node(node)) => {
                let node = &second.nodes[node as usize];
                for lane in set_bits(overlapping(around_a, &node.min, &node.max)) {
                    self.children(a, around_a, Child::of(node.child[lane]), node.bounds(lane));
                }
            }
        }
    }

    fn leaves(&mut self, a: &Leaf, around_b: Bounds, b: &Leaf) {
        let ((a_min, a_max), (b_min, b_max)) = (a.boxes(), b.boxes());
        let present = a.present() & overlapping(around_b, &a_min, &a_max);
        if present == 0 || (self.two_meshes && (parted(a, b) || parted(b, a))) {
            return;
        }
        let all = b.present();
        for lane in set_bits(present) {
            let bounds = Bounds {
                min: a_min.map(|row| row[lane]),
                max: a_max.map(|row| row[lane]),
            };
            let near = all & overlapping(bounds, &b_min, &b_max);
            self.lane(a, lane, b, near);
        }
    }

    /// One triangle against some of a leaf.
    fn lane(&mut self, a: &Leaf, lane: usize, b: &Leaf, near: u32) {
        let first = a.triangle[lane];
        let wanted = set_bits(near).filter(|&other| (self.accept)(first, b.triangle[other]));
        let wanted = wanted.fold(0, |wanted, other| wanted | 1 << other);
        if wanted == 0 {
            return;
        }
        for other in set_bits(wanted & !beside(a.corners(lane), b)) {
            if let Some(ends) = crossing(a.corners(lane), b.corners(other)) {
                let second = b.triangle[other];
                self.found.push(Crossing {
                    first,
                    second,
                    ends: ends.map(narrow),
                });
            }
        }
    }

    /// All pairs below one node.
    fn node_itself(&mut self, node: &Node) {
        let tree = self.first;
        for lane in set_bits(bits(|lane| node.child[lane] != super::NO_CHILD)) {
            let (child, bounds) = (Child::of(node.child[lane]), node.bounds(lane));
            match child {
                Child::Node(number) => self.node_itself(&tree.nodes[number as usize]),
                Child::Leaf(number) => self.leaf_itself(&tree.leaves[number as usize]),
            }
            let later = overlapping(bounds, &node.min, &node.max) & (u32::MAX << lane << 1);
            for other in set_bits(later) {
                self.children(child, bounds, Child::of(node.child[other]), node.bounds(other));
            }
        }
    }

    fn leaf_itself(&mut self, leaf: &Leaf) {
        let (min, max) = leaf.boxes();
        for lane in set_bits(leaf.present()) {
            let bounds = Bounds {
                min: min.map(|row| row[lane]),
                max: max.map(|row| row[lane]),
            };
            let later = leaf.present() & overlapping(bounds, &min, &max) & (u32::MAX << lane << 1);
            self.lane(leaf, lane, leaf, later);
        }
    }
}

impl Leaf {
    /// The lanes that hold a triangle.
    fn present(&self) -> u32 {
        bits(|lane| self.triangle[lane] != super::NOBODY)
    }
}

/// A distance along a normal counts only above this share of the numbers it was made from: ten times what `f32`
/// can lose on the way.
const ROUNDING: f32 = 1e-5;

/// Whether a plane across the mean normal of one leaf parts the two. Close sheets that do not touch are told apart
/// by this at once.
#[expect(
    clippy::needless_range_loop,
    reason = "a loop over lanes is what compiles to vector code"
)]
fn parted(leaf: &Leaf, other: &Leaf) -> bool {
    let origin: [f32; 3] = std::array::from_fn(|axis| leaf.a[axis][0]);
    let mut normals = [[0.0; WIDTH]; 3];
    for lane in 0..WIDTH {
        let [a, b, c] = leaf.seen(lane, origin);
        let n = cross(sub(b, a), sub(c, a));
        (normals[0][lane], normals[1][lane], normals[2][lane]) = (n[0], n[1], n[2]);
    }
    let normal = normals.map(|row| row.iter().sum());
    let (mine, others) = (reach(leaf, origin, normal), reach(other, origin, normal));
    let margin = ROUNDING * super::upper(mine.size, others.size);
    mine.high + margin < others.low || others.high + margin < mine.low
}

/// How far a leaf reaches along a direction, and the size of the numbers that were added up.
struct Reach {
    low: f32,
    high: f32,
    size: f32,
}

#[inline(always)]
fn reach(leaf: &Leaf, origin: [f32; 3], along: [f32; 3]) -> Reach {
    let (mut low, mut high, mut size) = ([0.0; WIDTH], [0.0; WIDTH], [0.0; WIDTH]);
    let thick = along.map(f32::abs);
    for lane in 0..WIDTH {
        let corners = leaf.seen(lane, origin);
        let [p, q, r] = corners.map(|corner| dot(corner, along));
        low[lane] = super::lower(super::lower(p, q), r);
        high[lane] = super::upper(super::upper(p, q), r);
        let [p, q, r] = corners.map(|corner| dot(corner.map(f32::abs), thick));
        size[lane] = super::upper(super::upper(p, q), r);
    }
    Reach {
        low: super::least(low),
        high: super::most(high),
        size: super::most(size),
    }
}

/// The lanes whose triangle lies surely on one side of the plane of the given one.
#[inline(always)]
#[expect(
    clippy::needless_range_loop,
    reason = "a loop over lanes is what compiles to vector code"
)]
fn beside(corners: Corners, leaf: &Leaf) -> u32 {
    let [origin, b, c] = corners;
    let (ab, ac) = (sub(b, origin), sub(c, origin));
    let normal = cross(ab, ac);
    // Cancellation within the normal is bounded by the longest products that went into it.
    let thick = cross_size(ab, ac);
    let mut clear = [0.0; WIDTH];
    for lane in 0..WIDTH {
        let corners = leaf.seen(lane, origin);
        let [p, q, r] = corners.map(|corner| dot(corner, normal));
        let [s, t, u] = corners.map(|corner| dot(corner.map(f32::abs), thick));
        let low = super::lower(super::lower(p, q), r);
        let high = super::upper(super::upper(p, q), r);
        let margin = ROUNDING * super::upper(super::upper(s, t), u);
        clear[lane] = super::upper(low, -high) - margin;
    }
    bits(|lane| clear[lane] > 0.0)
}

/// The sums of the sizes of the products in a vector product.
fn cross_size(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    let (a, b) = (a.map(f32::abs), b.map(f32::abs));
    [
        a[1] * b[2] + a[2] * b[1],
        a[2] * b[0] + a[0] * b[2],
        a[0] * b[1] + a[1] * b[0],
    ]
}

/// The lanes whose box has a point in common with `bounds`. An empty box has none.
#[inline(always)]
fn overlapping(bounds: Bounds, min: &[Lanes; 3], max: &[Lanes; 3]) -> u32 {
    let mut apart = [f32::NEG_INFINITY; WIDTH];
    for axis in 0..3 {
        for lane in 0..WIDTH {
            let gap = super::upper(
                min[axis][lane] - bounds.max[axis],
                bounds.min[axis] - max[axis][lane],
            );
            apart[lane] = super::upper(gap, apart[lane]);
        }
    }
    bits(|lane| apart[lane] <= 0.0)
}
