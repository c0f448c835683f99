//! Models that a report folder gets on demand: poses with colours, and garments with their failing places marked.

use super::Trouble;
use super::try_on::{Arguments, Posed, wants_report};
use gusset::fitting::{Dressed, Plan};
use gusset::outcome::{Fitting, Verdict};
use gusset::report::folder::safe_name;
use gusset::scenes::{self, models};
use gusset::timings::{Step, time};
use rayon::prelude::*;

/// Models lie in a report folder, and a report to pass on has none.
pub(super) fn check(arguments: &Arguments) -> Result<(), Trouble> {
    let (switch, what) = match (arguments.glb, arguments.marks) {
        (Some(_), _) => ("--glb", "models of the poses"),
        (None, true) => ("--marks", "garments with their places marked"),
        (None, false) => return Ok(()),
    };
    if arguments.share {
        return Err(Trouble::Say(format!(
            "{switch} writes {what}, and --share writes a report without any geometry; leave one of them out"
        )));
    }
    if arguments.marks && arguments.no_remedies {
        return Err(Trouble::Say(
            "--marks marks the failing places that --no-remedies does not look for; leave one of them out"
                .into(),
        ));
    }
    if !wants_report(arguments) {
        return Err(Trouble::Say(format!(
            "{switch} writes {what} into the report folder, and no report is asked for; add --out DIR or leave out --no-report"
        )));
    }
    Ok(())
}

/// Relative names and bytes, in the fitting's own folders.
pub(super) fn of_fitting(
    arguments: &Arguments,
    dressed: &Dressed,
    plan: &Plan,
    fitting: &Fitting,
    folder: &str,
) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    if let Some(which) = arguments.glb.filter(|_| fitting.verdict != Verdict::CouldNotRun) {
        let scenes = time(Step::Scenes, || {
            scenes::of_poses(dressed, plan, fitting, 0, which == Posed::Failing)
        });
        files.par_extend(scenes.par_iter().map(|scene| {
            let name = safe_name(&format!("{}_{:03}", scene.pose, scene.frame));
            (format!("models/{folder}/{name}.glb"), models::of_scene(scene))
        }));
    }
    let placed = fitting.spots.iter().any(|spot| !spot.triangles.is_empty());
    if arguments.marks && placed {
        files.push((
            format!("models/{folder}/marked_as_built.glb"),
            models::marked(&dressed.layers[0].surface, &fitting.spots),
        ));
    }
    files
}
