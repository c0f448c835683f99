//! Which triangles does a ray meet?

use std::cell::Cell;

use super::{BoxTree, Child, Lanes, Leaf, NOBODY, Node, WIDTH, bits, lower, set_bits, upper};

/// A ray prepared for many boxes and triangles: Woop, Benthin and Wald (2013), J Comput Graph Tech 2(1):65.
///
/// The sides of a triangle are decided by numbers that two triangles at a shared edge compute alike, so
/// no ray slips between them; one that meets the edge itself meets both.
#[derive(Clone, Copy, Debug)]
pub struct Ray {
    origin: [f32; 3],
    inverse: [f32; 3],
    negative: [bool; 3],
    axes: [usize; 3],
    shear: [f32; 3],
    max_t: f32,
    /// Boxes are taken this much larger, metres: what rounding may move a triangle sideways.
    margin: f32,
}

/// Where a ray meets a triangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// The triangle.
    pub triangle: u32,
    /// How far along, in lengths of the direction.
    pub t: f32,
    /// Whether the ray meets the side to which the normal points.
    pub front: bool,
}

impl Ray {
    /// From `origin` along `direction` (any length but 0) as far as `max_t` times its length.
    pub fn new(origin: [f32; 3], direction: [f32; 3], max_t: f32) -> Self {
        let size = direction.map(f32::abs);
        let long = if size[0] > size[1] && size[0] > size[2] {
            0
        } else if size[1] > size[2] {
            1
        } else {
            2
        };
        let (mut second, mut third) = ((long + 1) % 3, (long + 2) % 3);
        if direction[long] < 0.0 {
            std::mem::swap(&mut second, &mut third);
        }
        Self {
            origin,
            inverse: direction.map(|value| 1.0 / value),
            negative: direction.map(f32::is_sign_negative),
            axes: [second, third, long],
            shear: [
                direction[second] / direction[long],
                direction[third] / direction[long],
                1.0 / direction[long],
            ],
            max_t,
            margin: 0.0,
        }
    }

    fn is_sound(&self) -> bool {
        let numbers = [self.origin, self.shear];
        numbers.as_flattened().iter().all(|value| value.is_finite()) && self.max_t >= 0.0
    }

    /// Per child how far along the ray enters its box; infinite where it does not.
    #[inline(always)]
    fn entries(&self, node: &Node) -> Lanes {
        let mut enter = [0.0; WIDTH];
        let mut leave = [self.max_t; WIDTH];
        for axis in 0..3 {
            let (near, far, sign) = if self.negative[axis] {
                (&node.max[axis], &node.min[axis], -1.0)
            } else {
                (&node.min[axis], &node.max[axis], 1.0)
            };
            let (before, after) = (
                self.origin[axis] + sign * self.margin,
                self.origin[axis] - sign * self.margin,
            );
            for lane in 0..WIDTH {
                // NaN (zero times infinity: within the slab) leaves the other one standing.
                enter[lane] = upper((near[lane] - before) * self.inverse[axis], enter[lane]);
                leave[lane] = lower((far[lane] - after) * self.inverse[axis], leave[lane]);
            }
        }
        // Ize (2013), J Comput Graph Tech 2(2):12: room for the rounding of both.
        std::array::from_fn(|lane| {
            if enter[lane] <= leave[lane] * 1.000_001 {
                enter[lane] * 0.999_999
            } else {
                f32::INFINITY
            }
        })
    }

    /// Per triangle how far along it is met (NaN: not at all), and whether in front.
    #[inline(always)]
    fn meets(&self, leaf: &Leaf) -> (Lanes, [bool; WIDTH]) {
        let [x, y, z] = self.axes;
        let mut along = [f32::NAN; WIDTH];
        let mut front = [false; WIDTH];
        for lane in 0..WIDTH {
            let sheared = |corner: &[Lanes; 3]| {
                let depth = corner[z][lane] - self.origin[z];
                let right = corner[x][lane] - self.origin[x] - self.shear[0] * depth;
                let up = corner[y][lane] - self.origin[y] - self.shear[1] * depth;
                (right, up, self.shear[2] * depth)
            };
            let (a, b, c) = (sheared(&leaf.a), sheared(&leaf.b), sheared(&leaf.c));
            let u = c.0 * b.1 - c.1 * b.0;
            let v = a.0 * c.1 - a.1 * c.0;
            let w = b.0 * a.1 - b.1 * a.0;
            let sum = u + v + w;
            let least = lower(lower(u, v), w);
            let most = upper(upper(u, v), w);
            let met = ((least >= 0.0) | (most <= 0.0)) & (sum != 0.0);
            let t = (u * a.2 + v * b.2 + w * c.2) / sum;
            along[lane] = if met & (t >= 0.0) & (t <= self.max_t) {
                t
            } else {
                f32::NAN
            };
            front[lane] = sum > 0.0;
        }
        (along, front)
    }
}

impl BoxTree {
    /// The first triangle the ray meets, from either side, among those whose tag has a bit of `mask`; of
    /// several at the same place the lowest number.
    pub fn ray(&self, origin: [f32; 3], direction: [f32; 3], max_t: f32, mask: u32) -> Option<Hit> {
        let mut best: Option<Hit> = None;
        self.walk(Ray::new(origin, direction, max_t), mask, &mut |ray, hit| {
            let better = best
                .is_none_or(|known| hit.t < known.t || (hit.t == known.t && hit.triangle < known.triangle));
            if better {
                best = Some(hit);
                ray.max_t = hit.t;
            }
            true
        });
        best
    }

    /// Whether the ray meets any triangle, from either side, but for `skip`.
    pub fn ray_any(
        &self,
        origin: [f32; 3],
        direction: [f32; 3],
        max_t: f32,
        mask: u32,
        skip: Option<u32>,
    ) -> bool {
        let mut found = false;
        self.walk(Ray::new(origin, direction, max_t), mask, &mut |_, hit| {
            found |= Some(hit.triangle) != skip;
            !found
        });
        found
    }

    /// The same, where rays from near places are asked in turn: `last` is the leaf that stopped the ray before, and is
    /// asked first. The answer does not depend on it.
    pub fn ray_any_again(
        &self,
        origin: [f32; 3],
        direction: [f32; 3],
        max_t: f32,
        mask: u32,
        last: &Cell<u32>,
    ) -> bool {
        let mut ray = Ray::new(origin, direction, max_t);
        let again = self.leaves.get(last.get() as usize).filter(|_| ray.is_sound());
        if let Some(leaf) = again
            && !walk_leaf(leaf, &mut ray, mask, &mut |_, _| false)
        {
            return true;
        }
        let mut found = NOBODY;
        self.walk(ray, mask, &mut |_, hit| {
            found = hit.triangle;
            false
        });
        if found != NOBODY {
            last.set(self.places[found as usize] / WIDTH as u32);
        }
        found != NOBODY
    }

    /// All triangles the ray meets, sorted along it, then by number. `hits` is emptied first.
    pub fn ray_all(&self, origin: [f32; 3], direction: [f32; 3], max_t: f32, mask: u32, hits: &mut Vec<Hit>) {
        hits.clear();
        self.walk(Ray::new(origin, direction, max_t), mask, &mut |_, hit| {
            hits.push(hit);
            true
        });
        hits.sort_unstable_by(|p, q| p.t.total_cmp(&q.t).then(p.triangle.cmp(&q.triangle)));
    }

    /// Calls `visit` with every hit until it returns false; it may shorten the ray.
    fn walk(&self, mut ray: Ray, mask: u32, visit: &mut impl FnMut(&mut Ray, Hit) -> bool) {
        if !ray.is_sound() {
            return;
        }
        let around = self.nodes[0].all_bounds();
        let size = (0..3).fold(0.0, |size, axis| {
            upper(
                around.max[axis].abs(),
                upper(around.min[axis].abs(), upper(ray.origin[axis].abs(), size)),
            )
        });
        ray.margin = 4.0 * f32::EPSILON * size;
        self.walk_node(&self.nodes[0], &mut ray, mask, visit);
    }

    fn walk_node(
        &self,
        node: &Node,
        ray: &mut Ray,
        mask: u32,
        visit: &mut impl FnMut(&mut Ray, Hit) -> bool,
    ) -> bool {
        let entries = ray.entries(node);
        let met = bits(|lane| (entries[lane] < f32::INFINITY) & (node.tags[lane] & mask != 0));
        let mut order = [(0.0f32, 0u32); WIDTH];
        let mut count = 0;
        for lane in set_bits(met) {
            let mut slot = count;
            while slot > 0 && order[slot - 1].0 > entries[lane] {
                order[slot] = order[slot - 1];
                slot -= 1;
            }
            order[slot] = (entries[lane], node.child[lane]);
            count += 1;
        }
        for &(entry, child) in &order[..count] {
            if entry > ray.max_t {
                break;
            }
            let go_on = match Child::of(child) {
                Child::Node(number) => self.walk_node(&self.nodes[number as usize], ray, mask, visit),
                Child::Leaf(number) => walk_leaf(&self.leaves[number as usize], ray, mask, visit),
            };
            if !go_on {
                return false;
            }
        }
        true
    }
}

fn walk_leaf(leaf: &Leaf, ray: &mut Ray, mask: u32, visit: &mut impl FnMut(&mut Ray, Hit) -> bool) -> bool {
    let (along, front) = ray.meets(leaf);
    let met = bits(|lane| !along[lane].is_nan() & (leaf.tags[lane] & mask != 0));
    for lane in set_bits(met) {
        let hit = Hit {
            triangle: leaf.triangle[lane],
            t: along[lane],
            front: front[lane],
        };
        if !visit(ray, hit) {
            return false;
        }
    }
    true
}
