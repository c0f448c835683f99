//! How the nodes hang together, parents first.

use std::collections::BTreeSet;

use gltf::json::{Root, Skin};
use nalgebra::{Matrix4, Quaternion, UnitQuaternion, Vector3};

use super::error::Fault;
use super::names;
use super::remarks::Remarks;
use crate::rig::{Local, Node};

/// The scene graph in two numberings: the file's, and parents first.
pub(super) struct Graph {
    pub(super) nodes: Vec<Node>,
    /// From the file's numbering to ours.
    pub(super) ours: Vec<usize>,
    /// End of each node's subtree, in our numbering: a node's descendants follow it without a gap.
    ends: Vec<usize>,
    /// The topmost ancestor of each node, in our numbering.
    roots: Vec<usize>,
    /// Root nodes of the main scene, in the file's numbering.
    shown: BTreeSet<usize>,
}

impl Graph {
    /// Orders the nodes; refuses loops and nodes with two parents.
    pub(super) fn read(root: &Root, remarks: &mut Remarks) -> Result<Self, Fault> {
        let parents = parents(root)?;
        let order = parents_first(root, &parents)?;
        let mut ours = vec![0; order.len()];
        for (new, &old) in order.iter().enumerate() {
            ours[old] = new;
        }
        let mut nodes = Vec::with_capacity(order.len());
        for &old in &order {
            let parent = parents[old].map(|parent| ours[parent]);
            let name = names::clean(root.nodes[old].name.as_deref().unwrap_or_default());
            nodes.push(Node {
                name,
                parent,
                local: local(&root.nodes[old], old, remarks)?,
                file_index: old,
            });
        }
        let mut ends: Vec<usize> = (1..=nodes.len()).collect();
        for node in (0..nodes.len()).rev() {
            if let Some(parent) = nodes[node].parent {
                ends[parent] = ends[parent].max(ends[node]);
            }
        }
        let mut roots: Vec<usize> = (0..nodes.len()).collect();
        for node in 0..nodes.len() {
            if let Some(parent) = nodes[node].parent {
                roots[node] = roots[parent];
            }
        }
        Ok(Self {
            nodes,
            ours,
            ends,
            roots,
            shown: shown(root),
        })
    }

    /// Whether `node` is `ancestor` or hangs under it.
    fn is_under(&self, node: usize, ancestor: usize) -> bool {
        (ancestor..self.ends[ancestor]).contains(&node)
    }

    /// Notes what glTF asks of a skin's joints as a whole and we do not need.
    pub(super) fn remark_on_skin(&self, skin: &Skin, place: &str, remarks: &mut Remarks) {
        let joints: Vec<usize> = skin.joints.iter().map(|joint| self.ours[joint.value()]).collect();
        if joints
            .iter()
            .any(|&joint| self.roots[joint] != self.roots[joints[0]])
        {
            let say = "The joints of this skin do not hang under one common node.";
            remarks.add(
                "joints_without_common_root",
                format!("{place}/joints"),
                say,
                "Parent all joints to one armature.",
            );
        }
        let skeleton = skin.skeleton.map(|skeleton| self.ours[skeleton.value()]);
        if skeleton.is_some_and(|skeleton| !joints.iter().all(|&joint| self.is_under(joint, skeleton))) {
            let say =
                "The node named as this skin's skeleton is not above all of its joints; it is not used.";
            remarks.add(
                "skeleton_not_above_joints",
                format!("{place}/skeleton"),
                say,
                "Export again from the armature.",
            );
        }
    }

    /// Notes a skinned mesh that the file's main scene shows without its joints.
    pub(super) fn remark_on_scene(&self, file_node: usize, skin: &Skin, remarks: &mut Remarks) {
        let top = |node: usize| self.nodes[self.roots[self.ours[node]]].file_index;
        let (mesh, joint) = (top(file_node), top(skin.joints[0].value()));
        if self.shown.contains(&mesh) && !self.shown.contains(&joint) {
            let say = "This skinned mesh is in a scene that does not hold its joints.";
            remarks.add(
                "joints_not_in_scene",
                format!("/nodes/{file_node}"),
                say,
                "Export mesh and armature together.",
            );
        }
    }
}

/// The root nodes of the scene that a viewer opens first.
fn shown(root: &Root) -> BTreeSet<usize> {
    let scene = root.scenes.get(root.scene.map_or(0, |scene| scene.value()));
    scene
        .iter()
        .flat_map(|scene| &scene.nodes)
        .map(|node| node.value())
        .collect()
}

/// Each node's parent, in the file's numbering.
fn parents(root: &Root) -> Result<Vec<Option<usize>>, Fault> {
    let mut parents = vec![None; root.nodes.len()];
    for (index, node) in root.nodes.iter().enumerate() {
        for (number, child) in node.children.iter().flatten().enumerate() {
            if parents[child.value()].replace(index).is_some() {
                let what = format!("node {} has more than one parent", child.value());
                return Err(Fault::broken(format!("/nodes/{index}/children/{number}"), what));
            }
        }
    }
    Ok(parents)
}

/// A depth-first order without recursion: a chain of any length is fine.
fn parents_first(root: &Root, parents: &[Option<usize>]) -> Result<Vec<usize>, Fault> {
    let mut order = Vec::with_capacity(parents.len());
    let mut open: Vec<usize> = (0..parents.len())
        .rev()
        .filter(|&node| parents[node].is_none())
        .collect();
    while let Some(node) = open.pop() {
        order.push(node);
        open.extend(
            root.nodes[node]
                .children
                .iter()
                .flatten()
                .rev()
                .map(|child| child.value()),
        );
    }
    if order.len() == parents.len() {
        return Ok(order);
    }
    let mut reached = vec![false; parents.len()];
    order.iter().for_each(|&node| reached[node] = true);
    let lost = reached.iter().position(|reached| !reached).unwrap_or_default();
    Err(Fault::broken(
        format!("/nodes/{lost}"),
        "this node is its own ancestor: the nodes form a loop",
    ))
}

/// A node's own transform.
fn local(node: &gltf::json::Node, index: usize, remarks: &mut Remarks) -> Result<Local, Fault> {
    let place = format!("/nodes/{index}");
    let parts = (node.translation, node.rotation, node.scale);
    if let Some(numbers) = node.matrix {
        if !matches!(parts, (None, None, None)) {
            let say =
                "This node has a matrix and also a translation, rotation or scale; only the matrix is used.";
            remarks.add(
                "node_matrix_and_parts",
                place.clone(),
                say,
                "Export the file again.",
            );
        }
        let matrix = affine(&numbers, &format!("{place}/matrix"), "the node's matrix")?;
        if has_shear(&matrix) {
            let say = "This node's matrix is sheared; no rotation and scale can stand for it.";
            remarks.add(
                "node_matrix_shear",
                format!("{place}/matrix"),
                say,
                "Apply the transforms before the export.",
            );
        }
        return Ok(Local::Matrix(matrix));
    }
    let translation = node.translation.unwrap_or([0.0; 3]);
    let rotation = node.rotation.map_or([0.0, 0.0, 0.0, 1.0], |rotation| rotation.0);
    let scale = node.scale.unwrap_or([1.0; 3]);
    if translation
        .iter()
        .chain(&rotation)
        .chain(&scale)
        .any(|number| !number.is_finite())
    {
        return Err(Fault::broken(
            place,
            "the node's transform has a number that is not finite",
        ));
    }
    let [x, y, z, w] = rotation.map(f64::from);
    let quaternion = Quaternion::new(w, x, y, z);
    if quaternion.norm() < 1e-6 {
        return Err(Fault::broken(
            format!("{place}/rotation"),
            "the node's rotation is zero, which is no rotation",
        ));
    }
    if (quaternion.norm() - 1.0).abs() > 1e-3 {
        let say = "This node's rotation does not have length 1; it is used at length 1.";
        remarks.add(
            "node_rotation_not_unit",
            format!("{place}/rotation"),
            say,
            "Export the file again.",
        );
    }
    Ok(Local::Parts {
        translation: Vector3::from(translation.map(f64::from)),
        rotation: UnitQuaternion::from_quaternion(quaternion),
        scale: Vector3::from(scale.map(f64::from)),
    })
}

/// Sixteen numbers, column by column, as an affine matrix with an exact last row.
pub(super) fn affine(numbers: &[f32; 16], place: &str, what: &str) -> Result<Matrix4<f64>, Fault> {
    if numbers.iter().any(|number| !number.is_finite()) {
        return Err(Fault::broken(
            place,
            format!("{what} has a number that is not finite"),
        ));
    }
    let mut matrix = Matrix4::from_iterator(numbers.iter().copied().map(f64::from));
    let last = [0.0, 0.0, 0.0, 1.0];
    // Exporters that invert in single precision leave a few 1e-7 there; more is another kind of matrix.
    if last
        .iter()
        .enumerate()
        .any(|(column, expected): (usize, &f64)| (matrix[(3, column)] - expected).abs() > 1e-5)
    {
        return Err(Fault::broken(
            place,
            format!("the fourth row of {what} is not 0 0 0 1"),
        ));
    }
    last.iter()
        .enumerate()
        .for_each(|(column, &value)| matrix[(3, column)] = value);
    Ok(matrix)
}

/// Whether the axes of a matrix are further than 0.06 degrees from a right angle.
fn has_shear(matrix: &Matrix4<f64>) -> bool {
    let axis = |column: usize| matrix.fixed_view::<3, 1>(0, column).into_owned();
    let slanted = |a: Vector3<f64>, b: Vector3<f64>| a.dot(&b).abs() > 1e-3 * a.norm() * b.norm();
    slanted(axis(0), axis(1)) || slanted(axis(1), axis(2)) || slanted(axis(2), axis(0))
}
