//! Which edits are tried at a spot, and what they start from.

use super::beneath::skin_rows;
use super::edit::{Edit, Kind, Where};
use super::rows::{Row, row, unlike};
use super::spot::Patch;
use super::{joints, reach, shape, weights};
use crate::fitting::Dressed;
use std::collections::BTreeSet;

/// A weight edit is whole within this distance of the spot and gone at the next, metres at the scale of 1.
const WEIGHTS_WHOLE: f64 = 0.030;
const WEIGHTS_GONE: f64 = 0.090;
/// The same for a shape edit.
const SHAPE_WHOLE: f64 = 0.010;
pub(super) const SHAPE_GONE: f64 = 0.050;

/// Weights further from the skin's than this are unlike them, as a share of a row.
const UNLIKE: f64 = 0.1;

/// What the edits of one garment start from, found once.
pub(super) struct Ground<'a> {
    pub(super) dressed: &'a Dressed,
    /// By vertex: the weights of the skin beneath.
    pub(super) skin: Vec<Row>,
    /// By vertex: how unlike its own weights are, 0 to 1.
    off: Vec<f64>,
    /// By vertex: the weights of the mirrored place, where there is one.
    mirrored: Vec<Row>,
    /// Edits that do not depend on the spot.
    anywhere: Vec<Edit>,
}

impl<'a> Ground<'a> {
    pub(super) fn new(dressed: &'a Dressed) -> Self {
        let skin = skin_rows(dressed);
        let layer = &dressed.layers[0];
        let everywhere = vec![1.0; layer.surface.positions.len()];
        let mut anywhere: Vec<Edit> = Vec::new();
        anywhere.extend(weights::towards(
            layer,
            Kind::SkinWeights,
            &everywhere,
            |vertex, _| skin[vertex].clone(),
        ));
        anywhere.extend(weights::towards(
            layer,
            Kind::WrongSideDown,
            &everywhere,
            |vertex, own| weights::wrong_side_down(dressed, own, &skin[vertex]),
        ));
        anywhere.extend(Edit::even_seams(layer, None));
        anywhere.extend(Edit::even_seams(layer, Some(&skin)));
        anywhere.extend(joints::missing(dressed));
        let mirrored = weights::mirrored(dressed);
        let off = (skin.iter().enumerate())
            .map(|(vertex, skin)| {
                if skin.is_empty() {
                    0.0
                } else {
                    unlike(&row(layer, vertex), skin)
                }
            })
            .collect();
        Self {
            dressed,
            off,
            skin,
            mirrored,
            anywhere,
        }
    }

    /// Everything that may be tried at a spot.
    pub(super) fn edits(&self, patch: &Patch) -> Vec<Edit> {
        let layer = &self.dressed.layers[0];
        let scale = f64::from(self.dressed.body.scale());
        let reach = |full: f64, end: f64| reach::shares(layer, &patch.triangles, full * scale, end * scale);
        let local = reach(WEIGHTS_WHOLE, WEIGHTS_GONE);
        let towards = |kind, other: &dyn Fn(usize, &Row) -> Row| {
            let edit = weights::towards(layer, kind, &local, other);
            edit.map(|edit| Edit {
                place: Where::Spot,
                ..edit
            })
        };
        let mut edits: Vec<Edit> = Vec::new();
        let unlike = self.unlike_around(patch);
        if unlike.len() > patch.triangles.len() {
            let shares = reach::shares(layer, &unlike, WEIGHTS_WHOLE * scale, WEIGHTS_GONE * scale);
            let edit = weights::towards(layer, Kind::SkinWeights, &shares, |vertex, _| {
                self.skin[vertex].clone()
            });
            edits.extend(edit.map(|edit| Edit {
                place: Where::Around,
                ..edit
            }));
        }
        edits.extend(towards(Kind::SkinWeights, &|vertex, _| self.skin[vertex].clone()));
        edits.extend(towards(Kind::MirroredSide, &|vertex, _| {
            self.mirrored[vertex].clone()
        }));
        edits.extend(towards(Kind::WrongSideDown, &|vertex, own| {
            weights::wrong_side_down(self.dressed, own, &self.skin[vertex])
        }));
        let smooth = weights::smoothed(layer, &local, WEIGHTS_WHOLE * scale);
        edits.extend(towards(Kind::Smooth, &|vertex, _| smooth[vertex].clone()));
        edits.extend(self.anywhere.iter().cloned());
        let near = reach(SHAPE_WHOLE, SHAPE_GONE);
        let more = |times: f64| times * (patch.value * 1e-3 + 0.001 * scale);
        // By the depth and a millimetre; half as much more, and twice as much, where the skin comes at a slant.
        match patch.measure.id {
            "skin_shows" | "dip" => {
                edits.extend([1.0, 1.5, 2.0].map(|times| shape::out(layer, &near, more(times))))
            }
            "part_contact" => {
                edits.extend([0.5, 1.0].map(|times| shape::inward(self.dressed, &near, more(times))))
            }
            _ => {}
        }
        edits
    }
}

impl Ground<'_> {
    /// The triangles of a patch, and what hangs together with them where the weights are unlike the skin's; sorted.
    fn unlike_around(&self, patch: &Patch) -> Vec<u32> {
        let topology = &self.dressed.layers[0].topology;
        let is_unlike = |triangle: u32| {
            topology.triangles()[triangle as usize]
                .iter()
                .any(|&vertex| self.off[vertex as usize] > UNLIKE)
        };
        let mut found: BTreeSet<u32> = patch.triangles.iter().copied().collect();
        let mut todo = patch.triangles.clone();
        while let Some(triangle) = todo.pop() {
            for vertex in topology.triangles()[triangle as usize] {
                for &next in topology.vertex_triangles(vertex) {
                    if is_unlike(next) && found.insert(next) {
                        todo.push(next);
                    }
                }
            }
        }
        found.into_iter().collect()
    }
}
