//! How far is every fabric triangle drawn out in this frame, and the skin beneath it?

use super::body::Body;
use super::layer::Layer;
use crate::geometry::corners;
use crate::geometry::stretch::Metric;

/// One frame's deformation, by fabric triangle. Renewed for every frame, allocated once.
#[derive(Clone, Debug, Default)]
pub struct Pulls {
    /// From the bind; NaN for linings and triangles that are left out or have no area.
    pub fabric: Vec<Metric>,
    /// Larger and smaller principal stretch of the skin beneath, from as built; NaN without a home.
    pub skin: Vec<[f64; 2]>,
}

const UNKNOWN: Metric = Metric {
    a: f64::NAN,
    b: f64::NAN,
    c: f64::NAN,
};

impl Pulls {
    /// Measures all triangles anew.
    pub fn renew(&mut self, body: &Body, layer: &Layer, body_now: &[[f32; 3]], fabric_now: &[[f32; 3]]) {
        self.fabric.clear();
        self.skin.clear();
        for (triangle, &vertices) in layer.surface.triangles.iter().enumerate() {
            if layer.areas[triangle] <= 0.0 {
                self.fabric.push(UNKNOWN);
                self.skin.push([f64::NAN; 2]);
                continue;
            }
            self.fabric
                .push(layer.rest[triangle].metric(corners(fabric_now, vertices)));
            let skin = layer.skin_beside.stretches(triangle, body, body_now);
            self.skin.push(skin);
        }
    }
}
