//! How far is a triangle drawn out or squeezed against its rest shape?

use super::Corners;
use super::vector::{add, cross, dot, norm, scale, sub, wide};

/// Flat coordinates of a rest triangle, prepared for many posed ones.
///
/// Of a triangle without area every stretch is NaN: a finding, not an error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RestFrame {
    /// Weights of the posed edges a-b and a-c in the first and the second column of the gradient.
    first: [f64; 2],
    second: [f64; 2],
}

/// Inner products of the columns of the deformation gradient (Sander et al. 2001).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Metric {
    /// Squared stretch along the first flat direction.
    pub a: f64,
    /// Inner product of the two posed flat directions; 0 where they stay perpendicular.
    pub b: f64,
    /// Squared stretch along the second flat direction.
    pub c: f64,
}

impl RestFrame {
    /// The rest triangle in its own plane: first direction along a-b.
    pub fn new(rest: Corners) -> Self {
        let [a, b, c] = rest.map(wide);
        let (along, across) = (sub(b, a), sub(c, a));
        let length = norm(along);
        Self::from_flat([
            [0.0, 0.0],
            [length, 0.0],
            [dot(along, across) / length, norm(cross(along, across)) / length],
        ])
    }

    /// The rest triangle given by flat coordinates, for instance UV in metres. May be mirrored.
    pub fn from_flat(flat: [[f64; 2]; 3]) -> Self {
        let (s1, t1) = (flat[1][0] - flat[0][0], flat[1][1] - flat[0][1]);
        let (s2, t2) = (flat[2][0] - flat[0][0], flat[2][1] - flat[0][1]);
        let twice_area = s1 * t2 - s2 * t1;
        let share = if twice_area == 0.0 {
            f64::NAN
        } else {
            1.0 / twice_area
        };
        Self {
            first: [t2 * share, -t1 * share],
            second: [-s2 * share, s1 * share],
        }
    }

    /// The metric of the map from the rest triangle to the posed one.
    pub fn metric(&self, posed: Corners) -> Metric {
        let [a, b, c] = posed.map(wide);
        let (along, across) = (sub(b, a), sub(c, a));
        let column = |weights: [f64; 2]| add(scale(along, weights[0]), scale(across, weights[1]));
        let (first, second) = (column(self.first), column(self.second));
        Metric {
            a: dot(first, first),
            b: dot(first, second),
            c: dot(second, second),
        }
    }

    /// Largest and smallest principal stretch; 1 and 1 at rest, 0 where the triangle collapsed.
    pub fn stretches(&self, posed: Corners) -> [f64; 2] {
        self.metric(posed).principal()
    }
}

impl Metric {
    /// Largest and smallest singular value of the deformation gradient, dimensionless.
    pub fn principal(self) -> [f64; 2] {
        let (mean, half) = ((self.a + self.c) / 2.0, (self.a - self.c) / 2.0);
        let largest = (mean + half.hypot(self.b)).sqrt();
        if largest == 0.0 {
            return [0.0, 0.0];
        }
        // From the determinant: the difference in the textbook formula loses half its digits.
        let determinant = (self.a * self.c - self.b * self.b).max(0.0).sqrt();
        if largest.is_nan() {
            [f64::NAN; 2]
        } else {
            [largest, determinant / largest]
        }
    }

    /// Stretch along the two flat directions.
    pub fn along(self) -> [f64; 2] {
        [self.a.sqrt(), self.c.sqrt()]
    }

    /// Change of the right angle between the two flat directions, radians, -pi/2 ..= pi/2.
    pub fn shear(self) -> f64 {
        (self.b / (self.a * self.c).sqrt()).clamp(-1.0, 1.0).asin()
    }

    /// Posed area over rest area.
    pub fn area_ratio(self) -> f64 {
        let [largest, smallest] = self.principal();
        largest * smallest
    }
}

/// Largest and smallest principal stretch of `posed` against `rest`; NaN if `rest` has no area.
pub fn stretches(rest: Corners, posed: Corners) -> [f64; 2] {
    RestFrame::new(rest).stretches(posed)
}

#[cfg(test)]
mod tests {
    use super::*;

    const REST: Corners = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];

    fn assert_near(found: [f64; 2], expected: [f64; 2]) {
        for (found, expected) in found.iter().zip(expected) {
            assert!((found - expected).abs() < 1e-6, "{found} is not {expected}");
        }
    }

    /// The table of worked values for the flat unit triangle (re-evaluated there with an SVD).
    #[test]
    fn worked_values() {
        let cases: [([f32; 3], [f32; 3], [f64; 2]); 7] = [
            ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 1.0]),
            ([1.2, 0.0, 0.0], [0.0, 1.0, 0.0], [1.2, 1.0]),
            ([1.25, 0.0, 0.0], [0.0, 1.25, 0.0], [1.25, 1.25]),
            ([2.0, 0.0, 0.0], [0.0, 0.5, 0.0], [2.0, 0.5]),
            ([1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.618034, 0.618034]),
            ([1.0, 0.0, 0.0], [0.5, 1.0, 0.0], [1.280776, 0.780776]),
            ([0.0, 0.0, 1.3], [0.0, 0.9, 0.0], [1.3, 0.9]),
        ];
        for (b, c, expected) in cases {
            assert_near(stretches(REST, [[0.0; 3], b, c]), expected);
            assert_near(stretches([REST[1], REST[2], REST[0]], [b, c, [0.0; 3]]), expected);
        }
    }

    #[test]
    fn moving_changes_nothing_and_scaling_scales() {
        let rest = [[0.3, 1.1, -0.2], [0.35, 1.12, -0.19], [0.31, 1.16, -0.23]];
        let posed = rest.map(|[x, y, z]| [z * 1.5 + 0.25, x * 1.5 - 0.5, y * 1.5 + 1.0]);
        let [largest, smallest] = stretches(rest, posed);
        assert!((largest - 1.5).abs() < 1e-5 && (smallest - 1.5).abs() < 1e-5);
    }

    /// Inextensible yarns sheared by an angle: `sqrt(1 +- sin)`; along the yarns nothing.
    #[test]
    fn trellis() {
        for degrees in [10f64, 20.0, 30.0, 45.0] {
            let shear = degrees.to_radians();
            let c = [shear.sin() as f32, shear.cos() as f32, 0.0];
            let metric = RestFrame::from_flat([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]).metric([
                [0.0; 3],
                [1.0, 0.0, 0.0],
                c,
            ]);
            assert_near(
                metric.principal(),
                [(1.0 + shear.sin()).sqrt(), (1.0 - shear.sin()).sqrt()],
            );
            assert_near(metric.along(), [1.0, 1.0]);
            assert!((metric.shear() - shear).abs() < 1e-6);
            assert!((metric.area_ratio() - shear.cos()).abs() < 1e-6);
        }
    }

    #[test]
    fn no_area_is_not_a_number_at_rest_and_zero_when_posed() {
        assert!(stretches([[0.0; 3]; 3], REST).iter().all(|s| s.is_nan()));
        let line = [[0.0; 3], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]];
        assert!(stretches(line, REST).iter().all(|s| s.is_nan()));
        assert_eq!(stretches(REST, [[0.0; 3]; 3]), [0.0, 0.0]);
        assert_eq!(stretches(REST, line)[1], 0.0);
    }

    #[test]
    fn mirrored_flat_coordinates_change_nothing() {
        let posed = [[0.0; 3], [1.1, 0.2, 0.0], [0.3, 0.9, 0.4]];
        let plain = RestFrame::from_flat([[0.0, 0.0], [1.0, 0.0], [0.2, 0.9]]).stretches(posed);
        let mirrored = RestFrame::from_flat([[0.0, 0.0], [-1.0, 0.0], [-0.2, 0.9]]).stretches(posed);
        assert_near(plain, mirrored);
    }
}
