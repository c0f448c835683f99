//! Where do two triangles cross?

use super::Corners;
use super::vector::{cross, dot, lerp, sub, wide};

/// A distance from a plane below this share of the numbers it was made from is zero: the rounding of its
/// handful of `f64` steps (the positions are exact).
const ROUNDING: f64 = 1e-14;

/// The segment that two triangles have in common; its ends coincide where they only touch.
///
/// Closed: touching in a point or along a line counts. Coplanar triangles and triangles without area have
/// no segment, even if they overlap. After Moller (1997), J Graphics Tools 2(2):25.
pub fn crossing(first: Corners, second: Corners) -> Option<[[f64; 3]; 2]> {
    let (first, second) = (first.map(wide), second.map(wide));
    let plane = Plane::new(second);
    let sides_of_first = first.map(|corner| plane.side(corner));
    if all_on_one_side(sides_of_first) {
        return None;
    }
    let other = Plane::new(first);
    let sides_of_second = second.map(|corner| other.side(corner));
    if all_on_one_side(sides_of_second) {
        return None;
    }
    let along = cross(other.normal, plane.normal);
    let place = |point: [f64; 3]| dot(along, sub(point, first[0]));
    let [from, to] = span(first, sides_of_first, place);
    let [start, end] = span(second, sides_of_second, place);
    let low = if start.0 > from.0 { start } else { from };
    let high = if end.0 < to.0 { end } else { to };
    (low.0 <= high.0).then_some([low.1, high.1])
}

/// Whether an edge passes through the inside of a triangle; touching does not count.
pub fn pierces(ends: [[f32; 3]; 2], triangle: Corners) -> bool {
    let volume =
        |p: [f64; 3], q: [f64; 3], r: [f64; 3], s: [f64; 3]| dot(cross(sub(q, p), sub(r, p)), sub(s, p));
    let ([a, b, c], [p, q]) = (triangle.map(wide), ends.map(wide));
    if volume(a, b, c, p) * volume(a, b, c, q) >= 0.0 {
        return false;
    }
    let signs = [volume(p, q, a, b), volume(p, q, b, c), volume(p, q, c, a)];
    signs.iter().all(|sign| *sign > 0.0) || signs.iter().all(|sign| *sign < 0.0)
}

struct Plane {
    corner: [f64; 3],
    normal: [f64; 3],
    rounding: f64,
}

impl Plane {
    fn new([a, b, c]: [[f64; 3]; 3]) -> Self {
        let (ab, ac) = (sub(b, a), sub(c, a));
        Self {
            corner: a,
            normal: cross(ab, ac),
            rounding: ROUNDING * size(ab) * size(ac),
        }
    }

    /// Distance in front, scaled by twice the area; exactly 0 if it cannot be told from 0.
    fn side(&self, point: [f64; 3]) -> f64 {
        let away = sub(point, self.corner);
        let side = dot(self.normal, away);
        if side.abs() > self.rounding * size(away) {
            side
        } else {
            0.0
        }
    }
}

fn size([x, y, z]: [f64; 3]) -> f64 {
    x.abs().max(y.abs()).max(z.abs())
}

/// Also when all lie in the plane.
fn all_on_one_side([a, b, c]: [f64; 3]) -> bool {
    (a > 0.0 && b > 0.0 && c > 0.0) || (a < 0.0 && b < 0.0 && c < 0.0) || (a == 0.0 && b == 0.0 && c == 0.0)
}

/// The two ends of what a triangle has in common with the other's plane, in order along the line.
fn span(corners: [[f64; 3]; 3], sides: [f64; 3], place: impl Fn([f64; 3]) -> f64) -> [(f64, [f64; 3]); 2] {
    let mut ends = [(f64::INFINITY, [0.0; 3]), (f64::NEG_INFINITY, [0.0; 3])];
    let mut meet = |point| {
        let at = place(point);
        if at < ends[0].0 {
            ends[0] = (at, point);
        }
        if at > ends[1].0 {
            ends[1] = (at, point);
        }
    };
    for corner in 0..3 {
        let next = (corner + 1) % 3;
        if sides[corner] == 0.0 {
            meet(corners[corner]);
        } else if sides[corner] * sides[next] < 0.0 {
            meet(lerp(
                corners[corner],
                corners[next],
                sides[corner] / (sides[corner] - sides[next]),
            ));
        }
    }
    ends
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::shapes::Random;
    use crate::geometry::vector::norm;

    const T1: Corners = [[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]];

    fn turned(t: Corners) -> Corners {
        [t[2], t[0], t[1]]
    }

    #[test]
    fn published_pairs() {
        let crossed = [[1.0, 1.0, -1.0], [1.0, 1.0, 1.0], [3.0, 1.0, 1.0]];
        for (first, second) in [(T1, crossed), (crossed, T1), (turned(T1), turned(crossed))] {
            let mut ends = crossing(first, second).unwrap();
            ends.sort_by(|p, q| p[0].total_cmp(&q[0]));
            assert_eq!(ends, [[1.0, 1.0, 0.0], [2.0, 1.0, 0.0]]);
        }
        assert_eq!(
            crossing(T1, [[3.0, 3.0, -1.0], [3.0, 3.0, 1.0], [5.0, 3.0, 1.0]]),
            None
        );
        assert_eq!(
            crossing(T1, [[1.0, 1.0, 0.0], [5.0, 1.0, 0.0], [1.0, 5.0, 0.0]]),
            None,
            "coplanar"
        );
        let touching = crossing(T1, [[1.0, 1.0, 0.0], [1.0, 1.0, 2.0], [2.0, 1.0, 2.0]]);
        assert_eq!(touching, Some([[1.0, 1.0, 0.0]; 2]));
    }

    #[test]
    fn no_area_no_crossing() {
        assert_eq!(
            crossing(T1, [[1.0, 1.0, -1.0], [1.0, 1.0, 1.0], [1.0, 1.0, 1.0]]),
            None
        );
        assert_eq!(crossing([[0.0; 3]; 3], [[0.0; 3]; 3]), None);
    }

    /// An edge of one passes through the other, or there is no crossing: tried edge by edge.
    #[test]
    fn agrees_with_edges_against_triangles() {
        let mut random = Random::new(11);
        let mut crossed = 0;
        for _ in 0..4000 {
            let mut triangle = || [random.point(), random.point(), random.point()];
            let (first, second) = (triangle(), triangle());
            let pierced = any_pierces(first, second) || any_pierces(second, first);
            let found = crossing(first, second);
            assert_eq!(found.is_some(), pierced);
            assert_eq!(crossing(second, first).is_some(), pierced);
            crossed += u32::from(pierced);
            for end in found.into_iter().flatten() {
                for triangle in [first, second] {
                    let plane = Plane::new(triangle.map(wide));
                    assert!((plane.side(end) / norm(plane.normal)).abs() < 1e-9);
                }
            }
        }
        assert!(crossed > 400 && crossed < 3600);
    }

    fn any_pierces(edges: Corners, triangle: Corners) -> bool {
        (0..3).any(|side| pierces([edges[side], edges[(side + 1) % 3]], triangle))
    }

    #[test]
    fn an_edge_that_touches_does_not_pierce() {
        assert!(pierces([[1.0, 1.0, -1.0], [1.0, 1.0, 1.0]], T1));
        assert!(
            !pierces([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0]], T1),
            "ends in the plane"
        );
        assert!(
            !pierces([[0.0, 1.0, -1.0], [0.0, 1.0, 1.0]], T1),
            "through a side"
        );
        assert!(!pierces([[3.0, 3.0, -1.0], [3.0, 3.0, 1.0]], T1), "beside it");
    }
}
