//! Files that make other readers panic, read wrong numbers, or open what they must not.
//!
//! Each test bends one thing in a sound file and looks at the sentence that comes back.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/gltf.rs"]
mod support;

use gusset::rig::Rig;
use gusset::rig::gltf::{Caps, Fault, ReadOptions, no_files, parse, read};
use serde_json::json;
use support::*;

fn load(bytes: &[u8]) -> Result<Rig, String> {
    parse(bytes, "sample.glb", &no_files, &ReadOptions::default()).map_err(|error| {
        assert_ne!(error.fault, Fault::Panicked, "the reader panicked");
        error.to_string()
    })
}

/// The refusal of a bent sample, which must name the place.
#[track_caller]
fn refusal(sample: &Sample, place: &str) -> String {
    let text = load(&sample.glb()).expect_err("this must be refused");
    assert!(
        text.contains(&format!("(at {place})")),
        "the place {place} is not in: {text}"
    );
    assert!(
        text.starts_with("sample.glb: ") && !text.contains('\n'),
        "not one sentence with its file: {text}"
    );
    text
}

#[track_caller]
fn refused_after(place: &str, bend: impl FnOnce(&mut Sample)) -> String {
    let mut sample = Sample::new();
    bend(&mut sample);
    refusal(&sample, place)
}

#[track_caller]
fn loaded_after(bend: impl FnOnce(&mut Sample)) -> Rig {
    let mut sample = Sample::new();
    bend(&mut sample);
    load(&sample.glb()).unwrap_or_else(|error| panic!("{error}"))
}

fn codes(rig: &Rig) -> Vec<&str> {
    rig.remarks.iter().map(|remark| remark.code).collect()
}

#[test]
fn the_unbent_sample_loads_whole_and_without_a_remark() {
    for bytes in [Sample::new().glb(), Sample::new().embedded()] {
        let rig = load(&bytes).unwrap();
        assert_eq!(rig.name, "sample");
        assert_eq!(
            rig.nodes
                .iter()
                .map(|node| node.name.as_str())
                .collect::<Vec<_>>(),
            ["hips", "knee", "cloth"]
        );
        assert_eq!(rig.nodes[1].parent, Some(0));
        let mesh = &rig.meshes[0];
        assert_eq!(
            (mesh.name.as_str(), mesh.material.as_str(), mesh.place.as_str()),
            ("cloth", "denim", "/meshes/0/primitives/0")
        );
        assert_eq!(mesh.positions[2], [1.0, 1.0, 0.0]);
        assert_eq!(mesh.triangles, [[0, 1, 2], [0, 2, 3]]);
        assert_eq!(mesh.rows.row(3).collect::<Vec<_>>(), [(0, 0.75), (1, 0.25)]);
        assert_eq!(mesh.uvs.as_ref().unwrap()[3], [0.0, 1.0]);
        assert_eq!(
            (mesh.morphs[0].name.as_str(), mesh.morphs[0].weight),
            ("bulge", 0.25)
        );
        assert_eq!(mesh.morphs[0].deltas[1], [0.0, 0.0, 0.5]);
        assert_eq!(mesh.binds[1].inverse_bind[(1, 3)], -0.5);
        assert_eq!(rig.clips[0].name, "kick");
        assert_eq!(rig.clips[0].channels[0].values[1], [1.0, 0.0, 0.0, 0.0]);
        assert_eq!(rig.clips[0].channels[1].values[1], [0.0, 1.5, 0.0, 0.0]);
        assert_eq!(codes(&rig), [""; 0]);
    }
}

// ---- the table of traps, row by row

#[test]
fn attribute_points_to_a_missing_accessor() {
    let place = "/meshes/0/primitives/0/attributes/JOINTS_0";
    refused_after(place, |sample| sample.set(place, json!(99)));
}

#[test]
fn joints_as_32_bit_integers_or_floats() {
    for (component, bytes) in [(UNSIGNED_INT, [0; 64]), (FLOAT, [0; 64])] {
        let text = refused_after("/meshes/0/primitives/0/attributes/JOINTS_0", |sample| {
            let joints = sample.accessor(&bytes, component, "VEC4", 4);
            sample.set("/meshes/0/primitives/0/attributes/JOINTS_0", json!(joints));
        });
        assert!(text.contains("unsigned bytes or shorts"), "{text}");
    }
}

#[test]
fn weights_as_signed_bytes_or_unnormalised_bytes() {
    for component in [BYTE, UNSIGNED_BYTE] {
        refused_after("/meshes/0/primitives/0/attributes/WEIGHTS_0", |sample| {
            let weights = sample.accessor(&[64; 16], component, "VEC4", 4);
            sample.set("/meshes/0/primitives/0/attributes/WEIGHTS_0", json!(weights));
        });
    }
}

#[test]
fn triangle_corners_as_floats() {
    refused_after("/meshes/0/primitives/0/indices", |sample| {
        let corners = sample.accessor(&floats(&[0., 1., 2.]), FLOAT, "SCALAR", 3);
        sample.set("/meshes/0/primitives/0/indices", json!(corners));
    });
}

#[test]
fn stride_shorter_than_the_element() {
    let text = refused_after("/accessors/2", |sample| {
        sample.set("/bufferViews/2/byteStride", json!(4))
    });
    assert!(
        text.contains("4 bytes is less than one element of 16 bytes"),
        "{text}"
    );
}

#[test]
fn stride_of_0_1_or_256() {
    for stride in [0, 1, 256] {
        refused_after("/bufferViews/2/byteStride", |sample| {
            sample.set("/bufferViews/2/byteStride", json!(stride))
        });
    }
}

#[test]
fn uri_that_is_not_utf8_after_decoding() {
    let folder = tempfile::tempdir().unwrap();
    let text = external(folder.path(), "%FF.bin", false).unwrap_err();
    assert!(text.contains("UTF-8"), "{text}");
}

#[test]
fn image_view_past_the_buffer() {
    refused_after("/bufferViews/10", |sample| {
        let view = sample.view(b"not a picture");
        sample.set("/bufferViews/10/byteLength", json!(1 << 20));
        sample.set(
            "/images",
            json!([{ "bufferView": view, "mimeType": "image/png" }]),
        );
    });
}

#[test]
fn a_bad_picture_is_no_reason_to_refuse_the_mesh() {
    loaded_after(|sample| {
        let view = sample.view(b"not a picture");
        sample.set(
            "/images",
            json!([{ "bufferView": view, "mimeType": "image/png" }, { "uri": "https://example.com/x.png" }]),
        );
        sample.set(
            "/textures",
            json!([{ "extensions": { "EXT_texture_webp": { "source": 0 } } }]),
        );
        sample.set(
            "/materials/0/pbrMetallicRoughness",
            json!({ "baseColorTexture": { "index": 77 } }),
        );
        sample.set(
            "/extensionsRequired",
            json!(["EXT_texture_webp", "KHR_texture_transform"]),
        );
    });
}

#[test]
fn position_as_unsigned_shorts_needs_its_extension() {
    let bend = |sample: &mut Sample| {
        // Interleaved to the 4 bytes that the extension asks for.
        let corner = |x: u16, y: u16| [x, y, 0, 0];
        let bytes = shorts(&[corner(0, 0), corner(10, 0), corner(10, 20), corner(0, 20)].concat());
        let accessor = sample.accessor(&bytes, UNSIGNED_SHORT, "VEC3", 4);
        sample.set(&format!("/bufferViews/{accessor}/byteStride"), json!(8));
        sample.set("/meshes/0/primitives/0/attributes/POSITION", json!(accessor));
    };
    refused_after("/meshes/0/primitives/0/attributes/POSITION", bend);
    let rig = loaded_after(|sample| {
        bend(sample);
        sample.set("/extensionsUsed", json!(["KHR_mesh_quantization"]));
        sample.set("/extensionsRequired", json!(["KHR_mesh_quantization"]));
    });
    assert_eq!(rig.meshes[0].positions[2], [10.0, 20.0, 0.0]);
}

#[test]
fn quantised_signed_bytes_and_shorts_are_normalised() {
    let rig = loaded_after(|sample| {
        let corner = |x: i8, y: i8| [x as u8, y as u8, 0, 0];
        let bytes = [corner(-128, 0), corner(127, 0), corner(127, 127), corner(0, 64)].concat();
        let accessor = sample.accessor(&bytes, BYTE, "VEC3", 4);
        sample.set(&format!("/bufferViews/{accessor}/byteStride"), json!(4));
        sample.set(&format!("/accessors/{accessor}/normalized"), json!(true));
        sample.set("/meshes/0/primitives/0/attributes/POSITION", json!(accessor));
        let uvs = sample.accessor(&shorts(&[0, 32767, 32768, 0, 0, 0, 0, 0]), SHORT, "VEC2", 4);
        sample.set(&format!("/accessors/{uvs}/normalized"), json!(true));
        sample.set("/meshes/0/primitives/0/attributes/TEXCOORD_0", json!(uvs));
        sample.set("/extensionsUsed", json!(["KHR_mesh_quantization"]));
    });
    let mesh = &rig.meshes[0];
    assert_eq!(mesh.positions[0], [-1.0, 0.0, 0.0], "-128 is -1, not less");
    assert_eq!(mesh.positions[3], [0.0, 64.0 / 127.0, 0.0]);
    assert_eq!(mesh.uvs.as_ref().unwrap()[..2], [[0.0, 1.0], [-1.0, 0.0]]);
}

#[test]
fn wrong_number_of_components() {
    let cases = [
        ("/meshes/0/primitives/0/attributes/POSITION", POSITION, "VEC2"),
        ("/meshes/0/primitives/0/attributes/JOINTS_0", JOINTS, "VEC3"),
        ("/skins/0/inverseBindMatrices", BINDS, "VEC4"),
        ("/animations/0/samplers/0/output", TURNS, "VEC3"),
        ("/meshes/0/primitives/0/targets/0/POSITION", MORPH, "SCALAR"),
    ];
    for (place, accessor, type_) in cases {
        refused_after(place, |sample| {
            sample.set(&format!("/accessors/{accessor}/type"), json!(type_))
        });
    }
}

#[test]
fn unknown_component_and_element_types() {
    refused_after("/accessors/2/componentType", |sample| {
        sample.set("/accessors/2/componentType", json!(5130))
    });
    refused_after("/accessors/2/type", |sample| {
        sample.set("/accessors/2/type", json!("VEC5"))
    });
}

#[test]
fn indices_whose_low_32_bits_would_fit() {
    // The JSON model keeps 32 bits: without a check, accessor 4294967296 would read accessor 0.
    for place in [
        "/accessors/2/bufferView",
        "/accessors/2/componentType",
        "/meshes/0/primitives/0/attributes/JOINTS_0",
    ] {
        let mut sample = Sample::new();
        sample.set(place, json!(1_u64 << 32 | 5126));
        let text = load(&sample.glb()).unwrap_err();
        assert!(
            text.contains("larger than any glTF file") && text.contains(place.rsplit_once('/').unwrap().0),
            "{text}"
        );
    }
    refused_after("/skins/0/joints", |sample| {
        sample.set("/skins/0/joints/1", json!(1_u64 << 32))
    });
    refused_after("/meshes/0/primitives/0/targets", |sample| {
        sample.set("/meshes/0/primitives/0/targets/0/POSITION", json!(1_u64 << 32));
    });
}

#[test]
fn no_vertices_at_all() {
    let text = refused_after("/meshes", |sample| {
        for accessor in [POSITION, JOINTS, WEIGHTS, TEXCOORD, MORPH, INDICES] {
            sample.set(&format!("/accessors/{accessor}/count"), json!(0));
        }
    });
    assert!(text.contains("no triangles"), "{text}");
    refused_after("/meshes/0/primitives/0/attributes/TEXCOORD_0", |sample| {
        sample.set("/accessors/0/count", json!(0));
    });
}

#[test]
fn sparse_count_0_replaces_nothing() {
    let rig = loaded_after(|sample| sample.set("/accessors/0/sparse", sparse(0, 4, 0, UNSIGNED_SHORT)));
    assert_eq!(rig.meshes[0].positions[2], [1.0, 1.0, 0.0]);
}

#[test]
fn offsets_near_2_to_the_64() {
    for offset in [u64::MAX, u64::MAX - 3, u64::MAX - 7, 1 << 63] {
        refused_after("/accessors/0", |sample| {
            sample.set("/accessors/0/byteOffset", json!(offset))
        });
        refused_after("/bufferViews/0", |sample| {
            sample.set("/bufferViews/0/byteOffset", json!(offset))
        });
        refused_after("/bufferViews/0", |sample| {
            sample.set("/bufferViews/0/byteLength", json!(offset))
        });
        refused_after("/accessors/0/count", |sample| {
            sample.set("/accessors/0/count", json!(offset))
        });
    }
}

#[test]
fn glb_that_states_a_length_of_5() {
    let mut bytes = Sample::new().glb();
    bytes[8..12].copy_from_slice(&5_u32.to_le_bytes());
    let text = load(&bytes).unwrap_err();
    assert!(text.contains("byte 8"), "{text}");
}

#[test]
fn four_billion_zeros_are_not_allocated() {
    let text = refused_after("/accessors/0/count", |sample| {
        sample.set(
            "/accessors/0",
            json!({ "componentType": FLOAT, "type": "VEC3", "count": 4_000_000_000_u64 }),
        );
        sample.set("/accessors/0/sparse", sparse(1, 4, 0, UNSIGNED_SHORT));
    });
    assert!(
        text.contains("`corners`") && text.contains("4000000000"),
        "{text}"
    );
}

#[test]
fn accessor_without_any_data_is_all_zeros() {
    let rig = loaded_after(|sample| sample.remove("/accessors/0/bufferView"));
    assert_eq!(rig.meshes[0].positions, [[0.0; 3]; 4]);
}

#[test]
fn nodes_in_a_loop() {
    refused_after("/nodes/0", |sample| sample.set("/nodes/1/children", json!([0])));
    refused_after("/nodes/2", |sample| sample.set("/nodes/2/children", json!([2])));
}

#[test]
fn node_with_two_parents() {
    let text = refused_after("/nodes/2/children/0", |sample| {
        sample.set("/nodes/2/children", json!([1]))
    });
    assert!(text.contains("more than one parent"), "{text}");
}

#[test]
fn extensions_that_do_not_touch_geometry_may_be_required() {
    for name in [
        "VRMC_vrm",
        "VRMC_springBone",
        "VRM",
        "KHR_mesh_quantization",
        "KHR_materials_unlit",
        "KHR_texture_basisu",
    ] {
        loaded_after(|sample| sample.set("/extensionsRequired", json!([name])));
    }
    let text = refused_after("/extensionsRequired/0", |sample| {
        sample.set("/extensionsRequired", json!(["ACME_bones"]))
    });
    assert!(text.contains("ACME_bones"), "{text}");
}

#[test]
fn compressed_meshes_are_named_with_the_way_out() {
    for name in ["EXT_meshopt_compression", "KHR_draco_mesh_compression"] {
        let text = refused_after("/extensionsRequired/0", |sample| {
            sample.set("/extensionsRequired", json!([name]))
        });
        assert!(
            text.contains(name) && text.contains("compression switched off"),
            "{text}"
        );
    }
    // Not even required: without this, its positions would read as zeros.
    refused_after(
        "/meshes/0/primitives/0/extensions/KHR_draco_mesh_compression",
        |sample| {
            sample.remove("/accessors/0/bufferView");
            sample.set(
                "/meshes/0/primitives/0/extensions",
                json!({ "KHR_draco_mesh_compression": {} }),
            );
        },
    );
    refused_after("/buffers/1", |sample| {
        let fallback =
            json!({ "byteLength": 4096, "extensions": { "EXT_meshopt_compression": { "fallback": true } } });
        sample.set("/buffers", json!([{ "byteLength": sample.bin.len() }, fallback]));
        sample.set("/bufferViews/0/buffer", json!(1));
    });
}

/// Writes a sample whose buffer is at `uri` into `folder`, and reads it.
fn external(folder: &std::path::Path, uri: &str, allow_outside_files: bool) -> Result<Rig, String> {
    let path = folder.join("model.gltf");
    std::fs::write(&path, Sample::new().gltf(uri)).unwrap();
    read(
        &path,
        &ReadOptions {
            allow_outside_files,
            ..ReadOptions::default()
        },
    )
    .map_err(|error| error.to_string())
}

#[test]
fn buffers_beside_the_model_are_read() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("data")).unwrap();
    for (file, uri) in [
        ("a b.bin", "a%20b.bin"),
        ("a b.bin", "a b.bin"),
        ("data/x.bin", "data/x.bin"),
        ("ü.bin", "%C3%BC.bin"),
    ] {
        std::fs::write(folder.path().join(file), &Sample::new().bin).unwrap();
        external(folder.path(), uri, false).unwrap_or_else(|error| panic!("{uri}: {error}"));
    }
}

#[test]
fn buffers_elsewhere_are_not_read() {
    let outer = tempfile::tempdir().unwrap();
    let folder = outer.path().join("inner");
    std::fs::create_dir(&folder).unwrap();
    let secret = outer.path().join("x.bin");
    std::fs::write(&secret, &Sample::new().bin).unwrap();
    let absolute = secret.display().to_string();
    let uris = [
        "../x.bin".to_owned(),
        "%2e%2e%2fx.bin".into(),
        "..%5Cx.bin".into(),
        "a/../../x.bin".into(),
        absolute.clone(),
        absolute.replace('/', "%2F"),
        format!("file://{absolute}"),
        format!("FILE://{absolute}"),
        "https://example.com/x.bin".into(),
        "//example.com/x.bin".into(),
        "C:\\x.bin".into(),
        "C%3A/x.bin".into(),
        "\\\\server\\x.bin".into(),
        String::new(),
        "x%00.bin".into(),
    ];
    for uri in &uris {
        let text = external(&folder, uri, false).expect_err(uri);
        assert!(
            text.contains("(at /buffers/0/uri)") && text.contains("is not read because"),
            "{uri}: {text}"
        );
    }
    external(&folder, "../x.bin", true).unwrap();
    external(&folder, &absolute, true).unwrap();
    external(&folder, &format!("file://{absolute}"), true).unwrap_err();
}

#[cfg(unix)]
#[test]
fn links_that_lead_out_of_the_folder_are_not_followed() {
    let outer = tempfile::tempdir().unwrap();
    let folder = outer.path().join("inner");
    std::fs::create_dir(&folder).unwrap();
    std::fs::write(outer.path().join("x.bin"), &Sample::new().bin).unwrap();
    std::os::unix::fs::symlink("../x.bin", folder.join("x.bin")).unwrap();
    let text = external(&folder, "x.bin", false).unwrap_err();
    assert!(text.contains("link"), "{text}");
    external(&folder, "x.bin", true).unwrap();
}

#[cfg(unix)]
#[test]
fn devices_that_never_end_are_not_opened() {
    let folder = tempfile::tempdir().unwrap();
    external(folder.path(), "/dev/zero", true).unwrap_err();
    read("/dev/zero".as_ref(), &ReadOptions::default()).unwrap_err();
}

#[test]
fn buffer_that_is_missing_or_too_short() {
    let folder = tempfile::tempdir().unwrap();
    let text = external(folder.path(), "gone.bin", false).unwrap_err();
    assert!(
        text.contains("\"gone.bin\"") && text.contains("there is no such file"),
        "{text}"
    );
    std::fs::write(folder.path().join("short.bin"), b"abc").unwrap();
    let text = external(folder.path(), "short.bin", false).unwrap_err();
    assert!(text.contains("only 3 are there"), "{text}");
}

#[test]
fn glb_cut_off_at_any_byte() {
    let bytes = Sample::new().glb();
    for length in 0..bytes.len() {
        load(&bytes[..length]).expect_err("a cut file must be refused");
    }
    let text = load(&bytes[..bytes.len() - 1]).unwrap_err();
    assert!(text.contains("cut off"), "{text}");
}

#[test]
fn glb_with_bytes_behind_its_end() {
    let rig = load(&[Sample::new().glb(), vec![7; 9]].concat()).unwrap();
    assert_eq!(codes(&rig), ["trailing_bytes"]);
}

#[test]
fn glb_chunks_that_lie_about_their_length() {
    let bytes = Sample::new().glb();
    let json = u32::from_le_bytes(bytes[12..16].try_into().unwrap()) as usize;
    for (at, byte) in [(12, 12), (20 + json, 20 + json)] {
        for length in [u32::MAX, u32::MAX - 7, 1 << 20] {
            let mut bytes = bytes.clone();
            bytes[at..at + 4].copy_from_slice(&length.to_le_bytes());
            let text = load(&bytes).unwrap_err();
            assert!(text.contains(&format!("damaged at byte {byte}:")), "{text}");
        }
    }
}

#[test]
fn skin_with_a_missing_joint() {
    refused_after("/skins/0/joints/1", |sample| {
        sample.set("/skins/0/joints/1", json!(12))
    });
    let text = refused_after("/skins/0/inverseBindMatrices", |sample| {
        sample.set("/skins/0/joints", json!([0, 1, 2]))
    });
    assert!(text.contains("3 joints but only 2"), "{text}");
}

// ---- files that are something else

#[test]
fn what_is_no_gltf_file_says_what_it_is() {
    let text = load(b"Dear diary").unwrap_err();
    assert!(text.contains("plain text"), "{text}");
    let text = load(b"version https://git-lfs.github.com/spec/v1\noid sha256:1\n").unwrap_err();
    assert!(text.contains("git lfs pull"), "{text}");
    assert!(load(b"").unwrap_err().contains("empty"));
    assert!(load(b"Kaydara FBX Binary  \0").unwrap_err().contains("FBX"));
    let text = read("no/such/file.glb".as_ref(), &ReadOptions::default())
        .unwrap_err()
        .to_string();
    assert!(
        text.starts_with("no/such/file.glb: there is no such file"),
        "{text}"
    );
    let text = read(".".as_ref(), &ReadOptions::default())
        .unwrap_err()
        .to_string();
    assert!(text.contains("not a file"), "{text}");
}

#[test]
fn other_versions_of_gltf() {
    refused_after("/asset", |sample| sample.set("/asset/version", json!("1.0")));
    refused_after("/asset", |sample| sample.set("/asset/minVersion", json!("2.1")));
    refused_after("/asset/version", |sample| sample.set("/asset", json!({})));
}

#[test]
fn damaged_json_names_its_byte() {
    let text = load(b"{\n\"asset\": oops}").unwrap_err();
    assert!(text.contains("byte 12") || text.contains("byte 13"), "{text}");
    let mut sample = Sample::new();
    sample.set("/accessors/3/count", json!(-1));
    let text = load(&sample.glb()).unwrap_err();
    assert!(text.contains("(at /accessors/3)"), "{text}");
}

#[test]
fn deep_json_does_not_overflow_the_stack() {
    let deep = format!(
        "{{\"extras\":{}{}}}",
        "[".repeat(1_000_000),
        "]".repeat(1_000_000)
    );
    let text = load(deep.as_bytes()).unwrap_err();
    assert!(text.contains("`json_nesting`"), "{text}");
}

#[test]
fn many_json_values_do_not_fill_memory() {
    let wide = format!("{{\"extras\":[{}0]}}", "0,".repeat(5_000_000));
    let text = load(wide.as_bytes()).unwrap_err();
    assert!(text.contains("`json_values`"), "{text}");
}

#[test]
fn a_chain_of_100_000_nodes_does_not_overflow_the_stack() {
    let mut sample = Sample::new();
    let nodes = sample.json["nodes"].as_array_mut().unwrap();
    nodes.extend((3..100_002).map(|node| json!({ "children": [node + 1] })));
    nodes.push(json!({}));
    let mut options = ReadOptions::default();
    options.caps.set("nodes", 200_000).unwrap();
    let rig = parse(&sample.glb(), "sample.glb", &no_files, &options).unwrap();
    assert_eq!(rig.nodes.len(), 100_003);
    assert!(
        rig.nodes
            .iter()
            .enumerate()
            .all(|(node, own)| own.parent.is_none_or(|parent| parent < node))
    );
    assert_eq!(rig.rest_world().len(), rig.nodes.len());
}

#[test]
fn every_limit_names_itself() {
    let caps = Caps::default;
    let limits = [
        (
            "file_bytes",
            Caps {
                file_bytes: 100,
                ..caps()
            },
        ),
        (
            "json_nesting",
            Caps {
                json_nesting: 2,
                ..caps()
            },
        ),
        (
            "json_values",
            Caps {
                json_values: 20,
                ..caps()
            },
        ),
        ("nodes", Caps { nodes: 2, ..caps() }),
        ("joints", Caps { joints: 1, ..caps() }),
        (
            "vertices",
            Caps {
                vertices: 3,
                ..caps()
            },
        ),
        ("corners", Caps { corners: 5, ..caps() }),
        ("keys", Caps { keys: 1, ..caps() }),
        (
            "decoded_bytes",
            Caps {
                decoded_bytes: 500,
                ..caps()
            },
        ),
    ];
    for (name, caps) in limits {
        let options = ReadOptions {
            caps,
            ..ReadOptions::default()
        };
        let text = parse(&Sample::new().glb(), "sample.glb", &no_files, &options)
            .unwrap_err()
            .to_string();
        assert!(text.contains(&format!("limit `{name}`")), "{name}: {text}");
    }
}

#[test]
fn a_mesh_shown_a_thousand_times_counts_a_thousand_times() {
    let mut sample = Sample::new();
    sample.json["nodes"]
        .as_array_mut()
        .unwrap()
        .extend(vec![json!({ "mesh": 0, "skin": 0 }); 1000]);
    let options = ReadOptions {
        caps: Caps {
            decoded_bytes: 500_000,
            ..Caps::default()
        },
        ..ReadOptions::default()
    };
    let text = parse(&sample.glb(), "sample.glb", &no_files, &options)
        .unwrap_err()
        .to_string();
    assert!(text.contains("`decoded_bytes`"), "{text}");
}

// ---- sparse accessors

/// A sparse part that replaces elements 1 and 3, say, by what lies in the views it names.
fn sparse(count: usize, indices: usize, values: usize, component: u32) -> serde_json::Value {
    json!({ "count": count, "indices": { "bufferView": indices, "componentType": component }, "values": { "bufferView": values } })
}

#[test]
fn sparse_accessors_with_and_without_a_base() {
    for (base, second) in [(true, [1.0, 1.0, 0.0]), (false, [0.0; 3])] {
        let rig = loaded_after(|sample| {
            let indices = sample.view(&[1, 3]);
            let values = sample.view(&floats(&[5., 6., 7., 8., 9., 10.]));
            sample.set("/accessors/0/sparse", sparse(2, indices, values, UNSIGNED_BYTE));
            if !base {
                sample.remove("/accessors/0/bufferView");
            }
        });
        assert_eq!(
            rig.meshes[0].positions[1..],
            [[5.0, 6.0, 7.0], second, [8.0, 9.0, 10.0]]
        );
    }
}

#[test]
fn sparse_accessors_that_lie() {
    let bend = |count: usize, indices: &[u8], component: u32| {
        let (indices, mut sample) = (indices.to_vec(), Sample::new());
        let indices = sample.view(&indices);
        let values = sample.view(&floats(&[1.0; 12]));
        sample.set("/accessors/0/sparse", sparse(count, indices, values, component));
        sample
    };
    refusal(
        &bend(5, &[0, 1, 2, 3, 3], UNSIGNED_BYTE),
        "/accessors/0/sparse/count",
    );
    refusal(&bend(2, &[3, 1], UNSIGNED_BYTE), "/accessors/0/sparse/indices");
    refusal(&bend(2, &[1, 4], UNSIGNED_BYTE), "/accessors/0/sparse/indices");
    refusal(&bend(3, &[0, 1], UNSIGNED_BYTE), "/accessors/0/sparse/indices");
    refusal(
        &bend(2, &[0, 1], FLOAT),
        "/accessors/0/sparse/indices/componentType",
    );
    let mut short = bend(2, &[0, 1], UNSIGNED_BYTE);
    short.set("/accessors/0/sparse/values/byteOffset", json!(40));
    refusal(&short, "/accessors/0/sparse/values");
    short.set("/accessors/0/sparse/values/bufferView", json!(40));
    refusal(&short, "/accessors/0/sparse/values/bufferView");
}

// ---- skins

#[test]
fn a_skinned_mesh_ignores_its_own_node() {
    let rig = loaded_after(|sample| sample.set("/nodes/2/scale", json!([100.0, 100.0, 100.0])));
    assert_eq!(codes(&rig), ["mesh_node_transform_ignored"]);
    assert_eq!(rig.meshes[0].positions[2], [1.0, 1.0, 0.0]);
}

#[test]
fn missing_inverse_binds_are_identity() {
    let rig = loaded_after(|sample| sample.remove("/skins/0/inverseBindMatrices"));
    assert_eq!(codes(&rig), ["missing_inverse_binds"]);
    assert_eq!(rig.meshes[0].binds[1].inverse_bind, nalgebra::Matrix4::identity());
}

#[test]
fn inverse_binds_that_are_not_finite_or_not_affine() {
    for (at, number) in [
        (64, f32::NAN),
        (64, f32::INFINITY),
        (64 + 3 * 4, 1.0),
        (64 + 15 * 4, 2.0),
    ] {
        let text = refused_after("/skins/0/inverseBindMatrices", |sample| {
            let start = sample.json["bufferViews"][BINDS]["byteOffset"].as_u64().unwrap() as usize + at;
            sample.bin[start..start + 4].copy_from_slice(&number.to_le_bytes());
        });
        assert!(text.contains("joint 1, node \"knee\""), "{text}");
    }
}

#[test]
fn rows_are_taken_as_they_are() {
    let weights = [
        0.5,
        0.5,
        0.5,
        0.0,
        -0.25,
        f32::NAN,
        0.0,
        -0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        1.0,
        0.0,
        f32::INFINITY,
        0.0,
    ];
    let rig = loaded_after(|sample| {
        let joints = sample.accessor(
            &[1, 1, 0, 9, 0, 1, 0, 77, 0, 0, 0, 0, 1, 0, 1, 0],
            UNSIGNED_BYTE,
            "VEC4",
            4,
        );
        let weights = sample.accessor(&floats(&weights), FLOAT, "VEC4", 4);
        sample.set("/meshes/0/primitives/0/attributes/JOINTS_0", json!(joints));
        sample.set("/meshes/0/primitives/0/attributes/WEIGHTS_0", json!(weights));
    });
    let rows = &rig.meshes[0].rows;
    assert_eq!(
        rows.row(0).collect::<Vec<_>>(),
        [(1, 0.5), (1, 0.5), (0, 0.5)],
        "the same joint twice stays twice"
    );
    let second: Vec<_> = rows.row(1).collect();
    assert!(second.len() == 2 && second[0] == (0, -0.25) && second[1].0 == 1 && second[1].1.is_nan());
    assert_eq!(rows.row(2).count(), 0);
    assert_eq!(rows.row(3).collect::<Vec<_>>(), [(1, 1.0), (1, f32::INFINITY)]);
    assert_eq!(
        codes(&rig),
        ["zero_weight_joint_index"],
        "9 and 77 are beyond the skin, without weight"
    );
}

#[test]
fn weight_on_a_joint_the_skin_does_not_have() {
    let text = refused_after("/meshes/0/primitives/0/attributes/JOINTS_0", |sample| {
        let joints = sample.accessor(
            &[0, 1, 0, 0, 0, 2, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0],
            UNSIGNED_BYTE,
            "VEC4",
            4,
        );
        sample.set("/meshes/0/primitives/0/attributes/JOINTS_0", json!(joints));
    });
    assert!(text.contains("vertex 1 has weight on joint 2"), "{text}");
}

#[test]
fn all_influence_sets_are_read() {
    let rig = loaded_after(|sample| {
        let joints = sample.accessor(&shorts(&[1, 0, 1, 0].repeat(4)), UNSIGNED_SHORT, "VEC4", 4);
        let weights = sample.accessor(&[51, 0, 255, 0].repeat(4), UNSIGNED_BYTE, "VEC4", 4);
        sample.set(&format!("/accessors/{weights}/normalized"), json!(true));
        sample.set("/meshes/0/primitives/0/attributes/JOINTS_1", json!(joints));
        sample.set("/meshes/0/primitives/0/attributes/WEIGHTS_1", json!(weights));
    });
    assert_eq!(
        rig.meshes[0].rows.row(2).collect::<Vec<_>>(),
        [(0, 0.75), (1, 0.25), (1, 0.2), (1, 1.0)]
    );
    refused_after("/meshes/0/primitives/0/attributes", |sample| {
        sample.set("/meshes/0/primitives/0/attributes/JOINTS_1", json!(JOINTS));
    });
}

#[test]
fn weights_as_normalised_unsigned_shorts() {
    let rig = loaded_after(|sample| {
        let weights = sample.accessor(
            &shorts(&[65535, 13107, 0, 0].repeat(4)),
            UNSIGNED_SHORT,
            "VEC4",
            4,
        );
        sample.set(&format!("/accessors/{weights}/normalized"), json!(true));
        sample.set("/meshes/0/primitives/0/attributes/WEIGHTS_0", json!(weights));
    });
    assert_eq!(
        rig.meshes[0].rows.row(0).collect::<Vec<_>>(),
        [(0, 1.0), (1, 0.2)]
    );
}

#[test]
fn positions_that_are_not_finite_name_the_vertex() {
    let text = refused_after("/meshes/0/primitives/0/attributes/POSITION", |sample| {
        sample.bin[24..28].copy_from_slice(&f32::NAN.to_le_bytes());
    });
    assert!(text.contains("vertex 2"), "{text}");
}

#[test]
fn misaligned_data() {
    refused_after("/accessors/0", |sample| {
        sample.set("/accessors/0/byteOffset", json!(2));
        sample.set("/accessors/0/count", json!(3));
    });
    refused_after("/accessors/0", |sample| {
        sample.set("/bufferViews/0/byteOffset", json!(2))
    });
}

#[test]
fn interleaved_attributes() {
    let rig = loaded_after(|sample| {
        let mut bytes = Vec::new();
        for (vertex, weight) in [(0., 1.0), (1., 0.5), (2., 0.25), (3., 0.125)] {
            bytes.extend(floats(&[vertex, 0., 9., weight, 0., 0., 0.]));
            bytes.extend([1, 0, 0, 0]);
        }
        let view = sample.view(&bytes);
        sample.set(&format!("/bufferViews/{view}/byteStride"), json!(32));
        for (accessor, offset) in [(POSITION, 0), (WEIGHTS, 12), (JOINTS, 28)] {
            sample.set(&format!("/accessors/{accessor}/bufferView"), json!(view));
            sample.set(&format!("/accessors/{accessor}/byteOffset"), json!(offset));
        }
    });
    assert_eq!(rig.meshes[0].positions[3], [3.0, 0.0, 9.0]);
    assert_eq!(rig.meshes[0].rows.row(2).collect::<Vec<_>>(), [(1, 0.25)]);
}

// ---- meshes

#[test]
fn strips_and_fans_are_unrolled() {
    for (mode, corners, triangles) in [
        (5, vec![0_u16, 1, 3, 2], vec![[0, 1, 3], [1, 2, 3]]),
        (5, vec![0, 1, 2, 2, 3, 3, 0, 1], vec![[0, 1, 2], [3, 1, 0]]),
        (6, vec![0, 1, 2, 3], vec![[1, 2, 0], [2, 3, 0]]),
    ] {
        let rig = loaded_after(|sample| {
            let accessor = sample.accessor(&shorts(&corners), UNSIGNED_SHORT, "SCALAR", corners.len());
            sample.set("/meshes/0/primitives/0/indices", json!(accessor));
            sample.set("/meshes/0/primitives/0/mode", json!(mode));
        });
        assert_eq!(rig.meshes[0].triangles, triangles, "mode {mode}");
    }
}

#[test]
fn triangles_without_corners_of_their_own() {
    let rig = loaded_after(|sample| sample.remove("/meshes/0/primitives/0/indices"));
    assert_eq!(rig.meshes[0].triangles, [[0, 1, 2]]);
    assert_eq!(codes(&rig), ["stray_corners"]);
}

#[test]
fn corner_beyond_the_vertices() {
    let text = refused_after("/meshes/0/primitives/0/indices", |sample| {
        let accessor = sample.accessor(&shorts(&[0, 1, 4]), UNSIGNED_SHORT, "SCALAR", 3);
        sample.set("/meshes/0/primitives/0/indices", json!(accessor));
    });
    assert!(text.contains("corner 2 is vertex 4"), "{text}");
}

#[test]
fn points_and_lines_are_left_out_with_a_remark() {
    let rig = loaded_after(|sample| {
        let mut points = sample.json["meshes"][0]["primitives"][0].clone();
        points["mode"] = json!(0);
        sample.json["meshes"][0]["primitives"]
            .as_array_mut()
            .unwrap()
            .push(points);
    });
    assert_eq!(rig.meshes.len(), 1);
    assert_eq!(
        (rig.remarks[0].code, rig.remarks[0].place.as_str()),
        ("primitive_skipped", "/meshes/0/primitives/1")
    );
}

#[test]
fn unskinned_meshes_ride_on_the_joint_above() {
    let rig = loaded_after(|sample| {
        sample.json["nodes"].as_array_mut().unwrap().extend([
            json!({ "name": "strap", "translation": [0.0, 0.25, 0.0], "children": [4] }),
            json!({ "name": "buckle", "mesh": 1, "scale": [2.0, 2.0, 2.0], "translation": [1.0, 0.0, 0.0] }),
            json!({ "name": "lamp", "mesh": 1 }),
        ]);
        sample.set("/nodes/1/children", json!([3]));
        let buckle =
            json!({ "primitives": [{ "attributes": { "POSITION": POSITION }, "indices": INDICES }] });
        sample.json["meshes"].as_array_mut().unwrap().push(buckle);
    });
    let buckle = &rig.meshes[1];
    assert_eq!(
        (buckle.name.as_str(), buckle.skinned, buckle.binds.len()),
        ("buckle", false, 1)
    );
    assert_eq!(rig.nodes[buckle.binds[0].node].name, "knee");
    let corner = buckle.binds[0]
        .inverse_bind
        .transform_point(&nalgebra::Point3::new(1.0, 1.0, 0.0));
    assert_eq!([corner.x, corner.y, corner.z], [3.0, 2.25, 0.0]);
    // The same by the definition: inverse(joint at rest) * mesh node at rest.
    let world = rig.rest_world();
    let at = |name: &str| rig.nodes.iter().position(|node| node.name == name).unwrap();
    let expected = world[at("knee")].try_inverse().unwrap() * world[at("buckle")];
    assert!((buckle.binds[0].inverse_bind - expected).amax() < 1e-12);
    assert!((0..4).all(|vertex| buckle.rows.row(vertex).eq([(0, 1.0)])));
    assert_eq!(codes(&rig), ["primitive_skipped"], "the lamp hangs on no joint");
}

#[test]
fn meshes_without_any_skin() {
    let text = refused_after("/skins", |sample| {
        sample.remove("/skins");
        sample.remove("/nodes/2/skin");
    });
    assert!(
        text.contains("has meshes but no skin") && text.contains("nothing can be posed"),
        "{text}"
    );
}

#[test]
fn clips_without_any_mesh() {
    let rig = loaded_after(|sample| {
        sample.remove("/meshes");
        sample.remove("/nodes/2/mesh");
    });
    assert!(rig.meshes.is_empty());
    assert_eq!(rig.clips.len(), 1);
}

// ---- nodes

#[test]
fn nodes_are_listed_parents_first() {
    let rig = loaded_after(|sample| {
        sample.json["nodes"]
            .as_array_mut()
            .unwrap()
            .push(json!({ "name": "root", "children": [0] }));
    });
    let names: Vec<_> = rig
        .nodes
        .iter()
        .map(|node| (node.name.as_str(), node.file_index))
        .collect();
    assert_eq!(names, [("cloth", 2), ("root", 3), ("hips", 0), ("knee", 1)]);
    assert_eq!(rig.meshes[0].binds[1].node, 3);
}

#[test]
fn node_transforms_that_are_none() {
    let sheared = [1., 0., 0., 0., 0.5, 1., 0., 0., 0., 0., 1., 0., 0., 0., 0., 1.];
    let rig = loaded_after(|sample| {
        sample.set("/nodes/0/matrix", json!(sheared));
        sample.remove("/nodes/0/translation");
    });
    assert_eq!(codes(&rig), ["node_matrix_shear", "channel_skipped"]);
    refused_after("/nodes/0/rotation", |sample| {
        sample.set("/nodes/0/rotation", json!([0, 0, 0, 0]))
    });
    refused_after("/nodes/0", |sample| {
        sample.set("/nodes/0/translation", json!([1e300, 0, 0]))
    });
    let mut flat = sheared;
    flat[15] = 0.0;
    refused_after("/nodes/0/matrix", |sample| {
        sample.set("/nodes/0/matrix", json!(flat))
    });
}

// ---- clips

#[test]
fn cubic_splines_have_three_values_a_key() {
    let bend = |sample: &mut Sample| {
        let output = sample.accessor(&floats(&[0., 0., 0., 1.].repeat(6)), FLOAT, "VEC4", 6);
        sample.set("/animations/0/samplers/0/output", json!(output));
    };
    refused_after("/animations/0/samplers/0/output", bend);
    let rig = loaded_after(|sample| {
        bend(sample);
        sample.set("/animations/0/samplers/0/interpolation", json!("CUBICSPLINE"));
    });
    assert_eq!(rig.clips[0].channels[0].values.len(), 6);
    assert_eq!(
        rig.clips[0].channels[0].interpolation,
        gusset::rig::Interpolation::CubicSpline
    );
}

#[test]
fn rotations_as_normalised_shorts() {
    let rig = loaded_after(|sample| {
        let output = sample.accessor(&shorts(&[0, 0, 0, 32767, 32767, 0, 0, 0]), SHORT, "VEC4", 2);
        sample.set(&format!("/accessors/{output}/normalized"), json!(true));
        sample.set("/animations/0/samplers/0/output", json!(output));
    });
    assert_eq!(
        rig.clips[0].channels[0].values,
        [[0.0, 0.0, 0.0, 1.0], [1.0, 0.0, 0.0, 0.0]]
    );
}

#[test]
fn channels_that_cannot_be_played_are_left_out_with_a_remark() {
    let rig = loaded_after(|sample| {
        let times = sample.accessor(&floats(&[1., 1.]), FLOAT, "SCALAR", 2);
        sample.set("/animations/0/samplers/1/input", json!(times));
        let channels = sample.json["animations"][0]["channels"].as_array_mut().unwrap();
        channels.push(channels[0].clone());
        channels.push(json!({ "sampler": 0, "target": { "path": "pointer", "extensions": { "KHR_animation_pointer": {} } } }));
        channels.push(json!({ "sampler": 0, "target": { "node": 2, "path": "weights" } }));
    });
    assert_eq!(rig.clips[0].channels.len(), 1);
    let places: Vec<_> = rig
        .remarks
        .iter()
        .map(|remark| (remark.code, remark.place.as_str()))
        .collect();
    assert_eq!(
        places,
        [
            ("channel_skipped", "/animations/0/channels/1"),
            ("channel_skipped", "/animations/0/channels/2")
        ]
    );
}

// ---- roles

#[test]
fn roles_stated_by_vrm_1_and_0() {
    let rig = loaded_after(|sample| {
        let bones = json!({ "leftLowerLeg": { "node": 1 }, "hips": { "node": 0 }, "head": { "node": 99 } });
        sample.set(
            "/extensions",
            json!({ "VRMC_vrm": { "specVersion": "1.0", "humanoid": { "humanBones": bones } } }),
        );
    });
    assert_eq!(
        rig.stated_roles,
        [("hips".to_owned(), 0), ("leftLowerLeg".to_owned(), 1)]
    );
    assert_eq!(codes(&rig), ["stated_role_without_node"]);
    let rig = loaded_after(|sample| {
        let bones = json!([{ "bone": "hips", "node": 0 }, { "bone": "leftThumbIntermediate", "node": 1 }]);
        sample.set(
            "/extensions",
            json!({ "VRM": { "humanoid": { "humanBones": bones } } }),
        );
    });
    assert_eq!(
        rig.stated_roles,
        [("hips".to_owned(), 0), ("leftThumbProximal".to_owned(), 1)]
    );
}

#[test]
fn extensions_of_any_shape_do_no_harm() {
    for vrm in [
        json!(null),
        json!(7),
        json!({ "humanoid": [] }),
        json!({ "humanoid": { "humanBones": [[], 3, { "bone": 3 }] } }),
    ] {
        let rig = loaded_after(|sample| sample.set("/extensions", json!({ "VRMC_vrm": vrm, "VRM": vrm })));
        assert_eq!(rig.stated_roles, []);
    }
}

#[test]
fn names_from_the_file_do_not_break_the_sentence() {
    let text = refused_after("/extensionsRequired/0", |sample| {
        sample.set(
            "/extensionsRequired",
            json!([format!("a\nb{}", "x".repeat(10_000))]),
        );
    });
    assert!(text.len() < 400, "{text}");
}
