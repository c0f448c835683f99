//! What a posed figure looks like: still pictures, drawn without any graphics hardware.
//!
//! One z-buffer at twice the size, light worked out per pixel, averaged down; no thread and no platform maths inside,
//! so the same shapes give the same bytes.

pub use super::camera::{Bounds, Camera, bounds_of};
pub use super::colour::Scale;

use super::raster::{Buffer, Frame, average, pixels_per_metre};
use super::shade::shade;

/// A neutral grey, for bodies.
pub const BODY: [u8; 3] = [172, 172, 173];
/// A quiet cloth colour, for the garment under test.
pub const CLOTH: [u8; 3] = [118, 138, 150];
/// Drawing paper.
pub const PAPER: [u8; 3] = [243, 241, 236];
/// Outlines and rings.
pub(super) const INK: [f32; 3] = [28.0, 24.0, 32.0];
const CHALK: [f32; 3] = [255.0, 255.0, 255.0];

/// One surface as posed.
pub struct Shape<'a> {
    /// Metres, glTF axes.
    pub positions: &'a [[f32; 3]],
    /// Corners into `positions`; a triangle out of range or not finite is left out.
    pub triangles: &'a [[u32; 3]],
    /// How it is coloured.
    pub paint: Paint<'a>,
}

/// How a surface is coloured.
#[derive(Clone, Copy)]
pub enum Paint<'a> {
    /// One sRGB colour.
    Plain([u8; 3]),
    /// Coloured by a value per vertex.
    Heat {
        /// One per vertex; NaN is not measured and drawn in `plain`.
        values: &'a [f32],
        /// From which value to which.
        scale: Scale,
        /// The surface's own colour.
        plain: [u8; 3],
    },
    /// A check pattern that shows how the texture lies.
    Check {
        /// One per vertex.
        uvs: &'a [[f32; 2]],
        /// Squares along one unit of U and V.
        squares: f32,
        /// The two colours.
        colours: [[u8; 3]; 2],
    },
}

/// A finished picture: sRGB, 8 bits, rows from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Three bytes per pixel.
    pub rgb: Vec<u8>,
}

/// Draws the shapes. Whatever is over its limit is outlined; borders between surfaces are drawn as thin lines.
pub fn draw(shapes: &[Shape], camera: &Camera, size: [u32; 2], background: [u8; 3]) -> Image {
    let frame = Frame::new(camera, size);
    let mut buffer = Buffer::new(frame.wide * frame.high);
    let mut first = 0;
    for shape in shapes {
        buffer.fill(shape, &frame, first);
        first += shape.triangles.len() as u32;
    }
    let samples = shade(shapes, &frame, &buffer, background.map(f32::from));
    average(&samples, &frame, size)
}

impl Image {
    /// As a PNG file.
    pub fn png(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, self.width, self.height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Balanced);
        let written = encoder
            .write_header()
            .and_then(|mut w| w.write_image_data(&self.rgb));
        written.expect("memory takes every byte, and `rgb` holds width times height pixels");
        bytes
    }

    /// A ring round a point of the world, `radius` pixels wide, ink between two lines of chalk.
    pub fn ring(&mut self, camera: &Camera, point: [f32; 3], radius: f32) {
        let size = [self.width, self.height];
        let per_metre = pixels_per_metre(camera, size);
        let [right, up, _] = camera.view(point);
        let centre = [
            size[0] as f32 / 2.0 + right * per_metre,
            size[1] as f32 / 2.0 - up * per_metre,
        ];
        for y in 0..self.height {
            for x in 0..self.width {
                let off = [x as f32 + 0.5 - centre[0], y as f32 + 0.5 - centre[1]];
                let from_line = ((off[0] * off[0] + off[1] * off[1]).sqrt() - radius).abs();
                self.blend(x, y, CHALK, (3.0 - from_line).clamp(0.0, 1.0));
                self.blend(x, y, INK, (1.75 - from_line).clamp(0.0, 1.0));
            }
        }
    }

    /// A line round pixels, ink between two lines of chalk. `inside` has one entry a pixel, rows from the top.
    pub fn line_round(&mut self, inside: &[bool]) {
        /// How far the line reaches from the border, pixels.
        const REACH: i64 = 3;
        let [wide, high] = [i64::from(self.width), i64::from(self.height)];
        let within = |x: i64, y: i64| (0..wide).contains(&x) && (0..high).contains(&y);
        let is = |x: i64, y: i64| within(x, y) && inside[(y * wide + x) as usize];
        let border: Vec<(i64, i64)> = (0..high)
            .flat_map(|y| (0..wide).map(move |x| (x, y)))
            .filter(|&(x, y)| {
                is(x, y)
                    && [(1, 0), (-1, 0), (0, 1), (0, -1)]
                        .iter()
                        .any(|&(a, b)| !is(x + a, y + b))
            })
            .collect();
        let mut nearest = vec![f32::INFINITY; inside.len()];
        for (x, y) in border {
            for (a, b) in (-REACH..=REACH).flat_map(|b| (-REACH..=REACH).map(move |a| (a, b))) {
                if within(x + a, y + b) {
                    let slot = &mut nearest[((y + b) * wide + x + a) as usize];
                    *slot = slot.min(((a * a + b * b) as f32).sqrt());
                }
            }
        }
        for (at, far) in nearest.into_iter().enumerate().filter(|(_, far)| far.is_finite()) {
            let (x, y) = (at as u32 % self.width, at as u32 / self.width);
            self.blend(x, y, CHALK, (2.8 - far).clamp(0.0, 1.0));
            self.blend(x, y, INK, (1.6 - far).clamp(0.0, 1.0));
        }
    }

    /// A piece of tape measure: `count` blocks of `block` pixels from the left end at `from`, ink and chalk by turns.
    pub fn tape(&mut self, from: [f32; 2], block: f32, count: u32) {
        const HIGH: u32 = 7;
        let (left, top) = (from[0], from[1] as u32);
        let right = left + block * count as f32;
        let [wide, high] = [self.width, self.height];
        for y in (top.saturating_sub(1)..=top + HIGH).filter(|y| *y < high) {
            for x in ((left as u32).saturating_sub(1)..=right as u32 + 1).filter(|x| *x < wide) {
                let along = (x as f32 + 0.5 - left) / block;
                let rim = y + 1 == top || y == top + HIGH || along < 0.0 || along >= count as f32;
                let dark = rim || (along as u32).is_multiple_of(2);
                self.blend(x, y, if dark { INK } else { CHALK }, 1.0);
            }
        }
    }

    fn blend(&mut self, x: u32, y: u32, colour: [f32; 3], share: f32) {
        let at = (y as usize * self.width as usize + x as usize) * 3;
        for (c, byte) in self.rgb[at..at + 3].iter_mut().enumerate() {
            *byte = (f32::from(*byte) * (1.0 - share) + colour[c] * share).round() as u8;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample::{capsule, save};

    fn sample_picture() -> Image {
        let (body, body_triangles) = capsule([0.0, 0.0, 0.0], [0.0, 0.8, 0.0], 0.1, 48);
        let (cloth, cloth_triangles) = capsule([0.0, 0.1, 0.0], [0.0, 0.4, 0.0], 0.105, 48);
        let scale = Scale {
            bottom: 0.0,
            top: 12.0,
            limit: Some(4.0),
        };
        let values: Vec<f32> = cloth
            .iter()
            .map(|p| {
                if p[1] > 0.45 {
                    f32::NAN
                } else {
                    12.0 - 80.0 * ((p[0] - 0.05).powi(2) + (p[1] - 0.3).powi(2)).sqrt()
                }
            })
            .collect();
        let shapes = [
            Shape {
                positions: &body,
                triangles: &body_triangles,
                paint: Paint::Plain(BODY),
            },
            Shape {
                positions: &cloth,
                triangles: &cloth_triangles,
                paint: Paint::Heat {
                    values: &values,
                    scale,
                    plain: CLOTH,
                },
            },
        ];
        let camera = Camera::around(bounds_of(&body), 20.0, 10.0);
        let mut image = draw(&shapes, &camera, [480, 640], PAPER);
        image.ring(&camera, [0.05, 0.3, 0.09], 60.0);
        save("picture.png", &image.png());
        image
    }

    #[test]
    fn the_same_shapes_give_the_same_bytes() {
        assert_eq!(sample_picture().png(), sample_picture().png());
    }

    #[test]
    fn a_png_reads_back_as_drawn() {
        let image = sample_picture();
        let bytes = image.png();
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .unwrap();
        let mut rgb = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut rgb).unwrap();
        assert_eq!(
            (info.width, info.height, rgb),
            (image.width, image.height, image.rgb)
        );
    }

    #[test]
    fn what_is_nearer_hides_what_is_behind() {
        let sheet = |z: f32| [[-1.0, -1.0, z], [1.0, -1.0, z], [1.0, 1.0, z], [-1.0, 1.0, z]];
        let (near, far) = (sheet(0.1), sheet(-0.1));
        let triangles = [[0, 1, 2], [0, 2, 3]];
        let shape = |positions, colour| Shape {
            positions,
            triangles: &triangles,
            paint: Paint::Plain(colour),
        };
        let camera = Camera::at([0.0; 3], [0.0, 0.0, 1.0], 0.5);
        let image = draw(
            &[shape(&near, [200, 0, 0]), shape(&far, [0, 0, 200])],
            &camera,
            [8, 8],
            PAPER,
        );
        assert!(
            image.rgb.chunks(3).all(|p| p[0] > 100 && p[2] == 0),
            "{:?}",
            &image.rgb[..3]
        );
        let behind = Camera::at([0.0; 3], [0.0, 0.0, -1.0], 0.5);
        let image = draw(
            &[shape(&near, [200, 0, 0]), shape(&far, [0, 0, 200])],
            &behind,
            [8, 8],
            PAPER,
        );
        assert!(image.rgb.chunks(3).all(|p| p[0] == 0 && p[2] > 80));
    }

    #[test]
    fn broken_triangles_are_left_out() {
        let positions = [[0.0; 3], [1.0, 0.0, 0.0], [f32::NAN, 0.0, 0.0]];
        let shape = Shape {
            positions: &positions,
            triangles: &[[0, 1, 2], [0, 1, 9], [0, 0, 0]],
            paint: Paint::Plain(BODY),
        };
        let camera = Camera::around(bounds_of(&positions), 0.0, 0.0);
        let image = draw(&[shape], &camera, [16, 16], PAPER);
        assert!(image.rgb.chunks(3).all(|p| p == PAPER));
    }
}
