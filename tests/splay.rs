//! In which splay to build: independent figures on real bodies, and steadiness.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/finer.rs"]
mod finer;
#[path = "support/rigs.rs"]
mod support;

use gusset::contact::Body;
use gusset::demo::Piece;
use gusset::rig::gltf::{self, ReadOptions};
use gusset::splay::{Asked, Splay, splay};
use gusset::wardrobe::bare;
use std::path::Path;

fn found(rigs: &Path, name: &str) -> Splay {
    let body: Body = bare(&rigs.join("bodies").join(name), &ReadOptions::default())
        .unwrap()
        .body;
    splay(&body, &Asked::default(), &|| ())
}

/// Legs apart: an independent implementation says 1, 0 and 5 whole degrees; met within half a degree. Its grown-skin curve
/// is least at 8, 8, 8 and 2: that is where the wide poses alone lose nothing more here; with the seated poses the least
/// lies higher (the figures of `tests/README.md`), so that part is not met. Common practice lies in the band.
#[test]
fn independent_figures() {
    let Some(rigs) = support::rigs() else { return };
    for (name, apart) in [
        ("mhr_body_average.glb", 1.0),
        ("mhr_body_slim.glb", 0.0),
        ("mhr_body_heavy.glb", 5.0),
    ] {
        let found = found(&rigs, name);
        let from = found.apart_from_deg.unwrap();
        assert!((from - apart).abs() <= 0.5, "{name}: {from}");
        assert!(
            found.advice.band.holds(8.0) && found.advice.band.holds(10.0),
            "{name}: {:?}",
            found.advice
        );
        let wide = |splay: usize| found.rows[splay].lost_cm2[1].1 + found.rows[splay].lost_cm2[2].1;
        assert!(wide(8) < 5.0 && wide(7) > 20.0, "{name}: {} {}", wide(7), wide(8));
    }
}

#[test]
fn eight_influences_and_finer_skin_answer_as_the_body_does() {
    let Some(rigs) = support::rigs() else { return };
    let name = "mhr_body_average.glb";
    let plain = found(&rigs, name);
    let mut rig = gltf::read(&rigs.join("bodies").join(name), &ReadOptions::default()).unwrap();
    for mesh in &mut rig.meshes {
        finer::subdivide(mesh);
    }
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("bodies")).unwrap();
    let file = folder.path().join("bodies/finer.glb");
    std::fs::write(file, Piece::plain("finer", &rig).glb()).unwrap();
    for other in [
        found(&rigs, "mhr_body_average_8inf.glb"),
        found(folder.path(), "finer.glb"),
    ] {
        for (a, b) in [
            (plain.apart_from_deg.unwrap(), other.apart_from_deg.unwrap()),
            (plain.advice.least_at_deg, other.advice.least_at_deg),
            (plain.advice.band.from_deg, other.advice.band.from_deg),
            (plain.advice.band.to_deg, other.advice.band.to_deg),
        ] {
            assert!((a - b).abs() <= 0.5, "{a} {b}");
        }
    }
}

/// Two legs as round tubes (radius `R` at `SPACING`), turned about their hip joints, under a block of a pelvis. They touch
/// until `SPACING + 2 t sin a` is `2 (R + ease)` cos a at the first counted height: a closed form.
mod tubes {
    use super::*;
    use gusset::rig::bone::Side;
    use gusset::rig::{
        Bind, Local, Mesh, Node, Rig, Rows, anatomy::Anatomy, skeleton::Skeleton, surface::assemble,
    };
    use gusset::splay::{Legs, at};
    use nalgebra::{Matrix4, Vector3};

    const RADIUS: f64 = 0.08;
    const SPACING: f64 = 0.17;
    const EASE: f64 = 0.007;
    const HIP: f64 = 0.9;
    const CROTCH: f64 = 0.82;
    const AROUND: usize = 256;
    const RINGS: usize = 321;

    fn body() -> Body {
        let joints = [
            ("hips", None, [0.0, HIP, 0.0]),
            ("spine", Some(0), [0.0, 1.2, 0.0]),
            ("leftUpperLeg", Some(0), [SPACING / 2.0, HIP, 0.0]),
            ("leftLowerLeg", Some(2), [SPACING / 2.0, 0.5, 0.0]),
            ("leftFoot", Some(3), [SPACING / 2.0, 0.1, 0.0]),
            ("rightUpperLeg", Some(0), [-SPACING / 2.0, HIP, 0.0]),
            ("rightLowerLeg", Some(5), [-SPACING / 2.0, 0.5, 0.0]),
            ("rightFoot", Some(6), [-SPACING / 2.0, 0.1, 0.0]),
        ];
        let nodes = joints
            .iter()
            .enumerate()
            .map(|(file_index, (name, parent, place))| Node {
                name: (*name).into(),
                parent: *parent,
                local: Local::Matrix(Matrix4::new_translation(
                    &(Vector3::from(*place)
                        - parent.map_or(Vector3::zeros(), |p: usize| Vector3::from(joints[p].2))),
                )),
                file_index,
            });
        let binds = joints.iter().enumerate().map(|(node, (_, _, place))| Bind {
            node,
            inverse_bind: Matrix4::new_translation(&-Vector3::from(*place)),
        });
        let (mut positions, mut triangles, mut carriers) = (Vec::new(), Vec::new(), Vec::new());
        let mut tube = |centre: f64, radius: f64, high: f64, low: f64, rings: usize, carrier: u16| {
            let first = positions.len() as u32;
            for ring in 0..rings {
                let y = high + (low - high) * ring as f64 / (rings - 1) as f64;
                for step in 0..AROUND {
                    let (sine, cosine) = (step as f64 / AROUND as f64 * std::f64::consts::TAU).sin_cos();
                    positions.push([
                        (centre + radius * cosine) as f32,
                        y as f32,
                        (radius * sine) as f32,
                    ]);
                    carriers.push(carrier);
                }
            }
            for ring in 0..rings as u32 - 1 {
                for step in 0..AROUND as u32 {
                    let (a, b) = (first + ring * AROUND as u32, (step + 1) % AROUND as u32);
                    let c = a + AROUND as u32;
                    triangles.extend([[a + step, a + b, c + step], [a + b, c + b, c + step]]);
                }
            }
        };
        tube(0.0, 0.15, 1.0, CROTCH, 3, 0);
        tube(SPACING / 2.0, RADIUS, HIP, 0.1, RINGS, 2);
        tube(-SPACING / 2.0, RADIUS, HIP, 0.1, RINGS, 5);
        let rows = Rows {
            starts: (0..=carriers.len() as u32).collect(),
            weights: vec![1.0; carriers.len()],
            binds: carriers,
        };
        let mesh = Mesh {
            name: "body".into(),
            material: String::new(),
            place: String::new(),
            binds: binds.collect(),
            skinned: true,
            positions,
            uvs: None,
            triangles,
            rows,
            morphs: Vec::new(),
            hidden: Vec::new(),
        };
        let rig = Rig {
            name: "tubes".into(),
            nodes: nodes.collect(),
            meshes: vec![mesh],
            ..Rig::default()
        };
        let surface = assemble(&rig, &[0], "tubes");
        let skeleton = Skeleton::new(&rig, &[&surface], &[]);
        let anatomy = Anatomy::new(&skeleton).unwrap();
        Body::new(surface, skeleton, anatomy)
    }

    /// The axis of a splayed leg is `SPACING / 2 + t sin a` from the middle, its tube as wide as `(R + ease) / cos a` on a
    /// level. The two meet in the middle at the first counted height, `t cos a` below the hip.
    #[test]
    fn two_tubes_part_where_the_closed_form_says() {
        let body = body();
        assert!(body.anatomy.hip_splay(Side::Left).abs() < 1e-9);
        let legs = Legs::new(&body);
        let depth = HIP - CROTCH + 0.05 * 0.8;
        let part = |a: f64| SPACING / 2.0 + depth * a.tan() - (RADIUS + EASE) / a.cos();
        let exact = (0..40_000)
            .map(|n| f64::from(n) * 0.0005)
            .find(|a| part(a.to_radians()) >= 0.0)
            .unwrap();
        let (mut low, mut high) = (0.0, 10.0);
        while high - low > 0.005 {
            let middle = f64::midpoint(low, high);
            // A hundredth of a square centimetre: what is left of a touch.
            if legs.overlap(&body, &at(&body, middle), EASE) > 1e-6 {
                low = middle;
            } else {
                high = middle;
            }
        }
        assert!((high - exact).abs() <= 0.1, "{high} for {exact}");
    }
}
