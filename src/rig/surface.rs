//! Which skin is it, in metres and upright: chosen meshes of a rig as one surface at its own bind.
//!
//! The mesh in a file may be in centimetres, lie on its back or stand in another pose than the nodes do; only
//! the inverse bind matrices say how it was skinned. Everything after this file sees metres in world axes.

use super::{Rig, Rows};
use nalgebra::{Matrix3, Matrix4, Point3, Rotation3};
use std::borrow::Cow;
use std::collections::BTreeMap;

/// A joint as a surface uses it.
#[derive(Clone, Debug)]
pub struct SurfaceBind {
    /// Index into [`Rig::nodes`].
    pub node: usize,
    /// From the surface's space (metres, world axes) to the joint's own.
    pub inverse: Matrix4<f64>,
}

/// Skinned triangles in metres, world axes, at the pose they were skinned in.
#[derive(Clone, Debug)]
pub struct Surface {
    /// Shown to people.
    pub name: String,
    /// Metres; vertices no triangle uses are left out.
    pub positions: Vec<[f32; 3]>,
    /// Corners, as in the file.
    pub triangles: Vec<[u32; 3]>,
    /// First texture coordinates, where every chosen mesh has them.
    pub uvs: Option<Vec<[f32; 2]>>,
    /// Weight rows over [`Self::binds`], as the file has them.
    pub rows: Rows,
    /// Joints of all chosen meshes.
    pub binds: Vec<SurfaceBind>,
    /// Where each vertex came from: index of the mesh in [`Rig::meshes`], vertex in that mesh.
    pub sources: Vec<(u32, u32)>,
    /// What took the mesh's space to metres in world axes.
    pub to_world: Axes,
    /// Vertices whose weight row is faulty: left out of every measure.
    pub faulty: Vec<bool>,
    /// Triangles that the wearer hides.
    pub hidden: Vec<bool>,
    /// What a size adds to each position before it is skinned, metres; empty for none. As built nothing is added.
    pub growth: Vec<[f32; 3]>,
}

impl Surface {
    /// The positions that are skinned: as built, with what the size adds.
    pub fn grown(&self) -> Cow<'_, [[f32; 3]]> {
        if self.growth.is_empty() {
            return Cow::Borrowed(&self.positions);
        }
        let sum = |(at, by): (&[f32; 3], &[f32; 3])| std::array::from_fn(|axis| at[axis] + by[axis]);
        Cow::Owned(self.positions.iter().zip(&self.growth).map(sum).collect())
    }
}

/// How a mesh's own space lies in the world.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axes {
    /// Metres per mesh unit.
    pub scale: f64,
    /// True where the mesh's axes are the world's.
    pub upright: bool,
    /// True where the nodes of the file stand in the pose the mesh was skinned in.
    pub rest_is_bind: bool,
}

/// Weights of one row whose sum differs from 1 by more than this are a fault (DESIGN 4).
pub const ROW_SUM_TOLERANCE: f64 = 1e-3;

/// Merges the chosen meshes (indices into [`Rig::meshes`]) into one surface.
pub fn assemble(rig: &Rig, chosen: &[usize], name: &str) -> Surface {
    let rest = rig.rest_world();
    let mut surface = Surface {
        name: name.to_owned(),
        positions: Vec::new(),
        triangles: Vec::new(),
        uvs: chosen
            .iter()
            .all(|&mesh| rig.meshes[mesh].uvs.is_some())
            .then(Vec::new),
        rows: Rows {
            starts: vec![0],
            ..Rows::default()
        },
        binds: Vec::new(),
        sources: Vec::new(),
        to_world: Axes {
            scale: 1.0,
            upright: true,
            rest_is_bind: true,
        },
        faulty: Vec::new(),
        hidden: Vec::new(),
        growth: Vec::new(),
    };
    for (order, &mesh) in chosen.iter().enumerate() {
        let (to_world, axes) = mesh_to_world(rig, mesh, &rest);
        if order == 0 {
            surface.to_world = axes;
        }
        append(&mut surface, rig, mesh, &to_world);
    }
    surface.faulty = (0..surface.positions.len())
        .map(|vertex| row_is_faulty(&surface.rows, vertex))
        .collect();
    surface
}

fn append(surface: &mut Surface, rig: &Rig, index: usize, to_world: &Matrix4<f64>) {
    let mesh = &rig.meshes[index];
    let from_world = to_world.try_inverse().unwrap_or_else(Matrix4::identity);
    let first_bind = surface.binds.len();
    surface.binds.extend(mesh.binds.iter().map(|bind| SurfaceBind {
        node: bind.node,
        inverse: bind.inverse_bind * from_world,
    }));
    let mut renumbered = vec![u32::MAX; mesh.positions.len()];
    for triangle in &mesh.triangles {
        for &corner in triangle {
            let vertex = corner as usize;
            if renumbered[vertex] != u32::MAX {
                continue;
            }
            renumbered[vertex] = count(surface.positions.len());
            let position = Point3::from(mesh.positions[vertex].map(f64::from));
            surface
                .positions
                .push(to_f32(&to_world.transform_point(&position)));
            if let (Some(all), Some(own)) = (&mut surface.uvs, &mesh.uvs) {
                all.push(own[vertex]);
            }
            for (bind, weight) in mesh.rows.row(vertex) {
                surface
                    .rows
                    .binds
                    .push(u16::try_from(first_bind + bind).unwrap_or(u16::MAX));
                surface.rows.weights.push(weight);
            }
            surface.rows.starts.push(count(surface.rows.binds.len()));
            surface.sources.push((count(index), corner));
        }
    }
    surface.triangles.extend(
        mesh.triangles
            .iter()
            .map(|t| t.map(|corner| renumbered[corner as usize])),
    );
    let is_hidden = |corner: &u32| mesh.hidden.get(*corner as usize).copied().unwrap_or(false);
    surface
        .hidden
        .extend(mesh.triangles.iter().map(|t| t.iter().all(is_hidden)));
}

fn count(length: usize) -> u32 {
    u32::try_from(length).expect("the reader caps vertices and weights far below 2^32")
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "positions are kept in f32 (DESIGN 2)"
)]
fn to_f32(point: &Point3<f64>) -> [f32; 3] {
    [point.x as f32, point.y as f32, point.z as f32]
}

/// True for a row that is empty, has a weight that is not finite, or does not add up to 1.
pub fn row_is_faulty(rows: &Rows, vertex: usize) -> bool {
    row_fault(rows, vertex).is_some()
}

/// What a weight row is, where it cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum RowFault {
    /// A weight that is not a number, or infinite.
    NotFinite,
    /// A weight below 0, whatever the sum is.
    Negative,
    /// No weight at all.
    Zero,
    /// The sum is further than [`ROW_SUM_TOLERANCE`] from 1.
    Unnormalised,
}

/// The first fault of a weight row; `None` for one that can be used.
pub fn row_fault(rows: &Rows, vertex: usize) -> Option<RowFault> {
    let sum: f64 = rows.row(vertex).map(|(_, weight)| f64::from(weight)).sum();
    let any = |bad: fn(f32) -> bool| rows.row(vertex).any(|(_, weight)| bad(weight));
    if any(|weight| !weight.is_finite()) {
        Some(RowFault::NotFinite)
    } else if any(|weight| weight < 0.0) {
        Some(RowFault::Negative)
    } else if sum == 0.0 {
        Some(RowFault::Zero)
    } else if (sum - 1.0).abs() > ROW_SUM_TOLERANCE {
        Some(RowFault::Unnormalised)
    } else {
        None
    }
}

/// The map from a mesh's space to the world at its bind.
///
/// Where the nodes stand at the bind, node world times inverse bind is one matrix for all joints: that is the map.
/// Where they do not, the root-most joint's is taken, its rotation turned to the nearest right-angled one, since
/// meshes are modelled upright in some axes, and the scale is the median over all joints.
pub(super) fn mesh_to_world(rig: &Rig, mesh: usize, rest: &[Matrix4<f64>]) -> (Matrix4<f64>, Axes) {
    let mesh = &rig.meshes[mesh];
    let mut used: BTreeMap<usize, ()> = BTreeMap::new();
    for (&bind, &weight) in mesh.rows.binds.iter().zip(&mesh.rows.weights) {
        if weight > 0.0 {
            used.insert(usize::from(bind), ());
        }
    }
    let maps: Vec<Matrix4<f64>> = used
        .keys()
        .map(|&bind| rest[mesh.binds[bind].node] * mesh.binds[bind].inverse_bind)
        .collect();
    // Nodes are sorted parents first, so the smallest node index is nearest to the root.
    let Some(first) = used.keys().min_by_key(|&&bind| mesh.binds[bind].node) else {
        return (
            Matrix4::identity(),
            Axes {
                scale: 1.0,
                upright: true,
                rest_is_bind: true,
            },
        );
    };
    let root = rest[mesh.binds[*first].node] * mesh.binds[*first].inverse_bind;
    let size = root.norm().max(1e-12);
    let same = maps.iter().all(|map| (map - root).norm() < 2e-3 * size);
    let scale = median_scale(&maps);
    let linear: Matrix3<f64> = root.fixed_view::<3, 3>(0, 0).into_owned();
    if same {
        let upright = (linear / scale - Matrix3::identity()).norm() < 0.05;
        return (
            root,
            Axes {
                scale,
                upright,
                rest_is_bind: true,
            },
        );
    }
    let turned = nearest_right_angled(&linear);
    let anchor = mesh.binds[*first]
        .inverse_bind
        .try_inverse()
        .unwrap_or_else(Matrix4::identity);
    let anchor_in_mesh = Point3::from(anchor.fixed_view::<3, 1>(0, 3).into_owned());
    let anchor_in_world = rest[mesh.binds[*first].node]
        .fixed_view::<3, 1>(0, 3)
        .into_owned();
    let mut map = Matrix4::identity();
    map.fixed_view_mut::<3, 3>(0, 0).copy_from(&(turned * scale));
    let moved = map.transform_point(&anchor_in_mesh);
    map.fixed_view_mut::<3, 1>(0, 3)
        .copy_from(&(anchor_in_world - moved.coords));
    (
        map,
        Axes {
            scale,
            upright: (turned - Matrix3::identity()).norm() < 1e-9,
            rest_is_bind: false,
        },
    )
}

fn median_scale(maps: &[Matrix4<f64>]) -> f64 {
    let mut scales: Vec<f64> = maps
        .iter()
        .map(|map| map.fixed_view::<3, 3>(0, 0).determinant().abs().cbrt())
        .collect();
    scales.sort_by(f64::total_cmp);
    scales
        .get(scales.len() / 2)
        .copied()
        .filter(|scale| *scale > 1e-12)
        .unwrap_or(1.0)
}

/// Of the 24 rotations that map axes to axes, the one nearest to a matrix.
fn nearest_right_angled(linear: &Matrix3<f64>) -> Matrix3<f64> {
    let mut best = (f64::MIN, Matrix3::identity());
    for x in 0..3 {
        for y in (0..3).filter(|&y| y != x) {
            for signs in 0..4u8 {
                let sign = |bit: u8| if signs >> bit & 1 == 0 { 1.0 } else { -1.0 };
                let (mut a, mut b) = (nalgebra::Vector3::zeros(), nalgebra::Vector3::zeros());
                a[x] = sign(0);
                b[y] = sign(1);
                let candidate = Matrix3::from_columns(&[a, b, a.cross(&b)]);
                let likeness = candidate.component_mul(linear).sum();
                if likeness > best.0 {
                    best = (likeness, candidate);
                }
            }
        }
    }
    best.1
}

/// The rotation and the right stretch of a joint's matrix: `linear = rotation * stretch`.
///
/// A mirrored joint (negative determinant) keeps a proper rotation and a negative stretch.
pub fn polar(matrix: &Matrix4<f64>) -> (Rotation3<f64>, Matrix3<f64>) {
    let linear: Matrix3<f64> = matrix.fixed_view::<3, 3>(0, 0).into_owned();
    let sign = if linear.determinant() < 0.0 { -1.0 } else { 1.0 };
    let svd = (linear * sign).svd(true, true);
    let (Some(u), Some(v_t)) = (svd.u, svd.v_t) else {
        return (Rotation3::identity(), linear);
    };
    let mut rotation = u * v_t;
    if rotation.determinant() < 0.0 {
        // A joint with a zero scale: any proper rotation that agrees on what is left.
        let mut flipped = u;
        flipped.column_mut(2).neg_mut();
        rotation = flipped * v_t;
    }
    (
        Rotation3::from_matrix_unchecked(rotation),
        rotation.transpose() * linear,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector3;

    #[test]
    fn polar_takes_a_scaled_turn_apart() {
        let turn = Rotation3::from_euler_angles(0.3, -0.7, 1.1);
        let stretch = Matrix3::from_diagonal(&Vector3::new(0.01, 0.02, 0.03));
        let mut matrix = Matrix4::identity();
        matrix
            .fixed_view_mut::<3, 3>(0, 0)
            .copy_from(&(turn.matrix() * stretch));
        let (rotation, found) = polar(&matrix);
        assert!((rotation.matrix() - turn.matrix()).norm() < 1e-12);
        assert!((found - stretch).norm() < 1e-12);
    }

    #[test]
    fn a_leaning_z_up_map_is_stood_upright() {
        let z_up = Rotation3::from_axis_angle(&Vector3::x_axis(), -std::f64::consts::FRAC_PI_2);
        let lean = Rotation3::from_axis_angle(&Vector3::z_axis(), 0.3);
        let found = nearest_right_angled((lean * z_up).matrix());
        assert!((found - z_up.matrix()).norm() < 1e-9);
    }
}
