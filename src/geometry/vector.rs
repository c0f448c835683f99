//! What can be done with three numbers?

use std::ops::{Add, Mul, Sub};

/// The two float widths: `f32` for what is stored, `f64` for what is decided.
pub trait Real: Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> {}
impl Real for f32 {}
impl Real for f64 {}

/// `a - b`.
#[inline(always)]
pub fn sub<T: Real>(a: [T; 3], b: [T; 3]) -> [T; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// `a + b`.
#[inline(always)]
pub fn add<T: Real>(a: [T; 3], b: [T; 3]) -> [T; 3] {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

/// `a` times the number `factor`.
#[inline(always)]
pub fn scale<T: Real>(a: [T; 3], factor: T) -> [T; 3] {
    a.map(|value| value * factor)
}

/// The scalar product.
#[inline(always)]
pub fn dot<T: Real>(a: [T; 3], b: [T; 3]) -> T {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// The vector product.
#[inline(always)]
pub fn cross<T: Real>(a: [T; 3], b: [T; 3]) -> [T; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

/// `a` at 0, `b` at 1, a straight line between.
#[inline(always)]
pub fn lerp(a: [f64; 3], b: [f64; 3], share: f64) -> [f64; 3] {
    add(a, scale(sub(b, a), share))
}

/// Length.
#[inline(always)]
pub fn norm(a: [f64; 3]) -> f64 {
    dot(a, a).sqrt()
}

/// `a` at length 1; zero stays zero.
pub fn unit(a: [f64; 3]) -> [f64; 3] {
    let length = norm(a);
    if length > 0.0 {
        scale(a, 1.0 / length)
    } else {
        [0.0; 3]
    }
}

/// Widened, exactly.
#[inline(always)]
pub fn wide(a: [f32; 3]) -> [f64; 3] {
    a.map(f64::from)
}

/// Rounded to what is stored.
#[inline(always)]
#[expect(
    clippy::cast_possible_truncation,
    reason = "rounding to the stored precision is the purpose"
)]
pub fn narrow(a: [f64; 3]) -> [f32; 3] {
    a.map(|value| value as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn products_follow_the_right_hand() {
        assert_eq!(cross([1.0, 0.0, 0.0], [0.0, 1.0, 0.0]), [0.0, 0.0, 1.0]);
        assert_eq!(dot([1.0, 2.0, 3.0], [4.0, -5.0, 6.0]), 12.0);
        assert_eq!(norm([3.0, 4.0, 12.0]), 13.0);
        assert_eq!(unit([0.0, 0.0, -2.0]), [0.0, 0.0, -1.0]);
        assert_eq!(unit([0.0; 3]), [0.0; 3]);
        assert_eq!(lerp([0.0; 3], [2.0, 4.0, 8.0], 0.25), [0.5, 1.0, 2.0]);
    }
}
