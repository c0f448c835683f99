//! Invented humanoids: one body, written down as rigs that differ in all that must not matter.

use gusset::rig::bone::{Bone, Side};
use gusset::rig::{Bind, Local, Mesh, Node, Rig, Rows};
use nalgebra::{Matrix4, Point3, Rotation3, UnitQuaternion, Vector3};

/// A body's own shape; angles in radians.
#[derive(Clone, Debug)]
pub(crate) struct Shape {
    /// Hip abduction and flexion, knee flexion at the bind: left leg, then right.
    pub(crate) legs: [[f64; 3]; 2],
    /// Upper arm under the horizontal, elbow bent forward: left, then right.
    pub(crate) arms: [[f64; 2]; 2],
    /// The whole body turned about the vertical.
    pub(crate) yaw: f64,
}

/// How a file writes it down.
#[derive(Clone, Debug)]
pub(crate) struct Writing {
    /// World rotation of each joint at the bind, as Euler angles.
    pub(crate) axes: Vec<[f64; 3]>,
    /// Index into [`NAMES`]; beyond the last, joints have no names.
    pub(crate) names: usize,
    /// Metres per unit of the armature: scale of the root node.
    pub(crate) armature: f64,
    /// Metres per unit of the mesh.
    pub(crate) mesh: f64,
    /// True where the mesh lies with Z up.
    pub(crate) z_up: bool,
    /// True where nodes are matrices.
    pub(crate) matrices: bool,
    /// How far the nodes stand from the bind, radians a joint.
    pub(crate) moved: f64,
    /// Right before left in the file.
    pub(crate) right_first: bool,
    /// The legs hang on a joint between hips and spine that has no role.
    pub(crate) legs_on_spine: bool,
}

/// Joint names of some exporters, `%` for the side.
type Names = (&'static [&'static str; 12], [&'static str; 2]);
pub(crate) const NAMES: [Names; 5] = [
    (
        &[
            "hips",
            "spine",
            "chest",
            "upperChest",
            "neck",
            "head",
            "%UpperLeg",
            "%LowerLeg",
            "%Foot",
            "%Toes",
            "%Arm",
            "%",
        ],
        ["left", "right"],
    ),
    (
        &[
            "pelvis", "spine_01", "spine_02", "spine_03", "neck", "head", "thigh.%", "shin.%", "foot.%",
            "toe.%", "arm", ".%",
        ],
        ["L", "R"],
    ),
    (
        &[
            "Bip01 Pelvis",
            "Bip01 Spine1",
            "Bip01 Spine2",
            "Bip01 Spine3",
            "Bip01 Neck",
            "Bip01 Head",
            "Bip01 % Thigh",
            "Bip01 % Calf",
            "Bip01 % Foot",
            "Bip01 % Toe0",
            "biped",
            "",
        ],
        ["L", "R"],
    ),
    (
        &[
            "Hips", "Spine", "Spine1", "Spine2", "Neck", "Head", "%UpLeg", "%Leg", "%Foot", "%ToeBase", "up",
            "",
        ],
        ["Left", "Right"],
    ),
    (
        &[
            "humanoid_root",
            "vl5",
            "vt12",
            "vt1",
            "vc4",
            "skullbase",
            "%_hip",
            "%_knee",
            "%_talocrural",
            "%_metatarsophalangeal",
            "hanim",
            "",
        ],
        ["l", "r"],
    ),
];
/// Shoulder, upper arm, forearm, hand in the same five ways.
const ARMS: [[&str; 4]; 5] = [
    ["%Shoulder", "%UpperArm", "%LowerArm", "%Hand"],
    ["clavicle.%", "upper_arm.%", "forearm.%", "hand.%"],
    [
        "Bip01 % Clavicle",
        "Bip01 % UpperArm",
        "Bip01 % Forearm",
        "Bip01 % Hand",
    ],
    ["%Shoulder", "%Arm", "%ForeArm", "%Hand"],
    ["%_sternoclavicular", "%_shoulder", "%_elbow", "%_radiocarpal"],
];

const LEG: [fn(Side) -> Bone; 4] = [Bone::UpperLeg, Bone::LowerLeg, Bone::Foot, Bone::Toes];
const ARM: [fn(Side) -> Bone; 4] = [Bone::Shoulder, Bone::UpperArm, Bone::LowerArm, Bone::Hand];
/// From the root up.
pub(crate) const MIDDLE: [Bone; 6] = [
    Bone::Hips,
    Bone::Spine,
    Bone::Chest,
    Bone::UpperChest,
    Bone::Neck,
    Bone::Head,
];

/// The mirror image of the body: left and right change places.
pub(crate) fn mirrored(shape: &Shape) -> Shape {
    Shape {
        legs: [shape.legs[1], shape.legs[0]],
        arms: [shape.arms[1], shape.arms[0]],
        yaw: -shape.yaw,
    }
}

fn turn(axis: Vector3<f64>, angle: f64) -> Rotation3<f64> {
    Rotation3::new(axis * angle)
}

/// Hip, knee, ankle, ball of the foot on one side, facing +Z.
fn leg(shape: &Shape, side: Side) -> [Vector3<f64>; 4] {
    let (row, s) = match side {
        Side::Left => (shape.legs[0], 1.0),
        Side::Right => (shape.legs[1], -1.0),
    };
    let [abduction, flexion, knee] = row;
    // SOURCES 1.1: Rx(-f) Rz(a), then the knee about the thigh's own X.
    let thigh = turn(Vector3::x(), -flexion) * turn(Vector3::z(), s * abduction);
    let hip = Vector3::new(s * 0.09, 0.95, 0.0);
    let at_knee = hip + thigh * Vector3::new(0.0, -0.43, 0.0);
    let ankle = at_knee + thigh * turn(Vector3::x(), knee) * Vector3::new(0.0, -0.40, 0.0);
    [hip, at_knee, ankle, ankle + Vector3::new(s * 0.02, -0.05, 0.13)]
}

/// Collar bone, shoulder, elbow, wrist on one side, facing +Z.
fn arm(shape: &Shape, side: Side) -> [Vector3<f64>; 4] {
    let (row, s) = match side {
        Side::Left => (shape.arms[0], 1.0),
        Side::Right => (shape.arms[1], -1.0),
    };
    let [under, elbow] = row;
    let shoulder = Vector3::new(s * 0.18, 1.42, -0.01);
    let upper = Vector3::new(s * under.cos(), -under.sin(), 0.0);
    let fore = upper * elbow.cos() + Vector3::z() * elbow.sin();
    let at_elbow = shoulder + upper * 0.28;
    [
        Vector3::new(s * 0.03, 1.44, 0.0),
        shoulder,
        at_elbow,
        at_elbow + fore * 0.25,
    ]
}

/// Bone, name pattern, place, parent's place in the list.
type Row = (Option<Bone>, String, Vector3<f64>, Option<usize>);

fn limb(rows: &mut Vec<Row>, bones: [Bone; 4], names: [String; 4], places: [Vector3<f64>; 4], parent: usize) {
    let mut parent = parent;
    for ((bone, name), place) in bones.into_iter().zip(names).zip(places) {
        rows.push((Some(bone), name, place, Some(parent)));
        parent = rows.len() - 1;
    }
}

/// All joints, parents first; row 0 is the armature's root.
fn rows(shape: &Shape, writing: &Writing) -> Vec<Row> {
    let name = |pattern: &str, side: usize| {
        let sides = NAMES.get(writing.names).map_or(["", ""], |names| names.1);
        if writing.names < NAMES.len() {
            pattern.replace('%', sides[side])
        } else {
            String::new()
        }
    };
    let spelt = writing.names.min(NAMES.len() - 1);
    let words = NAMES[spelt].0;
    let mut rows: Vec<Row> = vec![(None, String::new(), Vector3::zeros(), None)];
    let heights = [1.0, 1.08, 1.2, 1.33, 1.5, 1.6];
    for (index, (&bone, height)) in MIDDLE.iter().zip(heights).enumerate() {
        let mut parent = rows.len() - 1;
        if index == 1 && writing.legs_on_spine {
            // As in the biped rigs whose thighs hang on the first spine joint.
            rows.push((None, name("joint", 0), Vector3::new(0.0, 1.03, 0.0), Some(parent)));
            parent += 1;
        }
        rows.push((
            Some(bone),
            name(words[index], 0),
            Vector3::new(0.0, height, 0.0),
            Some(parent),
        ));
    }
    let (hips, chest) = (1 + usize::from(writing.legs_on_spine), rows.len() - 3);
    let mut sides = [(0, Side::Left), (1, Side::Right)];
    if writing.right_first {
        sides.reverse();
    }
    for (number, side) in sides {
        let names: [String; 4] = std::array::from_fn(|index| name(words[6 + index], number));
        limb(
            &mut rows,
            LEG.map(|bone| bone(side)),
            names,
            leg(shape, side),
            hips,
        );
        let names = ARMS[spelt].map(|pattern| name(pattern, number));
        limb(
            &mut rows,
            ARM.map(|bone| bone(side)),
            names,
            arm(shape, side),
            chest,
        );
    }
    let yaw = turn(Vector3::y(), shape.yaw);
    for row in &mut rows {
        row.2 = yaw * row.2;
    }
    rows
}

/// The rig, and which node each bone really is.
pub(crate) fn rig(shape: &Shape, writing: &Writing) -> (Rig, Vec<(Bone, usize)>) {
    let rows = rows(shape, writing);
    let world: Vec<Matrix4<f64>> = rows
        .iter()
        .enumerate()
        .map(|(node, row)| {
            let [a, b, c] = writing.axes[node % writing.axes.len()];
            let axes = if node == 0 {
                Rotation3::identity()
            } else {
                Rotation3::from_euler_angles(a, b, c)
            };
            Matrix4::new_translation(&row.2) * axes.to_homogeneous() * Matrix4::new_scaling(writing.armature)
        })
        .collect();
    let nodes = (0..rows.len())
        .map(|node| self::node(node, &rows, &world, writing))
        .collect();
    let rig = Rig {
        name: "invented".into(),
        nodes,
        meshes: vec![mesh(&rows, &world, writing)],
        ..Rig::default()
    };
    let bones = rows
        .iter()
        .enumerate()
        .filter_map(|(node, row)| Some((row.0?, node)))
        .collect();
    (rig, bones)
}

fn node(node: usize, rows: &[Row], world: &[Matrix4<f64>], writing: &Writing) -> Node {
    let (_, name, _, parent) = &rows[node];
    let local = parent.map_or(world[node], |parent| {
        world[parent].try_inverse().unwrap() * world[node]
    });
    let linear = local.fixed_view::<3, 3>(0, 0).into_owned();
    let scale = linear.determinant().cbrt();
    let mut rotation = Rotation3::from_matrix_unchecked(linear / scale);
    // The nodes may stand in another pose than the mesh was bound in, but for the root and the hips.
    if node > 1 {
        let lean = [0.7, -0.4, 0.6]
            .map(|share| share * writing.moved * if node.is_multiple_of(2) { 1.0 } else { -1.0 });
        rotation *= Rotation3::from_euler_angles(lean[0], lean[1], lean[2]);
    }
    let parts = Local::Parts {
        translation: local.fixed_view::<3, 1>(0, 3).into_owned(),
        rotation: UnitQuaternion::from_rotation_matrix(&rotation),
        scale: Vector3::repeat(scale),
    };
    let local = if writing.matrices {
        Local::Matrix(parts.matrix())
    } else {
        parts
    };
    Node {
        name: name.clone(),
        parent: *parent,
        local,
        file_index: node,
    }
}

/// One vertex at each joint but the root, held by it alone.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a handful of joints, and positions in f32"
)]
fn mesh(rows: &[Row], world: &[Matrix4<f64>], writing: &Writing) -> Mesh {
    let up = if writing.z_up {
        turn(Vector3::x(), -std::f64::consts::FRAC_PI_2)
    } else {
        Rotation3::identity()
    };
    let to_world = up.to_homogeneous() * Matrix4::new_scaling(writing.mesh);
    let from_world = to_world.try_inverse().unwrap();
    let joints = rows.len() as u16 - 1;
    let binds = (1..rows.len())
        .map(|node| Bind {
            node,
            inverse_bind: world[node].try_inverse().unwrap() * to_world,
        })
        .collect();
    let place = |row: &Row| {
        from_world
            .transform_point(&Point3::from(row.2))
            .coords
            .map(|x| x as f32)
            .into()
    };
    Mesh {
        name: "skin".into(),
        material: String::new(),
        place: "/meshes/0/primitives/0".into(),
        binds,
        skinned: true,
        positions: rows[1..].iter().map(place).collect(),
        uvs: None,
        triangles: (0..u32::from(joints))
            .map(|a| [a, (a + 1) % u32::from(joints), (a + 2) % u32::from(joints)])
            .collect(),
        rows: Rows {
            starts: (0..=u32::from(joints)).collect(),
            binds: (0..joints).collect(),
            weights: vec![1.0; usize::from(joints)],
        },
        morphs: Vec::new(),
        hidden: Vec::new(),
    }
}
