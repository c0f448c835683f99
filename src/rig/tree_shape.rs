//! Which limbs are legs where no name says so: pairs of like chains in the joint tree, and where their ends lie.

use super::Rig;
use super::bone::{Bone, Side};
use super::roles::{How, Roles, ancestors};
use nalgebra::Vector3;
use std::collections::{BTreeMap, BTreeSet};

/// Children of each joint, joints only: nodes between joints are stepped over.
pub(super) struct Tree {
    children: BTreeMap<usize, Vec<usize>>,
    roots: Vec<usize>,
}

impl Tree {
    pub(super) fn new(rig: &Rig, joints: &BTreeSet<usize>) -> Self {
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
pub(super) fn by_shape(tree: &Tree, at: &[Vector3<f64>], roles: &mut Roles) {
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
