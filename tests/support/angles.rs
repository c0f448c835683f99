//! A body, and how far the angles it takes are from those it was asked for.

use gusset::pose::{Angles, Motion, PoseFrame, stand};
use gusset::rig::anatomy::{Anatomy, sign};
use gusset::rig::bone::{Bone, Side};
use gusset::rig::skeleton::Skeleton;
use nalgebra::{Matrix4, Rotation3, Vector3};
use std::collections::BTreeMap;

pub(crate) struct Body {
    pub(crate) skeleton: Skeleton,
    pub(crate) anatomy: Anatomy,
}

/// Where a bone's joint is, where the rig has it.
pub(crate) fn at(body: &Body, world: &[Matrix4<f64>], bone: Bone) -> Option<Vector3<f64>> {
    let node = body.skeleton.roles.node(bone)?;
    Some(world[node].fixed_view::<3, 1>(0, 3).into_owned())
}

/// Per bone the largest difference, degrees, of what a frame asks and what the body then has; a bone the frame leaves
/// alone or at `bind` is asked for what it had at the bind.
pub(crate) fn off_deg(body: &Body, frame: &PoseFrame) -> Vec<(Bone, f64)> {
    let Body { skeleton, anatomy } = body;
    let bound = stand::effective(skeleton, anatomy, &stand::at_bind(skeleton));
    let taken = stand::effective(skeleton, anatomy, &stand::take(skeleton, anatomy, frame));
    assert_eq!(bound.len(), taken.len());
    let mut all = Vec::new();
    for (bone, taken) in &taken {
        assert!(
            taken.values().all(|angle| angle.is_finite()),
            "{}: {taken:?}",
            bone.name()
        );
        let asked: BTreeMap<Motion, f64> = match frame.angles.get(bone) {
            None | Some(Angles::Bind) => bound[bone].clone(),
            Some(angles) => taken
                .keys()
                .map(|&motion| (motion, angles.get(motion).unwrap()))
                .collect(),
        };
        all.push((*bone, apart(*bone, &asked, taken).to_degrees()));
    }
    for bone in frame.angles.keys() {
        let known = skeleton.roles.node(*bone).is_none() || taken.contains_key(bone);
        assert!(known, "{} has a joint and no angle", bone.name());
    }
    all
}

fn apart(bone: Bone, asked: &BTreeMap<Motion, f64>, taken: &BTreeMap<Motion, f64>) -> f64 {
    if let Bone::UpperArm(side) = bone {
        // An arm has many names for one place (straight down, swung back): compare the places.
        // (The distance of the matrices: an angle from their trace would be NaN for equal ones.)
        let apart = shoulder(side, asked).matrix() - shoulder(side, taken).matrix();
        return apart.norm() / std::f64::consts::SQRT_2;
    }
    asked
        .iter()
        .map(|(motion, asked)| (asked - taken[motion]).abs())
        .fold(0.0, f64::max)
}

/// `Ry(-plane) Rz(elevation) Ry(plane + rotation)`, mirrored on the right: the pose library's definition.
fn shoulder(side: Side, angles: &BTreeMap<Motion, f64>) -> Rotation3<f64> {
    let [plane, elevation, rotation] =
        [Motion::Plane, Motion::Elevation, Motion::Rotation].map(|motion| sign(side) * angles[&motion]);
    Rotation3::from_axis_angle(&Vector3::y_axis(), -plane)
        * Rotation3::from_axis_angle(&Vector3::z_axis(), elevation)
        * Rotation3::from_axis_angle(&Vector3::y_axis(), plane + rotation)
}
