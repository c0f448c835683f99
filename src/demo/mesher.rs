//! Which triangles make the mannequin's skin? Surface nets on half the body, pulled onto the surface and mirrored.
//!
//! Surface nets (Gibson 1998): one vertex for each sheet of the surface in a grid cell, one quadrilateral for each
//! grid edge. The first cell column is a thin slab round the middle plane, so its vertices lie exactly on the plane
//! and the legs, which keep their distance from it, cannot be joined by a cell.

use super::shape::{HALF_GAP, gradient};
use nalgebra::Vector3;
use rayon::prelude::*;

type Point = Vector3<f64>;

/// A closed surface whose right half is the exact mirror image of its left.
#[derive(Clone, Debug, Default)]
pub(super) struct Skin {
    /// Left half, the middle included, first.
    pub(super) points: Vec<Point>,
    /// Counter-clockwise seen from outside.
    pub(super) triangles: Vec<[u32; 3]>,
    /// For each vertex its mirror image; itself on the middle.
    pub(super) mirror: Vec<u32>,
    /// Number of vertices of the left half with the middle.
    pub(super) half: usize,
}

/// The box to mesh (left half) and the edge length, metres.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grid {
    pub(super) low: Point,
    pub(super) high: Point,
    pub(super) edge: f64,
}

struct Samples {
    xs: Vec<f64>,
    counts: [usize; 3],
    values: Vec<f32>,
    grid: Grid,
}

impl Samples {
    fn take(grid: &Grid, distance: &(impl Fn(&Point) -> f64 + Sync)) -> Self {
        let count = |axis: usize| ((grid.high[axis] - grid.low[axis]) / grid.edge).ceil() as usize + 1;
        let slab = HALF_GAP * 0.6;
        let mut xs = vec![-slab, slab];
        xs.extend((1..count(0)).map(|column| slab + grid.edge * column as f64));
        let counts = [xs.len(), count(1), count(2)];
        let values = (0..counts[1])
            .into_par_iter()
            .map(|row| {
                let mut sheet = Vec::with_capacity(counts[0] * counts[2]);
                let y = grid.low.y + grid.edge * row as f64;
                for x in &xs {
                    for depth in 0..counts[2] {
                        let z = grid.low.z + grid.edge * depth as f64;
                        sheet.push(distance(&Vector3::new(x.abs(), y, z)) as f32);
                    }
                }
                sheet
            })
            .collect::<Vec<_>>()
            .concat();
        Self {
            xs,
            counts,
            values,
            grid: *grid,
        }
    }

    fn value(&self, [column, row, depth]: [usize; 3]) -> f32 {
        self.values[(row * self.counts[0] + column) * self.counts[2] + depth]
    }

    fn point(&self, [column, row, depth]: [usize; 3]) -> Point {
        let edge = self.grid.edge;
        Vector3::new(
            self.xs[column],
            self.grid.low.y + edge * row as f64,
            self.grid.low.z + edge * depth as f64,
        )
    }

    /// Which of the cell's twelve edges (axis x 4 + offsets across it) the surface crosses, and where.
    fn crossings(&self, cell: [usize; 3]) -> [Option<Point>; 12] {
        std::array::from_fn(|edge| {
            let axis = edge / 4;
            let mut a = cell;
            a[(axis + 1) % 3] += edge & 1;
            a[(axis + 2) % 3] += (edge >> 1) & 1;
            let mut b = a;
            b[axis] += 1;
            let (low, high) = (f64::from(self.value(a)), f64::from(self.value(b)));
            ((low < 0.0) != (high < 0.0)).then(|| {
                let (start, end) = (self.point(a), self.point(b));
                start + (end - start) * (low / (low - high))
            })
        })
    }

    /// Groups a cell's crossed edges into the sheets that pass through it (Nielson 2004): on a face crossed four
    /// times, each inside corner is cut off by itself. Returns a group number for each edge.
    fn sheets(&self, cell: [usize; 3], crossed: &[Option<Point>; 12]) -> [usize; 12] {
        let mut group: [usize; 12] = std::array::from_fn(|edge| edge);
        let mut join = |a: usize, b: usize| {
            let (keep, drop) = (group[a].min(group[b]), group[a].max(group[b]));
            group
                .iter_mut()
                .filter(|of| **of == drop)
                .for_each(|of| *of = keep);
        };
        for face in 0..6 {
            let (n, side) = (face / 2, face % 2);
            let (u, v) = ((n + 1) % 3, (n + 2) % 3);
            // edges along u have offsets (v, n), edges along v have offsets (n, u)
            let (along_u, along_v) = (|j: usize| u * 4 + j + 2 * side, |i: usize| v * 4 + side + 2 * i);
            let edges = [along_u(0), along_u(1), along_v(0), along_v(1)];
            let cut: Vec<usize> = edges
                .into_iter()
                .filter(|edge| crossed[*edge].is_some())
                .collect();
            if let [a, b] = cut[..] {
                join(a, b);
            } else if cut.len() == 4 {
                for (i, j) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                    let mut corner = cell;
                    corner[n] += side;
                    corner[u] += i;
                    corner[v] += j;
                    if self.value(corner) < 0.0 {
                        join(along_u(j), along_v(i));
                    }
                }
            }
        }
        group
    }
}

/// How many grids are tried: a cell that two sheets cross (between thumb and palm) would pinch the surface.
const TRIES: i32 = 8;

/// Whether each edge has two faces and Euler's number is that of a sphere.
fn is_sphere(skin: &Skin, quads: &[[u32; 4]]) -> bool {
    let image = |[a, b, c, d]: [u32; 4]| [d, c, b, a].map(|vertex| skin.mirror[vertex as usize]);
    let mut edges: Vec<(u32, u32)> = quads
        .iter()
        .flat_map(|quad| [*quad, image(*quad)])
        .flat_map(|quad| (0..4).map(move |corner| (quad[corner], quad[(corner + 1) % 4])))
        .map(|(a, b)| (a.min(b), a.max(b)))
        .collect();
    edges.sort_unstable();
    let paired = edges.chunk_by(|a, b| a == b).all(|same| same.len() == 2);
    paired && skin.points.len() + 2 * quads.len() == edges.len() / 2 + 2
}

/// Meshes the surface `distance` = 0 inside the grid's box.
pub(super) fn mesh(grid: &Grid, distance: &(impl Fn(&Point) -> f64 + Sync)) -> Skin {
    let mut tried = 0;
    let (mut skin, quads) = loop {
        let shift = grid.edge * 0.37 * f64::from(tried);
        let moved = Grid {
            low: grid.low - Vector3::new(0.0, shift, 0.6 * shift),
            ..*grid
        };
        let (half_points, quads) = nets(&Samples::take(&moved, distance));
        let skin = mirrored(half_points);
        tried += 1;
        if tried == TRIES || is_sphere(&skin, &quads) {
            break (skin, quads);
        }
    };
    relax(&mut skin, &quads, distance);
    skin.triangles = triangles(&skin, &quads);
    skin
}

fn nets(samples: &Samples) -> (Vec<Point>, Vec<[u32; 4]>) {
    let [columns, rows, depths] = samples.counts;
    let mut index = vec![u32::MAX; columns * rows * depths];
    let slot = |[column, row, depth]: [usize; 3]| (row * columns + column) * depths + depth;
    let mut points = Vec::new();
    // for each crossed cell the vertex of each of its edges
    let mut vertices: Vec<[u32; 12]> = Vec::new();
    for row in 0..rows - 1 {
        for column in 0..columns - 1 {
            for depth in 0..depths - 1 {
                let cell = [column, row, depth];
                let crossed = samples.crossings(cell);
                if crossed.iter().all(Option::is_none) {
                    continue;
                }
                let groups = samples.sheets(cell, &crossed);
                let mut of_edge = [u32::MAX; 12];
                for group in 0..12 {
                    let hits = (0..12).filter(|edge| groups[*edge] == group);
                    let hits: Vec<Point> = hits.filter_map(|edge| crossed[edge]).collect();
                    if hits.is_empty() {
                        continue;
                    }
                    let mut point = hits.iter().sum::<Point>() / hits.len() as f64;
                    if column == 0 {
                        point.x = 0.0;
                    }
                    (0..12)
                        .filter(|edge| groups[*edge] == group)
                        .for_each(|edge| of_edge[edge] = points.len() as u32);
                    points.push(point);
                }
                index[slot(cell)] = vertices.len() as u32;
                vertices.push(of_edge);
            }
        }
    }
    let mut quads = Vec::new();
    for row in 1..rows - 1 {
        for column in 1..columns - 1 {
            for depth in 1..depths - 1 {
                let at = [column, row, depth];
                let inside = samples.value(at) < 0.0;
                for axis in 0..3 {
                    let mut next = at;
                    next[axis] += 1;
                    if (samples.value(next) < 0.0) == inside {
                        continue;
                    }
                    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
                    let cell = |du: usize, dv: usize| {
                        let mut cell = at;
                        cell[u] -= du;
                        cell[v] -= dv;
                        vertices[index[slot(cell)] as usize][axis * 4 + du + 2 * dv]
                    };
                    let ring = [cell(1, 1), cell(0, 1), cell(0, 0), cell(1, 0)];
                    quads.push(if inside {
                        ring
                    } else {
                        [ring[3], ring[2], ring[1], ring[0]]
                    });
                }
            }
        }
    }
    (points, quads)
}

fn mirrored(half: Vec<Point>) -> Skin {
    let count = half.len();
    let mut points = half;
    let mut mirror = vec![0_u32; count];
    for vertex in 0..count {
        if points[vertex].x == 0.0 {
            mirror[vertex] = vertex as u32;
        } else {
            mirror[vertex] = points.len() as u32;
            mirror.push(vertex as u32);
            let point = points[vertex];
            points.push(Vector3::new(-point.x, point.y, point.z));
        }
    }
    Skin {
        points,
        triangles: Vec::new(),
        mirror,
        half: count,
    }
}

/// How often vertices are evened out and pulled back onto the surface.
const ROUNDS: usize = 8;

fn relax(skin: &mut Skin, quads: &[[u32; 4]], distance: &(impl Fn(&Point) -> f64 + Sync)) {
    let half = skin.half;
    let mut neighbours: Vec<Vec<u32>> = vec![Vec::new(); half];
    for quad in quads {
        for corner in 0..4 {
            let (a, b) = (quad[corner], quad[(corner + 1) % 4]);
            for (from, to) in [(a, b), (b, a)] {
                if !neighbours[from as usize].contains(&to) {
                    neighbours[from as usize].push(to);
                }
            }
        }
    }
    for round in 0..ROUNDS {
        let points = &skin.points;
        let moved: Vec<Point> = (0..half)
            .into_par_iter()
            .map(|vertex| {
                let middle = points[vertex].x == 0.0;
                let mut point = points[vertex];
                if round + 1 < ROUNDS {
                    let ring = &neighbours[vertex];
                    let sum: Point = ring.iter().map(|&next| points[next as usize]).sum();
                    let away = sum / ring.len() as f64 - point;
                    let normal = gradient(distance, &point).normalize();
                    point += (away - normal * away.dot(&normal)) * 0.6;
                }
                point = onto(distance, point, middle);
                if !middle {
                    point.x = point.x.max(HALF_GAP * 0.5);
                }
                point
            })
            .collect();
        for (vertex, point) in moved.into_iter().enumerate() {
            let image = skin.mirror[vertex] as usize;
            skin.points[vertex] = point;
            if image != vertex {
                skin.points[image] = Vector3::new(-point.x, point.y, point.z);
            }
        }
    }
}

/// Newton steps along the gradient; a point of the middle plane stays in it.
fn onto(distance: &impl Fn(&Point) -> f64, start: Point, middle: bool) -> Point {
    let mut point = start;
    for _ in 0..3 {
        let value = distance(&point);
        let mut slope = gradient(distance, &point);
        if middle {
            slope.x = 0.0;
        }
        let steep = slope.norm_squared().max(0.04);
        point -= slope * (value / steep).clamp(-0.02, 0.02);
        if middle {
            point.x = 0.0;
        }
        if value.abs() < 2e-5 {
            break;
        }
    }
    point
}

/// Quads cut along their shorter diagonal, left half and mirror image.
fn triangles(skin: &Skin, quads: &[[u32; 4]]) -> Vec<[u32; 3]> {
    let mut triangles = Vec::with_capacity(quads.len() * 4);
    for &[a, b, c, d] in quads {
        let length = |from: u32, to: u32| (skin.points[from as usize] - skin.points[to as usize]).norm();
        let pair = if length(a, c) <= length(b, d) {
            [[a, b, c], [a, c, d]]
        } else {
            [[a, b, d], [b, c, d]]
        };
        triangles.extend(pair);
    }
    let mirrored: Vec<[u32; 3]> = triangles
        .iter()
        .map(|t| {
            [
                skin.mirror[t[0] as usize],
                skin.mirror[t[2] as usize],
                skin.mirror[t[1] as usize],
            ]
        })
        .collect();
    triangles.extend(mirrored);
    triangles
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    /// Each edge is used once in each direction, and Euler's number says sphere.
    pub(crate) fn assert_sphere(skin: &Skin) {
        let mut edges: BTreeMap<(u32, u32), i32> = BTreeMap::new();
        for t in &skin.triangles {
            for corner in 0..3 {
                *edges.entry((t[corner], t[(corner + 1) % 3])).or_default() += 1;
            }
        }
        assert!(
            edges
                .iter()
                .all(|((a, b), count)| *count == 1 && edges.contains_key(&(*b, *a)))
        );
        let euler = skin.points.len() as i64 - edges.len() as i64 / 2 + skin.triangles.len() as i64;
        assert_eq!(euler, 2);
    }

    #[test]
    fn a_ball_is_closed_and_round() {
        let grid = Grid {
            low: Vector3::new(0.0, -0.15, -0.15),
            high: Vector3::repeat(0.15),
            edge: 0.02,
        };
        let skin = mesh(&grid, &|p: &Point| p.norm() - 0.1);
        assert_sphere(&skin);
        assert!(skin.points.iter().all(|p| (p.norm() - 0.1).abs() < 1e-4));
        for (vertex, &image) in skin.mirror.iter().enumerate() {
            let (p, q) = (skin.points[vertex], skin.points[image as usize]);
            assert!(p.x == -q.x && p.y == q.y && p.z == q.z);
        }
    }
}
