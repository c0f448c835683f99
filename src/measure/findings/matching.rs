//! Whether a garment was bound to this skeleton: matched joints, bone lengths, rest axes, scale.

use super::finding;
use crate::outcome::{Finding, Severity};
use crate::rig::skeleton::Skeleton;
use crate::skin::Pairing;
use nalgebra::Vector3;

/// Bone lengths that differ by more than this share: another skeleton.
const LENGTH_TOLERANCE: f64 = 0.02;
/// A scale off by this factor or more is named as one.
const SCALE_FACTOR: f64 = 10.0;
/// Rest axes of matched joints may differ by this, radians.
const AXES_TOLERANCE: f64 = 0.09;

/// Whether a garment was bound to this skeleton: matched joints, bone lengths, rest axes, scale.
pub fn of_match(garment: &str, driven: &Skeleton, body: &Skeleton, pairing: &Pairing) -> Vec<Finding> {
    let weighted: Vec<usize> = (0..driven.joints.len())
        .filter(|&node| driven.joints[node].weighted)
        .collect();
    let unmatched: Vec<usize> = weighted
        .iter()
        .copied()
        .filter(|&node| pairing.driver[node].is_none())
        .collect();
    if unmatched.len() == weighted.len() {
        return vec![finding(
            "no_joint_matches",
            Severity::Stop,
            garment,
            weighted.len(),
            weighted
                .first()
                .map_or_else(String::new, |&node| driven.label(node)),
            "None of the garment's joints matches a joint of the body, by name or by role.".into(),
            "Bind the garment to the body's skeleton, or give its joints the same names.",
        )];
    }
    let mut findings = Vec::new();
    if !unmatched.is_empty() {
        let names: Vec<String> = unmatched.iter().take(5).map(|&node| driven.label(node)).collect();
        findings.push(finding(
            "joints_only_garment",
            Severity::Note,
            garment,
            unmatched.len(),
            names.join(", "),
            format!(
                "{} joints with weight exist only in the garment: {}.",
                unmatched.len(),
                names.join(", ")
            ),
            "They follow their nearest matched parent; swinging joints of a runtime are not simulated.",
        ));
    }
    findings.extend(another_skeleton(garment, driven, body, pairing, &weighted));
    findings
}

fn another_skeleton(
    garment: &str,
    driven: &Skeleton,
    body: &Skeleton,
    pairing: &Pairing,
    weighted: &[usize],
) -> Option<Finding> {
    let mut ratios: Vec<(f64, usize)> = Vec::new();
    let mut turned: Vec<(f64, usize)> = Vec::new();
    for &node in weighted {
        let Some((own, theirs)) = bone_vectors(driven, body, pairing, node) else {
            continue;
        };
        if theirs.norm() > 0.01 || own.norm() > 0.01 {
            ratios.push((own.norm() / theirs.norm().max(1e-6), node));
            turned.push((own.angle(&theirs), node));
        }
    }
    ratios.sort_by(|a, b| a.0.total_cmp(&b.0));
    let median = ratios.get(ratios.len() / 2)?.0;
    if !(1.0 / SCALE_FACTOR..SCALE_FACTOR).contains(&median) {
        return Some(finding(
            "scale",
            Severity::Stop,
            garment,
            ratios.len(),
            driven.label(ratios[ratios.len() / 2].1),
            format!("The garment's skeleton is {median:.3} times the size of the body's."),
            "Apply the scale in your 3-D program (1 unit is 1 metre) and export again.",
        ));
    }
    let off = |pair: &(f64, usize)| (pair.0 - 1.0).abs();
    let (ratio, node) = ratios.iter().copied().max_by(|a, b| off(a).total_cmp(&off(b)))?;
    if (ratio - 1.0).abs() > LENGTH_TOLERANCE {
        return Some(finding(
            "another_skeleton",
            Severity::Stop,
            garment,
            ratios.iter().filter(|pair| off(pair) > LENGTH_TOLERANCE).count(),
            driven.label(node),
            format!(
                "This garment was bound to another skeleton: the bone to {} is {:.1} % {} than the body's.",
                driven.label(node),
                (ratio - 1.0).abs() * 100.0,
                if ratio > 1.0 { "longer" } else { "shorter" }
            ),
            "Refit the garment to this body first.",
        ));
    }
    let (angle, node) = turned.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0))?;
    (angle > AXES_TOLERANCE).then(|| {
        finding(
            "rest_axes",
            Severity::Stop,
            garment,
            turned.iter().filter(|pair| pair.0 > AXES_TOLERANCE).count(),
            driven.label(node),
            format!(
                "The axes of the joint above {} are turned by {:.0} degrees against the body's: this garment was bound to another skeleton.",
                driven.label(node),
                angle.to_degrees()
            ),
            "Bind the garment to the body's own skeleton.",
        )
    })
}

/// The bone from a joint's nearest matched ancestor to it, where both skins say where these stand at the bind, in that ancestor's own axes: garment, body.
fn bone_vectors(
    driven: &Skeleton,
    body: &Skeleton,
    pairing: &Pairing,
    node: usize,
) -> Option<(Vector3<f64>, Vector3<f64>)> {
    let theirs = pairing.driver[node]?;
    let parent = std::iter::successors(driven.joints[node].parent, |&at| driven.joints[at].parent)
        .find(|&at| pairing.driver[at].is_some())?;
    let their_parent = pairing.driver[parent]?;
    // A joint that no bind fixes stands where the file's rest pose left it, which need not be the bind.
    let fixed = [
        (driven, node),
        (driven, parent),
        (body, theirs),
        (body, their_parent),
    ];
    if !fixed
        .iter()
        .all(|(skeleton, joint)| skeleton.joints[*joint].bound)
    {
        return None;
    }
    let local = |skeleton: &Skeleton, joint: usize, parent: usize| {
        let (joint, parent) = (&skeleton.joints[joint], &skeleton.joints[parent]);
        parent.rotation.inverse() * (joint.position - parent.position)
    };
    Some((local(driven, node, parent), local(body, theirs, their_parent)))
}
