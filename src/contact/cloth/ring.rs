//! Where is a sleeve or a leg cut across, and how wide is it there?
//!
//! A ring is the section of the fabric, as built, with a plane across a limb's bone. Its points ride on the mesh. The
//! linear map that carries the ring as built best onto the posed points (least squares) has two singular values: how
//! wide it is now against as built, along its widest and its narrowest direction. A twist narrows both to `cos(t / 2)`
//! where half the weight turns with it, a bend only the one across the bend.

use crate::contact::body::triangle_parts;
use crate::geometry::stretch::Metric;
use crate::geometry::topology::{NONE, Topology};
use crate::geometry::vector::{add, cross, dot, lerp, scale, sub, unit, wide};
use crate::rig::bone::{Bone, Side};
use crate::rig::part::Part;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::PI;

/// Sections along each bone: one every 17 mm of an average thigh.
const STATIONS: u32 = 24;

/// One closed section round a limb.
#[derive(Clone, Debug)]
pub struct Ring {
    /// The limb it goes round.
    pub limb: Part,
    /// A triangle it runs through.
    pub triangle: u32,
    points: Vec<Point>,
}

/// A point on an edge of the mesh, with its share in the two columns of the map.
#[derive(Clone, Copy, Debug)]
struct Point {
    ends: [u32; 2],
    share: f64,
    columns: [f64; 2],
}

impl Ring {
    /// Width now over width as built along the widest and the narrowest direction; 1 and 1 at the bind.
    pub fn widths(&self, posed: &[[f32; 3]]) -> [f64; 2] {
        let (mut first, mut second) = ([0.0; 3], [0.0; 3]);
        for point in &self.points {
            let [a, b] = point.ends.map(|vertex| wide(posed[vertex as usize]));
            let at = lerp(a, b, point.share);
            first = add(first, scale(at, point.columns[0]));
            second = add(second, scale(at, point.columns[1]));
        }
        Metric {
            a: dot(first, first),
            b: dot(first, second),
            c: dot(second, second),
        }
        .principal()
    }
}

/// A plane across a bone.
struct Plane {
    origin: [f64; 3],
    axes: [[f64; 3]; 2],
    normal: [f64; 3],
}

impl Plane {
    /// `share` of the way from `from` to `to`.
    fn across(from: [f64; 3], to: [f64; 3], share: f64) -> Self {
        let normal = unit(sub(to, from));
        let least = (0..3).fold(0, |best, axis| {
            if normal[axis].abs() < normal[best].abs() {
                axis
            } else {
                best
            }
        });
        let mut other = [0.0; 3];
        other[least] = 1.0;
        let first = unit(cross(normal, other));
        Self {
            origin: lerp(from, to, share),
            axes: [first, cross(normal, first)],
            normal,
        }
    }

    fn height(&self, point: [f64; 3]) -> f64 {
        dot(sub(point, self.origin), self.normal)
    }

    fn flat(&self, point: [f64; 3]) -> [f64; 2] {
        self.axes.map(|axis| dot(sub(point, self.origin), axis))
    }
}

/// Every limb's bone, from its joint to the next.
fn limbs() -> impl Iterator<Item = (Part, [Bone; 2])> {
    Side::BOTH.into_iter().flat_map(|side| {
        [
            (Part::Thigh(side), [Bone::UpperLeg(side), Bone::LowerLeg(side)]),
            (Part::Shank(side), [Bone::LowerLeg(side), Bone::Foot(side)]),
            (Part::UpperArm(side), [Bone::UpperArm(side), Bone::LowerArm(side)]),
            (Part::Forearm(side), [Bone::LowerArm(side), Bone::Hand(side)]),
        ]
    })
}

/// All rings of a garment at its bind. Parts go by the garment's own weights, so a body is not needed.
pub fn all(surface: &Surface, skeleton: &Skeleton, topology: &Topology, areas: &[f64]) -> Vec<Ring> {
    let parts = triangle_parts(surface, skeleton);
    let mut rings = Vec::new();
    for (limb, bones) in limbs() {
        let [Some(from), Some(to)] = bones.map(|bone| skeleton.position(bone)) else {
            continue;
        };
        let mask = limb.near();
        let chosen: Vec<u32> = (0u32..)
            .zip(&parts)
            .filter(|(triangle, part)| part.bit() & mask != 0 && areas[*triangle as usize] > 0.0)
            .map(|(triangle, _)| triangle)
            .collect();
        for station in 1..=STATIONS {
            let share = f64::from(station) / f64::from(STATIONS);
            let plane = Plane::across(from.into(), to.into(), share);
            rings.extend(cut(surface, topology, &chosen, &plane, limb));
        }
    }
    rings
}

/// The closed sections of some triangles with a plane that go once round the plane's origin.
fn cut(surface: &Surface, topology: &Topology, chosen: &[u32], plane: &Plane, limb: Part) -> Vec<Ring> {
    let above = |vertex: u32| plane.height(wide(surface.positions[vertex as usize])) >= 0.0;
    // By edge: the other edge of each cut triangle beside it, and that triangle.
    let mut links: BTreeMap<u32, Vec<(u32, u32)>> = BTreeMap::new();
    for &triangle in chosen {
        let edges = topology.triangle_edges()[triangle as usize];
        if edges[0] == NONE {
            continue;
        }
        let crossed: Vec<u32> = edges
            .into_iter()
            .filter(|&edge| {
                let [a, b] = topology.edges()[edge as usize];
                above(a) != above(b)
            })
            .collect();
        if let [first, second] = crossed[..] {
            links.entry(first).or_default().push((second, triangle));
            links.entry(second).or_default().push((first, triangle));
        }
    }
    let mut used: BTreeSet<u32> = BTreeSet::new();
    let mut rings = Vec::new();
    for (&start, beside) in &links {
        if used.contains(&start) {
            continue;
        }
        if let Some(edges) = walk(start, &links, &mut used) {
            rings.extend(ring(surface, topology, &edges, plane, limb, beside[0].1));
        }
    }
    rings
}

/// The edges of the closed curve through `start`; `None` where it ends somewhere or branches.
fn walk(start: u32, links: &BTreeMap<u32, Vec<(u32, u32)>>, used: &mut BTreeSet<u32>) -> Option<Vec<u32>> {
    let mut edges = Vec::new();
    let (mut at, mut through) = (start, u32::MAX);
    loop {
        used.insert(at);
        edges.push(at);
        let beside = links.get(&at)?;
        if beside.len() != 2 {
            return None;
        }
        let &(next, triangle) = beside.iter().find(|link| link.1 != through)?;
        if next == start {
            return (edges.len() > 2).then_some(edges);
        }
        if used.contains(&next) {
            return None;
        }
        (at, through) = (next, triangle);
    }
}

fn ring(
    surface: &Surface,
    topology: &Topology,
    edges: &[u32],
    plane: &Plane,
    limb: Part,
    triangle: u32,
) -> Option<Ring> {
    let mut points = Vec::with_capacity(edges.len());
    let mut flat = Vec::with_capacity(edges.len());
    for &edge in edges {
        let ends = topology.edges()[edge as usize];
        let [a, b] = ends.map(|vertex| wide(surface.positions[vertex as usize]));
        let (low, high) = (plane.height(a), plane.height(b));
        let share = low / (low - high);
        flat.push(plane.flat(lerp(a, b, share)));
        points.push((ends, share));
    }
    if (turns(&flat).abs() - 1.0).abs() > 0.1 {
        return None;
    }
    let columns = columns(&flat)?;
    let points = points
        .into_iter()
        .zip(columns)
        .map(|((ends, share), columns)| Point { ends, share, columns })
        .collect();
    Some(Ring {
        limb,
        triangle,
        points,
    })
}

/// How often a closed curve goes round the origin.
fn turns(flat: &[[f64; 2]]) -> f64 {
    let angle = |from: [f64; 2], to: [f64; 2]| {
        (from[0] * to[1] - from[1] * to[0]).atan2(from[0] * to[0] + from[1] * to[1])
    };
    let total: f64 = neighbours(flat).map(|[_, here, next]| angle(here, next)).sum();
    total / (2.0 * PI)
}

/// What each point adds to the two columns of the best linear map, weighted by the length of curve it stands for.
/// `None` for a section without width.
fn columns(flat: &[[f64; 2]]) -> Option<Vec<[f64; 2]>> {
    let apart = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
    let weights: Vec<f64> = neighbours(flat)
        .map(|[last, here, next]| (apart(last, here) + apart(here, next)) / 2.0)
        .collect();
    let total: f64 = weights.iter().sum();
    let mean = |axis: usize| -> f64 {
        flat.iter()
            .zip(&weights)
            .map(|(at, weight)| at[axis] * weight)
            .sum::<f64>()
            / total
    };
    let centre = [mean(0), mean(1)];
    let mut spread = [0.0; 3];
    for (at, weight) in flat.iter().zip(&weights) {
        let (x, y) = (at[0] - centre[0], at[1] - centre[1]);
        spread[0] += weight * x * x;
        spread[1] += weight * x * y;
        spread[2] += weight * y * y;
    }
    let determinant = spread[0] * spread[2] - spread[1] * spread[1];
    if determinant.is_nan() || determinant <= 1e-6 * (spread[0] + spread[2]).powi(2) {
        return None;
    }
    let column = |(at, weight): (&[f64; 2], &f64)| {
        let (x, y) = (at[0] - centre[0], at[1] - centre[1]);
        [
            weight * (spread[2] * x - spread[1] * y) / determinant,
            weight * (spread[0] * y - spread[1] * x) / determinant,
        ]
    };
    Some(flat.iter().zip(&weights).map(column).collect())
}

/// Each point with the one before and the one after it.
fn neighbours(flat: &[[f64; 2]]) -> impl Iterator<Item = [[f64; 2]; 3]> + '_ {
    let count = flat.len();
    (0..count).map(move |at| [flat[(at + count - 1) % count], flat[at], flat[(at + 1) % count]])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_beside_the_axis_is_no_ring() {
        let square = [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]];
        assert!((turns(&square) - 1.0).abs() < 1e-12);
        assert!(turns(&square.map(|[x, y]| [x + 3.0, y])).abs() < 1e-12);
    }

    /// Points of an ellipse: any linear map is found exactly, wherever the points lie on it.
    #[test]
    fn a_linear_map_is_found_exactly() {
        let flat: Vec<[f64; 2]> = [0.0f64, 0.3, 1.1, 2.0, 2.2, 3.9, 5.5]
            .iter()
            .map(|angle| [0.2 + 0.09 * angle.cos(), 0.06 * angle.sin()])
            .collect();
        let ring = Ring {
            limb: Part::Thigh(Side::Left),
            triangle: 0,
            points: (0u32..)
                .zip(columns(&flat).unwrap())
                .map(|(at, columns)| Point {
                    ends: [at, at],
                    share: 0.0,
                    columns,
                })
                .collect(),
        };
        let posed = |[x, y]: [f64; 2]| [(0.5 * x + 1.0) as f32, 0.3, (0.8 * y - 2.0) as f32];
        let widths = ring.widths(&flat.iter().map(|at| posed(*at)).collect::<Vec<_>>());
        assert!((widths[0] - 0.8).abs() < 1e-5 && (widths[1] - 0.5).abs() < 1e-5);
    }

    #[test]
    fn a_flat_section_has_no_width() {
        assert!(columns(&[[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]]).is_none());
    }
}
