//! Does the cloth lie outside the skin as it is meshed and posed?
//!
//! Cloth is cut along the implicit body, turned to the build pose. The skin that wears it is a mesh, carried there by
//! its weights: under the seat and between the thighs that is a few millimetres elsewhere, more than the room of
//! leggings. A tailor would let the cloth out there.

use super::strip::Strip;
use super::under::Under;
use nalgebra::Vector3;

type Point = Vector3<f64>;

/// Rounds of letting out: a corner that moves takes its neighbours' middles along.
const ROUNDS: usize = 3;
/// Skin further off than this is not what the cloth lies on, metres.
const REACH: f64 = 0.02;

/// Lets cloth out along its normals until it and the middle of each mesh cell has `room` (metres) above the skin `posed`.
pub(super) fn clear(strip: &mut Strip, normals: &[Vec<Point>], under: &Under, posed: &[Point], room: f64) {
    let lacks = |point: &Point, normal: &Point| {
        let (away, spot) = under.facing(point, normal);
        let foot: Point = spot
            .iter()
            .map(|(vertex, share)| posed[*vertex as usize] * *share)
            .sum();
        let outside = (point - foot).dot(normal);
        if away > REACH {
            0.0
        } else {
            (room - outside).max(0.0)
        }
    };
    let last = strip.front + strip.back;
    for _ in 0..ROUNDS {
        let mut out: Vec<Vec<f64>> = strip
            .rows
            .iter()
            .zip(normals)
            .map(|(row, normals)| {
                row.iter()
                    .zip(normals)
                    .map(|(point, normal)| lacks(point, normal))
                    .collect()
            })
            .collect();
        for row in 0..strip.rows.len() - 1 {
            for column in 0..last {
                let corners = [
                    (row, column),
                    (row, column + 1),
                    (row + 1, column),
                    (row + 1, column + 1),
                ];
                let mean = |of: &[Vec<Point>]| corners.iter().map(|at| of[at.0][at.1]).sum::<Point>() / 4.0;
                let Some(normal) = mean(normals).try_normalize(1e-6) else {
                    continue;
                };
                let lack = lacks(&mean(&strip.rows), &normal);
                corners
                    .iter()
                    .for_each(|at| out[at.0][at.1] = out[at.0][at.1].max(lack));
            }
        }
        for ((row, normals), out) in strip.rows.iter_mut().zip(normals).zip(&mut out) {
            if row[0] == row[last] {
                let both = out[0].max(out[last]);
                (out[0], out[last]) = (both, both);
            }
            for ((point, normal), out) in row.iter_mut().zip(normals).zip(out) {
                let in_middle = point.x == 0.0;
                let moved = *point + normal * *out;
                // Cloth of the left half stays there, and the seam in the middle stays in the middle.
                *point = Point::new(
                    if in_middle {
                        0.0
                    } else {
                        moved.x.max(point.x.min(1e-3))
                    },
                    moved.y,
                    moved.z,
                );
            }
            row[last] = if (row[0] - row[last]).norm() < 1e-12 {
                row[0]
            } else {
                row[last]
            };
        }
    }
}
