//! Which normal decides the side at a face, at an edge, at a vertex?
//!
//! Angle-weighted pseudo-normals: Baerentzen and Aanaes (2005), IEEE TVCG 11(3):243. The side of a point
//! by the pseudo-normal of its nearest feature is right for every closed surface that does not cross itself.

use super::closest_point::Feature;
use super::topology::{NONE, Topology};
use super::vector::{add, dot, narrow, scale, wide};
use super::{corners, triangle};

/// Normals of all faces, edges and vertices of one posed mesh. Only face normals have length 1.
#[derive(Clone, Debug, Default)]
pub struct PseudoNormals {
    faces: Vec<[f32; 3]>,
    edges: Vec<[f32; 3]>,
    vertices: Vec<[f32; 3]>,
}

impl PseudoNormals {
    /// For `positions` of the mesh that `topology` describes.
    pub fn new(topology: &Topology, positions: &[[f32; 3]]) -> Self {
        let mut normals = Self {
            faces: vec![[0.0; 3]; topology.triangles().len()],
            edges: vec![[0.0; 3]; topology.edges().len()],
            vertices: vec![[0.0; 3]; positions.len()],
        };
        normals.update(topology, positions);
        normals
    }

    /// The same for another pose, without new memory.
    pub fn update(&mut self, topology: &Topology, positions: &[[f32; 3]]) {
        self.edges.fill([0.0; 3]);
        self.vertices.fill([0.0; 3]);
        for (number, &welded) in topology.triangles().iter().enumerate() {
            let at = corners(positions, topology.corners()[number]);
            let normal = triangle::normal(at);
            self.faces[number] = narrow(normal);
            let edges = topology.triangle_edges()[number];
            if edges[0] == NONE || !topology.counts(number) {
                continue;
            }
            let angles = triangle::angles(at);
            for corner in 0..3 {
                add_to(&mut self.edges[edges[corner] as usize], normal);
                add_to(
                    &mut self.vertices[welded[corner] as usize],
                    scale(normal, angles[corner]),
                );
            }
        }
        for (vertex, &canonical) in topology.canonical().iter().enumerate() {
            self.vertices[vertex] = self.vertices[canonical as usize];
        }
    }

    /// Unit normal of a triangle; zero without area.
    pub fn face(&self, triangle: u32) -> [f32; 3] {
        self.faces[triangle as usize]
    }

    /// Sum of the normals of the triangles at an edge.
    pub fn edge(&self, edge: u32) -> [f32; 3] {
        self.edges[edge as usize]
    }

    /// Sum of the normals of the triangles at a vertex, each times its angle there. Any vertex may be
    /// asked for, not only canonical ones.
    pub fn vertex(&self, vertex: u32) -> [f32; 3] {
        self.vertices[vertex as usize]
    }

    /// The normal that decides the side where `feature` of `triangle` is nearest.
    pub fn at(&self, topology: &Topology, triangle: u32, feature: Feature) -> [f32; 3] {
        let pseudo = match feature {
            Feature::Face => return self.face(triangle),
            Feature::Edge(side) => match topology.triangle_edges()[triangle as usize][usize::from(side)] {
                NONE => self.vertex(topology.triangles()[triangle as usize][usize::from(side)]),
                edge => self.edge(edge),
            },
            Feature::Vertex(corner) => {
                self.vertex(topology.triangles()[triangle as usize][usize::from(corner)])
            }
        };
        // Sheets folded flat on themselves cancel out; the face is then all there is.
        if dot(wide(pseudo), wide(pseudo)) > 1e-12 {
            pseudo
        } else {
            self.face(triangle)
        }
    }
}

fn add_to(sum: &mut [f32; 3], value: [f64; 3]) {
    *sum = narrow(add(wide(*sum), value));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::shapes;
    use crate::geometry::vector::unit;
    use crate::geometry::weld::{TOLERANCE, weld};

    /// A corner thrown far away turns every normal round it, unless its triangles are left out.
    #[test]
    fn what_is_left_out_turns_no_neighbours_normal() {
        let (mut positions, triangles) = shapes::cube();
        let canonical = weld(&positions, TOLERANCE);
        let sound = PseudoNormals::new(&Topology::new(&triangles, &canonical), &positions);
        let thrown = triangles[0][0];
        positions[thrown as usize] = [5.0, -3.0, 4.0];
        let at_thrown = |triangle: usize| triangles[triangle].contains(&thrown);
        let all = Topology::new(&triangles, &canonical);
        let turned = PseudoNormals::new(&all, &positions);
        let kept = PseudoNormals::new(&all.clone().leaving_out(at_thrown), &positions);
        // A vertex of a triangle beside, whose other triangles are sound.
        let beside = triangles[0][1];
        let cosine = |normals: &PseudoNormals| {
            let (a, b) = (
                unit(wide(normals.vertex(beside))),
                unit(wide(sound.vertex(beside))),
            );
            dot(a, b)
        };
        assert!(
            cosine(&kept) > cosine(&turned),
            "{} and {}",
            cosine(&kept),
            cosine(&turned)
        );
        for (number, corners) in (0u32..).zip(&triangles) {
            if !corners.contains(&thrown) {
                assert_eq!(kept.face(number), sound.face(number));
            }
        }
    }

    /// The angle weights make up for the two triangles of each square face: corners point along diagonals.
    #[test]
    fn corners_of_a_cube_point_along_its_diagonals() {
        let (positions, triangles) = shapes::cube();
        let topology = Topology::new(&triangles, &weld(&positions, TOLERANCE));
        let normals = PseudoNormals::new(&topology, &positions);
        for (vertex, position) in positions.iter().enumerate() {
            let normal = unit(wide(normals.vertex(vertex as u32)));
            let along = dot(normal, unit(wide(*position)));
            assert!((along - 1.0).abs() < 1e-6, "{normal:?}");
        }
        for (edge, ends) in topology.edges().iter().enumerate() {
            let middle = add(
                wide(positions[ends[0] as usize]),
                wide(positions[ends[1] as usize]),
            );
            let along = dot(unit(wide(normals.edge(edge as u32))), unit(middle));
            assert!((along - 1.0).abs() < 1e-6);
        }
        assert_eq!(normals.face(0), [-1.0, 0.0, 0.0]);
    }
}
