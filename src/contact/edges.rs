//! Where a garment ends: open borders, and folds where thick cloth turns back into its lining.

use crate::geometry::closest_point::Feature;
use crate::geometry::topology::{NONE, Topology};

/// The edges of a garment.
#[derive(Clone, Debug)]
pub struct Edges {
    /// By edge of the topology.
    edge: Vec<bool>,
    /// By vertex of the mesh.
    vertex: Vec<bool>,
    /// The segments, metres, as built.
    segments: Vec<[[f32; 3]; 2]>,
}

impl Edges {
    /// `lining` says of each triangle whether it is the inner sheet of thick cloth.
    pub fn new(topology: &Topology, positions: &[[f32; 3]], lining: &[bool]) -> Self {
        let mut edge = vec![false; topology.edges().len()];
        let mut at_vertex = vec![false; positions.len()];
        let mut segments = Vec::new();
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
            }
        }
        let vertex = topology
            .canonical()
            .iter()
            .map(|&canonical| at_vertex[canonical as usize])
            .collect();
        Self {
            edge,
            vertex,
            segments,
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

    /// Distance from a point to the nearest edge as built, metres; infinite for a garment without edges.
    pub fn distance(&self, point: [f32; 3]) -> f32 {
        distance_to(&self.segments, point)
    }
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
