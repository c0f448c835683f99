//! Which triangles are near a point, on a ray, in each other's way?
//!
//! A tree of boxes, eight children to a node, eight triangles to a leaf. The shape of the tree is made
//! once from one pose; for another pose only the boxes are renewed ([`BoxTree::refit`]). Eight boxes or
//! eight triangles are always treated at once, in plain loops over `[f32; 8]` that compile to vector code.

mod around;
mod build;
mod closest;
mod cluster;
mod crossings;
mod inside;
mod ray;

use super::Corners;
use super::closest_point::Feature;

pub(super) use inside::Inside;

pub use cluster::{Cluster, MOST_POINTS};
pub use crossings::{Crossing, crossings, crossings_where, self_crossings, self_pairs_where};
pub use ray::{Hit, Ray};

/// Children of a node, triangles of a leaf.
pub(super) const WIDTH: usize = 8;

/// Marks a child as the number of a leaf.
const LEAF: u32 = 1 << 31;

/// The mask that finds every triangle whose tag is not 0.
pub const ALL: u32 = u32::MAX;

/// Marks a child that is not there: the root is nobody's child.
const NO_CHILD: u32 = 0;

/// Marks a triangle that is not there.
const NOBODY: u32 = u32::MAX;

type Lanes = [f32; WIDTH];

/// Boxes over the triangles of one mesh in one pose.
#[derive(Clone, Debug)]
pub struct BoxTree {
    /// Parents before their children; node 0 is the root.
    nodes: Vec<Node>,
    leaves: Vec<Leaf>,
    triangles: Vec<[u32; 3]>,
    /// For each triangle its place: leaf number times eight plus lane.
    places: Vec<u32>,
}

/// Up to eight children with their boxes. A lane that is not used has tag 0 and an empty box.
#[derive(Clone, Debug)]
#[repr(align(64))]
struct Node {
    min: [Lanes; 3],
    max: [Lanes; 3],
    child: [u32; WIDTH],
    tags: [u32; WIDTH],
}

/// Up to eight triangles. A lane that is not used has tag 0 and a corner of another triangle three times.
#[derive(Clone, Debug)]
#[repr(align(64))]
struct Leaf {
    a: [Lanes; 3],
    b: [Lanes; 3],
    c: [Lanes; 3],
    triangle: [u32; WIDTH],
    tags: [u32; WIDTH],
}

/// What the search for the nearest triangle found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nearest {
    /// The triangle; of several equally near ones the lowest number.
    pub triangle: u32,
    /// Weights of its corners, each 0..=1, adding up to 1.
    pub barycentric: [f32; 3],
    /// The nearest point, metres.
    pub point: [f32; 3],
    /// Squared distance, square metres.
    pub distance_sq: f32,
    /// What the nearest point lies on.
    pub feature: Feature,
}

/// A child of a node.
#[derive(Clone, Copy)]
enum Child {
    Node(u32),
    Leaf(u32),
}

impl Child {
    #[inline(always)]
    fn of(code: u32) -> Self {
        if code & LEAF == 0 {
            Self::Node(code)
        } else {
            Self::Leaf(code & !LEAF)
        }
    }
}

/// A box.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bounds {
    min: [f32; 3],
    max: [f32; 3],
}

impl Bounds {
    const EMPTY: Self = Self {
        min: [f32::INFINITY; 3],
        max: [f32::NEG_INFINITY; 3],
    };

    fn grow(&mut self, other: Self) {
        for axis in 0..3 {
            self.min[axis] = lower(other.min[axis], self.min[axis]);
            self.max[axis] = upper(other.max[axis], self.max[axis]);
        }
    }
}

/// The lower number; the second where the first is NaN. One machine instruction, unlike `f32::min`.
#[inline(always)]
fn lower(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// The higher number; the second where the first is NaN.
#[inline(always)]
fn upper(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Bit `k` is whether `test(k)` holds.
#[inline(always)]
fn bits(test: impl Fn(usize) -> bool) -> u32 {
    let mut found = 0;
    for lane in 0..WIDTH {
        found |= u32::from(test(lane)) << lane;
    }
    found
}

/// The numbers of the bits that are set, ascending.
#[inline(always)]
fn set_bits(mut bits: u32) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        if bits == 0 {
            return None;
        }
        let lane = bits.trailing_zeros() as usize;
        bits &= bits - 1;
        Some(lane)
    })
}

impl Node {
    const EMPTY: Self = Self {
        min: [[f32::INFINITY; WIDTH]; 3],
        max: [[f32::NEG_INFINITY; WIDTH]; 3],
        child: [NO_CHILD; WIDTH],
        tags: [0; WIDTH],
    };

    fn bounds(&self, lane: usize) -> Bounds {
        Bounds {
            min: self.min.map(|row| row[lane]),
            max: self.max.map(|row| row[lane]),
        }
    }

    fn set_bounds(&mut self, lane: usize, bounds: Bounds) {
        for axis in 0..3 {
            self.min[axis][lane] = bounds.min[axis];
            self.max[axis][lane] = bounds.max[axis];
        }
    }

    /// The box round all children.
    fn all_bounds(&self) -> Bounds {
        Bounds {
            min: self.min.map(least),
            max: self.max.map(most),
        }
    }
}

impl Leaf {
    fn corners(&self, lane: usize) -> Corners {
        [&self.a, &self.b, &self.c].map(|corner| corner.map(|row| row[lane]))
    }

    /// The corners of a triangle as seen from a point. To be used in a loop over lanes.
    #[inline(always)]
    fn seen(&self, lane: usize, point: [f32; 3]) -> Corners {
        let from = |corner: &[Lanes; 3]| -> [f32; 3] {
            [
                corner[0][lane] - point[0],
                corner[1][lane] - point[1],
                corner[2][lane] - point[2],
            ]
        };
        [from(&self.a), from(&self.b), from(&self.c)]
    }

    /// Per lane the box round the triangle.
    #[inline(always)]
    fn boxes(&self) -> ([Lanes; 3], [Lanes; 3]) {
        let (mut min, mut max) = ([[0.0; WIDTH]; 3], [[0.0; WIDTH]; 3]);
        for axis in 0..3 {
            for lane in 0..WIDTH {
                let (a, b, c) = (self.a[axis][lane], self.b[axis][lane], self.c[axis][lane]);
                min[axis][lane] = lower(lower(a, b), c);
                max[axis][lane] = upper(upper(a, b), c);
            }
        }
        (min, max)
    }

    fn all_bounds(&self) -> Bounds {
        let (min, max) = self.boxes();
        Bounds {
            min: min.map(least),
            max: max.map(most),
        }
    }

    fn place(&mut self, positions: &[[f32; 3]], triangles: &[[u32; 3]]) {
        let mut last = 0;
        for lane in 0..WIDTH {
            if self.triangle[lane] != NOBODY {
                last = self.triangle[lane];
            }
            let mut corners = triangles[last as usize];
            if self.triangle[lane] == NOBODY {
                corners = [corners[0]; 3];
            }
            let [a, b, c] = corners.map(|vertex| positions[vertex as usize]);
            for axis in 0..3 {
                self.a[axis][lane] = a[axis];
                self.b[axis][lane] = b[axis];
                self.c[axis][lane] = c[axis];
            }
        }
    }
}

#[inline(always)]
fn least(lanes: Lanes) -> f32 {
    let quad: [f32; 4] = std::array::from_fn(|k| lower(lanes[k], lanes[k + 4]));
    lower(lower(quad[0], quad[2]), lower(quad[1], quad[3]))
}

#[inline(always)]
fn most(lanes: Lanes) -> f32 {
    let quad: [f32; 4] = std::array::from_fn(|k| upper(lanes[k], lanes[k + 4]));
    upper(upper(quad[0], quad[2]), upper(quad[1], quad[3]))
}

impl BoxTree {
    /// Puts the tree into another pose: new boxes, same shape, no new memory.
    ///
    /// # Panics
    /// If there are fewer positions than when the tree was built.
    pub fn refit(&mut self, positions: &[[f32; 3]]) {
        for leaf in &mut self.leaves {
            leaf.place(positions, &self.triangles);
        }
        for number in (0..self.nodes.len()).rev() {
            for lane in 0..WIDTH {
                let node = &self.nodes[number];
                if node.child[lane] == NO_CHILD {
                    continue;
                }
                let bounds = match Child::of(node.child[lane]) {
                    Child::Node(child) => self.nodes[child as usize].all_bounds(),
                    Child::Leaf(leaf) => self.leaves[leaf as usize].all_bounds(),
                };
                self.nodes[number].set_bounds(lane, bounds);
            }
        }
    }

    /// How many triangles there are.
    pub fn len(&self) -> usize {
        self.triangles.len()
    }

    /// Whether there is no triangle.
    pub fn is_empty(&self) -> bool {
        self.triangles.is_empty()
    }

    /// The triangles as given.
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.triangles
    }

    /// Where a triangle is in the tree: triangles with near places lie near each other.
    pub fn place(&self, triangle: u32) -> u32 {
        self.places[triangle as usize]
    }

    /// Whether two places are in one leaf.
    pub fn in_one_leaf(place: u32, other: u32) -> bool {
        place as usize / WIDTH == other as usize / WIDTH
    }

    /// Posed corners of a triangle, metres.
    pub fn corners(&self, triangle: u32) -> Corners {
        let place = self.places[triangle as usize] as usize;
        self.leaves[place / WIDTH].corners(place % WIDTH)
    }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod speed;
