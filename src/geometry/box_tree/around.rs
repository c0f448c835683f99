//! Which triangles lie near a box?

use super::{Bounds, BoxTree, Child, Lanes, Leaf, Node, WIDTH, bits, set_bits, upper};
use crate::geometry::Corners;

impl BoxTree {
    /// Calls `visit` for every triangle whose tag has a bit of `mask` and whose own box is no further than `within`
    /// metres from the box between `low` and `high`, until it returns false; returns whether it never did.
    ///
    /// A triangle nearer than `within` to any point of the box is among them, not even rounding can lose it: every
    /// step is monotone and the same as in [`BoxTree::closest`].
    pub fn all_around(
        &self,
        [low, high]: [[f32; 3]; 2],
        within: f32,
        mask: u32,
        mut visit: impl FnMut(u32, Corners) -> bool,
    ) -> bool {
        let around = Bounds { min: low, max: high };
        let around = Around {
            tree: self,
            around,
            within_sq: within * within,
            mask,
        };
        around.node(&self.nodes[0], &mut visit)
    }
}

struct Around<'a> {
    tree: &'a BoxTree,
    around: Bounds,
    within_sq: f32,
    mask: u32,
}

impl Around<'_> {
    fn node(&self, node: &Node, visit: &mut impl FnMut(u32, Corners) -> bool) -> bool {
        let near = self.near(&node.min, &node.max, &node.tags);
        set_bits(near).all(|lane| match Child::of(node.child[lane]) {
            Child::Node(number) => self.node(&self.tree.nodes[number as usize], visit),
            Child::Leaf(number) => self.leaf(&self.tree.leaves[number as usize], visit),
        })
    }

    fn leaf(&self, leaf: &Leaf, visit: &mut impl FnMut(u32, Corners) -> bool) -> bool {
        let (min, max) = leaf.boxes();
        let near = self.near(&min, &max, &leaf.tags);
        set_bits(near).all(|lane| visit(leaf.triangle[lane], leaf.corners(lane)))
    }

    #[inline(always)]
    fn near(&self, min: &[Lanes; 3], max: &[Lanes; 3], tags: &[u32; WIDTH]) -> u32 {
        let mut distances_sq = [0.0; WIDTH];
        for lane in 0..WIDTH {
            let away: [f32; 3] = std::array::from_fn(|axis| {
                let below = min[axis][lane] - self.around.max[axis];
                let above = self.around.min[axis] - max[axis][lane];
                upper(upper(below, above), 0.0)
            });
            distances_sq[lane] = away[0] * away[0] + away[1] * away[1] + away[2] * away[2];
        }
        bits(|lane| (distances_sq[lane] <= self.within_sq) & (tags[lane] & self.mask != 0))
    }
}
