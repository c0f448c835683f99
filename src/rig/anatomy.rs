//! Where is front, how far apart are the thighs: anatomical frames and angles, from joint positions alone.
//!
//! Frames never use a joint's local axes, so a rig's naming, scale, axes and bind pose do not matter (DESIGN 4).
//! Signs: SOURCES of the project's pose library, section ISB order Z-X-Y; glTF axes, left is +X.

use super::bone::{Bone, Side};
use super::skeleton::Skeleton;
use nalgebra::{Matrix3, Rotation3, Vector3};

/// Thigh length of the body all length limits are stated for, metres.
pub const THIGH_OF_LIMITS: f64 = 0.41;

/// Anatomical frames at the bind. Columns are X, Y, Z of the frame in the world.
#[derive(Clone, Debug)]
pub struct Anatomy {
    /// X from right to left hip joint, Y along the trunk, Z to the front.
    pub pelvis: Rotation3<f64>,
    /// Middle of the two hip joints, metres.
    pub mid_hip: Vector3<f64>,
    /// Left leg, then right.
    pub legs: [Leg; 2],
    /// Left arm, then right, where the rig has them.
    pub arms: [Option<Arm>; 2],
    /// Mean hip to knee distance, metres.
    pub thigh_length: f64,
    /// True where the toes point along Z; false where they point back (left and right may be swapped).
    pub toes_to_front: Option<bool>,
}

/// A leg at the bind.
#[derive(Clone, Debug)]
pub struct Leg {
    /// Y from knee to hip, Z the pelvis front made perpendicular.
    pub thigh: Rotation3<f64>,
    /// Knee to ankle in the thigh's frame, unit length; absent without an ankle joint.
    pub shank: Option<Vector3<f64>>,
}

/// An arm at the bind.
#[derive(Clone, Debug)]
pub struct Arm {
    /// Shoulder to elbow, unit length, world.
    pub upper: Vector3<f64>,
    /// Elbow to wrist, unit length, world; absent without a wrist joint.
    pub fore: Option<Vector3<f64>>,
    /// The axis flexion turns about (right-handed, world).
    pub elbow_axis: Vector3<f64>,
    /// Elbow flexion at the bind, radians.
    pub elbow_at_bind: f64,
}

/// Anatomical angles of one thigh relative to the pelvis, radians; flexion, abduction, external rotation positive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HipAngles {
    /// Thigh forward.
    pub flexion: f64,
    /// Thigh outward.
    pub abduction: f64,
    /// Foot outward.
    pub rotation: f64,
}

/// A joint the anatomy cannot do without is missing: its VRM name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no joint found for {0}")]
pub struct MissingBone(pub &'static str);

/// +1 for the left, -1 for the right: what mirrors abduction and rotation.
pub fn sign(side: Side) -> f64 {
    match side {
        Side::Left => 1.0,
        Side::Right => -1.0,
    }
}

/// Index of a side in arrays of two.
pub fn index(side: Side) -> usize {
    match side {
        Side::Left => 0,
        Side::Right => 1,
    }
}

impl Anatomy {
    /// Reads the frames from the skeleton's joint positions.
    ///
    /// # Errors
    /// Both hips and both knees must be known.
    pub fn new(skeleton: &Skeleton) -> Result<Self, MissingBone> {
        let need = |bone: Bone| skeleton.position(bone).ok_or(MissingBone(bone.name()));
        let hips = [
            need(Bone::UpperLeg(Side::Left))?,
            need(Bone::UpperLeg(Side::Right))?,
        ];
        let knees = [
            need(Bone::LowerLeg(Side::Left))?,
            need(Bone::LowerLeg(Side::Right))?,
        ];
        let mid_hip = (hips[0] + hips[1]) / 2.0;
        let up = trunk_direction(skeleton, &mid_hip);
        let pelvis = frame_of(&(hips[0] - hips[1]), &up);
        let legs = Side::BOTH.map(|side| {
            let (hip, knee) = (hips[index(side)], knees[index(side)]);
            let thigh = thigh_frame(&(hip - knee), &pelvis);
            let shank = skeleton
                .position(Bone::Foot(side))
                .and_then(|ankle| unit(&(ankle - knee)));
            Leg {
                thigh,
                shank: shank.map(|shank| thigh.inverse() * shank),
            }
        });
        let front = pelvis * Vector3::z();
        Ok(Self {
            pelvis,
            mid_hip,
            legs,
            arms: Side::BOTH.map(|side| arm(skeleton, side, &front)),
            thigh_length: ((hips[0] - knees[0]).norm() + (hips[1] - knees[1]).norm()) / 2.0,
            toes_to_front: toes(skeleton).map(|toes| toes.dot(&front) > 0.0),
        })
    }

    /// What every length limit is multiplied by: thigh length over [`THIGH_OF_LIMITS`].
    pub fn scale(&self) -> f64 {
        self.thigh_length / THIGH_OF_LIMITS
    }

    /// Hip splay at the bind, radians: hip to knee against the pelvis's vertical in its frontal plane, outward positive.
    pub fn hip_splay(&self, side: Side) -> f64 {
        let down = self.pelvis.inverse() * (self.legs[index(side)].thigh * -Vector3::y());
        (sign(side) * down.x).atan2(-down.y)
    }

    /// Knee flexion at the bind, radians; 0 without an ankle joint.
    pub fn knee_at_bind(&self, side: Side) -> f64 {
        self.legs[index(side)].shank.as_ref().map_or(0.0, knee_flexion)
    }
}

/// Knee flexion of a shank direction given in the thigh's frame, radians.
pub fn knee_flexion(shank_in_thigh: &Vector3<f64>) -> f64 {
    (-shank_in_thigh.z).atan2(-shank_in_thigh.y)
}

/// The rotation an anatomical hip position asks for, in the pelvis's frame: `Rx(-f) Rz(a) Ry(e)`, mirrored on the right.
pub fn hip_rotation(side: Side, angles: &HipAngles) -> Rotation3<f64> {
    let s = sign(side);
    Rotation3::from_axis_angle(&Vector3::x_axis(), -angles.flexion)
        * Rotation3::from_axis_angle(&Vector3::z_axis(), s * angles.abduction)
        * Rotation3::from_axis_angle(&Vector3::y_axis(), s * angles.rotation)
}

/// The anatomical angles of a thigh frame given in the pelvis's frame: the inverse of [`hip_rotation`].
pub fn hip_angles(side: Side, thigh_in_pelvis: &Rotation3<f64>) -> HipAngles {
    let s = sign(side);
    let down = thigh_in_pelvis * -Vector3::y();
    let flexion = down.z.atan2(-down.y);
    let abduction = s * down.x.clamp(-1.0, 1.0).asin();
    let rest = hip_rotation(
        side,
        &HipAngles {
            flexion,
            abduction,
            rotation: 0.0,
        },
    )
    .inverse()
        * thigh_in_pelvis;
    let turned = rest * Vector3::z();
    HipAngles {
        flexion,
        abduction,
        rotation: s * turned.x.atan2(turned.z),
    }
}

/// The thigh's frame: Y from knee to hip, Z the pelvis front made perpendicular.
///
/// A thigh that points straight to the front or back takes the pelvis's vertical instead of its front.
pub fn thigh_frame(knee_to_hip: &Vector3<f64>, pelvis: &Rotation3<f64>) -> Rotation3<f64> {
    let y = unit(knee_to_hip).unwrap_or_else(Vector3::y);
    let front = pelvis * Vector3::z();
    let z = unit(&(front - y * front.dot(&y)))
        .or_else(|| {
            let up = pelvis * Vector3::y();
            unit(&(up - y * up.dot(&y)))
        })
        .unwrap_or_else(Vector3::z);
    Rotation3::from_matrix_unchecked(Matrix3::from_columns(&[y.cross(&z), y, z]))
}

/// A frame with X as given and Y the other made perpendicular.
pub fn frame_of(x: &Vector3<f64>, up: &Vector3<f64>) -> Rotation3<f64> {
    let x = unit(x).unwrap_or_else(Vector3::x);
    let y = unit(&(up - x * up.dot(&x))).unwrap_or_else(Vector3::y);
    Rotation3::from_matrix_unchecked(Matrix3::from_columns(&[x, y, x.cross(&y)]))
}

/// A vector at length 1; `None` for one that has no direction.
pub fn unit(vector: &Vector3<f64>) -> Option<Vector3<f64>> {
    vector.try_normalize(1e-9)
}

/// Mid-hip to the highest trunk joint that is clearly above it; the world's up for a rig that ends at the hips.
fn trunk_direction(skeleton: &Skeleton, mid_hip: &Vector3<f64>) -> Vector3<f64> {
    [Bone::Neck, Bone::Head, Bone::UpperChest, Bone::Chest, Bone::Spine]
        .into_iter()
        .filter_map(|bone| skeleton.position(bone))
        .map(|position| position - mid_hip)
        .find(|direction| direction.norm() > 0.05)
        .unwrap_or_else(Vector3::y)
}

fn toes(skeleton: &Skeleton) -> Option<Vector3<f64>> {
    let toe = |side| Some(skeleton.position(Bone::Toes(side))? - skeleton.position(Bone::Foot(side))?);
    Some(toe(Side::Left)? + toe(Side::Right)?)
}

fn arm(skeleton: &Skeleton, side: Side, front: &Vector3<f64>) -> Option<Arm> {
    let shoulder = skeleton.position(Bone::UpperArm(side))?;
    let elbow = skeleton.position(Bone::LowerArm(side))?;
    let upper = unit(&(elbow - shoulder))?;
    let fore = skeleton
        .position(Bone::Hand(side))
        .and_then(|wrist| unit(&(wrist - elbow)));
    let bent = fore.map(|fore| upper.cross(&fore));
    // Under 3 degrees the bend's plane is modelling noise: flexion then carries the hand to the front.
    let elbow_axis = bent
        .filter(|axis| axis.norm() > 3f64.to_radians().sin())
        .and_then(|axis| unit(&axis))
        .or_else(|| unit(&upper.cross(front)))
        .unwrap_or_else(Vector3::x);
    let elbow_at_bind = fore.map_or(0.0, |fore| {
        upper.cross(&fore).dot(&elbow_axis).atan2(upper.dot(&fore))
    });
    Some(Arm {
        upper,
        fore,
        elbow_axis,
        elbow_at_bind,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hip_angles_come_back() {
        for side in Side::BOTH {
            for (f, a, e) in [
                (0.0, 0.0, 0.0),
                (1.2, 0.3, -0.4),
                (-0.3, 0.7, 0.9),
                (1.6, -0.2, 1.0),
            ] {
                let asked = HipAngles {
                    flexion: f,
                    abduction: a,
                    rotation: e,
                };
                let found = hip_angles(side, &hip_rotation(side, &asked));
                assert!((found.flexion - f).abs() < 1e-9, "{found:?}");
                assert!((found.abduction - a).abs() < 1e-9, "{found:?}");
                assert!((found.rotation - e).abs() < 1e-9, "{found:?}");
            }
        }
    }

    /// Derived by hand from the joint coordinate system (Grood and Suntay 1983; Wu 2002 signs), glTF axes.
    #[test]
    fn cross_legged_left_thigh_points_where_it_should() {
        let angles = HipAngles {
            flexion: 95f64.to_radians(),
            abduction: 28.9f64.to_radians(),
            rotation: 62f64.to_radians(),
        };
        let thigh = hip_rotation(Side::Left, &angles);
        let down = thigh * -Vector3::y();
        assert!((down - Vector3::new(0.483_282, 0.076_302, 0.872_133)).norm() < 1e-6);
        let knee = Rotation3::from_axis_angle(&Vector3::x_axis(), 120f64.to_radians());
        let shank = thigh * knee * -Vector3::y();
        assert!((shank - Vector3::new(-0.911_070, -0.410_970, -0.032_493)).norm() < 1e-6);
    }
}
