//! Why does a place fail, and what would help? Remedies are tried in memory and measured; none is named that did not help.
//!
//! ```text
//! spot    Fitting, frames   -> connected places that fail, merged over poses
//! edit    Layer, spot       -> another Layer: other weights, another shape
//! trial   Layer, frames     -> how much of the spot is left, and what happens elsewhere
//! ```

mod beneath; // the weights of the skin beneath
mod edit; // what can be tried
mod file; // the file as a whole: units, axes, bind
mod ground; // which edits at which spot
mod joints; // joints that the skin has and the garment lacks
mod onset; // from which frame or angle on
mod reach; // how far an edit reaches along the cloth
mod rows; // weight rows by bind
mod shape; // the shape as built
mod spot; // places that fail
mod trial; // measuring an edit
mod weights; // the weights of the skin, of the other side, smoothed
mod words; // how it is put

use crate::contact::Layer;
use crate::fitting::{Dressed, Plan};
use crate::outcome::{Cause, Fitting, Remedy, Severity, Spot, Verdict};
use edit::Edit;
use ground::Ground;
use onset::Onset;
use spot::Patch;
use trial::{Everything, Trial, Weight};

/// Places for which remedies are tried; the rest is named without.
const MOST_TRIED: usize = 4;
/// A remedy that leaves more than this share of a spot did not help.
const HELPS: f64 = 0.5;
/// Remedies this close to the best are told apart by what they do elsewhere.
const AS_GOOD: f64 = 0.05;
/// Remedies named for a spot.
const MOST_NAMED: usize = 3;

/// Finds the failing places of a fitting and tries remedies on the worst of them. `tick` is called for every frame
/// measured.
///
/// A file that is wrong as a whole (units, axes, the pose it was bound in) is one spot without a place; where that is all
/// there is to mend, no other is looked for.
pub fn find(dressed: &Dressed, plan: &Plan, fitting: &Fitting, tick: &(dyn Fn() + Sync)) -> Vec<Spot> {
    let asked = matches!(fitting.verdict, Verdict::Fail | Verdict::CouldNotRun);
    if !asked || dressed.garment_alone || dressed.layers.is_empty() {
        return Vec::new();
    }
    let everywhere = trial::one_frame_of_each_pose(plan, fitting);
    let base = Trial::new(dressed, plan, fitting, tick);
    let known = base.everything(&dressed.layers[0], &everywhere);
    let file = file_spot(&base, &everywhere, &known);
    if fitting.verdict == Verdict::CouldNotRun {
        return file.map(|(spot, _)| spot).into_iter().collect();
    }
    if let Some((spot, 0)) = file {
        return vec![spot];
    }
    let ground = Ground::new(dressed);
    let mut spots: Vec<Spot> = file.map(|(spot, _)| spot).into_iter().collect();
    spots.extend(rows_spot(&ground, &base, &everywhere));
    let patches = spot::patches(dressed, plan, fitting);
    for (number, patch) in patches.iter().enumerate() {
        let tried = if number < MOST_TRIED {
            try_all(&base, &ground, patch, (&everywhere, &known))
        } else {
            Vec::new()
        };
        let onset = onset::of(&base, patch);
        spots.push(told(&ground, plan, fitting, (patch, onset), tried));
    }
    spots
}

/// The file laid on the body another way, where that mends most of what fails; with how many numbers fail then.
fn file_spot(base: &Trial, everywhere: &[(usize, usize)], known: &Everything) -> Option<(Spot, usize)> {
    let tried = file::edits(base.dressed).into_iter().map(|edit| {
        let layer = edit.apply(base.dressed);
        (base.everything(&layer, everywhere), edit)
    });
    let (after, edit) = tried
        .filter(|(after, _)| after.measured)
        .min_by(|(a, _), (b, _)| {
            let fewest = a.failing.len().cmp(&b.failing.len());
            fewest.then(a.total.total_cmp(&b.total))
        })?;
    // Where the garment covers nothing, nothing was measured that could get better.
    let nowhere = base.dressed.layers[0].skin.points.is_empty();
    let helped = nowhere || (after.total < HELPS * known.total && after.failing.len() < known.failing.len());
    let count = [if nowhere { 1 } else { known.failing.len() }, after.failing.len()];
    helped.then(|| (words::file_spot(base.dressed, &edit, count), count[1]))
}

/// One edit and what it did.
struct Tried {
    edit: Edit,
    before: Weight,
    after: Weight,
    /// Sum of all numbers over their limits, over one frame of each pose; only asked of the best.
    elsewhere: Option<[f64; 2]>,
    /// Numbers over a limit that were not before, by the poses they are in.
    broken: Vec<String>,
    /// Numbers that fail the fitting with it; only asked of the best.
    failing: Option<usize>,
}

fn try_all(
    base: &Trial,
    ground: &Ground,
    patch: &Patch,
    (everywhere, known): (&[(usize, usize)], &Everything),
) -> Vec<Tried> {
    let dressed = ground.dressed;
    let before = base.weigh(&dressed.layers[0], patch);
    let weighed = |edit: Edit| {
        let after = base.weigh(&edit.apply(dressed), patch);
        Tried {
            edit,
            before,
            after,
            elsewhere: None,
            broken: Vec::new(),
            failing: None,
        }
    };
    let mut tried: Vec<Tried> = ground.edits(patch).into_iter().map(weighed).collect();
    // Hiding skin always helps; it is only right where the body lies in itself and nothing else can.
    let helped = |one: &Tried| one.after.burden <= HELPS * one.before.burden;
    if !tried.iter().any(helped)
        && patch.measure.id == "skin_shows"
        && spot::body_overlaps(base.fitting, patch)
    {
        tried.push(weighed(Edit::hide_skin(dressed, patch)));
    }
    tried.retain(helped);
    tried.sort_by(|a, b| a.after.burden.total_cmp(&b.after.burden));
    let least = tried.first().map_or(0.0, |one| one.after.burden);
    let near = least + AS_GOOD * before.burden;
    let close = tried.iter().filter(|one| one.after.burden <= near).count();
    for one in &mut tried[..close] {
        let now = base.everything(&one.edit.apply(dressed), everywhere);
        one.elsewhere = Some([known.total, now.total]);
        one.failing = Some(now.failing.len());
        one.broken = now.over.difference(&known.over).cloned().collect();
    }
    tried[..close].sort_by(|a, b| {
        let total = |one: &Tried| one.elsewhere.map_or(f64::INFINITY, |totals| totals[1]);
        // A seam that opens has two edges that differ, whatever else would close it.
        let aside = |one: &Tried| patch.measure.id == "seam_gap" && one.edit.cause() != Cause::Seam;
        aside(a).cmp(&aside(b)).then(total(a).total_cmp(&total(b)))
    });
    // What breaks something else is named only where nothing does without.
    let harmless = patch.measure.id != "seam_gap"
        && tried
            .iter()
            .any(|one| one.elsewhere.is_some() && one.broken.is_empty());
    tried.retain(|one| !harmless || (one.elsewhere.is_some() && one.broken.is_empty()));
    tried.truncate(MOST_NAMED);
    tried
}

/// A patch with its cause: that of the best remedy.
fn told(
    ground: &Ground,
    plan: &Plan,
    fitting: &Fitting,
    (patch, onset): (&Patch, Option<Onset>),
    tried: Vec<Tried>,
) -> Spot {
    let cause = tried.first().map_or_else(
        || patch.class_of(fitting).unwrap_or(Cause::Unknown),
        |best| best.edit.cause(),
    );
    let remedies: Vec<Remedy> = tried.iter().map(|one| words::remedy(patch, one)).collect();
    let removed = tried
        .first()
        .map(|best| (1.0 - best.after.burden / best.before.burden.max(1e-12)).clamp(0.0, 1.0));
    let mut say = words::spot(ground, plan, patch, cause, tried.first());
    if let Some(onset) = &onset {
        say.push_str(&words::onset(onset));
    }
    let onset = onset.map_or((None, String::new()), Onset::written);
    patch.spot(ground.dressed, fitting, onset, (cause, removed), (say, remedies))
}

/// Faulty weight rows are no place in a pose: the vertices are left out of every measure. Normalising is tried as a whole.
fn rows_spot(ground: &Ground, base: &Trial, everywhere: &[(usize, usize)]) -> Option<Spot> {
    let finding = base
        .fitting
        .rig_findings
        .iter()
        .find(|finding| finding.severity == Severity::Fault && finding.code.starts_with("rows_"))?;
    let layer = Edit::normalised(&ground.dressed.layers[0], &ground.skin).apply(ground.dressed);
    let still: usize = faulty(&layer);
    let after = base.everything(&layer, everywhere);
    (still == 0).then(|| words::rows_spot(ground.dressed, finding, after.failing.len()))?
}

fn faulty(layer: &Layer) -> usize {
    layer.surface.faulty.iter().filter(|faulty| **faulty).count()
}
