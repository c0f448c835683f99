//! Which vertices lie in the same place and are therefore one?

use std::collections::HashMap;

/// Corners closer than this are one vertex, metres: far above rounding, far below any real gap.
pub const TOLERANCE: f32 = 1e-6;

/// For every vertex the one that stands for it: the lowest index within `tolerance` metres that stands
/// for itself. A vertex that is not finite stands for itself.
///
/// The answer does not depend on where the grid used for the search has its lines.
pub fn weld(positions: &[[f32; 3]], tolerance: f32) -> Vec<u32> {
    let mut grid = Grid::new(tolerance);
    let mut canonical = Vec::with_capacity(positions.len());
    for (vertex, &position) in (0u32..).zip(positions) {
        if !position.iter().all(|value| value.is_finite()) {
            canonical.push(vertex);
            continue;
        }
        let found = grid.lowest_near(positions, position);
        if found.is_none() {
            grid.insert(vertex, position);
        }
        canonical.push(found.unwrap_or(vertex));
    }
    canonical
}

/// Vertices that stand for themselves, by cell. Only looked up, never listed.
struct Grid {
    tolerance: f64,
    cell: f64,
    vertices: HashMap<[u64; 3], Vec<u32>>,
}

impl Grid {
    fn new(tolerance: f32) -> Self {
        let tolerance = f64::from(tolerance.max(0.0));
        // Four tolerances wide, most searches stay within one cell.
        Self {
            tolerance,
            cell: 4.0 * tolerance.max(1e-7),
            vertices: HashMap::new(),
        }
    }

    /// Cell number along one axis, as bits; adding zero makes -0 and 0 one.
    fn key(number: f64) -> u64 {
        (number.floor() + 0.0).to_bits()
    }

    fn insert(&mut self, vertex: u32, position: [f32; 3]) {
        let key = position.map(|value| Self::key(f64::from(value) / self.cell));
        self.vertices.entry(key).or_default().push(vertex);
    }

    fn lowest_near(&self, positions: &[[f32; 3]], position: [f32; 3]) -> Option<u32> {
        let ends = position.map(|value| {
            let low = Self::key((f64::from(value) - 1.01 * self.tolerance) / self.cell);
            let high = Self::key((f64::from(value) + 1.01 * self.tolerance) / self.cell);
            [low, high]
        });
        let several = ends.map(|[low, high]| if low == high { 1 } else { 2 });
        let mut lowest: Option<u32> = None;
        for x in &ends[0][..several[0]] {
            for y in &ends[1][..several[1]] {
                for z in &ends[2][..several[2]] {
                    for &vertex in self.vertices.get(&[*x, *y, *z]).into_iter().flatten() {
                        let near = self.within(positions[vertex as usize], position);
                        if near && lowest.is_none_or(|known| vertex < known) {
                            lowest = Some(vertex);
                        }
                    }
                }
            }
        }
        lowest
    }

    fn within(&self, a: [f32; 3], b: [f32; 3]) -> bool {
        let sum: f64 = (0..3).map(|k| (f64::from(a[k]) - f64::from(b[k])).powi(2)).sum();
        sum <= self.tolerance * self.tolerance
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::shapes::Random;

    #[test]
    fn lowest_index_stands_for_all() {
        let positions = [
            [1.0, 0.0, 0.0],
            [0.5, 0.0, 0.0],
            [1.0, 0.0, 0.0],
            [0.5, 0.0, 1e-7],
            [0.5, 0.0, 1e-5],
        ];
        assert_eq!(weld(&positions, TOLERANCE), [0, 1, 0, 1, 4]);
        assert_eq!(weld(&positions, 0.0), [0, 1, 0, 3, 4]);
        assert_eq!(weld(&[[0.0, 0.0, 0.0], [-0.0, 0.0, -0.0]], 0.0), [0, 0]);
    }

    #[test]
    fn what_is_not_finite_stands_for_itself() {
        let positions = [
            [f32::NAN, 0.0, 0.0],
            [f32::NAN, 0.0, 0.0],
            [f32::INFINITY; 3],
            [f32::INFINITY; 3],
        ];
        assert_eq!(weld(&positions, TOLERANCE), [0, 1, 2, 3]);
        assert_eq!(weld(&[[f32::MAX; 3], [f32::MAX; 3]], TOLERANCE), [0, 0]);
    }

    /// Against a search through all pairs, with points strewn about grid lines.
    #[test]
    fn the_grid_changes_nothing() {
        let mut random = Random::new(3);
        let tolerance = 0.02f32;
        let positions: Vec<[f32; 3]> = (0..600)
            .map(|_| {
                random
                    .point()
                    .map(|x| (x * 4.0).round() * 0.08 + 0.03 * (random.share() - 0.5))
            })
            .collect();
        let mut expected: Vec<u32> = Vec::new();
        for v in 0..positions.len() {
            let near = |u: &usize| {
                let sum: f64 = (0..3)
                    .map(|k| (f64::from(positions[*u][k]) - f64::from(positions[v][k])).powi(2))
                    .sum();
                expected[*u] as usize == *u && sum <= f64::from(tolerance).powi(2)
            };
            let found = (0..v).find(near).unwrap_or(v) as u32;
            expected.push(found);
        }
        assert!(expected.iter().zip(0u32..).filter(|(c, v)| *c != v).count() > 100);
        assert_eq!(weld(&positions, tolerance), expected);
    }
}
