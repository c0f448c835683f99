//! A card for each place that fails: what is to be seen, how large, from where on, why, and what would help.

use super::{Picture, Shown};
use crate::outcome::{Fitting, Remedy, Spot};
use crate::report::card::Part;
use crate::report::stills::Still;
use crate::report::words::{self, capital};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct SpotView {
    anchor: String,
    /// The place and what is the matter there, in a few words.
    name: String,
    /// Outlined in its worst frame, and as built.
    pictures: Vec<Picture>,
    /// Where it is on the wearer.
    figure: Option<Picture>,
    cause: &'static str,
    say: String,
    /// Label and value: size, onset, joints, how sure.
    facts: Vec<(&'static str, String)>,
    /// What was tried and helped.
    remedies: Vec<RemedyView>,
    /// What the 3-D view opens at, as JSON; empty where there is none.
    open: String,
}

#[derive(Serialize)]
struct RemedyView {
    action: String,
    by: String,
    before: String,
    after: String,
    elsewhere: String,
    /// How much of it is left, percent, for a bar.
    left: u32,
}

impl SpotView {
    pub(super) fn new(at: usize, fitting: &Fitting, number: usize, shown: &Shown) -> Self {
        let spot = &fitting.spots[number];
        let own = |still: &&Still| still.fitting == at && still.card.is_some_and(|(spot, _)| spot == number);
        let part = |part: Part| {
            let still = shown.stills.iter().filter(own);
            still.filter(move |still| still.card.is_some_and(|(_, of)| of == part))
        };
        Self {
            anchor: format!("f{at}s{number}"),
            name: name(spot),
            pictures: part(Part::Place)
                .chain(part(Part::AsBuilt))
                .map(Picture::from)
                .collect(),
            figure: part(Part::Figure).next().map(Picture::from),
            cause: words::cause(spot.cause),
            say: words::plain(&spot.say),
            facts: facts(fitting, spot),
            remedies: spot
                .remedies
                .iter()
                .map(|remedy| RemedyView::new(spot, remedy))
                .collect(),
            open: match part(Part::Place).next() {
                Some(still) if !shown.view.blobs.is_empty() => opening(at, spot, still),
                _ => String::new(),
            },
        }
    }
}

/// `Inner left thigh: skin shows through`.
fn name(spot: &Spot) -> String {
    let what = match spot.measure.as_str() {
        "file" => "the file as a whole".into(),
        rows if rows.starts_with("rows_") => "weights that do not add up".into(),
        measure => words::short(measure),
    };
    match spot.region.is_empty() {
        true => capital(&what),
        false => capital(&format!("{}: {what}", words::plain(&spot.region))),
    }
}

fn facts(fitting: &Fitting, spot: &Spot) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if spot.area_cm2 > 0.0 {
        let size = format!(
            "{}, {}",
            words::quantity("area_cm2", spot.area_cm2),
            words::as_large_as(spot.area_cm2)
        );
        facts.push(("Size", size));
        let worst = match spot.unit.as_str() {
            "mm" => Some(format!("{} mm", words::number(spot.value))),
            "cm2" => None,
            "deg" => Some(format!("{}°", words::number(spot.value))),
            _ => Some(words::number(spot.value)),
        };
        facts.extend(worst.map(|worst| ("At its worst", format!("{worst}, in {}", words::pose(&spot.pose)))));
    }
    facts.extend(onset(fitting, spot).map(|onset| ("Seen", onset)));
    if !spot.joints.is_empty() {
        let joints: Vec<String> = spot.joints.iter().map(|joint| words::plain(joint)).collect();
        facts.push(("Moved by", joints.join(", ")));
    }
    if let (Some(share), true) = (spot.removed_share, spot.measure != "file") {
        facts.push(("Cause", format!("{}: {}", words::cause(spot.cause), sure(share))));
    } else {
        facts.push(("Cause", words::cause(spot.cause).into()));
    }
    facts
}

/// How far the cause can be trusted, in words.
fn sure(share: f64) -> String {
    let percent = (100.0 * share).floor();
    let word = match percent {
        90.0.. => "sure",
        70.0.. => "likely",
        _ => "perhaps, and not alone",
    };
    format!("{word}, the best remedy takes away {percent} % of it")
}

fn onset(fitting: &Fitting, spot: &Spot) -> Option<String> {
    let onset = spot.onset?;
    let pose = words::pose(&spot.pose);
    if let Some((joint, motion)) = spot.onset_motion.split_once('.') {
        return Some(match onset {
            0.0 => "in standing already".into(),
            degrees => format!(
                "from {}° of {} {motion} on, on the way from standing into {pose}",
                words::number(degrees),
                joint.replace('_', " ")
            ),
        });
    }
    let result = fitting.poses.iter().find(|result| result.pose == spot.pose)?;
    let frame = result.frames.get(onset as usize)?;
    Some(match onset {
        0.0 => format!("from the first frame of {pose} on"),
        _ => format!("from {} of {pose} on", words::moment(result, frame)),
    })
}

impl RemedyView {
    fn new(spot: &Spot, remedy: &Remedy) -> Self {
        let value = |value: f64| words::of_spot(spot, value);
        Self {
            action: words::plain(&capital(&remedy.action)),
            by: words::plain(&remedy.by),
            before: value(remedy.before),
            after: value(remedy.after),
            elsewhere: capital(&words::plain(&remedy.elsewhere)),
            left: (100.0 * (remedy.after / remedy.before.max(1e-9)).clamp(0.0, 1.0)).round() as u32,
        }
    }
}

/// The 3-D view at the frame and through the camera of the outlined picture.
fn opening(at: usize, spot: &Spot, still: &Still) -> String {
    serde_json::json!({
        "fitting": at,
        "pose": words::plain(&spot.pose),
        "frame": spot.frame,
        "measure": spot.measure.split('.').next(),
        "eye": still.eye,
    })
    .to_string()
}
