//! What can go wrong with a garment? Faults planted into clean rigs, one of each obvious kind.

use super::weights::{Row, packed, trimmed};
use crate::rig::Rig;
use nalgebra::Vector3;

/// A planted fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The inside of the right thigh follows the left thigh: found by stretch, lift and contact of the legs.
    Bleed,
}

impl Fault {
    /// All faults, in the order of their definition.
    pub const ALL: [Self; 1] = [Self::Bleed];

    /// Short name for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bleed => "bleed",
        }
    }
}

/// The clean rig with a fault planted. A rig without the joints or places that the fault needs comes back unchanged.
pub fn plant(clean: &Rig, fault: Fault) -> Rig {
    let mut rig = clean.clone();
    match fault {
        Fault::Bleed => bleed(&mut rig),
    }
    rig
}

fn bleed(rig: &mut Rig) {
    let (Some(left), Some(right)) = (bind(rig, "leftUpperLeg"), bind(rig, "rightUpperLeg")) else {
        return;
    };
    let (Some(hip), Some(knee)) = (place(rig, "rightUpperLeg"), place(rig, "rightLowerLeg")) else {
        return;
    };
    let thigh = (hip - knee).norm();
    let middle = hip + (knee - hip) * 0.40 + Vector3::new(0.16 * thigh, 0.0, 0.0);
    change_rows(rig, |point, row| {
        let near = falloff((point - middle).norm() / (0.32 * thigh));
        if point.x >= 0.0 || near == 0.0 {
            return;
        }
        if let Some(entry) = row.iter_mut().find(|(joint, _)| *joint == right) {
            let moved = entry.1 * 0.55 * near;
            entry.1 -= moved;
            add(row, left, moved);
        }
    });
}

/// 1 at 0, 0 from 1 on, smooth between.
fn falloff(share: f64) -> f64 {
    let t = (1.0 - share).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

fn add(row: &mut Row, joint: usize, weight: f64) {
    match row.iter_mut().find(|(index, _)| *index == joint) {
        Some(entry) => entry.1 += weight,
        None => row.push((joint, weight)),
    }
}

/// Index of the bind of the joint with this name, in the first mesh.
fn bind(rig: &Rig, name: &str) -> Option<usize> {
    rig.meshes
        .first()?
        .binds
        .iter()
        .position(|bind| rig.nodes[bind.node].name == name)
}

/// Where a joint stands at rest.
fn place(rig: &Rig, name: &str) -> Option<Vector3<f64>> {
    let node = rig.nodes.iter().position(|node| node.name == name)?;
    Some(rig.rest_world()[node].fixed_view::<3, 1>(0, 3).into_owned())
}

/// Rewrites the weight rows of the first mesh; rows are made whole again.
fn change_rows(rig: &mut Rig, mut change: impl FnMut(&Vector3<f64>, &mut Row)) {
    let mesh = &mut rig.meshes[0];
    let rows: Vec<Row> = (0..mesh.positions.len())
        .map(|vertex| {
            let point = Vector3::from(mesh.positions[vertex].map(f64::from));
            let mut row: Row = mesh
                .rows
                .row(vertex)
                .map(|(joint, weight)| (joint, f64::from(weight)))
                .collect();
            change(&point, &mut row);
            trimmed(row)
        })
        .collect();
    mesh.rows = packed(&rows);
}
