//! What is inside the tree, for whoever keeps numbers beside it?

use super::{BoxTree, Child, Lanes, NO_CHILD, NOBODY, WIDTH};
use crate::geometry::Corners;

/// A child of a node.
#[derive(Clone, Copy, Debug)]
pub(in crate::geometry) enum Inside {
    /// Another node; its number is higher.
    Node(usize),
    /// A leaf.
    Leaf(usize),
}

impl BoxTree {
    pub(in crate::geometry) fn node_count(&self) -> usize {
        self.nodes.len()
    }

    /// A child of a node and the low and high corner of its box.
    #[inline(always)]
    pub(in crate::geometry) fn child(&self, node: usize, lane: usize) -> Option<(Inside, [[f32; 3]; 2])> {
        let node = &self.nodes[node];
        let bounds = node.bounds(lane);
        let inside = match (node.child[lane], Child::of(node.child[lane])) {
            (NO_CHILD, _) => return None,
            (_, Child::Node(number)) => Inside::Node(number as usize),
            (_, Child::Leaf(number)) => Inside::Leaf(number as usize),
        };
        Some((inside, [bounds.min, bounds.max]))
    }

    /// The triangles of a leaf and their posed corners.
    pub(in crate::geometry) fn leaf_triangles(&self, leaf: usize) -> impl Iterator<Item = (u32, Corners)> {
        let leaf = &self.leaves[leaf];
        let present = (0..WIDTH).filter(|&lane| leaf.triangle[lane] != NOBODY);
        present.map(|lane| (leaf.triangle[lane], leaf.corners(lane)))
    }

    /// Sine and cosine, up to a common factor, of half the solid angle of each triangle of a leaf (van
    /// Oosterom and Strackee 1983); 0 and 0 where there is none.
    #[inline(always)]
    pub(in crate::geometry) fn leaf_half_angles(&self, leaf: usize, point: [f32; 3]) -> [Lanes; 2] {
        let leaf = &self.leaves[leaf];
        let (mut sines, mut cosines) = ([0.0; WIDTH], [0.0; WIDTH]);
        for lane in 0..WIDTH {
            let from = |corner: &[Lanes; 3]| -> [f32; 3] {
                [
                    corner[0][lane] - point[0],
                    corner[1][lane] - point[1],
                    corner[2][lane] - point[2],
                ]
            };
            let (a, b, c) = (from(&leaf.a), from(&leaf.b), from(&leaf.c));
            let dot = |p: [f32; 3], q: [f32; 3]| p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
            let (la, lb, lc) = (dot(a, a).sqrt(), dot(b, b).sqrt(), dot(c, c).sqrt());
            let volume = a[0] * (b[1] * c[2] - b[2] * c[1])
                + a[1] * (b[2] * c[0] - b[0] * c[2])
                + a[2] * (b[0] * c[1] - b[1] * c[0]);
            let rest = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb;
            let present = leaf.triangle[lane] != NOBODY;
            sines[lane] = if present { volume } else { 0.0 };
            cosines[lane] = if present { rest } else { 0.0 };
        }
        [sines, cosines]
    }
}
