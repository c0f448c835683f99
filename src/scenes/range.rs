//! What a range shows: the sentence, a curve for every judged number, maps of two motions.

use crate::fitting::{Dressed, limits_of};
use crate::measure::FabricClass;
use crate::report::chart::{self, Chart, Curve};
use crate::report::leaf::{Plot, Section, Table};
use crate::report::words;
use crate::sweep::{self, Onset, Range};
use crate::verdict::Limits;

/// What a place does that fails a measure: `shows skin`.
pub fn does(measure: &str) -> &'static str {
    match measure {
        "stretch.beyond_skin.worst_5cm2" => return "is pulled hard on a small place",
        "skin_shows.anywhere.over_3mm_cm2" => return "shows skin more than 3 mm deep",
        "uncovered.edge.retreat_mm" => return "draws back at its edge",
        "part_contact.fabric.depth_mm" => return "runs through another part's fabric",
        _ => {}
    }
    match measure.split('.').next().unwrap_or(measure) {
        "skin_shows" => "shows skin",
        "uncovered" => "lies bare",
        "lift" => "stands off",
        "dip" => "sinks towards the skin",
        "stretch" => "is pulled more than the skin",
        "texture_drift" => "smears its print",
        "pinch" => "turns inside out",
        "seam_gap" => "opens at a seam",
        "part_contact" => "runs into another part",
        "layer_shows" => "lets the garment beneath show",
        _ => "is over its limit",
    }
}

/// `hip.flexion` as `hip flexion`, with the side where only one moves.
pub fn motion(range: &Range) -> String {
    let plain = range.motion.replace('.', " ");
    if range.side == "both" {
        plain
    } else {
        format!("{} {plain}", range.side)
    }
}

fn degrees(value: f64) -> String {
    // To the quarter degree that is known; not more digits.
    let quarter = (value * 4.0).round() / 4.0;
    let text = format!("{quarter:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The usable range in words: `clean to 71 degrees; the left seat shows skin from there`.
pub fn in_words(range: &Range) -> String {
    let first = range.onsets.iter().find(|onset| !onset.no_help);
    match (range.clean_to_deg, first) {
        (Some(_), None) => format!(
            "clean over the whole range, {} to {} degrees",
            degrees(range.from_deg),
            degrees(range.to_deg)
        ),
        (Some(clean), Some(first)) => {
            format!(
                "clean to {} degrees; {} from there",
                degrees(clean),
                told(range, first)
            )
        }
        (None, Some(first)) => match clean_after(range) {
            None => format!(
                "not clean anywhere from {} degrees on: {} from the beginning",
                degrees(range.from_deg),
                told(range, first)
            ),
            Some(after) => format!(
                "not clean at {} degrees: {}; clean from {} degrees on, to {}",
                degrees(range.from_deg),
                told(range, first),
                degrees(after),
                degrees(range.to_deg)
            ),
        },
        (None, None) => String::new(),
    }
}

/// The first angle from which on nothing fails any more that an edit could help; `None` where something does at the end.
fn clean_after(range: &Range) -> Option<f64> {
    let way = (range.to_deg - range.from_deg).signum();
    let stretches = range
        .onsets
        .iter()
        .filter(|onset| !onset.no_help)
        .flat_map(|onset| &onset.over_deg);
    let last = stretches
        .map(|stretch| stretch[1])
        .max_by(|a, b| (a * way).total_cmp(&(b * way)))?;
    let after = range.steps.iter().map(|step| step.angle_deg);
    after.into_iter().find(|angle| (angle - last) * way > 1e-9)
}

/// What begins with an onset, and where.
fn told(range: &Range, onset: &Onset) -> String {
    let at = |region: &str| format!("the {region} {}", does(&onset.number));
    // The places that alone would fail then; else where it is worst.
    let here: Vec<&str> = range
        .places
        .iter()
        .filter(|place| place.at_deg == onset.at_deg && onset.number.starts_with(place.measure.as_str()))
        .map(|place| place.region.as_str())
        .collect();
    match here.as_slice() {
        [] if onset.region.is_empty() => words::short(&onset.number),
        [] => at(&onset.region),
        [one] => at(one),
        [one, other] => format!("the {one} and the {other} {}", plural(does(&onset.number))),
        [one, rest @ ..] => format!(
            "the {one} and {} more places {}",
            rest.len(),
            plural(does(&onset.number))
        ),
    }
}

/// `shows skin` as `show skin`.
fn plural(does: &str) -> String {
    let (verb, rest) = does.split_once(' ').unwrap_or((does, ""));
    let verb = match verb {
        "is" => "are",
        "lies" => "lie",
        "smears" => "smear",
        "lets" => "let",
        other => other.strip_suffix('s').unwrap_or(other),
    };
    format!("{verb} {rest}").trim_end().to_owned()
}

/// The other things that begin, one sentence each.
pub fn sentences(range: &Range) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    let first = range.onsets.iter().position(|onset| !onset.no_help);
    for (number, onset) in range.onsets.iter().enumerate() {
        if Some(number) == first {
            continue;
        }
        let value = onset.value.map_or_else(
            || "not measurable".into(),
            |value| words::quantity(&onset.number, value),
        );
        let why = if onset.no_help {
            "; there is no room between the skins, so no edit of this garment can help"
        } else {
            ""
        };
        said.push(format!(
            "From {} degrees {} ({value}, limit {}){why}.",
            degrees(onset.at_deg),
            told(range, onset),
            words::quantity(&onset.number, onset.limit)
        ));
    }
    let again: Vec<String> = range
        .onsets
        .iter()
        .filter(|onset| {
            onset
                .over_deg
                .last()
                .is_some_and(|last| (last[1] - range.to_deg).abs() > 1e-9)
        })
        .map(|onset| {
            let last = onset.over_deg.last().map_or(0.0, |last| last[1]);
            format!("{} after {} degrees", words::short(&onset.number), degrees(last))
        })
        .collect();
    if !again.is_empty() {
        said.push(format!("Within its limit again: {}.", again.join("; ")));
    }
    said
}

/// A curve for every judged number, those that pass their limit first.
pub fn plots(dressed: &Dressed, range: &Range, fabric: FabricClass) -> Section {
    let limits = limits_of(dressed, fabric);
    let plots = sweep::judged(range, &limits)
        .into_iter()
        .map(|path| plot(range, &limits, &path))
        .collect();
    Section {
        heading: "Every number over the angle".into(),
        sentences: vec![
            "How much may be asked goes by the hip or knee angle: everyday to 45 degrees, seated to 100, hard beyond; the \
             limit steps up there."
                .into(),
        ],
        plots,
        ..Section::default()
    }
}

fn plot(range: &Range, limits: &Limits, path: &str) -> Plot {
    let backwards = range.to_deg < range.from_deg;
    let mut steps: Vec<_> = range.steps.iter().collect();
    if backwards {
        steps.reverse();
    }
    let shown = |value: f64| words::shown(path, value);
    let points = steps
        .iter()
        .map(|step| {
            let value = step.result.measures.get(path).filter(|value| value.is_finite());
            (step.angle_deg, value.map(shown))
        })
        .collect();
    let mut lines: Vec<([f64; 2], f64)> = Vec::new();
    for step in &steps {
        let Some(limit) = limits.get(path, step.demand).map(shown) else {
            continue;
        };
        match lines.last_mut() {
            Some((stretch, height)) if *height == limit => stretch[1] = step.angle_deg,
            // The demand steps up just past an angle that is one of the steps.
            Some(([_, until], _)) => {
                let from = *until;
                lines.push(([from, step.angle_deg], limit));
            }
            None => lines.push(([step.angle_deg; 2], limit)),
        }
    }
    let onset = range.onsets.iter().find(|onset| onset.number == path);
    let caption = match onset {
        Some(onset) => format!(
            "{}: over its limit from {} degrees.",
            words::title(path),
            degrees(onset.at_deg)
        ),
        None => format!("{}: within its limit.", words::title(path)),
    };
    let chart = Chart {
        title: words::title(path),
        note: "- - limit".into(),
        across: format!("{}, degrees", motion(range)),
        unit: words::shown_unit(path).into(),
        // A ratio of 1 is no change.
        floor: words::shown_unit(path).is_empty().then_some(1.0),
        curves: vec![Curve {
            name: String::new(),
            points,
        }],
        limits: lines,
        marks: onset
            .map(|onset| (onset.at_deg, format!("over from {}°", degrees(onset.at_deg))))
            .into_iter()
            .collect(),
        ..Chart::default()
    };
    Plot {
        file: format!("range_{}", path.replace('.', "_")),
        caption,
        svg: chart::svg(&chart),
    }
}

/// Where each place first fails, as a table.
pub fn places(range: &Range) -> Option<Table> {
    (!range.places.is_empty()).then(|| Table {
        head: ["Place", "What it does", "From, degrees"]
            .map(str::to_owned)
            .to_vec(),
        rows: range
            .places
            .iter()
            .map(|place| {
                vec![
                    words::capital(&place.region),
                    does(&place.measure).to_owned(),
                    degrees(place.at_deg),
                ]
            })
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::{Demand, FrameResult};
    use crate::sweep::Step;
    use std::collections::BTreeMap;

    fn onset(over_deg: Vec<[f64; 2]>) -> Onset {
        Onset {
            number: "dip.p99_mm".into(),
            at_deg: 45.0,
            value: Some(9.0),
            limit: 3.0,
            region: "inner left thigh".into(),
            no_help: false,
            over_deg,
        }
    }

    /// A range that fails where it starts is clean where it is clean, whichever way it is walked.
    #[test]
    fn a_clean_end_is_named() {
        let step = |angle_deg| Step {
            angle_deg,
            demand: Demand::Hard,
            even: true,
            result: FrameResult::default(),
            failing: BTreeMap::new(),
        };
        let range = |over_deg| Range {
            schema_version: 1,
            body: "ash".into(),
            garment: "trousers".into(),
            motion: "hip.abduction".into(),
            side: "both".into(),
            from_deg: 45.0,
            to_deg: 0.0,
            clean_to_deg: None,
            onsets: vec![onset(over_deg)],
            places: Vec::new(),
            steps: [45.0, 32.0, 31.5, 0.0].map(step).to_vec(),
        };
        let said = in_words(&range(vec![[45.0, 32.0]]));
        assert!(
            said.starts_with("not clean at 45 degrees") && said.ends_with("clean from 31.5 degrees on, to 0"),
            "{said}"
        );
        let said = in_words(&range(vec![[45.0, 0.0]]));
        assert!(
            said.starts_with("not clean anywhere from 45 degrees on"),
            "{said}"
        );
    }
}
