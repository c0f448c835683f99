//! Which way should a triangle face, by the joints that carry it?

use crate::rig::Rows;
use crate::rig::surface::Surface;
use std::collections::BTreeMap;

/// The mean weight row of each triangle's corners: the blended joint matrix of the whole triangle in one sum.
#[derive(Clone, Debug, Default)]
pub struct Carriers {
    rows: Rows,
}

impl Carriers {
    /// For every triangle of a surface.
    pub fn new(surface: &Surface) -> Self {
        let mut rows = Rows {
            starts: vec![0],
            ..Rows::default()
        };
        for corners in &surface.triangles {
            let mut sums: BTreeMap<usize, f32> = BTreeMap::new();
            for &vertex in corners {
                for (bind, weight) in surface.rows.row(vertex as usize) {
                    *sums.entry(bind).or_insert(0.0) += weight / 3.0;
                }
            }
            for (bind, weight) in sums {
                rows.binds.push(u16::try_from(bind).unwrap_or(u16::MAX));
                rows.weights.push(weight);
            }
            rows.starts
                .push(u32::try_from(rows.binds.len()).unwrap_or(u32::MAX));
        }
        Self { rows }
    }

    /// True where a triangle's posed normal points against its bind normal carried by its joints.
    pub fn is_flipped(
        &self,
        triangle: usize,
        palette: &[[[f32; 4]; 3]],
        bind_normal: [f32; 3],
        posed_normal: [f32; 3],
    ) -> bool {
        is_flipped(
            self.rows
                .row(triangle)
                .map(|(bind, weight)| (&palette[bind], weight)),
            bind_normal,
            posed_normal,
        )
    }
}

/// The same for a triangle whose joints are listed, in any order.
///
/// An area is carried by the cofactors of the blended matrix: where all corners move alike, the result is exactly the
/// posed normal's direction, also for a mirroring joint. A triangle or matrix that collapsed is not flipped.
pub fn is_flipped<'a>(
    carriers: impl Iterator<Item = (&'a [[f32; 4]; 3], f32)>,
    bind_normal: [f32; 3],
    posed_normal: [f32; 3],
) -> bool {
    let mut rows = [[0.0f32; 3]; 3];
    for (matrix, weight) in carriers {
        for (sum, row) in rows.iter_mut().zip(matrix) {
            for (sum, value) in sum.iter_mut().zip(row) {
                *sum += weight * value;
            }
        }
    }
    let cross = crate::geometry::vector::cross::<f32>;
    let cofactors = [
        cross(rows[1], rows[2]),
        cross(rows[2], rows[0]),
        cross(rows[0], rows[1]),
    ];
    let should = cofactors.map(|row| crate::geometry::vector::dot(row, bind_normal));
    crate::geometry::vector::dot(should, posed_normal) < 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    const STILL: [[f32; 4]; 3] = [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]];

    fn turned_about_x(degrees: f32) -> [[f32; 4]; 3] {
        let (s, c) = degrees.to_radians().sin_cos();
        [[1.0, 0.0, 0.0, 0.0], [0.0, c, -s, 0.0], [0.0, s, c, 0.0]]
    }

    #[test]
    fn what_the_joints_turn_is_not_flipped() {
        let half = turned_about_x(180.0);
        let whole = || [(&half, 1.0f32)].into_iter();
        assert!(!is_flipped(whole(), [0.0, 0.0, 1.0], [0.0, 0.0, -1.0]));
        assert!(is_flipped(whole(), [0.0, 0.0, 1.0], [0.0, 0.0, 1.0]));
        // Half and half of a quarter turn should face half way.
        let quarter = turned_about_x(90.0);
        let both = || [(&STILL, 0.5f32), (&quarter, 0.5)].into_iter();
        assert!(!is_flipped(both(), [0.0, 0.0, 1.0], [0.0, -0.9, 0.0]));
        assert!(is_flipped(both(), [0.0, 0.0, 1.0], [0.0, 0.9, 0.0]));
    }

    #[test]
    fn a_mirroring_joint_turns_the_normal_with_the_triangle() {
        let mirror = [[-1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]];
        // The corners (0,0,0), (1,0,0), (0,1,0) become (0,0,0), (-1,0,0), (0,1,0): their normal is -Z.
        let whole = [(&mirror, 1.0f32)].into_iter();
        assert!(!is_flipped(whole, [0.0, 0.0, 1.0], [0.0, 0.0, -1.0]));
    }

    #[test]
    fn a_collapse_is_no_flip() {
        let half = turned_about_x(180.0);
        let both = [(&STILL, 0.5f32), (&half, 0.5)].into_iter();
        assert!(!is_flipped(both, [0.0, 0.0, 1.0], [0.0, 0.0, -1.0]));
        assert!(!is_flipped(
            [(&STILL, 1.0f32)].into_iter(),
            [0.0, 0.0, 1.0],
            [0.0; 3]
        ));
    }
}
