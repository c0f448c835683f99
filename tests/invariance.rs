//! What must not change a number: where the wearer stands, which side is which, in what order a file lists its vertices
//! and joints, what the joints are called, how large everything is.
//!
//! A demo pair with a fault on one side is written, changed as a file, read again and measured. Numbers may differ by
//! the rounding of f32 positions (1e-7 of a metre or two): lengths by 0.02 mm, ratios by 1e-3, and areas by the few
//! samples that lie within that of a limit.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gusset::demo::{BodyShape, Fault, Kind, Pattern, Piece, body, garment, plant};
use gusset::fitting::{Plan, Sequence, run};
use gusset::outcome::{Fitting, Place};
use gusset::pose;
use gusset::rig::{Local, Rig, Rows};
use gusset::wardrobe::{Outfit, dress};
use nalgebra::{Matrix4, Rotation3, Translation3, UnitQuaternion, Vector3};
use std::sync::OnceLock;

/// Poses that are the same left and right.
const POSES: [&str; 4] = ["standing", "wide_stance", "sitting", "squat"];

type Pair = [Rig; 2];

fn pair() -> &'static (Pair, Fitting) {
    static PAIR: OnceLock<(Pair, Fitting)> = OnceLock::new();
    PAIR.get_or_init(|| {
        let wearer = body(&BodyShape::woman("wearer").meshed(0.019));
        let pattern = Pattern {
            grain: 0.020,
            ..Pattern::new("trousers", Kind::SlimTrousers).built_at(9.0)
        };
        let cloth = plant(garment(&wearer, &pattern).rig(), Fault::Bleed);
        let pair = [wearer.rig(), cloth];
        let fitting = measured(&pair);
        (pair, fitting)
    })
}

fn measured(pair: &Pair) -> Fitting {
    let folder = tempfile::tempdir().unwrap();
    let [body, garment] = ["body", "garment"].map(|name| folder.path().join(format!("{name}.glb")));
    for (file, rig) in [&body, &garment].into_iter().zip(pair) {
        std::fs::write(file, Piece::plain("rig", rig).glb()).unwrap();
    }
    let dressed = dress(&Outfit {
        body: Some(body),
        garment,
        ..Outfit::default()
    })
    .unwrap();
    let wanted = pose::all()
        .iter()
        .filter(|pose| POSES.contains(&pose.name.as_str()));
    let plan = Plan {
        sequences: wanted.map(Sequence::from).collect(),
        ..Plan::default()
    };
    run(&dressed, &plan, &|| ())
}

/// Every number of every pose, lengths in units of `size`; verdicts, too.
fn assert_same(one: &Fitting, other: &Fitting, size: f64) {
    assert_eq!(one.poses.len(), POSES.len());
    assert_eq!(one.verdict, other.verdict);
    let (mut compared, mut off) = (0, Vec::new());
    for (a, b) in one.poses.iter().zip(&other.poses) {
        assert_eq!((&a.pose, a.verdict), (&b.pose, b.verdict));
        for (path, value) in &a.frames[0].measures.values {
            let found = b.frames[0].measures.values[path];
            assert_eq!(value.is_some(), found.is_some(), "{} {path}", a.pose);
            let (Some(value), Some(found)) = (value, found) else {
                continue;
            };
            let (found, slack) = if path.ends_with("_mm") {
                (found / size, 0.02)
            } else if path.ends_with("_cm2") && !path.ends_with("worst_5cm2") {
                (found / (size * size), 0.5 + 0.005 * value)
            } else if path.ends_with("_deg") {
                (found, 0.05)
            } else {
                (found, 1e-3 * value.abs().max(1.0))
            };
            if (value - found).abs() > slack {
                off.push(format!("{} {path}: {value} and {found}", a.pose));
            }
            compared += 1;
        }
    }
    assert!(compared > 150, "{compared} numbers compared");
    assert!(off.is_empty(), "{off:#?}");
}

fn worst(fitting: &Fitting) -> &Place {
    let pose = fitting
        .poses
        .iter()
        .find(|pose| pose.pose == "wide_stance")
        .unwrap();
    pose.frames[0].place_of("skin_shows.inner.area_cm2").unwrap()
}

fn wide(position: [f32; 3]) -> Vector3<f64> {
    Vector3::from(position.map(f64::from))
}

fn narrow(point: Vector3<f64>) -> [f32; 3] {
    point.map(|value| value as f32).into()
}

/// Carries the rig, mesh and skeleton, to another place.
fn carried(rig: &Rig, motion: &Matrix4<f64>) -> Rig {
    let mut rig = rig.clone();
    for node in rig.nodes.iter_mut().filter(|node| node.parent.is_none()) {
        node.local = Local::Matrix(motion * node.local.matrix());
    }
    let back = motion.try_inverse().unwrap();
    for mesh in &mut rig.meshes {
        for position in &mut mesh.positions {
            *position = narrow(motion.transform_point(&wide(*position).into()).coords);
        }
        mesh.binds.iter_mut().for_each(|bind| bind.inverse_bind *= back);
    }
    rig
}

#[test]
fn where_the_wearer_stands() {
    let (pair, plain) = pair();
    let turned = Rotation3::from_euler_angles(0.0, 0.7, 0.0);
    // Another axis up: exporters lay figures on their backs.
    let laid = Rotation3::from_axis_angle(&Vector3::x_axis(), std::f64::consts::FRAC_PI_2);
    for turn in [turned, laid] {
        let motion = Translation3::new(0.4, -0.2, 0.6).to_homogeneous() * turn.to_homogeneous();
        assert_same(
            plain,
            &measured(&pair.clone().map(|rig| carried(&rig, &motion))),
            1.0,
        );
    }
}

fn other_side(name: &str) -> String {
    if let Some(rest) = name.strip_prefix("left") {
        format!("right{rest}")
    } else if let Some(rest) = name.strip_prefix("right") {
        format!("left{rest}")
    } else {
        name.to_owned()
    }
}

#[test]
fn left_and_right_change_places() {
    let (pair, plain) = pair();
    let mirrored = |rig: &Rig| {
        let mut rig = rig.clone();
        let flip = Matrix4::new_nonuniform_scaling(&Vector3::new(-1.0, 1.0, 1.0));
        for node in &mut rig.nodes {
            node.name = other_side(&node.name);
            node.local = match &node.local {
                Local::Parts {
                    translation,
                    rotation,
                    scale,
                } => Local::Parts {
                    translation: Vector3::new(-translation.x, translation.y, translation.z),
                    rotation: UnitQuaternion::new_normalize(nalgebra::Quaternion::new(
                        rotation.w,
                        rotation.i,
                        -rotation.j,
                        -rotation.k,
                    )),
                    scale: *scale,
                },
                Local::Matrix(matrix) => Local::Matrix(flip * matrix * flip),
            };
        }
        for mesh in &mut rig.meshes {
            mesh.positions
                .iter_mut()
                .for_each(|position| position[0] = -position[0]);
            mesh.triangles.iter_mut().for_each(|triangle| triangle.swap(1, 2));
            let binds = mesh.binds.iter_mut();
            binds.for_each(|bind| bind.inverse_bind = flip * bind.inverse_bind * flip);
        }
        rig
    };
    let found = measured(&pair.clone().map(|rig| mirrored(&rig)));
    assert_same(plain, &found, 1.0);
    let (before, after) = (worst(plain), worst(&found));
    assert!(
        before.region.contains("right") && after.region.contains("left"),
        "{before:?} {after:?}"
    );
    assert_eq!(before.region.replace("right", "left"), after.region);
    for axis in 0..3 {
        let sign = if axis == 0 { -1.0 } else { 1.0 };
        assert!((before.position_m[axis] - sign * after.position_m[axis]).abs() < 0.02);
    }
}

/// A fixed shuffle of `count` things: new number to old.
fn shuffled(count: usize) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    let mut state = 12345u64;
    for last in (1..count).rev() {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        order.swap(last, (state >> 33) as usize % (last + 1));
    }
    order
}

#[test]
fn vertices_triangles_and_joints_in_another_order() {
    let (pair, plain) = pair();
    let renumbered = |rig: &Rig| {
        let mut rig = rig.clone();
        for mesh in &mut rig.meshes {
            let order = shuffled(mesh.positions.len());
            let joints = shuffled(mesh.binds.len());
            let mut new_vertex = vec![0u32; order.len()];
            order
                .iter()
                .enumerate()
                .for_each(|(new, old)| new_vertex[*old] = new as u32);
            let mut new_joint = vec![0u16; joints.len()];
            joints
                .iter()
                .enumerate()
                .for_each(|(new, old)| new_joint[*old] = new as u16);
            let mut rows = Rows {
                starts: vec![0],
                ..Rows::default()
            };
            for old in &order {
                for (joint, weight) in mesh.rows.row(*old) {
                    rows.binds.push(new_joint[joint]);
                    rows.weights.push(weight);
                }
                rows.starts.push(rows.binds.len() as u32);
            }
            mesh.positions = order.iter().map(|old| mesh.positions[*old]).collect();
            mesh.uvs = mesh
                .uvs
                .take()
                .map(|uvs| order.iter().map(|old| uvs[*old]).collect());
            mesh.binds = joints.iter().map(|old| mesh.binds[*old].clone()).collect();
            mesh.rows = rows;
            let turned = shuffled(mesh.triangles.len());
            let corners = |old: &usize| mesh.triangles[*old].map(|vertex| new_vertex[vertex as usize]);
            mesh.triangles = turned.iter().map(corners).collect();
        }
        rig
    };
    let found = measured(&pair.clone().map(|rig| renumbered(&rig)));
    assert_same(plain, &found, 1.0);
    assert_eq!(worst(plain).region, worst(&found).region);
}

#[test]
fn joints_under_other_names() {
    let (pair, plain) = pair();
    let spaced = |name: &str| {
        let words: String = name
            .chars()
            .flat_map(|letter| {
                let gap = letter.is_uppercase().then_some('_');
                gap.into_iter().chain(letter.to_lowercase())
            })
            .collect();
        words
            .strip_prefix("left_")
            .map(|rest| format!("{rest}.L"))
            .or_else(|| words.strip_prefix("right_").map(|rest| format!("{rest}.R")))
            .unwrap_or(words)
    };
    let named = |rig: &Rig| {
        let mut rig = rig.clone();
        rig.stated_roles = Default::default();
        rig.nodes
            .iter_mut()
            .for_each(|node| node.name = spaced(&node.name));
        rig
    };
    assert_same(plain, &measured(&pair.clone().map(|rig| named(&rig))), 1.0);
    // Names that say nothing: roles come from the shape of the tree.
    let nameless = |rig: &Rig| {
        let mut rig = rig.clone();
        rig.stated_roles = Default::default();
        let nodes = rig.nodes.iter_mut().enumerate();
        nodes.for_each(|(number, node)| node.name = format!("n{number}"));
        rig
    };
    assert_same(plain, &measured(&pair.clone().map(|rig| nameless(&rig))), 1.0);
}

#[test]
fn everything_twice_as_large() {
    let (pair, plain) = pair();
    let enlarged = |rig: &Rig| {
        let mut rig = rig.clone();
        for node in &mut rig.nodes {
            if let Local::Parts { translation, .. } = &mut node.local {
                *translation *= 2.0;
            }
        }
        for mesh in &mut rig.meshes {
            mesh.positions
                .iter_mut()
                .for_each(|position| *position = position.map(|value| 2.0 * value));
            for bind in &mut mesh.binds {
                let mut moved = bind.inverse_bind.fixed_view_mut::<3, 1>(0, 3);
                moved *= 2.0;
            }
        }
        rig
    };
    assert_same(plain, &measured(&pair.clone().map(|rig| enlarged(&rig))), 2.0);
}
