//! Points on a surface that stand for the area around them.

use crate::geometry::{corners, triangle};

/// Points on triangles. The first [`Samples::vertices`] are the surface's vertices, in order; face points follow.
#[derive(Clone, Debug, Default)]
pub struct Samples {
    /// A triangle the point lies on; `u32::MAX` for a vertex that no counted triangle uses.
    pub triangle: Vec<u32>,
    /// Weights of that triangle's corners.
    pub barycentric: Vec<[f32; 3]>,
    /// Area under the point in the reference, square metres; 0 for points that stand for nothing.
    pub area: Vec<f64>,
    /// How many of the points are vertices.
    pub vertices: usize,
}

impl Samples {
    /// Vertices and face points of the triangles that `counts` takes, none standing for more than `coarsest` square
    /// metres beyond what a vertex must. A triangle's area is shared equally by its face points and its three corners.
    pub fn new(
        positions: &[[f32; 3]],
        triangles: &[[u32; 3]],
        coarsest: f64,
        counts: impl Fn(usize) -> bool,
    ) -> Self {
        let mut samples = Self {
            triangle: vec![u32::MAX; positions.len()],
            barycentric: vec![[0.0; 3]; positions.len()],
            area: vec![0.0; positions.len()],
            vertices: positions.len(),
        };
        for (number, &triangle) in (0u32..).zip(triangles) {
            let area = triangle::area(corners(positions, triangle));
            if !counts(number as usize) || area.is_nan() || area <= 0.0 {
                continue;
            }
            let rows = rows_for(area, coarsest);
            let faces = f64::from(rows * rows);
            let share = area / (faces + 1.0);
            for (corner, &vertex) in triangle.iter().enumerate() {
                let vertex = vertex as usize;
                samples.area[vertex] += share / 3.0;
                if samples.triangle[vertex] == u32::MAX {
                    samples.triangle[vertex] = number;
                    samples.barycentric[vertex][corner] = 1.0;
                }
            }
            for barycentric in lattice(rows) {
                samples.triangle.push(number);
                samples.barycentric.push(barycentric);
                samples.area.push(share);
            }
        }
        samples
    }

    /// Number of points.
    pub fn len(&self) -> usize {
        self.area.len()
    }

    /// True without points.
    pub fn is_empty(&self) -> bool {
        self.area.is_empty()
    }

    /// Keeps the points that `keep` takes. Vertex points that go leave the vertex range shorter.
    #[must_use]
    pub fn only(&self, keep: &[bool]) -> (Self, Vec<u32>) {
        let mut kept = Self::default();
        let mut numbers = Vec::new();
        for (number, point) in (0u32..)
            .zip(keep)
            .filter(|(_, kept)| **kept)
            .map(|(n, _)| (n, n as usize))
        {
            kept.triangle.push(self.triangle[point]);
            kept.barycentric.push(self.barycentric[point]);
            kept.area.push(self.area[point]);
            kept.vertices += usize::from(point < self.vertices);
            numbers.push(number);
        }
        (kept, numbers)
    }

    /// Where a point is on a posed surface.
    #[inline]
    pub fn position(&self, point: usize, positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> [f32; 3] {
        blend(
            self.barycentric[point],
            triangles[self.triangle[point] as usize],
            positions,
        )
    }
}

/// The point of a triangle with these weights.
#[inline]
pub fn blend(barycentric: [f32; 3], triangle: [u32; 3], positions: &[[f32; 3]]) -> [f32; 3] {
    let [a, b, c] = triangle.map(|vertex| positions[vertex as usize]);
    std::array::from_fn(|axis| barycentric[0] * a[axis] + barycentric[1] * b[axis] + barycentric[2] * c[axis])
}

/// The number of rows of small triangles whose share of the area is at most `coarsest`.
fn rows_for(area: f64, coarsest: f64) -> u32 {
    (1..64)
        .find(|&rows| area / (f64::from(rows * rows) + 1.0) <= coarsest)
        .unwrap_or(64)
}

/// Centres of the `rows` x `rows` small triangles.
fn lattice(rows: u32) -> Vec<[f32; 3]> {
    let mut centres = Vec::new();
    let step = 1.0 / f64::from(3 * rows);
    for i in 0..rows {
        for j in 0..rows - i {
            let (u, v) = (f64::from(3 * i + 1) * step, f64::from(3 * j + 1) * step);
            centres.push([narrow(1.0 - u - v), narrow(u), narrow(v)]);
            if j + i + 1 < rows {
                let (u, v) = (f64::from(3 * i + 2) * step, f64::from(3 * j + 2) * step);
                centres.push([narrow(1.0 - u - v), narrow(u), narrow(v)]);
            }
        }
    }
    centres
}

#[expect(clippy::cast_possible_truncation, reason = "weights are kept in f32")]
fn narrow(value: f64) -> f32 {
    value as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn areas_add_up_and_no_point_is_too_coarse() {
        let positions = [[0.0, 0.0, 0.0], [0.1, 0.0, 0.0], [0.0, 0.1, 0.0], [0.1, 0.1, 0.0]];
        let samples = Samples::new(&positions, &[[0, 1, 2], [1, 3, 2]], 0.25e-4, |_| true);
        let total: f64 = samples.area.iter().sum();
        assert!((total - 0.01).abs() < 1e-9);
        assert!(samples.area[4..].iter().all(|area| *area <= 0.25e-4));
        for row in &samples.barycentric {
            assert!((row.iter().sum::<f32>() - 1.0).abs() < 1e-6);
        }
    }
}
