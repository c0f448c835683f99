//! Which connected places of the garment fail, over all poses?

use crate::contact::{Moment, Scratch};
use crate::fitting::{Dressed, Plan, joints_at, meet, place_of};
use crate::measure::{self, At, Failing, Fault, Measure};
use crate::outcome::{Cause, Demand, Fitting, Place, Remedy, Spot, Verdict};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// Frames looked at for one number of one pose.
const MOST_FRAMES: usize = 6;
/// A place with less than this share of its number's failing area is no spot of its own.
const LEAST_SHARE: f64 = 0.15;
/// Spots of one garment.
const MOST_SPOTS: usize = 8;
/// Two places that share this much of the smaller one are one place.
const SAME: f64 = 0.5;

/// A connected place that fails.
#[derive(Clone, Debug)]
pub(super) struct Patch {
    pub(super) measure: &'static Measure,
    /// Of the garment, sorted.
    pub(super) triangles: Vec<u32>,
    /// Where it is worst: sequence and frame.
    pub(super) worst: (usize, usize),
    /// All frames it was seen in, worst first.
    pub(super) frames: Vec<(usize, usize)>,
    /// Worst value, in the edge unit of [`Failing::value`].
    pub(super) value: f64,
    /// Failing area as built in the worst frame, square metres.
    pub(super) area: f64,
    pub(super) place: Place,
    /// Other measures that fail at the same place.
    pub(super) also: Vec<&'static str>,
}

/// What failed at one frame.
struct Seen {
    frame: (usize, usize),
    measure: &'static Measure,
    faults: Vec<(u32, Fault, Place)>,
}

/// The failing record of a measure that has spots.
pub(super) fn failing(measure: &'static Measure) -> Option<&'static Failing> {
    measure.failing.as_ref()
}

/// The limit that says what is too much, edge unit.
pub(super) fn limit_of(fitting: &Fitting, measure: &Measure, demand: Demand) -> f64 {
    let path = measure
        .failing
        .as_ref()
        .map(|failing| format!("{}.{}", measure.id, failing.number));
    let most = path.and_then(|path| fitting.limits.get(&path)?.get(&demand).copied());
    most.unwrap_or(f64::INFINITY)
}

/// The garment's triangle at a place among the samples.
pub(super) fn triangle_at(moment: &Moment, at: At) -> Option<u32> {
    let layer = moment.layer;
    match at {
        At::Skin(point) => Some(layer.skin.cover[point]),
        At::Fabric(point) => Some(layer.fabric.points.triangle[point]),
        At::Triangle(triangle) => u32::try_from(triangle).ok(),
        At::Vertex(vertex) => {
            let canonical = layer.topology.canonical()[vertex];
            layer.topology.vertex_triangles(canonical).first().copied()
        }
        At::Beneath(number, point) => {
            let over = moment.over_layers().nth(number)?;
            Some(over.layer.skin.cover[point])
        }
    }
}

/// Failing places, gravest first.
pub(super) fn patches(dressed: &Dressed, plan: &Plan, fitting: &Fitting) -> Vec<Patch> {
    let wanted = wanted(fitting);
    let seen: Vec<Seen> = wanted
        .par_iter()
        .flat_map_iter(|(frame, measures)| look(dressed, plan, fitting, *frame, measures))
        .collect();
    let mut patches: Vec<Patch> = Vec::new();
    for id in order(fitting) {
        let of_measure: Vec<&Seen> = seen.iter().filter(|seen| seen.measure.id == id).collect();
        for patch in connected(dressed, &of_measure) {
            match patches.iter_mut().find(|known| is_same(known, &patch)) {
                Some(known) if known.measure.id != id && !known.also.contains(&patch.measure.id) => {
                    known.also.push(patch.measure.id);
                }
                Some(_) => {}
                None => patches.push(patch),
            }
        }
    }
    patches.truncate(MOST_SPOTS);
    patches
}

/// Measures in the order of the reasons, the gravest first.
fn order(fitting: &Fitting) -> Vec<&'static str> {
    let mut ids: Vec<&'static str> = Vec::new();
    for reason in fitting
        .reasons
        .iter()
        .filter(|reason| reason.weight == Verdict::Fail)
    {
        if let Some((measure, _)) = measure::find(&reason.what)
            && !ids.contains(&measure.id)
        {
            ids.push(measure.id);
        }
    }
    ids
}

/// Which frames to look at, and for what.
fn wanted(fitting: &Fitting) -> BTreeMap<(usize, usize), BTreeSet<&'static str>> {
    let mut wanted: BTreeMap<(usize, usize), BTreeSet<&'static str>> = BTreeMap::new();
    for reason in fitting
        .reasons
        .iter()
        .filter(|reason| reason.weight == Verdict::Fail)
    {
        let (Some((measure, _)), Some(limit)) = (measure::find(&reason.what), reason.limit) else {
            continue;
        };
        let Some(sequence) = fitting.poses.iter().position(|pose| pose.pose == reason.pose) else {
            continue;
        };
        let frames = &fitting.poses[sequence].frames;
        let over: Vec<usize> = (0..frames.len())
            .filter(|&frame| {
                frames[frame]
                    .measures
                    .get(&reason.what)
                    .is_some_and(|value| value > limit)
            })
            .collect();
        let step = over.len().div_ceil(MOST_FRAMES).max(1);
        for frame in over.into_iter().step_by(step).chain([reason.frame]) {
            wanted.entry((sequence, frame)).or_default().insert(measure.id);
        }
    }
    wanted
}

fn look(
    dressed: &Dressed,
    plan: &Plan,
    fitting: &Fitting,
    frame: (usize, usize),
    measures: &BTreeSet<&'static str>,
) -> Vec<Seen> {
    let world = joints_at(dressed, &plan.sequences[frame.0].frames[frame.1]);
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let moment = meet(dressed, &world, &mut scratch);
    let demand = plan.sequences[frame.0].demand;
    let of = |measure: &'static Measure| {
        let failing = failing(measure)?;
        let faults = (failing.find)(&moment, limit_of(fitting, measure, demand));
        let faults = faults
            .into_iter()
            .filter_map(|fault| {
                Some((
                    triangle_at(&moment, fault.at)?,
                    fault,
                    place_of(&moment, fault.at),
                ))
            })
            .collect();
        Some(Seen {
            frame,
            measure,
            faults,
        })
    };
    measure::ALL
        .iter()
        .filter(|measure| measures.contains(measure.id))
        .filter_map(|measure| of(measure))
        .collect()
}

/// The connected places of one measure, the largest first.
fn connected(dressed: &Dressed, seen: &[&Seen]) -> Vec<Patch> {
    let layer = &dressed.layers[0];
    let topology = &layer.topology;
    let mut failing: BTreeSet<u32> = seen
        .iter()
        .flat_map(|seen| seen.faults.iter().map(|fault| fault.0))
        .collect();
    // One ring more: places that fail a triangle apart are one place.
    let ring: Vec<u32> = failing
        .iter()
        .flat_map(|&t| topology.triangles()[t as usize])
        .flat_map(|vertex| topology.vertex_triangles(vertex).iter().copied())
        .collect();
    failing.extend(ring);
    let mut patches = Vec::new();
    let mut left = failing.clone();
    while let Some(first) = left.pop_first() {
        let mut piece = vec![first];
        let mut todo = vec![first];
        while let Some(triangle) = todo.pop() {
            for vertex in topology.triangles()[triangle as usize] {
                for &other in topology.vertex_triangles(vertex) {
                    if left.remove(&other) {
                        piece.push(other);
                        todo.push(other);
                    }
                }
            }
        }
        piece.sort_unstable();
        patches.extend(patch(&piece, seen));
    }
    let most = patches.iter().map(|patch| patch.area).fold(0.0, f64::max);
    patches.retain(|patch| patch.area >= LEAST_SHARE * most);
    patches.sort_by(|a, b| b.area.total_cmp(&a.area));
    patches
}

fn patch(piece: &[u32], seen: &[&Seen]) -> Option<Patch> {
    let mut frames: Vec<(f64, (usize, usize))> = Vec::new();
    let mut worst: Option<(f64, &Place)> = None;
    for one in seen {
        let mut area = 0.0;
        for (_, fault, place) in one
            .faults
            .iter()
            .filter(|fault| piece.binary_search(&fault.0).is_ok())
        {
            area += fault.area;
            if worst.is_none_or(|(value, _)| fault.value > value) {
                worst = Some((fault.value, place));
            }
        }
        if area > 0.0 {
            frames.push((area, one.frame));
        }
    }
    frames.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
    let (area, frame) = *frames.first()?;
    let (value, place) = worst?;
    Some(Patch {
        measure: seen.first()?.measure,
        triangles: piece.to_vec(),
        worst: frame,
        frames: frames.into_iter().map(|(_, frame)| frame).collect(),
        value,
        area,
        place: place.clone(),
        also: Vec::new(),
    })
}

fn is_same(a: &Patch, b: &Patch) -> bool {
    let both = b
        .triangles
        .iter()
        .filter(|triangle| a.triangles.binary_search(triangle).is_ok())
        .count();
    both as f64 >= SAME * a.triangles.len().min(b.triangles.len()) as f64
}

/// Whether the body lies in itself in the frame where a patch is worst.
pub(super) fn body_overlaps(fitting: &Fitting, patch: &Patch) -> bool {
    let words = &fitting.poses[patch.worst.0].frames[patch.worst.1].measures.words;
    ["skin", "fabric"].iter().any(|group| {
        words
            .get(&format!("part_contact.{group}.class"))
            .is_some_and(|class| class == "body_overlaps")
    })
}

impl Patch {
    /// The cause that the measure itself knows: no room between two parts, or a body that overlaps itself.
    pub(super) fn class_of(&self, fitting: &Fitting) -> Option<Cause> {
        let frame = &fitting.poses[self.worst.0].frames[self.worst.1];
        let class = |group: &str| {
            frame
                .measures
                .words
                .get(&format!("part_contact.{group}.class"))
                .map(String::as_str)
        };
        if self.measure.id != "part_contact" {
            return None;
        }
        match class("skin").or_else(|| class("fabric")) {
            Some("no_room") => Some(Cause::NoRoom),
            Some("body_overlaps") => Some(Cause::BodyOverlaps),
            _ => None,
        }
    }

    pub(super) fn spot(
        &self,
        dressed: &Dressed,
        fitting: &Fitting,
        (onset, onset_motion): (Option<f64>, String),
        (cause, removed_share): (Cause, Option<f64>),
        (say, remedies): (String, Vec<Remedy>),
    ) -> Spot {
        let pose = &fitting.poses[self.worst.0];
        let side = ["left", "right"]
            .into_iter()
            .find(|side| self.place.region.contains(side));
        let failing = self.measure.failing.as_ref();
        Spot {
            measure: failing.map_or_else(String::new, |failing| {
                format!("{}.{}", self.measure.id, failing.number)
            }),
            value: self.value,
            unit: failing.map_or_else(String::new, |failing| {
                failing.unit.suffix().trim_start_matches('_').to_owned()
            }),
            region: self.place.region.clone(),
            side: side.unwrap_or_default().to_owned(),
            area_cm2: self.area * 1e4,
            pose: pose.pose.clone(),
            frame: self.worst.1,
            onset,
            onset_motion,
            place: self.place.clone(),
            joints: joints(dressed, &self.triangles),
            cause,
            removed_share,
            say,
            remedies,
            triangles: self.triangles.clone(),
        }
    }
}

/// Joints with at least a tenth of the weight of a place, the heaviest first.
pub(super) fn joints(dressed: &Dressed, triangles: &[u32]) -> Vec<String> {
    let layer = &dressed.layers[0];
    let mut sums: BTreeMap<usize, f64> = BTreeMap::new();
    let mut all = 0.0;
    for vertex in triangles
        .iter()
        .flat_map(|&t| layer.surface.triangles[t as usize])
    {
        for (bind, weight) in layer.surface.rows.row(vertex as usize) {
            *sums.entry(layer.surface.binds[bind].node).or_default() += f64::from(weight);
            all += f64::from(weight);
        }
    }
    let mut heavy: Vec<(usize, f64)> = sums.into_iter().filter(|(_, sum)| *sum >= 0.1 * all).collect();
    heavy.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    heavy
        .iter()
        .map(|(node, _)| layer.skeleton.label(*node))
        .collect()
}
