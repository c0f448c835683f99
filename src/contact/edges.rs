//! Where a garment ends: open borders, and folds where thick cloth turns back into its lining.

use crate::geometry::closest_point::Feature;
use crate::geometry::topology::{NONE, Topology};
use crate::geometry::vector::{norm, sub, wide};
use std::collections::BTreeMap;

/// The edges of a garment.
#[derive(Clone, Debug)]
pub struct Edges {
    /// By edge of the topology.
    edge: Vec<bool>,
    /// By vertex of the mesh.
    vertex: Vec<bool>,
    /// The segments, metres, as built.
    segments: Vec<[[f32; 3]; 2]>,
    /// By segment: the loop it belongs to.
    loops: Vec<u32>,
    /// By loop: its length as built, metres.
    lengths: Vec<f64>,
}

impl Edges {
    /// `lining` says of each triangle whether it is the inner sheet of thick cloth.
    pub fn new(topology: &Topology, positions: &[[f32; 3]], lining: &[bool]) -> Self {
        let mut edge = vec![false; topology.edges().len()];
        let mut at_vertex = vec![false; positions.len()];
        let (mut segments, mut ends_of) = (Vec::new(), Vec::new());
        for (number, ends) in (0u32..).zip(topology.edges()) {
            let sides = topology.edge_triangles(number);
            let outer = sides
                .iter()
                .filter(|&&triangle| !lining[triangle as usize])
                .count();
            let ends_here = outer == 1 || (outer > 0 && outer < sides.len());
            if ends_here {
                edge[number as usize] = true;
                ends.iter().for_each(|&end| at_vertex[end as usize] = true);
                segments.push(ends.map(|end| positions[end as usize]));
                ends_of.push(*ends);
            }
        }
        let vertex = topology
            .canonical()
            .iter()
            .map(|&canonical| at_vertex[canonical as usize])
            .collect();
        let loops = loops(&ends_of);
        let mut lengths = vec![0.0; loops.iter().max().map_or(0, |most| *most as usize + 1)];
        for (number, [a, b]) in loops.iter().zip(&segments) {
            lengths[*number as usize] += norm(sub(wide(*b), wide(*a)));
        }
        Self {
            edge,
            vertex,
            segments,
            loops,
            lengths,
        }
    }

    /// True where a nearest point of the garment lies on one of its edges.
    pub fn holds(
        &self,
        topology: &Topology,
        triangles: &[[u32; 3]],
        triangle: u32,
        feature: Feature,
    ) -> bool {
        match feature {
            Feature::Face => false,
            Feature::Edge(side) => {
                let edge = topology.triangle_edges()[triangle as usize][usize::from(side)];
                edge != NONE && self.edge[edge as usize]
            }
            Feature::Vertex(corner) => {
                self.vertex[triangles[triangle as usize][usize::from(corner)] as usize]
            }
        }
    }

    /// True for a vertex of the mesh that lies on an edge.
    pub fn at_vertex(&self, vertex: u32) -> bool {
        self.vertex[vertex as usize]
    }

    /// Distance from a point to the nearest edge as built, metres; infinite for a garment without edges.
    pub fn distance(&self, point: [f32; 3]) -> f32 {
        distance_to(&self.segments, point)
    }

    /// The loop whose edge is nearest to a point as built; of equally near ones the first.
    pub fn nearest_loop(&self, point: [f32; 3]) -> Option<u32> {
        let mut best: Option<(f32, u32)> = None;
        for (segment, &number) in self.segments.iter().zip(&self.loops) {
            let distance_sq = to_segment_sq(point, segment);
            if best.is_none_or(|(least, _)| distance_sq < least) {
                best = Some((distance_sq, number));
            }
        }
        best.map(|(_, number)| number)
    }

    /// Length of each loop as built, metres: a waist, two hems.
    pub fn loop_lengths(&self) -> &[f64] {
        &self.lengths
    }
}

/// By segment: the number of the loop it belongs to, counted in the order of the segments.
fn loops(ends_of: &[[u32; 2]]) -> Vec<u32> {
    let mut parent: BTreeMap<u32, u32> = ends_of.iter().flatten().map(|&end| (end, end)).collect();
    for &[a, b] in ends_of {
        let (a, b) = (root(&parent, a), root(&parent, b));
        parent.insert(a.max(b), a.min(b));
    }
    let mut numbers = BTreeMap::new();
    ends_of
        .iter()
        .map(|[end, _]| {
            let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
            *numbers.entry(root(&parent, *end)).or_insert(next)
        })
        .collect()
}

fn root(parent: &BTreeMap<u32, u32>, mut vertex: u32) -> u32 {
    while let Some(&above) = parent.get(&vertex).filter(|above| **above != vertex) {
        vertex = above;
    }
    vertex
}

/// Distance from a point to the nearest of some segments, metres; infinite without segments.
pub(super) fn distance_to(segments: &[[[f32; 3]; 2]], point: [f32; 3]) -> f32 {
    segments
        .iter()
        .map(|segment| to_segment_sq(point, segment))
        .fold(f32::INFINITY, |least, distance_sq| {
            if distance_sq < least { distance_sq } else { least }
        })
        .sqrt()
}

fn to_segment_sq(point: [f32; 3], [a, b]: &[[f32; 3]; 2]) -> f32 {
    let along: [f32; 3] = std::array::from_fn(|k| b[k] - a[k]);
    let to: [f32; 3] = std::array::from_fn(|k| point[k] - a[k]);
    let dot = |u: &[f32; 3], v: &[f32; 3]| u[0] * v[0] + u[1] * v[1] + u[2] * v[2];
    let length_sq = dot(&along, &along);
    let t = if length_sq > 0.0 {
        (dot(&to, &along) / length_sq).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let away: [f32; 3] = std::array::from_fn(|k| to[k] - t * along[k]);
    dot(&away, &away)
}
