//! How numbers, verdicts and names are put to a maker.

use crate::outcome::{
    Cause, Demand, Finding, Fitting, FrameResult, PoseResult, Remedy, Severity, Spot, Verdict,
};
pub use crate::units::{grouped, number};
/// A name or sentence from a file, which must move no terminal's cursor and turn no line from right to left.
pub use crate::written::one_line as plain;

/// Path, what it is called on its own, and its short form in a running line.
/// A path that is not listed is spelled out from its own words.
const TITLES: &[(&str, &str, &str)] = &[
    (
        "buried.area_cm2",
        "Fabric under the skin it lay on: area",
        "fabric under the skin",
    ),
    (
        "buried.depth_mm",
        "Fabric under the skin it lay on: how deep",
        "fabric under the skin",
    ),
    (
        "buried.share",
        "Fabric under the skin it lay on: share of the fabric",
        "fabric under the skin",
    ),
    (
        "dip.p99_mm",
        "Room lost: all but the worst hundredth",
        "fabric sinks towards the skin",
    ),
    (
        "dip.worst_mm",
        "Room lost: the worst place",
        "fabric sinks towards the skin",
    ),
    ("ease.least_mm", "Room between skin and fabric: least", "room"),
    ("ease.median_mm", "Room between skin and fabric: median", "room"),
    ("ease.most_mm", "Room between skin and fabric: most", "room"),
    (
        "layer_shows.anywhere.over_3mm_cm2",
        "The garment beneath shows, edges included: area more than 3 mm deep",
        "the garment beneath shows through deeply",
    ),
    (
        "layer_shows.edge.area_cm2",
        "The garment beneath shows within 20 mm of an edge: area",
        "the garment beneath shows near an edge",
    ),
    (
        "layer_shows.inner.area_cm2",
        "The garment beneath shows through: area",
        "the garment beneath shows through",
    ),
    (
        "layer_shows.inner.depth_mm",
        "The garment beneath shows through: how deep",
        "the garment beneath shows through",
    ),
    (
        "lift.area_cm2",
        "Fabric stands off more than as built: area",
        "fabric stands off",
    ),
    (
        "lift.worst_mm",
        "Fabric stands off more than as built: the worst place",
        "fabric stands off",
    ),
    (
        "part_contact.fabric.area_cm2",
        "Fabric through another part's fabric: area",
        "fabric runs through fabric",
    ),
    (
        "part_contact.fabric.depth_mm",
        "Fabric through another part's fabric: how deep",
        "fabric runs through fabric",
    ),
    (
        "part_contact.skin.area_cm2",
        "Fabric inside another part's skin: area",
        "fabric inside another part's skin",
    ),
    (
        "part_contact.skin.depth_mm",
        "Fabric inside another part's skin: how deep",
        "fabric inside another part's skin",
    ),
    ("pinch.crease_mm", "Sharp folds: length", "sharp folds"),
    (
        "pinch.flipped_cm2",
        "Fabric turned inside out, seen or closed in a crease: area",
        "fabric turns inside out",
    ),
    (
        "pinch.flipped_seen_cm2",
        "Fabric turned inside out: area seen",
        "fabric turns inside out",
    ),
    (
        "pinch.width_least",
        "Narrowest section of a leg or sleeve, now over as built",
        "a leg or sleeve gets thin",
    ),
    ("seam_gap.worst_mm", "A seam opens: widest gap", "a seam opens"),
    (
        "self_crossing.area_cm2",
        "Fabric through itself: area",
        "fabric through itself",
    ),
    (
        "self_crossing.far_mm",
        "Fabric through itself: length, parts far from each other",
        "fabric through itself",
    ),
    (
        "self_crossing.fold_mm",
        "Fabric through itself: length, in folds",
        "fabric through itself",
    ),
    (
        "skin_shows.anywhere.over_3mm_cm2",
        "Skin shows through anywhere, edges included: area more than 3 mm deep",
        "skin shows through deeply",
    ),
    (
        "skin_shows.edge.area_cm2",
        "Skin shows through: area near an edge",
        "skin shows through at an edge",
    ),
    (
        "skin_shows.edge.depth_mm",
        "Skin shows through: how deep near an edge",
        "skin shows through at an edge",
    ),
    (
        "skin_shows.inner.area_cm2",
        "Skin shows through, 20 mm or more from an edge: area",
        "skin shows through",
    ),
    (
        "skin_shows.inner.depth_mm",
        "Skin shows through, 20 mm or more from an edge: how deep",
        "skin shows through",
    ),
    (
        "skin_shows.inner.over_1mm_cm2",
        "Skin shows through, 20 mm or more from an edge: area more than 1 mm deep",
        "skin shows through",
    ),
    (
        "skin_shows.outside.area_cm2",
        "Skin outside its fabric, seen or closed in a crease: area",
        "skin outside its fabric",
    ),
    (
        "squeeze.beyond_skin.p99",
        "Length left, over the skin's: all but the worst hundredth",
        "pressed together",
    ),
    (
        "squeeze.beyond_skin.worst_5cm2",
        "Length left, over the skin's: the worst 5 cm²",
        "pressed together",
    ),
    (
        "squeeze.raw.p95",
        "Length left: all but the worst twentieth",
        "pressed together",
    ),
    (
        "squeeze.raw.p99",
        "Length left: all but the worst hundredth",
        "pressed together",
    ),
    (
        "squeeze.raw.worst",
        "Length left: the worst place",
        "pressed together",
    ),
    (
        "squeeze.u",
        "Length left along the texture's U: all but the worst hundredth",
        "pressed together along U",
    ),
    (
        "squeeze.v",
        "Length left along the texture's V: all but the worst hundredth",
        "pressed together along V",
    ),
    (
        "stretch.beyond_skin.p99",
        "Pulled more than the skin: all but the worst hundredth",
        "pulled more than the skin",
    ),
    (
        "stretch.beyond_skin.worst_5cm2",
        "Pulled more than the skin: the worst 5 cm²",
        "pulled more than the skin in one place",
    ),
    (
        "stretch.raw.p95",
        "Length now over length as built: all but the worst twentieth",
        "pulled",
    ),
    (
        "stretch.raw.p99",
        "Length now over length as built: all but the worst hundredth",
        "pulled",
    ),
    (
        "stretch.raw.worst",
        "Length now over length as built: the worst place",
        "pulled",
    ),
    (
        "stretch.shear_deg",
        "Angle between U and V changes: all but the worst hundredth",
        "sheared",
    ),
    (
        "stretch.u",
        "Length now over length as built along the texture's U: all but the worst hundredth",
        "pulled along U",
    ),
    (
        "stretch.v",
        "Length now over length as built along the texture's V: all but the worst hundredth",
        "pulled along V",
    ),
    (
        "texture_drift.anisotropy_p99",
        "The print smears: how lopsided",
        "the print smears",
    ),
    (
        "texture_drift.density_p99",
        "The print gets larger: all but the worst hundredth",
        "the print smears",
    ),
    (
        "texture_drift.density_worst",
        "The print gets larger: the worst place",
        "the print gets larger",
    ),
    (
        "texture_drift.l2",
        "The print is drawn out: the whole print",
        "the print is drawn out",
    ),
    (
        "texture_drift.pressed_p99",
        "The print gets smaller: all but the worst hundredth",
        "the print gets smaller",
    ),
    (
        "uncovered.edge.retreat_mm",
        "An edge draws back",
        "an edge draws back",
    ),
    (
        "uncovered.inner.area_cm2",
        "Covered skin comes to light: area",
        "covered skin comes to light",
    ),
];

/// What a number is called as a heading.
pub fn title(path: &str) -> String {
    entry(path).map_or_else(|| spelled(path), |(_, title, _)| (*title).to_owned())
}

/// What colours on the cloth show: both kinds of contact share one picture.
pub fn colours(path: &str) -> String {
    if path.starts_with("part_contact.") {
        return "In another part, or through its fabric: how deep".into();
    }
    title(path)
}

/// What a number is called inside a line.
pub fn short(path: &str) -> String {
    entry(path).map_or_else(
        || spelled(path).to_lowercase(),
        |(_, _, short)| (*short).to_owned(),
    )
}

fn entry(path: &str) -> Option<&'static (&'static str, &'static str, &'static str)> {
    TITLES.iter().find(|(listed, _, _)| *listed == path)
}

fn spelled(path: &str) -> String {
    let bare = path.strip_suffix(suffix(path)).unwrap_or(path);
    let words = bare.replace('.', ", ").replace('_', " ");
    let mut letters = words.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn suffix(path: &str) -> &'static str {
    ["_cm2", "_mm", "_deg"]
        .into_iter()
        .find(|s| path.ends_with(s))
        .unwrap_or_default()
}

/// The unit as it stands behind a number; empty for a ratio or share.
pub fn unit(path: &str) -> &'static str {
    match suffix(path) {
        "_cm2" => "cm²",
        "_mm" => "mm",
        "_deg" => "°",
        _ => "",
    }
}

/// Whether a ratio is told as per cent more than the skin.
fn is_excess(path: &str) -> bool {
    path.starts_with("stretch.beyond_skin.")
}

/// A value as it is shown: a stretch beyond the skin of 1.31 is 31 (per cent), all else as it is.
pub fn shown(path: &str, value: f64) -> f64 {
    if is_excess(path) {
        (value * 1000.0 - 1000.0).round() / 10.0
    } else {
        value
    }
}

/// The unit that belongs to [`shown`].
pub fn shown_unit(path: &str) -> &'static str {
    if is_excess(path) { "%" } else { unit(path) }
}

/// A value with its unit: `243 cm²`, `8.6 mm`; a stretch of 1.31 beyond the skin is `31 %`.
pub fn quantity(path: &str, value: f64) -> String {
    let value = number(shown(path, value));
    match shown_unit(path) {
        "" => value,
        "°" => format!("{value}°"),
        unit => format!("{value} {unit}"),
    }
}

/// The word for a verdict, the same in every output.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NotApplicable => "not applicable",
        Verdict::Pass => "PASS",
        Verdict::Warn => "WARN",
        Verdict::PartlyTested => "PARTLY TESTED",
        Verdict::Fail => "FAIL",
        Verdict::CouldNotRun => "COULD NOT RUN",
    }
}

/// A mark that differs in shape, for who sees no colours.
pub fn mark(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NotApplicable => "\u{2013}",
        Verdict::Pass => "\u{2713}",
        Verdict::Warn => "!",
        Verdict::PartlyTested => "\u{00bd}",
        Verdict::Fail => "\u{2715}",
        Verdict::CouldNotRun => "?",
    }
}

/// How much a pose asks, in words.
pub fn demand(demand: Demand) -> &'static str {
    match demand {
        Demand::Upright => "everyday",
        Demand::Seated => "seated",
        Demand::Hard => "hard",
    }
}

/// Why a place fails, in a word or two.
pub fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Weights => "weights",
        Cause::Shape => "shape",
        Cause::Seam => "seam",
        Cause::Rows => "rows",
        Cause::Bind => "bind",
        Cause::Scale => "scale",
        Cause::Axes => "axes",
        Cause::Joints => "joints",
        Cause::HiddenSkin => "hidden",
        Cause::NoRoom => "no room",
        Cause::BodyOverlaps => "body",
        Cause::Unknown => "unknown",
    }
}

/// `give the fabric ... the weights of the skin beneath (124 vertices): 243 cm² becomes 0 cm²; nothing else gets worse`.
pub fn remedy(spot: &Spot, remedy: &Remedy) -> String {
    let value = |value: f64| of_spot(spot, value);
    let elsewhere = if remedy.elsewhere.is_empty() {
        String::new()
    } else {
        format!("; {}", remedy.elsewhere)
    };
    format!(
        "{} ({}): {} becomes {}{elsewhere}",
        capital(&remedy.action),
        remedy.by,
        value(remedy.before),
        value(remedy.after)
    )
}

/// A number of a spot's remedies, with its unit.
pub fn of_spot(spot: &Spot, value: f64) -> String {
    if spot.measure.ends_with("_cm2") || spot.measure.ends_with("_mm") {
        quantity(&spot.measure, value)
    } else {
        number(value)
    }
}

/// An area beside something everybody has held: a bank card (ISO/IEC 7810, ID-1, 85.6 by 54 mm), a sheet of A4
/// (ISO 216, 210 by 297 mm), the smallest telephone card (ETSI TS 102 221, 12.3 by 8.8 mm).
pub fn as_large_as(area_cm2: f64) -> String {
    const CHIP_CM2: f64 = 1.08;
    const CARD_CM2: f64 = 46.2;
    const SHEET_CM2: f64 = 623.7;
    let cards = area_cm2 / CARD_CM2;
    let sheets = area_cm2 / SHEET_CM2;
    match (area_cm2, cards, sheets) {
        (..0.5, ..) => "less than half the smallest phone card".into(),
        (..2.5, ..) => format!("about {} of the smallest phone card", times(area_cm2 / CHIP_CM2)),
        (_, ..0.15, _) => "about a tenth of a bank card".into(),
        (_, ..0.29, _) => "about a fifth of a bank card".into(),
        (_, ..0.42, _) => "about a third of a bank card".into(),
        (_, ..0.75, _) => "about half a bank card".into(),
        (_, ..1.5, _) => "about a bank card".into(),
        (_, ..7.0, _) => format!("about {} bank cards", cards.round()),
        (_, _, ..0.75) => "about half a sheet of A4".into(),
        (_, _, ..1.5) => "about a sheet of A4".into(),
        _ => format!("about {} sheets of A4", sheets.round()),
    }
}

fn times(of: f64) -> &'static str {
    match of {
        ..0.75 => "half",
        ..1.5 => "the size",
        _ => "twice the size",
    }
}

/// The word for how grave a finding is.
pub fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Fault => "FAULT",
        Severity::Stop => "STOP",
    }
}

/// The text with a large first letter.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A pose's name as it is read: `sitting_leaning_forward` is `sitting leaning forward`.
pub fn pose(name: &str) -> String {
    plain(name).replace('_', " ")
}

/// `standing`, or `walking, frame 7` where there are several.
pub fn moment(of: &PoseResult, frame: &FrameResult) -> String {
    let name = pose(&of.pose);
    if of.frames.len() > 1 {
        format!("{name}, frame {}", frame.frame)
    } else {
        name
    }
}

/// `moss-trousers on ash`, `coat over moss-trousers on ash`.
pub fn fitting(fitting: &Fitting) -> String {
    let garments: Vec<String> = fitting.garments.iter().map(|g| plain(&g.name)).collect();
    let body = plain(&fitting.body);
    if garments.is_empty() {
        body
    } else {
        format!("{} on {body}", garments.join(" over "))
    }
}

/// `1 pose`, `1,204 poses`.
pub fn count(of: usize, one: &str, more: &str) -> String {
    format!("{} {}", grouped(of as f64), if of == 1 { one } else { more })
}

/// `12 in moss-trousers, worst at vertex 8`: whatever of it the finding's own sentence does not say.
pub fn whereabouts(finding: &Finding) -> String {
    let surface = plain(&finding.surface);
    // What the sentence says itself is not said twice.
    let count = grouped(finding.count as f64);
    let said = [&count, &finding.count.to_string()]
        .iter()
        .any(|count| finding.say.contains(*count));
    let many = if finding.count > 1 && !said {
        format!("{count} in {surface}")
    } else {
        surface
    };
    if finding.place.is_empty() || finding.say.contains(&finding.place) {
        many
    } else {
        format!("{many}, worst at {}", plain(&finding.place))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_carry_their_unit() {
        assert_eq!(quantity("skin_shows.inner.area_cm2", 243.0), "243 cm²");
        assert_eq!(quantity("stretch.beyond_skin.p99", 1.31), "31 %");
        assert_eq!(quantity("stretch.shear_deg", 12.0), "12°");
    }

    #[test]
    fn an_unlisted_path_is_spelled_out() {
        assert_eq!(
            title("new_measure.some_part.depth_mm"),
            "New measure, some part, depth"
        );
        assert_eq!(
            short("new_measure.some_part.depth_mm"),
            "new measure, some part, depth"
        );
    }

    #[test]
    fn a_name_cannot_steer_a_terminal() {
        assert_eq!(plain("a\u{1b}[2Jb\n"), "a [2Jb ");
        assert_eq!(plain("a\u{202e}b\u{5d0}"), "a b\u{5d0}");
    }
}
