//! How does the texture lie on a triangle, and what becomes of it when the triangle is drawn out?

use super::between;
use crate::geometry::Corners;
use crate::geometry::stretch::Metric;
use crate::geometry::vector::{cross, dot, norm};

/// A triangle's texture at the bind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Print {
    /// Growing U and growing V in the triangle's own plane, metres per unit of texture. The plane's first direction
    /// runs along the first edge, as in [`crate::geometry::stretch::RestFrame::new`].
    u: [f64; 2],
    v: [f64; 2],
    /// Of the map from the texture to the triangle at its bind.
    at_bind: Metric,
}

impl Print {
    /// `None` where the texture or the triangle has no area.
    pub fn new(rest: Corners, uvs: [[f32; 2]; 3]) -> Option<Self> {
        let (along, across) = (between(rest[1], rest[0]), between(rest[2], rest[0]));
        let length = norm(along);
        let (x, y) = (dot(along, across) / length, norm(cross(along, across)) / length);
        let uv = uvs.map(|uv| uv.map(f64::from));
        let (u1, v1) = (uv[1][0] - uv[0][0], uv[1][1] - uv[0][1]);
        let (u2, v2) = (uv[2][0] - uv[0][0], uv[2][1] - uv[0][1]);
        let twice_area = u1 * v2 - u2 * v1;
        let longest = (u1 * u1 + v1 * v1).max(u2 * u2 + v2 * v2);
        // Below rounding of f32 coordinates there is no area, only noise.
        if twice_area.abs() <= 1e-6 * longest || twice_area.is_nan() || y.is_nan() || y <= 0.0 {
            return None;
        }
        let u = [(length * v2 - x * v1) / twice_area, -y * v1 / twice_area];
        let v = [(x * u1 - length * u2) / twice_area, y * u1 / twice_area];
        let flat = Metric {
            a: 1.0,
            b: 0.0,
            c: 1.0,
        };
        let mut print = Self { u, v, at_bind: flat };
        print.at_bind = print.metric(flat);
        Some(print)
    }

    /// The metric of the map from the texture to the posed triangle (Sander et al. 2001: a, b, c). `pull` is that
    /// of the triangle's own rest frame.
    pub fn metric(&self, pull: Metric) -> Metric {
        let product = |p: [f64; 2], q: [f64; 2]| {
            pull.a * p[0] * q[0] + pull.b * (p[0] * q[1] + p[1] * q[0]) + pull.c * p[1] * q[1]
        };
        Metric {
            a: product(self.u, self.u),
            b: product(self.u, self.v),
            c: product(self.v, self.v),
        }
    }

    /// The same at the bind.
    pub fn at_bind(&self) -> Metric {
        self.at_bind
    }

    /// Length now over length as built along U and along V, and by how much the angle between them changed, radians.
    pub fn along(&self, pull: Metric) -> ([f64; 2], f64) {
        let now = self.metric(pull);
        let [u, v] = now.along();
        let [u_bind, v_bind] = self.at_bind.along();
        ([u / u_bind, v / v_bind], now.shear() - self.at_bind.shear())
    }

    /// How lopsided the texture is now against the bind: larger over smaller principal stretch of the texture's map,
    /// now over as built. 1 where it kept its shape, infinite where the triangle collapsed.
    pub fn lopsided(&self, pull: Metric) -> f64 {
        anisotropy(self.metric(pull)) / anisotropy(self.at_bind)
    }
}

/// Larger over smaller principal stretch, 1 or more.
pub fn anisotropy(metric: Metric) -> f64 {
    let [largest, smallest] = metric.principal();
    largest / smallest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::stretch::RestFrame;

    const REST: Corners = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    const UV: [[f32; 2]; 3] = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]];

    fn near(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 1e-6, "{found} is not {wanted}");
    }

    /// The texture metric through the rest plane is the one taken straight from the texture (Sander et al. 2001).
    #[test]
    fn through_the_rest_plane_or_straight() {
        let rest = [[0.3, 1.1, -0.2], [0.35, 1.12, -0.19], [0.31, 1.16, -0.23]];
        let posed = [[0.1, 0.2, 0.3], [0.17, 0.21, 0.27], [0.12, 0.29, 0.31]];
        let uv = [[0.2, 0.7], [0.9, 0.6], [0.4, 0.1]];
        let print = Print::new(rest, uv).unwrap();
        let straight = RestFrame::from_flat(uv.map(|uv| uv.map(f64::from))).metric(posed);
        let found = print.metric(RestFrame::new(rest).metric(posed));
        for (found, wanted) in [
            (found.a, straight.a),
            (found.b, straight.b),
            (found.c, straight.c),
        ] {
            assert!((found / wanted - 1.0).abs() < 1e-5);
        }
    }

    /// Yarns that keep their length, turned against each other: principal stretch `sqrt(1 + sin)`, along the yarns 1.
    #[test]
    fn shear_alone_is_no_stretched_yarn() {
        for degrees in [10f64, 20.0, 30.0, 45.0] {
            let shear = degrees.to_radians();
            let posed = [[0.0; 3], REST[1], [shear.sin() as f32, shear.cos() as f32, 0.0]];
            let pull = RestFrame::new(REST).metric(posed);
            let ([u, v], angle) = Print::new(REST, UV).unwrap().along(pull);
            near(u, 1.0);
            near(v, 1.0);
            near(angle, shear);
            near(pull.principal()[0], (1.0 + shear.sin()).sqrt());
        }
    }

    /// Anisotropy of the worked values: larger over smaller principal stretch; of an evenly scaled one it is 1.
    #[test]
    fn lopsided_against_the_bind() {
        let lopsided = |rest: Corners, b: [f32; 3], c: [f32; 3]| {
            let pull = RestFrame::new(rest).metric([[0.0; 3], b, c]);
            Print::new(rest, UV).unwrap().lopsided(pull)
        };
        near(lopsided(REST, [2.0, 0.0, 0.0], [0.0, 0.5, 0.0]), 4.0);
        near(lopsided(REST, [1.25, 0.0, 0.0], [0.0, 1.25, 0.0]), 1.0);
        near(
            lopsided(REST, [1.0, 0.0, 0.0], [0.5, 1.0, 0.0]),
            1.280_776_4 / 0.780_776_4,
        );
        // Drawn out to 2 as built, and back to even: it is half as lopsided as it was.
        let drawn = [[0.0; 3], [2.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        near(lopsided(drawn, [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]), 0.5);
    }

    #[test]
    fn no_texture_without_area() {
        assert!(Print::new(REST, [[0.0; 2]; 3]).is_none());
        assert!(Print::new(REST, [[0.0, 0.0], [0.5, 0.5], [1.0, 1.0]]).is_none());
        assert!(Print::new([[0.0; 3]; 3], UV).is_none());
    }
}
