//! What a refit shows: the sentence, the pulled places in colour from both sides, a table by place.

use crate::refit::{self, Pull, Refit};
use crate::report::leaf::{Picture, Section, Table};
use crate::report::picture::{CLOTH, Camera, PAPER, Paint, Scale, Shape, bounds_of, draw};
use crate::report::stills::heat_legend;
use crate::report::words;
use crate::rig::surface::Surface;

const SIZE: [u32; 2] = [340, 480];
/// From here on a print visibly smears (the everyday limit of `texture_drift`), as a stretch.
const PULLED: f64 = 1.15;
/// Left and right that differ by more than this were pulled unevenly.
const UNEVEN: f64 = 0.05;

fn percent(ratio: f64) -> String {
    let by = (ratio - 1.0) * 100.0;
    let word = if by < 0.0 { "shorter" } else { "longer" };
    format!("{} % {word}", words::number((by.abs() * 10.0).round() / 10.0))
}

/// In one sentence. `Evenly` is said only where the whole, every place, the print and both sides agree.
pub fn headline(found: &Refit) -> String {
    let whole = &found.whole;
    let places = || found.regions.iter();
    let longest = places().max_by(|a, b| a.1.p99.total_cmp(&b.1.p99));
    let shortest = places().min_by(|a, b| a.1.least_p01.total_cmp(&b.1.least_p01));
    let most = longest.map_or(whole.p99, |(_, pull)| pull.p99.max(whole.p99));
    let least = shortest.map_or(whole.least_p01, |(_, pull)| pull.least_p01.min(whole.least_p01));
    let at = |place: Option<(&String, &Pull)>| {
        place.map_or_else(String::new, |(name, _)| format!(", most at the {name}"))
    };
    if most > PULLED {
        return format!(
            "Pulled by up to {} (all but the worst hundredth){}",
            percent(most),
            at(longest)
        );
    }
    if least < 1.0 / PULLED {
        return format!(
            "Pushed together: up to {} (all but the worst hundredth){}",
            percent(least),
            at(shortest)
        );
    }
    if let Some(smear) = whole.smear_p99.filter(|smear| *smear > PULLED) {
        return format!(
            "Pulled unevenly: the print smears up to {} times as much as before",
            words::number(smear)
        );
    }
    if let Some(unlike) = found
        .sides
        .as_ref()
        .map(|sides| sides.unlike_p99)
        .filter(|by| *by > UNEVEN)
    {
        return format!(
            "Pulled unevenly: left and right differ by up to {} %",
            words::number((1000.0 * unlike).round() / 10.0)
        );
    }
    format!(
        "Pulled evenly: all but a hundredth of the cloth is at most {} and the least {}",
        percent(most),
        percent(least)
    )
}

/// The whole, the print, left against right, the new body.
pub fn sentences(found: &Refit) -> Vec<String> {
    let whole = &found.whole;
    let mut said = vec![format!(
        "Half of the cloth is {} or more; the area is {} times what it was.",
        percent(whole.median),
        words::number(whole.area_ratio)
    )];
    match (whole.u, whole.v, whole.smear_p99) {
        (Some(u), Some(v), Some(smear)) => said.push(format!(
            "The print is {} along its U and {} along its V (medians); all but its worst hundredth smears at most {} \
             times as much as before.",
            percent(u),
            percent(v),
            words::number(smear)
        )),
        _ => said.push("It has no texture coordinates: nothing can be said of the print.".into()),
    }
    if let Some(sides) = &found.sides {
        said.push(if sides.unlike_p99 > UNEVEN || (sides.left - sides.right).abs() > UNEVEN {
            format!(
                "Left and right were pulled unlike: {} on the left, {} on the right in the mean; mirrored places differ by \
                 up to {} %.",
                percent(sides.left),
                percent(sides.right),
                words::number((sides.unlike_p99 * 1000.0).round() / 10.0)
            )
        } else {
            "Left and right were pulled alike.".into()
        });
    } else {
        said.push("Its two sides are no mirror images, so left and right are not compared.".into());
    }
    if let Some(worn) = &found.worn {
        said.push(format!(
            "On {}: {} mm of room in the median, {} to {} mm but for a hundredth each; {} cm² of it lie inside the skin, up \
             to {} mm deep.",
            worn.body,
            words::number(worn.ease_median_mm),
            words::number(worn.ease_p01_mm),
            words::number(worn.ease_p99_mm),
            words::number(worn.inside_cm2),
            words::number(worn.inside_depth_mm)
        ));
    }
    said
}

/// From the front and from behind, coloured by the pull.
pub fn pictures(after: &Surface, found: &Refit) -> Section {
    let values = refit::per_vertex(after, &found.triangles);
    let scale = Scale {
        bottom: 1.0,
        top: (found.whole.p99.max(PULLED) * 1.05) as f32,
        limit: Some(PULLED as f32),
    };
    let shape = || Shape {
        positions: &after.positions,
        triangles: &after.triangles,
        paint: Paint::Heat {
            values: &values,
            scale,
            plain: CLOTH,
        },
    };
    let views = [("front", 0.0, "From the front"), ("back", 180.0, "From behind")];
    Section {
        heading: "Where it was pulled".into(),
        sentences: vec![
            "Plain is unpulled or pushed together; a dark line goes round what is pulled more than 15 %."
                .into(),
        ],
        pictures: views
            .into_iter()
            .map(|(file, azimuth, caption)| {
                let camera = Camera::around(bounds_of(&after.positions), azimuth, 8.0);
                let image = draw(&[shape()], &camera, SIZE, PAPER);
                Picture {
                    file: format!("pulled_{file}"),
                    caption: format!("{caption}."),
                    alt: format!("The garment after, coloured by how far it was pulled. {caption}."),
                    image: heat_legend("stretch.raw.worst", scale, image),
                }
            })
            .collect(),
        ..Section::default()
    }
}

/// Place by place, the most pulled first.
pub fn table(found: &Refit) -> Section {
    let mut rows: Vec<(&String, &Pull)> = found.regions.iter().collect();
    rows.sort_by(|a, b| b.1.p99.total_cmp(&a.1.p99));
    let cell = |value: Option<f64>| value.map_or_else(String::new, words::number);
    let row = |(name, pull): (&String, &Pull)| {
        vec![
            words::capital(name),
            words::number(pull.area_cm2),
            words::number(pull.median),
            words::number(pull.p99),
            words::number(pull.least_p01),
            cell(pull.u),
            cell(pull.v),
            cell(pull.smear_p99),
        ]
    };
    let head = [
        "Place",
        "cm² before",
        "half is over",
        "all but 1 % is under",
        "least",
        "along U",
        "along V",
        "smear",
    ];
    Section {
        heading: "Place by place".into(),
        sentences: vec!["Length after over length before: 1.2 is a fifth longer.".into()],
        table: Some(Table {
            head: head.map(str::to_owned).to_vec(),
            rows: rows.into_iter().map(row).collect(),
        }),
        ..Section::default()
    }
}
