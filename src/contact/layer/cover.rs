//! The samples of fabric and covered skin as built: homes, and what covers what.

use super::{Built, FabricSamples, NOBODY, SkinSamples};
use crate::contact::edges::Edges;
use crate::contact::samples::Samples;
use crate::contact::{HOME_REACH, LINING, far};
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::vector;
use crate::geometry::winding::Winding;
use crate::rig::part::{HOMELESS, Part, PartMask};
use crate::rig::surface::Surface;
use rayon::prelude::*;

/// How far out along its normal a skin sample looks for the fabric that covers it, metres at the scale of 1.
const COVER_OUT: f32 = 0.400;
/// How far in: a panel already sunk as built still covers.
const COVER_IN: f32 = 0.020;
/// Skin is sampled no coarser than this, square metres at the scale of 1 (a limit of 1 cm2 needs several samples).
const SKIN_GRAIN: f64 = 0.25e-4;

impl FabricSamples {
    pub(super) fn new(built: &Built, surface: &Surface, edges: &Edges, counts: &[bool]) -> Self {
        let points = Samples::new(&surface.positions, &surface.triangles, f64::INFINITY, |t| {
            counts[t]
        });
        let used: Vec<bool> = points.area.iter().map(|area| *area > 0.0).collect();
        let (points, _) = points.only(&used);
        let near = far::Near {
            body: built.body,
            tree: &built.tree,
            normals: built.normals(),
        };
        let home_skin = far::Skin {
            near,
            winding: &Winding::build(&built.tree),
        };
        let found: Vec<(u32, PartMask, f32, f32, bool)> = (0..points.len())
            .into_par_iter()
            .map(|point| {
                let at = points.position(point, &surface.positions, &surface.triangles);
                let to_edge = edges.distance(at);
                let Some(home) = built.home(at) else {
                    return (NOBODY, 0, f32::NAN, to_edge, built.over_hole(at));
                };
                let part: Part = built.body.parts[home.triangle as usize];
                let ease = built.clearance(at, &home);
                (home.triangle, part.near(), ease, to_edge, false)
            })
            .collect();
        let home: Vec<u32> = found.iter().map(|row| row.0).collect();
        let far = far::far_masks(built.body, &home);
        let in_far_skin = (0..points.len())
            .into_par_iter()
            .map(|point| {
                let at = points.position(point, &surface.positions, &surface.triangles);
                far[point] != 0 && home_skin.entered(at, found[point].2 < 0.0, far[point]).is_some()
            })
            .collect();
        Self {
            points,
            far,
            in_far_skin,
            home,
            mask: found.iter().map(|row| row.1).collect(),
            ease: found.iter().map(|row| row.2).collect(),
            to_edge: found.iter().map(|row| row.3).collect(),
            over_hole: found.iter().map(|row| row.4).collect(),
        }
    }

    /// Median ease as built by area, metres; `None` where no fabric lies over skin.
    pub(super) fn median_ease(&self) -> Option<f64> {
        let pairs: Vec<(f64, f64)> = self
            .ease
            .iter()
            .zip(&self.points.area)
            .filter(|(ease, _)| ease.is_finite())
            .map(|(ease, area)| (f64::from(*ease), *area))
            .collect();
        crate::measure::statistics::weighted_quantile(&pairs, 0.5)
    }

    /// By triangle: mean ease as built of its own points; NaN where none was measured.
    pub(super) fn ease_of_triangles(&self, count: usize) -> Vec<f32> {
        let mut sums = vec![(0.0f32, 0.0f32); count];
        for (&triangle, &ease) in self
            .points
            .triangle
            .iter()
            .zip(&self.ease)
            .skip(self.points.vertices)
        {
            if ease.is_finite() {
                let sum = &mut sums[triangle as usize];
                *sum = (sum.0 + ease, sum.1 + 1.0);
            }
        }
        sums.iter().map(|(ease, points)| ease / points).collect()
    }
}

impl SkinSamples {
    /// The covered samples, and the area of all skin.
    pub(super) fn new(built: &Built, edges: &Edges, tags: &[u32], fabric: &BoxTree) -> (Self, f64) {
        let body = &built.body.surface;
        let grain = SKIN_GRAIN * f64::from(built.scale).powi(2);
        let all = Samples::new(&built.positions, &body.triangles, grain, |t| {
            built.body.tags[t] != 0
        });
        let covers: Vec<Option<Cover>> = (0..all.len())
            .into_par_iter()
            .map(|point| {
                if all.area[point] <= 0.0 {
                    return None;
                }
                let at = all.position(point, &built.positions, &body.triangles);
                let own = all.triangle[point];
                let normal = vertex_or_face_normal(&all, point, body, &built.normals());
                let part = built.body.parts[own as usize];
                let masks = (part.bit(), part.near() | HOMELESS);
                let (triangle, to, far_off) = cover(built, fabric, tags, at, normal, masks)?;
                Some(Cover {
                    triangle,
                    far_off,
                    to_edge: edges.distance(to),
                    edge_loop: edges.nearest_loop(to).unwrap_or(NOBODY),
                })
            })
            .collect();
        let area = all.area.iter().sum();
        let keep: Vec<bool> = covers.iter().map(Option::is_some).collect();
        let (points, _) = all.only(&keep);
        let mask = points
            .triangle
            .iter()
            .map(|&t| built.body.parts[t as usize].near() | HOMELESS)
            .collect();
        let hidden = points.triangle.iter().map(|&t| body.hidden[t as usize]).collect();
        let kept = || covers.iter().flatten();
        let skin = Self {
            points,
            mask,
            hidden,
            cover: kept().map(|cover| cover.triangle).collect(),
            to_edge: kept().map(|cover| cover.to_edge).collect(),
            to_cover: kept().map(|cover| cover.far_off).collect(),
            edge_loop: kept().map(|cover| cover.edge_loop).collect(),
        };
        (skin, area)
    }
}

/// The outward normal at a sample: a vertex's own, else its triangle's.
pub fn vertex_or_face_normal(
    samples: &Samples,
    point: usize,
    surface: &Surface,
    normals: &PseudoNormals,
) -> [f32; 3] {
    let triangle = samples.triangle[point];
    if point < samples.vertices {
        let corner = samples.barycentric[point]
            .iter()
            .position(|weight| *weight > 0.5)
            .unwrap_or(0);
        return normals.vertex(surface.triangles[triangle as usize][corner]);
    }
    normals.face(triangle)
}

/// What covers a sample.
struct Cover {
    triangle: u32,
    far_off: f32,
    to_edge: f32,
    edge_loop: u32,
}

/// The fabric that covers a point of the skin, where, and how far off.
fn cover(
    built: &Built,
    fabric: &BoxTree,
    tags: &[u32],
    at: [f32; 3],
    normal: [f32; 3],
    (own, mask): (PartMask, PartMask),
) -> Option<(u32, [f32; 3], f32)> {
    let normal = vector::narrow(vector::unit(vector::wide(normal)));
    let start = 1e-4 * built.scale;
    let out: [f32; 3] = std::array::from_fn(|k| at[k] + normal[k] * start);
    let reach = built
        .tree
        .ray(out, normal, COVER_OUT * built.scale, ALL)
        .map_or(COVER_OUT * built.scale, |hit| hit.t);
    let along = |t: f32, sign: f32| std::array::from_fn(|k| at[k] + sign * t * normal[k]);
    let mut hits = Vec::new();
    fabric.ray_all(at, normal, reach + start, ALL, &mut hits);
    // Fabric that faces the same way is met from behind. A ray that first enters a garment from outside comes out on
    // its far side, past a waist or where the skin between is cut away: that is no cover (an arm beside the trunk).
    // Only a lining within reach of the skin it lies on, or the inner sheet of padding over the sample's own part, may
    // lie between: a line from an arm can also slip in between the sheets of a waistband.
    let mut entered = false;
    for hit in &hits {
        let tag = tags[hit.triangle as usize];
        let lining = tag == LINING && hit.t <= HOME_REACH * built.scale;
        entered |= hit.front && !lining && tag & own == 0;
        if !hit.front && tag & mask != 0 && !entered {
            return Some((hit.triangle, along(hit.t, 1.0), hit.t));
        }
    }
    fabric.ray_all(
        at,
        normal.map(|value| -value),
        COVER_IN * built.scale,
        mask,
        &mut hits,
    );
    hits.iter()
        .find(|hit| hit.front)
        .map(|hit| (hit.triangle, along(hit.t, -1.0), hit.t))
}
