//! A size: the same rig with other morph weights and other joints, as a wardrobe's sliders change it.
//!
//! What is built is the file; a size is something it is brought to before any pose, and the clothes with it, as a runtime
//! does it: morph targets add to the mesh before skinning, joints are scaled and moved below it.

use super::anatomy::{Anatomy, MissingBone};
use super::bone::Bone;
use super::skeleton::{Joint, Skeleton};
use super::surface::{Surface, mesh_to_world, polar};
use super::{Morph, Rig};
use nalgebra::{Matrix3, Matrix4, Vector3};
use std::collections::BTreeMap;

/// What a size does to one joint.
#[derive(Clone, Debug, PartialEq)]
pub struct JointSize {
    /// The joint's name, or the role it plays (`leftUpperLeg`).
    pub joint: String,
    /// Along the joint's own axes, as the file has them; 1 is unchanged.
    pub scale: [f64; 3],
    /// Metres to the wearer's left, up and to the front, with the body at its bind.
    pub offset_m: [f64; 3],
    /// Whether the joints below are scaled with it.
    pub inherit: bool,
}

/// A size of a body: what differs from its file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Size {
    /// Shown behind the body's name.
    pub name: String,
    /// Morph targets of body and clothes by name, with their weights.
    pub morphs: Vec<(String, f64)>,
    /// Joints of body and clothes.
    pub joints: Vec<JointSize>,
}

impl Size {
    /// The joints a share of the way from the file (0) to this size (1). Morph weights follow elsewhere, since only the
    /// file knows where they start.
    pub fn joints_at(&self, share: f64) -> Vec<JointSize> {
        let part = |one: &JointSize| JointSize {
            scale: one.scale.map(|scale| 1.0 + share * (scale - 1.0)),
            offset_m: one.offset_m.map(|offset| share * offset),
            ..one.clone()
        };
        self.joints.iter().map(part).collect()
    }
}

/// What a size does to one node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NodeSize {
    scale: Vector3<f64>,
    /// In the parent's own axes and unit.
    offset: Vector3<f64>,
    inherit: bool,
}

/// A skeleton brought to a size.
#[derive(Clone, Debug)]
pub struct Resized {
    /// As the user states it, to bring other skeletons to the same size.
    pub joints: Vec<JointSize>,
    /// By node.
    pub nodes: BTreeMap<usize, NodeSize>,
    /// Its joints at the bind, scaled and moved.
    pub skeleton: Skeleton,
    /// Frames of that skeleton.
    pub anatomy: Anatomy,
}

impl Resized {
    /// # Errors
    /// A skeleton without both hips and knees.
    pub fn new(skeleton: &Skeleton, joints: Vec<JointSize>) -> Result<Self, MissingBone> {
        let nodes = nodes(skeleton, &joints);
        let skeleton = resized(skeleton, &nodes);
        Ok(Self {
            joints,
            nodes,
            anatomy: Anatomy::new(&skeleton)?,
            skeleton,
        })
    }
}

/// The node that a size means: the joint of that name, else the one that plays that role.
pub fn node_of(skeleton: &Skeleton, joint: &str) -> Option<usize> {
    let named = skeleton.joints.iter().position(|one| one.name == joint);
    named.or_else(|| skeleton.roles.node(Bone::from_name(joint)?))
}

/// What a size does to a skeleton's nodes; a joint it does not have is not meant.
pub fn nodes(skeleton: &Skeleton, joints: &[JointSize]) -> BTreeMap<usize, NodeSize> {
    let of = |one: &JointSize| {
        let node = node_of(skeleton, &one.joint)?;
        let above = skeleton.joints[node]
            .parent
            .map_or_else(Matrix4::identity, |parent| at_bind(&skeleton.joints[parent]));
        let inverse = above.fixed_view::<3, 3>(0, 0).into_owned().try_inverse()?;
        let size = NodeSize {
            scale: Vector3::from(one.scale),
            offset: inverse * Vector3::from(one.offset_m),
            inherit: one.inherit,
        };
        Some((node, size))
    };
    joints.iter().filter_map(of).collect()
}

/// A skeleton at its bind, brought to a size.
pub fn resized(skeleton: &Skeleton, nodes: &BTreeMap<usize, NodeSize>) -> Skeleton {
    let bind: Vec<Matrix4<f64>> = skeleton.joints.iter().map(at_bind).collect();
    let parents: Vec<Option<usize>> = skeleton.joints.iter().map(|joint| joint.parent).collect();
    let local = |node: usize| match parents[node] {
        // A joint that is scaled to nothing has no inside: what hangs on it stays as it is.
        Some(parent) => bind[parent]
            .try_inverse()
            .map_or(Matrix4::identity(), |inverse| inverse * bind[node]),
        None => bind[node],
    };
    let locals: Vec<Matrix4<f64>> = (0..bind.len()).map(local).collect();
    let world = world(&parents, &locals, nodes);
    let mut resized = skeleton.clone();
    for (joint, world) in resized.joints.iter_mut().zip(&world) {
        joint.position = world.fixed_view::<3, 1>(0, 3).into_owned();
        (joint.rotation, joint.stretch) = polar(world);
    }
    resized
}

/// World matrices of nodes from their local ones, each scaled and moved as its size says.
pub fn world(
    parents: &[Option<usize>],
    locals: &[Matrix4<f64>],
    nodes: &BTreeMap<usize, NodeSize>,
) -> Vec<Matrix4<f64>> {
    // What a node is, and what it hands on to those below it.
    let mut own: Vec<Matrix4<f64>> = Vec::with_capacity(locals.len());
    let mut handed: Vec<Matrix4<f64>> = Vec::with_capacity(locals.len());
    for (node, (parent, local)) in parents.iter().zip(locals).enumerate() {
        let above = parent.map_or_else(Matrix4::identity, |parent| handed[parent]);
        let size = nodes.get(&node);
        let offset = size.map_or_else(Vector3::zeros, |size| size.offset);
        let unscaled = above * Matrix4::new_translation(&offset) * local;
        let scaled = size.map_or(unscaled, |size| {
            unscaled * Matrix4::new_nonuniform_scaling(&size.scale)
        });
        own.push(scaled);
        handed.push(if size.is_none_or(|size| size.inherit) {
            scaled
        } else {
            unscaled
        });
    }
    own
}

/// What a surface gains where morph targets are brought from one weight to another, metres by vertex; empty for nothing.
/// `change` says by how much a target's weight changes.
pub fn growth(surface: &Surface, rig: &Rig, change: &dyn Fn(&Morph) -> f64) -> Vec<[f32; 3]> {
    let rest = rig.rest_world();
    // By mesh: the turn and scale from its space to the world, and what changes.
    let mut linear: Vec<Matrix3<f64>> = Vec::new();
    let mut changes: Vec<Vec<(&Morph, f64)>> = Vec::new();
    for (number, mesh) in rig.meshes.iter().enumerate() {
        let changed = mesh.morphs.iter().map(|morph| (morph, change(morph)));
        changes.push(changed.filter(|(_, by)| *by != 0.0).collect());
        let to_world = mesh_to_world(rig, number, &rest).0;
        linear.push(to_world.fixed_view::<3, 3>(0, 0).into_owned());
    }
    if changes.iter().all(Vec::is_empty) {
        return Vec::new();
    }
    let of = |&(mesh, vertex): &(u32, u32)| {
        let sum = changes[mesh as usize]
            .iter()
            .fold(Vector3::zeros(), |sum, (morph, by)| {
                sum + Vector3::from(morph.deltas[vertex as usize].map(f64::from)) * *by
            });
        narrow(&(linear[mesh as usize] * sum))
    };
    surface.sources.iter().map(of).collect()
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "positions are kept in f32 (DESIGN 2)"
)]
fn narrow(by: &Vector3<f64>) -> [f32; 3] {
    [by.x as f32, by.y as f32, by.z as f32]
}

fn at_bind(joint: &Joint) -> Matrix4<f64> {
    let mut matrix = Matrix4::identity();
    matrix
        .fixed_view_mut::<3, 3>(0, 0)
        .copy_from(&(joint.rotation.matrix() * joint.stretch));
    matrix.fixed_view_mut::<3, 1>(0, 3).copy_from(&joint.position);
    matrix
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::roles::Roles;
    use nalgebra::Rotation3;

    /// A hip, a knee 0.4 below and an ankle 0.4 below that, in centimetre units.
    fn leg() -> Skeleton {
        let joint = |name: &str, parent, y: f64| Joint {
            name: name.into(),
            parent,
            position: Vector3::new(0.1, y, 0.0),
            rotation: Rotation3::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI),
            stretch: Matrix3::identity() * 0.01,
            weighted: true,
            bound: true,
        };
        Skeleton {
            joints: vec![
                joint("hip", None, 0.9),
                joint("knee", Some(0), 0.5),
                joint("ankle", Some(1), 0.1),
            ],
            roles: Roles::default(),
        }
    }

    fn sized(joint: &str, scale: [f64; 3], offset_m: [f64; 3], inherit: bool) -> Skeleton {
        let size = JointSize {
            joint: joint.into(),
            scale,
            offset_m,
            inherit,
        };
        let leg = leg();
        resized(&leg, &nodes(&leg, &[size]))
    }

    #[test]
    fn a_scaled_joint_hands_its_scale_on_only_if_told() {
        let both = sized("knee", [1.5; 3], [0.0; 3], true);
        assert!((both.joints[2].position.y - (0.5 - 0.6)).abs() < 1e-12);
        assert!((both.joints[2].stretch[(0, 0)] - 0.015).abs() < 1e-12);
        let alone = sized("knee", [1.5; 3], [0.0; 3], false);
        assert!((alone.joints[2].position.y - 0.1).abs() < 1e-12);
        assert!((alone.joints[1].stretch[(0, 0)] - 0.015).abs() < 1e-12);
        assert!((alone.joints[2].stretch[(0, 0)] - 0.01).abs() < 1e-12);
        let round = sized("knee", [1.2, 1.0, 1.2], [0.0; 3], false);
        assert!((round.joints[1].stretch[(2, 2)] - 0.012).abs() < 1e-12);
        assert_eq!(round.joints[0].position, leg().joints[0].position);
    }

    #[test]
    fn an_offset_is_in_metres_of_the_world_and_takes_what_hangs_below_along() {
        let moved = sized("knee", [1.0; 3], [0.02, -0.03, 0.0], true);
        for (joint, before) in moved.joints.iter().zip(&leg().joints).skip(1) {
            let by = joint.position - before.position;
            assert!((by - Vector3::new(0.02, -0.03, 0.0)).norm() < 1e-12, "{by}");
        }
        let other = sized("elbow", [2.0; 3], [0.0; 3], true);
        assert!((other.joints[2].position - leg().joints[2].position).norm() < 1e-12);
    }

    #[test]
    fn half_way_is_half_of_everything() {
        let size = Size {
            joints: vec![JointSize {
                joint: "knee".into(),
                scale: [1.2, 1.0, 0.8],
                offset_m: [0.0, 0.01, 0.0],
                inherit: true,
            }],
            ..Size::default()
        };
        let half = &size.joints_at(0.5)[0];
        assert!((half.scale[0] - 1.1).abs() < 1e-12 && (half.scale[2] - 0.9).abs() < 1e-12);
        assert!((half.offset_m[1] - 0.005).abs() < 1e-12);
    }
}
