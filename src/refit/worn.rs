//! How does the refit shape lie on the new body: room, and fabric inside the skin?

use crate::contact::{Body, HOME_REACH, Samples, region};
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::signed;
use crate::geometry::vector::narrow;
use crate::measure::statistics::weighted_quantile;
use crate::rig::surface::Surface;
use serde::Serialize;

/// Room on a body.
#[derive(Clone, Debug, Serialize)]
pub struct Worn {
    /// The body's name.
    pub body: String,
    /// Share of the fabric that lies over skin, 0 to 1.
    pub over_skin_share: f64,
    /// Room: median, but for the tightest and the loosest hundredth.
    pub ease_median_mm: f64,
    /// See `ease_median_mm`.
    pub ease_p01_mm: f64,
    /// See `ease_median_mm`.
    pub ease_p99_mm: f64,
    /// Fabric inside the skin.
    pub inside_cm2: f64,
    /// How deep at most.
    pub inside_depth_mm: f64,
    /// By vertex of the garment: room in millimetres, NaN without skin near.
    #[serde(skip)]
    pub ease_mm: Vec<f32>,
}

/// The skin that a place of the garment lies over.
pub(super) struct Beneath<'a> {
    body: &'a Body,
    tree: BoxTree,
}

impl<'a> Beneath<'a> {
    pub(super) fn new(body: &'a Body) -> Self {
        Self {
            body,
            tree: BoxTree::build_tagged(&body.surface.positions, &body.surface.triangles, &body.tags),
        }
    }

    /// In a tailor's words; `away from the body` where no skin is near.
    pub(super) fn region(&self, at: [f64; 3]) -> String {
        let found = self
            .tree
            .closest(narrow(at), HOME_REACH * self.body.scale(), ALL, None);
        let named = found
            .map(|found| region::words(self.body, self.body.parts[found.triangle as usize], found.point));
        named
            .filter(|name| !name.is_empty())
            .unwrap_or_else(|| "away from the body".into())
    }
}

/// No sample stands for more than this, square metres.
const COARSEST: f64 = 1e-4;

/// Both as bound: the body stands where the garment was made.
pub fn worn(cloth: &Surface, body: &Body) -> Worn {
    let tree = BoxTree::build_tagged(&body.surface.positions, &body.surface.triangles, &body.tags);
    let normals = PseudoNormals::new(&body.topology, &body.surface.positions);
    let room = |at: [f32; 3]| {
        let found = tree.closest(at, HOME_REACH * body.scale(), ALL, None)?;
        (!body.on_rim(found.triangle, found.feature))
            .then(|| f64::from(signed::clearance(at, &found, &normals)))
    };
    let samples = Samples::new(&cloth.positions, &cloth.triangles, COARSEST, |_| true);
    let mut pairs: Vec<(f64, f64)> = Vec::new();
    let mut total = 0.0;
    for point in (0..samples.len()).filter(|&point| samples.area[point] > 0.0) {
        total += samples.area[point];
        if let Some(room) = room(samples.position(point, &cloth.positions, &cloth.triangles)) {
            pairs.push((room, samples.area[point]));
        }
    }
    let area = |pick: &dyn Fn(f64) -> bool| {
        pairs
            .iter()
            .filter(|pair| pick(pair.0))
            .map(|pair| pair.1)
            .sum::<f64>()
            + 0.0
    };
    let at = |share: f64| weighted_quantile(&pairs, share).unwrap_or(f64::NAN) * 1e3;
    Worn {
        body: body.surface.name.clone(),
        over_skin_share: area(&|_| true) / total.max(1e-12),
        ease_median_mm: at(0.5),
        ease_p01_mm: at(0.01),
        ease_p99_mm: at(0.99),
        inside_cm2: area(&|room| room < 0.0) * 1e4,
        inside_depth_mm: pairs.iter().map(|pair| -pair.0).fold(0.0, f64::max) * 1e3,
        #[expect(clippy::cast_possible_truncation, reason = "for pictures")]
        ease_mm: cloth
            .positions
            .iter()
            .map(|at| room(*at).map_or(f32::NAN, |room| (room * 1e3) as f32))
            .collect(),
    }
}
