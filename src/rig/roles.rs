//! Which joint is the left knee: roles by what the file states, by names, by the tree's shape.

use super::Rig;
use super::bone::Bone;
use super::bone::Side;
use super::names::{UNSURE, read_name};
use super::tree_shape::{Tree, by_shape};
use nalgebra::Vector3;
use std::collections::{BTreeMap, BTreeSet};

/// How a role was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// The user said so.
    Told,
    /// The file states it (a humanoid extension).
    Stated,
    /// From the joint's name.
    Name,
    /// From the shape of the joint tree and joint positions.
    Shape,
}

impl How {
    /// As shown on the rig page.
    pub fn words(self) -> &'static str {
        match self {
            Self::Told => "as told",
            Self::Stated => "stated in the file",
            Self::Name => "by name",
            Self::Shape => "by the shape of the joint tree",
        }
    }
}

/// The humanoid role of each joint that has one.
#[derive(Clone, Debug, Default)]
pub struct Roles {
    /// Node and the way it was found, by bone.
    pub by_bone: BTreeMap<Bone, (usize, How)>,
}

impl Roles {
    /// The node of a bone.
    pub fn node(&self, bone: Bone) -> Option<usize> {
        self.by_bone.get(&bone).map(|found| found.0)
    }

    /// The bone of a node.
    pub fn bone(&self, node: usize) -> Option<Bone> {
        self.by_bone
            .iter()
            .find(|(_, found)| found.0 == node)
            .map(|(bone, _)| *bone)
    }

    pub(super) fn insert(&mut self, bone: Bone, node: usize, how: How) {
        let taken = self.by_bone.values().any(|found| found.0 == node);
        if !taken {
            self.by_bone.entry(bone).or_insert((node, how));
        }
    }
}

/// Finds the roles of a rig's joints.
///
/// `joints` are the nodes that any skin binds; `at` is every node's position at the bind, metres, +Y up.
/// `told` overrides everything else.
pub fn find(rig: &Rig, joints: &BTreeSet<usize>, at: &[Vector3<f64>], told: &[(Bone, usize)]) -> Roles {
    let mut roles = Roles::default();
    for &(bone, node) in told {
        roles.insert(bone, node, How::Told);
    }
    for (name, node) in &rig.stated_roles {
        if let Some(bone) = Bone::from_name(name) {
            roles.insert(bone, *node, How::Stated);
        }
    }
    by_name(rig, joints, &mut roles);
    let tree = Tree::new(rig, joints);
    let leg_missing = |side| {
        [Bone::UpperLeg(side), Bone::LowerLeg(side)]
            .iter()
            .any(|bone| roles.node(*bone).is_none())
    };
    if Side::BOTH.into_iter().any(leg_missing) {
        by_shape(&tree, at, &mut roles);
    }
    hips_carry_all(rig, &mut roles);
    trunk(rig, joints, &mut roles);
    roles
}

/// Legs, arms, hips, neck and head by name. The trunk's bones are shared out afterwards, along the chain.
fn by_name(rig: &Rig, joints: &BTreeSet<usize>, roles: &mut Roles) {
    let mut found: BTreeMap<Bone, (u8, usize)> = BTreeMap::new();
    let names: Vec<_> = rig.nodes.iter().map(|node| read_name(&node.name)).collect();
    let elbows = names.iter().any(|name| name.has("elbow"));
    let knees = names.iter().any(|name| name.has("knee"));
    for (node, name) in names.iter().enumerate() {
        if !joints.contains(&node) || name.is_helper() {
            continue;
        }
        let Some((bone, rank)) = name.bone(elbows, knees) else {
            continue;
        };
        let better = found.get(&bone).is_none_or(|&(other, _)| rank < other);
        if better {
            found.insert(bone, (rank, node));
        }
    }
    for side in Side::BOTH {
        // `leg` alone is the shank only beside a thigh: `leg1.L`, `leg2.L` are told apart by shape.
        let only_leg = found
            .get(&Bone::LowerLeg(side))
            .is_some_and(|&(rank, _)| rank >= UNSURE);
        let thigh = Bone::UpperLeg(side);
        if only_leg && !found.contains_key(&thigh) && roles.node(thigh).is_none() {
            found.remove(&Bone::LowerLeg(side));
        }
    }
    for (bone, (_, node)) in found {
        roles.insert(bone, node, How::Name);
    }
}

/// Ancestors of a node, nearest first, the node itself included.
pub fn ancestors(rig: &Rig, node: usize) -> impl Iterator<Item = usize> + '_ {
    std::iter::successors(Some(node), |&at| rig.nodes[at].parent)
}

fn common_ancestor(rig: &Rig, a: usize, b: usize) -> Option<usize> {
    let above: BTreeSet<usize> = ancestors(rig, a).collect();
    ancestors(rig, b).find(|node| above.contains(node))
}

/// The hips carry both legs and the trunk: in some rigs the joint called pelvis holds only the legs, or only flesh, and
/// a pelvis that tilts would leave the rest standing. What the user or the file states stays.
fn hips_carry_all(rig: &Rig, roles: &mut Roles) {
    let hips = roles.by_bone.get(&Bone::Hips).copied();
    let [left, right] = Side::BOTH.map(|side| roles.node(Bone::UpperLeg(side)));
    let (Some(left), Some(right)) = (left, right) else {
        return;
    };
    if matches!(hips, Some((_, How::Told | How::Stated))) {
        return;
    }
    let top = trunk_top(roles);
    let held = [hips.map(|hips| hips.0), Some(right), top];
    let common = held
        .into_iter()
        .flatten()
        .try_fold(left, |common, node| common_ancestor(rig, common, node));
    match (common, hips) {
        (Some(common), Some(_)) if roles.bone(common).is_none() => {
            roles.by_bone.remove(&Bone::Hips);
            roles.insert(Bone::Hips, common, How::Shape);
        }
        (Some(common), None) => roles.insert(Bone::Hips, common, How::Shape),
        _ => {}
    }
}

/// The joint the trunk leads up to: neck, head, or an arm.
fn trunk_top(roles: &Roles) -> Option<usize> {
    [
        Bone::Neck,
        Bone::Head,
        Bone::Shoulder(Side::Left),
        Bone::Shoulder(Side::Right),
        Bone::UpperArm(Side::Left),
        Bone::UpperArm(Side::Right),
    ]
    .into_iter()
    .find_map(|bone| roles.node(bone))
}

/// The joints between the hips (or the last joint that carries the legs) and the neck, head or arms.
fn trunk(rig: &Rig, joints: &BTreeSet<usize>, roles: &mut Roles) {
    let legs: BTreeSet<usize> = [Bone::UpperLeg(Side::Left), Bone::UpperLeg(Side::Right)]
        .into_iter()
        .filter_map(|bone| roles.node(bone))
        .flat_map(|node| ancestors(rig, node).collect::<Vec<_>>())
        .collect();
    let Some(top) = trunk_top(roles) else { return };
    let mut chain: Vec<usize> = ancestors(rig, top)
        .skip(1)
        .take_while(|node| !legs.contains(node) && roles.node(Bone::Hips) != Some(*node))
        .filter(|node| joints.contains(node) && roles.bone(*node).is_none())
        .collect();
    chain.reverse();
    let how = if chain.iter().any(|&node| !rig.nodes[node].name.is_empty()) {
        How::Name
    } else {
        How::Shape
    };
    let last = chain.len().saturating_sub(1);
    for (order, node) in chain.into_iter().enumerate() {
        let bone = match (order, last) {
            (0, _) => Bone::Spine,
            (order, last) if order == last && last >= 2 => Bone::UpperChest,
            (1, _) => Bone::Chest,
            _ => continue,
        };
        roles.insert(bone, node, how);
    }
}

/// True where a name's side word says left or right.
pub fn side_of_name(name: &str) -> Option<Side> {
    read_name(name).side
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::{Local, Node};

    /// Joints of name, parent's name (none: the scene) and place; all are bound.
    fn found(rows: &[(&str, &str, [f64; 3])], told: &[(Bone, usize)]) -> Roles {
        let at: Vec<Vector3<f64>> = rows.iter().map(|row| row.2.into()).collect();
        let node = |(file_index, row): (usize, &(&str, &str, [f64; 3]))| Node {
            name: row.0.to_owned(),
            parent: rows[..file_index].iter().position(|other| other.0 == row.1),
            local: Local::identity(),
            file_index,
        };
        let rig = Rig {
            nodes: rows.iter().enumerate().map(node).collect(),
            ..Rig::default()
        };
        find(&rig, &(0..rows.len()).collect(), &at, told)
    }

    const LEGS: [(&str, &str, [f64; 3]); 6] = [
        ("leg1.L", "pelvis", [0.1, 0.9, 0.0]),
        ("leg2.L", "leg1.L", [0.1, 0.5, 0.0]),
        ("foot.L", "leg2.L", [0.1, 0.1, 0.0]),
        ("leg1.R", "pelvis", [-0.1, 0.9, 0.0]),
        ("leg2.R", "leg1.R", [-0.1, 0.5, 0.0]),
        ("foot.R", "leg2.R", [-0.1, 0.1, 0.0]),
    ];

    #[test]
    fn legs_that_differ_by_number_are_told_apart_by_shape() {
        let mut rows = vec![("pelvis", "", [0.0, 1.0, 0.0])];
        rows.extend(LEGS);
        let roles = found(&rows, &[]);
        assert_eq!(roles.by_bone[&Bone::Hips], (0, How::Name));
        assert_eq!(roles.by_bone[&Bone::UpperLeg(Side::Left)], (1, How::Shape));
        assert_eq!(roles.by_bone[&Bone::LowerLeg(Side::Left)], (2, How::Shape));
        assert_eq!(roles.by_bone[&Bone::Foot(Side::Right)], (6, How::Name));
    }

    #[test]
    fn a_pelvis_beside_the_spine_is_not_the_hips() {
        let mut rows = vec![
            ("body", "", [0.0, 1.0, 0.0]),
            ("pelvis", "body", [0.0, 1.0, 0.0]),
            ("spine", "body", [0.0, 1.1, 0.0]),
            ("neck", "spine", [0.0, 1.5, 0.0]),
        ];
        rows.extend(LEGS);
        assert_eq!(found(&rows, &[]).by_bone[&Bone::Hips], (0, How::Shape));
        assert_eq!(found(&rows, &[]).node(Bone::Spine), Some(2));
        let told = [(Bone::Hips, 1)];
        assert_eq!(found(&rows, &told).by_bone[&Bone::Hips], (1, How::Told));
    }

    #[test]
    fn one_leg_without_names_is_found_beside_the_other() {
        let mut rows = vec![("pelvis", "", [0.0, 1.0, 0.0])];
        rows.extend(LEGS);
        for (row, name) in rows[1..]
            .iter_mut()
            .zip(["thigh.L", "shin.L", "foot.L", "a", "b", "c"])
        {
            row.0 = name;
        }
        for (row, parent) in [(2, "thigh.L"), (3, "shin.L"), (5, "a"), (6, "b")] {
            rows[row].1 = parent;
        }
        let roles = found(&rows, &[]);
        assert_eq!(roles.by_bone[&Bone::LowerLeg(Side::Left)], (2, How::Name));
        assert_eq!(roles.by_bone[&Bone::UpperLeg(Side::Right)], (4, How::Shape));
        assert_eq!(roles.by_bone[&Bone::LowerLeg(Side::Right)], (5, How::Shape));
    }
}
