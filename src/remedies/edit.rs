//! What can be tried: edits of the garment, in memory. The body is never touched.

use super::beneath::skin_rows;
use super::file::{self, Way};
use super::rows::{Row, packed, row, unlike, whole};
use super::spot::Patch;
use super::{joints, reach, shape, weights};
use crate::contact::Layer;
use crate::contact::cloth::turn::Carriers;
use crate::fitting::Dressed;
use crate::outcome::Cause;
use crate::pose::stand;
use crate::rig::Rows;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::{SurfaceBind, row_is_faulty};
use std::collections::BTreeSet;

/// A weight edit is whole within this distance of the spot and gone at the next, metres at the scale of 1.
const WEIGHTS_WHOLE: f64 = 0.030;
const WEIGHTS_GONE: f64 = 0.090;
/// The same for a shape edit.
const SHAPE_WHOLE: f64 = 0.010;
pub(super) const SHAPE_GONE: f64 = 0.050;

/// Weights further from the skin's than this are unlike them, as a share of a row.
const UNLIKE: f64 = 0.1;

/// Where an edit works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Where {
    Spot,
    /// The spot, and as far round it as the weights are unlike the skin's.
    Around,
    Garment,
}

/// What is done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    /// The weights of the skin beneath.
    SkinWeights,
    /// The weights of the same place on the other side of the garment.
    MirroredSide,
    /// Weights of the other side no more than the skin has.
    WrongSideDown,
    /// A jump in the weights made smooth.
    Smooth,
    /// Rows that add up.
    Normalise,
    /// The same weights on both edges of a seam.
    EvenSeams,
    /// The weights of the skin beneath on both edges of a seam.
    SeamsAsSkin,
    /// The joints that the skin follows and the garment lacks, with the skin's weights.
    Joints,
    /// Out of the skin by so many metres, as built.
    Out(f64),
    /// Towards the skin by so many metres, as built, where there is room.
    In(f64),
    /// The skin beneath is not shown.
    HideSkin,
    /// The file as a whole.
    File(Way),
}

/// One edit with all it needs.
#[derive(Clone, Debug)]
pub(super) struct Edit {
    pub(super) kind: Kind,
    pub(super) place: Where,
    pub(super) rows: Option<Rows>,
    pub(super) positions: Option<Vec<[f32; 3]>>,
    pub(super) skeleton: Option<Skeleton>,
    /// Joints more than the garment has, behind its own.
    pub(super) binds: Vec<SurfaceBind>,
    /// Skin triangles that are hidden.
    pub(super) hidden: Vec<u32>,
    /// Vertices that change.
    pub(super) vertices: usize,
}

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

impl Edit {
    /// An edit of everything that changes nothing yet.
    pub(super) fn nothing(kind: Kind) -> Self {
        Self {
            kind,
            place: Where::Garment,
            rows: None,
            positions: None,
            skeleton: None,
            binds: Vec::new(),
            hidden: Vec::new(),
            vertices: 0,
        }
    }

    /// Which kind of mistake it mends.
    pub(super) fn cause(&self) -> Cause {
        match self.kind {
            Kind::SkinWeights | Kind::MirroredSide | Kind::WrongSideDown | Kind::Smooth => Cause::Weights,
            Kind::Normalise => Cause::Rows,
            Kind::EvenSeams | Kind::SeamsAsSkin => Cause::Seam,
            Kind::Joints => Cause::Joints,
            Kind::Out(_) | Kind::In(_) => Cause::Shape,
            Kind::HideSkin => Cause::HiddenSkin,
            Kind::File(Way::Scaled(..)) => Cause::Scale,
            Kind::File(Way::Turned(..)) => Cause::Axes,
            Kind::File(Way::BoundAt(_)) => Cause::Bind,
        }
    }

    /// The garment with this edit, dressed again as far as the edit asks for it.
    pub(super) fn apply(&self, dressed: &Dressed) -> Layer {
        let layer = &dressed.layers[0];
        let mut surface = layer.surface.clone();
        surface.binds.extend(self.binds.iter().cloned());
        if let Some(rows) = &self.rows {
            surface.rows = rows.clone();
            surface.faulty = (0..surface.positions.len())
                .map(|vertex| row_is_faulty(rows, vertex))
                .collect();
        }
        if let Some(positions) = &self.positions {
            surface.positions.clone_from(positions);
        }
        if let Some(skeleton) = &self.skeleton {
            rebind(&mut surface.binds, &layer.skeleton, skeleton);
        }
        let as_built = self.positions.is_some() || self.skeleton.is_some() || !self.binds.is_empty();
        if as_built || surface.faulty != layer.surface.faulty {
            let skeleton = self.skeleton.as_ref().unwrap_or(&layer.skeleton);
            return Layer::new(&dressed.body, surface, skeleton.clone());
        }
        // Nothing moved as built: homes, covers and edges stay.
        let mut layer = layer.clone();
        layer.cloth.carriers = Carriers::new(&surface);
        layer.surface = surface;
        let skin = &mut layer.skin;
        for (hidden, triangle) in skin.hidden.iter_mut().zip(&skin.points.triangle) {
            *hidden |= self.hidden.binary_search(triangle).is_ok();
        }
        layer
    }

    /// Every row made to add up; an empty one takes the skin's.
    pub(super) fn normalised(ground: &Ground) -> Self {
        let layer = &ground.dressed.layers[0];
        let rows: Vec<Row> = (0..layer.surface.positions.len())
            .map(|vertex| {
                let own: Row = row(layer, vertex)
                    .into_iter()
                    .filter(|(_, w)| w.is_finite() && *w > 0.0)
                    .collect();
                if own.is_empty() {
                    ground.skin[vertex].clone()
                } else {
                    whole(own)
                }
            })
            .collect();
        Self {
            rows: Some(packed(&rows)),
            vertices: layer.surface.faulty.iter().filter(|faulty| **faulty).count(),
            ..Self::nothing(Kind::Normalise)
        }
    }

    /// One row for all vertices of one place: their mean, or the skin's; `None` where they are the same already.
    fn even_seams(layer: &Layer, skin: Option<&[Row]>) -> Option<Self> {
        let mut rows: Vec<Row> = (0..layer.surface.positions.len())
            .map(|vertex| row(layer, vertex))
            .collect();
        let mut changed = 0;
        for group in layer.cloth.seams.groups() {
            let share = 1.0 / group.len() as f64;
            let of = |vertex: &u32| (share, &rows[*vertex as usize]);
            let mean = weights::mixed(&group.iter().map(of).collect::<Vec<_>>());
            let apart = group
                .iter()
                .any(|vertex| unlike(&rows[*vertex as usize], &mean) > 1e-3);
            let beneath = skin
                .map(|skin| &skin[group[0] as usize])
                .filter(|row| !row.is_empty());
            let to = beneath.unwrap_or(&mean).clone();
            for &vertex in group.iter().filter(|_| apart) {
                rows[vertex as usize].clone_from(&to);
                changed += 1;
            }
        }
        (changed > 0).then(|| Self {
            rows: Some(packed(&rows)),
            vertices: changed,
            ..Self::nothing(if skin.is_some() {
                Kind::SeamsAsSkin
            } else {
                Kind::EvenSeams
            })
        })
    }

    /// The skin beneath a spot is not shown.
    pub(super) fn hide_skin(dressed: &Dressed, patch: &Patch) -> Self {
        let skin = &dressed.layers[0].skin;
        let beneath = skin.cover.iter().zip(&skin.points.triangle);
        let mut hidden: Vec<u32> = beneath
            .filter(|(cover, _)| patch.triangles.binary_search(cover).is_ok())
            .map(|(_, triangle)| *triangle)
            .collect();
        hidden.sort_unstable();
        hidden.dedup();
        Self {
            vertices: hidden.len(),
            hidden,
            place: Where::Spot,
            ..Self::nothing(Kind::HideSkin)
        }
    }

    /// The whole file, laid on the body another way.
    pub(super) fn of_file(dressed: &Dressed, way: Way) -> Self {
        let positions = &dressed.layers[0].surface.positions;
        Self {
            positions: file::moved(way, positions),
            skeleton: file::bound(dressed, way),
            vertices: positions.len(),
            ..Self::nothing(Kind::File(way))
        }
    }
}

/// Inverse bind matrices for another bind that carry the cloth, as it lies there, as the old ones did at theirs.
fn rebind(binds: &mut [SurfaceBind], old: &Skeleton, new: &Skeleton) {
    let (old, new) = (stand::at_bind(old), stand::at_bind(new));
    for bind in binds {
        if let (Some(inverse), Some(old)) = (
            new.get(bind.node).and_then(|at| at.try_inverse()),
            old.get(bind.node),
        ) {
            bind.inverse = inverse * old * bind.inverse;
        }
    }
}
