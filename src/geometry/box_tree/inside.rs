//! What is inside the tree, for whoever keeps numbers beside it?

use super::{BoxTree, Child, Lanes, NO_CHILD, WIDTH};

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

    /// The posed corners of the eight triangles of a leaf, and their tags. Where there are fewer the last one's
    /// first corner stands three times, a triangle without area and without a tag.
    #[inline(always)]
    pub(in crate::geometry) fn leaf_corners(&self, leaf: usize) -> ([&[Lanes; 3]; 3], &[u32; WIDTH]) {
        let leaf = &self.leaves[leaf];
        ([&leaf.a, &leaf.b, &leaf.c], &leaf.tags)
    }
}
