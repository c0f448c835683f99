//! The fast way against a slow, plain one in `f64`: every triangle asked for its nearest point, the winding number summed
//! over all triangles, stretch by singular values. On seeded samples of every rig, in upright and hard poses.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
#![allow(clippy::cast_possible_truncation, reason = "numbers of samples")]

#[path = "support/rigs.rs"]
mod support;

use gusset::contact::moment::OUTSIDE;
use gusset::contact::{Moment, Samples, Scratch};
use gusset::demo::{BodyShape, Kind, Pattern, body, garment};
use gusset::fitting::{Dressed, Frame, Sequence, joints_at, meet};
use gusset::geometry::corners;
use gusset::geometry::topology::{NONE, Topology};
use gusset::geometry::winding::exact;
use gusset::outcome::Demand;
use gusset::pose;
use gusset::wardrobe::{Outfit, dress, dress_rigs};
use nalgebra::{Matrix3x2, Vector3};
use rayon::prelude::*;

/// Samples per rig, over all its frames.
const SAMPLES: usize = 2000;
/// Metres.
const NEAR: f64 = 1e-5;

type Point = Vector3<f64>;

/// The nearest point of a triangle, and its weights: the plane first, then the three edges.
fn nearest_of([a, b, c]: [Point; 3], p: Point) -> (Point, [f64; 3]) {
    let normal = (b - a).cross(&(c - a));
    let area = normal.norm_squared();
    if area > 0.0 {
        let share = |q: Point, r: Point| (q - p).cross(&(r - p)).dot(&normal) / area;
        let weights = [share(b, c), share(c, a), share(a, b)];
        if weights.iter().all(|weight| *weight >= 0.0) {
            return (a * weights[0] + b * weights[1] + c * weights[2], weights);
        }
    }
    let on_edge = |from: usize, to: usize| {
        let ends = [a, b, c];
        let along = ends[to] - ends[from];
        let length = along.norm_squared();
        let t = if length > 0.0 {
            ((p - ends[from]).dot(&along) / length).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let mut weights = [0.0; 3];
        weights[from] = 1.0 - t;
        weights[to] = t;
        (ends[from] + along * t, weights)
    };
    [(0, 1), (1, 2), (2, 0)]
        .map(|(from, to)| on_edge(from, to))
        .into_iter()
        .min_by(|one, other| (one.0 - p).norm().total_cmp(&(other.0 - p).norm()))
        .unwrap()
}

/// One posed surface, plainly.
struct Plain<'a> {
    positions: &'a [[f32; 3]],
    topology: &'a Topology,
}

impl Plain<'_> {
    fn corners(&self, triangle: usize) -> [Point; 3] {
        corners(self.positions, self.topology.corners()[triangle]).map(|p| Vector3::from(p.map(f64::from)))
    }

    fn normal(&self, triangle: usize) -> Point {
        let [a, b, c] = self.corners(triangle);
        (b - a)
            .cross(&(c - a))
            .try_normalize(0.0)
            .unwrap_or_else(Point::zeros)
    }

    /// Nearest triangle, weights and signed distance among the triangles that count; and whether another one, just as
    /// near, would say another side.
    fn signed(&self, p: Point, counts: impl Fn(usize) -> bool) -> Option<(usize, [f64; 3], f64, bool)> {
        let all = (0..self.topology.triangles().len()).filter(|&t| counts(t));
        let found: Vec<(usize, Point, [f64; 3])> = all
            .map(|t| {
                let (point, weights) = nearest_of(self.corners(t), p);
                (t, point, weights)
            })
            .collect();
        let least = found
            .iter()
            .map(|f| (f.1 - p).norm())
            .fold(f64::INFINITY, f64::min);
        let tied: Vec<_> = found
            .iter()
            .filter(|f| (f.1 - p).norm() <= least + 1e-7)
            .collect();
        let side = |f: &(usize, Point, [f64; 3])| (p - f.1).dot(&self.pseudo(f.0, f.2)) < 0.0;
        let first = tied.first()?;
        let ambiguous = tied.iter().any(|f| side(f) != side(first));
        let sign = if side(first) { -1.0 } else { 1.0 };
        Some((first.0, first.2, sign * least, ambiguous))
    }

    /// The angle-weighted normal of the face, edge or vertex that these weights name.
    fn pseudo(&self, triangle: usize, weights: [f64; 3]) -> Point {
        let welded = self.topology.triangles()[triangle];
        let on: Vec<usize> = (0..3).filter(|&k| weights[k] > 1e-9).collect();
        let beside: Vec<usize> = match on.as_slice() {
            [corner] => self
                .topology
                .vertex_triangles(welded[*corner])
                .iter()
                .map(|&t| t as usize)
                .collect(),
            [first, second] => {
                let side = if (first + 1) % 3 == *second {
                    *first
                } else {
                    *second
                };
                match self.topology.triangle_edges()[triangle][side] {
                    NONE => vec![triangle],
                    edge => self
                        .topology
                        .edge_triangles(edge)
                        .iter()
                        .map(|&t| t as usize)
                        .collect(),
                }
            }
            _ => vec![triangle],
        };
        let angle = |t: usize, vertex: u32| {
            let at = self.topology.triangles()[t]
                .iter()
                .position(|v| *v == vertex)
                .unwrap();
            let ends = self.corners(t);
            (ends[(at + 1) % 3] - ends[at]).angle(&(ends[(at + 2) % 3] - ends[at]))
        };
        beside
            .into_iter()
            .filter(|&t| self.topology.counts(t))
            .map(|t| {
                self.normal(t)
                    * if let [corner] = on.as_slice() {
                        angle(t, welded[*corner])
                    } else {
                        1.0
                    }
            })
            .sum()
    }
}

fn place(samples: &Samples, point: usize, surface: &Plain) -> Point {
    let weights = samples.barycentric[point].map(f64::from);
    let [a, b, c] = surface.corners(samples.triangle[point] as usize);
    a * weights[0] + b * weights[1] + c * weights[2]
}

/// Seeded numbers below `count` (Knuth's MMIX generator).
fn seeded(count: usize, wanted: usize, mut seed: u64) -> Vec<usize> {
    (0..wanted)
        .map(|_| {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((seed >> 33) % count as u64) as usize
        })
        .collect()
}

/// Compared, and left out because two nearest points say different sides.
#[derive(Clone, Copy, Debug, Default)]
struct Count {
    compared: usize,
    ambiguous: usize,
}

fn check_ease(moment: &Moment, seed: u64, wanted: usize) -> Count {
    let (body, layer) = (moment.body, moment.layer);
    let skin = Plain {
        positions: &moment.posed_body.positions,
        topology: &body.topology,
    };
    let cloth = Plain {
        positions: &moment.posed.positions,
        topology: &layer.topology,
    };
    let fabric = &layer.fabric;
    let check = |point: usize| {
        let ours = f64::from(moment.ease[point]);
        if ours.is_nan() {
            return (0, 0);
        }
        let p = place(&fabric.points, point, &cloth);
        let (_, _, depth, ambiguous) = skin
            .signed(p, |t| body.tags[t] & fabric.mask[point] != 0)
            .unwrap();
        assert!(
            (ours.abs() - depth.abs()).abs() < NEAR,
            "fabric {point}: {ours} and plainly {depth}"
        );
        if depth.abs() <= NEAR {
            return (1, 0);
        }
        if ambiguous {
            return (0, 1);
        }
        assert_eq!(
            ours < 0.0,
            depth < 0.0,
            "fabric {point}: {ours} and plainly {depth}"
        );
        let narrow = [p.x as f32, p.y as f32, p.z as f32];
        let counted: Vec<[u32; 3]> = (0..body.tags.len())
            .filter(|&t| body.tags[t] != 0)
            .map(|t| body.surface.triangles[t])
            .collect();
        if depth < 0.0 {
            let turns = exact(narrow, &moment.posed_body.positions, &counted);
            if (turns - 0.5).abs() > 0.02 {
                assert_eq!(
                    moment.within[point],
                    turns >= 0.5,
                    "fabric {point}: turns {turns}"
                );
            }
        } else {
            assert!(!moment.within[point]);
        }
        (1, 0)
    };
    total(
        seeded(fabric.points.len(), wanted, seed)
            .into_par_iter()
            .map(check)
            .collect(),
    )
}

/// What the record knows of covered skin: beneath its fabric, at its edge, or so far outside.
fn check_outside(moment: &Moment, seed: u64, wanted: usize) -> Count {
    let (body, layer) = (moment.body, moment.layer);
    let skin = Plain {
        positions: &moment.posed_body.positions,
        topology: &body.topology,
    };
    let cloth = Plain {
        positions: &moment.posed.positions,
        topology: &layer.topology,
    };
    let samples = &layer.skin;
    if samples.points.is_empty() {
        return Count::default();
    }
    let least = f64::from(OUTSIDE * body.scale());
    let check = |point: usize| {
        let ours = f64::from(moment.outside[point]);
        let p = place(&samples.points, point, &skin);
        let triangle = samples.points.triangle[point] as usize;
        let weights = samples.points.barycentric[point].map(f64::from);
        let normal = if point < samples.points.vertices {
            skin.pseudo(triangle, weights)
        } else {
            skin.normal(triangle)
        };
        let facing =
            |t: usize| layer.tags[t] & samples.mask[point] != 0 && cloth.normal(t).dot(&normal) > 0.0;
        // Fabric that faces the skin edge on may count or not.
        let doubtful =
            |t: usize| layer.tags[t] & samples.mask[point] != 0 && cloth.normal(t).dot(&normal).abs() < 1e-5;
        let Some((at, weights, depth, ambiguous)) = cloth.signed(p, facing) else {
            assert!(ours.is_nan());
            return (1, 0);
        };
        let beside = cloth
            .signed(p, doubtful)
            .is_some_and(|found| found.2.abs() < depth.abs() + NEAR);
        if ambiguous || beside {
            return (0, 1);
        }
        let on: Vec<usize> = (0..3).filter(|&k| weights[k] > 1e-9).collect();
        let at_edge = on.len() < 3
            && on
                .iter()
                .all(|&k| layer.edges.at_vertex(layer.surface.triangles[at][k]));
        if at_edge {
            return (0, 0);
        }
        if depth > least + NEAR {
            assert!(
                (ours - depth).abs() < NEAR,
                "skin {point}: {ours} and plainly {depth}"
            );
        } else {
            assert!(ours < least + NEAR, "skin {point}: {ours} and plainly {depth}");
            // No deeper than it says.
            assert!(
                depth < 0.0 || ours.abs() < least + NEAR,
                "skin {point}: {ours} and plainly {depth}"
            );
            assert!(depth > ours - NEAR, "skin {point}: {ours} and plainly {depth}");
        }
        (1, 0)
    };
    total(
        seeded(samples.points.len(), wanted, seed)
            .into_par_iter()
            .map(check)
            .collect(),
    )
}

fn check_stretch(moment: &Moment, seed: u64, wanted: usize) -> Count {
    let layer = moment.layer;
    let check = |triangle: usize| {
        let ours = moment.pulls.fabric[triangle].principal();
        if ours[0].is_nan() {
            return (0, 0);
        }
        let at = |positions: &[[f32; 3]]| {
            let [a, b, c] = corners(positions, layer.surface.triangles[triangle])
                .map(|p| Vector3::from(p.map(f64::from)));
            (b - a, c - a)
        };
        let (rest, posed) = (at(&layer.surface.positions), at(&moment.posed.positions));
        let x = rest.0.normalize();
        let y = (rest.1 - x * rest.1.dot(&x)).normalize();
        let flat = nalgebra::Matrix2::new(rest.0.norm(), rest.1.dot(&x), 0.0, rest.1.dot(&y));
        let gradient = Matrix3x2::from_columns(&[posed.0, posed.1]) * flat.try_inverse().unwrap();
        let singular = gradient.svd(false, false).singular_values;
        let plain = [singular.max(), singular.min()];
        for k in 0..2 {
            assert!(
                (ours[k] - plain[k]).abs() < 1e-4,
                "triangle {triangle}: {ours:?} and plainly {plain:?}"
            );
        }
        (1, 0)
    };
    total(
        seeded(layer.areas.len(), wanted, seed)
            .into_par_iter()
            .map(check)
            .collect(),
    )
}

fn total(counts: Vec<(usize, usize)>) -> Count {
    Count {
        compared: counts.iter().map(|count| count.0).sum(),
        ambiguous: counts.iter().map(|count| count.1).sum(),
    }
}

fn check(name: &str, dressed: &Dressed, frames: &[Frame]) {
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let wanted = SAMPLES / frames.len();
    let mut sums = [Count::default(); 3];
    for (seed, frame) in (1u64..).zip(frames) {
        let world = joints_at(dressed, frame);
        let moment = meet(dressed, &world, &mut scratch);
        let counts = [
            check_ease(&moment, seed, wanted),
            check_outside(&moment, seed + 100, wanted),
            check_stretch(&moment, seed + 200, wanted),
        ];
        for (sum, count) in sums.iter_mut().zip(counts) {
            sum.compared += count.compared;
            sum.ambiguous += count.ambiguous;
        }
    }
    eprintln!(
        "{name}: fabric {:?}, skin {:?}, stretch {:?}",
        sums[0], sums[1], sums[2]
    );
    assert!(
        sums.iter().all(|sum| sum.compared > SAMPLES / 10),
        "{name}: {sums:?}"
    );
    assert!(
        sums.iter().all(|sum| sum.ambiguous * 20 <= sum.compared),
        "{name}: {sums:?}"
    );
}

/// Standing, sitting, squatting, split.
fn library_frames() -> Vec<Frame> {
    ["standing", "sitting", "squat", "side_split"]
        .iter()
        .filter_map(|name| pose::all().iter().find(|pose| pose.name == *name))
        .map(|pose| Frame::Angles(pose.frames[pose.frames.len() / 2].clone()))
        .collect()
}

#[test]
fn an_invented_pair_agrees_with_the_plain_way() {
    let body = body(&BodyShape::woman("wren"));
    let trousers = garment(
        &body,
        &Pattern::new("work_trousers", Kind::SlimTrousers).built_at(9.0),
    );
    let dressed = dress_rigs(body.rig(), trousers.rig().clone());
    check("demo", &dressed, &library_frames());
}

#[test]
fn real_pairs_agree_with_the_plain_way() {
    let Some(rigs) = support::rigs() else { return };
    let outfit = |body: &str, garment: &str| Outfit {
        body: Some(rigs.join(body)),
        garment: rigs.join(garment),
        ..Outfit::default()
    };
    let pairs = [
        (
            "bodies/mhr_body_average.glb",
            "trousers/trousers_average_build9.glb",
        ),
        (
            "bodies/mhr_body_average.glb",
            "trousers/trousers_average_build9_thick.glb",
        ),
        (
            "bodies/mhr_body_average.glb",
            "trousers/trousers_average_defect_bleed_L_to_R.glb",
        ),
        ("bodies/mhr_body_slim.glb", "trousers/trousers_slim_build9.glb"),
        (
            "bodies/mhr_body_average_cut.glb",
            "trousers/trousers_average_build9.glb",
        ),
    ];
    for (body, garment) in pairs {
        check(
            garment,
            &dress(&outfit(body, garment)).unwrap(),
            &library_frames(),
        );
    }
    let synthetic = dress(&outfit("synthetic/body.glb", "synthetic/trousers.glb")).unwrap();
    let clip = Sequence::of_clip(0, &synthetic.rig.clips[0], Demand::Hard);
    let frames: Vec<Frame> = [0, 10, 20, 31]
        .iter()
        .filter_map(|&at| clip.frames.get(at).cloned())
        .collect();
    check("synthetic", &synthetic, &frames);
}
