//! Which triangle is nearest at every sample of a picture.

use super::camera::Camera;
use super::picture::{Image, Shape};

/// Samples per pixel and axis.
pub(super) const FINE: usize = 2;

/// The scale at which the camera's extent fits in.
pub(super) fn pixels_per_metre(camera: &Camera, size: [u32; 2]) -> f32 {
    (size[0] as f32 / (2.0 * camera.extent[0])).min(size[1] as f32 / (2.0 * camera.extent[1]))
}

/// The grid of samples a picture is drawn on.
pub(super) struct Frame<'a> {
    pub(super) camera: &'a Camera,
    pub(super) wide: usize,
    pub(super) high: usize,
    scale: f32,
}

impl<'a> Frame<'a> {
    pub(super) fn new(camera: &'a Camera, size: [u32; 2]) -> Self {
        let [wide, high] = size.map(|pixels| pixels as usize * FINE);
        Self {
            camera,
            wide,
            high,
            scale: pixels_per_metre(camera, size) * FINE as f32,
        }
    }

    /// Sample column, row, and metres towards the eye.
    fn place(&self, point: [f32; 3]) -> [f32; 3] {
        let [right, up, near] = self.camera.view(point);
        [
            self.wide as f32 / 2.0 + right * self.scale,
            self.high as f32 / 2.0 - up * self.scale,
            near,
        ]
    }

    pub(super) fn corners(&self, shape: &Shape, triangle: usize) -> Option<[[f32; 3]; 3]> {
        let corners = shape.triangles.get(triangle)?;
        let mut placed = [[0.0; 3]; 3];
        for (at, &corner) in placed.iter_mut().zip(corners) {
            *at = self.place(*shape.positions.get(corner as usize)?);
        }
        all_finite(placed)
    }
}

/// What is nearest at every sample.
pub(super) struct Buffer {
    pub(super) near: Vec<f32>,
    /// Number of the triangle over all shapes, from 1; 0 is the background.
    pub(super) triangle: Vec<u32>,
}

impl Buffer {
    pub(super) fn new(samples: usize) -> Self {
        Self {
            near: vec![f32::NEG_INFINITY; samples],
            triangle: vec![0; samples],
        }
    }

    pub(super) fn fill(&mut self, shape: &Shape, frame: &Frame, first: u32) {
        let clear = frame.camera.clear.unwrap_or(f32::INFINITY);
        // Once per vertex: each is a corner of six triangles.
        let placed: Vec<[f32; 3]> = shape.positions.iter().map(|&point| frame.place(point)).collect();
        for (triangle, corners) in shape.triangles.iter().enumerate() {
            let [Some(a), Some(b), Some(c)] = corners.map(|corner| placed.get(corner as usize)) else {
                continue;
            };
            let Some(corners) = all_finite([*a, *b, *c]) else {
                continue;
            };
            let [x, y] = [0, 1].map(|axis| span(corners.map(|c| c[axis]), [frame.wide, frame.high][axis]));
            for row in y.clone() {
                for column in x.clone() {
                    let Some(shares) = shares([column as f32 + 0.5, row as f32 + 0.5], &corners) else {
                        continue;
                    };
                    let near: f32 = (0..3).map(|c| shares[c] * corners[c][2]).sum();
                    let at = row * frame.wide + column;
                    if near > self.near[at] && near < clear {
                        self.near[at] = near;
                        self.triangle[at] = first + triangle as u32 + 1;
                    }
                }
            }
        }
    }
}

fn all_finite(corners: [[f32; 3]; 3]) -> Option<[[f32; 3]; 3]> {
    corners.iter().flatten().all(|c| c.is_finite()).then_some(corners)
}

/// Whether nothing hides a point that lies on or just under a surface.
pub(super) fn is_seen(shapes: &[Shape], camera: &Camera, point: [f32; 3]) -> bool {
    /// How deep under the foremost surface a point may lie, metres: the focus may be under thin fabric.
    const UNDER: f32 = 0.01;
    let frame = Frame::new(camera, [120, 150]);
    let mut buffer = Buffer::new(frame.wide * frame.high);
    for shape in shapes {
        buffer.fill(shape, &frame, 0);
    }
    let [column, row, near] = frame.place(point);
    if !(column >= 0.0 && row >= 0.0 && (column as usize) < frame.wide && (row as usize) < frame.high) {
        return false;
    }
    buffer.near[row as usize * frame.wide + column as usize] <= near + UNDER
}

/// The samples between the least and the largest of three coordinates.
fn span(of: [f32; 3], end: usize) -> std::ops::Range<usize> {
    let least = of[0].min(of[1]).min(of[2]).max(0.0) as usize;
    let most = of[0].max(of[1]).max(of[2]).max(0.0) as usize;
    least..(most + 1).min(end)
}

/// How much of each corner a sample has, adding up to 1; `None` outside the triangle.
pub(super) fn shares(at: [f32; 2], corners: &[[f32; 3]; 3]) -> Option<[f32; 3]> {
    let [a, b, c] = corners;
    let turn = |p: [f32; 2], q: &[f32; 3], r: &[f32; 3]| {
        (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
    };
    let whole = turn([a[0], a[1]], b, c);
    let of = [turn(at, b, c), turn(at, c, a), turn(at, a, b)].map(|part| part / whole);
    (whole != 0.0 && of.iter().all(|share| *share >= 0.0)).then_some(of)
}

/// The samples of each pixel, averaged.
pub(super) fn average(samples: &[[f32; 3]], frame: &Frame, size: [u32; 2]) -> Image {
    let mut rgb = Vec::with_capacity(size[0] as usize * size[1] as usize * 3);
    for y in 0..size[1] as usize {
        for x in 0..size[0] as usize {
            let fine =
                |which: usize| samples[(y * FINE + which / FINE) * frame.wide + x * FINE + which % FINE];
            rgb.extend((0..3).map(|c| {
                let sum: f32 = (0..FINE * FINE).map(|which| fine(which)[c]).sum();
                (sum / (FINE * FINE) as f32).round() as u8
            }));
        }
    }
    Image {
        width: size[0],
        height: size[1],
        rgb,
    }
}
