//! Where every joint stands at the bind, in metres and world axes, and which role it has.

use super::Rig;
use super::bone::{Bone, Side};
use super::roles::{self, Roles};
use super::surface::{Surface, polar};
use nalgebra::{Matrix3, Matrix4, Rotation3, Vector3};
use std::collections::BTreeSet;

/// One node as the surfaces of its rig were bound to it.
#[derive(Clone, Debug)]
pub struct Joint {
    /// As in the file; may be empty.
    pub name: String,
    /// Index of the parent, always smaller.
    pub parent: Option<usize>,
    /// Metres, at the bind.
    pub position: Vector3<f64>,
    /// World rotation at the bind.
    pub rotation: Rotation3<f64>,
    /// World scale (right stretch) the node has at rest in the file; it keeps that in every pose.
    pub stretch: Matrix3<f64>,
    /// True where a chosen surface has weight on it.
    pub weighted: bool,
    /// True where a chosen surface's inverse bind matrices say where it stands at the bind; else it keeps its place
    /// against its parent.
    pub bound: bool,
}

/// All nodes of a rig at the bind of its chosen surfaces. Indices are those of [`Rig::nodes`].
#[derive(Clone, Debug)]
pub struct Skeleton {
    /// Parents before children.
    pub joints: Vec<Joint>,
    /// Humanoid roles.
    pub roles: Roles,
}

impl Skeleton {
    /// Reads the bind of each joint from the surface's inverse bind matrices; a node no surface binds keeps its
    /// place relative to the nearest bound ancestor. `told` are roles the user states.
    pub fn new(rig: &Rig, surfaces: &[&Surface], told: &[(Bone, usize)]) -> Self {
        let rest = rig.rest_world();
        let bind = bind_world(rig, surfaces, &rest);
        let weighted = weighted_nodes(surfaces);
        let joints: Vec<Joint> = rig
            .nodes
            .iter()
            .enumerate()
            .map(|(index, node)| Joint {
                name: node.name.clone(),
                parent: node.parent,
                position: bind[index].fixed_view::<3, 1>(0, 3).into_owned(),
                rotation: polar(&bind[index]).0,
                stretch: polar(&rest[index]).1,
                weighted: weighted.contains(&index),
                bound: surfaces
                    .iter()
                    .flat_map(|surface| &surface.binds)
                    .any(|bind| bind.node == index),
            })
            .collect();
        let bound: BTreeSet<usize> = rig
            .meshes
            .iter()
            .filter(|mesh| mesh.skinned)
            .flat_map(|mesh| mesh.binds.iter().map(|bind| bind.node))
            .chain(weighted)
            .collect();
        let at: Vec<Vector3<f64>> = joints.iter().map(|joint| joint.position).collect();
        let roles = roles::find(rig, &bound, &at, told);
        Self { joints, roles }
    }

    /// The skeleton of a rig of which only the nodes count: each is a joint and stands at rest.
    pub fn of_nodes(rig: &Rig) -> Self {
        let rest = rig.rest_world();
        let joint = |(node, world): (&super::Node, &Matrix4<f64>)| {
            let (rotation, stretch) = polar(world);
            Joint {
                name: node.name.clone(),
                parent: node.parent,
                position: world.fixed_view::<3, 1>(0, 3).into_owned(),
                rotation,
                stretch,
                weighted: false,
                bound: true,
            }
        };
        let joints: Vec<Joint> = rig.nodes.iter().zip(&rest).map(joint).collect();
        let at: Vec<Vector3<f64>> = joints.iter().map(|joint| joint.position).collect();
        let all: BTreeSet<usize> = (0..joints.len()).collect();
        let roles = roles::find(rig, &all, &at, &[]);
        Self { joints, roles }
    }

    /// Where a bone's joint is, metres.
    pub fn position(&self, bone: Bone) -> Option<Vector3<f64>> {
        self.roles.node(bone).map(|node| self.joints[node].position)
    }

    /// The role that moves a node: its own, else its nearest ancestor's.
    pub fn moved_by(&self, node: usize) -> Option<Bone> {
        std::iter::successors(Some(node), |&at| self.joints[at].parent).find_map(|at| self.roles.bone(at))
    }

    /// Joint to joint, metres: hip to knee.
    pub fn thigh_length(&self, side: Side) -> Option<f64> {
        Some((self.position(Bone::UpperLeg(side))? - self.position(Bone::LowerLeg(side))?).norm())
    }

    /// A name to show: the joint's own, its role, or its number.
    pub fn label(&self, node: usize) -> String {
        let own = &self.joints[node].name;
        match (own.is_empty(), self.roles.bone(node)) {
            (false, _) => own.clone(),
            (true, Some(bone)) => format!("{} (unnamed)", bone.name()),
            (true, None) => format!("joint {node}"),
        }
    }
}

fn weighted_nodes(surfaces: &[&Surface]) -> BTreeSet<usize> {
    let mut nodes = BTreeSet::new();
    for surface in surfaces {
        for (&bind, &weight) in surface.rows.binds.iter().zip(&surface.rows.weights) {
            if weight > 0.0 {
                nodes.insert(surface.binds[usize::from(bind)].node);
            }
        }
    }
    nodes
}

fn bind_world(rig: &Rig, surfaces: &[&Surface], rest: &[Matrix4<f64>]) -> Vec<Matrix4<f64>> {
    let mut known: Vec<Option<Matrix4<f64>>> = vec![None; rig.nodes.len()];
    for bind in surfaces.iter().flat_map(|surface| &surface.binds) {
        if known[bind.node].is_none() {
            known[bind.node] = bind.inverse.try_inverse();
        }
    }
    let mut world: Vec<Matrix4<f64>> = Vec::with_capacity(rest.len());
    for (index, node) in rig.nodes.iter().enumerate() {
        let from_parent = |parent: usize| {
            rest[parent]
                .try_inverse()
                .map_or(rest[index], |inverse| world[parent] * inverse * rest[index])
        };
        let here = known[index].unwrap_or_else(|| node.parent.map_or(rest[index], from_parent));
        world.push(here);
    }
    world
}
