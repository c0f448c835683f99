//! Is the planted fault named as what it is, and does a remedy mend it?

use gusset::demo::Fault;
use gusset::fitting::{Dressed, Plan};
use gusset::outcome::{Cause, Fitting, Verdict};
use gusset::remedies;

/// What the tool says of a failing fitting.
pub(crate) struct Named {
    /// Cause of the first spot; the gravest finding where there is no spot.
    pub(crate) first: String,
    /// Whether some remedy lets everything pass.
    pub(crate) mended: bool,
    /// All spots with their remedies, in words, for who asks why.
    pub(crate) say: String,
}

pub(crate) fn named(dressed: &Dressed, plan: &Plan, fitting: &Fitting) -> Named {
    let spots = remedies::find(dressed, plan, fitting, &|| ());
    let finding = fitting.reasons.iter().find(|reason| {
        matches!(reason.weight, Verdict::Fail | Verdict::CouldNotRun)
            && fitting.rig_findings.iter().any(|f| f.code == reason.what)
    });
    let first = match (spots.first(), finding) {
        // A finding that stops, or that no remedy was found for, names the fault by itself.
        (Some(spot), finding) if spot.cause != Cause::Unknown || finding.is_none() => word(spot.cause),
        (_, Some(finding)) => finding.what.clone(),
        _ => "nothing".into(),
    };
    let remedies = spots.iter().flat_map(|spot| &spot.remedies);
    let say = spots.iter().map(|spot| {
        let tried: Vec<String> = spot
            .remedies
            .iter()
            .map(|r| {
                format!(
                    "{} {:.1}>{:.1} left {:?}",
                    r.action, r.before, r.after, r.still_failing
                )
            })
            .collect();
        format!(
            "[{} {} {}: {}]",
            word(spot.cause),
            spot.measure,
            spot.region,
            tried.join("; ")
        )
    });
    Named {
        first,
        mended: remedies.into_iter().any(|remedy| remedy.still_failing == Some(0)),
        say: say.collect::<Vec<String>>().join(" ").replace('"', "'"),
    }
}

fn word(cause: Cause) -> String {
    format!("{cause:?}").to_lowercase()
}

/// What a fault may rightly be called, and whether an edit of weights or shape can mend it.
pub(crate) fn right(fault: Fault) -> (&'static [&'static str], bool) {
    match fault {
        Fault::Bleed
        | Fault::Held
        | Fault::Smoothed
        | Fault::Nailed
        | Fault::Swapped
        | Fault::Climbing
        | Fault::Waistband
        | Fault::HardEdge
        | Fault::WrongSide
        | Fault::Lopsided
        | Fault::Loose => (&["weights"], true),
        Fault::Sunk | Fault::Close | Fault::Tight => (&["shape"], true),
        Fault::Ripped => (&["seam"], true),
        Fault::LightRow | Fault::EmptyRow => (&["rows"], true),
        Fault::WrongBind => (&["bind"], true),
        Fault::WrongScale => (&["scale"], true),
        Fault::WrongAxes => (&["axes"], true),
        Fault::MissingJoint => (&["joints"], true),
        Fault::InsideOut => (&["flipped_fabric"], false),
        Fault::OtherSkeleton => (&["another_skeleton", "rest_axes"], false),
        // The shape is another one than the print was made for: only a new refit helps.
        Fault::Uneven => (&["unknown", "shape"], false),
    }
}
