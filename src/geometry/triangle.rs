//! How large is a triangle, which way does it face, how much of the view does it fill?

use super::Corners;
use super::vector::{cross, dot, norm, sub, unit, wide};

/// Twice the area times the unit normal, square metres; zero for a triangle without area.
pub fn area_vector(corners: Corners) -> [f64; 3] {
    let [a, b, c] = corners.map(wide);
    cross(sub(b, a), sub(c, a))
}

/// Area, square metres.
pub fn area(corners: Corners) -> f64 {
    norm(area_vector(corners)) / 2.0
}

/// Unit normal of the side from which the corners run counter-clockwise; zero without area.
pub fn normal(corners: Corners) -> [f64; 3] {
    unit(area_vector(corners))
}

/// Mean of the corners.
pub fn centre(corners: Corners) -> [f64; 3] {
    let [a, b, c] = corners.map(wide);
    std::array::from_fn(|axis| (a[axis] + b[axis] + c[axis]) / 3.0)
}

/// Interior angle at a corner, radians, 0..=pi; the three add up to pi unless two corners coincide.
pub fn angle(corners: Corners, corner: usize) -> f64 {
    let at = corners.map(wide);
    let here = at[corner];
    let (next, last) = (sub(at[(corner + 1) % 3], here), sub(at[(corner + 2) % 3], here));
    norm(cross(next, last)).atan2(dot(next, last))
}

/// Solid angle under which `point` sees the triangle, steradians, -2 pi ..= 2 pi.
///
/// Positive where the back is seen, so that a closed surface facing outward gives 4 pi inside.
/// van Oosterom and Strackee (1983), IEEE Trans Biomed Eng 30(2):125.
pub fn solid_angle(point: [f32; 3], corners: Corners) -> f64 {
    let [a, b, c] = corners.map(|corner| sub(wide(corner), wide(point)));
    let (la, lb, lc) = (norm(a), norm(b), norm(c));
    let volume = dot(a, cross(b, c));
    let rest = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb;
    2.0 * volume.atan2(rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn area_and_normal_of_a_right_triangle() {
        let corners = [[0.0, 0.0, 5.0], [3.0, 0.0, 5.0], [0.0, 4.0, 5.0]];
        assert_eq!(area(corners), 6.0);
        assert_eq!(normal(corners), [0.0, 0.0, 1.0]);
        let [a, b, c] = [0, 1, 2].map(|corner| angle(corners, corner));
        assert!((a - PI / 2.0).abs() < 1e-12 && (b - (4f64 / 3.0).atan()).abs() < 1e-12);
        assert!((a + b + c - PI).abs() < 1e-12);
    }

    #[test]
    fn a_point_has_no_area_and_no_normal() {
        let corners = [[1.0, 2.0, 3.0]; 3];
        assert_eq!(area(corners), 0.0);
        assert_eq!(normal(corners), [0.0; 3]);
    }

    #[test]
    fn solid_angles_known_from_symmetry() {
        let octant = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        assert!((solid_angle([0.0; 3], octant) - PI / 2.0).abs() < 1e-12);
        let turned = [octant[0], octant[2], octant[1]];
        assert!((solid_angle([0.0; 3], turned) + PI / 2.0).abs() < 1e-12);
        let half_face = [[1.0, -1.0, -1.0], [1.0, 1.0, -1.0], [1.0, 1.0, 1.0]];
        assert!((solid_angle([0.0; 3], half_face) - PI / 3.0).abs() < 1e-12);
        let tetrahedron_face = [[1.0, 1.0, 1.0], [-1.0, -1.0, 1.0], [1.0, -1.0, -1.0]];
        assert!((solid_angle([0.0; 3], tetrahedron_face).abs() - PI).abs() < 1e-12);
    }
}
