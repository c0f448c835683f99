//! Where on the body is that, in a tailor's words?
//!
//! Boundaries are the project's own, from positions along and around a limb in anatomical frames.

use super::Body;
use crate::rig::anatomy::{index, sign};
use crate::rig::bone::{Bone, Side};
use crate::rig::part::Part;
use nalgebra::Vector3;

/// The words for a point near the skin of a part; `point` in metres with the body at its bind.
pub fn words(body: &Body, part: Part, point: [f32; 3]) -> String {
    let point = Vector3::from(point.map(f64::from));
    match part {
        Part::Thigh(side) => thigh(body, side, &point),
        Part::Shank(side) => shank(body, side, &point),
        Part::Pelvis => pelvis(body, &point),
        Part::Torso => torso(body, &point),
        Part::UpperArm(side) => along(body, [Bone::UpperArm(side), Bone::LowerArm(side)], &point, |t| {
            if t < 0.2 {
                format!("{} shoulder", side.word())
            } else if t > 0.85 {
                format!("{} elbow", side.word())
            } else {
                format!("{} upper arm", side.word())
            }
        }),
        Part::Forearm(side) => along(body, [Bone::LowerArm(side), Bone::Hand(side)], &point, |t| {
            if t < 0.15 {
                format!("{} elbow", side.word())
            } else if t > 0.8 {
                format!("{} cuff", side.word())
            } else {
                format!("{} forearm", side.word())
            }
        }),
        Part::Head => "neck".into(),
        Part::Hand(_) | Part::Foot(_) => part.words(),
    }
}

/// All words there are, for who names a place by hand.
pub fn all() -> Vec<String> {
    const OF_A_SIDE: [&str; 13] = [
        "shoulder",
        "elbow",
        "upper arm",
        "forearm",
        "cuff",
        "hand",
        "underarm",
        "hip",
        "seat",
        "knee",
        "calf",
        "hem",
        "foot",
    ];
    let sided = |side: Side| {
        let thighs =
            ["inner", "outer", "front", "back"].map(|round| format!("{round} {} thigh", side.word()));
        let rest = OF_A_SIDE.map(|word| format!("{} {word}", side.word()));
        thighs.into_iter().chain(rest)
    };
    let middle = ["neck", "chest", "back", "waist", "lap", "crotch"].map(str::to_owned);
    middle
        .into_iter()
        .chain(Side::BOTH.into_iter().flat_map(sided))
        .collect()
}

/// How far along a bone a point lies: 0 at its joint, 1 at the next.
fn share_along(body: &Body, bones: [Bone; 2], point: &Vector3<f64>) -> Option<f64> {
    let (from, to) = (
        body.skeleton.position(bones[0])?,
        body.skeleton.position(bones[1])?,
    );
    let axis = to - from;
    Some((point - from).dot(&axis) / axis.norm_squared().max(1e-12))
}

fn along(body: &Body, bones: [Bone; 2], point: &Vector3<f64>, say: impl Fn(f64) -> String) -> String {
    say(share_along(body, bones, point).unwrap_or(0.5))
}

fn thigh(body: &Body, side: Side, point: &Vector3<f64>) -> String {
    let t = share_along(body, [Bone::UpperLeg(side), Bone::LowerLeg(side)], point).unwrap_or(0.5);
    let Some(hip) = body.skeleton.position(Bone::UpperLeg(side)) else {
        return Part::Thigh(side).words();
    };
    let frame = &body.anatomy.legs[index(side)].thigh;
    let local = frame.inverse() * (point - hip);
    if t > 0.88 {
        return format!("{} knee", side.word());
    }
    if t < 0.25 && local.z < 0.0 && local.z.abs() > local.x.abs() {
        return format!("{} seat", side.word());
    }
    format!("{} {} thigh", around(side, local.x, local.z), side.word())
}

fn shank(body: &Body, side: Side, point: &Vector3<f64>) -> String {
    let t = share_along(body, [Bone::LowerLeg(side), Bone::Foot(side)], point).unwrap_or(0.5);
    let word = match t {
        t if t < 0.12 => "knee",
        t if t > 0.85 => "hem",
        _ => "calf",
    };
    format!("{} {word}", side.word())
}

/// Inner, outer, front or back of a leg.
fn around(side: Side, x: f64, z: f64) -> &'static str {
    let outward = sign(side) * x;
    if z.abs() > outward.abs() {
        if z > 0.0 { "front" } else { "back" }
    } else if outward > 0.0 {
        "outer"
    } else {
        "inner"
    }
}

fn pelvis(body: &Body, point: &Vector3<f64>) -> String {
    let local = body.anatomy.pelvis.inverse() * (point - body.anatomy.mid_hip);
    let size = body.anatomy.thigh_length;
    let side = if local.x >= 0.0 { Side::Left } else { Side::Right };
    if local.y > 0.30 * size {
        return "waist".into();
    }
    if local.y < -0.02 * size && local.x.abs() < 0.16 * size {
        return "crotch".into();
    }
    if local.x.abs() > local.z.abs() * 1.5 {
        return format!("{} hip", side.word());
    }
    if local.z < 0.0 {
        format!("{} seat", side.word())
    } else {
        "lap".into()
    }
}

fn torso(body: &Body, point: &Vector3<f64>) -> String {
    let local = body.anatomy.pelvis.inverse() * (point - body.anatomy.mid_hip);
    let size = body.anatomy.thigh_length;
    let side = if local.x >= 0.0 { Side::Left } else { Side::Right };
    if local.y < 0.45 * size {
        return "waist".into();
    }
    if local.x.abs() > 0.32 * size && local.y > 0.75 * size {
        return format!("{} underarm", side.word());
    }
    if local.z < 0.0 {
        "back".into()
    } else {
        "chest".into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::{self, BodyShape};
    use std::collections::BTreeSet;

    #[test]
    fn every_place_of_a_body_is_among_the_words() {
        let wearer = demo::body(&BodyShape::woman("wren").meshed(0.022));
        let rig = wearer.rig();
        let dressed = crate::wardrobe::dress_rigs(rig.clone(), rig);
        let body = &dressed.body;
        let found: BTreeSet<String> = (0..body.surface.triangles.len())
            .map(|triangle| {
                let corners = body.surface.triangles[triangle];
                words(
                    body,
                    body.parts[triangle],
                    body.surface.positions[corners[0] as usize],
                )
            })
            .collect();
        let known = BTreeSet::from_iter(all());
        assert_eq!(
            found.difference(&known).collect::<Vec<_>>(),
            Vec::<&String>::new()
        );
        assert!(found.len() > 30, "{found:?}");
    }
}
