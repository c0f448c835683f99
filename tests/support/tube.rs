//! A skeleton of two legs and tubes round them, so that every number has a closed form.

use gusset::contact::{Beneath, Body, Layer};
use gusset::fitting::Dressed;
use gusset::rig::anatomy::Anatomy;
use gusset::rig::skeleton::Skeleton;
use gusset::rig::surface::assemble;
use gusset::rig::{Bind, Local, Mesh, Node, Rig, Rows};
use nalgebra::{Matrix4, UnitQuaternion, Vector3};
use std::f64::consts::TAU;

/// Nodes of [`rig`].
pub(crate) const UPPER: usize = 1;
pub(crate) const LOWER: usize = 2;
pub(crate) const OTHER: usize = 4;
/// Height of the knee, metres.
pub(crate) const KNEE: f64 = 0.49;
/// Middle of the left leg.
pub(crate) const AXIS: f64 = 0.1;
/// Distance of the rings of vertices, metres.
const STEP: f64 = 0.01;
/// Vertices round the tube.
pub(crate) const ROUND: usize = 32;

const JOINTS: [(&str, Option<usize>, [f64; 3]); 7] = [
    ("hips", None, [0.0, 0.9, 0.0]),
    ("leftUpperLeg", Some(0), [AXIS, 0.9, 0.0]),
    ("leftLowerLeg", Some(1), [AXIS, KNEE, 0.0]),
    ("leftFoot", Some(2), [AXIS, 0.08, 0.0]),
    ("rightUpperLeg", Some(0), [-AXIS, 0.9, 0.0]),
    ("rightLowerLeg", Some(4), [-AXIS, KNEE, 0.0]),
    ("rightFoot", Some(5), [-AXIS, 0.08, 0.0]),
];

/// Weight on the upper and on the lower leg at a height.
pub(crate) type Weights = fn(f64) -> [f64; 2];

/// A tube of some radius between two heights, with a seam in its texture: U runs round, V up, both in metres.
pub(crate) struct Tube {
    pub(crate) radius: f64,
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) weights: Weights,
    /// A ring and a column whose vertex follows the other leg instead.
    pub(crate) bad: Option<(usize, usize)>,
    /// Where the middle of the tube is along x, metres.
    pub(crate) axis: f64,
    /// The nodes whose weights `weights` gives.
    pub(crate) carried_by: [usize; 2],
}

impl Tube {
    /// Round the left leg, carried by its thigh.
    #[allow(dead_code, reason = "not every test that shares this file needs it")]
    pub(crate) const LEFT: Self = Self {
        radius: 0.06,
        low: 0.29,
        high: 0.69,
        weights: |_| [1.0, 0.0],
        bad: None,
        axis: AXIS,
        carried_by: [UPPER, LOWER],
    };
}

pub(crate) fn rig(tubes: &[Tube]) -> Rig {
    let nodes = JOINTS
        .iter()
        .enumerate()
        .map(|(index, (name, parent, at))| {
            let above = parent.map_or([0.0; 3], |parent: usize| JOINTS[parent].2);
            Node {
                name: (*name).to_owned(),
                parent: *parent,
                local: Local::Parts {
                    translation: Vector3::from(*at) - Vector3::from(above),
                    rotation: UnitQuaternion::identity(),
                    scale: Vector3::repeat(1.0),
                },
                file_index: index,
            }
        })
        .collect();
    Rig {
        name: "tube".into(),
        nodes,
        meshes: tubes.iter().map(mesh).collect(),
        ..Rig::default()
    }
}

fn mesh(tube: &Tube) -> Mesh {
    let rings = ((tube.high - tube.low) / STEP).round() as usize + 1;
    let mut mesh = Mesh {
        name: "tube".into(),
        material: String::new(),
        place: String::new(),
        binds: JOINTS
            .iter()
            .enumerate()
            .map(|(node, joint)| Bind {
                node,
                inverse_bind: Matrix4::new_translation(&-Vector3::from(joint.2)),
            })
            .collect(),
        skinned: true,
        positions: Vec::new(),
        uvs: Some(Vec::new()),
        triangles: Vec::new(),
        rows: Rows {
            starts: vec![0],
            ..Rows::default()
        },
        morphs: Vec::new(),
        hidden: Vec::new(),
    };
    for ring in 0..rings {
        let y = tube.low + STEP * ring as f64;
        for column in 0..=ROUND {
            // The last column lies on the first: a texture seam.
            let angle = TAU * (column % ROUND) as f64 / ROUND as f64;
            let at = [
                tube.axis + tube.radius * angle.cos(),
                y,
                -tube.radius * angle.sin(),
            ];
            mesh.positions.push(at.map(|value| value as f32));
            let around = tube.radius * TAU * column as f64 / ROUND as f64;
            mesh.uvs.as_mut().unwrap().push([around as f32, y as f32]);
            let bad = tube.bad == Some((ring, column));
            let row = if bad {
                [(OTHER, 1.0), (OTHER, 0.0)]
            } else {
                let [upper, lower] = (tube.weights)(y);
                let [first, second] = tube.carried_by;
                [(first, upper), (second, lower)]
            };
            for (bind, weight) in row.into_iter().filter(|row| row.1 != 0.0) {
                mesh.rows.binds.push(bind as u16);
                mesh.rows.weights.push(weight as f32);
            }
            mesh.rows.starts.push(mesh.rows.binds.len() as u32);
        }
    }
    let vertex = |ring: usize, column: usize| (ring * (ROUND + 1) + column) as u32;
    for ring in 0..rings - 1 {
        for column in 0..ROUND {
            let [a, b] = [vertex(ring, column), vertex(ring, column + 1)];
            let [c, d] = [vertex(ring + 1, column), vertex(ring + 1, column + 1)];
            mesh.triangles.extend([[a, b, d], [a, d, c]]);
        }
    }
    mesh
}

/// Dresses a body of tubes in garments of tubes.
pub(crate) fn dress(skin: &[Tube], garments: &[&[Tube]]) -> Dressed {
    let garments: Vec<Rig> = garments.iter().map(|tubes| rig(tubes)).collect();
    dress_rigs(rig(skin), &garments)
}

/// The same for rigs.
pub(crate) fn dress_rigs(body_rig: Rig, garments: &[Rig]) -> Dressed {
    let all = |rig: &Rig| (0..rig.meshes.len()).collect::<Vec<_>>();
    let surface = assemble(&body_rig, &all(&body_rig), "body");
    let skeleton = Skeleton::new(&body_rig, &[&surface], &[]);
    let anatomy = Anatomy::new(&skeleton).unwrap();
    let body = Body::new(surface, skeleton, anatomy);
    let layers: Vec<Layer> = garments
        .iter()
        .map(|rig| {
            let surface = assemble(rig, &all(rig), "garment");
            let skeleton = Skeleton::new(rig, &[&surface], &[]);
            Layer::new(&body, surface, skeleton)
        })
        .collect();
    let beneath = layers[1..]
        .iter()
        .map(|inner| Beneath::new(&body, inner, &layers[0]))
        .collect();
    Dressed {
        rig: body_rig,
        body,
        layers,
        beneath,
        garment_alone: false,
        findings: Vec::new(),
    }
}

/// World matrices of all nodes at the bind, with some nodes moved: each by a matrix about its own joint.
pub(crate) fn moved(by: &[(usize, Matrix4<f64>)]) -> Vec<Matrix4<f64>> {
    let mut world: Vec<Matrix4<f64>> = Vec::new();
    for (node, (_, parent, at)) in JOINTS.iter().enumerate() {
        let above = parent.map_or([0.0; 3], |parent: usize| JOINTS[parent].2);
        let own = by
            .iter()
            .find(|row| row.0 == node)
            .map_or_else(Matrix4::identity, |row| row.1);
        let local = Matrix4::new_translation(&(Vector3::from(*at) - Vector3::from(above))) * own;
        world.push(parent.map_or(local, |parent| world[parent] * local));
    }
    world
}
