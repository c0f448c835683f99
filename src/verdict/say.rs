//! One plain sentence for a number that is over its limit.

use crate::measure;
use crate::outcome::{Numbers, Place};

/// What is wrong, where, how much, and from where it is seen.
pub fn over(path: &str, value: Option<f64>, limit: f64, place: Option<&Place>, all: &Numbers) -> String {
    let about = measure::find(path).map_or(path, |(_, number)| number.about);
    // Areas are sums over the whole garment and p99 values belong to no place: the place is where it is worst.
    let at = place
        .filter(|place| !place.region.is_empty())
        .map_or_else(String::new, |place| format!("worst at the {}", place.region));
    let worst = |path: &str, unit: &str| {
        let value = all.get(path).map(|value| format!("{} {unit}", short(value)));
        match (at.is_empty(), value) {
            (true, None) => String::new(),
            (true, Some(value)) => format!(", up to {value}"),
            (false, None) => format!(", {at}"),
            (false, Some(value)) => format!(", {at} ({value})"),
        }
    };
    let Some(value) = value else {
        return format!("Not measured: {about}. That counts as a failure, since silence is no pass.");
    };
    match path {
        "skin_shows.inner.area_cm2" => {
            let seen = place.map_or("", |place| place.seen_from.as_str());
            let seen = if seen.is_empty() {
                String::new()
            } else {
                format!(", seen {seen}")
            };
            format!(
                "Skin shows through the fabric: {} cm² in all{}{seen} (limit {} cm²).",
                short(value),
                worst("skin_shows.inner.depth_mm", "mm deep"),
                short(limit)
            )
        }
        "skin_shows.anywhere.over_3mm_cm2" => {
            format!(
                "Skin stands out of the fabric by more than 3 mm: {} cm² in all{} (limit {} cm²).",
                short(value),
                worst("", ""),
                short(limit)
            )
        }
        "lift.area_cm2" => {
            format!(
                "Fabric stands off more than as built: {} cm² in all{} (limit {} cm²).",
                short(value),
                worst("lift.worst_mm", "mm"),
                short(limit)
            )
        }
        "layer_shows.inner.area_cm2" => format!(
            "The garment beneath shows through: {} cm² in all{} (limit {} cm²).",
            short(value),
            worst("layer_shows.inner.depth_mm", "mm deep"),
            short(limit)
        ),
        "layer_shows.anywhere.over_3mm_cm2" => format!(
            "The garment beneath stands out by more than 3 mm: {} cm² in all{} (limit {} cm²).",
            short(value),
            worst("", ""),
            short(limit)
        ),
        "uncovered.inner.area_cm2" => format!(
            "Skin that was covered lies bare: {} cm² in all{} (limit {} cm²).",
            short(value),
            worst("", ""),
            short(limit)
        ),
        "uncovered.edge.retreat_mm" => format!(
            "An edge draws back and lays skin bare: by {} mm{} (limit {} mm).",
            short(value),
            worst("", ""),
            short(limit)
        ),
        "part_contact.skin.depth_mm" => format!(
            "Fabric runs into another part of the body: {} mm deep{}, {} cm² in all (limit {} mm).{}",
            short(value),
            worst("", ""),
            short(all.get("part_contact.skin.area_cm2").unwrap_or(0.0)),
            short(limit),
            whose(all, "part_contact.skin.class")
        ),
        "part_contact.fabric.depth_mm" => format!(
            "One part's fabric runs through another's: {} mm deep{}, {} cm² in all (limit {} mm).{}",
            short(value),
            worst("", ""),
            short(all.get("part_contact.fabric.area_cm2").unwrap_or(0.0)),
            short(limit),
            whose(all, "part_contact.fabric.class")
        ),
        "dip.p99_mm" => format!(
            "Fabric sinks towards the skin: a hundredth of the garment loses {} mm of its room or more{} (limit {} mm).",
            short(value),
            worst("dip.worst_mm", "mm"),
            short(limit)
        ),
        "stretch.beyond_skin.p99" => format!(
            "Fabric is pulled more than the skin: a hundredth of the garment by {} % or more{} (limit {} %).",
            percent(value),
            worst("", ""),
            percent(limit)
        ),
        "stretch.beyond_skin.worst_5cm2" => format!(
            "A small place is pulled {} % more than the skin{} (limit {} % on 5 cm²).",
            percent(value),
            worst("", ""),
            percent(limit)
        ),
        "texture_drift.density_p99" => format!(
            "The print smears: a hundredth of the garment shows it {} % larger or more{} (limit {} %).",
            percent(value),
            worst("", ""),
            percent(limit)
        ),
        "pinch.flipped_seen_cm2" => format!(
            "Fabric turns inside out where it can be seen: {} cm² in all{} (limit {} cm²).",
            short(value),
            worst("", ""),
            short(limit)
        ),
        "seam_gap.worst_mm" => format!(
            "A seam opens by {} mm{} (limit {} mm).",
            short(value),
            worst("", ""),
            short(limit)
        ),
        _ => format!(
            "Over its limit is {about}: {}{} (limit {}).",
            short(value),
            worst("", ""),
            short(limit)
        ),
    }
}

/// Why a contact is not the garment's doing.
fn whose(all: &Numbers, path: &str) -> &'static str {
    match all.words.get(path).map(String::as_str) {
        Some("no_room") => {
            " There is no room: the gap between the two skins is less than the two eases, so only less ease can help."
        }
        Some("body_overlaps") => {
            " Mostly the body overlaps itself there, which no edit of this garment can help."
        }
        _ => "",
    }
}

fn percent(ratio: f64) -> String {
    short((ratio * 1000.0 - 1000.0).round() / 10.0)
}

/// As in every other output.
pub fn short(value: f64) -> String {
    crate::units::number(value)
}
