//! What can be tried: edits of the garment, in memory. The body is never touched.

use super::reach;
use super::spot::Patch;
use crate::contact::Layer;
use crate::contact::cloth::turn::Carriers;
use crate::fitting::Dressed;
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::vector::dot;
use crate::outcome::Cause;
use crate::rig::Rows;
use crate::rig::surface::row_is_faulty;
use std::collections::BTreeMap;

/// A weight edit is whole within this distance of the spot and gone at the next, metres at the scale of 1.
const WEIGHTS_WHOLE: f64 = 0.030;
const WEIGHTS_GONE: f64 = 0.090;
/// The same for a shape edit.
const SHAPE_WHOLE: f64 = 0.010;
const SHAPE_GONE: f64 = 0.050;
/// Skin counts as beneath where its normal is within 30 degrees of the cloth's (Abdrashitov and others 2023, "Robust skin
/// weights transfer via weight inpainting").
const ALIKE: f32 = 0.866;
/// And within this share of the garment's diagonal (the same).
const NEAR: f32 = 0.05;
/// Sweeps that fill weights in between where no skin was near: harmonic, after Gauss and Seidel.
const SWEEPS: usize = 400;
/// Most joints a vertex keeps: what every runtime reads.
const INFLUENCES: usize = 4;

/// By bind of the garment.
type Row = BTreeMap<usize, f64>;

/// Where an edit works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Where {
    Spot,
    Garment,
}

/// What is done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    /// The weights of the skin beneath.
    SkinWeights,
    /// Weights of the other side no more than the skin has.
    WrongSideDown,
    /// Rows that add up.
    Normalise,
    /// The same weights on both edges of a seam.
    EvenSeams,
    /// Out of the skin by so many metres, as built.
    Out(f64),
}

/// One edit with all it needs.
#[derive(Clone, Debug)]
pub(super) struct Edit {
    pub(super) kind: Kind,
    pub(super) place: Where,
    rows: Option<Rows>,
    positions: Option<Vec<[f32; 3]>>,
    /// Vertices that change.
    pub(super) vertices: usize,
}

/// Everything that may be tried at a spot.
pub(super) fn all(dressed: &Dressed, patch: &Patch) -> Vec<Edit> {
    let layer = &dressed.layers[0];
    let scale = f64::from(dressed.body.scale());
    let whole = vec![1.0; layer.surface.positions.len()];
    let local = reach::shares(
        layer,
        &patch.triangles,
        WEIGHTS_WHOLE * scale,
        WEIGHTS_GONE * scale,
    );
    let skin = skin_rows(dressed);
    let mut edits = Vec::new();
    for (place, shares) in [(Where::Spot, &local), (Where::Garment, &whole)] {
        edits.extend(weights(layer, Kind::SkinWeights, place, shares, |vertex, _| {
            skin[vertex].clone()
        }));
        edits.extend(weights(
            layer,
            Kind::WrongSideDown,
            place,
            shares,
            |vertex, own| wrong_side_down(dressed, own, &skin[vertex]),
        ));
    }
    edits.extend(Edit::even_seams(dressed));
    if patch.measure.id == "skin_shows" {
        let near = reach::shares(layer, &patch.triangles, SHAPE_WHOLE * scale, SHAPE_GONE * scale);
        // By the depth and a millimetre; half as much more, and twice as much, where the skin comes at a slant.
        for times in [1.0, 1.5, 2.0] {
            edits.push(out(layer, &near, times * (patch.value * 1e-3 + 0.001 * scale)));
        }
    }
    edits
}

impl Edit {
    /// Which kind of mistake it mends.
    pub(super) fn cause(&self) -> Cause {
        match self.kind {
            Kind::SkinWeights | Kind::WrongSideDown => Cause::Weights,
            Kind::Normalise => Cause::Rows,
            Kind::EvenSeams => Cause::Seam,
            Kind::Out(_) => Cause::Shape,
        }
    }

    /// The garment with this edit, dressed again as far as the edit asks for it.
    pub(super) fn apply(&self, dressed: &Dressed) -> Layer {
        let layer = &dressed.layers[0];
        let mut surface = layer.surface.clone();
        if let Some(rows) = &self.rows {
            surface.rows = rows.clone();
            surface.faulty = (0..surface.positions.len())
                .map(|vertex| row_is_faulty(rows, vertex))
                .collect();
        }
        if let Some(positions) = &self.positions {
            surface.positions.clone_from(positions);
        }
        if self.positions.is_some() || surface.faulty != layer.surface.faulty {
            return Layer::new(&dressed.body, surface, layer.skeleton.clone());
        }
        // Nothing moved as built: homes, covers and edges stay.
        let mut layer = layer.clone();
        layer.cloth.carriers = Carriers::new(&surface);
        layer.surface = surface;
        layer
    }

    /// Every row made to add up; an empty one takes the skin's.
    pub(super) fn normalised(dressed: &Dressed) -> Self {
        let layer = &dressed.layers[0];
        let skin = skin_rows(dressed);
        let rows: Vec<Row> = (0..layer.surface.positions.len())
            .map(|vertex| {
                let own: Row = row(layer, vertex)
                    .into_iter()
                    .filter(|(_, w)| w.is_finite() && *w > 0.0)
                    .collect();
                if own.is_empty() {
                    skin[vertex].clone()
                } else {
                    whole(own)
                }
            })
            .collect();
        Self {
            kind: Kind::Normalise,
            place: Where::Garment,
            vertices: layer.surface.faulty.iter().filter(|faulty| **faulty).count(),
            rows: Some(packed(&rows)),
            positions: None,
        }
    }

    /// The mean row for all vertices of one place; `None` where they are the same already.
    fn even_seams(dressed: &Dressed) -> Option<Self> {
        let layer = &dressed.layers[0];
        let mut rows: Vec<Row> = (0..layer.surface.positions.len())
            .map(|vertex| row(layer, vertex))
            .collect();
        let mut changed = 0;
        for group in layer.cloth.seams.groups() {
            let mut mean = Row::new();
            for &vertex in group {
                for (bind, weight) in &rows[vertex as usize] {
                    *mean.entry(*bind).or_default() += weight / group.len() as f64;
                }
            }
            for &vertex in group {
                if unlike(&rows[vertex as usize], &mean) > 1e-3 {
                    rows[vertex as usize].clone_from(&mean);
                    changed += 1;
                }
            }
        }
        (changed > 0).then(|| Self {
            kind: Kind::EvenSeams,
            place: Where::Garment,
            rows: Some(packed(&rows)),
            positions: None,
            vertices: changed,
        })
    }
}

/// A weight edit: each row goes its share of the way to another; `None` where no row changes.
fn weights(
    layer: &Layer,
    kind: Kind,
    place: Where,
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
            let mut mixed = Row::new();
            own.iter()
                .for_each(|(bind, weight)| *mixed.entry(*bind).or_default() += (1.0 - share) * weight);
            to.iter()
                .for_each(|(bind, weight)| *mixed.entry(*bind).or_default() += share * weight);
            whole(mixed)
        })
        .collect();
    (changed > 0).then(|| Edit {
        kind,
        place,
        rows: Some(packed(&rows)),
        positions: None,
        vertices: changed,
    })
}

/// The cloth moved out along its normals.
fn out(layer: &Layer, shares: &[f64], by: f64) -> Edit {
    let normals = PseudoNormals::new(&layer.topology, &layer.surface.positions);
    let mut positions = layer.surface.positions.clone();
    for (vertex, (position, share)) in (0u32..).zip(positions.iter_mut().zip(shares)) {
        let normal = nalgebra::Vector3::from(normals.vertex(vertex)).try_normalize(1e-9);
        if let Some(normal) = normal.filter(|_| *share > 0.0) {
            #[expect(clippy::cast_possible_truncation, reason = "positions are f32")]
            let step = (by * share) as f32;
            (0..3).for_each(|axis| position[axis] += normal[axis] * step);
        }
    }
    Edit {
        kind: Kind::Out(by),
        place: Where::Spot,
        rows: None,
        positions: Some(positions),
        vertices: shares.iter().filter(|share| **share > 0.0).count(),
    }
}

pub(super) fn row(layer: &Layer, vertex: usize) -> Row {
    let mut sums = Row::new();
    for (bind, weight) in layer.surface.rows.row(vertex) {
        *sums.entry(bind).or_default() += f64::from(weight);
    }
    sums
}

pub(super) fn unlike(a: &Row, b: &Row) -> f64 {
    let keys: std::collections::BTreeSet<usize> = a.keys().chain(b.keys()).copied().collect();
    let get = |row: &Row, key: &usize| row.get(key).copied().unwrap_or(0.0);
    keys.iter()
        .map(|key| (get(a, key) - get(b, key)).abs())
        .sum::<f64>()
        / 2.0
}

/// The heaviest entries, adding up to 1.
fn whole(row: Row) -> Row {
    let mut entries: Vec<(usize, f64)> = row.into_iter().filter(|(_, weight)| *weight > 0.0).collect();
    entries.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    entries.truncate(INFLUENCES);
    let sum: f64 = entries.iter().map(|(_, weight)| weight).sum();
    entries
        .into_iter()
        .map(|(bind, weight)| (bind, weight / sum.max(1e-12)))
        .collect()
}

#[expect(clippy::cast_possible_truncation, reason = "weights are f32, binds u16")]
fn packed(rows: &[Row]) -> Rows {
    let mut packed = Rows {
        starts: vec![0],
        ..Rows::default()
    };
    for row in rows {
        for (bind, weight) in row {
            packed.binds.push(*bind as u16);
            packed.weights.push(*weight as f32);
        }
        packed.starts.push(packed.binds.len() as u32);
    }
    packed
}

/// By garment vertex: the weights of the skin beneath, by the garment's binds; between skin that is near and alike filled
/// evenly along the cloth.
pub(super) fn skin_rows(dressed: &Dressed) -> Vec<Row> {
    let (body, layer) = (&dressed.body, &dressed.layers[0]);
    let tree = BoxTree::build_tagged(&layer.body_as_built, &body.surface.triangles, &body.tags);
    let of_skin = PseudoNormals::new(&body.topology, &layer.body_as_built);
    let of_cloth = PseudoNormals::new(&layer.topology, &layer.surface.positions);
    let binds = binds_of_body(dressed);
    let reach = NEAR * diagonal(&layer.surface.positions);
    let mut rows: Vec<Option<Row>> = (0u32..)
        .zip(&layer.surface.positions)
        .map(|(vertex, &at)| {
            let normal = nalgebra::Vector3::from(of_cloth.vertex(vertex))
                .try_normalize(1e-9)?
                .into();
            let found = tree.closest(at, reach, ALL, None)?;
            if body.on_rim(found.triangle, found.feature) || dot(of_skin.face(found.triangle), normal) < ALIKE
            {
                return None;
            }
            let mut sums = Row::new();
            let corners = body.surface.triangles[found.triangle as usize];
            for (corner, share) in corners.into_iter().zip(found.barycentric) {
                for (bind, weight) in body.surface.rows.row(corner as usize) {
                    *sums.entry(binds[bind]?).or_default() += f64::from(share) * f64::from(weight);
                }
            }
            Some(whole(sums))
        })
        .collect();
    fill(layer, &mut rows);
    rows.into_iter().map(Option::unwrap_or_default).collect()
}

fn diagonal(positions: &[[f32; 3]]) -> f32 {
    let mut bounds = [[f32::INFINITY; 3], [f32::NEG_INFINITY; 3]];
    for (axis, value) in positions.iter().flat_map(|position| position.iter().enumerate()) {
        bounds[0][axis] = bounds[0][axis].min(*value);
        bounds[1][axis] = bounds[1][axis].max(*value);
    }
    (0..3)
        .map(|axis| (bounds[1][axis] - bounds[0][axis]).powi(2))
        .sum::<f32>()
        .sqrt()
}

/// The garment's bind for each of the body's: the same joint, else the nearest above that the garment has.
fn binds_of_body(dressed: &Dressed) -> Vec<Option<usize>> {
    let (body, layer) = (&dressed.body, &dressed.layers[0]);
    let by_driver: BTreeMap<usize, usize> = layer
        .surface
        .binds
        .iter()
        .enumerate()
        .filter_map(|(at, bind)| Some((layer.pairing.driver[bind.node]?, at)))
        .collect();
    let above = |node: usize| std::iter::successors(Some(node), |&at| body.skeleton.joints[at].parent);
    body.surface
        .binds
        .iter()
        .map(|bind| above(bind.node).find_map(|node| by_driver.get(&node).copied()))
        .collect()
}

/// Fills rows that are not known from their neighbours along the cloth.
fn fill(layer: &Layer, rows: &mut [Option<Row>]) {
    let topology = &layer.topology;
    let canonical = topology.canonical();
    let unknown: Vec<u32> = (0u32..)
        .zip(canonical)
        .filter(|(vertex, stands)| vertex == *stands && rows[*vertex as usize].is_none())
        .map(|(vertex, _)| vertex)
        .collect();
    if unknown.is_empty() {
        return;
    }
    let mut beside: BTreeMap<u32, Vec<u32>> = unknown.iter().map(|&vertex| (vertex, Vec::new())).collect();
    for &[a, b] in topology.edges() {
        for (of, other) in [(a, b), (b, a)] {
            if let Some(list) = beside.get_mut(&of) {
                list.push(other);
            }
        }
    }
    for _ in 0..SWEEPS {
        for (&vertex, others) in &beside {
            let mut sums = Row::new();
            let mut count = 0.0;
            for row in others.iter().filter_map(|&other| rows[other as usize].as_ref()) {
                count += 1.0;
                row.iter()
                    .for_each(|(bind, weight)| *sums.entry(*bind).or_default() += weight);
            }
            if count > 0.0 {
                sums.values_mut().for_each(|weight| *weight /= count);
                rows[vertex as usize] = Some(sums);
            }
        }
    }
    for vertex in 0..rows.len() {
        let row = rows[canonical[vertex] as usize].clone().map(whole);
        if rows[vertex].is_none() || canonical[vertex] as usize == vertex {
            rows[vertex] = row;
        }
    }
}

/// The row with no more weight on the other side's joints than the skin beneath has.
fn wrong_side_down(dressed: &Dressed, own: &Row, skin: &Row) -> Row {
    let layer = &dressed.layers[0];
    use crate::rig::bone::Side;
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
