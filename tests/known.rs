//! Answers known from closed forms of linear-blend skinning: two joints, weights 1 - w and w, one of them turned.
//!
//! Derived by hand and re-evaluated numerically: blending a rotation by t with the identity scales the plane of
//! rotation by `sqrt(1 - 4 w (1 - w) sin²(t / 2))` and turns it by `atan2(w sin t, 1 - w + w cos t)`. The three points
//! were confirmed with an independent renderer's skinning code.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gusset::rig::Rows;
use gusset::rig::surface::{Axes, Surface, SurfaceBind};
use gusset::skin::{blend, palette};
use nalgebra::{Matrix4, Rotation3, Unit, Vector3};

/// Two joints, at y = 0 and y = 1.
fn surface(points: &[([f32; 3], [f32; 2])]) -> Surface {
    let mut rows = Rows {
        starts: vec![0],
        ..Rows::default()
    };
    for (_, weights) in points {
        for (bind, &weight) in (0u16..).zip(weights).filter(|(_, weight)| **weight != 0.0) {
            rows.binds.push(bind);
            rows.weights.push(weight);
        }
        rows.starts.push(u32::try_from(rows.binds.len()).unwrap());
    }
    Surface {
        name: "tube".into(),
        positions: points.iter().map(|point| point.0).collect(),
        triangles: Vec::new(),
        uvs: None,
        rows,
        binds: vec![
            SurfaceBind {
                node: 0,
                inverse: Matrix4::identity(),
            },
            SurfaceBind {
                node: 1,
                inverse: Matrix4::new_translation(&Vector3::new(0.0, -1.0, 0.0)),
            },
        ],
        sources: Vec::new(),
        to_world: Axes {
            scale: 1.0,
            upright: true,
            rest_is_bind: true,
        },
        faulty: vec![false; points.len()],
        hidden: Vec::new(),
        growth: Vec::new(),
    }
}

/// The second joint turned about an axis through itself.
fn turned(axis: Vector3<f64>, degrees: f64) -> Vec<Matrix4<f64>> {
    let turn = Rotation3::from_axis_angle(&Unit::new_normalize(axis), degrees.to_radians());
    vec![
        Matrix4::identity(),
        Matrix4::new_translation(&Vector3::new(0.0, 1.0, 0.0)) * turn.to_homogeneous(),
    ]
}

fn posed(surface: &Surface, world: &[Matrix4<f64>]) -> Vec<[f32; 3]> {
    let mut out = Vec::new();
    blend(surface, &palette(surface, world), &mut out);
    out
}

fn near(found: [f32; 3], wanted: [f64; 3]) {
    for axis in 0..3 {
        assert!(
            (f64::from(found[axis]) - wanted[axis]).abs() < 1e-6,
            "{found:?} is not {wanted:?}"
        );
    }
}

#[test]
fn three_points_of_a_bent_arm() {
    let arm = surface(&[
        ([1.0, 1.0, 0.0], [0.5, 0.5]),
        ([0.0, 1.5, 0.0], [0.0, 1.0]),
        ([0.5, 0.0, 0.0], [1.0, 0.0]),
    ]);
    let found = posed(&arm, &turned(Vector3::z(), 90.0));
    near(found[0], [0.5, 1.5, 0.0]);
    near(found[1], [-0.5, 1.0, 0.0]);
    near(found[2], [0.5, 0.0, 0.0]);
}

#[test]
fn a_twisted_ring_collapses() {
    let ring = surface(&[([1.0, 1.0, 0.0], [0.5, 0.5])]);
    for (degrees, wanted) in [
        (90.0, [0.5, 1.0, -0.5]),
        (120.0, [0.25, 1.0, -0.433_013]),
        (180.0, [0.0, 1.0, 0.0]),
    ] {
        near(posed(&ring, &turned(Vector3::y(), degrees))[0], wanted);
    }
}

#[test]
fn scale_and_angle_of_a_blend() {
    // w, t in degrees, scale, angle in degrees (undefined where the scale is 0)
    for (w, t, scale, angle) in [
        (0.5, 60.0, 0.866_025, 30.0),
        (0.5, 90.0, std::f64::consts::FRAC_1_SQRT_2, 45.0),
        (0.5, 120.0, 0.5, 60.0),
        (0.5, 150.0, 0.258_819, 75.0),
        (0.25, 90.0, 0.790_569, 18.4349),
        (0.25, 120.0, 0.661_438, 19.1066),
        (0.25, 180.0, 0.5, 0.0),
        (0.1, 90.0, 0.905_539, 6.3402),
    ] {
        let point = surface(&[([1.0, 1.0, 0.0], [1.0 - w, w])]);
        let [x, _, z] = posed(&point, &turned(Vector3::y(), t))[0].map(f64::from);
        assert!(
            (x.hypot(z) - scale).abs() < 1e-6,
            "w {w}, t {t}: scale {}",
            x.hypot(z)
        );
        assert!(
            ((-z).atan2(x).to_degrees() - angle).abs() < 1e-4,
            "w {w}, t {t}: angle {}",
            (-z).atan2(x).to_degrees()
        );
    }
}

#[test]
fn the_bind_changes_nothing_and_a_row_off_by_e_moves_a_point_by_e() {
    let points = surface(&[([0.3, 0.7, -0.2], [0.4, 0.6]), ([0.5, 0.25, 1.0], [1.1, 0.0])]);
    let bind = turned(Vector3::y(), 0.0);
    let found = posed(&points, &bind);
    near(found[0], [0.3, 0.7, -0.2]);
    near(found[1], [0.55, 0.275, 1.1]);
}
