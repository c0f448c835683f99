//! The mannequin as one piece: implicit shape, mesh, skeleton and weights.

use super::girth;
use super::mesher::{self, Grid, Skin};
use super::shape::Shape;
use super::size::{BodyShape, Girths};
use super::skeleton::Skeleton;
use super::weights::{self, Row};
use crate::rig::{Mesh, Rig};
use nalgebra::Vector3;

/// A finished mannequin.
#[derive(Clone, Debug)]
pub struct Mannequin {
    /// What was asked for.
    pub shape: BodyShape,
    pub(super) surface: Shape,
    pub(super) skin: Skin,
    pub(super) skeleton: Skeleton,
    /// One row a vertex.
    pub(super) rows: Vec<Row>,
}

/// Builds a mannequin: section sizes are solved for the asked girths, then the surface is meshed.
pub fn body(shape: &BodyShape) -> Mannequin {
    let surface = girth::fitted(shape);
    let skin = mesher::mesh(&grid(shape), &|point| surface.distance(point));
    let skeleton = Skeleton::new(shape);
    let rows = weights::diffuse(&skin, &surface, &skeleton);
    Mannequin {
        shape: shape.clone(),
        surface,
        skin,
        skeleton,
        rows,
    }
}

fn grid(shape: &BodyShape) -> Grid {
    let joints = shape.joints();
    let reach = joints.fingertips.x.max(joints.foot.x + 0.06 * shape.stature) + 0.05;
    let edge = shape.edge;
    Grid {
        low: Vector3::new(0.0, -3.0 * edge, -0.14 * shape.stature - 0.06),
        high: Vector3::new(reach, shape.stature + 4.0 * edge, 0.16 * shape.stature + 0.05),
        edge,
    }
}

impl Mannequin {
    /// What a tape reads on the mesh.
    pub fn girths(&self) -> Girths {
        girth::read(
            &self.shape,
            &self.surface,
            &self.skin.points,
            &self.skin.triangles,
        )
    }

    /// Vertex positions as bound, metres.
    pub fn positions(&self) -> Vec<[f32; 3]> {
        self.skin
            .points
            .iter()
            .map(|p| [p.x as f32, p.y as f32, p.z as f32])
            .collect()
    }

    /// Triangles, counter-clockwise from outside.
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.skin.triangles
    }

    /// The mannequin as a file would hold it.
    pub fn rig(&self) -> Rig {
        let mesh = Mesh {
            name: "body".to_owned(),
            material: "skin".to_owned(),
            place: "/meshes/0/primitives/0".to_owned(),
            binds: self.skeleton.binds(0.0),
            skinned: true,
            positions: self.positions(),
            uvs: None,
            triangles: self.skin.triangles.clone(),
            rows: weights::packed(&self.rows),
            morphs: Vec::new(),
            hidden: Vec::new(),
        };
        Rig {
            name: self.shape.name.clone(),
            nodes: self.skeleton.nodes(0.0),
            meshes: vec![mesh],
            stated_roles: self.skeleton.roles(),
            ..Rig::default()
        }
    }
}
