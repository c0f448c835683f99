//! What does a tape read around a body, in the size that is worn?

use super::Body;
use crate::pose::stand;
use crate::rig::bone::{Bone, Side};
use crate::rig::part::Part;
use crate::rig::skeleton::Skeleton;
use crate::skin;
use nalgebra::Vector3;

/// Where a tape is laid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tape {
    /// Under the arms.
    Chest,
    /// Between ribs and hips.
    Waist,
    /// At the hip joints.
    Seat,
    /// A quarter down the thigh.
    Thigh,
    /// A third down the shank.
    Calf,
    /// Half-way down the upper arm.
    UpperArm,
}

impl Tape {
    /// From the top of the body down, then the arm.
    pub const ALL: [Self; 6] = [
        Self::Chest,
        Self::Waist,
        Self::Seat,
        Self::Thigh,
        Self::Calf,
        Self::UpperArm,
    ];

    /// As a tailor says it: `thigh girth`.
    pub fn words(self) -> &'static str {
        match self {
            Self::Chest => "chest girth",
            Self::Waist => "waist girth",
            Self::Seat => "seat girth",
            Self::Thigh => "thigh girth",
            Self::Calf => "calf girth",
            Self::UpperArm => "upper arm girth",
        }
    }

    /// The tape nearest to a place in a tailor's words.
    pub fn near(region: &str) -> Option<Self> {
        let names = |words: &[&str]| words.iter().any(|word| region.contains(word));
        let known = [
            (Self::Thigh, &["thigh", "knee", "crotch"][..]),
            (Self::Calf, &["calf", "hem"]),
            (Self::Seat, &["seat", "hip", "lap"]),
            (Self::Waist, &["waist"]),
            (Self::Chest, &["chest", "back", "underarm"]),
            (Self::UpperArm, &["upper arm", "shoulder", "elbow"]),
        ];
        known.iter().find(|(_, words)| names(words)).map(|known| known.0)
    }
}

/// What a tape reads on a body that stands at its bind, metres: as built, and in the size that is worn. `None` where the
/// body has no joint or no skin there.
pub fn girths(body: &Body, tape: Tape) -> Option<[f64; 2]> {
    let built = laid(body, &body.skeleton, &body.surface.positions, tape)?;
    let (skeleton, _) = body.worn();
    let mut worn = Vec::new();
    let palette = skin::palette(&body.surface, &stand::at_bind(skeleton));
    skin::blend_grown(&body.surface, &palette, &mut worn);
    Some([built, laid(body, skeleton, &worn, tape)?])
}

/// The mean of left and right where there are two.
fn laid(body: &Body, skeleton: &Skeleton, positions: &[[f32; 3]], tape: Tape) -> Option<f64> {
    let along = |from: Bone, to: Bone, share: f64, parts: &[Part]| {
        let (from, to) = (skeleton.position(from)?, skeleton.position(to)?);
        let plane = Plane {
            at: from + (to - from) * share,
            normal: (to - from).try_normalize(1e-9)?,
        };
        around(body, positions, &plane, parts)
    };
    let sided = |of: &dyn Fn(Side) -> Option<f64>| {
        let found: Vec<f64> = Side::BOTH.into_iter().filter_map(of).collect();
        (!found.is_empty()).then(|| found.iter().sum::<f64>() / found.len() as f64)
    };
    // Between the hip joints and the neck, as shares of that way.
    let trunk = |share: f64, parts: &[Part]| {
        let hips = Side::BOTH.map(|side| skeleton.position(Bone::UpperLeg(side)));
        let [Some(left), Some(right)] = hips else {
            return None;
        };
        let from = (left + right) / 2.0;
        let to = [Bone::Neck, Bone::Head]
            .into_iter()
            .find_map(|bone| skeleton.position(bone))?;
        let plane = Plane {
            at: from + (to - from) * share,
            normal: (to - from).try_normalize(1e-9)?,
        };
        around(body, positions, &plane, parts)
    };
    match tape {
        Tape::Chest => trunk(0.72, &[Part::Torso]),
        Tape::Waist => trunk(0.4, &[Part::Torso, Part::Pelvis]),
        Tape::Seat => trunk(
            0.0,
            &[Part::Pelvis, Part::Thigh(Side::Left), Part::Thigh(Side::Right)],
        ),
        Tape::Thigh => sided(&|side| {
            along(
                Bone::UpperLeg(side),
                Bone::LowerLeg(side),
                0.25,
                &[Part::Thigh(side)],
            )
        }),
        Tape::Calf => {
            sided(&|side| along(Bone::LowerLeg(side), Bone::Foot(side), 0.33, &[Part::Shank(side)]))
        }
        Tape::UpperArm => sided(&|side| {
            along(
                Bone::UpperArm(side),
                Bone::LowerArm(side),
                0.5,
                &[Part::UpperArm(side)],
            )
        }),
    }
}

struct Plane {
    at: Vector3<f64>,
    normal: Vector3<f64>,
}

/// The way round what a plane cuts of some parts, over hollows and not into them.
fn around(body: &Body, positions: &[[f32; 3]], plane: &Plane, parts: &[Part]) -> Option<f64> {
    let at = |vertex: u32| Vector3::from(positions[vertex as usize].map(f64::from)) - plane.at;
    let side = plane
        .normal
        .cross(&if plane.normal.x.abs() < 0.7 {
            Vector3::x()
        } else {
            Vector3::y()
        })
        .normalize();
    let other = plane.normal.cross(&side);
    let mut cut: Vec<[f64; 2]> = Vec::new();
    for (corners, part) in body.surface.triangles.iter().zip(&body.parts) {
        if !parts.contains(part) {
            continue;
        }
        for (a, b) in [(0, 1), (1, 2), (2, 0)] {
            let (a, b) = (at(corners[a]), at(corners[b]));
            let (below, above) = (a.dot(&plane.normal), b.dot(&plane.normal));
            if (below < 0.0) != (above < 0.0) {
                let point = a + (b - a) * (below / (below - above));
                cut.push([point.dot(&side), point.dot(&other)]);
            }
        }
    }
    let hull = hull(cut);
    let step = |n: usize| {
        let (a, b) = (hull[n], hull[(n + 1) % hull.len()]);
        (a[0] - b[0]).hypot(a[1] - b[1])
    };
    (hull.len() >= 3).then(|| (0..hull.len()).map(step).sum())
}

/// The convex hull of points of a plane, counter-clockwise (Andrew 1979).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.retain(|point| point.iter().all(|value| value.is_finite()));
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    let turn = |a: &[f64; 2], b: &[f64; 2], c: &[f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let chain = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for point in points {
            while chain.len() >= 2 && turn(&chain[chain.len() - 2], &chain[chain.len() - 1], &point) <= 0.0 {
                chain.pop();
            }
            chain.push(point);
        }
        chain.pop();
        chain
    };
    let mut hull = chain(&mut points.iter().copied());
    hull.extend(chain(&mut points.iter().rev().copied()));
    hull
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::{BodyShape, body};
    use crate::rig::anatomy::Anatomy;
    use crate::rig::sized::{JointSize, Resized};
    use crate::rig::surface::assemble;
    use std::sync::Arc;

    fn mannequin() -> Body {
        let rig = body(&BodyShape::man("brock").meshed(0.02)).rig();
        let surface = assemble(&rig, &[0], "brock");
        let skeleton = Skeleton::new(&rig, &[&surface], &[]);
        let anatomy = Anatomy::new(&skeleton).unwrap();
        Body::new(surface, skeleton, anatomy)
    }

    #[test]
    fn a_tape_reads_what_the_mannequin_was_made_to() {
        let body = mannequin();
        let shape = BodyShape::man("brock");
        for (tape, girth, within) in [
            (Tape::Seat, shape.girths.seat, 0.12),
            (Tape::Thigh, shape.girths.thigh, 0.12),
            (Tape::Calf, shape.girths.calf, 0.06),
            (Tape::Waist, shape.girths.waist, 0.12),
            (Tape::Chest, shape.girths.chest, 0.12),
        ] {
            let [built, worn] = girths(&body, tape).unwrap();
            assert!(
                (built / girth - 1.0).abs() < within,
                "{tape:?}: {built} for {girth}"
            );
            assert!((worn / built - 1.0).abs() < 1e-6, "{tape:?}: nothing was changed");
        }
    }

    #[test]
    fn a_thigh_scaled_round_its_bone_reads_so_many_times_more() {
        let mut body = mannequin();
        let scale = |joint: &str| JointSize {
            joint: joint.into(),
            scale: [1.2, 1.0, 1.2],
            offset_m: [0.0; 3],
            inherit: false,
        };
        let joints = vec![scale("leftUpperLeg"), scale("rightUpperLeg")];
        body.sized = Some(Arc::new(Resized::new(&body.skeleton, joints).unwrap()));
        let times = |tape| girths(&body, tape).map(|[built, worn]| worn / built).unwrap();
        assert!(
            (1.05..1.2).contains(&times(Tape::Thigh)),
            "{}",
            times(Tape::Thigh)
        );
        assert!((times(Tape::Calf) - 1.0).abs() < 0.05);
        assert!((times(Tape::Chest) - 1.0).abs() < 0.01);
    }

    #[test]
    fn the_hull_of_a_star_goes_round_its_tips() {
        let star = vec![
            [0.0, 0.0],
            [2.0, 0.0],
            [1.0, 0.4],
            [2.0, 2.0],
            [0.0, 2.0],
            [1.0, 1.0],
        ];
        let round = hull(star);
        assert_eq!(round, [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]);
        assert!(hull(vec![[1.0, 1.0]; 3]).len() < 3);
    }
}
