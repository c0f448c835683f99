//! How is a strip made into cloth? Inner sheets at the edges, four panels, and their flat pattern.

use super::strip::Strip;
use super::weights::Row;
use nalgebra::{Vector2, Vector3};

type Point = Vector3<f64>;

/// Which rows of the strip the cloth has, in order, and how far each lies inside the outer face (metres).
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Finish {
    rows: Vec<(usize, f64)>,
}

impl Finish {
    /// Outer cloth, turned in at both ends over `turned` rows.
    pub(super) fn hemmed(count: usize, thickness: f64, turned: usize) -> Self {
        let last = count - 1;
        let mut rows: Vec<(usize, f64)> = (0..=turned).rev().map(|row| (row, thickness)).collect();
        rows.extend((0..count).map(|row| (row, 0.0)));
        rows.extend((0..=turned).map(|row| (last - row, thickness)));
        Self { rows }
    }

    /// An outer and an inner sheet all over, joined at the hems.
    pub(super) fn lined(count: usize, thickness: f64) -> Self {
        let mut rows: Vec<(usize, f64)> = (0..count).map(|row| (row, 0.0)).collect();
        rows.extend((0..count).rev().map(|row| (row, thickness)));
        rows.push((0, 0.0));
        Self { rows }
    }

    /// For a lined cloth, the inner twin of outer row `row`.
    fn twin(&self, row: usize) -> Option<usize> {
        let count = (self.rows.len() - 1) / 2;
        (self.rows[0].1 == 0.0 && row < count).then(|| 2 * count - 1 - row)
    }
}

/// One vertex of the finished cloth.
#[derive(Clone, Debug)]
pub(super) struct ClothVertex {
    pub(super) point: Point,
    pub(super) uv: [f32; 2],
    pub(super) row: Row,
    /// On the right half: its joints are the mirror images of `row`'s.
    pub(super) mirrored: bool,
}

/// The finished cloth.
#[derive(Clone, Debug, Default)]
pub(super) struct Panels {
    pub(super) vertices: Vec<ClothVertex>,
    pub(super) triangles: Vec<[u32; 3]>,
    /// Metres of cloth along one side of the texture square.
    pub(super) side: f64,
}

/// Gap between the panels of the flat pattern, metres.
const GAP: f64 = 0.02;
/// A neckline's band lies this far beside its panel, within the gap, metres.
const BESIDE: f64 = 0.004;

/// Front and back panels of both halves, each with vertices of its own along the seams.
pub(super) fn lay_out(strip: &Strip, normals: &[Vec<Point>], rows: &[Vec<Row>], finish: &Finish) -> Panels {
    let mut pieces = Vec::new();
    for (first, last) in [(0, strip.front), (strip.front, strip.front + strip.back)] {
        let grid: Vec<Vec<Point>> = finish
            .rows
            .iter()
            .map(|(row, inward)| {
                (first..=last)
                    .map(|column| strip.rows[*row][column] - normals[*row][column] * *inward)
                    .collect()
            })
            .collect();
        let flat = flatten(&grid);
        pieces.push((first, grid, flat));
    }
    let mut panels = Panels::default();
    let wide: f64 = pieces
        .iter()
        .map(|(_, _, flat)| extent(flat, 0)[1] + GAP)
        .sum::<f64>()
        * 2.0
        + GAP;
    let tall = pieces
        .iter()
        .map(|(_, _, flat)| extent(flat, 1)[1])
        .fold(0.0, f64::max)
        + 2.0 * GAP;
    panels.side = wide.max(tall);
    let mut offset = GAP;
    for mirrored in [false, true] {
        for (first, grid, flat) in &pieces {
            let width = extent(flat, 0)[1];
            let base = panels.vertices.len() as u32;
            emit(
                &mut panels,
                grid,
                flat,
                mirrored != strip.upward,
                mirrored,
                offset,
                |r, c| rows[finish.rows[r].0][first + c].clone(),
            );
            bind_neckline(
                &mut panels,
                strip,
                finish,
                grid[0].len(),
                (base, *first == 0),
                mirrored != strip.upward,
                offset + width + BESIDE,
            );
            offset += width + GAP;
        }
    }
    panels
}

fn extent(flat: &[Vec<Vector2<f64>>], axis: usize) -> [f64; 2] {
    let values = flat.iter().flatten().map(|p| p[axis]);
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], value| {
        [low.min(value), high.max(value)]
    })
}

fn emit(
    panels: &mut Panels,
    grid: &[Vec<Point>],
    flat: &[Vec<Vector2<f64>>],
    flipped: bool,
    mirrored: bool,
    offset: f64,
    row_at: impl Fn(usize, usize) -> Row,
) {
    let base = panels.vertices.len() as u32;
    let columns = grid[0].len();
    let width = extent(flat, 0)[1];
    for (r, line) in grid.iter().enumerate() {
        for (c, point) in line.iter().enumerate() {
            let x = if mirrored && point.x != 0.0 {
                -point.x
            } else {
                point.x
            };
            let across = if mirrored {
                width - flat[r][c].x
            } else {
                flat[r][c].x
            };
            let uv = [
                ((offset + across) / panels.side) as f32,
                ((GAP + flat[r][c].y) / panels.side) as f32,
            ];
            let point = Vector3::new(x, point.y, point.z);
            panels.vertices.push(ClothVertex {
                point,
                uv,
                row: row_at(r, c),
                mirrored,
            });
        }
    }
    let index = |r: usize, c: usize| base + (r * columns + c) as u32;
    for r in 0..grid.len() - 1 {
        for c in 0..columns - 1 {
            let [a, b, d, e] = [index(r, c), index(r + 1, c), index(r, c + 1), index(r + 1, c + 1)];
            let pair = halves(grid, r, c).map(|half| half.map(|corner| [a, b, d, e][corner]));
            panels
                .triangles
                .extend(pair.map(|[p, q, s]| if flipped { [p, s, q] } else { [p, q, s] }));
        }
    }
}

/// Joins the two sheets of a lined garment along its neckline (rows whose ends are free) by a band with vertices and a
/// strip of the pattern of its own, at `left` metres.
fn bind_neckline(
    panels: &mut Panels,
    strip: &Strip,
    finish: &Finish,
    columns: usize,
    (base, at_front): (u32, bool),
    flipped: bool,
    left: f64,
) {
    let column = if at_front { 0 } else { columns - 1 };
    let end = if at_front { 0 } else { strip.front + strip.back };
    let index = |row: usize| base as usize + row * columns + column;
    // The band's texture lies as the panels' does: its outer edge left or right of the inner one.
    let outer_first = flipped != at_front;
    let mut down = GAP;
    for row in 0..strip.rows.len() - 1 {
        let free = strip.rows[row + 1][end].x > 0.0 && !strip.round[row] && !strip.round[row + 1];
        let (Some(inner), true) = (finish.twin(row), free) else {
            continue;
        };
        let corners = [index(row), index(row + 1), index(inner - 1), index(inner)];
        let corners = corners.map(|vertex| panels.vertices[vertex].clone());
        let [outer, next, _, within] = [0, 1, 2, 3].map(|corner: usize| corners[corner].point);
        let (wide, long) = ((within - outer).norm(), (next - outer).norm());
        let [near, far] = if outer_first { [0.0, wide] } else { [wide, 0.0] };
        let places = [[near, down], [near, down + long], [far, down + long], [far, down]];
        down += long;
        let first = panels.vertices.len() as u32;
        for (corner, [across, at]) in corners.into_iter().zip(places) {
            let uv = [((left + across) / panels.side) as f32, (at / panels.side) as f32];
            panels.vertices.push(ClothVertex { uv, ..corner });
        }
        let [a, b, c, d] = [0, 1, 2, 3].map(|corner| first + corner);
        let pair = [[a, c, b], [a, d, c]];
        panels
            .triangles
            .extend(pair.map(|[p, q, s]| if outer_first { [p, q, s] } else { [p, s, q] }));
    }
}

/// Rounds of the flattening.
const ROUNDS: usize = 120;

/// Lays a panel flat so that threads keep their length as well as they can: straight rows first, then springs.
fn flatten(grid: &[Vec<Point>]) -> Vec<Vec<Vector2<f64>>> {
    let (rows, columns) = (grid.len(), grid[0].len());
    let middle = columns / 2;
    let mut flat = vec![vec![Vector2::zeros(); columns]; rows];
    let mut down = 0.0;
    for r in 0..rows {
        if r > 0 {
            down += (grid[r][middle] - grid[r - 1][middle]).norm();
        }
        flat[r][middle] = Vector2::new(0.0, down);
        for c in middle + 1..columns {
            flat[r][c] = Vector2::new(flat[r][c - 1].x + (grid[r][c] - grid[r][c - 1]).norm(), down);
        }
        for c in (0..middle).rev() {
            flat[r][c] = Vector2::new(flat[r][c + 1].x - (grid[r][c] - grid[r][c + 1]).norm(), down);
        }
    }
    for round in 0..ROUNDS {
        for step in 0..rows * columns {
            // To and fro, so that no side leads.
            let at = if round % 2 == 0 {
                step
            } else {
                rows * columns - 1 - step
            };
            relax(&mut flat, grid, (at / columns, at % columns));
        }
    }
    let (left, top) = (extent(&flat, 0)[0], extent(&flat, 1)[0]);
    flat.iter_mut()
        .flatten()
        .for_each(|p| *p -= Vector2::new(left, top));
    flat
}

/// The two triangles of a cell, along its shorter diagonal: corners 0 here, 1 below, 2 beside, 3 across.
fn halves(grid: &[Vec<Point>], r: usize, c: usize) -> [[usize; 3]; 2] {
    let short = (grid[r][c] - grid[r + 1][c + 1]).norm() < (grid[r + 1][c] - grid[r][c + 1]).norm();
    if short {
        [[0, 1, 3], [0, 3, 2]]
    } else {
        [[0, 1, 2], [1, 3, 2]]
    }
}

/// Moves a point to where its threads have their length, as far as no triangle round it turns over: at the tips where
/// rows crowd, threads alone would fold the pattern.
fn relax(flat: &mut [Vec<Vector2<f64>>], grid: &[Vec<Point>], (r, c): (usize, usize)) {
    let here = flat[r][c];
    let (mut sum, mut count) = (Vector2::zeros(), 0.0);
    for row in r.saturating_sub(1)..=(r + 1).min(grid.len() - 1) {
        for column in c.saturating_sub(1)..=(c + 1).min(grid[0].len() - 1) {
            let apart = here - flat[row][column];
            let long = apart.norm();
            if long > 1e-9 {
                sum += flat[row][column] + apart * ((grid[r][c] - grid[row][column]).norm() / long);
                count += 1.0;
            }
        }
    }
    if count == 0.0 {
        return;
    }
    let wanted = sum / count - here;
    let before = least_area(flat, grid, (r, c));
    for share in [1.0, 0.5, 0.2, 0.05] {
        flat[r][c] = here + wanted * share;
        if least_area(flat, grid, (r, c)) >= before.min(SLIVER) {
            return;
        }
    }
    flat[r][c] = here;
}

/// Triangles of the pattern are kept at least this large, twice their area in square metres.
const SLIVER: f64 = 1e-7;

/// Twice the area of the smallest triangle at a point, square metres; negative where it is turned over.
fn least_area(flat: &[Vec<Vector2<f64>>], grid: &[Vec<Point>], (r, c): (usize, usize)) -> f64 {
    let mut least = f64::INFINITY;
    for row in r.saturating_sub(1)..=r.min(grid.len() - 2) {
        for column in c.saturating_sub(1)..=c.min(grid[0].len() - 2) {
            let places =
                [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(down, beside)| flat[row + down][column + beside]);
            for [p, q, s] in halves(grid, row, column).map(|half| half.map(|corner| places[corner])) {
                // Rows go down and columns to the right: seen so, the corners go round the other way.
                least = least.min((s - p).perp(&(q - p)));
            }
        }
    }
    least
}
