//! Which normal decides the side at a face, at an edge, at a vertex?
//!
//! Angle-weighted pseudo-normals: Baerentzen and Aanaes (2005), IEEE TVCG 11(3):243. The side of a point
//! by the pseudo-normal of its nearest feature is right for every closed surface that does not cross itself.

use super::closest_point::Feature;
use super::topology::{NONE, Topology};
use super::vector::{add, dot, narrow, scale, wide};
use super::{Corners, corners, triangle};

/// Normals of the faces, edges and vertices of one posed mesh, each worked out when it is asked for: a frame asks for
/// few. Only face normals have length 1.
#[derive(Clone, Copy, Debug)]
pub struct PseudoNormals<'a> {
    topology: &'a Topology,
    positions: &'a [[f32; 3]],
}

impl<'a> PseudoNormals<'a> {
    /// For `positions` of the mesh that `topology` describes.
    pub fn new(topology: &'a Topology, positions: &'a [[f32; 3]]) -> Self {
        Self { topology, positions }
    }

    /// Unit normal of a triangle; zero without area.
    pub fn face(&self, triangle: u32) -> [f32; 3] {
        narrow(triangle::normal(self.corners(triangle)))
    }

    /// Whether [`PseudoNormals::face`] and a direction enclose less than a right angle.
    pub fn faces(&self, triangle: u32, direction: [f32; 3]) -> bool {
        let normal = triangle::area_vector(self.corners(triangle));
        let along = dot(normal, wide(direction));
        // Only near the right angle does it matter how the unit normal is rounded.
        if along * along > 1e-10 * dot(normal, normal) * dot(wide(direction), wide(direction)) {
            along > 0.0
        } else {
            dot(self.face(triangle), direction) > 0.0
        }
    }

    /// Sum of the normals of the triangles at an edge.
    pub fn edge(&self, edge: u32) -> [f32; 3] {
        let mut sum = [0.0; 3];
        for &triangle in self.topology.edge_triangles(edge) {
            if self.topology.counts(triangle as usize) {
                add_to(&mut sum, triangle::normal(self.corners(triangle)));
            }
        }
        sum
    }

    /// Sum of the normals of the triangles at a vertex, each times its angle there. Any vertex may be
    /// asked for, not only canonical ones.
    pub fn vertex(&self, vertex: u32) -> [f32; 3] {
        let canonical = self.topology.canonical()[vertex as usize];
        let mut sum = [0.0; 3];
        for &triangle in self.topology.vertex_triangles(canonical) {
            let welded = self.topology.triangles()[triangle as usize];
            let corner = welded.iter().position(|&corner| corner == canonical);
            if let Some(corner) = corner.filter(|_| self.topology.counts(triangle as usize)) {
                let at = self.corners(triangle);
                add_to(&mut sum, scale(triangle::normal(at), triangle::angle(at, corner)));
            }
        }
        sum
    }

    fn corners(&self, triangle: u32) -> Corners {
        corners(self.positions, self.topology.corners()[triangle as usize])
    }

    /// The normal that decides the side where `feature` of `triangle` is nearest.
    pub fn at(&self, triangle: u32, feature: Feature) -> [f32; 3] {
        let topology = self.topology;
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
        let (positions, triangles) = shapes::cube();
        let canonical = weld(&positions, TOLERANCE);
        let all = Topology::new(&triangles, &canonical);
        let sound = PseudoNormals::new(&all, &positions);
        let thrown = triangles[0][0];
        let mut torn = positions.clone();
        torn[thrown as usize] = [5.0, -3.0, 4.0];
        let at_thrown = |triangle: usize| triangles[triangle].contains(&thrown);
        let turned = PseudoNormals::new(&all, &torn);
        let without = all.clone().leaving_out(at_thrown);
        let kept = PseudoNormals::new(&without, &torn);
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
