//! What one rigged file holds, after every check at the door.
//!
//! A [`Rig`] is plain data in the order a reader wants it: nodes with parents first, one [`Mesh`] per
//! primitive with its weight rows exactly as the file has them, clips as keyframes. Nothing here is mended.

pub mod bone; // VRM 1.0 humanoid bones: names, sides, parents
pub mod gltf; // the only room that names the gltf crate
pub mod names; // a joint's name -> bone
pub mod roles; // nodes -> roles
mod tree_shape; // roles where no name says
pub mod morph; // shape keys -> another shape
pub mod fix; // units and axes that a user states
pub mod sized; // another size of the same body
pub mod surface; // meshes -> one surface in metres
pub mod hidden; // skin that the wearer hides
pub mod skeleton; // joints at the bind, with roles
pub mod anatomy; // frames and angles at the bind
pub mod part; // what a bone moves: left thigh, torso

use nalgebra::{Matrix4, UnitQuaternion, Vector3};

/// One file with joints and skinned meshes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rig {
    /// The file's name without folder and ending, as shown to people.
    pub name: String,
    /// All nodes of the file, parents before children.
    pub nodes: Vec<Node>,
    /// Every triangle primitive that is skinned, or that hangs rigidly under a joint.
    pub meshes: Vec<Mesh>,
    /// Animation clips, in file order.
    pub clips: Vec<Clip>,
    /// Roles stated by the file itself (`VRMC_vrm`, or the 0.x extension `VRM`): VRM 1.0 bone name and node index.
    pub stated_roles: Vec<(String, usize)>,
    /// Things the reader noticed that are worth a line on the rig page.
    pub remarks: Vec<Remark>,
}

/// Something the reader noticed and did not change.
#[derive(Clone, Debug, PartialEq)]
pub struct Remark {
    /// Stable name, `snake_case`.
    pub code: &'static str,
    /// JSON pointer into the file.
    pub place: String,
    /// One sentence.
    pub say: String,
    /// What the maker can do about it.
    pub help: String,
}

/// A node of the scene graph.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// As in the file; empty where the file has none.
    pub name: String,
    /// Index into [`Rig::nodes`], always smaller than this node's own.
    pub parent: Option<usize>,
    /// Transform relative to the parent as the file has it (metres, before any clip).
    pub local: Local,
    /// The node's index in the file, for JSON pointers.
    pub file_index: usize,
}

/// A node's transform relative to its parent.
#[derive(Clone, Debug, PartialEq)]
pub enum Local {
    /// Translation, rotation, scale: the only form a clip can animate.
    Parts {
        /// Metres in the parent's frame.
        translation: Vector3<f64>,
        /// Unit quaternion.
        rotation: UnitQuaternion<f64>,
        /// Per axis; 1 is unscaled.
        scale: Vector3<f64>,
    },
    /// Any affine matrix.
    Matrix(Matrix4<f64>),
}

impl Local {
    /// No translation, no rotation, unit scale.
    pub fn identity() -> Self {
        Self::Parts {
            translation: Vector3::zeros(),
            rotation: UnitQuaternion::identity(),
            scale: Vector3::repeat(1.0),
        }
    }

    /// The same transform as a 4 x 4 matrix (column vectors).
    pub fn matrix(&self) -> Matrix4<f64> {
        match self {
            Self::Parts {
                translation,
                rotation,
                scale,
            } => {
                Matrix4::new_translation(translation)
                    * rotation.to_homogeneous()
                    * Matrix4::new_nonuniform_scaling(scale)
            }
            Self::Matrix(matrix) => *matrix,
        }
    }
}

/// A joint as one skin uses it.
#[derive(Clone, Debug, PartialEq)]
pub struct Bind {
    /// Index into [`Rig::nodes`].
    pub node: usize,
    /// From the mesh's own space to the joint's, finite, fourth row (0, 0, 0, 1).
    pub inverse_bind: Matrix4<f64>,
}

/// One triangle primitive.
#[derive(Clone, Debug, PartialEq)]
pub struct Mesh {
    /// Node name, else mesh name, else `mesh 3`.
    pub name: String,
    /// Material name; empty where there is none.
    pub material: String,
    /// JSON pointer of the primitive, `/meshes/0/primitives/1`.
    pub place: String,
    /// The joints that move it. A rigid mesh has exactly one, and weight rows of 1 on it.
    pub binds: Vec<Bind>,
    /// False for an unskinned mesh that rides on a joint.
    pub skinned: bool,
    /// In the mesh's own space and units, as the file has them. Always finite.
    pub positions: Vec<[f32; 3]>,
    /// First texture coordinates, one per vertex.
    pub uvs: Option<Vec<[f32; 2]>>,
    /// Counter-clockwise corners; strips and fans are already unrolled.
    pub triangles: Vec<[u32; 3]>,
    /// Weight rows over all influence sets of the file.
    pub rows: Rows,
    /// Morph targets with their position deltas.
    pub morphs: Vec<Morph>,
    /// Vertices that the file marks as hidden by the wearer (attribute `_HIDDEN`); empty where there is no mark.
    pub hidden: Vec<bool>,
}

/// Weight rows, one per vertex, as the file has them: not sorted, not normalised, zero weights dropped.
/// A weight may be NaN, infinite or negative: that is a finding, not an error.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rows {
    /// `starts[v] .. starts[v + 1]` are vertex `v`'s entries. Length: vertices + 1.
    pub starts: Vec<u32>,
    /// Index into [`Mesh::binds`], always in range.
    pub binds: Vec<u16>,
    /// Weight, as stored.
    pub weights: Vec<f32>,
}

impl Rows {
    /// The (bind, weight) entries of one vertex.
    pub fn row(&self, vertex: usize) -> impl Iterator<Item = (usize, f32)> + '_ {
        let span = self.starts[vertex] as usize..self.starts[vertex + 1] as usize;
        self.binds[span.clone()]
            .iter()
            .map(|&bind| usize::from(bind))
            .zip(self.weights[span].iter().copied())
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.starts.len().saturating_sub(1)
    }

    /// True where there are no rows.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// A morph target.
#[derive(Clone, Debug, PartialEq)]
pub struct Morph {
    /// From `extras.targetNames`, else `morph 2`.
    pub name: String,
    /// Added to the positions at weight 1; one per vertex, in the mesh's own space.
    pub deltas: Vec<[f32; 3]>,
    /// The mesh's own default weight.
    pub weight: f64,
}

/// An animation clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    /// As in the file, else `clip 2`.
    pub name: String,
    /// Joint channels only; a target is animated by at most one channel a path.
    pub channels: Vec<Channel>,
}

/// One animated property of one node.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// Index into [`Rig::nodes`].
    pub node: usize,
    /// What is animated.
    pub path: Path,
    /// Seconds, strictly increasing, finite.
    pub times_s: Vec<f32>,
    /// How values between keys are found.
    pub interpolation: Interpolation,
    /// Keys in order, [x, y, z, 0] or quaternion [x, y, z, w]; for cubic splines in-tangent, value, out-tangent a key.
    pub values: Vec<[f32; 4]>,
}

/// The animated property.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Path {
    /// Metres.
    Translation,
    /// Quaternion.
    Rotation,
    /// Per axis.
    Scale,
}

/// glTF 2.0, section 3.11 and appendix C.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Interpolation {
    /// Straight between keys; quaternions along the shorter arc.
    Linear,
    /// Holds the earlier key.
    Step,
    /// Hermite spline with the file's tangents.
    CubicSpline,
}

impl Rig {
    /// World matrices of all nodes for given locals (one per node).
    pub fn world(&self, locals: &[Matrix4<f64>]) -> Vec<Matrix4<f64>> {
        let mut world: Vec<Matrix4<f64>> = Vec::with_capacity(locals.len());
        for (node, local) in self.nodes.iter().zip(locals) {
            world.push(node.parent.map_or(*local, |parent| world[parent] * local));
        }
        world
    }

    /// World matrices as the file's nodes stand, before any clip.
    pub fn rest_world(&self) -> Vec<Matrix4<f64>> {
        self.world(
            &self
                .nodes
                .iter()
                .map(|node| node.local.matrix())
                .collect::<Vec<_>>(),
        )
    }
}
