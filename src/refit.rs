//! Was a garment pulled evenly onto another body? Two files of one topology, before and after; no skin is needed.
//!
//! Stretch is the singular values of the gradient from the shape before to the shape after (Sander et al. 2001), for each
//! triangle; against the UVs it is how the print lies on the cloth.

use crate::contact::Body;
use crate::geometry::stretch::RestFrame;
use crate::geometry::topology::Topology;
use crate::geometry::{corners, triangle, weld};
use crate::measure::statistics::weighted_quantile;
use crate::rig::surface::Surface;
use crate::rig::{Rig, surface};
use serde::Serialize;
use std::collections::BTreeMap;

pub mod worn; // room on the new body

/// What was found. The shape of `gusset refit --format json`.
#[derive(Clone, Debug, Serialize)]
pub struct Refit {
    /// 1.
    pub schema_version: u32,
    /// Name of the garment before.
    pub before: String,
    /// Name of the garment after.
    pub after: String,
    /// Of the whole garment.
    pub whole: Pull,
    /// By place: height bands and sides, or a body's regions where one is given.
    pub regions: BTreeMap<String, Pull>,
    /// Left against right: the most and the mean difference in stretch of mirrored triangles; absent where the shape
    /// before has no mirror image in itself.
    pub sides: Option<Sides>,
    /// Room on the new body, where one was named.
    pub worn: Option<worn::Worn>,
    /// By triangle of the garment: larger and smaller stretch.
    #[serde(skip)]
    pub triangles: Vec<[f64; 2]>,
}

/// How a stretch of cloth was pulled.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Pull {
    /// Before.
    pub area_cm2: f64,
    /// After over before.
    pub area_ratio: f64,
    /// The larger stretch: median, but for the worst hundredth, the most.
    pub median: f64,
    /// See `median`.
    pub p99: f64,
    /// See `median`.
    pub most: f64,
    /// The smaller stretch but for the least hundredth: under 1 it was pushed together.
    pub least_p01: f64,
    /// Along the print's U and V: medians; absent without UVs.
    pub u: Option<f64>,
    /// See `u`.
    pub v: Option<f64>,
    /// How many times longer the print is one way than the other, after over before, but for the worst hundredth.
    pub smear_p99: Option<f64>,
}

/// Left against right.
#[derive(Clone, Debug, Serialize)]
pub struct Sides {
    /// Share of the area that has a mirror image, 0 to 1.
    pub paired_share: f64,
    /// Mean stretch on the wearer's left.
    pub left: f64,
    /// Mean stretch on the wearer's right.
    pub right: f64,
    /// Difference of the larger stretch between a triangle and its mirror image: by area, but for the worst hundredth.
    pub unlike_p99: f64,
}

/// Why two files are no refit of each other.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Unlike(pub String);

/// The cloth of a file as bound, with everything in it.
pub fn cloth(rig: &Rig) -> Surface {
    let all: Vec<usize> = (0..rig.meshes.len()).collect();
    surface::assemble(rig, &all, &rig.name)
}

/// Compares two shapes of one topology.
///
/// # Errors
/// The triangles differ.
pub fn refit(before: &Surface, after: &Surface, body: Option<&Body>) -> Result<Refit, Unlike> {
    same_topology(before, after)?;
    let rows = rows(before, after);
    let beneath = body.map(worn::Beneath::new);
    let place = |number: usize| match &beneath {
        Some(beneath) => beneath.region(triangle::centre(corners(
            &after.positions,
            after.triangles[number],
        ))),
        None => place(before, number),
    };
    let mut by_place: BTreeMap<String, Vec<&Row>> = BTreeMap::new();
    for (number, row) in rows.iter().enumerate().filter(|(_, row)| row.counts()) {
        by_place.entry(place(number)).or_default().push(row);
    }
    let all: Vec<&Row> = rows.iter().filter(|row| row.counts()).collect();
    Ok(Refit {
        schema_version: 1,
        before: before.name.clone(),
        after: after.name.clone(),
        whole: pull(&all),
        regions: by_place
            .into_iter()
            .map(|(name, rows)| (name, pull(&rows)))
            .collect(),
        sides: sides(before, &rows),
        worn: body.map(|body| worn::worn(after, body)),
        triangles: rows.iter().map(|row| row.stretch).collect(),
    })
}

fn same_topology(before: &Surface, after: &Surface) -> Result<(), Unlike> {
    let say = |what: String| {
        Err(Unlike(format!(
            "{what}; a refit keeps every vertex and triangle: export both from the same mesh, in the same order"
        )))
    };
    if before.triangles.is_empty() {
        return say(format!("{} has no triangles", before.name));
    }
    if before.positions.len() != after.positions.len() || before.triangles.len() != after.triangles.len() {
        return say(format!(
            "{} has {} vertices and {} triangles, {} has {} and {}",
            before.name,
            before.positions.len(),
            before.triangles.len(),
            after.name,
            after.positions.len(),
            after.triangles.len()
        ));
    }
    match before
        .triangles
        .iter()
        .zip(&after.triangles)
        .position(|(a, b)| a != b)
    {
        Some(first) => say(format!(
            "triangle {first} joins other vertices in {} than in {}",
            after.name, before.name
        )),
        None => Ok(()),
    }
}

/// One triangle.
struct Row {
    area: f64,
    after: f64,
    stretch: [f64; 2],
    print: Option<[f64; 3]>,
}

impl Row {
    fn counts(&self) -> bool {
        self.area > 0.0 && self.stretch.iter().all(|value| value.is_finite())
    }
}

fn rows(before: &Surface, after: &Surface) -> Vec<Row> {
    before
        .triangles
        .iter()
        .map(|&t| {
            let (then, now) = (corners(&before.positions, t), corners(&after.positions, t));
            let print = before.uvs.as_ref().and_then(|uvs| {
                let flat = t.map(|vertex| uvs[vertex as usize].map(f64::from));
                let frame = RestFrame::from_flat(flat);
                let (was, is) = (frame.metric(then), frame.metric(now));
                let [u, v] = std::array::from_fn(|k| is.along()[k] / was.along()[k]);
                let lopsided = |metric: crate::geometry::stretch::Metric| {
                    let [most, least] = metric.principal();
                    most / least
                };
                let smear = lopsided(is) / lopsided(was);
                [u, v, smear]
                    .iter()
                    .all(|value: &f64| value.is_finite())
                    .then_some([u, v, smear])
            });
            Row {
                area: triangle::area(then),
                after: triangle::area(now),
                stretch: RestFrame::new(then).stretches(now),
                print,
            }
        })
        .collect()
}

fn pull(rows: &[&Row]) -> Pull {
    let of = |value: &dyn Fn(&Row) -> Option<f64>| -> Vec<(f64, f64)> {
        rows.iter()
            .filter_map(|row| Some((value(row)?, row.area)))
            .collect()
    };
    let quantile = |pairs: &[(f64, f64)], share: f64| weighted_quantile(pairs, share);
    let (larger, smaller) = (of(&|row| Some(row.stretch[0])), of(&|row| Some(row.stretch[1])));
    let print = |at: usize| of(&|row| Some(row.print?[at]));
    let area: f64 = rows.iter().map(|row| row.area).sum();
    Pull {
        area_cm2: area * 1e4,
        area_ratio: rows.iter().map(|row| row.after).sum::<f64>() / area,
        median: quantile(&larger, 0.5).unwrap_or(1.0),
        p99: quantile(&larger, 0.99).unwrap_or(1.0),
        most: larger.iter().map(|pair| pair.0).fold(0.0, f64::max),
        least_p01: quantile(&smaller, 0.01).unwrap_or(1.0),
        u: quantile(&print(0), 0.5),
        v: quantile(&print(1), 0.5),
        smear_p99: quantile(&print(2), 0.99),
    }
}

/// Which part of the garment a triangle is on: fifths of its height, left, middle or right of its middle.
fn place(before: &Surface, number: usize) -> String {
    let centre = |t: [u32; 3]| triangle::centre(corners(&before.positions, t));
    let (low, high) = before
        .positions
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| {
            (low.min(f64::from(p[1])), high.max(f64::from(p[1])))
        });
    let at = centre(before.triangles[number]);
    let share = (at[1] - low) / (high - low).max(1e-9);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 4")]
    let fifth = ((share * 5.0) as usize).min(4);
    let height = [
        "lowest fifth",
        "second fifth from below",
        "middle",
        "second fifth from above",
        "top fifth",
    ][fifth];
    let side = if at[0] >= 0.0 { "left" } else { "right" };
    let depth = if at[2] >= 0.0 { "front" } else { "back" };
    format!("{height}, {side} {depth}")
}

/// Mirrored triangles are less than this apart, metres.
const MIRRORED: f32 = 0.002;

/// A triangle's mirror image is the one whose centre lies where its own does in a mirror.
fn sides(before: &Surface, rows: &[Row]) -> Option<Sides> {
    let centres: Vec<[f32; 3]> = before
        .triangles
        .iter()
        .map(|&t| crate::geometry::vector::narrow(triangle::centre(corners(&before.positions, t))))
        .collect();
    let key = |p: [f32; 3]| {
        p.map(|value| {
            #[expect(clippy::cast_possible_truncation, reason = "a few metres in cells of 2 mm")]
            let cell = (value / MIRRORED).floor() as i32;
            cell
        })
    };
    let mut cells: BTreeMap<[i32; 3], Vec<usize>> = BTreeMap::new();
    for (number, centre) in centres.iter().enumerate() {
        cells.entry(key(*centre)).or_default().push(number);
    }
    let mirror = |number: usize| {
        let [x, y, z] = centres[number];
        let there = [-x, y, z];
        let [cx, cy, cz] = key(there);
        let near = (-1..=1)
            .flat_map(move |i| (-1..=1).flat_map(move |j| (-1..=1).map(move |k| [cx + i, cy + j, cz + k])));
        let off = |other: usize| {
            (0..3)
                .map(|axis| (centres[other][axis] - there[axis]).powi(2))
                .sum::<f32>()
        };
        near.filter_map(|cell| cells.get(&cell))
            .flatten()
            .copied()
            .map(|other| (off(other), other))
            .filter(|(off, _)| *off < MIRRORED * MIRRORED)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, other)| other)
    };
    let mut unlike: Vec<(f64, f64)> = Vec::new();
    let mut means = [(0.0, 0.0); 2];
    let total: f64 = rows.iter().filter(|row| row.counts()).map(|row| row.area).sum();
    for (number, row) in rows.iter().enumerate().filter(|(_, row)| row.counts()) {
        let mean = &mut means[usize::from(centres[number][0] < 0.0)];
        mean.0 += row.stretch[0] * row.area;
        mean.1 += row.area;
        if let Some(other) = mirror(number).filter(|other| rows[*other].counts()) {
            unlike.push(((row.stretch[0] - rows[other].stretch[0]).abs(), row.area));
        }
    }
    let paired_share = unlike.iter().map(|pair| pair.1).sum::<f64>() / total;
    let [left, right] = means.map(|(sum, area)| sum / area);
    let unlike_p99 = weighted_quantile(&unlike, 0.99)?;
    (paired_share > 0.5).then_some(Sides {
        paired_share,
        left,
        right,
        unlike_p99,
    })
}

/// Area-weighted mean of the larger stretch round each vertex, for a picture; NaN where there is none.
#[expect(clippy::cast_possible_truncation, reason = "for pictures")]
pub fn per_vertex(surface: &Surface, stretch: &[[f64; 2]]) -> Vec<f32> {
    let canonical = weld::weld(&surface.positions, weld::TOLERANCE);
    let topology = Topology::new(&surface.triangles, &canonical);
    let mut sums = vec![(0.0f64, 0.0f64); surface.positions.len()];
    for (number, &t) in surface.triangles.iter().enumerate() {
        let area = triangle::area(corners(&surface.positions, t));
        if stretch[number][0].is_finite() {
            for vertex in t {
                let sum = &mut sums[topology.canonical()[vertex as usize] as usize];
                sum.0 += stretch[number][0] * area;
                sum.1 += area;
            }
        }
    }
    let mean = |&vertex: &u32| {
        let (sum, area) = sums[vertex as usize];
        if area > 0.0 { (sum / area) as f32 } else { f32::NAN }
    };
    canonical.iter().map(mean).collect()
}
