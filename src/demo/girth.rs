//! What does a tape read round the mannequin, and which section sizes give the girths that were asked for?

use super::limb::Frame;
use super::shape::Shape;
use super::size::{BodyShape, Girths};
use nalgebra::Vector3;
use std::collections::BTreeMap;

type Point = Vector3<f64>;

/// Planes of the seven tapes: a point inside the section and the plane's own axes (`side`, `front`).
fn tapes(body: &BodyShape) -> [Frame; 7] {
    let level = |share: f64| Frame {
        origin: Vector3::new(0.0, body.level(share), 0.0),
        side: Vector3::x(),
        front: Vector3::z(),
        along: Vector3::y(),
    };
    let leg = body.leg_frame();
    let joints = body.joints();
    let (knee, ankle) = (leg.local(&joints.lower_leg), leg.local(&joints.foot).z);
    let round = |at: f64| {
        let along = if at < 1.0 {
            knee.z * at
        } else {
            knee.z + (ankle - knee.z) * (at - 1.0)
        };
        Frame {
            origin: leg.point(knee.x * (1.0 - (at - 1.0).abs()), 0.0, along),
            ..leg
        }
    };
    [
        level(0.720),
        level(0.600),
        level(0.517),
        round(THIGH_TAPE),
        round(0.90),
        round(1.32),
        round(1.86),
    ]
}

/// Where the thigh's tape lies, as a share of hip joint to knee: 25 to 45 mm below the crotch, where the fold of the seat
/// ends and the tape no longer touches the other thigh.
const THIGH_TAPE: f64 = 0.31;

/// Rays of a section; the error of the polygon against the curve is under 0.1 %.
const RAYS: usize = 80;

fn girth_of(tape: &Frame, distance: &impl Fn(&Point) -> f64) -> f64 {
    let mut outline = Vec::with_capacity(RAYS);
    for ray in 0..RAYS {
        let (sine, cosine) = (ray as f64 / RAYS as f64 * std::f64::consts::TAU).sin_cos();
        let at = |reach: f64| distance(&tape.point(cosine * reach, sine * reach, 0.0));
        let mut low = 0.0;
        let mut high = 0.008;
        while at(high) < 0.0 && high < 0.6 {
            low = high;
            high += 0.008;
        }
        for _ in 0..14 {
            let middle = 0.5 * (low + high);
            if at(middle) < 0.0 {
                low = middle
            } else {
                high = middle
            }
        }
        outline.push([cosine * low, sine * low]);
    }
    hull_length(&mut outline)
}

/// Length of a tape pulled tight round points of a plane (Andrew's monotone chain).
fn hull_length(points: &mut [[f64; 2]]) -> f64 {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let turn =
        |o: [f64; 2], a: [f64; 2], b: [f64; 2]| (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
    let chain = |order: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for point in order {
            while chain.len() > 1 && turn(chain[chain.len() - 2], chain[chain.len() - 1], point) <= 0.0 {
                chain.pop();
            }
            chain.push(point);
        }
        chain
            .windows(2)
            .map(|pair| (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]))
            .sum::<f64>()
    };
    chain(&mut points.iter().copied()) + chain(&mut points.iter().rev().copied())
}

/// The implicit body whose girths are the ones asked for.
pub(super) fn fitted(body: &BodyShape) -> Shape {
    let tapes = tapes(body);
    let asked = body.girths.all();
    let mut sizes = asked;
    for _ in 0..6 {
        let shape = Shape::new(body, &Girths::from_all(sizes));
        for slot in 0..7 {
            let read = if slot == 0 {
                girth_of(&tapes[slot], &|p: &Point| {
                    shape.trunk_distance(&Vector3::new(p.x.abs(), p.y, p.z))
                })
            } else if slot < 3 {
                girth_of(&tapes[slot], &|p: &Point| shape.distance(p))
            } else {
                // The gap to the other leg is narrower than a ray's step: a tape that strayed across it would read both.
                girth_of(&tapes[slot], &|p: &Point| shape.distance(p).max(-p.x))
            };
            sizes[slot] *= (asked[slot] / read).clamp(0.8, 1.25);
        }
    }
    Shape::new(body, &Girths::from_all(sizes))
}

/// What a tape reads on the finished mesh, at the same seven places.
pub(super) fn read(body: &BodyShape, shape: &Shape, points: &[Point], triangles: &[[u32; 3]]) -> Girths {
    let tapes = tapes(body);
    let mut girths = tapes.map(|tape| loop_length(&tape, points, triangles));
    girths[0] = chest_length(&tapes[0], shape, points, triangles);
    Girths::from_all(girths)
}

/// Hull length of the section without the arms: a chest's tape runs under them, also where the skin joins both.
fn chest_length(tape: &Frame, shape: &Shape, points: &[Point], triangles: &[[u32; 3]]) -> f64 {
    let on_trunk = |vertex: &u32| {
        let point = points[*vertex as usize];
        let left = Vector3::new(point.x.abs(), point.y, point.z);
        shape.trunk_distance(&left) < shape.arm_distance(&left)
    };
    let mut outline = Vec::new();
    for triangle in triangles {
        let height = triangle.map(|vertex| tape.local(&points[vertex as usize]).z);
        let cut = height.iter().any(|z| *z < 0.0) && height.iter().any(|z| *z >= 0.0);
        if !cut || !triangle.iter().all(on_trunk) {
            continue;
        }
        for corner in 0..3 {
            let (from, to) = (
                points[triangle[corner] as usize],
                points[triangle[(corner + 1) % 3] as usize],
            );
            let (low, high) = (height[corner], height[(corner + 1) % 3]);
            if (low < 0.0) != (high < 0.0) {
                let at = tape.local(&(from + (to - from) * (low / (low - high))));
                outline.push([at.x, at.y]);
            }
        }
    }
    hull_length(&mut outline)
}

/// Hull length of the loop of the section that lies nearest round the tape's origin.
fn loop_length(tape: &Frame, points: &[Point], triangles: &[[u32; 3]]) -> f64 {
    let mut crossings: BTreeMap<(u32, u32), [f64; 2]> = BTreeMap::new();
    let mut links: BTreeMap<(u32, u32), Vec<(u32, u32)>> = BTreeMap::new();
    for triangle in triangles {
        let mut ends = Vec::new();
        for corner in 0..3 {
            let (a, b) = (triangle[corner], triangle[(corner + 1) % 3]);
            let (from, to) = (tape.local(&points[a as usize]), tape.local(&points[b as usize]));
            if (from.z < 0.0) != (to.z < 0.0) {
                let at = from + (to - from) * (from.z / (from.z - to.z));
                let edge = (a.min(b), a.max(b));
                crossings.insert(edge, [at.x, at.y]);
                ends.push(edge);
            }
        }
        if let [a, b] = ends[..] {
            links.entry(a).or_default().push(b);
            links.entry(b).or_default().push(a);
        }
    }
    let mut best = (f64::INFINITY, 0.0);
    let mut seen = std::collections::BTreeSet::new();
    for &start in links.keys() {
        if !seen.insert(start) {
            continue;
        }
        let mut stack = vec![start];
        let mut outline = Vec::new();
        while let Some(edge) = stack.pop() {
            outline.push(crossings[&edge]);
            stack.extend(links[&edge].iter().filter(|next| seen.insert(**next)).copied());
        }
        let count = outline.len() as f64;
        let middle = outline.iter().fold([0.0, 0.0], |sum, p| {
            [sum[0] + p[0] / count, sum[1] + p[1] / count]
        });
        let away = middle[0].hypot(middle[1]);
        if away < best.0 {
            best = (away, hull_length(&mut outline));
        }
    }
    best.1
}
