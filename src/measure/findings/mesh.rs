//! What a mesh shows without any body: triangles without height, loose parts, more joints a vertex than runtimes read,
//! uneven texture.

use super::finding;
use crate::contact::Layer;
use crate::geometry::topology::Topology;
use crate::geometry::vector::{norm, sub, wide};
use crate::geometry::{corners, triangle};
use crate::measure::statistics::{least_of_worst, weighted_quantile};
use crate::outcome::{Finding, Severity};
use crate::rig::surface::Surface;
use std::collections::BTreeMap;

/// A triangle lower than this is a line, metres: vertices closer than this are welded.
const NO_HEIGHT: f64 = 1e-6;
/// Influences a vertex that every runtime reads: one JOINTS / WEIGHTS set of glTF 2.0; clients may support only one.
const READ_BY_ALL: usize = 4;
/// A piece encloses a space from this share of its area to the power of 1.5 on; a ball has 0.094.
const ENCLOSES: f64 = 0.005;
/// Texture this much larger or smaller than the garment's median is uneven.
const UNEVEN: f64 = 1.5;
/// On more than this share of the area it is worth a note.
const UNEVEN_SHARE: f64 = 0.05;

/// What the mesh itself shows.
pub(super) fn of_mesh(surface: &Surface, topology: &Topology) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend(degenerate(surface));
    findings.extend(loose_parts(surface, topology));
    findings.extend(influences(surface));
    findings
}

/// Pieces of cloth or skin that enclose a space and face into it: seen without a body, this is all that can be known.
pub(super) fn inward(surface: &Surface, topology: &Topology) -> Option<Finding> {
    let mut pieces: BTreeMap<u32, (f64, f64, usize, nalgebra::Vector3<f64>)> = BTreeMap::new();
    for (triangle, piece) in surface.triangles.iter().zip(topology.components()) {
        let [a, b, c] = triangle.map(|v| nalgebra::Vector3::from(wide(surface.positions[v as usize])));
        // Measured from the piece's first corner: where a tube is open, the sum depends on that point a little.
        let from = pieces.get(&piece).map_or(a, |known| known.3);
        let row = pieces.entry(piece).or_insert((0.0, 0.0, 0, from));
        row.0 += (a - from).dot(&(b - from).cross(&(c - from))) / 6.0;
        row.1 += (b - a).cross(&(c - a)).norm() / 2.0;
        row.2 += 1;
    }
    // A flat panel encloses next to nothing and has no inside.
    let inward: usize = pieces
        .values()
        .filter(|(volume, area, ..)| -volume > ENCLOSES * area.powf(1.5))
        .map(|(.., triangles, _)| triangles)
        .sum();
    (inward > 0).then(|| {
        finding(
            "faces_inward",
            Severity::Note,
            &surface.name,
            inward,
            String::new(),
            format!(
                "{} of the mesh face inward.",
                if inward == 1 {
                    "1 triangle".into()
                } else {
                    format!("{inward} triangles")
                }
            ),
            "Turn the normals outward; most games draw only the outer side.",
        )
    })
}

/// As a maker finds it: the vertex as numbered in the file.
fn vertex_name(surface: &Surface, vertex: u32) -> String {
    format!("vertex {}", surface.sources[vertex as usize].1)
}

/// Twice the area over the longest side, metres.
fn height(at: [[f32; 3]; 3]) -> f64 {
    let longest = (0..3)
        .map(|side| norm(sub(wide(at[side]), wide(at[(side + 1) % 3]))))
        .fold(0.0, f64::max);
    if longest > 0.0 {
        2.0 * triangle::area(at) / longest
    } else {
        0.0
    }
}

fn degenerate(surface: &Surface) -> Option<Finding> {
    let mut count = 0;
    let mut first = None;
    for triangle in &surface.triangles {
        if height(corners(&surface.positions, *triangle)) < NO_HEIGHT {
            count += 1;
            first = first.or(Some(triangle[0]));
        }
    }
    let place = vertex_name(surface, first?);
    Some(finding(
        "degenerate_triangles",
        Severity::Note,
        &surface.name,
        count,
        place.clone(),
        if count == 1 {
            format!("1 triangle has no area, at {place}.")
        } else {
            format!("{count} triangles have no area, the first at {place}.")
        },
        "Merge by distance or dissolve them; nothing is measured there.",
    ))
}

fn loose_parts(surface: &Surface, topology: &Topology) -> Option<Finding> {
    let mut parts: BTreeMap<u32, (usize, f64, u32)> = BTreeMap::new();
    for (triangle, piece) in surface.triangles.iter().zip(topology.components()) {
        let part = parts.entry(piece).or_insert((0, 0.0, triangle[0]));
        part.0 += 1;
        part.1 += triangle::area(corners(&surface.positions, *triangle));
    }
    let (triangles, area, vertex) = parts.values().min_by(|a, b| a.1.total_cmp(&b.1))?;
    (parts.len() > 1).then(|| {
        let place = vertex_name(surface, *vertex);
        finding(
            "loose_parts",
            Severity::Note,
            &surface.name,
            parts.len(),
            place.clone(),
            format!(
                "{} is in {} pieces that do not hang together; the smallest has {triangles} triangles, {:.1} cm² ({place}).",
                surface.name,
                parts.len(),
                area * 1e4
            ),
            "Right for parts that are meant to be apart, such as buttons or a body cut away under clothes; where two pieces should be one, merge the vertices between them.",
        )
    })
}

fn influences(surface: &Surface) -> Option<Finding> {
    let (mut count, mut most) = (0, (0, 0u32));
    for vertex in 0..surface.positions.len() {
        let joints = surface
            .rows
            .row(vertex)
            .filter(|(_, weight)| *weight != 0.0)
            .count();
        count += usize::from(joints > READ_BY_ALL);
        if joints > most.0 {
            most = (joints, u32::try_from(vertex).unwrap_or(u32::MAX));
        }
    }
    (count > 0).then(|| {
        let place = vertex_name(surface, most.1);
        finding(
            "influences_over_four",
            Severity::Note,
            &surface.name,
            count,
            place.clone(),
            format!(
                "{count} vertices follow more than {READ_BY_ALL} joints, up to {} ({place}).",
                most.0
            ),
            "All of them are used here; many runtimes read only four. Limit them if yours does, and test that file.",
        )
    })
}

/// Whether the print is much larger in one place than in another before anything moves.
pub(super) fn uneven_texture(layer: &Layer) -> Option<Finding> {
    // Each mesh has a texture of its own: sizes are compared within one.
    let mut by_mesh: BTreeMap<u32, Vec<(f64, f64, usize)>> = BTreeMap::new();
    for (triangle, print) in layer.cloth.prints.iter().enumerate() {
        let (Some(print), true) = (print, layer.areas[triangle] > 0.0) else {
            continue;
        };
        let mesh = layer.surface.sources[layer.surface.triangles[triangle][0] as usize].0;
        let length = print.at_bind().area_ratio().sqrt();
        by_mesh
            .entry(mesh)
            .or_default()
            .push((length, layer.areas[triangle], triangle));
    }
    let mut off: Vec<(f64, f64)> = Vec::new();
    let mut worst: Option<(f64, usize)> = None;
    for rows in by_mesh.values() {
        let pairs: Vec<(f64, f64)> = rows.iter().map(|row| (row.0, row.1)).collect();
        let median = weighted_quantile(&pairs, 0.5)?;
        for &(length, area, triangle) in rows {
            let by = (length / median).max(median / length);
            off.push((by, area));
            if worst.is_none_or(|(most, _)| by > most) {
                worst = Some((by, triangle));
            }
        }
    }
    let over: f64 = off
        .iter()
        .filter(|pair| pair.0 > UNEVEN)
        .fold(0.0, |sum, pair| sum + pair.1);
    let count = off.iter().filter(|pair| pair.0 > UNEVEN).count();
    let share = over / layer.area().max(1e-12);
    let (_, triangle) = worst.filter(|_| share > UNEVEN_SHARE)?;
    let [p99] = least_of_worst(&mut off, [0.01 * layer.area()], 1.0);
    let place = vertex_name(&layer.surface, layer.surface.triangles[triangle][0]);
    Some(finding(
        "texture_uneven",
        Severity::Note,
        &layer.surface.name,
        count,
        place.clone(),
        format!(
            "The print is {UNEVEN} times larger or smaller than usual on {:.0} % of this garment as built, up to {:.1} times on its worst hundredth (worst at {place}).",
            share * 100.0,
            p99.unwrap_or(1.0)
        ),
        "Even out the UVs if the print should look the same everywhere; what poses change comes on top.",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_has_no_height() {
        assert_eq!(height([[0.0; 3], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]]), 0.0);
        assert_eq!(height([[0.5; 3]; 3]), 0.0);
        let low = height([[0.0; 3], [0.02, 0.0, 0.0], [0.01, 1e-4, 0.0]]);
        assert!((low - 1e-4).abs() < 1e-9);
    }
}
