//! What a splay shows: the advice in words, both curves, the body at 0, in the band and as bound.

use crate::contact::Body;
use crate::report::chart::{self, Chart, Curve};
use crate::report::leaf::{Picture, Plot, Section};
use crate::report::picture::{BODY, Camera, PAPER, Paint, Shape, bounds_of, draw};
use crate::report::words;
use crate::skin;
use crate::splay::{self, FROM_DEG, PRACTICE_DEG, Row, Splay, TO_DEG};

/// Pictures of the body alone.
const SIZE: [u32; 2] = [300, 420];

fn degrees(value: f64) -> String {
    let half = (value * 2.0).round() / 2.0;
    format!("{half:.1}")
        .trim_end_matches('0')
        .trim_end_matches('.')
        .to_owned()
}

/// The price at a splay, straight between the rows.
fn price(found: &Splay, splay_deg: f64) -> f64 {
    let after = found
        .rows
        .iter()
        .position(|row| row.splay_deg >= splay_deg)
        .unwrap_or(found.rows.len() - 1);
    let (a, b) = (&found.rows[after.saturating_sub(1)], &found.rows[after]);
    let span = b.splay_deg - a.splay_deg;
    let share = if span > 0.0 {
        ((splay_deg - a.splay_deg) / span).clamp(0.0, 1.0)
    } else {
        0.0
    };
    a.price_cm2 + (b.price_cm2 - a.price_cm2) * share
}

/// What to build at, in one sentence.
pub fn headline(found: &Splay) -> String {
    let band = found.advice.band;
    if found.advice.no_difference {
        return "It makes no difference here in which hip splay the trousers are built".into();
    }
    format!(
        "Build between {} and {} degrees of hip splay; the least room is lost at {}",
        degrees(band.from_deg),
        degrees(band.to_deg),
        degrees(found.advice.least_at_deg)
    )
}

/// The reason, the price on either side, the rig's own bind, common practice.
pub fn sentences(found: &Splay) -> Vec<String> {
    let band = found.advice.band;
    let mut said = vec![match found.apart_from_deg {
        Some(at) if at <= FROM_DEG => format!(
            "The legs, each with {} mm of room, stand apart at every splay: they ask for none.",
            words::number(found.ease_mm)
        ),
        Some(at) => format!(
            "The legs, each with {} mm of room, stand apart from {} on; below that one leg's cloth is built inside \
             the other's.",
            words::number(found.ease_mm),
            if degrees(at) == "1" {
                "1 degree".into()
            } else {
                format!("{} degrees", degrees(at))
            }
        ),
        None => format!(
            "The legs, each with {} mm of room, are nowhere apart up to {TO_DEG} degrees.",
            words::number(found.ease_mm)
        ),
    }];
    let least = found.advice.least_cm2;
    let side = |at: f64, why: &str| {
        format!(
            "{} {} degrees {} cm² of cloth loses more than half of its room or runs into the other leg's, the mean of {} \
             poses ({} cm² at the best){why}.",
            if at < band.from_deg { "Built at" } else { "At" },
            degrees(at),
            words::number(price(found, at)),
            splay::POSES.len(),
            words::number(least)
        )
    };
    if band.from_deg > FROM_DEG {
        said.push(side((band.from_deg - 4.0).max(FROM_DEG), &worst(found, FROM_DEG)));
    }
    if band.to_deg < TO_DEG {
        said.push(side((band.to_deg + 4.0).min(TO_DEG), &worst(found, TO_DEG)));
    }
    said.push(format!(
        "This rig is bound at {:.1} degrees. The answer leans to that: cloth takes the weights of the skin, and those were \
         painted there.",
        found.bind_deg
    ));
    said.push(practice(found));
    said.push(
        "These are areas of the skin grown by the room of the cloth, with its own weights, over five poses: standing, wide \
         stance, side split, sitting, sitting with the knees apart. What a closed crease hides is not counted. Real \
         trousers may differ; gusset compare says."
            .into(),
    );
    said
}

/// The pose that asks most for the band on this side of it.
fn worst(found: &Splay, end: f64) -> String {
    let at = |splay: f64| {
        found.rows.iter().min_by(|a, b| {
            (a.splay_deg - splay)
                .abs()
                .total_cmp(&(b.splay_deg - splay).abs())
        })
    };
    let (Some(there), Some(best)) = (at(end), at(found.advice.least_at_deg)) else {
        return String::new();
    };
    let more = there
        .lost_cm2
        .iter()
        .zip(&best.lost_cm2)
        .map(|((pose, a), (_, b))| (pose, a - b));
    more.max_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|(_, more)| *more > 0.0)
        .map_or_else(String::new, |(pose, _)| {
            format!(", most of it in {}", words::pose(pose))
        })
}

fn practice(found: &Splay) -> String {
    let [from, to] = PRACTICE_DEG;
    let more = |at: f64| (price(found, at) / found.advice.least_cm2.max(1e-9) - 1.0) * 100.0;
    let dearest = more(from).max(more(to));
    let band = found.advice.band;
    let verdict = if found.advice.no_difference {
        "as good as any other here".to_owned()
    } else if band.holds(from) && band.holds(to) {
        "inside this band".to_owned()
    } else if from > band.to_deg || to < band.from_deg {
        format!(
            "outside this band: {} % more than the best",
            words::number(dearest.round())
        )
    } else {
        format!(
            "partly inside this band: at most {} % more than the best",
            words::number(dearest.round())
        )
    };
    format!("Common practice, {from} to {to} degrees, is {verdict}.")
}

/// Both curves.
pub fn plots(found: &Splay) -> Section {
    let curve = |name: &str, value: &dyn Fn(&Row) -> f64| Curve {
        name: name.to_owned(),
        points: found
            .rows
            .iter()
            .map(|row| (row.splay_deg, Some(value(row))))
            .collect(),
    };
    let chart = |title: &str, curves: Vec<Curve>, marks: Vec<(f64, String)>| {
        chart::svg(&Chart {
            title: title.to_owned(),
            across: "hip splay of the build pose, degrees".into(),
            unit: "cm²".into(),
            note: "shaded: the splays within 10 % of the least".into(),
            curves,
            marks,
            band: Some([found.advice.band.from_deg, found.advice.band.to_deg]),
            ..Chart::default()
        })
    };
    let lost = |pose: usize| move |row: &Row| row.lost_cm2.get(pose).map_or(0.0, |lost| lost.1);
    let mark = |at: f64, say: &str| (at.clamp(FROM_DEG, TO_DEG), say.to_owned());
    let price = chart(
        "Grown skin: cloth that keeps less than half of its room",
        vec![
            curve("mean of five poses, with what runs through", &|row| row.price_cm2),
            curve("wide poses", &|row| (lost(1)(row) + lost(2)(row)) / 2.0),
            curve("seated poses", &|row| (lost(3)(row) + lost(4)(row)) / 2.0),
        ],
        vec![mark(found.bind_deg, &format!("bound at {:.1}°", found.bind_deg))],
    );
    let apart = chart(
        "Legs apart: leg with its cloth inside the other leg",
        vec![curve("", &|row| row.overlap_cm2)],
        found
            .apart_from_deg
            .map(|at| mark(at, &format!("apart from {}°", degrees(at))))
            .into_iter()
            .collect(),
    );
    let plot = |file: &str, caption: &str, svg: String| Plot {
        file: file.to_owned(),
        caption: caption.to_owned(),
        svg,
    };
    Section {
        heading: "Both curves".into(),
        plots: vec![
            plot(
                "grown_skin",
                "What it costs to build at each splay. Lower is better.",
                price,
            ),
            plot(
                "legs_apart",
                "Where it is nothing, the legs do not touch: a lower bound for the build pose.",
                apart,
            ),
        ],
        ..Section::default()
    }
}

/// The body from the front at 0, in the middle of the band, and as bound.
pub fn pictures(body: &Body, found: &Splay) -> Section {
    let band = found.advice.band;
    let middle = f64::midpoint(band.from_deg, band.to_deg);
    let views = [
        ("0", 0.0, "At 0 degrees".to_owned()),
        (
            "band",
            middle,
            format!("At {} degrees, the middle of the band", degrees(middle)),
        ),
        (
            "bind",
            found.bind_deg,
            format!("At {:.1} degrees, as the rig is bound", found.bind_deg),
        ),
    ];
    let posed = views.map(|(file, at, caption)| {
        let mut positions = Vec::new();
        let palette = skin::palette(&body.surface, &splay::at(body, at));
        skin::blend(&body.surface, &palette, &mut positions);
        (file, caption, positions)
    });
    // One camera for all three, on what lies below the waist.
    let top = body.anatomy.mid_hip.y as f32 + 0.25 * body.scale();
    let legs = posed
        .iter()
        .flat_map(|(_, _, positions)| positions)
        .filter(|p| p[1] < top && p[0].abs() < 0.6 * body.scale());
    let camera = Camera::around(bounds_of(legs), 0.0, 0.0);
    let triangles = super::drawn(&body.surface);
    Section {
        heading: "From the front".into(),
        pictures: posed
            .iter()
            .map(|(file, caption, positions)| {
                let shape = Shape {
                    positions,
                    triangles: &triangles,
                    paint: Paint::Plain(BODY),
                };
                Picture {
                    file: format!("front_{file}"),
                    caption: format!("{caption}."),
                    alt: format!("The legs from the front. {caption}."),
                    image: draw(&[shape], &camera, SIZE, PAPER),
                }
            })
            .collect(),
        ..Section::default()
    }
}
