//! What a file can say wrongly: rows, faces, units, axes, bind, joints.

use super::leg::{Leg, Point};
use crate::rig::{Local, Rig};
use nalgebra::{Matrix3, UnitQuaternion, Vector3};

/// The row nearest to the knee keeps this share of its weights.
pub(super) fn scale_row(rig: &mut Rig, leg: &Leg, factor: f32) {
    let mesh = &mut rig.meshes[0];
    let away = |position: &[f32; 3]| (Point::from(position.map(f64::from)) - leg.knee).norm();
    let nearest = (0..mesh.positions.len()).min_by(|a, b| {
        away(&mesh.positions[*a])
            .total_cmp(&away(&mesh.positions[*b]))
            .then(a.cmp(b))
    });
    let Some(vertex) = nearest else { return };
    let span = mesh.rows.starts[vertex] as usize..mesh.rows.starts[vertex + 1] as usize;
    if factor > 0.0 {
        mesh.rows.weights[span]
            .iter_mut()
            .for_each(|weight| *weight *= factor);
        return;
    }
    let dropped = span.len() as u32;
    mesh.rows.weights.drain(span.clone());
    mesh.rows.binds.drain(span);
    mesh.rows.starts[vertex + 1..]
        .iter_mut()
        .for_each(|start| *start -= dropped);
}

/// Turns the first panel: all that hangs together with the first triangle by shared vertices. Cloth in one piece has its
/// front turned on the chosen leg.
pub(super) fn turn_panel(rig: &mut Rig, leg: &Leg) {
    let mesh = &mut rig.meshes[0];
    let mut panel = first_panel(&mesh.triangles, mesh.positions.len());
    if panel.iter().all(|turned| *turned) {
        let side = leg.knee.x.signum();
        panel = (mesh.triangles.iter())
            .map(|corners| {
                corners.iter().all(|&vertex| {
                    let at = Point::from(mesh.positions[vertex as usize].map(f64::from));
                    at.x * side > 0.0 && at.z > leg.knee.z
                })
            })
            .collect();
    }
    for (triangle, _) in mesh.triangles.iter_mut().zip(panel).filter(|(_, turned)| *turned) {
        triangle.swap(1, 2);
    }
}

/// By triangle: whether it hangs together with the first.
fn first_panel(triangles: &[[u32; 3]], vertices: usize) -> Vec<bool> {
    let mut reached = vec![false; vertices];
    if let Some(first) = triangles.first() {
        first.iter().for_each(|&vertex| reached[vertex as usize] = true);
    }
    loop {
        let mut grown = false;
        for corners in triangles {
            let touches = corners.iter().any(|&vertex| reached[vertex as usize]);
            if touches && !corners.iter().all(|&vertex| reached[vertex as usize]) {
                corners.iter().for_each(|&vertex| reached[vertex as usize] = true);
                grown = true;
            }
        }
        if !grown {
            break;
        }
    }
    triangles
        .iter()
        .map(|corners| reached[corners[0] as usize])
        .collect()
}

/// Its thighs are this many times as long.
pub(super) fn lengthen(rig: &mut Rig, times: f64) {
    let wanted = ["leftLowerLeg", "rightLowerLeg"];
    for node in rig
        .nodes
        .iter_mut()
        .filter(|node| wanted.contains(&node.name.as_str()))
    {
        if let Local::Parts { translation, .. } = &mut node.local {
            *translation *= times;
        }
    }
    bind_at_rest(rig);
}

/// The inverse bind matrices of the skeleton as it rests.
fn bind_at_rest(rig: &mut Rig) {
    let world = rig.rest_world();
    for bind in &mut rig.meshes[0].binds {
        if let Some(inverse) = world[bind.node].try_inverse() {
            bind.inverse_bind = inverse;
        }
    }
}

/// Bound to thighs that stand wider apart by `angle` (radians) each; the cloth stays where it was.
pub(super) fn bind_apart(rig: &mut Rig, angle: f64) {
    for (name, side) in [("leftUpperLeg", 1.0), ("rightUpperLeg", -1.0)] {
        let Some(at) = rig.nodes.iter().position(|node| node.name == name) else {
            continue;
        };
        // About the world's forward axis, carried into the parent's frame.
        let parent = rig.nodes[at].parent.map(|parent| rig.rest_world()[parent]);
        let axis = parent.map_or(Vector3::z(), |world| {
            let turn: Matrix3<f64> = world.fixed_view::<3, 3>(0, 0).into_owned();
            turn.transpose() * Vector3::z()
        });
        let turn = UnitQuaternion::new(axis.normalize() * (side * angle));
        if let Local::Parts { rotation, .. } = &mut rig.nodes[at].local {
            *rotation = turn * *rotation;
        }
    }
    bind_at_rest(rig);
}

/// In other units.
pub(super) fn enlarge(rig: &mut Rig, times: f32) {
    for position in &mut rig.meshes[0].positions {
        *position = position.map(|value| value * times);
    }
}

/// With its front up, as if another axis were.
pub(super) fn lay_down(rig: &mut Rig) {
    for position in &mut rig.meshes[0].positions {
        let [x, y, z] = *position;
        *position = [x, -z, y];
    }
}
