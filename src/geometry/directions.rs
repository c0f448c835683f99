//! From which directions is a spot on the skin looked at?

use std::f64::consts::{FRAC_PI_4, TAU};

use super::vector::narrow;

/// How many directions; one direction is 1/64 of the light from an even sky.
pub const COUNT: usize = 64;

/// 64 unit directions about +Z, as dense as the cosine of their angle to +Z.
///
/// Mirroring y gives the same set: direction `2 k + 1` is direction `2 k` mirrored. Made from an 8 by 8
/// grid laid on the disc (Shirley and Chiu 1997, J Graphics Tools 2(3):45) and lifted to the sphere, each ring
/// of the disc at the radius that halves its area.
pub fn cosine_directions() -> [[f32; 3]; COUNT] {
    let mut directions = [[0.0; 3]; COUNT];
    for (pair, slots) in directions.chunks_exact_mut(2).enumerate() {
        let (column, row) = (pair % 8, pair / 8);
        let [x, y, z] = lifted((2 * column) as f64 / 8.0 - 0.875, (2 * row) as f64 / 8.0 + 0.125);
        slots[0] = narrow([x, y, z]);
        slots[1] = narrow([x, -y, z]);
    }
    directions
}

/// From the square -1..1 to the disc, from the disc straight up to the unit sphere.
fn lifted(a: f64, b: f64) -> [f64; 3] {
    let (radius, angle) = if a.abs() > b.abs() {
        (a, FRAC_PI_4 * b / a)
    } else {
        (b, TAU / 4.0 - FRAC_PI_4 * a / b)
    };
    // Rings are a quarter wide: from the middle of the width to the middle of the area.
    let halving = (radius * radius + 1.0 / 64.0).sqrt().copysign(radius);
    [
        halving * angle.cos(),
        halving * angle.sin(),
        (1.0 - halving * halving).sqrt(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::vector::{norm, wide};

    #[test]
    fn as_dense_as_the_cosine_and_mirrored() {
        let directions = cosine_directions();
        for d in &directions {
            assert!((norm(wide(*d)) - 1.0).abs() < 1e-6 && d[2] > 0.0);
            assert!(directions.contains(&[d[0], -d[1], d[2]]));
        }
        let mean = |f: &dyn Fn([f64; 3]) -> f64| directions.iter().map(|d| f(wide(*d))).sum::<f64>() / 64.0;
        // Under a cosine density the mean of z is 2/3, of z squared 1/2, of x and y squared 1/4.
        // Four rings cannot do better than 0.013 for z; the squares come out exactly.
        assert!((mean(&|d| d[2]) - 2.0 / 3.0).abs() < 0.015);
        assert!((mean(&|d| d[2] * d[2]) - 0.5).abs() < 1e-6);
        assert!((mean(&|d| d[0] * d[0]) - 0.25).abs() < 1e-6);
        assert!((mean(&|d| d[1] * d[1]) - 0.25).abs() < 1e-6);
        assert!(mean(&|d| d[0]).abs() < 1e-6 && mean(&|d| d[1]).abs() < 1e-6);
    }

    #[test]
    fn no_two_are_close() {
        let directions = cosine_directions();
        for (k, a) in directions.iter().enumerate() {
            for b in &directions[..k] {
                let along: f64 = (0..3).map(|axis| f64::from(a[axis]) * f64::from(b[axis])).sum();
                assert!(along < 10f64.to_radians().cos(), "{a:?} {b:?}");
            }
        }
    }
}
