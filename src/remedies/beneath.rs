//! Which weights does the skin beneath have?

use super::rows::{Row, whole};
use crate::contact::Layer;
use crate::fitting::Dressed;
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::vector::dot;
use std::collections::BTreeMap;

/// Skin counts as beneath where its normal is within 30 degrees of the cloth's (Abdrashitov and others 2023, "Robust skin
/// weights transfer via weight inpainting").
const ALIKE: f32 = 0.866;
/// And within this share of the garment's diagonal (the same).
const NEAR: f32 = 0.05;
/// Sweeps that fill weights in between where no skin was near: harmonic, after Gauss and Seidel.
const SWEEPS: usize = 400;

/// By garment vertex: the weights of the skin beneath, by the garment's binds; between skin that is near and alike filled
/// evenly along the cloth.
pub(super) fn skin_rows(dressed: &Dressed) -> Vec<Row> {
    skin_rows_by(dressed, &binds_of_body(dressed))
}

/// The same by the garment's bind for each of the body's; skin that follows a joint without one counts as unknown.
pub(super) fn skin_rows_by(dressed: &Dressed, binds: &[Option<usize>]) -> Vec<Row> {
    let (body, layer) = (&dressed.body, &dressed.layers[0]);
    let tree = BoxTree::build_tagged(&layer.body_as_built, &body.surface.triangles, &body.tags);
    let of_skin = PseudoNormals::new(&body.topology, &layer.body_as_built);
    let of_cloth = PseudoNormals::new(&layer.topology, &layer.surface.positions);
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
