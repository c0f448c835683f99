//! Where does fabric run through fabric in a frame, how long are the curves, and how much do they enclose?
//!
//! Global intersection analysis after Baraff, Witkin and Kass (2003) "Untangling cloth", ACM TOG 22(3):862: a curve
//! parts the sheet it runs over; the smaller side is what went through.

use super::Layer;
use super::layer::NOBODY;
use crate::geometry::Corners;
use crate::geometry::box_tree::{BoxTree, Crossing, self_pairs_where};
use crate::geometry::crossing::pierces;
use crate::geometry::topology::NONE;
use crate::geometry::vector::{norm, sub, wide};
use crate::rig::part::{Part, PartMask};
use std::collections::{BTreeMap, BTreeSet};

/// Two parts of the body, the lower index first.
pub type Pair = (Part, Part);

/// The crossings of one garment with itself, beyond those as built. Renewed for every frame.
#[derive(Clone, Debug, Default)]
pub struct Tangle {
    found: Vec<Crossing>,
    /// Length of the curves between far parts, metres, by pair.
    pub far: BTreeMap<Pair, f64>,
    /// Length of all other curves, metres: folds, and fabric that lies over no skin.
    pub fold: f64,
    /// Area of fabric as built that curves enclose, square metres.
    pub enclosed: f64,
    /// A triangle in the longest bit of curve, between far parts where there is one.
    pub worst: Option<usize>,
    /// By canonical vertex, of the search for what is enclosed.
    parent: Vec<u32>,
    weight: Vec<f64>,
    /// By edge, and by canonical vertex: whether a curve runs through it.
    cut: Vec<bool>,
    cut_vertex: Vec<bool>,
}

/// The part whose bit a tag is.
pub(super) fn part_of(tag: u32) -> Option<Part> {
    Part::ALL.into_iter().find(|part| part.bit() == tag)
}

/// All parts that are neither a part's own nor its neighbours.
pub(super) fn far_of(part: Part) -> PartMask {
    Part::ALL.iter().fold(0, |mask, other| mask | other.bit()) & !part.near()
}

/// Pairs of a garment's outer triangles that cross as built, sorted.
pub(super) fn as_built(tree: &BoxTree, welded: &[[u32; 3]], tags: &[u32]) -> Vec<(u32, u32)> {
    let mut found = Vec::new();
    self_pairs_where(tree, |a, b| can_cross(welded, tags, a, b), &mut found);
    found.iter().map(|pair| (pair.first, pair.second)).collect()
}

/// Outer sheets that share no vertex: the lining of thick cloth meets its own outside in every bend.
fn can_cross(welded: &[[u32; 3]], tags: &[u32], a: u32, b: u32) -> bool {
    let outer = |triangle: u32| !matches!(tags[triangle as usize], 0 | super::LINING);
    let (first, second) = (welded[a as usize], welded[b as usize]);
    outer(a) && outer(b) && !first.iter().any(|vertex| second.contains(vertex))
}

impl Tangle {
    /// Finds the crossings of a posed garment.
    pub fn renew(&mut self, layer: &Layer, tree: &BoxTree) {
        let welded = layer.topology.triangles();
        let known = |a: u32, b: u32| layer.tangled_as_built.binary_search(&(a, b)).is_ok();
        let wanted = |a: u32, b: u32| can_cross(welded, &layer.tags, a, b) && !known(a.min(b), a.max(b));
        self_pairs_where(tree, wanted, &mut self.found);
        self.far.clear();
        (self.fold, self.enclosed, self.worst) = (0.0, 0.0, None);
        let mut longest = (false, 0.0);
        for pair in &self.found {
            let bit = norm(sub(wide(pair.ends[1]), wide(pair.ends[0])));
            let [a, b] = [pair.first, pair.second].map(|t| part_of(layer.tags[t as usize]));
            let far = a.zip(b).filter(|(a, b)| a.near() & b.bit() == 0);
            match far {
                Some((a, b)) => *self.far.entry((a.min(b), a.max(b))).or_default() += bit,
                None => self.fold += bit,
            }
            if self.worst.is_none() || (far.is_some(), bit) > longest {
                longest = (far.is_some(), bit);
                self.worst = Some(pair.first as usize);
            }
        }
        if !self.found.is_empty() {
            self.enclosed = self.enclose(layer, tree);
        }
    }

    /// Length of all curves between far parts, metres.
    pub fn far_length(&self) -> f64 {
        self.far.values().fold(0.0, |sum, bit| sum + bit)
    }

    /// The crossing pairs, sorted.
    pub fn pairs(&self) -> &[Crossing] {
        &self.found
    }

    /// Area that the curves part from the largest remainder of each piece of the garment.
    fn enclose(&mut self, layer: &Layer, tree: &BoxTree) -> f64 {
        self.cut.clear();
        self.cut.resize(layer.topology.edges().len(), false);
        self.cut_vertex.clear();
        self.cut_vertex.resize(layer.topology.canonical().len(), false);
        for pair in &self.found {
            cut(&mut self.cut, layer, tree, (pair.first, pair.second));
        }
        self.close_at_vertices(layer, tree);
        self.join_what_hangs_together(layer);
        let mut most: BTreeMap<u32, f64> = BTreeMap::new();
        let mut all = 0.0;
        for (vertex, &weight) in (0u32..).zip(&self.weight) {
            if weight > 0.0 && self.parent[vertex as usize] == vertex {
                all += weight;
                let piece = most.entry(layer.pieces[vertex as usize]).or_default();
                *piece = piece.max(weight);
            }
        }
        (all - most.values().sum::<f64>()).max(0.0)
    }

    /// A curve may end in a vertex that both triangles have, as between the legs: such pairs are no crossings of their
    /// own, but without them the curve would not be closed. They are looked for next to the crossings, and on from there.
    fn close_at_vertices(&mut self, layer: &Layer, tree: &BoxTree) {
        let welded = layer.topology.triangles();
        let mut todo: Vec<u32> = self
            .found
            .iter()
            .flat_map(|pair| [pair.first, pair.second])
            .collect();
        todo.sort_unstable();
        todo.dedup();
        let mut seen: BTreeSet<u32> = todo.iter().copied().collect();
        while let Some(triangle) = todo.pop() {
            for vertex in welded[triangle as usize] {
                for &other in layer.topology.vertex_triangles(vertex) {
                    let shared = welded[other as usize]
                        .iter()
                        .filter(|v| welded[triangle as usize].contains(v));
                    if layer.areas[other as usize] > 0.0
                        && shared.count() == 1
                        && cut(&mut self.cut, layer, tree, (triangle, other))
                    {
                        self.cut_vertex[vertex as usize] = true;
                        if seen.insert(other) {
                            todo.push(other);
                        }
                    }
                }
            }
        }
    }

    /// Leaves in `parent` one root for every set of vertices that uncut edges join, in `weight` their areas.
    fn join_what_hangs_together(&mut self, layer: &Layer) {
        let topology = &layer.topology;
        let count = u32::try_from(topology.canonical().len()).unwrap_or(NOBODY);
        self.parent.clear();
        self.parent.extend(0..count);
        for (edge, ends) in topology.edges().iter().enumerate() {
            // Through the lining of thick cloth everything hangs together.
            let beside = topology.edge_triangles(u32::try_from(edge).unwrap_or(NOBODY));
            let outer = beside
                .iter()
                .any(|&triangle| layer.areas[triangle as usize] > 0.0);
            if outer && !self.cut[edge] && !ends.iter().any(|&end| self.cut_vertex[end as usize]) {
                let [a, b] = ends.map(|end| root(&mut self.parent, end));
                self.parent[a.max(b) as usize] = a.min(b);
            }
        }
        self.weight.clear();
        self.weight.resize(count as usize, 0.0);
        for (corners, area) in topology.triangles().iter().zip(&layer.areas) {
            for &corner in corners {
                self.weight[root(&mut self.parent, corner) as usize] += area / 3.0;
            }
        }
    }
}

/// Marks the edges of two triangles that pass through the other one, and says whether there are any.
fn cut(edges: &mut [bool], layer: &Layer, tree: &BoxTree, (a, b): (u32, u32)) -> bool {
    let mut any = false;
    for (of, through) in [(a, b), (b, a)] {
        let (corners, other) = (apart(layer, tree, of), apart(layer, tree, through));
        for (side, &edge) in layer.topology.triangle_edges()[of as usize].iter().enumerate() {
            let ends = [corners[side], corners[(side + 1) % 3]];
            if edge != NONE && pierces(ends, other) {
                edges[edge as usize] = true;
                any = true;
            }
        }
    }
    any
}

/// The corners of a triangle, each moved by up to a thousandth of a millimetre: in a symmetric pose mirrored edges meet
/// edge on edge, which neither passes through the other.
fn apart(layer: &Layer, tree: &BoxTree, triangle: u32) -> Corners {
    let welded = layer.topology.triangles()[triangle as usize];
    let mut corners = tree.corners(triangle);
    for (corner, vertex) in corners.iter_mut().zip(welded) {
        for (axis, value) in (0u32..).zip(corner) {
            // Bits of a multiplicative hash (Knuth's 2^32 / golden ratio): anything that is the same every time will do.
            let bits = (3 * vertex + axis + 1).wrapping_mul(2_654_435_769) >> 16;
            *value += bits as f32 / 65_536.0 * 1e-6;
        }
    }
    corners
}

fn root(parent: &mut [u32], mut vertex: u32) -> u32 {
    while parent[vertex as usize] != vertex {
        parent[vertex as usize] = parent[parent[vertex as usize] as usize];
        vertex = parent[vertex as usize];
    }
    vertex
}

/// By canonical vertex: the piece of the mesh it belongs to.
pub(super) fn pieces(topology: &crate::geometry::topology::Topology) -> Vec<u32> {
    let mut pieces = vec![NOBODY; topology.canonical().len()];
    for (corners, piece) in topology.triangles().iter().zip(topology.components()) {
        corners.iter().for_each(|&corner| pieces[corner as usize] = piece);
    }
    pieces
}
