//! Which point of the skin lies beneath a point of cloth?

use nalgebra::Vector3;

type Point = Vector3<f64>;

/// A box tree over triangles.
pub(super) struct Under<'a> {
    points: &'a [Point],
    triangles: Vec<[u32; 3]>,
    nodes: Vec<Bound>,
}

#[derive(Clone, Copy)]
struct Bound {
    low: Point,
    high: Point,
    start: usize,
    end: usize,
    /// Index of the second child; the first follows its parent. 0 for a leaf.
    second: usize,
}

/// Three vertices and their shares.
pub(super) type Spot = [(u32, f64); 3];

impl<'a> Under<'a> {
    /// A tree over `triangles` of the skin `points`.
    pub(super) fn new(points: &'a [Point], triangles: Vec<[u32; 3]>) -> Self {
        let mut tree = Self {
            points,
            triangles,
            nodes: Vec::new(),
        };
        tree.split(0, tree.triangles.len());
        tree
    }

    fn split(&mut self, start: usize, end: usize) {
        let mut low = Vector3::repeat(f64::INFINITY);
        let mut high = -low;
        for vertex in self.triangles[start..end].iter().flatten() {
            low = low.inf(&self.points[*vertex as usize]);
            high = high.sup(&self.points[*vertex as usize]);
        }
        let node = self.nodes.len();
        self.nodes.push(Bound {
            low,
            high,
            start,
            end,
            second: 0,
        });
        if end - start <= 6 {
            return;
        }
        let axis = (high - low).imax();
        let points = self.points;
        let middle = |t: &[u32; 3]| t.iter().map(|vertex| points[*vertex as usize][axis]).sum::<f64>();
        let half = (end - start) / 2;
        self.triangles[start..end]
            .select_nth_unstable_by(half, |a, b| middle(a).total_cmp(&middle(b)).then(a.cmp(b)));
        self.split(start, start + half);
        self.nodes[node].second = self.nodes.len();
        self.split(start + half, end);
    }

    /// The nearest point of the skin that faces within about 75 degrees of `normal`, and how far it is; where such skin
    /// is much further than the nearest of all, that one.
    pub(super) fn facing(&self, point: &Point, normal: &Point) -> (f64, Spot) {
        let mut any = (f64::INFINITY, [(0, 1.0), (0, 0.0), (0, 0.0)]);
        self.search(0, point, None, &mut any);
        let mut facing = any;
        facing.0 = (any.0.sqrt() + FARTHER).powi(2);
        self.search(0, point, Some(normal), &mut facing);
        (facing.0.sqrt().min(any.0.sqrt() + FARTHER), facing.1)
    }

    fn faces(&self, triangle: &[u32; 3], normal: &Point) -> bool {
        let [a, b, c] = triangle.map(|vertex| self.points[vertex as usize]);
        let face = (b - a).cross(&(c - a));
        face.dot(normal) > ALIKE * face.norm()
    }

    fn search(&self, node: usize, point: &Point, normal: Option<&Point>, best: &mut (f64, Spot)) {
        let bound = &self.nodes[node];
        if away(bound, point) >= best.0 {
            return;
        }
        if bound.second == 0 {
            for triangle in &self.triangles[bound.start..bound.end] {
                if normal.is_some_and(|normal| !self.faces(triangle, normal)) {
                    continue;
                }
                let shares = closest(point, triangle.map(|vertex| self.points[vertex as usize]));
                let at: Point = (0..3)
                    .map(|corner| self.points[triangle[corner] as usize] * shares[corner])
                    .sum();
                let squared = (at - point).norm_squared();
                if squared < best.0 {
                    *best = (
                        squared,
                        std::array::from_fn(|corner| (triangle[corner], shares[corner])),
                    );
                }
            }
            return;
        }
        let (mut near, mut far) = (node + 1, bound.second);
        if away(&self.nodes[far], point) < away(&self.nodes[near], point) {
            std::mem::swap(&mut near, &mut far);
        }
        self.search(near, point, normal, best);
        self.search(far, point, normal, best);
    }
}

/// Skin faces the way the cloth does when the cosine between them is above this.
const ALIKE: f64 = 0.25;
/// How much further than the nearest skin the skin beneath may be, metres.
const FARTHER: f64 = 0.03;

fn away(bound: &Bound, point: &Point) -> f64 {
    (bound.low - point)
        .sup(&(point - bound.high))
        .sup(&Vector3::zeros())
        .norm_squared()
}

/// Shares of the corners at the closest point of a triangle (Ericson 2005, section 5.1.5).
fn closest(p: &Point, [a, b, c]: [Point; 3]) -> [f64; 3] {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(&ap), ac.dot(&ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return [1.0, 0.0, 0.0];
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(&bp), ac.dot(&bp));
    if d3 >= 0.0 && d4 <= d3 {
        return [0.0, 1.0, 0.0];
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        let t = d1 / (d1 - d3);
        return [1.0 - t, t, 0.0];
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(&cp), ac.dot(&cp));
    if d6 >= 0.0 && d5 <= d6 {
        return [0.0, 0.0, 1.0];
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        let t = d2 / (d2 - d6);
        return [1.0 - t, 0.0, t];
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 - d3 >= 0.0 && d5 - d6 >= 0.0 {
        let t = (d4 - d3) / ((d4 - d3) + (d5 - d6));
        return [0.0, 1.0 - t, t];
    }
    let sum = va + vb + vc;
    [va / sum, vb / sum, vc / sum]
}
