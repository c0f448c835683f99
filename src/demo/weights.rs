//! Which joints move each point of the skin, and by how much?
//!
//! Heat diffusion on the surface (Baran and Popovic 2007, section 4): each bone is held at 1 where it is the nearest
//! that a point can see through the body, and heat spreads from there over the skin.

use super::mesher::Skin;
use super::shape::Shape;
use super::skeleton::{Joint, Skeleton};
use crate::rig::Rows;
use nalgebra::Vector3;
use nalgebra_sparse::{CooMatrix, CsrMatrix};
use rayon::prelude::*;

type Point = Vector3<f64>;

/// How strongly a bone heats the skin over it. The paper takes 1 and names 0.22 as the choice with softer transitions
/// (from memory); with 1 the crease of a sitting hip folds so sharply that no cloth can follow it.
const HEAT: f64 = 0.22;

/// Share of the heat that counts in front of the armpit, and at the elbow.
const SHOULDER: f64 = 0.04;
const ELBOW: f64 = 0.3;

/// At most this many joints move a vertex.
const INFLUENCES: usize = 4;

/// Weights are whole multiples of this power of two, so that their sum in f32 is exactly 1.
const GRAIN: f64 = 1.0 / 1_048_576.0;

/// One weight row: joint and weight, heaviest first.
pub(super) type Row = Vec<(usize, f64)>;

/// Weight rows for every vertex of the skin.
pub(super) fn diffuse(skin: &Skin, shape: &Shape, skeleton: &Skeleton) -> Vec<Row> {
    let bones = segments(skeleton);
    let nearest: Vec<Option<(f64, Vec<usize>)>> = (0..skin.points.len())
        .into_par_iter()
        .map(|vertex| visible(&skin.points[vertex], shape, &bones))
        .collect();
    let (laplace, mass) = laplacian(skin);
    let heat: Vec<f64> = nearest
        .iter()
        .zip(&mass)
        .zip(&skin.points)
        .map(|((near, mass), point)| {
            near.as_ref()
                .map_or(0.0, |(d, _)| mass * d * firmness(skeleton, point))
        })
        .collect();
    let matrix = with_diagonal(laplace, &heat);
    let solved: Vec<Vec<f64>> = (0..skeleton.joints.len())
        .into_par_iter()
        .map(|joint| {
            let held = |near: &Option<(f64, Vec<usize>)>| match near {
                Some((_, joints)) if joints.contains(&joint) => 1.0 / joints.len() as f64,
                _ => 0.0,
            };
            let right: Vec<f64> = nearest
                .iter()
                .zip(&heat)
                .map(|(near, heat)| heat * held(near))
                .collect();
            if right.iter().all(|value| *value == 0.0) {
                vec![0.0; right.len()]
            } else {
                conjugate_gradient(&matrix, &right)
            }
        })
        .collect();
    let half: Vec<Row> = (0..skin.half)
        .map(|vertex| solved.iter().map(|column| column[vertex]).enumerate().collect())
        .collect();
    let half = share_twist(skin, skeleton, half);
    mirrored(skin, skeleton, half)
}

/// How much of the heat counts at a point: less at the front of the armpit and round the elbow, which turn further than any hip; a
/// sharp fold there would swallow a sleeve.
fn firmness(skeleton: &Skeleton, point: &Point) -> f64 {
    let long = |arm: &Joint| {
        skeleton
            .find(&arm.name.replace("UpperArm", "LowerArm"))
            .map_or(0.0, |elbow| (skeleton.joints[elbow].at - arm.at).norm())
    };
    let soft = |at: &Point, reach: f64, least: f64| {
        let near = (1.0 - (point - at).norm() / reach).clamp(0.0, 1.0);
        1.0 - (1.0 - least) * near * near * (3.0 - 2.0 * near)
    };
    let mut least: f64 = 1.0;
    for arm in skeleton
        .joints
        .iter()
        .filter(|joint| joint.name.ends_with("UpperArm"))
    {
        // the top of the shoulder stays firm: the fold is in front of the armpit
        let inward = -0.05 * arm.at.x.signum();
        let fold = arm.at + Vector3::new(inward, -0.25, 0.15) * long(arm);
        least = least.min(soft(&fold, 0.45 * long(arm), SHOULDER));
        if let Some(elbow) = skeleton.find(&arm.name.replace("UpperArm", "LowerArm")) {
            least = least.min(soft(&skeleton.joints[elbow].at, 0.4 * long(arm), ELBOW));
        }
    }
    least
}

/// Gives the far half of a limb to its twist helper, fading in over the middle of the limb.
fn share_twist(skin: &Skin, skeleton: &Skeleton, mut half: Vec<Row>) -> Vec<Row> {
    for (helper, of) in skeleton.joints.iter().enumerate() {
        let (Some(limb), Some(end), true) = (of.parent, of.tip, of.name.ends_with("Twist")) else {
            continue;
        };
        let along = end - skeleton.joints[limb].at;
        for (row, point) in half.iter_mut().zip(&skin.points) {
            let t = (point - skeleton.joints[limb].at).dot(&along) / along.norm_squared();
            let share = ((t - 0.25) / 0.5).clamp(0.0, 1.0);
            row[helper].1 = row[limb].1 * share;
            row[limb].1 -= row[helper].1;
        }
    }
    half
}

/// The left half's rows, balanced on the middle, and their mirror image.
fn mirrored(skin: &Skin, skeleton: &Skeleton, half: Vec<Row>) -> Vec<Row> {
    let twin = skeleton.mirror();
    let mut rows: Vec<Row> = Vec::with_capacity(skin.points.len());
    for (vertex, row) in half.iter().enumerate() {
        let on_middle = skin.mirror[vertex] as usize == vertex;
        let balanced = |joint: usize| {
            if on_middle {
                0.5 * (row[joint].1 + row[twin[joint]].1)
            } else {
                row[joint].1
            }
        };
        rows.push(trimmed(
            (0..row.len()).map(|joint| (joint, balanced(joint))).collect(),
        ));
    }
    for vertex in skin.half..skin.points.len() {
        let source = &rows[skin.mirror[vertex] as usize];
        rows.push(
            source
                .iter()
                .map(|(joint, weight)| (twin[*joint], *weight))
                .collect(),
        );
    }
    rows
}

/// The heaviest entries, in whole grains that sum to exactly 1.
pub(super) fn trimmed(mut row: Row) -> Row {
    row.retain(|(_, weight)| *weight > 0.003);
    row.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    if row.len() > INFLUENCES {
        // subtracting what is left out keeps the field continuous where influences change places
        let floor = row[INFLUENCES].1;
        row.truncate(INFLUENCES);
        row.iter_mut().for_each(|entry| entry.1 -= floor);
        row.retain(|(_, weight)| *weight > 1e-6);
    }
    let sum: f64 = row.iter().map(|(_, weight)| weight).sum();
    for entry in &mut row {
        entry.1 = (entry.1 / sum / GRAIN).round() * GRAIN;
    }
    make_whole(&mut row);
    row.retain(|(_, weight)| *weight > 0.0);
    row
}

/// Puts what rounding left over where it keeps left and right alike: on an entry without an equal, else on a pair.
fn make_whole(row: &mut Row) {
    let rest = 1.0 - row.iter().map(|(_, weight)| weight).sum::<f64>();
    let alone = (0..row.len()).find(|slot| row.iter().filter(|entry| entry.1 == row[*slot].1).count() == 1);
    match alone {
        Some(slot) => row[slot].1 += rest,
        None if row.len() > 1 => row[..2].iter_mut().for_each(|entry| entry.1 += rest / 2.0),
        None => row.iter_mut().for_each(|entry| entry.1 += rest),
    }
}

/// Rows as a file holds them.
pub(super) fn packed(rows: &[Row]) -> Rows {
    let mut packed = Rows {
        starts: vec![0],
        ..Rows::default()
    };
    for row in rows {
        for (joint, weight) in row {
            packed.binds.push(*joint as u16);
            packed.weights.push(*weight as f32);
        }
        packed.starts.push(packed.binds.len() as u32);
    }
    packed
}

struct Segment {
    joint: usize,
    a: Point,
    b: Point,
}

/// A bone for each joint and child, and one to the tip of each chain. Helpers share their parent's bone later.
fn segments(skeleton: &Skeleton) -> Vec<Segment> {
    let mut bones = Vec::new();
    for (child, of) in skeleton.joints.iter().enumerate() {
        if of.name.ends_with("Twist") {
            continue;
        }
        if let Some(joint) = of.parent {
            bones.push(Segment {
                joint,
                a: skeleton.joints[joint].at,
                b: of.at,
            });
        }
        if let Some(tip) = of.tip {
            bones.push(Segment {
                joint: child,
                a: of.at,
                b: tip,
            });
        }
    }
    bones.extend(skeleton.frame.iter().map(|(joint, [a, b])| Segment {
        joint: *joint,
        a: *a,
        b: *b,
    }));
    bones
}

/// Heat (a share of 1 / d^2) and joints of the nearest bones that a straight line inside the body reaches.
fn visible(point: &Point, shape: &Shape, bones: &[Segment]) -> Option<(f64, Vec<usize>)> {
    let mut reach: Vec<(f64, usize, Point)> = bones
        .iter()
        .map(|bone| {
            let along = bone.b - bone.a;
            let t = ((point - bone.a).dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
            let foot = bone.a + along * t;
            ((point - foot).norm(), bone.joint, foot)
        })
        .collect();
    reach.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let first = reach.iter().find(|(_, _, foot)| {
        (1..=6).all(|step| shape.distance(&(point + (foot - point) * (f64::from(step) / 6.0))) < 1e-3)
    })?;
    let mut joints: Vec<usize> = reach
        .iter()
        .filter(|(d, _, _)| (d - first.0).abs() < 1e-6)
        .map(|(_, joint, _)| *joint)
        .collect();
    joints.sort_unstable();
    joints.dedup();
    Some((HEAT / first.0.max(1e-3).powi(2), joints))
}

/// Cotangent weights and the area of each vertex (Meyer 2003 without the obtuse correction: a third of each triangle).
fn laplacian(skin: &Skin) -> (CooMatrix<f64>, Vec<f64>) {
    let count = skin.points.len();
    let mut matrix = CooMatrix::new(count, count);
    let mut mass = vec![0.0; count];
    for triangle in &skin.triangles {
        let corners = triangle.map(|vertex| skin.points[vertex as usize]);
        let twice = (corners[1] - corners[0])
            .cross(&(corners[2] - corners[0]))
            .norm()
            .max(1e-12);
        for corner in 0..3 {
            let (next, last) = ((corner + 1) % 3, (corner + 2) % 3);
            let cotangent =
                ((corners[next] - corners[corner]).dot(&(corners[last] - corners[corner])) / twice).max(0.01)
                    / 2.0;
            let (a, b) = (triangle[next] as usize, triangle[last] as usize);
            matrix.push(a, a, cotangent);
            matrix.push(b, b, cotangent);
            matrix.push(a, b, -cotangent);
            matrix.push(b, a, -cotangent);
            mass[triangle[corner] as usize] += twice / 6.0;
        }
    }
    (matrix, mass)
}

fn with_diagonal(mut matrix: CooMatrix<f64>, diagonal: &[f64]) -> CsrMatrix<f64> {
    for (vertex, value) in diagonal.iter().enumerate() {
        matrix.push(vertex, vertex, *value + 1e-12);
    }
    CsrMatrix::from(&matrix)
}

/// Conjugate gradients with the diagonal as preconditioner (Hestenes and Stiefel 1952), to 1e-7 of the right side.
fn conjugate_gradient(matrix: &CsrMatrix<f64>, right: &[f64]) -> Vec<f64> {
    let diagonal: Vec<f64> = (0..right.len())
        .map(|row| matrix.get_entry(row, row).map_or(1.0, |entry| entry.into_value()))
        .collect();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut x = vec![0.0; right.len()];
    let mut residual = right.to_vec();
    let mut scaled: Vec<f64> = residual.iter().zip(&diagonal).map(|(r, d)| r / d).collect();
    let mut direction = scaled.clone();
    let mut energy = dot(&residual, &scaled);
    let goal = 1e-14 * dot(right, right);
    for _ in 0..600 {
        let image = times(matrix, &direction);
        let step = energy / dot(&direction, &image);
        for slot in 0..x.len() {
            x[slot] += step * direction[slot];
            residual[slot] -= step * image[slot];
            scaled[slot] = residual[slot] / diagonal[slot];
        }
        if dot(&residual, &residual) < goal {
            break;
        }
        let next = dot(&residual, &scaled);
        for slot in 0..x.len() {
            direction[slot] = scaled[slot] + next / energy * direction[slot];
        }
        energy = next;
    }
    x
}

fn times(matrix: &CsrMatrix<f64>, vector: &[f64]) -> Vec<f64> {
    let (starts, columns, values) = matrix.csr_data();
    let row = |row: usize| {
        let span = starts[row]..starts[row + 1];
        columns[span.clone()]
            .iter()
            .zip(&values[span])
            .map(|(column, value)| value * vector[*column])
            .sum()
    };
    (0..vector.len()).map(row).collect()
}
