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
            let short = (grid[r][c] - grid[r + 1][c + 1]).norm() < (grid[r + 1][c] - grid[r][c + 1]).norm();
            let pair = if short {
                [[a, b, e], [a, e, d]]
            } else {
                [[a, b, d], [b, e, d]]
            };
            panels
                .triangles
                .extend(pair.map(|[p, q, s]| if flipped { [p, s, q] } else { [p, q, s] }));
        }
    }
}

/// Joins the two sheets of a lined garment along its neckline: rows whose ends are free.
fn bind_neckline(
    panels: &mut Panels,
    strip: &Strip,
    finish: &Finish,
    columns: usize,
    (base, at_front): (u32, bool),
    flipped: bool,
) {
    let column = if at_front { 0 } else { columns - 1 };
    let end = if at_front { 0 } else { strip.front + strip.back };
    for row in 0..strip.rows.len() - 1 {
        let free = strip.rows[row + 1][end].x > 0.0 && !strip.round[row] && !strip.round[row + 1];
        let (Some(inner), true) = (finish.twin(row), free) else {
            continue;
        };
        let index = |row: usize| base + (row * columns + column) as u32;
        let [a, b, c, d] = [index(row), index(row + 1), index(inner - 1), index(inner)];
        let pair = [[a, c, b], [a, d, c]];
        panels
            .triangles
            .extend(pair.map(|[p, q, s]| if flipped != at_front { [p, q, s] } else { [p, s, q] }));
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
    for _ in 0..ROUNDS {
        for r in 0..rows {
            for c in 0..columns {
                for (dr, dc) in [(0, 1), (1, 0), (1, 1)] {
                    if r + dr < rows && c + dc < columns {
                        pull(&mut flat, grid, (r, c), (r + dr, c + dc));
                    }
                }
                if r + 1 < rows && c > 0 {
                    pull(&mut flat, grid, (r, c), (r + 1, c - 1));
                }
            }
        }
    }
    let (left, top) = (extent(&flat, 0)[0], extent(&flat, 1)[0]);
    flat.iter_mut()
        .flatten()
        .for_each(|p| *p -= Vector2::new(left, top));
    flat
}

fn pull(flat: &mut [Vec<Vector2<f64>>], grid: &[Vec<Point>], a: (usize, usize), b: (usize, usize)) {
    let rest = (grid[a.0][a.1] - grid[b.0][b.1]).norm();
    let apart = flat[b.0][b.1] - flat[a.0][a.1];
    let long = apart.norm();
    if long > 1e-9 {
        let share = apart * (0.25 * (long - rest) / long);
        flat[a.0][a.1] += share;
        flat[b.0][b.1] -= share;
    }
}
