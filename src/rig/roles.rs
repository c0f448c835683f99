//! Which joint is the left knee: roles by what the file states, by names, by the tree's shape.

use super::Rig;
use super::bone::Bone;
use super::bone::Side;
use super::names::read_name;
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

    fn insert(&mut self, bone: Bone, node: usize, how: How) {
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
    if roles.node(Bone::UpperLeg(Side::Left)).is_none() || roles.node(Bone::LowerLeg(Side::Left)).is_none() {
        by_shape(&tree, at, &mut roles);
    }
    if roles.node(Bone::Hips).is_none()
        && let (Some(left), Some(right)) = (
            roles.node(Bone::UpperLeg(Side::Left)),
            roles.node(Bone::UpperLeg(Side::Right)),
        )
        && let Some(common) = common_ancestor(rig, left, right)
    {
        roles.insert(Bone::Hips, common, How::Shape);
    }
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

/// The joints between the hips (or the last joint that carries the legs) and the neck, head or arms.
fn trunk(rig: &Rig, joints: &BTreeSet<usize>, roles: &mut Roles) {
    let legs: BTreeSet<usize> = [Bone::UpperLeg(Side::Left), Bone::UpperLeg(Side::Right)]
        .into_iter()
        .filter_map(|bone| roles.node(bone))
        .flat_map(|node| ancestors(rig, node).collect::<Vec<_>>())
        .collect();
    let arms: Vec<usize> = [
        Bone::Shoulder(Side::Left),
        Bone::Shoulder(Side::Right),
        Bone::UpperArm(Side::Left),
        Bone::UpperArm(Side::Right),
    ]
    .into_iter()
    .filter_map(|bone| roles.node(bone))
    .collect();
    let top = roles
        .node(Bone::Neck)
        .or_else(|| roles.node(Bone::Head))
        .or_else(|| arms.first().copied());
    let Some(top) = top else { return };
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

/// Children of each joint, joints only: nodes between joints are stepped over.
struct Tree {
    children: BTreeMap<usize, Vec<usize>>,
    roots: Vec<usize>,
}

impl Tree {
    fn new(rig: &Rig, joints: &BTreeSet<usize>) -> Self {
        let mut tree = Self {
            children: BTreeMap::new(),
            roots: Vec::new(),
        };
        for &joint in joints {
            match ancestors(rig, joint).skip(1).find(|node| joints.contains(node)) {
                Some(parent) => tree.children.entry(parent).or_default().push(joint),
                None => tree.roots.push(joint),
            }
        }
        tree
    }

    fn of(&self, joint: usize) -> &[usize] {
        self.children.get(&joint).map_or(&[], Vec::as_slice)
    }

    /// The limb that begins at a joint: its single-child chain.
    fn limb(&self, joint: usize) -> Vec<usize> {
        let mut limb = vec![joint];
        let mut at = joint;
        while let [only] = self.of(at) {
            limb.push(*only);
            at = *only;
        }
        limb
    }

    fn all(&self) -> Vec<usize> {
        let mut all = self.roots.clone();
        let mut next = 0;
        while next < all.len() {
            all.extend_from_slice(self.of(all[next]));
            next += 1;
        }
        all
    }
}

/// A pelvis has two like limbs that end lowest; a shoulder girdle has two like limbs and something above.
fn by_shape(tree: &Tree, at: &[Vector3<f64>], roles: &mut Roles) {
    let Some((pelvis, legs)) = lowest_pair(tree, at) else {
        return;
    };
    let front = legs
        .iter()
        .filter(|leg| leg.len() >= 4)
        .map(|leg| at[leg[3]] - at[leg[2]])
        .fold(Vector3::zeros(), |sum: Vector3<f64>, toe| sum + toe);
    let front = Vector3::new(front.x, 0.0, front.z);
    let front = if front.norm() > 1e-3 {
        front.normalize()
    } else {
        Vector3::z()
    };
    let left = Vector3::y().cross(&front);
    roles.insert(Bone::Hips, pelvis, How::Shape);
    let [a, b] = sided(legs, at, &left);
    for (leg, side) in [(&a, Side::Left), (&b, Side::Right)] {
        limb(
            roles,
            leg,
            &[Bone::UpperLeg, Bone::LowerLeg, Bone::Foot, Bone::Toes].map(|bone| bone(side)),
        );
    }
    arms_by_shape(tree, at, roles, [&a, &b], &left);
}

fn arms_by_shape(
    tree: &Tree,
    at: &[Vector3<f64>],
    roles: &mut Roles,
    legs: [&Vec<usize>; 2],
    left: &Vector3<f64>,
) {
    let free = |joint: &usize| legs.iter().all(|leg| !leg.contains(joint));
    for joint in tree.all().into_iter().filter(free) {
        let limbs: Vec<Vec<usize>> = tree
            .of(joint)
            .iter()
            .filter(|j| free(j))
            .map(|&j| tree.limb(j))
            .collect();
        let Some(pair) = like_pair(&limbs, at) else {
            continue;
        };
        let arms = sided(pair.map(|index| limbs[index].clone()), at, left);
        let skip_shoulder = usize::from(arms[0].len() < 4);
        for (arm, side) in arms.iter().zip(Side::BOTH) {
            let bones = [Bone::Shoulder, Bone::UpperArm, Bone::LowerArm, Bone::Hand].map(|bone| bone(side));
            limb(roles, arm, &bones[skip_shoulder..]);
        }
        let middle = limbs
            .iter()
            .enumerate()
            .find(|(index, _)| !pair.contains(index))
            .map(|(_, limb)| limb);
        match middle.map(Vec::as_slice) {
            Some([head]) => roles.insert(Bone::Head, *head, How::Shape),
            Some([neck, head, ..]) => {
                roles.insert(Bone::Neck, *neck, How::Shape);
                roles.insert(Bone::Head, *head, How::Shape);
            }
            _ => {}
        }
        return;
    }
}

fn limb(roles: &mut Roles, limb: &[usize], bones: &[Bone]) {
    for (&node, &bone) in limb.iter().zip(bones) {
        roles.insert(bone, node, How::Shape);
    }
}

fn sided(mut pair: [Vec<usize>; 2], at: &[Vector3<f64>], left: &Vector3<f64>) -> [Vec<usize>; 2] {
    let side = |limb: &Vec<usize>| at[*limb.last().unwrap_or(&limb[0])].dot(left);
    if side(&pair[0]) < side(&pair[1]) {
        pair.swap(0, 1);
    }
    pair
}

fn lowest_pair(tree: &Tree, at: &[Vector3<f64>]) -> Option<(usize, [Vec<usize>; 2])> {
    let mut best: Option<(f64, usize, [Vec<usize>; 2])> = None;
    for joint in tree.all() {
        let limbs: Vec<Vec<usize>> = tree.of(joint).iter().map(|&child| tree.limb(child)).collect();
        let Some(pair) = like_pair(&limbs, at) else {
            continue;
        };
        let legs = pair.map(|index| limbs[index].clone());
        let end = legs.iter().map(|leg| at[leg[leg.len() - 1]].y).sum::<f64>() / 2.0;
        if end < at[joint].y && best.as_ref().is_none_or(|(lowest, ..)| end < *lowest) {
            best = Some((end, joint, legs));
        }
    }
    best.map(|(_, joint, legs)| (joint, legs))
}

/// Two limbs of the same number of joints (at least three) and nearly the same length.
fn like_pair(limbs: &[Vec<usize>], at: &[Vector3<f64>]) -> Option<[usize; 2]> {
    let length = |limb: &Vec<usize>| {
        limb.windows(2)
            .map(|pair| (at[pair[1]] - at[pair[0]]).norm())
            .sum::<f64>()
    };
    let mut best: Option<(f64, [usize; 2])> = None;
    for a in 0..limbs.len() {
        for b in a + 1..limbs.len() {
            let (la, lb) = (length(&limbs[a]), length(&limbs[b]));
            let alike = limbs[a].len() == limbs[b].len() && limbs[a].len() >= 3;
            if alike
                && (la - lb).abs() < 0.1 * la.max(lb)
                && best.as_ref().is_none_or(|(most, _)| la + lb > *most)
            {
                best = Some((la + lb, [a, b]));
            }
        }
    }
    best.map(|(_, pair)| pair)
}

/// True where a name's side word says left or right.
pub fn side_of_name(name: &str) -> Option<Side> {
    read_name(name).side
}
