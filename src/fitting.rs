//! The pipeline: a dressed body through poses to a judged record. Read this first.
//!
//! ```text
//! wear     rigs           -> Dressed    once: roles, homes, covered skin
//! examine  Dressed, frame -> numbers    every frame, in parallel
//! judge    numbers        -> verdict
//! ```

mod place; // a sample as a place one can look at
mod plan; // poses and clips to run through
mod regions; // numbers by a tailor's place

use crate::contact::{Beneath, Body, Layer, Moment, Scratch};
use crate::measure::{self, FabricClass, Facts, Taken, findings};
use crate::outcome::{
    Finding, Fitting, FrameResult, Garment, Numbers, PoseResult, Reason, Severity, Sides, Verdict,
};
use crate::pose::{clip, stand};
use crate::rig::Rig;
use crate::rig::bone::{Bone, Side};
use crate::rig::sized;
use crate::rig::skeleton::Skeleton;
use crate::verdict::judge;
use crate::verdict::{Limits, Told};
use nalgebra::Matrix4;
pub use plan::{Frame, MOST_CLIP_FRAMES, Plan, Sequence};

use place::place;
use regions::Gravest;
pub use regions::Regions;

/// A sample as a place one can look at.
pub fn place_of(moment: &Moment, at: measure::At) -> crate::outcome::Place {
    place(moment, at)
}
use crate::timings::{Step, time};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::Mutex;

/// A body in its layers. The first layer is the garment under test.
#[derive(Debug)]
pub struct Dressed {
    /// The body's own file, for its clips; the garment's where there is no body.
    pub rig: Rig,
    /// The skin and the skeleton that drives everything.
    pub body: Body,
    /// Dressed garments, the one under test first.
    pub layers: Vec<Layer>,
    /// The layers beneath the first in the skin's place, in the order of `layers`.
    pub beneath: Vec<Beneath>,
    /// True where there is no body: only what needs none is measured.
    pub garment_alone: bool,
    /// What the rigs show before any pose.
    pub findings: Vec<Finding>,
}

/// Runs a dressed body through a plan. `tick` is called once for every frame measured.
pub fn run(dressed: &Dressed, plan: &Plan, tick: &(dyn Fn() + Sync)) -> Fitting {
    run_watched(dressed, plan, &|_| tick())
}

/// One frame while it is measured, for who wants to keep more of it than its numbers.
pub struct Seen<'a> {
    /// Index into [`Plan::sequences`].
    pub sequence: usize,
    /// Frame of the sequence.
    pub frame: usize,
    /// World matrices of the body's nodes.
    pub world: &'a [Matrix4<f64>],
    /// Who is near whom.
    pub moment: &'a Moment<'a>,
}

/// As [`run`]; `watch` sees every frame, in any order and from any thread.
pub fn run_watched(dressed: &Dressed, plan: &Plan, watch: &(dyn Fn(&Seen) + Sync)) -> Fitting {
    let limits = told_limits_of(dressed, plan.fabric, &plan.limits);
    let mut fitting = facts_of(dressed, &limits);
    let stopped = fitting
        .rig_findings
        .iter()
        .any(|finding| finding.severity == Severity::Stop);
    if !stopped {
        fitting.poses = examine_all(dressed, &plan.sequences, watch);
        for pose in fitting
            .poses
            .iter_mut()
            .filter(|pose| pose.not_applicable.is_none())
        {
            fitting.reasons.extend(judge::pose(pose, &limits, &plan.promises));
            if (dressed.garment_alone || fitting.rig_findings.iter().any(|f| is_partly_over_skin(&f)))
                && pose.verdict == Verdict::Pass
            {
                pose.verdict = Verdict::PartlyTested;
            }
        }
        fitting.reasons.extend(untested(dressed, &fitting));
    }
    conclude(&mut fitting);
    fitting
}

/// What a fitting is judged by: the defaults with its body's size and its own slack, of the numbers that can be asked.
pub fn limits_of(dressed: &Dressed, fabric: FabricClass) -> Limits {
    told_limits_of(dressed, fabric, &Told::new())
}

/// What a fitting would be judged by with another garment in place of its own.
pub fn limits_on(dressed: &Dressed, layer: &Layer, plan: &Plan) -> Limits {
    told_limits_on(dressed, layer, plan.fabric, &plan.limits)
}

fn told_limits_of(dressed: &Dressed, fabric: FabricClass, told: &Told) -> Limits {
    told_limits_on(dressed, &dressed.layers[0], fabric, told)
}

fn told_limits_on(dressed: &Dressed, layer: &Layer, fabric: FabricClass, told: &Told) -> Limits {
    let facts = Facts {
        median_ease_mm: layer
            .median_ease()
            .map_or(0.0, |ease| ease * 1e3 / dressed.body.anatomy.scale()),
        fabric,
    };
    let mut limits = Limits::told(told, &facts, dressed.body.worn().1.scale());
    limits.most.retain(|path, _| {
        measure::can_be_asked(path, layer, !dressed.garment_alone, !dressed.beneath.is_empty())
    });
    limits
}

/// Frames one by one, in parallel and in order, for who judges them by itself: `look` gets each with its numbers.
pub fn each<T: Send>(
    dressed: &Dressed,
    frames: &[Frame],
    look: &(dyn Fn(usize, FrameResult, &Moment) -> T + Sync),
) -> Vec<T> {
    let spare: Mutex<Vec<Scratch>> = Mutex::new(Vec::new());
    frames
        .par_iter()
        .enumerate()
        .map(|(number, frame)| {
            let mut scratch = borrow(&spare, dressed);
            let world = joints_at(dressed, frame);
            let moment = meet(dressed, &world, &mut scratch);
            let result = examine(dressed, frame, number, &world, &moment);
            let looked = look(number, result, &moment);
            give_back(&spare, scratch);
            looked
        })
        .collect()
}

/// Why less was tested than was asked for: silence is never a pass.
fn untested(dressed: &Dressed, fitting: &Fitting) -> Option<Reason> {
    let say = |what: &str, weight, say: String| Reason {
        what: what.into(),
        pose: String::new(),
        frame: 0,
        value: None,
        limit: None,
        weight,
        say,
        place: None,
    };
    if fitting.poses.iter().all(|pose| pose.not_applicable.is_some()) {
        let why = fitting
            .poses
            .iter()
            .find_map(|pose| pose.not_applicable.as_deref());
        let why = why.unwrap_or("no pose was asked for");
        let text = format!("None of the asked poses applies: {why}. Choose others with --poses.");
        return Some(say("no_pose_applies", Verdict::CouldNotRun, text));
    }
    if dressed.garment_alone {
        let text = "There is no body: only the fabric itself was tested, its print and its seams. Name the body and then the \
                    garment: gusset try BODY GARMENT.";
        return Some(say("no_body", Verdict::PartlyTested, text.into()));
    }
    let finding = fitting.rig_findings.iter().find(is_partly_over_skin)?;
    let text = format!("{} {}", finding.say, finding.help);
    Some(say(&finding.code, Verdict::PartlyTested, text))
}

fn is_partly_over_skin(finding: &&Finding) -> bool {
    finding.code == findings::PARTLY_OVER_SKIN
}

/// The verdict of the whole fitting: that of its gravest reason.
fn conclude(fitting: &mut Fitting) {
    fitting
        .reasons
        .extend(fitting.rig_findings.iter().filter_map(judge::finding));
    judge::sort(&mut fitting.reasons);
    fitting.verdict = fitting
        .reasons
        .first()
        .map_or(Verdict::Pass, |reason| reason.weight);
}

fn facts_of(dressed: &Dressed, limits: &Limits) -> Fitting {
    let garments = dressed
        .layers
        .iter()
        .map(|layer| Garment {
            name: layer.surface.name.clone(),
            hip_splay_deg: splay_of(&layer.skeleton),
            covered_share: share(layer.covered_area(), layer.skin_area),
            over_skin_share: share(layer.area_over_skin(), layer.area()),
            area_cm2: layer.area() * 1e4,
            ease_median_mm: layer.median_ease().map(|ease| ease * 1e3),
        })
        .collect();
    Fitting {
        body: dressed.body.surface.name.clone(),
        garments,
        body_hip_splay_deg: splay_of(&dressed.body.skeleton),
        verdict: Verdict::NotApplicable,
        reasons: Vec::new(),
        rig_findings: dressed.findings.clone(),
        poses: Vec::new(),
        spots: Vec::new(),
        limits: limits.most.clone(),
        size: None,
    }
}

fn share(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { part / whole } else { 0.0 }
}

/// Hip splay at the bind in degrees, where the legs are known.
pub fn splay_of(skeleton: &Skeleton) -> Sides {
    let Ok(anatomy) = crate::rig::anatomy::Anatomy::new(skeleton) else {
        return Sides::default();
    };
    let of = |side| Some(steady(anatomy.hip_splay(side).to_degrees()));
    Sides {
        left: of(Side::Left),
        right: of(Side::Right),
    }
}

/// Every frame of every sequence, in parallel, in order.
fn examine_all(dressed: &Dressed, sequences: &[Sequence], watch: &(dyn Fn(&Seen) + Sync)) -> Vec<PoseResult> {
    let spare: Mutex<Vec<Scratch>> = Mutex::new(Vec::new());
    let missing: Vec<Option<String>> = sequences
        .iter()
        .map(|sequence| missing_bones(dressed, sequence))
        .collect();
    let jobs: Vec<(usize, usize)> = sequences
        .iter()
        .enumerate()
        .filter(|(sequence, _)| missing[*sequence].is_none())
        .flat_map(|(index, sequence)| (0..sequence.frames.len()).map(move |frame| (index, frame)))
        .collect();
    let regions = Regions::new(dressed);
    let results: Vec<(FrameResult, Gravest)> = jobs
        .par_iter()
        .map(|&(sequence, frame)| {
            let mut scratch = borrow(&spare, dressed);
            let world = time(Step::Skin, || {
                joints_at(dressed, &sequences[sequence].frames[frame])
            });
            let moment = meet(dressed, &world, &mut scratch);
            let result = time(Step::Measure, || {
                examine(
                    dressed,
                    &sequences[sequence].frames[frame],
                    frame,
                    &world,
                    &moment,
                )
            });
            watch(&Seen {
                sequence,
                frame,
                world: &world,
                moment: &moment,
            });
            let by_region = regions.of_frame(&moment);
            give_back(&spare, scratch);
            (result, by_region)
        })
        .collect();
    let mut results = results.into_iter();
    sequences
        .iter()
        .zip(missing)
        .map(|(sequence, missing)| {
            let count = if missing.is_some() {
                0
            } else {
                sequence.frames.len()
            };
            let (mut frames, mut gravest) = (Vec::with_capacity(count), Gravest::new());
            for (frame, by_region) in results.by_ref().take(count) {
                frames.push(frame);
                regions::fold(&mut gravest, by_region);
            }
            PoseResult {
                pose: sequence.name.clone(),
                about: sequence.about.clone(),
                demand: sequence.demand,
                verdict: Verdict::NotApplicable,
                frames,
                not_applicable: missing,
                regions: regions.named(gravest),
            }
        })
        .collect()
}

fn borrow(spare: &Mutex<Vec<Scratch>>, dressed: &Dressed) -> Scratch {
    let kept = spare.lock().ok().and_then(|mut spare| spare.pop());
    kept.unwrap_or_else(|| Scratch::new(&dressed.body, &dressed.layers))
}

fn give_back(spare: &Mutex<Vec<Scratch>>, scratch: Scratch) {
    if let Ok(mut spare) = spare.lock() {
        spare.push(scratch);
    }
}

/// The joints a sequence needs and the rig lacks, in a sentence; `None` where it can be taken.
pub fn missing_bones(dressed: &Dressed, sequence: &Sequence) -> Option<String> {
    let roles = &dressed.body.skeleton.roles;
    let has = |bone: &Bone| match bone {
        Bone::Spine => [Bone::Spine, Bone::Chest, Bone::UpperChest]
            .iter()
            .any(|b| roles.node(*b).is_some()),
        Bone::Neck => [Bone::Neck, Bone::Head].iter().any(|b| roles.node(*b).is_some()),
        bone => roles.node(*bone).is_some(),
    };
    let missing: Vec<String> = sequence
        .bones
        .iter()
        .filter(|bone| !has(bone))
        .map(|bone| bone.words())
        .collect();
    (!missing.is_empty()).then(|| format!("this rig has no {}", missing.join(", ")))
}

/// World matrices of the body's nodes at a frame.
pub fn joints_at(dressed: &Dressed, frame: &Frame) -> Vec<Matrix4<f64>> {
    match frame {
        Frame::Angles(angles) => {
            let (skeleton, anatomy) = dressed.body.worn();
            stand::take(skeleton, anatomy, angles)
        }
        Frame::Clip { clip, time_s } => {
            let locals = clip::sample(&dressed.rig, &dressed.rig.clips[*clip], *time_s);
            let Some(size) = &dressed.body.sized else {
                return dressed.rig.world(&locals);
            };
            let parents: Vec<Option<usize>> = dressed.rig.nodes.iter().map(|node| node.parent).collect();
            sized::world(&parents, &locals, &size.nodes)
        }
    }
}

/// The numbers and places of one frame.
fn examine(
    dressed: &Dressed,
    frame: &Frame,
    number: usize,
    world: &[Matrix4<f64>],
    moment: &Moment,
) -> FrameResult {
    let mut numbers = Numbers::default();
    let (mut worst, mut pairs) = (BTreeMap::new(), BTreeMap::new());
    for measure in measure::taken(!dressed.beneath.is_empty()) {
        let taken: Taken = (measure.take)(moment);
        for (number, value) in measure.numbers.iter().zip(&taken.values) {
            numbers.values.insert(
                measure.path(number),
                value.map(|value| number.unit.to_edge(value)),
            );
        }
        for &(group, at) in &taken.worst {
            let path = if group.is_empty() {
                measure.id.to_owned()
            } else {
                format!("{}.{group}", measure.id)
            };
            worst.insert(path, place(moment, at));
        }
        for (path, word) in &taken.words {
            numbers
                .words
                .insert(format!("{}.{path}", measure.id), (*word).to_owned());
        }
        for number in &taken.pairs {
            let name = format!("{}, {}", number.pair.0.words(), number.pair.1.words());
            let of_pair: &mut Numbers = pairs.entry(name).or_default();
            of_pair
                .values
                .insert(format!("{}.{}", measure.id, number.path), Some(number.value));
        }
    }
    FrameResult {
        frame: number,
        time_s: match frame {
            Frame::Angles(angles) => angles.time_s,
            Frame::Clip { time_s, .. } => Some(*time_s),
        },
        angles_deg: angles_deg(dressed, world),
        measures: numbers,
        worst,
        pairs,
    }
}

/// Poses a scratch and finds who is near whom.
pub fn meet<'a>(dressed: &'a Dressed, world: &[Matrix4<f64>], scratch: &'a mut Scratch) -> Moment<'a> {
    scratch.pose(&dressed.body, &dressed.layers, world);
    scratch.meet(&dressed.body, &dressed.layers[0]);
    scratch.meet_beneath(&dressed.beneath);
    scratch.moment(&dressed.body, &dressed.layers[0], &dressed.beneath)
}

fn angles_deg(dressed: &Dressed, world: &[Matrix4<f64>]) -> BTreeMap<String, BTreeMap<String, f64>> {
    let (skeleton, anatomy) = dressed.body.worn();
    stand::effective(skeleton, anatomy, world)
        .into_iter()
        .map(|(bone, angles)| {
            let angles = angles
                .into_iter()
                .map(|(motion, angle)| (motion.word().to_owned(), steady(angle.to_degrees())))
                .collect();
            (bone.name().to_owned(), angles)
        })
        .collect()
}

/// To a millionth: the last digits of an angle near 0 differ between systems, and -0 is 0.
fn steady(degrees: f64) -> f64 {
    (degrees * 1e6).round() / 1e6 + 0.0
}
