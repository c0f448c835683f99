//! Flat pictures: which parts of a body can be looked at, counted pixel by pixel from all sides.
//!
//! An orthographic z-buffer of ids, written for the tests and sharing nothing with the product's renderer or rays. Every
//! body triangle is cut into parts; a part's weight is the share of its pixels that show, over all directions that face
//! it. Seen straight on a part has the most pixels, edge on none, so that pixels carry the cosine by themselves.

use rayon::prelude::*;

/// Nobody is there.
pub(crate) const EMPTY: u32 = u32::MAX;
/// Fabric, from whichever side.
pub(crate) const FABRIC: u32 = u32::MAX - 1;
/// Body that is not counted: beyond the asked triangles, or the inner side of the skin.
pub(crate) const BODY: u32 = u32::MAX - 2;
/// Of two things this close in depth the fabric is in front, and of two the one drawn first, metres.
const TIE: f32 = 0.02e-3;

/// A mesh, borrowed.
#[derive(Clone, Copy)]
pub(crate) struct Mesh<'a> {
    pub(crate) positions: &'a [[f32; 3]],
    pub(crate) triangles: &'a [[u32; 3]],
}

/// The parts that the counted triangles of a body are cut into: `rows` x `rows` each, all of a triangle's of one area.
pub(crate) struct Parts {
    /// By body triangle: its first part and its rows; [`EMPTY`] where it is not counted.
    of: Vec<(u32, u32)>,
    /// By part: the triangle.
    pub(crate) triangle: Vec<u32>,
}

impl Parts {
    /// Cuts the triangles that `counts` takes into parts of at most `grain` square metres.
    pub(crate) fn new(body: Mesh, grain: f64, counts: impl Fn(usize) -> bool) -> Self {
        let (mut of, mut triangle) = (Vec::new(), Vec::new());
        for (number, corners) in body.triangles.iter().enumerate() {
            if !counts(number) {
                of.push((EMPTY, 0));
                continue;
            }
            let rows = (area(body.positions, *corners) / grain).sqrt().ceil().max(1.0) as u32;
            of.push((triangle.len() as u32, rows));
            triangle.extend((0..rows * rows).map(|_| number as u32));
        }
        Self { of, triangle }
    }

    /// The part of a triangle at the weights of its second and third corner; `None` where it is not counted.
    pub(crate) fn at(&self, triangle: usize, [second, third]: [f32; 2]) -> Option<usize> {
        let (first, rows) = self.of[triangle];
        if first == EMPTY {
            return None;
        }
        let most = rows as f32;
        let column = ((second * most) as u32).min(rows - 1);
        let row = ((third * most) as u32).min(rows - 1 - column);
        // Columns hold 2 (rows - column) - 1 parts, one behind the other.
        let before = column * (2 * rows - column);
        let upper = second * most - column as f32 + third * most - row as f32 > 1.0 && row + column + 1 < rows;
        Some((first + before + 2 * row + u32::from(upper)) as usize)
    }

    /// Area of each part, square metres.
    pub(crate) fn areas(&self, body: Mesh) -> Vec<f64> {
        let of_part = |triangle: &u32| {
            let number = *triangle as usize;
            let rows = f64::from(self.of[number].1);
            area(body.positions, body.triangles[number]) / (rows * rows)
        };
        self.triangle.iter().map(of_part).collect()
    }
}

fn area(positions: &[[f32; 3]], corners: [u32; 3]) -> f64 {
    let [a, b, c] = corners.map(|corner| positions[corner as usize].map(f64::from));
    let (u, v) = (sub(b, a), sub(c, a));
    let normal = cross(u, v);
    dot(normal, normal).sqrt() / 2.0
}

fn sub(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|axis| a[axis] - b[axis])
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|axis| a[axis] * b[axis]).sum()
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

/// Directions spread evenly over the sphere (Fibonacci lattice), towards the one who looks.
pub(crate) fn directions(count: usize) -> Vec<[f64; 3]> {
    let golden = std::f64::consts::PI * (3.0 - 5f64.sqrt());
    (0..count)
        .map(|number| {
            let y = 1.0 - (2 * number + 1) as f64 / count as f64;
            let (radius, turn) = ((1.0 - y * y).sqrt(), golden * number as f64);
            [radius * turn.cos(), y, radius * turn.sin()]
        })
        .collect()
}

/// What is drawn: a body, and what is worn.
pub(crate) struct Scene<'a> {
    pub(crate) body: Mesh<'a>,
    pub(crate) worn: Vec<Mesh<'a>>,
}

/// A picture of ids.
pub(crate) struct Picture {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// By pixel, row by row from the top: a part, or one of the ids above.
    pub(crate) ids: Vec<u32>,
    /// By pixel: towards the one who looks, metres.
    depth: Vec<f32>,
    /// Every pixel a part would have with nothing in front of it.
    all: Vec<u32>,
    eye: Eye,
}

/// The axes of a picture, and the place of its first pixel.
struct Eye {
    right: [f64; 3],
    up: [f64; 3],
    towards: [f64; 3],
    corner: [f64; 2],
    pixel: f64,
}

impl Eye {
    fn new(towards: [f64; 3], pixel: f64) -> Self {
        let other = if towards[1].abs() < 0.9 {
            [0.0, 1.0, 0.0]
        } else {
            [0.0, 0.0, 1.0]
        };
        let right = cross(other, towards);
        let length = dot(right, right).sqrt();
        let right = right.map(|value| value / length);
        Self {
            right,
            up: cross(towards, right),
            towards,
            corner: [0.0; 2],
            pixel,
        }
    }

    /// Column, row and depth; rows run down.
    fn project(&self, position: [f32; 3]) -> [f32; 3] {
        let at = position.map(f64::from);
        let column = (dot(at, self.right) - self.corner[0]) / self.pixel;
        let row = (self.corner[1] - dot(at, self.up)) / self.pixel;
        [column as f32, row as f32, dot(at, self.towards) as f32]
    }
}

impl Picture {
    /// A scene from one direction, cut off round the counted parts; `pixel` in metres.
    pub(crate) fn new(scene: &Scene, parts: &Parts, towards: [f64; 3], pixel: f64) -> Self {
        let mut eye = Eye::new(towards, pixel);
        let (mut least, mut most) = ([f64::MAX; 2], [f64::MIN; 2]);
        let counted = scene.body.triangles.iter().zip(&parts.of).filter(|(_, of)| of.0 != EMPTY);
        for corner in counted.flat_map(|(corners, _)| corners) {
            let at = scene.body.positions[*corner as usize].map(f64::from);
            for (axis, along) in [eye.right, eye.up].into_iter().enumerate() {
                least[axis] = least[axis].min(dot(at, along));
                most[axis] = most[axis].max(dot(at, along));
            }
        }
        eye.corner = [least[0], most[1]];
        let size = |axis: usize| ((most[axis] - least[axis]) / pixel).ceil().max(1.0) as usize;
        let (width, height) = (size(0), size(1));
        let mut picture = Self {
            width,
            height,
            ids: vec![EMPTY; width * height],
            depth: vec![f32::MIN; width * height],
            all: vec![0; parts.triangle.len()],
            eye,
        };
        for cloth in &scene.worn {
            picture.draw(*cloth, |_, _| FABRIC);
        }
        picture.draw(scene.body, |triangle, weights| {
            parts.at(triangle, weights).map_or(BODY, |part| part as u32)
        });
        picture
    }

    /// Draws a mesh over what is there; `id` names a pixel by triangle and the weights of its second and third corner.
    fn draw(&mut self, mesh: Mesh, id: impl Fn(usize, [f32; 2]) -> u32) {
        let projected: Vec<[f32; 3]> = mesh.positions.iter().map(|at| self.eye.project(*at)).collect();
        for (number, corners) in mesh.triangles.iter().enumerate() {
            let [a, b, c] = corners.map(|corner| projected[corner as usize]);
            self.draw_triangle([a, b, c], |weights| id(number, weights));
        }
    }

    fn draw_triangle(&mut self, [a, b, c]: [[f32; 3]; 3], id: impl Fn([f32; 2]) -> u32) {
        // Rows run down: a triangle that faces the eye runs clockwise here, and `twice` is negative.
        let twice = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if twice == 0.0 || twice.is_nan() {
            return;
        }
        let range = |axis: usize, size: usize| {
            let least = a[axis].min(b[axis]).min(c[axis]);
            let most = a[axis].max(b[axis]).max(c[axis]);
            // Pixel centres lie at halves.
            let first = (least - 0.5).ceil().max(0.0);
            let last = (most - 0.5).floor().min(size as f32 - 1.0);
            (first as usize, last)
        };
        let ((left, right), (top, bottom)) = (range(0, self.width), range(1, self.height));
        if right < left as f32 || bottom < top as f32 {
            return;
        }
        let faces = twice < 0.0;
        for row in top..=bottom as usize {
            let y = row as f32 + 0.5 - a[1];
            for column in left..=right as usize {
                let x = column as f32 + 0.5 - a[0];
                let second = (x * (c[1] - a[1]) - y * (c[0] - a[0])) / twice;
                let third = ((b[0] - a[0]) * y - (b[1] - a[1]) * x) / twice;
                if second < 0.0 || third < 0.0 || second + third > 1.0 {
                    continue;
                }
                let depth = a[2] + second * (b[2] - a[2]) + third * (c[2] - a[2]);
                let id = match id([second, third]) {
                    FABRIC => FABRIC,
                    _ if !faces => BODY,
                    id => id,
                };
                if id < BODY {
                    self.all[id as usize] += 1;
                }
                let pixel = row * self.width + column;
                if depth > self.depth[pixel] + TIE {
                    (self.depth[pixel], self.ids[pixel]) = (depth, id);
                }
            }
        }
    }
}

/// By part: the share of its pixels that show, over all directions that face it; 0 where none does.
pub(crate) fn weights(scene: &Scene, parts: &Parts, directions: &[[f64; 3]], pixel: f64) -> Vec<f64> {
    let count = parts.triangle.len();
    let empty = || (vec![0u32; count], vec![0u32; count]);
    let add = |(mut seen, mut all): (Vec<u32>, Vec<u32>), picture: Picture| {
        for id in picture.ids.iter().filter(|id| **id < BODY) {
            seen[*id as usize] += 1;
        }
        all.iter_mut().zip(&picture.all).for_each(|(sum, own)| *sum += own);
        (seen, all)
    };
    let sum = |mut a: (Vec<u32>, Vec<u32>), b: (Vec<u32>, Vec<u32>)| {
        a.0.iter_mut().zip(&b.0).for_each(|(sum, own)| *sum += own);
        a.1.iter_mut().zip(&b.1).for_each(|(sum, own)| *sum += own);
        a
    };
    let (seen, all) = directions
        .par_iter()
        .map(|direction| Picture::new(scene, parts, *direction, pixel))
        .fold(empty, add)
        .reduce(empty, sum);
    let share = |(seen, all): (&u32, &u32)| f64::from(*seen) / f64::from((*all).max(1));
    seen.iter().zip(&all).map(share).collect()
}
