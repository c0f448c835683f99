//! Does fabric run into another part of the body, or through another part's fabric, and could the garment help it?
//!
//! Only far parts count: leg and leg, sleeve and trunk, lap and belly. What neighbours do is a fold.

use super::layer::NOBODY;
use super::moment::Posed;
use super::tangle::{Pair, Tangle, far_of};
use super::{Body, Layer};
use crate::geometry::box_tree::{ALL, BoxTree, Nearest};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::signed;
use crate::geometry::vector::dot;
use crate::geometry::winding::Winding;
use crate::rig::part::{Part, PartMask};

/// How far a far part is looked for, metres at the scale of 1.
const REACH: f32 = 0.060;
/// Fabric runs through fabric only where their curve is at least this long, metres at the scale of 1: without this,
/// fabric that merely lies behind another part's would count.
const LEAST_CURVE: f64 = 0.020;
/// How far above the skin it is asked whether that skin lies in another part, metres at the scale of 1.
const ABOVE: f32 = 0.2e-3;

/// Who could have helped it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// There was room, and the garment left it.
    Garment,
    /// The skin beneath is inside the other part as well.
    BodyOverlaps,
    /// The gap between the two skins is less than the two eases.
    NoRoom,
}

impl Class {
    /// In order.
    pub const ALL: [Self; 3] = [Self::Garment, Self::BodyOverlaps, Self::NoRoom];

    /// As the result spells it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Garment => "garment",
            Self::BodyOverlaps => "body_overlaps",
            Self::NoRoom => "no_room",
        }
    }
}

/// A fabric sample that is where another part is.
#[derive(Clone, Copy, Debug)]
pub struct Met {
    /// Fabric sample.
    pub point: usize,
    /// How far behind the other part's skin or fabric, metres.
    pub depth: f32,
    /// Its own part and the other's, the lower index first.
    pub pair: Pair,
    /// Who could have helped it.
    pub class: Class,
}

/// What a frame's fabric runs into. Renewed for every frame.
#[derive(Clone, Debug, Default)]
pub struct Meetings {
    /// Fabric inside another part's skin, by sample.
    pub skin: Vec<Met>,
    /// Fabric behind another part's fabric, by sample.
    pub fabric: Vec<Met>,
    /// Fabric samples behind the skin of a far part, which may be inside of it.
    behind: Vec<(usize, Nearest)>,
    /// By part: the parts whose fabric its own runs through.
    through: [PartMask; Part::ALL.len()],
}

/// A skin that can be asked for what is near.
#[derive(Clone, Copy)]
pub(super) struct Near<'a> {
    pub body: &'a Body,
    pub tree: &'a BoxTree,
    pub normals: PseudoNormals<'a>,
}

/// A skin that can be asked whether fabric is inside it.
pub(super) struct Skin<'a> {
    pub near: Near<'a>,
    pub winding: &'a Winding,
}

impl Near<'_> {
    /// The far skin a point of the fabric lies behind.
    fn behind(&self, at: [f32; 3], far: PartMask) -> Option<Nearest> {
        let found = self.tree.closest(at, REACH * self.body.scale(), far, None)?;
        let hidden = self.body.surface.hidden[found.triangle as usize];
        let behind = !hidden
            && !self.body.on_rim(found.triangle, found.feature)
            && !is_aside(at, &found, self.normals.face(found.triangle))
            && signed::is_behind(at, &found, &self.normals);
        behind.then_some(found)
    }

    /// Whether some other skin lies between a point and the nearest one of a far part.
    fn is_parted(&self, at: [f32; 3], found: &Nearest) -> bool {
        // Stops short of the skin that was found, whose own triangle and neighbours begin there.
        let way: [f32; 3] = std::array::from_fn(|k| found.point[k] - at[k]);
        self.tree.ray_any(at, way, 0.98, ALL, Some(found.triangle))
    }
}

impl Skin<'_> {
    /// The far skin a point of the fabric is inside of: by the winding number, less one if it is under its own skin,
    /// and with no third surface on the way to that skin.
    pub(super) fn entered(&self, at: [f32; 3], under_own: bool, far: PartMask) -> Option<Nearest> {
        let found = self.near.behind(at, far)?;
        self.is_inside(at, under_own, &found).then_some(found)
    }

    fn is_inside(&self, at: [f32; 3], under_own: bool, found: &Nearest) -> bool {
        let turns = self.winding.at(self.near.tree, at) - f64::from(u8::from(under_own));
        turns >= 0.5 && !self.near.is_parted(at, found)
    }
}

impl Meetings {
    /// Finds what the fabric of a posed layer may run into, without the winding number.
    pub(super) fn seek(&mut self, skin: &Near, layer: &Layer, posed: &Posed, tangle: &Tangle) {
        let least = LEAST_CURVE * f64::from(skin.body.scale());
        let tangled = |pair: &Pair| tangle.far.get(pair).is_some_and(|long| *long >= least);
        for (masks, &part) in self.through.iter_mut().zip(&Part::ALL) {
            let others = Part::ALL
                .iter()
                .filter(|&&other| tangled(&(part.min(other), part.max(other))));
            *masks = others.fold(0, |mask, other| mask | other.bit());
        }
        self.behind.clear();
        let fabric = &layer.fabric;
        for point in (0..fabric.points.len()).filter(|&point| fabric.home[point] != NOBODY) {
            if fabric.in_far_skin[point] {
                continue;
            }
            let at = fabric
                .points
                .position(point, &posed.positions, &layer.surface.triangles);
            let found = skin.behind(at, fabric.far[point]);
            self.behind.extend(found.map(|found| (point, found)));
        }
    }

    /// Whether the winding number is needed to judge what was found.
    pub(super) fn need_winding(&self) -> bool {
        !self.behind.is_empty() || self.through.iter().any(|masks| *masks != 0)
    }

    /// Judges what was found. `ease` is the frame's, by fabric sample.
    pub(super) fn judge(&mut self, skin: &Skin, layer: &Layer, posed: &Posed, ease: &[f32]) {
        self.skin.clear();
        self.fabric.clear();
        let (fabric, scale) = (&layer.fabric, skin.near.body.scale());
        let place = |point: usize| {
            let own = skin.near.body.parts[fabric.home[point] as usize];
            let points = &fabric.points;
            (
                own,
                points.position(point, &posed.positions, &layer.surface.triangles),
            )
        };
        for &(point, found) in &self.behind {
            let (own, at) = place(point);
            if skin.is_inside(at, ease[point] < 0.0, &found) {
                self.skin
                    .push(met(skin, layer, posed, (point, own, at), &found, false));
            }
        }
        if self.through.iter().all(|masks| *masks == 0) {
            return;
        }
        for point in (0..fabric.points.len()).filter(|&point| fabric.home[point] != NOBODY) {
            let (own, at) = place(point);
            let masks = self.through[own.index()];
            if masks != 0
                && let Some(found) = behind_fabric(layer, posed, point, at, masks, scale)
            {
                self.fabric
                    .push(met(skin, layer, posed, (point, own, at), &found, true));
            }
        }
    }
}

/// Whether a point lies beside what is nearest to it rather than before or behind. A part ends where its neighbour
/// begins, in the middle of the sheet: beyond that line the nearest point says nothing about sides.
fn is_aside(at: [f32; 3], found: &Nearest, normal: [f32; 3]) -> bool {
    let away: [f32; 3] = std::array::from_fn(|k| at[k] - found.point[k]);
    dot(away, normal).powi(2) < 0.25 * found.distance_sq
}

/// The fabric of a far part behind which a sample lies, where that fabric faces the other way.
fn behind_fabric(
    layer: &Layer,
    posed: &Posed,
    point: usize,
    at: [f32; 3],
    far: PartMask,
    scale: f32,
) -> Option<Nearest> {
    let normals = posed.normals(&layer.topology);
    let normal = normals.face(layer.fabric.points.triangle[point]);
    // The nearest of all, not of the opposed ones: between the legs the nearest fabric of the other thigh is the
    // seam's other side, and an opposed sheet further off has nothing to do with this sample.
    let found = posed.tree.closest(at, REACH * scale, far, None)?;
    let facing = normals.face(found.triangle);
    if dot(facing, normal) >= 0.0 || is_aside(at, &found, facing) {
        return None;
    }
    let on_edge = layer.edges.holds(
        &layer.topology,
        &layer.surface.triangles,
        found.triangle,
        found.feature,
    );
    (!on_edge && signed::is_behind(at, &found, &normals)).then_some(found)
}

fn met(
    skin: &Skin,
    layer: &Layer,
    posed: &Posed,
    (point, own, at): (usize, Part, [f32; 3]),
    found: &Nearest,
    through_fabric: bool,
) -> Met {
    let other = if through_fabric {
        super::tangle::part_of(layer.tags[found.triangle as usize]).unwrap_or(own)
    } else {
        skin.near.body.parts[found.triangle as usize]
    };
    let far_ease = if through_fabric {
        layer.triangle_ease[found.triangle as usize]
    } else {
        ease_over(layer, posed, found, other, skin.near.body.scale())
    };
    Met {
        point,
        depth: found.distance_sq.sqrt(),
        pair: (own.min(other), own.max(other)),
        class: class(skin, layer, point, at, other, far_ease),
    }
}

/// Ease as built of the fabric that lies over a place of the skin; 0 where none does.
fn ease_over(layer: &Layer, posed: &Posed, skin: &Nearest, part: Part, scale: f32) -> f32 {
    let over = posed.tree.closest(skin.point, REACH * scale, part.bit(), None);
    over.map_or(0.0, |over| layer.triangle_ease[over.triangle as usize])
}

fn class(skin: &Skin, layer: &Layer, point: usize, at: [f32; 3], other: Part, far_ease: f32) -> Class {
    let fabric = &layer.fabric;
    let scale = skin.near.body.scale();
    let Some(beneath) =
        skin.near
            .tree
            .closest(at, f32::INFINITY, fabric.mask[point], Some(fabric.home[point]))
    else {
        return Class::Garment;
    };
    let out = skin.near.normals.face(beneath.triangle);
    let above: [f32; 3] = std::array::from_fn(|k| beneath.point[k] + out[k] * ABOVE * scale);
    if skin.winding.at(skin.near.tree, above) >= 0.5 {
        return Class::BodyOverlaps;
    }
    let eases = fabric.ease[point].max(0.0) + far_ease.max(0.0);
    let gap = skin
        .near
        .tree
        .closest(beneath.point, eases, other.near() & fabric.far[point], None);
    if gap.is_some() {
        Class::NoRoom
    } else {
        Class::Garment
    }
}

/// By fabric sample: the parts that are far from its own; 0 without a home.
pub(super) fn far_masks(body: &Body, home: &[u32]) -> Vec<PartMask> {
    home.iter()
        .map(|&home| {
            if home == NOBODY {
                0
            } else {
                far_of(body.parts[home as usize])
            }
        })
        .collect()
}
