//! Why does a place fail, and what would help? Remedies are tried in memory and measured; none is named that did not help.
//!
//! ```text
//! spot    Fitting, frames   -> connected places that fail, merged over poses
//! edit    Layer, spot       -> another Layer: other weights, another shape
//! trial   Layer, frames     -> how much of the spot is left, and what happens elsewhere
//! ```

mod edit; // what can be tried
mod reach; // how far an edit reaches along the cloth
mod spot; // places that fail
mod trial; // measuring an edit
mod words; // how it is put

use crate::contact::Layer;
use crate::fitting::{Dressed, Plan};
use crate::outcome::{Cause, Fitting, Remedy, Severity, Spot, Verdict};
use edit::Edit;
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
pub fn find(dressed: &Dressed, plan: &Plan, fitting: &Fitting, tick: &(dyn Fn() + Sync)) -> Vec<Spot> {
    if fitting.verdict != Verdict::Fail || dressed.garment_alone {
        return Vec::new();
    }
    let mut spots: Vec<Spot> = rows_spot(dressed, plan, fitting, tick).into_iter().collect();
    let patches = spot::patches(dressed, plan, fitting);
    let everywhere = trial::one_frame_of_each_pose(fitting);
    let base = Trial::new(dressed, plan, fitting, tick);
    let known = base.everything(&dressed.layers[0], &everywhere);
    for (number, patch) in patches.iter().enumerate() {
        let tried = if number < MOST_TRIED {
            try_all(&base, dressed, patch, (&everywhere, &known))
        } else {
            Vec::new()
        };
        spots.push(told(dressed, plan, fitting, patch, tried));
    }
    spots
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
}

fn try_all(
    base: &Trial,
    dressed: &Dressed,
    patch: &Patch,
    (everywhere, known): (&[(usize, usize)], &Everything),
) -> Vec<Tried> {
    let before = base.weigh(&dressed.layers[0], patch);
    let mut tried: Vec<Tried> = Vec::new();
    for edit in edit::all(dressed, patch) {
        let layer = edit.apply(dressed);
        let after = base.weigh(&layer, patch);
        tried.push(Tried {
            edit,
            before,
            after,
            elsewhere: None,
            broken: Vec::new(),
        });
    }
    tried.retain(|one| one.after.burden <= HELPS * one.before.burden);
    tried.sort_by(|a, b| a.after.burden.total_cmp(&b.after.burden));
    let least = tried.first().map_or(0.0, |one| one.after.burden);
    let near = least + AS_GOOD * before.burden;
    let close = tried.iter().filter(|one| one.after.burden <= near).count();
    for one in &mut tried[..close] {
        let now = base.everything(&one.edit.apply(dressed), everywhere);
        one.elsewhere = Some([known.total, now.total]);
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
fn told(dressed: &Dressed, plan: &Plan, fitting: &Fitting, patch: &Patch, tried: Vec<Tried>) -> Spot {
    let cause = tried.first().map_or_else(
        || patch.class_of(fitting).unwrap_or(Cause::Unknown),
        |best| best.edit.cause(),
    );
    let remedies: Vec<Remedy> = tried.iter().map(|one| words::remedy(patch, one)).collect();
    let say = words::spot(dressed, plan, patch, cause, tried.first());
    patch.spot(dressed, fitting, cause, say, remedies)
}

/// Faulty weight rows are no place in a pose: the vertices are left out of every measure. Normalising is tried as a whole.
fn rows_spot(dressed: &Dressed, plan: &Plan, fitting: &Fitting, tick: &(dyn Fn() + Sync)) -> Option<Spot> {
    let finding = fitting
        .rig_findings
        .iter()
        .find(|finding| finding.severity == Severity::Fault && finding.code.starts_with("rows_"))?;
    let everywhere = trial::one_frame_of_each_pose(fitting);
    let base = Trial::new(dressed, plan, fitting, tick);
    let layer = Edit::normalised(dressed).apply(dressed);
    let still: usize = faulty(&layer);
    let after = base.everything(&layer, &everywhere);
    words::rows_spot(dressed, finding, still, after.over.len())
}

fn faulty(layer: &Layer) -> usize {
    layer.surface.faulty.iter().filter(|faulty| **faulty).count()
}
