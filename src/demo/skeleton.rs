//! Which joints does the mannequin have, where, and whose child is each?

use super::size::{BodyShape, Helpers, Joints};
use crate::rig::{Bind, Local, Node};
use nalgebra::{Matrix4, Rotation3, UnitQuaternion, Vector3};

type Point = Vector3<f64>;

/// One joint as bound: rest rotations are the identity.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Joint {
    pub(super) name: String,
    pub(super) parent: Option<usize>,
    pub(super) at: Point,
    /// Where the bone ends, for joints without a child of their own.
    pub(super) tip: Option<Point>,
}

/// The joints, parents before children, with the left side before the right.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Skeleton {
    pub(super) joints: Vec<Joint>,
    /// Ribs and pelvis: more lines that belong to a joint, so that flesh over them does not follow a limb nearby.
    pub(super) frame: Vec<(usize, [Point; 2])>,
}

impl Skeleton {
    /// VRM 1.0 humanoid names: toes are there, fingers are not.
    pub(super) fn new(body: &BodyShape) -> Self {
        let at = body.joints();
        let mut skeleton = Self {
            joints: Vec::new(),
            frame: Vec::new(),
        };
        skeleton.middle(&at);
        for (side, sign) in [("left", 1.0), ("right", -1.0)] {
            skeleton.side(side, sign, &at);
        }
        if body.helpers == Helpers::Twist {
            skeleton.twists();
        }
        skeleton.ribs_and_pelvis(body);
        skeleton
    }

    fn middle(&mut self, at: &Joints) {
        let chain = [
            ("hips", at.hips, None),
            ("spine", at.spine, None),
            ("chest", at.chest, None),
            ("upperChest", at.upper_chest, None),
            ("neck", at.neck, None),
            ("head", at.head, Some(at.crown)),
        ];
        for (name, point, tip) in chain {
            let parent = self.joints.len().checked_sub(1);
            self.joints.push(Joint {
                name: name.to_owned(),
                parent,
                at: point,
                tip,
            });
        }
    }

    fn side(&mut self, side: &str, sign: f64, at: &Joints) {
        let chains = [
            (
                "upperChest",
                vec![
                    ("Shoulder", at.shoulder, None),
                    ("UpperArm", at.upper_arm, None),
                    ("LowerArm", at.lower_arm, None),
                    ("Hand", at.hand, Some(at.fingertips)),
                ],
            ),
            (
                "hips",
                vec![
                    ("UpperLeg", at.upper_leg, None),
                    ("LowerLeg", at.lower_leg, None),
                    ("Foot", at.foot, None),
                    ("Toes", at.toes, Some(at.toe_tips)),
                ],
            ),
        ];
        let flip = |p: Point| Vector3::new(p.x * sign, p.y, p.z);
        for (root, chain) in chains {
            let mut parent = self.find(root);
            for (name, point, tip) in chain {
                let joint = Joint {
                    name: format!("{side}{name}"),
                    parent,
                    at: flip(point),
                    tip: tip.map(flip),
                };
                parent = Some(self.joints.len());
                self.joints.push(joint);
            }
        }
    }

    /// One helper halfway along each upper arm, forearm and thigh.
    fn twists(&mut self) {
        for side in ["left", "right"] {
            for (bone, next) in [
                ("UpperArm", "LowerArm"),
                ("LowerArm", "Hand"),
                ("UpperLeg", "LowerLeg"),
            ] {
                let (bone, next) = (format!("{side}{bone}"), format!("{side}{next}"));
                let (Some(parent), Some(end)) = (self.find(&bone), self.find(&next)) else {
                    continue;
                };
                let at = (self.joints[parent].at + self.joints[end].at) / 2.0;
                let tip = Some(self.joints[end].at);
                self.joints.push(Joint {
                    name: format!("{bone}Twist"),
                    parent: Some(parent),
                    at,
                    tip,
                });
            }
        }
    }

    fn ribs_and_pelvis(&mut self, body: &BodyShape) {
        let h = body.stature;
        // joint, then (side, level, front) of both ends, in shares of stature
        let lines = [
            ("upperChest", [0.050, 0.757, -0.020], [0.055, 0.715, 0.030]),
            ("upperChest", [0.030, 0.780, 0.000], [0.050, 0.740, 0.025]),
            ("chest", [0.055, 0.700, 0.010], [0.052, 0.655, 0.022]),
            ("spine", [0.048, 0.635, 0.015], [0.052, 0.600, 0.018]),
            ("hips", [0.062, 0.580, 0.000], [0.035, 0.545, 0.030]),
            ("hips", [0.035, 0.545, 0.030], [0.008, 0.515, 0.025]),
            ("hips", [0.035, 0.510, -0.030], [0.050, 0.560, -0.028]),
        ];
        for (name, a, b) in lines {
            let Some(joint) = self.find(name) else { continue };
            for sign in [1.0, -1.0] {
                let at = |[side, level, front]: [f64; 3]| {
                    Vector3::new(sign * side * h, body.level(level), front * h)
                };
                self.frame.push((joint, [at(a), at(b)]));
            }
        }
    }

    /// Index of a joint by name.
    pub(super) fn find(&self, name: &str) -> Option<usize> {
        self.joints.iter().position(|joint| joint.name == name)
    }

    /// For each joint the one on the other side; itself in the middle.
    pub(super) fn mirror(&self) -> Vec<usize> {
        let other = |name: &str| {
            let twin = name
                .strip_prefix("left")
                .map(|rest| format!("right{rest}"))
                .or_else(|| name.strip_prefix("right").map(|rest| format!("left{rest}")));
            twin.and_then(|twin| self.find(&twin))
        };
        self.joints
            .iter()
            .enumerate()
            .map(|(joint, of)| other(&of.name).unwrap_or(joint))
            .collect()
    }

    /// World matrices with the thighs turned outward by `turn` against the bind.
    pub(super) fn world(&self, turn: f64) -> Vec<Matrix4<f64>> {
        let mut world: Vec<Matrix4<f64>> = Vec::with_capacity(self.joints.len());
        for (joint, local) in self.joints.iter().zip(self.locals(turn)) {
            world.push(joint.parent.map_or(local, |parent| world[parent] * local));
        }
        world
    }

    fn locals(&self, turn: f64) -> Vec<Matrix4<f64>> {
        self.joints
            .iter()
            .map(|joint| self.local(joint, turn).matrix())
            .collect()
    }

    fn local(&self, joint: &Joint, turn: f64) -> Local {
        let from = joint
            .parent
            .map_or_else(Vector3::zeros, |parent| self.joints[parent].at);
        let angle = match joint.name.as_str() {
            "leftUpperLeg" => turn,
            "rightUpperLeg" => -turn,
            _ => 0.0,
        };
        Local::Parts {
            translation: joint.at - from,
            rotation: UnitQuaternion::from_rotation_matrix(&Rotation3::from_axis_angle(
                &Vector3::z_axis(),
                angle,
            )),
            scale: Vector3::repeat(1.0),
        }
    }

    /// The joints as nodes of a file, standing with the thighs turned by `turn`.
    pub(super) fn nodes(&self, turn: f64) -> Vec<Node> {
        let node = |(file_index, joint): (usize, &Joint)| Node {
            name: joint.name.clone(),
            parent: joint.parent,
            local: self.local(joint, turn),
            file_index,
        };
        self.joints.iter().enumerate().map(node).collect()
    }

    /// One bind a joint, for a mesh made with the thighs turned by `turn`.
    pub(super) fn binds(&self, turn: f64) -> Vec<Bind> {
        let inverse = |world: &Matrix4<f64>| {
            let turned = world.fixed_view::<3, 3>(0, 0).transpose();
            let moved = -(turned * world.fixed_view::<3, 1>(0, 3));
            let mut inverse = turned.to_homogeneous();
            inverse.fixed_view_mut::<3, 1>(0, 3).copy_from(&moved);
            inverse
        };
        let bind = |(node, world): (usize, &Matrix4<f64>)| Bind {
            node,
            inverse_bind: inverse(world),
        };
        self.world(turn).iter().enumerate().map(bind).collect()
    }

    /// Roles by VRM name; helpers have none.
    pub(super) fn roles(&self) -> Vec<(String, usize)> {
        let stated = |(index, joint): (usize, &Joint)| {
            (!joint.name.ends_with("Twist")).then(|| (joint.name.clone(), index))
        };
        self.joints.iter().enumerate().filter_map(stated).collect()
    }
}
