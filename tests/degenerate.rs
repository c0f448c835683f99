//! Geometry that no formula likes, through the whole pipeline: every number is finite, or the tool says what it could
//! not measure.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gusset::demo::{BodyShape, Kind, Pattern, Piece, body, garment};
use gusset::rig::{Local, Rig};
use serde_json::Value;
use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;

/// A coarse wearer and trousers.
fn pair() -> (Rig, Rig) {
    static PAIR: OnceLock<(Rig, Rig)> = OnceLock::new();
    PAIR.get_or_init(|| {
        let wearer = body(&BodyShape::woman("wren").meshed(0.035));
        let pattern = Pattern {
            ease: 0.005,
            ..Pattern::new("trousers", Kind::SlimTrousers)
        };
        (wearer.rig(), garment(&wearer, &pattern).rig().clone())
    })
    .clone()
}

fn write(path: &Path, rig: &Rig) {
    std::fs::write(path, Piece::plain(&rig.name, rig).glb()).unwrap();
}

/// Exit code and result of trying the garment on; a refusal has no result.
fn tried(name: &str, body: &Rig, garment: &Rig) -> (i32, Option<Value>, String) {
    let place = tempfile::tempdir().unwrap();
    write(&place.path().join("body.glb"), body);
    write(&place.path().join("cloth.glb"), garment);
    let output = Command::new(env!("CARGO_BIN_EXE_gusset"))
        .args([
            "try",
            "body.glb",
            "cloth.glb",
            "--poses",
            "standing,sitting",
            "-q",
            "--format",
            "json",
        ])
        .current_dir(place.path())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!said.contains("panicked"), "{name}: {said}");
    let code = output
        .status
        .code()
        .unwrap_or_else(|| panic!("{name}: killed by a signal"));
    let result = serde_json::from_slice(&output.stdout).ok();
    (code, result, said)
}

/// The one number that odd cloth may leave unmeasured (`null`): a width needs a ring round a limb, which a mesh of
/// doubled sheets or of one triangle has not.
const NEEDS_A_RING: &str = "pinch.width_least";

/// Every number below `measures` is finite: JSON has no other, so what is not would stand there as `null`. Returns how
/// many there are.
fn finite(name: &str, value: &Value, path: Option<&str>) -> usize {
    match value {
        Value::Object(members) => members
            .iter()
            .map(|(key, value)| {
                let below = match path {
                    None => (key == "measures").then(String::new),
                    Some("") => Some(key.clone()),
                    Some(path) => Some(format!("{path}.{key}")),
                };
                finite(name, value, below.as_deref())
            })
            .sum(),
        Value::Array(items) => items.iter().map(|item| finite(name, item, path)).sum(),
        Value::Number(number) if path.is_some() => {
            assert!(number.as_f64().unwrap().abs() < 1e15, "{name}: {number}");
            1
        }
        Value::Null => {
            assert!(
                path.is_none_or(|path| path == NEEDS_A_RING),
                "{name}: {path:?} is not finite"
            );
            0
        }
        _ => 0,
    }
}

type Bend = fn(&mut Rig, &mut Rig);

/// The garment's first mesh.
fn cloth(rig: &mut Rig) -> &mut gusset::rig::Mesh {
    &mut rig.meshes[0]
}

/// Moves both rigs' vertices by a function of the position.
fn moved(rig: &mut Rig, to: impl Fn([f32; 3]) -> [f32; 3]) {
    for position in &mut rig.meshes[0].positions {
        *position = to(*position);
    }
}

#[test]
fn odd_geometry_gives_numbers_or_a_sentence() {
    let cases: [(&str, Bend); 14] = [
        ("triangles without area", |_, garment| {
            let mesh = cloth(garment);
            let flat: Vec<[u32; 3]> = mesh
                .triangles
                .iter()
                .take(200)
                .map(|t| [t[0], t[1], t[1]])
                .collect();
            mesh.triangles.extend(flat);
        }),
        ("every triangle twice", |_, garment| {
            let mesh = cloth(garment);
            mesh.triangles.extend(mesh.triangles.clone());
        }),
        ("vertices that no triangle uses", |_, garment| {
            let half = cloth(garment).triangles.len() / 2;
            cloth(garment).triangles.truncate(half);
        }),
        ("three triangles on one edge", |body, _| {
            let mesh = &mut body.meshes[0];
            let [a, b, _] = mesh.triangles[0];
            let last = mesh.positions.len() as u32 - 1;
            mesh.triangles.extend([[a, b, last], [b, a, last / 2]]);
        }),
        ("cloth that is the skin", |body, garment| *garment = body.clone()),
        ("no body beneath", |_, garment| {
            moved(garment, |[x, y, z]| [x + 5.0, y, z])
        }),
        ("a body in open pieces", |body, _| {
            let mut number = 0;
            body.meshes[0].triangles.retain(|_| {
                number += 1;
                number % 40 < 30
            });
        }),
        ("cloth of one triangle", |_, garment| {
            cloth(garment).triangles.truncate(1)
        }),
        ("a body of one triangle", |body, _| {
            body.meshes[0].triangles.truncate(1)
        }),
        ("all at one point", |_, garment| {
            moved(garment, |_| [0.0, 0.8, 0.0])
        }),
        ("a million metres away", |body, garment| {
            for rig in [body, garment] {
                moved(rig, |[x, y, z]| [x + 1e6, y, z]);
            }
        }),
        ("mirrored by a negative scale", |body, garment| {
            for rig in [body, garment] {
                if let Local::Parts { scale, .. } = &mut rig.nodes[0].local {
                    scale.x = -1.0;
                }
            }
        }),
        ("a joint of no size", |body, garment| {
            for rig in [body, garment] {
                let joint = rig.nodes.iter().position(|node| node.name.contains("LowerLeg"));
                if let Local::Parts { scale, .. } = &mut rig.nodes[joint.unwrap()].local {
                    *scale *= 0.0;
                }
            }
        }),
        ("a bind that cannot be inverted", |body, garment| {
            for rig in [body, garment] {
                rig.meshes[0].binds[1]
                    .inverse_bind
                    .fixed_view_mut::<3, 3>(0, 0)
                    .fill(0.0);
            }
        }),
    ];
    for (name, bend) in cases {
        let (mut body, mut garment) = pair();
        bend(&mut body, &mut garment);
        let (code, result, said) = tried(name, &body, &garment);
        let Some(result) = result else {
            eprintln!("{name}: refused: {}", said.trim());
            assert_eq!(code, 2, "{name}");
            assert!(
                said.starts_with("gusset: ") && said.trim().lines().count() == 1,
                "{name}: {said}"
            );
            continue;
        };
        let numbers = finite(name, &result, None);
        let fitting = &result["fittings"][0];
        let named: Vec<&str> = fitting["rig_findings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|finding| finding["code"].as_str().unwrap())
            .collect();
        eprintln!("{name}: {} with {numbers} numbers, {named:?}", fitting["verdict"]);
        assert!(
            numbers > 0 || !named.is_empty(),
            "{name}: neither numbers nor a word why"
        );
    }
}
