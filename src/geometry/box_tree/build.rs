//! Which triangles share a box?

use std::ops::Range;

use super::{ALL, Bounds, BoxTree, LEAF, Leaf, NOBODY, Node, WIDTH};

/// Cuts tried along each axis; more gain less than they cost.
const BINS: usize = 16;

struct Item {
    bounds: Bounds,
    /// Twice the middle of the box.
    middle: [f32; 3],
    triangle: u32,
}

struct Builder<'a> {
    items: Vec<Item>,
    tags: &'a [u32],
    nodes: Vec<Node>,
    leaves: Vec<Leaf>,
}

#[derive(Clone)]
struct Piece {
    range: Range<usize>,
    bounds: Bounds,
}

impl BoxTree {
    /// A tree over all triangles, each with all tag bits set.
    pub fn build(positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> Self {
        Self::build_tagged(positions, triangles, &vec![ALL; triangles.len()])
    }

    /// A tree over all triangles. A search finds those whose tag has a bit in common with its mask; a
    /// triangle with tag 0 is never found. Tags outlive every refit.
    ///
    /// # Panics
    /// If a triangle names a vertex that is not there, or there are fewer tags than triangles.
    pub fn build_tagged(positions: &[[f32; 3]], triangles: &[[u32; 3]], tags: &[u32]) -> Self {
        let items = (0u32..)
            .zip(triangles)
            .map(|(number, &corners)| item(positions, number, corners))
            .collect();
        let mut builder = Builder {
            items,
            tags,
            nodes: Vec::new(),
            leaves: Vec::new(),
        };
        builder.node(Piece {
            range: 0..triangles.len(),
            bounds: Bounds::EMPTY,
        });
        let mut places = vec![0; triangles.len()];
        for (number, leaf) in builder.leaves.iter().enumerate() {
            for (lane, &triangle) in leaf.triangle.iter().enumerate() {
                if triangle != NOBODY {
                    places[triangle as usize] = index(number * WIDTH + lane);
                }
            }
        }
        let mut tree = Self {
            nodes: builder.nodes,
            leaves: builder.leaves,
            triangles: triangles.to_vec(),
            places,
        };
        tree.refit(positions);
        tree
    }
}

fn item(positions: &[[f32; 3]], triangle: u32, corners: [u32; 3]) -> Item {
    let mut bounds = Bounds::EMPTY;
    for vertex in corners {
        let position = positions[vertex as usize];
        bounds.grow(Bounds {
            min: position,
            max: position,
        });
    }
    let middle = std::array::from_fn(|axis| {
        let twice = bounds.min[axis] + bounds.max[axis];
        if twice.is_finite() { twice } else { 0.0 }
    });
    Item {
        bounds,
        middle,
        triangle,
    }
}

impl Builder<'_> {
    /// Adds a node over a piece and everything below it; returns its number.
    fn node(&mut self, piece: Piece) -> u32 {
        let number = self.nodes.len();
        self.nodes.push(Node::EMPTY);
        let pieces = if piece.range.is_empty() {
            Vec::new()
        } else {
            self.cut_in_eight(piece)
        };
        for (lane, piece) in pieces.into_iter().enumerate() {
            let tags = self.items[piece.range.clone()]
                .iter()
                .fold(0, |tags, item| tags | self.tags[item.triangle as usize]);
            let child = if piece.range.len() <= WIDTH {
                self.leaf(piece.range)
            } else {
                self.node(piece)
            };
            self.nodes[number].child[lane] = child;
            self.nodes[number].tags[lane] = tags;
        }
        index(number)
    }

    fn leaf(&mut self, range: Range<usize>) -> u32 {
        let empty = [[0.0; WIDTH]; 3];
        let mut leaf = Leaf {
            a: empty,
            b: empty,
            c: empty,
            triangle: [NOBODY; WIDTH],
            tags: [0; WIDTH],
        };
        if range.len() > WIDTH / 2 {
            // Searches look at half a leaf at a time.
            self.cut(range.clone(), WIDTH / 2);
        }
        for (lane, item) in self.items[range].iter().enumerate() {
            leaf.triangle[lane] = item.triangle;
            leaf.tags[lane] = self.tags[item.triangle as usize];
        }
        self.leaves.push(leaf);
        index(self.leaves.len() - 1) | LEAF
    }

    /// Cuts the piece with the largest surface until none is larger than a child's whole tree: 8, 64, 512 ...
    /// triangles. Cuts fall on whole multiples of that, so that there are never more than eight pieces, lanes
    /// are rarely empty and the depth is the least possible.
    fn cut_in_eight(&mut self, piece: Piece) -> Vec<Piece> {
        let mut unit = WIDTH;
        while unit * WIDTH < piece.range.len() {
            unit *= WIDTH;
        }
        let mut pieces = vec![piece];
        loop {
            let largest = (0..pieces.len())
                .filter(|&k| pieces[k].range.len() > unit)
                .max_by(|&k, &l| half_surface(pieces[k].bounds).total_cmp(&half_surface(pieces[l].bounds)));
            let Some(largest) = largest else { return pieces };
            let [left, right] = self.cut(pieces[largest].range.clone(), unit);
            pieces[largest] = left;
            pieces.insert(largest + 1, right);
        }
    }

    /// Cuts where the surface area heuristic is lowest (MacDonald and Booth 1990), moved to whole units.
    fn cut(&mut self, range: Range<usize>, unit: usize) -> [Piece; 2] {
        let items = &mut self.items[range.clone()];
        let (axis, wanted) = best_cut(items);
        let most = (items.len() - 1) / unit * unit;
        let left = ((wanted + unit / 2) / unit * unit).clamp(unit, most);
        items.select_nth_unstable_by(left, |p, q| {
            p.middle[axis]
                .total_cmp(&q.middle[axis])
                .then(p.triangle.cmp(&q.triangle))
        });
        let middle = range.start + left;
        [self.piece(range.start..middle), self.piece(middle..range.end)]
    }

    fn piece(&self, range: Range<usize>) -> Piece {
        let mut bounds = Bounds::EMPTY;
        for item in &self.items[range.clone()] {
            bounds.grow(item.bounds);
        }
        Piece { range, bounds }
    }
}

#[derive(Clone, Copy)]
struct Bin {
    bounds: Bounds,
    count: usize,
}

impl Bin {
    const EMPTY: Self = Self {
        bounds: Bounds::EMPTY,
        count: 0,
    };

    fn grow(&mut self, other: Self) {
        self.bounds.grow(other.bounds);
        self.count += other.count;
    }

    fn cost(&self) -> f32 {
        half_surface(self.bounds) * self.count as f32
    }
}

/// The axis along which the items spread most, and the number of items to its lower side.
fn best_cut(items: &[Item]) -> (usize, usize) {
    let mut middles = Bounds::EMPTY;
    for item in items {
        middles.grow(Bounds {
            min: item.middle,
            max: item.middle,
        });
    }
    let width: [f32; 3] = std::array::from_fn(|axis| middles.max[axis] - middles.min[axis]);
    let mut axis = usize::from(width[1] > width[0]);
    if width[2] > width[axis] {
        axis = 2;
    }
    let scale = BINS as f32 / width[axis];
    if !scale.is_finite() {
        return (axis, items.len() / 2);
    }
    let mut bins = [Bin::EMPTY; BINS];
    for item in items {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "0..=16, cut to 0..=15"
        )]
        let slot = ((item.middle[axis] - middles.min[axis]) * scale) as usize;
        bins[slot.min(BINS - 1)].grow(Bin {
            bounds: item.bounds,
            count: 1,
        });
    }
    let mut above = bins;
    for slot in (0..BINS - 1).rev() {
        let next = above[slot + 1];
        above[slot].grow(next);
    }
    let (mut least, mut count) = (f32::INFINITY, items.len() / 2);
    let mut below = Bin::EMPTY;
    for slot in 0..BINS - 1 {
        below.grow(bins[slot]);
        let cost = below.cost() + above[slot + 1].cost();
        if below.count > 0 && above[slot + 1].count > 0 && cost < least {
            (least, count) = (cost, below.count);
        }
    }
    (axis, count)
}

fn half_surface(bounds: Bounds) -> f32 {
    let [x, y, z]: [f32; 3] = std::array::from_fn(|axis| bounds.max[axis] - bounds.min[axis]);
    x * y + y * z + z * x
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "triangle numbers are u32 and leaves are fewer"
)]
fn index(value: usize) -> u32 {
    value as u32
}
