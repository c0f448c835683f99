//! Rig and joint matrices to posed surfaces: who drives whom, and linear-blend skinning.
//!
//! A garment is driven by the body as in a runtime: position and rotation come from the body's joint, the garment's
//! joint keeps its own world scale at rest, and each surface goes through its own inverse bind matrices (DESIGN 4).

use crate::rig::skeleton::Skeleton;
use crate::rig::surface::{Surface, polar};
use nalgebra::{Matrix4, Rotation3, Vector3};

/// Which joint of a driving skeleton each joint of the driven one follows.
#[derive(Clone, Debug)]
pub struct Pairing {
    /// By driven node: the driver's node; `None` for a joint only the driven rig has.
    pub driver: Vec<Option<usize>>,
}

impl Pairing {
    /// Pairs joints by name, then by role. Names must be non-empty; the first of equal names counts.
    pub fn new(driven: &Skeleton, driver: &Skeleton) -> Self {
        let by_name = |name: &str| {
            (!name.is_empty())
                .then(|| driver.joints.iter().position(|joint| joint.name == name))
                .flatten()
        };
        let by_role = |node: usize| driver.roles.node(driven.roles.bone(node)?);
        Self {
            driver: (0..driven.joints.len())
                .map(|node| by_name(&driven.joints[node].name).or_else(|| by_role(node)))
                .collect(),
        }
    }

    /// The pairing seen from the other side.
    #[must_use]
    pub fn reversed(&self, driver_joints: usize) -> Self {
        let mut reversed = vec![None; driver_joints];
        for (driven, driver) in self.driver.iter().enumerate() {
            if let Some(driver) = *driver {
                reversed[driver].get_or_insert(driven);
            }
        }
        Self { driver: reversed }
    }
}

/// World matrices of a driven skeleton's nodes that follow a driver's.
///
/// A joint without a partner moves rigidly with its nearest paired ancestor; above all paired joints, with the first
/// paired joint there is.
pub fn follow(driven: &Skeleton, pairing: &Pairing, driver_world: &[Matrix4<f64>]) -> Vec<Matrix4<f64>> {
    let mut placed: Vec<(Rotation3<f64>, Vector3<f64>)> = Vec::with_capacity(driven.joints.len());
    let of_driver = |node: usize| {
        let matrix = &driver_world[node];
        (polar(matrix).0, matrix.fixed_view::<3, 1>(0, 3).into_owned())
    };
    let first = pairing
        .driver
        .iter()
        .enumerate()
        .find_map(|(node, driver)| Some((node, of_driver((*driver)?))));
    for (node, joint) in driven.joints.iter().enumerate() {
        let here = match (pairing.driver[node], joint.parent) {
            (Some(driver), _) => of_driver(driver),
            (None, Some(parent)) => carried(driven, node, parent, &placed[parent]),
            (None, None) => match &first {
                Some((anchor, at)) => carried(driven, node, *anchor, at),
                None => (joint.rotation, joint.position),
            },
        };
        placed.push(here);
    }
    driven
        .joints
        .iter()
        .zip(&placed)
        .map(|(joint, (rotation, position))| {
            let mut world = Matrix4::identity();
            world
                .fixed_view_mut::<3, 3>(0, 0)
                .copy_from(&(rotation.matrix() * joint.stretch));
            world.fixed_view_mut::<3, 1>(0, 3).copy_from(position);
            world
        })
        .collect()
}

/// Where a node goes that moves rigidly with another one.
fn carried(
    skeleton: &Skeleton,
    node: usize,
    with: usize,
    at: &(Rotation3<f64>, Vector3<f64>),
) -> (Rotation3<f64>, Vector3<f64>) {
    let (joint, carrier) = (&skeleton.joints[node], &skeleton.joints[with]);
    let turn = at.0 * carrier.rotation.inverse();
    (
        turn * joint.rotation,
        at.1 + turn * (joint.position - carrier.position),
    )
}

/// The matrix of each of a surface's binds: three rows of four, from the surface's space to the posed world.
pub fn palette(surface: &Surface, world: &[Matrix4<f64>]) -> Vec<[[f32; 4]; 3]> {
    surface
        .binds
        .iter()
        .map(|bind| {
            let matrix = world[bind.node] * bind.inverse;
            std::array::from_fn(|row| std::array::from_fn(|column| narrow(matrix[(row, column)])))
        })
        .collect()
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "positions and palettes are f32 (DESIGN 2)"
)]
fn narrow(value: f64) -> f32 {
    value as f32
}

/// Linear-blend skinning: posed positions in metres, one per vertex of the surface, into `out`.
///
/// Weight rows are used as the file has them; a vertex whose result is not finite is put at the origin, and is one
/// of [`Surface::faulty`].
pub fn blend(surface: &Surface, palette: &[[[f32; 4]; 3]], out: &mut Vec<[f32; 3]>) {
    blend_from(surface, &surface.positions, palette, out);
}

/// As [`blend`], of the size that is worn.
pub fn blend_grown(surface: &Surface, palette: &[[[f32; 4]; 3]], out: &mut Vec<[f32; 3]>) {
    blend_from(surface, &surface.grown(), palette, out);
}

fn blend_from(surface: &Surface, positions: &[[f32; 3]], palette: &[[[f32; 4]; 3]], out: &mut Vec<[f32; 3]>) {
    out.clear();
    let rows = &surface.rows;
    out.extend(positions.iter().enumerate().map(|(vertex, p)| {
        let span = rows.starts[vertex] as usize..rows.starts[vertex + 1] as usize;
        let mut sum = [[0.0f32; 4]; 3];
        for (&bind, &weight) in rows.binds[span.clone()].iter().zip(&rows.weights[span]) {
            let matrix = &palette[usize::from(bind)];
            for (total, row) in sum.iter_mut().zip(matrix) {
                for (total, value) in total.iter_mut().zip(row) {
                    *total += weight * value;
                }
            }
        }
        let posed = sum.map(|row| row[0] * p[0] + row[1] * p[1] + row[2] * p[2] + row[3]);
        if posed.iter().all(|value| value.is_finite()) {
            posed
        } else {
            [0.0; 3]
        }
    }));
}
