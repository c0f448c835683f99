//! How much skin does an eye see that cloth covered as built? Counted in flat pictures from all sides.

use super::flat::{self, Mesh, Parts, Scene};
use gusset::contact::Scratch;
use gusset::fitting::{Dressed, Frame, joints_at};

/// Seen in views worth more than this share of the cosine weight.
const SHOWS: f64 = 0.05;
/// Skin is counted in parts of at most this, square metres for a thigh of 0.41 m.
const GRAIN: f64 = 0.25e-4;
/// Side of a pixel, metres for such a thigh.
const PIXEL: f64 = 1.5e-3;
const DIRECTIONS: usize = 100;
/// Skin nearer than this to skin that shows as built lies beside an edge and is left out, metres for such a thigh.
const BESIDE: f32 = 0.020;
/// Fabric stands out by this, metres: skin that is out by less is rounding (DESIGN 6), not seen.
const TIE: f64 = 0.2e-3;
/// Skin further than this from any cloth is not covered by it, metres for such a thigh.
const NEAR: f32 = 0.040;

/// What a garment covers, by pictures alone: skin near cloth that does not show as built.
pub(crate) struct Eye {
    parts: Parts,
    directions: Vec<[f64; 3]>,
    /// By part: whether it is covered.
    covered: Vec<bool>,
    /// By part: how much of it shows as built.
    as_built: Vec<f64>,
    scale: f64,
}

impl Eye {
    pub(crate) fn new(dressed: &Dressed) -> Self {
        let (layer, scale) = (&dressed.layers[0], dressed.body.anatomy.scale());
        let body = skin(dressed, &layer.body_as_built);
        let parts = Parts::new(body, GRAIN * scale * scale, |_| true);
        let directions = flat::directions(DIRECTIONS);
        let cloth = Mesh {
            positions: &layer.surface.positions,
            triangles: &layer.surface.triangles,
        };
        let outer = flat::raised(cloth, TIE);
        let worn = vec![stands_out(cloth, &outer)];
        let as_built = flat::weights(&Scene { body, worn }, &parts, &directions, PIXEL * scale);
        let centres = parts.centres(body);
        let shown: Vec<[f32; 3]> = (centres.iter().zip(&as_built))
            .filter(|(_, weight)| **weight > SHOWS)
            .map(|(centre, _)| *centre)
            .collect();
        let [beside, near] = [BESIDE, NEAR].map(|length| (length * scale as f32).powi(2));
        let apart = |a: &[f32; 3], b: &[f32; 3]| (0..3).map(|axis| (a[axis] - b[axis]).powi(2)).sum::<f32>();
        let covered = (0..centres.len())
            .map(|part| {
                let at = &centres[part];
                as_built[part] <= SHOWS
                    && cloth.positions.iter().any(|other| apart(at, other) < near)
                    && shown.iter().all(|other| apart(at, other) > beside)
            })
            .collect();
        Self {
            parts,
            directions,
            covered,
            as_built,
            scale,
        }
    }

    /// Posed area of the covered skin that shows in a frame, square centimetres; `dressed` is the same body, in this garment
    /// or a spoilt one.
    pub(crate) fn sees(&self, dressed: &Dressed, frame: &Frame) -> f64 {
        let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
        scratch.pose(&dressed.body, &dressed.layers, &joints_at(dressed, frame));
        let body = skin(dressed, scratch.body_positions());
        let cloth = Mesh {
            positions: scratch.layer_positions(0),
            triangles: &dressed.layers[0].surface.triangles,
        };
        let outer = flat::raised(cloth, TIE);
        let worn = vec![stands_out(cloth, &outer)];
        let scene = Scene { body, worn };
        let weights = flat::weights(&scene, &self.parts, &self.directions, PIXEL * self.scale);
        let areas = self.parts.areas(body);
        let shows = |part: &usize| self.covered[*part] && weights[*part] > SHOWS + self.as_built[*part];
        (0..areas.len()).filter(shows).map(|part| areas[part] * 1e4).sum()
    }
}

fn stands_out<'a>(cloth: Mesh<'a>, positions: &'a [[f32; 3]]) -> Mesh<'a> {
    Mesh { positions, ..cloth }
}

fn skin<'a>(dressed: &'a Dressed, positions: &'a [[f32; 3]]) -> Mesh<'a> {
    Mesh {
        positions,
        triangles: &dressed.body.surface.triangles,
    }
}
