//! The colour of every sample of a picture: paint, light, outlines.

use super::camera::{Camera, cross, dot, sub, unit};
use super::picture::{INK, Paint, Shape};
use super::raster::{Buffer, FINE, Frame, shares};

/// The colour of every sample.
pub(super) fn shade(shapes: &[Shape], frame: &Frame, buffer: &Buffer, background: [f32; 3]) -> Vec<[f32; 3]> {
    let normals: Vec<_> = shapes.iter().map(smooth_normals).collect();
    let mut samples = vec![background; buffer.near.len()];
    let mut marks = vec![Mark::default(); buffer.near.len()];
    for (at, &number) in buffer
        .triangle
        .iter()
        .enumerate()
        .filter(|(_, number)| **number > 0)
    {
        let (which, triangle) = owner(shapes, number - 1);
        let shape = &shapes[which];
        let Some(corners) = frame.corners(shape, triangle) else {
            continue;
        };
        let middle = [(at % frame.wide) as f32 + 0.5, (at / frame.wide) as f32 + 0.5];
        let Some(shares) = shares(middle, &corners) else {
            continue;
        };
        let spot = Spot {
            shape,
            triangle,
            shares,
        };
        let (colour, over) = spot.paint();
        let brightness = light(spot.normal(&normals[which]), frame.camera);
        // A value's lightness carries the number: the light may move it only half as far.
        let brightness = if over == Over::Plain {
            brightness
        } else {
            0.5 + 0.5 * brightness
        };
        samples[at] = colour.map(|c| (c * brightness).min(255.0));
        marks[at] = Mark {
            surface: which as u32 + 1,
            over,
        };
    }
    ink(&mut samples, &marks, buffer, frame);
    samples
}

/// Which shape a triangle's number belongs to, and its number there.
fn owner(shapes: &[Shape], mut number: u32) -> (usize, usize) {
    for (which, shape) in shapes.iter().enumerate() {
        let count = shape.triangles.len() as u32;
        if number < count {
            return (which, number as usize);
        }
        number -= count;
    }
    unreachable!("the buffer holds only numbers that `fill` gave out")
}

/// One visible sample: its triangle and where in it.
struct Spot<'a> {
    shape: &'a Shape<'a>,
    triangle: usize,
    shares: [f32; 3],
}

impl Spot<'_> {
    fn mix<const N: usize>(&self, values: &[[f32; N]]) -> Option<[f32; N]> {
        let mut mixed = [0.0; N];
        for (corner, share) in self.shape.triangles[self.triangle].iter().zip(self.shares) {
            let value = values.get(*corner as usize)?;
            (0..N).for_each(|c| mixed[c] += value[c] * share);
        }
        Some(mixed)
    }

    /// The mean of the corners that were measured; NaN where the nearest corner was not.
    fn value(&self, values: &[f32]) -> f32 {
        let corners =
            self.shape.triangles[self.triangle].map(|v| values.get(v as usize).copied().unwrap_or(f32::NAN));
        let nearest = (0..3).fold(0, |best, c| {
            if self.shares[c] > self.shares[best] {
                c
            } else {
                best
            }
        });
        if corners[nearest].is_nan() {
            return f32::NAN;
        }
        let (sum, weight) = (0..3)
            .filter(|c| !corners[*c].is_nan())
            .fold((0.0, 0.0), |(sum, weight), c| {
                (sum + corners[c] * self.shares[c], weight + self.shares[c])
            });
        sum / weight
    }

    /// The unlit colour, and whether the value is over its limit.
    fn paint(&self) -> ([f32; 3], Over) {
        match self.shape.paint {
            Paint::Plain(colour) => (colour.map(f32::from), Over::Plain),
            Paint::Heat { values, scale, plain } => {
                let value = self.value(values);
                match scale.colour(value) {
                    Some(colour) => (colour, if scale.is_over(value) { Over::Yes } else { Over::No }),
                    None => (plain.map(f32::from), Over::Plain),
                }
            }
            Paint::Check {
                uvs,
                squares,
                colours,
            } => {
                let [u, v] = self
                    .mix(uvs)
                    .unwrap_or_default()
                    .map(|c| (c * squares).floor() as i64);
                (
                    colours[(u + v).rem_euclid(2) as usize].map(f32::from),
                    Over::Plain,
                )
            }
        }
    }

    fn normal(&self, normals: &[[f32; 3]]) -> [f32; 3] {
        let [a, b, c] = self.shape.triangles[self.triangle].map(|v| self.shape.positions[v as usize]);
        let flat = unit(cross(sub(b, a), sub(c, a))).unwrap_or([0.0, 1.0, 0.0]);
        let smooth = self.mix(normals).and_then(unit).unwrap_or(flat);
        // Where two sheets share their corners the mean says nothing.
        if dot(smooth, flat) > 0.2 { smooth } else { flat }
    }
}

/// Mean normals of the corners at the same place, by area: a texture seam must not show as an edge.
fn smooth_normals(shape: &Shape) -> Vec<[f32; 3]> {
    let mut order: Vec<u32> = (0..shape.positions.len() as u32).collect();
    let key = |vertex: &u32| shape.positions[*vertex as usize].map(f32::to_bits);
    order.sort_unstable_by_key(|vertex| (key(vertex), *vertex));
    let mut first = vec![0_u32; order.len()];
    for group in order.chunk_by(|a, b| key(a) == key(b)) {
        group.iter().for_each(|vertex| first[*vertex as usize] = group[0]);
    }
    let mut sums = vec![[0.0_f32; 3]; first.len()];
    for corners in shape
        .triangles
        .iter()
        .filter(|t| t.iter().all(|v| (*v as usize) < first.len()))
    {
        let [a, b, c] = corners.map(|v| shape.positions[v as usize]);
        let area = cross(sub(b, a), sub(c, a));
        for vertex in corners.map(|v| first[v as usize] as usize) {
            (0..3).for_each(|axis| sums[vertex][axis] += area[axis]);
        }
    }
    first
        .iter()
        .map(|vertex| unit(sums[*vertex as usize]).unwrap_or_default())
        .collect()
}

/// Where a sample stands against its limit.
#[derive(Clone, Copy, Default, PartialEq)]
enum Over {
    /// Not coloured by a value.
    #[default]
    Plain,
    No,
    Yes,
}

#[derive(Clone, Copy, Default)]
struct Mark {
    /// Number of the shape, from 1; 0 is the background.
    surface: u32,
    over: Over,
}

/// A soft light from the upper left, a weaker one from the right, and a bright sky over a darker floor.
/// About 1 in full light.
fn light(normal: [f32; 3], camera: &Camera) -> f32 {
    const KEY: [f32; 3] = [-0.42, 0.54, 0.73];
    const FILL: [f32; 3] = [0.80, 0.05, 0.60];
    let seen = camera.turn(normal);
    let behind = seen[2] < 0.0;
    let (seen, normal) = if behind {
        (seen.map(|c| -c), normal.map(|c| -c))
    } else {
        (seen, normal)
    };
    let sky = 0.5 + 0.5 * normal[1];
    let brightness =
        0.36 + 0.16 * sky + 0.50 * dot(seen, KEY).max(0.0) + 0.16 * dot(seen, FILL).max(0.0) + 0.06 * seen[2];
    let inside = if behind { 0.78 } else { 1.0 };
    brightness * inside
}

/// Outlines: round what is over its limit (strong), between surfaces and where the depth jumps (faint).
fn ink(samples: &mut [[f32; 3]], marks: &[Mark], buffer: &Buffer, frame: &Frame) {
    let jump = frame.camera.extent[1].max(frame.camera.extent[0]) * 0.03;
    let reach = FINE as i64;
    for at in 0..samples.len() {
        let (row, column) = ((at / frame.wide) as i64, (at % frame.wide) as i64);
        let here = marks[at];
        let mut strength = 0.0_f32;
        for (down, along) in [
            (0, 1),
            (0, -1),
            (1, 0),
            (-1, 0),
            (0, reach),
            (0, -reach),
            (reach, 0),
            (-reach, 0),
        ] {
            let (y, x) = (row + down, column + along);
            if y < 0 || x < 0 || y >= frame.high as i64 || x >= frame.wide as i64 {
                continue;
            }
            let other = y as usize * frame.wide + x as usize;
            let there = marks[other];
            let close = down.abs() + along.abs() == 1;
            let same = here.surface == there.surface;
            if same && (here.over == Over::Yes) != (there.over == Over::Yes) {
                strength = strength.max(0.92);
            } else if close && here.surface > 0 && (!same || buffer.near[other] - buffer.near[at] > jump) {
                strength = strength.max(0.38);
            }
        }
        samples[at] = std::array::from_fn(|c| samples[at][c] * (1.0 - strength) + INK[c] * strength);
    }
}
