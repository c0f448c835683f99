//! The subset as one would write it with a stock collision crate: meshes rebuilt per frame, one query at a time.

use super::Workload;
use gusset::skin::{blend, follow, palette};
use nalgebra::Matrix4;
use parry3d::math::{Pose, Vector};
use parry3d::query::{PointQuery, PointQueryWithLocation, intersection_test};
use parry3d::shape::{TriMesh, TriMeshFlags};
use std::hint::black_box;

pub(crate) struct Stock {
    body_points: Vec<Vector>,
    cloth_points: Vec<Vector>,
    body: TriMesh,
    cloth: TriMesh,
    welded: Vec<[u32; 3]>,
}

fn vectors(points: &[[f32; 3]]) -> Vec<Vector> {
    points.iter().map(|p| Vector::new(p[0], p[1], p[2])).collect()
}

fn posed(work: &Workload, world: &[Matrix4<f64>]) -> [Vec<Vector>; 2] {
    let layer = &work.dressed.layers[0];
    let (mut body, mut cloth) = (Vec::new(), Vec::new());
    blend(&work.body, &palette(&work.body, world), &mut body);
    let joints = follow(&layer.skeleton, &layer.pairing, world);
    blend(&work.cloth, &palette(&work.cloth, &joints), &mut cloth);
    [vectors(&body), vectors(&cloth)]
}

fn mesh(points: &[Vector], triangles: &[[u32; 3]]) -> TriMesh {
    TriMesh::with_flags(points.to_vec(), triangles.to_vec(), TriMeshFlags::ORIENTED).unwrap()
}

impl Stock {
    pub(crate) fn new(work: &Workload, world: &[Matrix4<f64>]) -> Self {
        let [body_points, cloth_points] = posed(work, world);
        Self {
            body: mesh(&body_points, &work.body.triangles),
            cloth: mesh(&cloth_points, &work.cloth.triangles),
            body_points,
            cloth_points,
            welded: work.dressed.layers[0].topology.triangles().to_vec(),
        }
    }

    pub(crate) fn rebuild(&mut self) {
        self.body = mesh(&self.body_points, self.body.indices());
        self.cloth = mesh(&self.cloth_points, self.cloth.indices());
    }

    pub(crate) fn fabric_to_skin(&self) {
        for &point in &self.cloth_points {
            black_box(self.body.project_local_point_and_get_location(point, false));
        }
    }

    pub(crate) fn skin_to_fabric(&self) {
        for &point in &self.body_points {
            black_box(self.cloth.project_local_point_and_get_location(point, false));
        }
    }

    /// Whether each fabric vertex lies inside the body, by pseudo-normals.
    pub(crate) fn sides(&self) -> Vec<bool> {
        self.cloth_points
            .iter()
            .map(|&point| self.body.contains_local_point(point))
            .collect()
    }

    pub(crate) fn cross(&self) {
        let pairs = self
            .cloth
            .bvh()
            .leaf_pairs(self.body.bvh(), |a, b| a.intersects(b));
        let crossing = pairs.filter(|&(a, b)| {
            let (a, b) = (self.cloth.triangle(a), self.body.triangle(b));
            intersection_test(&Pose::IDENTITY, &a, &Pose::IDENTITY, &b).unwrap_or(false)
        });
        black_box(crossing.count());
    }

    pub(crate) fn cross_itself(&self) {
        let pairs = self
            .cloth
            .bvh()
            .leaf_pairs(self.cloth.bvh(), |a, b| a.intersects(b));
        let apart = |a: u32, b: u32| {
            a < b
                && !self.welded[a as usize]
                    .iter()
                    .any(|vertex| self.welded[b as usize].contains(vertex))
        };
        let crossing = pairs.filter(|&(a, b)| {
            apart(a, b) && {
                let (a, b) = (self.cloth.triangle(a), self.cloth.triangle(b));
                intersection_test(&Pose::IDENTITY, &a, &Pose::IDENTITY, &b).unwrap_or(false)
            }
        });
        black_box(crossing.count());
    }

    /// Everything; stretch costs the same on both sides and is left out here.
    pub(crate) fn frame(&mut self, work: &Workload, world: &[Matrix4<f64>]) {
        [self.body_points, self.cloth_points] = posed(work, world);
        self.rebuild();
        self.fabric_to_skin();
        self.skin_to_fabric();
        self.cross();
        self.cross_itself();
    }
}
