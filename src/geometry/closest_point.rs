//! Which point of one triangle is nearest to a point?

use super::Corners;
use super::vector::{add, dot, lerp, scale, sub, wide};

/// The part of a triangle on which a point lies. Edge `k` runs from corner `k` to corner `k + 1`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Feature {
    /// Inside.
    Face,
    /// On the edge with this number, 0..3.
    Edge(u8),
    /// On the corner with this number, 0..3.
    Vertex(u8),
}

/// The nearest point of a triangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClosestPoint {
    /// Where, metres.
    pub point: [f64; 3],
    /// Weights of the three corners, each 0..=1, adding up to 1.
    pub barycentric: [f64; 3],
    /// What it lies on.
    pub feature: Feature,
}

/// The point of the triangle nearest to `point`. Ericson (2005), Real-Time Collision Detection, 5.1.5.
///
/// A triangle without area is treated as its edges.
pub fn closest_point(point: [f32; 3], corners: Corners) -> ClosestPoint {
    let [a, b, c] = corners.map(wide);
    let point = wide(point);
    let (ab, ac) = (sub(b, a), sub(c, a));
    let (ap, bp, cp) = (sub(point, a), sub(point, b), sub(point, c));
    let (d1, d2) = (dot(ab, ap), dot(ac, ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return vertex(corners, 0);
    }
    let (d3, d4) = (dot(ab, bp), dot(ac, bp));
    if d3 >= 0.0 && d4 <= d3 {
        return vertex(corners, 1);
    }
    let (d5, d6) = (dot(ab, cp), dot(ac, cp));
    if d6 >= 0.0 && d5 <= d6 {
        return vertex(corners, 2);
    }
    let (va, vb, vc) = (d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2);
    let sum = va + vb + vc;
    let flat = sum <= 1e-13 * dot(ab, ab) * dot(ac, ac);
    if flat {
        return closest_on_edges(point, corners);
    }
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return edge(corners, 0, d1 / (d1 - d3));
    }
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return edge(corners, 2, d6 / (d6 - d2));
    }
    if va <= 0.0 && d4 - d3 >= 0.0 && d5 - d6 >= 0.0 {
        return edge(corners, 1, (d4 - d3) / ((d4 - d3) + (d5 - d6)));
    }
    let (v, w) = (vb / sum, vc / sum);
    ClosestPoint {
        point: add(a, add(scale(ab, v), scale(ac, w))),
        barycentric: [1.0 - v - w, v, w],
        feature: Feature::Face,
    }
}

fn vertex(corners: Corners, corner: u8) -> ClosestPoint {
    let mut barycentric = [0.0; 3];
    barycentric[usize::from(corner)] = 1.0;
    let point = wide(corners[usize::from(corner)]);
    ClosestPoint {
        point,
        barycentric,
        feature: Feature::Vertex(corner),
    }
}

fn edge(corners: Corners, number: u8, share: f64) -> ClosestPoint {
    let from = usize::from(number);
    let to = (from + 1) % 3;
    let mut barycentric = [0.0; 3];
    barycentric[from] = 1.0 - share;
    barycentric[to] = share;
    let point = lerp(wide(corners[from]), wide(corners[to]), share);
    ClosestPoint {
        point,
        barycentric,
        feature: Feature::Edge(number),
    }
}

/// For needles and points, whose inside cannot be told from rounding.
fn closest_on_edges(point: [f64; 3], corners: Corners) -> ClosestPoint {
    let on_edge = |number: u8| {
        let from = usize::from(number);
        let (start, end) = (wide(corners[from]), wide(corners[(from + 1) % 3]));
        let along = sub(end, start);
        let share = dot(sub(point, start), along) / dot(along, along);
        if share > 0.0 && share < 1.0 {
            edge(corners, number, share)
        } else {
            vertex(corners, if share >= 1.0 { (number + 1) % 3 } else { number })
        }
    };
    let distance = |found: &ClosestPoint| {
        let away = sub(found.point, point);
        dot(away, away)
    };
    let mut best = on_edge(0);
    for number in 1..3 {
        let found = on_edge(number);
        if distance(&found) < distance(&best) {
            best = found;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::shapes::Random;
    use crate::geometry::vector::norm;

    const UNIT: Corners = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];

    #[test]
    fn published_cases() {
        let cases = [
            ([0.25, 0.25, 0.5], [0.25, 0.25, 0.0], 0.5, Feature::Face),
            ([2.0, 0.0, 0.0], [1.0, 0.0, 0.0], 1.0, Feature::Vertex(1)),
            ([1.0, 1.0, 0.0], [0.5, 0.5, 0.0], 0.5f64.sqrt(), Feature::Edge(1)),
            (
                [-1.0, -1.0, 0.0],
                [0.0, 0.0, 0.0],
                2f64.sqrt(),
                Feature::Vertex(0),
            ),
            ([0.5, -1.0, 1.0], [0.5, 0.0, 0.0], 2f64.sqrt(), Feature::Edge(0)),
            ([-1.0, 0.25, 0.0], [0.0, 0.25, 0.0], 1.0, Feature::Edge(2)),
            ([0.0, 3.0, 4.0], [0.0, 1.0, 0.0], 20f64.sqrt(), Feature::Vertex(2)),
        ];
        for (point, nearest, distance, feature) in cases {
            let found = closest_point(point, UNIT);
            assert_eq!(found.point, nearest);
            assert_eq!(found.feature, feature);
            assert!((norm(sub(found.point, wide(point))) - distance).abs() < 1e-12);
        }
    }

    /// No point of a fine grid on the triangle is nearer than the answer.
    #[test]
    fn nothing_on_the_triangle_is_nearer() {
        let mut random = Random::new(7);
        for round in 0..400 {
            let mut corners = [random.point(), random.point(), random.point()];
            if round % 4 == 0 {
                corners[2] = corners[round / 4 % 2]; // a line
            }
            if round % 8 == 1 {
                // a needle
                corners[2] = std::array::from_fn(|k| 0.3 * corners[0][k] + 0.7 * corners[1][k]);
            }
            let point = random.point();
            let found = closest_point(point, corners);
            let best = norm(sub(found.point, wide(point)));
            let rebuilt = (0..3).fold([0.0; 3], |sum, k| {
                add(sum, scale(wide(corners[k]), found.barycentric[k]))
            });
            assert!(norm(sub(rebuilt, found.point)) < 1e-9);
            for i in 0..=20 {
                for j in 0..=20 - i {
                    let (v, w) = (f64::from(i) / 20.0, f64::from(j) / 20.0);
                    let [a, b, c] = corners.map(wide);
                    let on = add(scale(a, 1.0 - v - w), add(scale(b, v), scale(c, w)));
                    assert!(norm(sub(on, wide(point))) >= best - 1e-7);
                }
            }
        }
    }

    #[test]
    fn a_triangle_that_is_one_point() {
        let found = closest_point([0.0, 0.0, 0.0], [[1.0, 0.0, 0.0]; 3]);
        assert_eq!(found.point, [1.0, 0.0, 0.0]);
    }
}
