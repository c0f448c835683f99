//! What does the 3-D view need of a run: every frame's joint matrices, and values to colour by.

use crate::contact::{Moment, Scratch};
use crate::fitting::{Dressed, Plan, Seen, joints_at, meet};
use crate::measure::{self, Field};
use crate::outcome::Fitting;
use crate::report::model::{Frame, Model, Scale, Sequence, Surface};
use crate::rig::skeleton::Skeleton;
use crate::rig::surface;
use crate::skin;
use nalgebra::Matrix4;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

/// Bytes that the frames of one fitting may take before they are packed; longer sequences are thinned.
const MOST_BYTES: usize = 24 << 20;

/// Sees the frames of one fitting and keeps what the view shows of them.
#[derive(Debug)]
pub struct Watch<'a> {
    dressed: &'a Dressed,
    /// Every so many frames are kept; the worst frames come in afterwards.
    every: usize,
    kept: Mutex<BTreeMap<(usize, usize), Frame>>,
}

impl<'a> Watch<'a> {
    /// Ready for the frames of a plan.
    pub fn new(dressed: &'a Dressed, plan: &Plan) -> Self {
        let frames: usize = plan.sequences.iter().map(|sequence| sequence.frames.len()).sum();
        let a_frame = frame_bytes(dressed).max(1);
        Self {
            dressed,
            every: (frames * a_frame).div_ceil(MOST_BYTES).max(1),
            kept: Mutex::default(),
        }
    }

    /// To be called from [`crate::fitting::run_watched`].
    pub fn see(&self, seen: &Seen) {
        if !seen.frame.is_multiple_of(self.every) {
            return;
        }
        let frame = keep(self.dressed, seen.frame, seen.world, seen.moment);
        if let Ok(mut kept) = self.kept.lock() {
            kept.insert((seen.sequence, seen.frame), frame);
        }
    }

    /// The view of the fitting that came of it; `number` is its index in the outcome.
    pub fn model(self, plan: &Plan, fitting: &Fitting, number: usize) -> Model {
        let dressed = self.dressed;
        let mut kept = self.kept.into_inner().unwrap_or_default();
        add_worst(dressed, plan, fitting, &mut kept);
        let mut sequences: Vec<Sequence> = Vec::new();
        for ((sequence, _), mut frame) in kept {
            let name = &plan.sequences[sequence].name;
            frame.time_s = fitting.poses[sequence]
                .frames
                .get(frame.number)
                .and_then(|f| f.time_s);
            match sequences.last_mut().filter(|last| last.pose == *name) {
                Some(last) => last.frames.push(frame),
                None => sequences.push(Sequence {
                    pose: name.clone(),
                    frames: vec![frame],
                }),
            }
        }
        let body = view_of(&dressed.body.surface, &dressed.body.skeleton, true);
        let layers = dressed
            .layers
            .iter()
            .map(|layer| view_of(&layer.surface, &layer.skeleton, false));
        Model {
            fitting: number,
            surfaces: std::iter::once(body).chain(layers).collect(),
            scales: scales(dressed.body.scale()),
            sequences,
        }
    }
}

/// Frames that the reasons name and that were thinned away.
fn add_worst(dressed: &Dressed, plan: &Plan, fitting: &Fitting, kept: &mut BTreeMap<(usize, usize), Frame>) {
    let mut scratch = None;
    for reason in &fitting.reasons {
        let Some(sequence) = fitting.poses.iter().position(|pose| pose.pose == reason.pose) else {
            continue;
        };
        if kept.contains_key(&(sequence, reason.frame)) {
            continue;
        }
        let scratch = scratch.get_or_insert_with(|| Scratch::new(&dressed.body, &dressed.layers));
        let world = joints_at(dressed, &plan.sequences[sequence].frames[reason.frame]);
        let moment = meet(dressed, &world, scratch);
        kept.insert(
            (sequence, reason.frame),
            keep(dressed, reason.frame, &world, &moment),
        );
    }
}

fn frame_bytes(dressed: &Dressed) -> usize {
    let palette = |surface: &surface::Surface| surface.binds.len() * 48;
    let tested = dressed
        .layers
        .first()
        .map_or(0, |layer| layer.surface.positions.len());
    let fields = measure::ALL
        .iter()
        .filter(|measure| measure.field.is_some())
        .count();
    palette(&dressed.body.surface)
        + dressed.layers.iter().map(|l| palette(&l.surface)).sum::<usize>()
        + tested * fields
        + dressed.body.surface.positions.len()
}

/// Where colours come from: the body's own scale first, then each measure that has a field.
fn scales(length: f32) -> Vec<Scale> {
    let of_skin = Scale {
        measure: "skin_shows.inner.depth_mm".into(),
        title: "Skin that shows through: how far it stands out".into(),
        surface: 0,
        bottom: 0.0,
        limit: Some(3.0 * length),
        top: 10.0 * length,
    };
    let of_fabric = fields().map(|(measure, field)| Scale {
        measure: super::number_of(measure, field),
        title: measure.about.into(),
        surface: 1,
        bottom: field.bottom,
        limit: field.limit,
        top: field.top,
    });
    std::iter::once(of_skin).chain(of_fabric).collect()
}

fn fields() -> impl Iterator<Item = (&'static measure::Measure, &'static Field)> {
    measure::ALL
        .iter()
        .filter_map(|measure| Some((*measure, measure.field.as_ref()?)))
}

fn keep(dressed: &Dressed, number: usize, world: &[Matrix4<f64>], moment: &Moment) -> Frame {
    let of_layers = dressed.layers.iter().map(|layer| {
        let joints = skin::follow(layer.worn_skeleton(), &layer.pairing, world);
        skin::palette(&layer.surface, &joints)
    });
    let palettes = std::iter::once(skin::palette(&dressed.body.surface, world))
        .chain(of_layers)
        .collect();
    let scales = scales(dressed.body.scale());
    let skin = scales[0].pack(&skin_that_shows(moment));
    let fabric = fields()
        .zip(&scales[1..])
        .map(|((_, field), scale)| scale.pack(&(field.values)(moment)));
    Frame {
        number,
        time_s: None,
        palettes,
        values: std::iter::once(skin).chain(fabric).collect(),
    }
}

/// By body vertex: how far skin that can be seen stands out, millimetres; 0 elsewhere.
fn skin_that_shows(moment: &Moment) -> Vec<f32> {
    let mut values = vec![0.0f32; moment.posed_body.positions.len()];
    let points = &moment.layer.skin.points;
    for point in (0..points.len()).filter(|&point| moment.shows(point)) {
        let Some(corners) = moment.body.surface.triangles.get(points.triangle[point] as usize) else {
            continue;
        };
        for (&corner, share) in corners.iter().zip(points.barycentric[point]) {
            let value = &mut values[corner as usize];
            if share > 0.3 {
                *value = value.max(moment.outside[point] * 1e3);
            }
        }
    }
    values
}

/// A surface at its bind with its joints.
pub(super) fn view_of(surface: &surface::Surface, skeleton: &Skeleton, body: bool) -> Surface {
    let rows = (0..surface.rows.len())
        .map(|vertex| {
            let row = surface.rows.row(vertex);
            row.map(|(bind, weight)| (bind as u16, weight)).collect()
        })
        .collect();
    Surface {
        name: surface.name.clone(),
        body,
        positions: surface.grown().into_owned(),
        triangles: Arc::new(super::drawn(surface)),
        rows,
        joints: surface
            .binds
            .iter()
            .map(|bind| skeleton.label(bind.node))
            .collect(),
    }
}
