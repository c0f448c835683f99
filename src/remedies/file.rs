//! What a file may say wrongly as a whole: its units, its axes, the pose it was bound in.
//!
//! A garment that was exported rightly lies on the skin as built. Where this one does not, it is laid there in each of the
//! ways in which exporters are known to differ, and the way in which it lies best is an edit to be measured like any other.

use super::edit::{Edit, Where};
use super::shape;
use crate::contact::Layer;
use crate::fitting::Dressed;
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::signed;
use crate::pose::{Angles, Joint, JointMotion, Motion, OnSide, PoseFrame, stand};
use crate::rig::bone::Bone;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::polar;
use crate::skin;
use nalgebra::{Matrix3, Rotation3, Vector3};
use rayon::prelude::*;

/// Points of the cloth that are looked at.
const POINTS: usize = 800;
/// Cloth further than this from the skin lies nowhere, metres at the scale of 1.
const FAR: f32 = 0.060;
/// Cloth deeper than this in the skin lies as wrong as cloth can, metres at the scale of 1.
const DEEP: f32 = 0.004;
/// Another way is only proposed where the cloth lies this much better: a garment may hang as it likes.
const BETTER: f64 = 0.75;
/// A garment with this share of its cloth in the skin as built is too tight as a whole.
const TIGHT: f64 = 0.25;
/// Cloth that is let out has at least this much room, metres at the scale of 1.
const ROOM: f64 = 0.0015;
/// Splays of the hips in which it may have been built, degrees.
const SPLAYS_DEG: std::ops::RangeInclusive<u32> = 0..=16;
/// Times by which a garment is brought to metres, and what its numbers are then: units that exporters write and that a
/// file cannot state, so that its reader takes them for metres, or the other way round.
const UNITS: [(f64, &str); 6] = [
    (0.01, "centimetres"),
    (0.001, "millimetres"),
    (0.0254, "inches"),
    (0.3048, "feet"),
    (100.0, "metres, and the file says centimetres"),
    (1000.0, "metres, and the file says millimetres"),
];

/// A way to lay the garment on the body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Way {
    /// So many times as large; as if its units were these.
    Scaled(f64, &'static str),
    /// Turned about an axis by so many quarters.
    Turned(&'static str, u32),
    /// Bound to hips splayed so many degrees.
    BoundAt(f64),
}

/// The ways in which the garment lies much better than it does, the best of each kind.
pub(super) fn edits(dressed: &Dressed) -> Vec<Edit> {
    let layer = &dressed.layers[0];
    if layer.surface.positions.is_empty() || dressed.body.surface.triangles.is_empty() {
        return Vec::new();
    }
    let points = points(layer);
    let skin = Skin::new(dressed, layer.body_as_built.clone());
    let as_it_is = skin.unease(&points);
    let mut edits = Vec::new();
    let mut best = |found: Vec<(f64, Way)>| {
        let least = found.into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((unease, way)) = least
            && unease < BETTER * as_it_is
        {
            edits.push(Edit::of_file(dressed, way));
        }
    };
    best(in_ways(
        &skin,
        &points,
        UNITS.map(|(times, name)| Way::Scaled(times, name)),
    ));
    let turned = ["x", "y", "z"]
        .into_iter()
        .flat_map(|axis| (1..4).map(move |quarters| Way::Turned(axis, quarters)));
    best(in_ways(&skin, &points, turned));
    let at_splays = |splays: Vec<f64>| -> Vec<(f64, Way)> {
        let unease = |degrees: f64| Skin::new(dressed, skin_at(dressed, degrees)).unease(&points);
        splays
            .into_par_iter()
            .map(|degrees| (unease(degrees), Way::BoundAt(degrees)))
            .collect()
    };
    let coarse = at_splays(SPLAYS_DEG.map(f64::from).collect());
    let near = coarse.iter().min_by(|a, b| a.0.total_cmp(&b.0));
    if let Some(&(_, Way::BoundAt(near))) = near {
        best(at_splays(
            (-3..=3).map(|quarter| near + 0.25 * f64::from(quarter)).collect(),
        ));
    }
    let mut depths = skin.depths(&points);
    depths.sort_by(f64::total_cmp);
    let share = |share: f64| depths[((depths.len() - 1) as f64 * share) as usize];
    // A place that is sunk is no tight garment. Out by what the deepest twentieth needs.
    if share(1.0 - TIGHT) > 0.0 {
        let deep = share(0.95);
        let scale = f64::from(dressed.body.scale());
        let everywhere = vec![1.0; layer.surface.positions.len()];
        for more in [1.0, 2.0, 4.0] {
            let by = deep + more * ROOM * scale;
            edits.push(Edit {
                place: Where::Garment,
                ..shape::out(layer, &everywhere, by)
            });
        }
    }
    edits
}

fn in_ways(skin: &Skin, points: &[[f32; 3]], ways: impl IntoIterator<Item = Way>) -> Vec<(f64, Way)> {
    let laid = |way: Way| {
        let moved: Vec<[f32; 3]> = points.iter().map(|point| way.moves(*point)).collect();
        (skin.unease(&moved), way)
    };
    ways.into_iter().map(laid).collect()
}

/// Vertices spread over the garment.
fn points(layer: &Layer) -> Vec<[f32; 3]> {
    let all = &layer.surface.positions;
    all.iter().copied().step_by((all.len() / POINTS).max(1)).collect()
}

/// The skin that cloth may lie on.
struct Skin<'a> {
    dressed: &'a Dressed,
    positions: Vec<[f32; 3]>,
    tree: BoxTree,
}

impl<'a> Skin<'a> {
    fn new(dressed: &'a Dressed, positions: Vec<[f32; 3]>) -> Self {
        let body = &dressed.body;
        let tree = BoxTree::build_tagged(&positions, &body.surface.triangles, &body.tags);
        Self {
            dressed,
            positions,
            tree,
        }
    }

    /// How deep each point lies in the skin, metres; 0 outside.
    fn depths(&self, points: &[[f32; 3]]) -> Vec<f64> {
        let normals = PseudoNormals::new(&self.dressed.body.topology, &self.positions);
        let of = |point: &[f32; 3]| {
            let found = self
                .tree
                .closest(*point, FAR * self.dressed.body.scale(), ALL, None)?;
            Some(f64::from(-signed::clearance(*point, &found, &normals)).max(0.0))
        };
        points.iter().map(|point| of(point).unwrap_or(0.0)).collect()
    }

    /// How badly points lie on the skin, 0 to 1: far off or deep inside is 1.
    fn unease(&self, points: &[[f32; 3]]) -> f64 {
        let scale = self.dressed.body.scale();
        let normals = PseudoNormals::new(&self.dressed.body.topology, &self.positions);
        let of = |point: &[f32; 3]| {
            let Some(found) = self.tree.closest(*point, FAR * scale, ALL, None) else {
                return 1.0;
            };
            let clearance = signed::clearance(*point, &found, &normals) / scale;
            let least = if clearance < 0.0 {
                -clearance / DEEP
            } else {
                clearance / FAR
            };
            f64::from(least.min(1.0))
        };
        points.iter().map(of).sum::<f64>() / points.len().max(1) as f64
    }
}

/// The body's joints with the hips splayed by so many degrees, all else as at the garment's own bind.
fn joints_at(dressed: &Dressed, degrees: f64) -> Vec<nalgebra::Matrix4<f64>> {
    let (body, layer) = (&dressed.body, &dressed.layers[0]);
    let reversed = layer.pairing.reversed(body.skeleton.joints.len());
    let as_bound = skin::follow(&body.skeleton, &reversed, &stand::at_bind(&layer.skeleton));
    let own = stand::effective(&body.skeleton, &body.anatomy, &as_bound);
    let legs = own
        .into_iter()
        .filter(|(bone, _)| matches!(bone, Bone::UpperLeg(_) | Bone::LowerLeg(_) | Bone::Foot(_)));
    let mut frame = PoseFrame {
        angles: legs.map(|(bone, angles)| (bone, Angles::Set(angles))).collect(),
        ..PoseFrame::default()
    };
    let splay = JointMotion {
        joint: Joint::Hip,
        motion: Motion::Abduction,
    };
    frame.set(splay, OnSide::Both, degrees.to_radians());
    stand::take(&body.skeleton, &body.anatomy, &frame)
}

fn skin_at(dressed: &Dressed, degrees: f64) -> Vec<[f32; 3]> {
    let body = &dressed.body;
    let world = joints_at(dressed, degrees);
    let mut positions = Vec::new();
    skin::blend(
        &body.surface,
        &skin::palette(&body.surface, &world),
        &mut positions,
    );
    positions
}

impl Way {
    fn turn(self) -> Matrix3<f64> {
        match self {
            Self::Scaled(times, _) => Matrix3::identity() * times,
            Self::Turned(axis, quarters) => {
                let axis = match axis {
                    "x" => Vector3::x_axis(),
                    "y" => Vector3::y_axis(),
                    _ => Vector3::z_axis(),
                };
                *Rotation3::from_axis_angle(&axis, f64::from(quarters) * std::f64::consts::FRAC_PI_2).matrix()
            }
            Self::BoundAt(_) => Matrix3::identity(),
        }
    }

    #[expect(clippy::cast_possible_truncation, reason = "positions are f32")]
    fn moves(self, point: [f32; 3]) -> [f32; 3] {
        let moved = self.turn() * Vector3::from(point.map(f64::from));
        std::array::from_fn(|axis| moved[axis] as f32)
    }
}

/// The garment's positions laid this way; `None` where they stay.
pub(super) fn moved(way: Way, positions: &[[f32; 3]]) -> Option<Vec<[f32; 3]>> {
    let moves = matches!(way, Way::Scaled(..) | Way::Turned(..));
    moves.then(|| positions.iter().map(|point| way.moves(*point)).collect())
}

/// The garment's skeleton at another bind; `None` where it stays.
pub(super) fn bound(dressed: &Dressed, way: Way) -> Option<Skeleton> {
    match way {
        Way::BoundAt(degrees) => Some(bound_at(dressed, &joints_at(dressed, degrees))),
        _ => None,
    }
}

/// The garment's skeleton with its joints where the body's are.
fn bound_at(dressed: &Dressed, body_world: &[nalgebra::Matrix4<f64>]) -> Skeleton {
    let layer = &dressed.layers[0];
    let mut skeleton = layer.skeleton.clone();
    let world = skin::follow(&layer.skeleton, &layer.pairing, body_world);
    for (joint, world) in skeleton.joints.iter_mut().zip(&world) {
        joint.position = world.fixed_view::<3, 1>(0, 3).into_owned();
        joint.rotation = polar(world).0;
    }
    skeleton
}
