//! Whether writing and reading agree, and whether random damage can make the reader panic.

use nalgebra::{Matrix4, Quaternion, UnitQuaternion, Vector3};
use serde_json::json;

use super::support::{self, Sample};
use super::*;
use crate::rig::{Local, Node, Rows};

/// A scene with all that the writer knows: a joint chain, rows of up to `most` entries, a picture, colours, numbers.
fn scene(most: usize) -> GlbScene {
    let turned = UnitQuaternion::from_quaternion(Quaternion::new(0.5, 0.5, -0.5, 0.5));
    let parts = |y: f64| Local::Parts {
        translation: Vector3::new(0.0, y, 0.25),
        rotation: turned,
        scale: Vector3::repeat(1.0),
    };
    let node = |name: &str, parent, local| GlbNode {
        name: name.into(),
        parent,
        local,
    };
    let mut rows = Rows {
        starts: vec![0],
        ..Rows::default()
    };
    for vertex in 0..4 {
        for joint in 0..=vertex.min(most - 1) {
            rows.binds.push(joint as u16 % 3);
            rows.weights.push(1.0 / (vertex.min(most - 1) + 1) as f32);
        }
        rows.starts.push(rows.binds.len() as u32);
    }
    let binds = [0, 1, 2].map(|joint| {
        (
            joint,
            Matrix4::new_translation(&Vector3::new(0.0, -0.5 * joint as f64, 0.0)),
        )
    });
    GlbScene {
        nodes: vec![
            node("hips", None, parts(1.0)),
            node("knee", Some(0), parts(-0.5)),
            node("", Some(0), Local::Matrix(Matrix4::new_scaling(2.0))),
        ],
        skins: vec![GlbSkin {
            joints: binds.to_vec(),
        }],
        materials: vec![GlbMaterial {
            name: "denim".into(),
            colour: [0.2, 0.3, 0.6, 1.0],
            picture: Some(0),
        }],
        pictures: vec![png()],
        surfaces: vec![GlbSurface {
            name: "cloth".into(),
            positions: vec![[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.5]],
            triangles: vec![[0, 1, 2], [0, 2, 3]],
            colours: Some(vec![[255, 0, 128, 255]; 4]),
            uvs: Some(vec![[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]),
            numbers: vec![("_DEPTH".into(), vec![0.0, 1.0, 2.0, 3.5])],
            skin: Some((0, rows)),
            ..GlbSurface::default()
        }],
    }
}

/// One surface as it stands.
fn still() -> GlbScene {
    let GlbScene {
        mut materials,
        mut surfaces,
        ..
    } = scene(1);
    materials[0].picture = None;
    surfaces[0].skin = None;
    GlbScene {
        materials,
        surfaces,
        ..GlbScene::default()
    }
}

fn png() -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 2, 2);
    encoder.set_color(png::ColorType::Rgb);
    encoder
        .write_header()
        .unwrap()
        .write_image_data(&[200; 12])
        .unwrap();
    bytes
}

#[test]
fn what_is_written_is_read_back() {
    for most in [1, 3, 4] {
        let scene = scene(most);
        let rig = parse(&glb(&scene), "x/cloth.glb", &no_files, &ReadOptions::default()).unwrap();
        let nodes: Vec<&Node> = rig.nodes.iter().filter(|node| node.file_index < 3).collect();
        for (node, expected) in nodes.iter().zip(&scene.nodes) {
            assert_eq!((&node.name, node.parent), (&expected.name, expected.parent));
            assert!((node.local.matrix() - expected.local.matrix()).amax() < 1e-7);
        }
        let (mesh, surface) = (&rig.meshes[0], &scene.surfaces[0]);
        assert_eq!(
            (&mesh.positions, &mesh.triangles, &mesh.uvs),
            (&surface.positions, &surface.triangles, &surface.uvs)
        );
        assert_eq!(Some((0, mesh.rows.clone())), surface.skin);
        assert!(
            mesh.binds
                .iter()
                .zip(&scene.skins[0].joints)
                .all(|(bind, joint)| (bind.node, bind.inverse_bind) == *joint)
        );
        assert_eq!(
            (mesh.name.as_str(), mesh.material.as_str(), rig.name.as_str()),
            ("cloth", "denim", "cloth")
        );
        assert_eq!(rig.remarks, []);
    }
}

#[test]
fn rows_longer_than_four_take_a_second_set() {
    let mut long = scene(4);
    let row = [0.5, 0.25, 0.125, 0.0625, 0.03125, 0.03125];
    long.surfaces[0].skin = Some((
        0,
        Rows {
            starts: vec![0, 6, 12, 18, 24],
            binds: [0, 1, 2, 0, 1, 2].repeat(4),
            weights: row.repeat(4),
        },
    ));
    let rig = parse(&glb(&long), "x.glb", &no_files, &ReadOptions::default()).unwrap();
    assert_eq!(Some((0, rig.meshes[0].rows.clone())), long.surfaces[0].skin);
}

#[test]
fn same_scene_same_bytes() {
    assert_eq!(glb(&scene(4)), glb(&scene(4)));
}

#[test]
fn numbers_that_are_not_finite_are_written_as_zero() {
    let mut torn = scene(4);
    torn.surfaces[0].positions[1] = [f32::NAN, f32::INFINITY, 1.0];
    let rig = parse(&glb(&torn), "x.glb", &no_files, &ReadOptions::default()).unwrap();
    assert_eq!(rig.meshes[0].positions[1], [0.0, 0.0, 1.0]);
}

#[test]
fn smooth_normals_do_not_show_a_seam() {
    // Two triangles meeting at a right angle along doubled vertices.
    let positions = [
        [0.0, 0.0, 0.0],
        [1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [-0.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [0.0, 0.0, 1.0],
    ];
    let normals = normals::smooth(&positions, &[[0, 1, 2], [3, 4, 5]]);
    let half = std::f32::consts::FRAC_1_SQRT_2;
    assert_eq!(normals[0], normals[3]);
    assert!((normals[0][0] - half).abs() < 1e-6 && (normals[0][2] - half).abs() < 1e-6);
    assert_eq!(normals[1], [0.0, 0.0, 1.0]);
    assert_eq!(
        normals::smooth(&[[f32::NAN; 3]; 3], &[[0, 1, 2]]),
        [[0.0, 1.0, 0.0]; 3]
    );
}

/// The Khronos validator has no Rust edition; it is asked where the variable names a folder for its input.
#[test]
fn files_for_the_khronos_validator() {
    let Some(folder) = std::env::var_os("GUSSET_VALIDATOR_INPUT") else {
        return;
    };
    let folder = Path::new(&folder);
    let mut textured = still();
    (textured.materials[0].picture, textured.pictures) = (Some(0), vec![png()]);
    let mut wide = scene(3);
    wide.nodes.extend((3..400).map(|node| GlbNode {
        name: format!("n{node}"),
        parent: Some(0),
        local: Local::identity(),
    }));
    wide.skins[0]
        .joints
        .extend((3..400).map(|node| (node, Matrix4::identity())));
    if let Some((_, rows)) = &mut wide.surfaces[0].skin {
        rows.binds.iter_mut().for_each(|bind| *bind += 300);
    }
    let files = [
        ("still", still()),
        ("textured", textured),
        ("skinned", scene(3)),
        ("wide", wide),
        ("empty", GlbScene::default()),
    ];
    for (name, scene) in files {
        std::fs::write(folder.join(format!("{name}.glb")), glb(&scene)).unwrap();
    }
}

#[test]
fn sparse_numbers_of_the_khronos_example() {
    // Layout and bytes of `accessor_data/get_elements_sparse.gltf` of the Khronos validator's tests (Apache-2.0).
    let mut sample = Sample {
        json: json!({ "asset": { "version": "2.0" }, "accessors": [], "bufferViews": [] }),
        bin: Vec::new(),
    };
    let base = sample.view(&[70_000_u32, 0, 54_321, 6_789].map(u32::to_le_bytes).concat());
    let mixed = sample.view(&[1_u32, 3, 100_001, 200_002].map(u32::to_le_bytes).concat());
    let sparse = json!({ "count": 2,
        "indices": { "bufferView": mixed, "byteOffset": 0, "componentType": support::UNSIGNED_INT },
        "values": { "bufferView": mixed, "byteOffset": 8 } });
    sample.set("/accessors", json!([
        { "type": "SCALAR", "componentType": support::FLOAT, "count": 2 },
        { "type": "SCALAR", "componentType": support::UNSIGNED_INT, "count": 4, "bufferView": base, "sparse": sparse },
    ]));
    let caps = Caps::default();
    let bytes = sample.embedded();
    let parts = container::split(&bytes).unwrap();
    let root = text::parse(parts.json, &caps).unwrap();
    sanity::check(&root, &caps).unwrap();
    let source = buffers::load(&root, &parts, &no_files, &caps).unwrap();
    assert_eq!(source.floats::<1>(0, "").unwrap(), [[0.0], [0.0]]);
    assert_eq!(
        source.integers::<1>(1, "").unwrap(),
        [[70_000], [100_001], [54_321], [200_002]]
    );
}

/// Numbers for the edits: the generator of Numerical Recipes, seeded, so that a failure can be repeated.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % limit
    }

    /// Changes one to three places: often a digit of the JSON, else a byte, seldom a cut or a copied piece.
    fn damage(&mut self, bytes: &mut Vec<u8>) {
        for _ in 0..=self.below(3) {
            let at = self.below(bytes.len());
            let digit = bytes[at..]
                .iter()
                .position(u8::is_ascii_digit)
                .map(|step| at + step);
            match (self.below(16), digit) {
                (0, _) => drop(bytes.drain(at..(at + self.below(9)).min(bytes.len()))),
                (1, _) => {
                    let piece = bytes[at..(at + self.below(9)).min(bytes.len())].to_vec();
                    let to = self.below(bytes.len());
                    bytes.splice(to..to, piece);
                }
                (2, _) => bytes[at] = [0, 1, 127, 128, 255, b'9', b'-', b'"'][self.below(8)],
                (3, _) => bytes[at] ^= 1 << self.below(8),
                (4, _) => bytes[at] = self.below(256) as u8,
                (_, Some(digit)) => bytes[digit] = b'0' + self.below(10) as u8,
                (_, None) => bytes[at] = self.below(256) as u8,
            }
            if bytes.is_empty() {
                bytes.push(b'{');
            }
        }
    }
}

/// The sample with every kind of accessor in it.
fn rich() -> Sample {
    let mut sample = Sample::new();
    let indices = sample.view(&[1, 3]);
    let values = sample.view(&support::floats(&[5., 6., 7., 8., 9., 10.]));
    sample.set("/accessors/0/sparse", json!({ "count": 2,
        "indices": { "bufferView": indices, "componentType": support::UNSIGNED_BYTE }, "values": { "bufferView": values } }));
    sample.set(
        "/extensions",
        json!({ "VRMC_vrm": { "humanoid": { "humanBones": { "hips": { "node": 0 } } } } }),
    );
    sample.set("/meshes/0/primitives/0/mode", json!(4));
    sample.set("/nodes/2/matrix", json!(Matrix4::<f32>::identity().as_slice()));
    sample
}

#[test]
fn random_edits_never_panic() {
    let originals = [
        Sample::new().glb(),
        rich().glb(),
        rich().embedded(),
        glb(&scene(4)),
    ];
    // Small limits keep this fast where an edit asks for a lot.
    let caps = Caps {
        vertices: 10_000,
        corners: 10_000,
        keys: 10_000,
        ..Caps::default()
    };
    let options = ReadOptions {
        caps,
        ..ReadOptions::default()
    };
    let (mut dice, mut read, mut refused) = (Dice(2024), 0, 0);
    for round in 0..24_000 {
        let mut bytes = originals[round % originals.len()].clone();
        dice.damage(&mut bytes);
        match parse_unguarded(&bytes, &no_files, &options) {
            Ok(rig) => {
                read += 1;
                assert_sound(&rig);
            }
            Err(fault) => {
                refused += 1;
                assert!(!fault.to_string().contains('\n'));
            }
        }
    }
    assert!(
        read > 2_000 && refused > 2_000,
        "the edits are too kind or too harsh: {read} read, {refused} refused"
    );
}

/// What every later step relies on.
fn assert_sound(rig: &Rig) {
    assert!(
        rig.nodes
            .iter()
            .enumerate()
            .all(|(node, own)| own.parent.is_none_or(|parent| parent < node))
    );
    for mesh in &rig.meshes {
        let vertices = mesh.positions.len();
        assert!(mesh.positions.iter().flatten().all(|number| number.is_finite()));
        assert!(
            mesh.triangles
                .iter()
                .flatten()
                .all(|&corner| (corner as usize) < vertices)
        );
        assert_eq!(mesh.rows.len(), vertices);
        assert!(
            mesh.rows
                .binds
                .iter()
                .all(|&bind| usize::from(bind) < mesh.binds.len())
        );
        assert!(mesh.uvs.as_ref().is_none_or(|uvs| uvs.len() == vertices));
        assert!(mesh.morphs.iter().all(|morph| morph.deltas.len() == vertices));
        assert!(
            mesh.binds
                .iter()
                .all(|bind| bind.node < rig.nodes.len() && bind.inverse_bind.iter().all(|n| n.is_finite()))
        );
    }
    for channel in rig.clips.iter().flat_map(|clip| &clip.channels) {
        assert!(channel.node < rig.nodes.len() && !channel.times_s.is_empty());
        assert!(channel.times_s.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
