//! Flat pictures: which parts of a body can be looked at, counted pixel by pixel from all sides.
//!
//! An orthographic z-buffer of triangle ids, written for the tests and sharing nothing with the product's renderer or
//! rays. Every body triangle is cut into parts of one area. In a picture a part shows where the pixel under its centre
//! has its triangle's id, or that of a triangle beside it; its weight is the cosine of the directions in which it shows
//! over that of all directions that face it.
//! Counting all pixels of a part instead takes every part that shows in one corner for a whole one. On the trousers of
//! build 9 in a squat: 28.1 cm2 by whole triangles, 17.6 by parts of 10 mm2, 15.2 of 2 mm2; by centres 11.1 with pixels of
//! 1 mm, 12.0 of 0.5 mm.

use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap, HashSet};

/// Nobody is there.
pub(crate) const EMPTY: u32 = u32::MAX;
/// Fabric, from whichever side.
pub(crate) const FABRIC: u32 = u32::MAX - 1;
/// The inner side of the skin.
pub(crate) const INSIDE: u32 = u32::MAX - 2;

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
    /// By part: the weights of the second and third corner at its centre.
    centre: Vec<[f32; 2]>,
    /// By body triangle: its corners with all vertices of one place taken for one.
    welded: Vec<[u32; 3]>,
}

impl Parts {
    /// Cuts the triangles that `counts` takes into parts of at most `grain` square metres.
    pub(crate) fn new(body: Mesh, grain: f64, counts: impl Fn(usize) -> bool) -> Self {
        let mut parts = Self {
            of: Vec::new(),
            triangle: Vec::new(),
            centre: Vec::new(),
            welded: welded(body),
        };
        for (number, corners) in body.triangles.iter().enumerate() {
            if !counts(number) {
                parts.of.push((EMPTY, 0));
                continue;
            }
            let rows = (area(body.positions, *corners) / grain).sqrt().ceil().max(1.0) as u32;
            parts.of.push((parts.triangle.len() as u32, rows));
            parts.triangle.extend((0..rows * rows).map(|_| number as u32));
            for column in 0..rows {
                // Lower and upper ones take turns.
                for place in 0..2 * (rows - column) - 1 {
                    let third = if place % 2 == 0 { 1.0 } else { 2.0 } / 3.0;
                    let at = |whole: u32| (whole as f32 + third) / rows as f32;
                    parts.centre.push([at(column), at(place / 2)]);
                }
            }
        }
        parts
    }

    /// Whether two body triangles are one, or meet.
    fn meet(&self, a: u32, b: u32) -> bool {
        let (a, b) = (self.welded[a as usize], self.welded[b as usize]);
        a.iter().any(|corner| b.contains(corner))
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
        let upper =
            second * most - column as f32 + third * most - row as f32 > 1.0 && row + column + 1 < rows;
        Some((first + before + 2 * row + u32::from(upper)) as usize)
    }

    /// The middle of each part, metres.
    #[allow(dead_code, reason = "not everyone who shares this file needs it")]
    pub(crate) fn centres(&self, body: Mesh) -> Vec<[f32; 3]> {
        let of_part = |(triangle, [second, third]): (&u32, &[f32; 2])| {
            let at = body.triangles[*triangle as usize].map(|corner| body.positions[corner as usize]);
            let first = 1.0 - second - third;
            std::array::from_fn(|axis| first * at[0][axis] + second * at[1][axis] + third * at[2][axis])
        };
        self.triangle.iter().zip(&self.centre).map(of_part).collect()
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

/// Vertices at one place (to a micrometre) stand for one.
fn welded(mesh: Mesh) -> Vec<[u32; 3]> {
    let mut first = HashMap::new();
    let same: Vec<u32> = (0u32..)
        .zip(mesh.positions)
        .map(|(vertex, at)| {
            *first
                .entry(at.map(|v| (v * 1e6).round() as i64))
                .or_insert(vertex)
        })
        .collect();
    let of = |corners: &[u32; 3]| corners.map(|corner| same[corner as usize]);
    mesh.triangles.iter().map(of).collect()
}

fn area(positions: &[[f32; 3]], corners: [u32; 3]) -> f64 {
    let normal = twice_area(positions, corners);
    dot(normal, normal).sqrt() / 2.0
}

/// Unit normal, 0 for a triangle without area.
fn normal(positions: &[[f32; 3]], corners: [u32; 3]) -> [f64; 3] {
    let normal = twice_area(positions, corners);
    let length = dot(normal, normal).sqrt().max(f64::MIN_POSITIVE);
    normal.map(|value| value / length)
}

fn twice_area(positions: &[[f32; 3]], corners: [u32; 3]) -> [f64; 3] {
    let [a, b, c] = corners.map(|corner| positions[corner as usize].map(f64::from));
    cross(sub(b, a), sub(c, a))
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

/// The loops of open edges of a mesh, vertices of one place taken for one. An edge is open if no triangle has it the other
/// way round.
pub(crate) fn openings(mesh: Mesh) -> Vec<Vec<u32>> {
    let sides: HashSet<[u32; 2]> = welded(mesh)
        .iter()
        .flat_map(|[a, b, c]| [[*a, *b], [*b, *c], [*c, *a]])
        .collect();
    let open = sides.iter().filter(|[a, b]| !sides.contains(&[*b, *a]));
    let mut next: BTreeMap<u32, u32> = open.map(|[a, b]| (*a, *b)).collect();
    let mut found = Vec::new();
    while let Some((first, second)) = next.pop_first() {
        let mut ring = vec![first];
        let mut here = second;
        while let Some(to) = next.remove(&here) {
            ring.push(here);
            here = to;
        }
        found.push(ring);
    }
    found
}

/// The places of a mesh's vertices, moved out along their normals.
pub(crate) fn raised(mesh: Mesh, by: f64) -> Vec<[f32; 3]> {
    let mut sums = vec![[0.0f64; 3]; mesh.positions.len()];
    let welded = welded(mesh);
    for (corners, own) in welded.iter().zip(mesh.triangles) {
        let normal = twice_area(mesh.positions, *own);
        for corner in corners {
            let sum = &mut sums[*corner as usize];
            *sum = std::array::from_fn(|axis| sum[axis] + normal[axis]);
        }
    }
    let mut positions = mesh.positions.to_vec();
    for (corners, own) in welded.iter().zip(mesh.triangles) {
        for (corner, vertex) in corners.iter().zip(own) {
            let sum = sums[*corner as usize];
            let factor = by / dot(sum, sum).sqrt().max(f64::MIN_POSITIVE);
            let at = mesh.positions[*vertex as usize];
            positions[*vertex as usize] =
                std::array::from_fn(|axis| (f64::from(at[axis]) + sum[axis] * factor) as f32);
        }
    }
    positions
}

/// A mesh with its openings closed by fans about their middles.
pub(crate) fn closed(mesh: Mesh, openings: &[Vec<u32>]) -> (Vec<[f32; 3]>, Vec<[u32; 3]>) {
    let (mut positions, mut triangles) = (mesh.positions.to_vec(), mesh.triangles.to_vec());
    for ring in openings {
        let middle = positions.len() as u32;
        let sum = |axis: usize| {
            ring.iter()
                .map(|vertex| mesh.positions[*vertex as usize][axis])
                .sum::<f32>()
        };
        positions.push(std::array::from_fn(|axis| sum(axis) / ring.len() as f32));
        let ends = ring.iter().zip(ring.iter().cycle().skip(1));
        triangles.extend(ends.map(|(a, b)| [*b, *a, middle]));
    }
    (positions, triangles)
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
    /// By pixel, row by row from the top: a body triangle, or one of the ids above.
    pub(crate) ids: Vec<u32>,
    /// By pixel: towards the one who looks, metres.
    depth: Vec<f32>,
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
        let counted = scene
            .body
            .triangles
            .iter()
            .zip(&parts.of)
            .filter(|(_, of)| of.0 != EMPTY);
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
            eye,
        };
        for cloth in &scene.worn {
            picture.draw(*cloth, |_, _| FABRIC);
        }
        let skin = |triangle, faces| if faces { triangle } else { INSIDE };
        picture.draw(scene.body, skin);
        picture
    }

    /// Draws a mesh over what is there; `id` names a triangle that faces the eye, or does not.
    fn draw(&mut self, mesh: Mesh, id: impl Fn(u32, bool) -> u32) {
        let projected: Vec<[f32; 3]> = mesh.positions.iter().map(|at| self.eye.project(*at)).collect();
        for (number, corners) in (0u32..).zip(mesh.triangles) {
            let [a, b, c] = corners.map(|corner| projected[corner as usize]);
            // Rows run down: a triangle that faces the eye runs clockwise here, and `twice` is negative.
            let twice = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
            if twice != 0.0 && !twice.is_nan() {
                self.draw_triangle([a, b, c], twice, id(number, twice < 0.0));
            }
        }
    }

    /// Whether the centre of a part shows: its triangle, or one beside it, has the pixel there, and fabric none of the four
    /// pixels round it. (With that pixel alone a place half a pixel behind the fabric's edge shows whenever the raster
    /// falls well, which is more often than in 5 % of the pictures.)
    fn shows(&self, scene: &Scene, parts: &Parts, part: usize) -> bool {
        let triangle = parts.triangle[part];
        let [a, b, c] = scene.body.triangles[triangle as usize];
        let [second, third] = parts.centre[part];
        let at = |vertex: u32, axis: usize| scene.body.positions[vertex as usize][axis];
        let place = std::array::from_fn(|axis| {
            (1.0 - second - third) * at(a, axis) + second * at(b, axis) + third * at(c, axis)
        });
        let [column, row, _] = self.eye.project(place);
        let id = |column: f32, row: f32| {
            let (column, row) = (
                column.clamp(0.0, self.width as f32 - 1.0),
                row.clamp(0.0, self.height as f32 - 1.0),
            );
            self.ids[row as usize * self.width + column as usize]
        };
        let own = id(column, row);
        own < INSIDE
            && parts.meet(own, triangle)
            && [[-0.5, -0.5], [-0.5, 0.5], [0.5, -0.5], [0.5, 0.5]]
                .iter()
                .all(|[x, y]| id(column + x, row + y) != FABRIC)
    }

    fn draw_triangle(&mut self, [a, b, c]: [[f32; 3]; 3], twice: f32, id: u32) {
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
                let pixel = row * self.width + column;
                if depth > self.depth[pixel] {
                    (self.depth[pixel], self.ids[pixel]) = (depth, id);
                }
            }
        }
    }
}

/// By part: the share of its directions in which it shows, each weighing the cosine to its normal; 0 where none faces it.
pub(crate) fn weights(scene: &Scene, parts: &Parts, directions: &[[f64; 3]], pixel: f64) -> Vec<f64> {
    let normals: Vec<[f64; 3]> = (0..scene.body.triangles.len())
        .map(|number| normal(scene.body.positions, scene.body.triangles[number]))
        .collect();
    let count = parts.triangle.len();
    let empty = || vec![[0.0f64; 2]; count];
    let add = |mut sums: Vec<[f64; 2]>, (direction, picture): (&[f64; 3], Picture)| {
        for (part, sum) in sums.iter_mut().enumerate() {
            let triangle = parts.triangle[part];
            let cosine = dot(normals[triangle as usize], *direction);
            if cosine > 0.0 {
                sum[0] += if picture.shows(scene, parts, part) {
                    cosine
                } else {
                    0.0
                };
                sum[1] += cosine;
            }
        }
        sums
    };
    // In chunks of a fixed size, so that the sums do not depend on who adds them.
    let sums: Vec<Vec<[f64; 2]>> = directions
        .par_chunks(16)
        .map(|chunk| {
            let drawn = chunk
                .iter()
                .map(|towards| (towards, Picture::new(scene, parts, *towards, pixel)));
            drawn.fold(empty(), add)
        })
        .collect();
    let share = |part: usize| {
        let of = |which: usize| sums.iter().map(|chunk| chunk[part][which]).sum::<f64>();
        of(0) / of(1).max(f64::MIN_POSITIVE)
    };
    (0..count).map(share).collect()
}
