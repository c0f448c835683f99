//! One posed frame: where everything is, and who is near whom.

use super::VISIBLE;
use super::beneath::Beneath;
use super::body::Body;
use super::far::{Meetings, Near, Skin};
use super::layer::{Layer, NOBODY, vertex_or_face_normal};
use super::patches::{self, Known};
use super::pull::Pulls;
use super::samples::Samples;
use super::seen::Sight;
use super::tangle::Tangle;
use crate::geometry::box_tree::{ALL, BoxTree};
use crate::geometry::pseudo_normal::PseudoNormals;
use crate::geometry::signed;
use crate::geometry::topology::Topology;
use crate::geometry::vector::{narrow, unit, wide};
use crate::geometry::winding::Winding;
use crate::rig::surface::polar;
use crate::skin;
use crate::timings::{Step, time};
use nalgebra::{Matrix4, Vector3};

/// Skin must be this far outside its fabric to count, metres at the scale of 1: below is rounding.
pub const OUTSIDE: f32 = 0.2e-3;

/// Skin whose nearest fabric is nearer than this, and not an edge, has fabric straight out, metres at the scale of 1:
/// only the rest is asked for it.
const DOUBT: f32 = 0.010;
/// Skin that is surely beneath fabric no further than this is asked no more, metres at the scale of 1.
const SURE: f32 = 0.030;
/// Fabric straight out of the skin is looked for so far, metres at the scale of 1.
const STRAIGHT_OUT: f32 = 0.060;
/// The same where it was further than that as built.
const FAR_OUT: f32 = 0.400;

/// A posed surface with the searches it answers. Renewed for every frame, allocated once.
#[derive(Clone, Debug)]
pub struct Posed {
    /// Metres.
    pub positions: Vec<[f32; 3]>,
    /// The matrix of each of the surface's binds, see [`skin::palette`].
    pub palette: Vec<[[f32; 4]; 3]>,
    /// Tagged as the layer or body says.
    pub tree: BoxTree,
}

/// One thread's memory for one fitting.
#[derive(Clone, Debug)]
pub struct Scratch {
    body: Posed,
    layers: Vec<Posed>,
    winding: Winding,
    /// Whether `winding` is still that of an earlier pose: few frames ask for it.
    winding_is_old: bool,
    ease: Vec<f32>,
    outside: Vec<f32>,
    seen: Vec<bool>,
    within: Vec<bool>,
    gone: Vec<bool>,
    tangle: Tangle,
    meetings: Meetings,
    pulls: Pulls,
    known: Known,
    /// One for each layer beneath.
    under: Vec<Self>,
    pelvis: (Vector3<f32>, Vector3<f32>),
}

/// What is true in one frame. Layer 0 is the garment under test; the others only hide what is behind them.
#[derive(Clone, Copy, Debug)]
pub struct Moment<'a> {
    /// The skin.
    pub body: &'a Body,
    /// The garment under test.
    pub layer: &'a Layer,
    /// The skin, posed.
    pub posed_body: &'a Posed,
    /// The garment, posed.
    pub posed: &'a Posed,
    /// By fabric sample: signed distance to the skin of its home part or neighbours, metres, positive outside; NaN
    /// where it was not measured.
    pub ease: &'a [f32],
    /// By covered skin sample: how far outside its home fabric, metres; negative inside, where it may be further from
    /// 0 than it should (see [`patches`]); NaN where the nearest fabric point lies on an edge.
    pub outside: &'a [f32],
    /// By covered skin sample: whether it can be seen; only asked of samples outside by more than [`OUTSIDE`].
    pub seen: &'a [bool],
    /// By fabric sample: whether the winding number of the body says inside; only asked where ease is negative.
    pub within: &'a [bool],
    /// By covered skin sample: whether it lost its cover and can be seen for that.
    pub gone: &'a [bool],
    /// Where the garment runs through itself.
    pub tangle: &'a Tangle,
    /// Where the garment runs into another part of the body, or through that part's fabric.
    pub meetings: &'a Meetings,
    /// How far each fabric triangle and the skin beneath is drawn out.
    pub pulls: &'a Pulls,
    /// Every garment worn, posed; the first is `posed`.
    pub worn: &'a [Posed],
    /// The layers beneath in the skin's place.
    beneath: &'a [Beneath],
    under: &'a [Scratch],
    /// The posed pelvis's front and up.
    pub pelvis: (Vector3<f32>, Vector3<f32>),
    /// Length factor of the body (DESIGN 6).
    pub scale: f64,
}

impl Posed {
    fn new(positions: Vec<[f32; 3]>, triangles: &[[u32; 3]], tags: &[u32]) -> Self {
        let tree = BoxTree::build_tagged(&positions, triangles, tags);
        Self {
            positions,
            palette: Vec::new(),
            tree,
        }
    }

    /// Normals of the surface that `topology` describes.
    pub fn normals<'a>(&'a self, topology: &'a Topology) -> PseudoNormals<'a> {
        PseudoNormals::new(topology, &self.positions)
    }
}

impl Scratch {
    /// Memory for frames of a body in these layers.
    pub fn new(body: &Body, layers: &[Layer]) -> Self {
        let skin = &body.surface;
        let posed_body = Posed::new(skin.positions.clone(), &skin.triangles, &body.tags);
        let winding = Winding::build(&posed_body.tree);
        let posed = layers
            .iter()
            .map(|layer| {
                let surface = &layer.surface;
                Posed::new(surface.positions.clone(), &surface.triangles, &layer.tags)
            })
            .collect();
        let (fabric, covered) = layers.first().map_or((0, 0), |layer| {
            (layer.fabric.points.len(), layer.skin.points.len())
        });
        Self {
            body: posed_body,
            layers: posed,
            winding,
            winding_is_old: false,
            ease: vec![f32::NAN; fabric],
            outside: vec![f32::NAN; covered],
            seen: vec![false; covered],
            within: vec![false; fabric],
            gone: vec![false; covered],
            tangle: Tangle::default(),
            meetings: Meetings::default(),
            pulls: Pulls::default(),
            known: Known::default(),
            under: Vec::new(),
            pelvis: (Vector3::z(), Vector3::y()),
        }
    }

    /// Moves every surface to where the body's joints are.
    pub fn pose(&mut self, body: &Body, layers: &[Layer], world: &[Matrix4<f64>]) {
        time(Step::Skin, || self.carry(body, layers, world));
        time(Step::Refit, || {
            let posed = std::iter::once(&mut self.body).chain(&mut self.layers);
            posed.for_each(renew);
        });
        self.winding_is_old = true;
        time(Step::Measure, || self.pull(body, layers));
    }

    /// Moves every surface to where the body's joints are, its vertices to positions found elsewhere: the body's, then
    /// each layer's, metres. For what linear-blend skinning does not know, such as a mesh made finer once it was posed.
    pub fn place(
        &mut self,
        body: &Body,
        layers: &[Layer],
        world: &[Matrix4<f64>],
        positions: &[Vec<[f32; 3]>],
    ) {
        self.carry(body, layers, world);
        let posed = std::iter::once(&mut self.body).chain(&mut self.layers);
        for (posed, positions) in posed.zip(positions) {
            posed.positions.copy_from_slice(positions);
            renew(posed);
        }
        self.winding_is_old = true;
        self.pull(body, layers);
    }

    /// Every vertex to where the joints carry it.
    fn carry(&mut self, body: &Body, layers: &[Layer], world: &[Matrix4<f64>]) {
        self.body.palette = skin::palette(&body.surface, world);
        skin::blend_grown(&body.surface, &self.body.palette, &mut self.body.positions);
        self.pelvis = pelvis_axes(body, world);
        for (layer, posed) in layers.iter().zip(&mut self.layers) {
            let joints = skin::follow(layer.worn_skeleton(), &layer.pairing, world);
            posed.palette = skin::palette(&layer.surface, &joints);
            skin::blend_grown(&layer.surface, &posed.palette, &mut posed.positions);
        }
    }

    fn pull(&mut self, body: &Body, layers: &[Layer]) {
        if let (Some(layer), Some(posed)) = (layers.first(), self.layers.first()) {
            self.pulls
                .renew(body, layer, &self.body.positions, &posed.positions);
        }
    }

    /// Finds who is near whom for all samples of the first layer.
    pub fn meet(&mut self, body: &Body, layer: &Layer) {
        time(Step::Ease, || self.meet_fabric(body, layer));
        time(Step::Ease, || self.sink_fabric(layer));
        self.meet_skin(body, layer, &[]);
        self.meet_far(body, layer);
    }

    /// Finds which of the layers beneath shows through the first; `beneath` are all layers but that, in order.
    pub fn meet_beneath(&mut self, beneath: &[Beneath]) {
        let Self {
            body,
            layers,
            under,
            pelvis,
            ..
        } = self;
        if under.len() != beneath.len() {
            *under = beneath
                .iter()
                .map(|below| Self::new(&below.body, std::slice::from_ref(&below.over)))
                .collect();
        }
        let [outer, inner @ ..] = layers.as_slice() else {
            return;
        };
        for ((scratch, below), posed) in under.iter_mut().zip(beneath).zip(inner) {
            scratch.pelvis = *pelvis;
            let (surface, cloth) = (&mut scratch.body, &mut scratch.layers[0]);
            surface.positions.copy_from_slice(&posed.positions);
            renew(surface);
            cloth.positions.copy_from_slice(&outer.positions);
            renew(cloth);
            scratch.meet_skin(&below.body, &below.over, &[(&body.tree, VISIBLE)]);
        }
    }

    /// Where the garment runs through itself, into other parts and through their fabric. Needs the ease of all samples.
    pub fn meet_far(&mut self, body: &Body, layer: &Layer) {
        time(Step::Tangle, || self.tangle.renew(layer, &self.layers[0].tree));
        time(Step::Far, || {
            let near = Near {
                body,
                tree: &self.body.tree,
                normals: self.body.normals(&body.topology),
            };
            self.meetings.seek(&near, layer, &self.layers[0], &self.tangle)
        });
        if self.meetings.need_winding() {
            self.renew_winding();
        }
        time(Step::Far, || {
            let near = Near {
                body,
                tree: &self.body.tree,
                normals: self.body.normals(&body.topology),
            };
            let skin = Skin {
                near,
                winding: &self.winding,
            };
            self.meetings.judge(&skin, layer, &self.layers[0], &self.ease);
        });
    }

    /// Ease and side of all fabric samples.
    fn meet_fabric(&mut self, body: &Body, layer: &Layer) {
        let fabric = &layer.fabric;
        for point in 0..fabric.points.len() {
            self.within[point] = false;
            self.ease[point] = f32::NAN;
            if fabric.home[point] == NOBODY {
                continue;
            }
            let at = fabric
                .points
                .position(point, &self.layers[0].positions, &layer.surface.triangles);
            let found =
                self.body
                    .tree
                    .closest(at, f32::INFINITY, fabric.mask[point], Some(fabric.home[point]));
            let Some(found) = found.filter(|found| !body.on_rim(found.triangle, found.feature)) else {
                continue;
            };
            self.ease[point] = signed::clearance(at, &found, &self.body.normals(&body.topology));
        }
    }

    /// Which of the fabric that is under its own skin the body goes round.
    fn sink_fabric(&mut self, layer: &Layer) {
        let under = |ease: &f32| *ease < 0.0;
        if self.ease.iter().any(under) {
            self.renew_winding();
        }
        for point in (0..self.ease.len()).filter(|&point| under(&self.ease[point])) {
            let points = &layer.fabric.points;
            let at = points.position(point, &self.layers[0].positions, &layer.surface.triangles);
            self.within[point] = self.winding.at(&self.body.tree, at) >= 0.5;
        }
    }

    fn renew_winding(&mut self) {
        if self.winding_is_old {
            time(Step::Refit, || self.winding.refit(&self.body.tree));
            self.winding_is_old = false;
        }
    }

    /// Sets what is known of covered skin that lies surely beneath its fabric; the rest is left in `known.doubtful`.
    fn cover_skin(&mut self, body: &Body, layer: &Layer) {
        let posed = &self.layers[0];
        let (samples, scale) = (&layer.skin, body.scale());
        let frame = patches::Frame {
            body,
            skin: &self.body.positions,
            topology: &layer.topology,
            fabric: posed,
        };
        let of_skin = self.body.normals(&body.topology);
        let (outside, seen, gone) = (&mut self.outside, &mut self.seen, &mut self.gone);
        // Where fabric is not near it must also lie straight out.
        let is_covered = |point: usize| {
            let at = samples
                .points
                .position(point, frame.skin, &body.surface.triangles);
            let normal = vertex_or_face_normal(&samples.points, point, &body.surface, &of_skin);
            is_covered(&posed.tree, at, normal, samples.to_cover[point], scale)
        };
        layer
            .patches
            .sort(&frame, samples, SURE * scale, &mut self.known, |point, depth| {
                let sure = depth <= DOUBT * scale || is_covered(point);
                if sure {
                    outside[point] = -depth;
                    (seen[point], gone[point]) = (false, false);
                }
                sure
            });
    }

    /// Which covered skin samples lie outside their fabric, and whether that can be seen; `also` hides as well.
    fn meet_skin(&mut self, body: &Body, layer: &Layer, also: &[(&BoxTree, u32)]) {
        time(Step::Cover, || self.cover_skin(body, layer));
        time(Step::Outside, || self.leave_fabric(body, layer));
        time(Step::Seen, || self.look_at_skin(body, layer, also));
    }

    /// How far the doubtful skin lies outside its fabric.
    fn leave_fabric(&mut self, body: &Body, layer: &Layer) {
        let (samples, posed) = (&layer.skin, &self.layers[0]);
        let (of_skin, of_fabric) = (self.body.normals(&body.topology), posed.normals(&layer.topology));
        for &point in &self.known.doubtful {
            let point = point as usize;
            let at = samples
                .points
                .position(point, &self.body.positions, &body.surface.triangles);
            let normal = vertex_or_face_normal(&samples.points, point, &body.surface, &of_skin);
            // In a closed crease the nearest fabric is often the other side's, met from outside: only fabric that
            // faces the same way can have covered this skin.
            let found = posed.tree.closest_where(
                at,
                f32::INFINITY,
                samples.mask[point],
                Some(samples.cover[point]),
                |triangle| of_fabric.faces(triangle, normal),
            );
            let counted = found.filter(|found| {
                !layer.edges.holds(
                    &layer.topology,
                    &layer.surface.triangles,
                    found.triangle,
                    found.feature,
                )
            });
            self.outside[point] = counted.map_or(f32::NAN, |found| signed::clearance(at, &found, &of_fabric));
        }
    }

    /// Which of the doubtful skin can be seen outside its fabric, or for want of fabric.
    fn look_at_skin(&mut self, body: &Body, layer: &Layer, also: &[(&BoxTree, u32)]) {
        let samples = &layer.skin;
        let scale = body.scale();
        let trees: Vec<(&BoxTree, u32)> = std::iter::once((&self.body.tree, VISIBLE))
            .chain(self.layers.iter().map(|posed| (&posed.tree, ALL)))
            .chain(also.iter().copied())
            .collect();
        let sight = Sight::new(&trees, self.pelvis.0, self.pelvis.1, scale);
        let of_skin = self.body.normals(&body.topology);
        for &point in &self.known.doubtful {
            let point = point as usize;
            (self.seen[point], self.gone[point]) = (false, false);
            let outside = self.outside[point];
            let is_out = outside > OUTSIDE * scale && !samples.hidden[point];
            let is_far = outside.is_nan() || outside.abs() > DOUBT * scale;
            if !is_out && !is_far {
                continue;
            }
            let at = samples
                .points
                .position(point, &self.body.positions, &body.surface.triangles);
            let normal = vertex_or_face_normal(&samples.points, point, &body.surface, &of_skin);
            self.seen[point] = is_out && sight.is_seen(at, normal);
            self.gone[point] = is_far
                && !self.seen[point]
                && !is_covered(&self.layers[0].tree, at, normal, samples.to_cover[point], scale)
                && sight.is_seen_more(at, normal, layer.seen_as_built.share(body, layer, point));
        }
    }

    /// The frame as the measures see it.
    pub fn moment<'a>(&'a self, body: &'a Body, layer: &'a Layer, beneath: &'a [Beneath]) -> Moment<'a> {
        Moment {
            body,
            layer,
            posed_body: &self.body,
            posed: &self.layers[0],
            ease: &self.ease,
            outside: &self.outside,
            seen: &self.seen,
            within: &self.within,
            gone: &self.gone,
            tangle: &self.tangle,
            meetings: &self.meetings,
            pulls: &self.pulls,
            worn: &self.layers,
            beneath,
            under: &self.under,
            pelvis: self.pelvis,
            scale: body.worn().1.scale(),
        }
    }

    /// Posed positions of the body.
    pub fn body_positions(&self) -> &[[f32; 3]] {
        &self.body.positions
    }

    /// Posed positions of a layer.
    pub fn layer_positions(&self, layer: usize) -> &[[f32; 3]] {
        &self.layers[layer].positions
    }
}

impl Moment<'_> {
    /// Normals of the posed skin.
    pub fn skin_normals(&self) -> PseudoNormals<'_> {
        self.posed_body.normals(&self.body.topology)
    }

    /// Normals of the posed garment.
    pub fn fabric_normals(&self) -> PseudoNormals<'_> {
        self.posed.normals(&self.layer.topology)
    }

    /// Posed place of a fabric sample, metres.
    pub fn fabric_at(&self, point: usize) -> [f32; 3] {
        self.at(
            &self.layer.fabric.points,
            point,
            self.posed,
            &self.layer.surface.triangles,
        )
    }

    /// Posed place of a covered skin sample, metres.
    pub fn skin_at(&self, point: usize) -> [f32; 3] {
        self.at(
            &self.layer.skin.points,
            point,
            self.posed_body,
            &self.body.surface.triangles,
        )
    }

    fn at(&self, samples: &Samples, point: usize, posed: &Posed, triangles: &[[u32; 3]]) -> [f32; 3] {
        samples.position(point, &posed.positions, triangles)
    }

    /// From where a covered skin sample is seen best, world; asked for places that are shown, not for every sample.
    pub fn seen_from(&self, point: usize) -> [f32; 3] {
        let trees = self.occluders();
        let sight = Sight::new(&trees, self.pelvis.0, self.pelvis.1, self.body.scale());
        let points = &self.layer.skin.points;
        let normal = vertex_or_face_normal(points, point, &self.body.surface, &self.skin_normals());
        sight.from(self.skin_at(point), normal)
    }

    /// The garment under test over each layer beneath, in the order in which they are worn.
    pub fn over_layers(&self) -> impl Iterator<Item = Moment<'_>> {
        let pairs = self.under.iter().zip(self.beneath);
        pairs.map(|(scratch, below)| scratch.moment(&below.body, &below.over, &[]))
    }

    /// All surfaces that can hide something, with the tags that do.
    pub fn occluders(&self) -> Vec<(&BoxTree, u32)> {
        std::iter::once((&self.posed_body.tree, VISIBLE))
            .chain(self.worn.iter().map(|posed| (&posed.tree, ALL)))
            .collect()
    }

    /// True for a covered skin sample that is outside its fabric and can be seen.
    pub fn shows(&self, point: usize) -> bool {
        self.outside[point] > OUTSIDE * self.body.scale()
            && self.seen[point]
            && !self.layer.skin.hidden[point]
    }
}

/// Whether fabric lies straight out of a place of the skin: near, or as far as it was.
fn is_covered(fabric: &BoxTree, at: [f32; 3], normal: [f32; 3], to_cover: f32, scale: f32) -> bool {
    let normal = narrow(unit(wide(normal)));
    let reach = if to_cover > STRAIGHT_OUT * scale {
        FAR_OUT
    } else {
        STRAIGHT_OUT
    };
    let start: [f32; 3] = std::array::from_fn(|k| at[k] - normal[k] * OUTSIDE * scale);
    fabric.ray_any(start, normal, (reach + OUTSIDE) * scale, ALL, None)
}

fn renew(posed: &mut Posed) {
    posed.tree.refit(&posed.positions);
}

/// The posed pelvis's front and up.
#[expect(clippy::cast_possible_truncation, reason = "directions")]
pub fn pelvis_axes(body: &Body, world: &[Matrix4<f64>]) -> (Vector3<f32>, Vector3<f32>) {
    let (skeleton, anatomy) = body.worn();
    let turn = skeleton
        .roles
        .node(crate::rig::bone::Bone::Hips)
        .map_or_else(nalgebra::Rotation3::identity, |hips| {
            polar(&world[hips]).0 * skeleton.joints[hips].rotation.inverse()
        });
    let now = turn * anatomy.pelvis;
    (
        (now * Vector3::z()).map(|v| v as f32),
        (now * Vector3::y()).map(|v| v as f32),
    )
}
