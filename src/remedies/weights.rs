//! Edits of the weights.

use super::edit::{Edit, Kind};
use super::rows::{Row, packed, row, unlike, whole};
use crate::contact::Layer;
use crate::fitting::Dressed;
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::vector::{dot, narrow, norm, scale, sub, wide};
use crate::rig::bone::{Bone, Side};
use std::collections::BTreeMap;

/// The mirrored place is looked for this far, metres at the scale of 1.
const MIRROR_REACH: f32 = 0.010;
/// Most sweeps of a smoothing: a mesh finer than that stays rougher than asked.
const MOST_SWEEPS: usize = 200;

/// A weight edit: each row goes its share of the way to another; `None` where no row changes.
pub(super) fn towards(
    layer: &Layer,
    kind: Kind,
    shares: &[f64],
    other: impl Fn(usize, &Row) -> Row,
) -> Option<Edit> {
    let mut changed = 0;
    let rows: Vec<Row> = shares
        .iter()
        .enumerate()
        .map(|(vertex, share)| {
            let own = row(layer, vertex);
            if *share <= 0.0 || layer.surface.faulty[vertex] {
                return own;
            }
            let to = other(vertex, &own);
            if to.is_empty() || unlike(&own, &to) < 1e-3 {
                return own;
            }
            changed += 1;
            whole(mixed(&[(1.0 - share, &own), (*share, &to)]))
        })
        .collect();
    (changed > 0).then(|| Edit {
        rows: Some(packed(&rows)),
        vertices: changed,
        ..Edit::nothing(kind)
    })
}

/// Rows by their shares.
pub(super) fn mixed(rows: &[(f64, &Row)]) -> Row {
    let mut sums = Row::new();
    for (share, row) in rows {
        for (bind, weight) in *row {
            *sums.entry(*bind).or_default() += share * weight;
        }
    }
    sums
}

/// The row with no more weight on the other side's joints than the skin beneath has.
pub(super) fn wrong_side_down(dressed: &Dressed, own: &Row, skin: &Row) -> Row {
    let layer = &dressed.layers[0];
    let side = |bind: usize| {
        layer
            .skeleton
            .moved_by(layer.surface.binds[bind].node)
            .and_then(|bone| bone.side())
    };
    let of = |row: &Row, wanted| {
        let sided = row.iter().filter(|(bind, _)| side(**bind) == Some(wanted));
        sided.map(|(_, weight)| weight).sum::<f64>()
    };
    let home = if of(skin, Side::Left) >= of(skin, Side::Right) {
        Side::Left
    } else {
        Side::Right
    };
    let mut kept = own.clone();
    for (bind, weight) in &mut kept {
        if side(*bind).is_some_and(|side| side != home) {
            *weight = weight.min(skin.get(bind).copied().unwrap_or(0.0));
        }
    }
    whole(kept)
}

/// By vertex: the weights of the mirrored place with left and right swapped; empty where nothing mirrors it, or where its
/// joints have no counterpart.
pub(super) fn mirrored(dressed: &Dressed) -> Vec<Row> {
    let (anatomy, layer) = (&dressed.body.anatomy, &dressed.layers[0]);
    let surface = &layer.surface;
    let tree = BoxTree::build(&surface.positions, &surface.triangles);
    let normals = PseudoNormals::new(&layer.topology, &surface.positions);
    let across: [f64; 3] = (anatomy.pelvis * nalgebra::Vector3::x()).into();
    let middle = middle(dressed);
    let reach = MIRROR_REACH * dressed.body.scale();
    let swapped = swapped_binds(layer);
    (0u32..)
        .zip(&surface.positions)
        .map(|(vertex, &position)| {
            let at = wide(position);
            let image = narrow(sub(at, scale(across, 2.0 * dot(sub(at, middle), across))));
            // Where legs touch, the nearest cloth may be the own side's: the image must face the same way.
            let normal = wide(normals.vertex(vertex));
            let facing = sub(normal, scale(across, 2.0 * dot(normal, across)));
            let alike = |triangle: u32| dot(wide(normals.face(triangle)), facing) > 0.0;
            let Some(found) = tree.closest_where(image, reach, ALL, None, alike) else {
                return Row::new();
            };
            let corners = surface.triangles[found.triangle as usize];
            let rows = corners.map(|corner| row(layer, corner as usize));
            let shares: Vec<(f64, &Row)> = found.barycentric.into_iter().map(f64::from).zip(&rows).collect();
            let there: Option<Row> = mixed(&shares)
                .into_iter()
                .map(|(bind, weight)| Some((swapped[bind]?, weight)))
                .collect();
            there.map(whole).unwrap_or_default()
        })
        .collect()
}

/// Between the hips as the garment was bound.
fn middle(dressed: &Dressed) -> [f64; 3] {
    let hip = |side| dressed.layers[0].skeleton.position(Bone::UpperLeg(side));
    match (hip(Side::Left), hip(Side::Right)) {
        (Some(left), Some(right)) => ((left + right) / 2.0).into(),
        _ => dressed.body.anatomy.mid_hip.into(),
    }
}

/// By bind: the bind of the other side's joint; itself for one in the middle.
fn swapped_binds(layer: &Layer) -> Vec<Option<usize>> {
    let bone = |node: usize| layer.skeleton.roles.bone(node);
    let by_bone: BTreeMap<Bone, usize> = layer
        .surface
        .binds
        .iter()
        .enumerate()
        .filter_map(|(at, bind)| Some((bone(bind.node)?, at)))
        .collect();
    layer
        .surface
        .binds
        .iter()
        .map(|bind| by_bone.get(&bone(bind.node)?.mirror()).copied())
        .collect()
}

/// By vertex: the weights smoothed over about `width` metres of cloth, within the reach of an edit.
pub(super) fn smoothed(layer: &Layer, shares: &[f64], width: f64) -> Vec<Row> {
    let canonical = layer.topology.canonical();
    let mut rows: Vec<Row> = (0..shares.len()).map(|vertex| row(layer, vertex)).collect();
    let mut beside: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    let (mut length, mut edges) = (0.0, 0.0);
    for &[a, b] in layer.topology.edges() {
        for (of, other) in [(a, b), (b, a)] {
            if shares[of as usize] > 0.0 {
                beside.entry(of).or_default().push(other);
            }
        }
        let at = |vertex: u32| wide(layer.surface.positions[vertex as usize]);
        length += norm(sub(at(a), at(b)));
        edges += 1.0;
    }
    // Each sweep blurs by about an edge; blurs add up as squares.
    let sweeps = (width * edges / f64::max(length, 1e-9))
        .powi(2)
        .clamp(2.0, MOST_SWEEPS as f64);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "2 to 200")]
    for _ in 0..sweeps as usize {
        let next: Vec<(u32, Row)> = beside
            .iter()
            .map(|(&vertex, others)| {
                let share = 0.5 / others.len() as f64;
                let around = others.iter().map(|&other| (share, &rows[other as usize]));
                let all: Vec<(f64, &Row)> = around.chain([(0.5, &rows[vertex as usize])]).collect();
                (vertex, mixed(&all))
            })
            .collect();
        for (vertex, row) in next {
            rows[vertex as usize] = row;
        }
    }
    canonical
        .iter()
        .map(|&vertex| whole(rows[vertex as usize].clone()))
        .collect()
}
