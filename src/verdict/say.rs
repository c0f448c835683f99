//! One plain sentence for a number that is over its limit.

use crate::measure;
use crate::outcome::{Numbers, Place};

/// What is wrong, where, how much, and from where it is seen.
pub fn over(path: &str, value: Option<f64>, limit: f64, place: Option<&Place>, all: &Numbers) -> String {
    let about = measure::find(path).map_or(path, |(_, number)| number.about);
    let at = place.map_or_else(String::new, |place| {
        if place.region.is_empty() {
            String::new()
        } else {
            format!(" at the {}", place.region)
        }
    });
    let Some(value) = value else {
        return format!("Not measured: {about}. That counts as a failure, since silence is no pass.");
    };
    match path {
        "skin_shows.inner.area_cm2" => {
            let depth = all.get("skin_shows.inner.depth_mm").unwrap_or(0.0);
            let seen = place.map_or("", |place| place.seen_from.as_str());
            let seen = if seen.is_empty() {
                String::new()
            } else {
                format!(", seen {seen}")
            };
            format!(
                "Skin shows through the fabric{at}: {} cm² in all, up to {} mm deep{seen} (limit {} cm²).",
                short(value),
                short(depth),
                short(limit)
            )
        }
        "skin_shows.anywhere.over_3mm_cm2" => {
            format!(
                "Skin stands out by more than 3 mm{at}: {} cm² (limit {} cm²).",
                short(value),
                short(limit)
            )
        }
        "lift.area_cm2" => {
            let most = all.get("lift.worst_mm").unwrap_or(0.0);
            format!(
                "Fabric stands off more than as built{at}: {} cm², up to {} mm (limit {} cm²).",
                short(value),
                short(most),
                short(limit)
            )
        }
        "dip.p99_mm" => format!(
            "Fabric sinks towards the skin{at}: {} mm of its room is lost (limit {} mm).",
            short(value),
            short(limit)
        ),
        "stretch.beyond_skin.p99" => format!(
            "Fabric is pulled {} % more than the skin{at}, over a hundredth of the garment (limit {} %).",
            percent(value),
            percent(limit)
        ),
        "stretch.beyond_skin.worst_5cm2" => format!(
            "A small place{at} is pulled {} % more than the skin (limit {} % on 5 cm²).",
            percent(value),
            percent(limit)
        ),
        _ => format!("{about}{at}: {} (limit {}).", short(value), short(limit)),
    }
}

fn percent(ratio: f64) -> String {
    short((ratio * 1000.0 - 1000.0).round() / 10.0)
}

/// As in every other output.
pub fn short(value: f64) -> String {
    crate::units::number(value)
}
