//! What can be tried: edits of the garment, in memory. The body is never touched.

use super::file::{self, Way};
use super::rows::{Row, packed, row, unlike, whole};
use super::spot::Patch;
use super::weights;
use crate::contact::Layer;
use crate::contact::cloth::turn::Carriers;
use crate::fitting::Dressed;
use crate::outcome::Cause;
use crate::pose::stand;
use crate::rig::Rows;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::{SurfaceBind, row_is_faulty};

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
    pub(super) fn normalised(layer: &Layer, skin: &[Row]) -> Self {
        let rows: Vec<Row> = (0..layer.surface.positions.len())
            .map(|vertex| {
                let own: Row = row(layer, vertex)
                    .into_iter()
                    .filter(|(_, w)| w.is_finite() && *w > 0.0)
                    .collect();
                if own.is_empty() {
                    skin[vertex].clone()
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
    pub(super) fn even_seams(layer: &Layer, skin: Option<&[Row]>) -> Option<Self> {
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
