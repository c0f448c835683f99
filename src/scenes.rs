//! Which frames deserve a picture, and what is in it; and what the 3-D view gets to show.

pub mod compare; // two garments beside each other
pub mod maps; // a garment through two motions at once
pub mod models; // frames and marked places as GLB files
pub mod range; // a garment through a motion
pub mod refit; // a garment pulled onto another body
pub mod rig; // what the rig sheet says
pub mod splay; // a body at several splays
pub mod spots; // the places that fail, posed and as built
pub mod watch; // every frame, for the 3-D view

use crate::contact::{Moment, Scratch};
use crate::fitting::{Dressed, Plan, joints_at, meet};
use crate::measure::{self, Field, Measure};
use crate::outcome::{Fitting, Place, PoseResult, Verdict};
use crate::report::scene::{Focus, Heat, Posed, Scene};
use rayon::prelude::*;
use std::sync::Arc;

/// More pictures than this make a page nobody reads: then poses that only warn go without, and the page says how many.
const MOST_SCENES: usize = 16;

/// Pose, frame, where to look, and the number that asks for the picture.
type Wanted = (usize, usize, Option<Place>, String);

/// A scene for the worst frame of every pose that is not a clean pass, worst first; for a clean pass, of the pose that
/// comes nearest to a limit. Every pose that fails has one.
pub fn of_fitting(dressed: &Dressed, plan: &Plan, fitting: &Fitting, number: usize) -> Vec<Scene> {
    worst_of(dressed, plan, fitting, number, usize::MAX)
}

/// The scenes of [`of_fitting`], then one for every spot.
pub fn with_spots(dressed: &Dressed, plan: &Plan, fitting: &Fitting, number: usize) -> Vec<Scene> {
    let mut scenes = of_fitting(dressed, plan, fitting, number);
    scenes.extend(spots::of_fitting(dressed, plan, fitting, number));
    scenes
}

/// The first `most` of the scenes of [`of_fitting`].
pub fn worst_of(dressed: &Dressed, plan: &Plan, fitting: &Fitting, number: usize, most: usize) -> Vec<Scene> {
    wanted(fitting)
        .into_par_iter()
        .take(most)
        .map(|(pose, frame, place, what)| scene(dressed, plan, fitting, number, (pose, frame), place, &what))
        .collect()
}

/// A scene for each pose that was run, or for those that fail, in the frame that is worst.
pub fn of_poses(
    dressed: &Dressed,
    plan: &Plan,
    fitting: &Fitting,
    number: usize,
    failing: bool,
) -> Vec<Scene> {
    let poses = fitting.poses.par_iter().enumerate();
    let asked = |pose: &PoseResult| !pose.frames.is_empty() && (!failing || pose.verdict == Verdict::Fail);
    poses
        .filter(|(_, pose)| asked(pose))
        .map(|(at, pose)| {
            let reason = fitting.reasons.iter().find(|reason| reason.pose == pose.pose);
            let (frame, what) = reason.map_or((0, ""), |reason| (reason.frame, reason.what.as_str()));
            let place = reason.and_then(|reason| reason.place.clone());
            scene(dressed, plan, fitting, number, (at, frame), place, what)
        })
        .collect()
}

/// What [`of_fitting`] shows.
fn wanted(fitting: &Fitting) -> Vec<Wanted> {
    let mut wanted: Vec<Wanted> = Vec::new();
    for reason in &fitting.reasons {
        let Some(pose) = fitting.poses.iter().position(|pose| pose.pose == reason.pose) else {
            continue;
        };
        let room = wanted.len() < MOST_SCENES || fitting.poses[pose].verdict > Verdict::Warn;
        if room && wanted.iter().all(|(known, ..)| *known != pose) {
            wanted.push((pose, reason.frame, reason.place.clone(), reason.what.clone()));
        }
    }
    if wanted.is_empty() {
        wanted.extend(nearest_to_a_limit(fitting));
    }
    wanted
}

/// The frame that uses most of a limit.
fn nearest_to_a_limit(fitting: &Fitting) -> Option<Wanted> {
    let mut best: Option<(f64, Wanted)> = None;
    for (index, pose) in fitting.poses.iter().enumerate() {
        let Some(worst) = crate::report::worst::of_pose(&fitting.limits, pose) else {
            continue;
        };
        let times = worst.times_limit();
        if best.as_ref().is_none_or(|(most, _)| times > *most) {
            let place = place_of(pose, worst.frame, &worst.path);
            best = Some((times, (index, worst.frame, place, worst.path)));
        }
    }
    let first = fitting
        .poses
        .iter()
        .position(|pose| pose.verdict != Verdict::NotApplicable);
    best.map(|found| found.1)
        .or_else(|| first.map(|pose| (pose, 0, None, String::new())))
}

fn place_of(pose: &PoseResult, frame: usize, path: &str) -> Option<Place> {
    pose.frames
        .iter()
        .find(|result| result.frame == frame)?
        .place_of(path)
        .cloned()
}

fn scene(
    dressed: &Dressed,
    plan: &Plan,
    fitting: &Fitting,
    number: usize,
    (pose, frame): (usize, usize),
    place: Option<Place>,
    what: &str,
) -> Scene {
    let world = joints_at(dressed, &plan.sequences[pose].frames[frame]);
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    let moment = meet(dressed, &world, &mut scratch);
    let field = measure_of(what).and_then(|measure| Some((measure, measure.field.as_ref()?)));
    let heat = field.map(|(measure, field)| heat(&moment, measure, field));
    let focus = place
        .map(|place| focus(&moment, &place, what))
        .into_iter()
        .collect();
    let body = posed(
        &dressed.body.surface.name,
        moment.posed_body.positions.clone(),
        &drawn(&dressed.body.surface),
    );
    let mut garments: Vec<Posed> = dressed
        .layers
        .iter()
        .enumerate()
        .map(|(index, layer)| {
            posed(
                &layer.surface.name,
                scratch.layer_positions(index).to_vec(),
                &layer.surface.triangles,
            )
        })
        .collect();
    if let Some(tested) = garments.first_mut() {
        tested.heat = heat;
    }
    Scene {
        fitting: number,
        pose: fitting.poses[pose].pose.clone(),
        frame,
        what: what.to_owned(),
        body,
        garments,
        focus,
        spot: None,
    }
}

/// The triangles that the wearer does not hide.
fn drawn(surface: &crate::rig::surface::Surface) -> Vec<[u32; 3]> {
    let triangles = surface.triangles.iter().zip(&surface.hidden);
    triangles
        .filter(|(_, hidden)| !**hidden)
        .map(|(triangle, _)| *triangle)
        .collect()
}

fn measure_of(path: &str) -> Option<&'static Measure> {
    let id = path.split('.').next()?;
    measure::ALL.iter().copied().find(|measure| measure.id == id)
}

fn posed(name: &str, positions: Vec<[f32; 3]>, triangles: &[[u32; 3]]) -> Posed {
    Posed {
        name: name.to_owned(),
        positions,
        triangles: Arc::new(triangles.to_vec()),
        heat: None,
    }
}

fn heat(moment: &Moment, measure: &Measure, field: &Field) -> Heat {
    Heat {
        measure: number_of(measure, field),
        unit: field.unit.symbol().to_owned(),
        values: (field.values)(moment),
        bottom: field.bottom,
        limit: field.limit,
        top: field.top,
    }
}

/// Path of the number whose unit a field has.
fn number_of(measure: &Measure, field: &Field) -> String {
    let ending = field.unit.suffix();
    let number = measure
        .numbers
        .iter()
        .find(|number| number.path.ends_with(ending))
        .or(measure.numbers.first());
    number.map_or_else(|| measure.id.to_owned(), |number| measure.path(number))
}

/// Where to look: the place, and out of the surface it is on.
fn focus(moment: &Moment, place: &Place, what: &str) -> Focus {
    #[expect(clippy::cast_possible_truncation, reason = "for a camera")]
    let position = place.position_m.map(|value| value as f32);
    #[expect(clippy::cast_possible_truncation, reason = "for a camera")]
    let seen = place.seen_along.map(|along| along.map(|value| value as f32));
    let normal = seen.unwrap_or_else(|| {
        let tree = &moment.posed_body.tree;
        let skin = tree.closest(position, f32::INFINITY, crate::geometry::box_tree::ALL, None);
        skin.map_or([0.0, 0.0, 1.0], |found| {
            moment.skin_normals().face(found.triangle)
        })
    });
    let about = measure::find(what).map_or(what, |(_, number)| number.about);
    let at = if place.region.is_empty() {
        String::new()
    } else {
        format!("{}: ", place.region)
    };
    Focus {
        position,
        normal,
        say: format!("{at}{about}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::{Demand, Reason, Sides};
    use std::collections::BTreeMap;

    /// Poses of these verdicts, each with a reason, worst first.
    fn fitting(verdicts: &[Verdict]) -> Fitting {
        let name = |at: usize| format!("pose {at}");
        Fitting {
            body: "ash".into(),
            size: None,
            garments: Vec::new(),
            body_hip_splay_deg: Sides::default(),
            verdict: Verdict::Fail,
            reasons: (verdicts.iter().enumerate())
                .map(|(at, verdict)| Reason {
                    what: "lift.area_cm2".into(),
                    pose: name(at),
                    frame: 0,
                    value: Some(9.0),
                    limit: Some(3.0),
                    weight: *verdict,
                    say: String::new(),
                    place: None,
                })
                .collect(),
            rig_findings: Vec::new(),
            poses: (verdicts.iter().enumerate())
                .map(|(at, verdict)| PoseResult {
                    pose: name(at),
                    about: String::new(),
                    demand: Demand::Upright,
                    verdict: *verdict,
                    regions: BTreeMap::new(),
                    not_applicable: None,
                    frames: Vec::new(),
                })
                .collect(),
            spots: Vec::new(),
            limits: BTreeMap::new(),
        }
    }

    #[test]
    fn every_pose_that_fails_has_a_picture_and_only_warnings_are_cut() {
        let fails = [Verdict::Fail; 20];
        let warns = [Verdict::Warn; 20];
        let of = |verdicts: &[Verdict]| wanted(&fitting(verdicts)).len();
        assert_eq!(of(&fails), 20);
        assert_eq!(of(&warns), MOST_SCENES);
        assert_eq!(of(&[&fails[..], &warns].concat()), 20);
        assert_eq!(of(&[&fails[..10], &warns].concat()), MOST_SCENES);
    }
}
