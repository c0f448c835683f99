//! What two garments on one body show beside each other: the paragraph, a table by pose, curves over each other, pictures
//! from one camera in one scale, and what an edit moved.

use super::{heat, measure_of};
use crate::compare::{Moved, Pair, SHAPE_NOISE, Side, WEIGHT_NOISE};
use crate::contact::Scratch;
use crate::fitting::{Dressed, Plan, joints_at, meet};
use crate::outcome::{Fitting, Place, PoseResult};
use crate::report::chart::{self, Chart, Curve};
use crate::report::leaf::{Picture, Plot, Section, Table};
use crate::report::picture::{BODY, CLOTH, Camera, Image, PAPER, Paint, Scale, Shape, bounds_of, draw};
use crate::report::scene::Heat;
use crate::report::stills::heat_legend;
use crate::report::words;
use crate::units::Unit;
use rayon::prelude::*;

/// Pixels of a picture.
const SIZE: [u32; 2] = [340, 400];
/// More pairs of pictures than this nobody looks at.
const MOST_PICTURES: usize = 6;
/// More names than this do not fit below an axis.
const MOST_POSES: usize = 16;
/// Half of what a close-up shows, metres for a thigh of 0.41 m.
const CLOSE: f32 = 0.22;

/// Two fittings through the same poses.
#[derive(Clone, Copy, Debug)]
pub struct Two<'a> {
    /// Pose by pose.
    pub pairs: &'a [Pair],
    /// Of the garments.
    pub names: &'a [String; 2],
    /// Both results.
    pub fittings: [&'a Fitting; 2],
}

/// In one sentence.
pub fn headline(two: &Two) -> String {
    let [first, second] = two.names;
    let poses = |which: Option<usize>| two.pairs.iter().filter(|pair| pair.better() == which).count();
    let (draws, wins) = (poses(None), [poses(Some(0)), poses(Some(1))]);
    if wins == [0, 0] {
        let in_all = words::count(two.pairs.len(), "pose", "poses");
        let mut numbers = two.pairs.iter().flat_map(|pair| pair.numbers.values());
        if numbers.any(|side| side.better.is_some()) {
            return format!("Neither of {first} and {second} is clearly better in any of {in_all}.");
        }
        return format!("No difference beyond noise between {first} and {second} in {in_all}.");
    }
    let in_so_many = |count: usize| match count {
        0 => "none".into(),
        count => words::count(count, "pose", "poses"),
    };
    // The better one leads, whichever was named first.
    let order = if wins[1] > wins[0] { [1, 0] } else { [0, 1] };
    let [ahead, behind] = order.map(|which| (&two.names[which], in_so_many(wins[which])));
    let rest = match draws {
        0 => String::new(),
        draws => format!(
            "; in {} neither is clearly better",
            words::count(draws, "pose", "poses")
        ),
    };
    format!(
        "{} does better in {}, {} in {}{rest}.",
        ahead.0, ahead.1, behind.0, behind.1
    )
}

/// A sentence for each garment: where it is the better one, and by what most of all.
pub fn sentences(two: &Two) -> Vec<String> {
    let mut said = Vec::new();
    for which in [0, 1] {
        let mut won: Vec<(&Pair, &str, &Side)> = (two.pairs.iter())
            .filter(|pair| pair.better() == Some(which))
            .filter_map(|pair| deciding(pair).map(|(path, side)| (pair, path, side)))
            .collect();
        let margin = |side: &Side| (side.used[0] - side.used[1]).abs();
        won.sort_by(|a, b| {
            margin(b.2)
                .total_cmp(&margin(a.2))
                .then_with(|| a.0.pose.cmp(&b.0.pose))
        });
        let Some((pair, path, side)) = won.first() else {
            continue;
        };
        let others: Vec<String> = won[1..]
            .iter()
            .take(4)
            .map(|row| words::pose(&row.0.pose))
            .collect();
        let rest = won.len() - 1 - others.len();
        let mut also = others.join(", ");
        if rest > 0 {
            also.push_str(&format!(
                " and {}",
                words::count(rest, "other pose", "other poses")
            ));
        }
        said.push(format!(
            "{} is better most of all in {}: {} is {} against {}{}.",
            two.names[which],
            words::pose(&pair.pose),
            words::short(path),
            words::quantity(path, side.values[which]),
            words::quantity(path, side.values[1 - which]),
            if also.is_empty() {
                String::new()
            } else {
                format!("; also in {also}")
            }
        ));
    }
    let differ: Vec<&Pair> = (two.pairs.iter())
        .filter(|pair| pair.verdicts[0] != pair.verdicts[1])
        .collect();
    let told = differ.iter().take(4).map(|pair| {
        let [a, b] = pair.verdicts.map(words::verdict);
        format!("{} ({a} against {b})", words::pose(&pair.pose))
    });
    let told: Vec<String> = told.collect();
    if !told.is_empty() {
        let rest = differ.len() - told.len();
        let more = if rest > 0 {
            format!(" and {}", words::count(rest, "other pose", "other poses"))
        } else {
            String::new()
        };
        said.push(format!("Verdicts differ in {}{more}.", told.join(", ")));
    }
    said
}

/// The number that decides a pose: of those that matter, the one whose shares of the limit are furthest apart.
fn deciding(pair: &Pair) -> Option<(&str, &Side)> {
    let margin = |side: &Side| (side.used[0] - side.used[1]).abs();
    (pair.numbers.iter())
        .filter(|(_, side)| side.matters())
        .max_by(|a, b| margin(a.1).total_cmp(&margin(b.1)).then_with(|| b.0.cmp(a.0)))
        .map(|(path, side)| (path.as_str(), side))
}

/// Pose by pose: both verdicts, the better one, both values of the number that decides and the change.
pub fn table(two: &Two) -> Section {
    let row = |pair: &Pair| {
        let better = pair
            .better()
            .map_or("neither clearly", |which| two.names[which].as_str());
        let mut cells = vec![words::capital(&words::pose(&pair.pose))];
        cells.extend(pair.verdicts.map(|verdict| words::verdict(verdict).to_owned()));
        cells.push(better.to_owned());
        match deciding(pair) {
            Some((path, side)) => {
                let [a, b] = side.values;
                let by = b - a;
                let sign = if by > 0.0 { "+" } else { "−" };
                cells.push(words::capital(&words::short(path)));
                cells.extend([a, b].map(|value| words::quantity(path, value)));
                cells.push(format!("{sign}{}", words::quantity(path, change(path, by))));
            }
            None => cells.extend(["", "", "", ""].map(str::to_owned)),
        }
        cells
    };
    let head = ["Pose", "A", "B", "Better", "By", "A", "B", "Change"];
    Section {
        heading: "Pose by pose".into(),
        sentences: vec![format!(
            "A is {}, B is {}. A garment is better in a pose where its worst number uses clearly less of its limit, or \
             where some number is clearly better and none worse; what is within the noise of a measure is no change.",
            two.names[0], two.names[1]
        )],
        table: Some(Table {
            head: head.map(str::to_owned).to_vec(),
            rows: two.pairs.iter().map(row).collect(),
        }),
        ..Section::default()
    }
}

/// The size of a change as [`words::quantity`] shows values: ratios are shown by what is over 1.
fn change(path: &str, by: f64) -> f64 {
    let ratio = crate::measure::find(path).is_some_and(|(_, number)| number.unit == Unit::Ratio);
    by.abs()
        + if ratio && words::shown_unit(path) == "%" {
            1.0
        } else {
            0.0
        }
}

/// For every number that matters anywhere: both garments over the poses; and over the frames of the moving pose in which
/// they differ most.
pub fn curves(two: &Two) -> Section {
    let mut paths: Vec<&str> = Vec::new();
    for (path, _) in two
        .pairs
        .iter()
        .flat_map(|pair| pair.numbers.iter().filter(|(_, side)| side.matters()))
    {
        if !paths.contains(&path.as_str()) {
            paths.push(path);
        }
    }
    paths.sort_unstable();
    let plots = paths
        .iter()
        .flat_map(|path| [Some(over_poses(two, path)), over_frames(two, path)])
        .flatten();
    Section {
        heading: "Both in one plot".into(),
        sentences: if paths.is_empty() {
            vec!["No number differs by a tenth of its limit in any pose.".into()]
        } else {
            Vec::new()
        },
        plots: plots.collect(),
        ..Section::default()
    }
}

fn over_poses(two: &Two, path: &str) -> Plot {
    let apart = |pair: &Pair| {
        pair.numbers
            .get(path)
            .map_or(0.0, |side| (side.used[0] - side.used[1]).abs())
    };
    let mut most: Vec<&Pair> = two.pairs.iter().filter(|pair| apart(pair) > 0.0).collect();
    most.sort_by(|a, b| apart(b).total_cmp(&apart(a)));
    most.truncate(MOST_POSES);
    // In the library's order again.
    let shown: Vec<&Pair> = two
        .pairs
        .iter()
        .filter(|pair| most.iter().any(|other| other.pose == pair.pose))
        .collect();
    let at = |index: usize| index as f64;
    let curve = |which: usize| Curve {
        name: two.names[which].clone(),
        points: (shown.iter().enumerate())
            .map(|(index, pair)| {
                let value = pair
                    .numbers
                    .get(path)
                    .map(|side| words::shown(path, side.values[which]));
                (at(index), value)
            })
            .collect(),
    };
    let limit = |pair: &Pair| {
        let pose = two.fittings[0].poses.iter().find(|pose| pose.pose == pair.pose)?;
        two.fittings[0].limits.get(path)?.get(&pose.demand).copied()
    };
    let limits = (shown.iter().enumerate()).filter_map(|(index, pair)| {
        Some((
            [at(index) - 0.4, at(index) + 0.4],
            words::shown(path, limit(pair)?),
        ))
    });
    let chart = Chart {
        title: words::title(path),
        note: "- - limit; the worst frame of each pose".into(),
        unit: words::shown_unit(path).into(),
        floor: words::shown_unit(path).is_empty().then_some(1.0),
        curves: vec![curve(0), curve(1)],
        limits: limits.collect(),
        names: (shown.iter().enumerate())
            .map(|(index, pair)| (at(index), words::pose(&pair.pose)))
            .collect(),
        ..Chart::default()
    };
    let left_out = two.pairs.iter().filter(|pair| apart(pair) > 0.0).count() - shown.len();
    let rest = if left_out > 0 {
        format!(
            " {} that differ less are left out.",
            words::count(left_out, "pose", "poses")
        )
    } else {
        String::new()
    };
    Plot {
        file: format!("poses_{}", path.replace('.', "_")),
        caption: format!("{}, pose by pose. Lower is better.{rest}", words::title(path)),
        svg: chart::svg(&chart),
    }
}

fn over_frames(two: &Two, path: &str) -> Option<Plot> {
    let moving =
        |pair: &&Pair| of_pose(two.fittings[0], &pair.pose).is_some_and(|pose| pose.frames.len() > 2);
    let apart = |pair: &Pair| {
        pair.numbers
            .get(path)
            .map_or(0.0, |side| (side.used[0] - side.used[1]).abs())
    };
    let pair = (two.pairs.iter())
        .filter(moving)
        .filter(|pair| pair.numbers.get(path).is_some_and(Side::matters))
        .max_by(|a, b| apart(a).total_cmp(&apart(b)).then_with(|| b.pose.cmp(&a.pose)))?;
    let poses = [
        of_pose(two.fittings[0], &pair.pose)?,
        of_pose(two.fittings[1], &pair.pose)?,
    ];
    let curve = |which: usize| Curve {
        name: two.names[which].clone(),
        points: (poses[which].frames.iter())
            .map(|frame| {
                let value = frame.measures.get(path).filter(|value| value.is_finite());
                (frame.frame as f64, value.map(|value| words::shown(path, value)))
            })
            .collect(),
    };
    let last = poses[0].frames.last()?.frame as f64;
    let limit = two.fittings[0].limits.get(path)?.get(&poses[0].demand).copied();
    let chart = Chart {
        title: format!(
            "{}: {}",
            words::capital(&words::pose(&pair.pose)),
            words::title(path)
        ),
        note: "- - limit".into(),
        across: "frame".into(),
        unit: words::shown_unit(path).into(),
        floor: words::shown_unit(path).is_empty().then_some(1.0),
        curves: vec![curve(0), curve(1)],
        limits: limit
            .map(|limit| ([0.0, last], words::shown(path, limit)))
            .into_iter()
            .collect(),
        ..Chart::default()
    };
    Some(Plot {
        file: format!("frames_{}", path.replace('.', "_")),
        caption: format!("The same over {}, frame by frame.", words::pose(&pair.pose)),
        svg: chart::svg(&chart),
    })
}

fn of_pose<'a>(fitting: &'a Fitting, name: &str) -> Option<&'a PoseResult> {
    fitting.poses.iter().find(|pose| pose.pose == name)
}

/// Both garments in the poses that differ most, from one camera and in one scale of colours.
pub fn pictures(two: &Two, dressed: [&Dressed; 2], plan: &Plan) -> Section {
    let mut told: Vec<(&Pair, &str, &Side)> = (two.pairs.iter())
        .filter(|pair| pair.better().is_some())
        .filter_map(|pair| deciding(pair).map(|(path, side)| (pair, path, side)))
        .collect();
    let margin = |side: &Side| (side.used[0] - side.used[1]).abs();
    told.sort_by(|a, b| {
        margin(b.2)
            .total_cmp(&margin(a.2))
            .then_with(|| a.0.pose.cmp(&b.0.pose))
    });
    told.truncate(MOST_PICTURES);
    let pictures: Vec<Vec<Picture>> = (told.par_iter())
        .map(|(pair, path, side)| side_by_side(two, dressed, plan, pair, path, side).unwrap_or_default())
        .collect();
    Section {
        heading: "Side by side".into(),
        sentences: vec![format!(
            "Left {}, right {}: the worse one's worst frame, both from where its worst place is seen best, in one scale of \
             colours.",
            two.names[0], two.names[1]
        )],
        pictures: pictures.concat(),
        ..Section::default()
    }
}

/// A garment in a frame.
struct Seen {
    body: Vec<[f32; 3]>,
    cloth: Vec<[f32; 3]>,
    heat: Option<Heat>,
}

fn side_by_side(
    two: &Two,
    dressed: [&Dressed; 2],
    plan: &Plan,
    pair: &Pair,
    path: &str,
    side: &Side,
) -> Option<Vec<Picture>> {
    let worse = usize::from(side.used[1] > side.used[0]);
    let pose = of_pose(two.fittings[worse], &pair.pose)?;
    let value = |frame: &&crate::outcome::FrameResult| frame.measures.get(path).unwrap_or(f64::MIN);
    let worst = pose.frames.iter().max_by(|a, b| value(a).total_cmp(&value(b)))?;
    let place = worst.place_of(path)?;
    let sequence = plan
        .sequences
        .iter()
        .find(|sequence| sequence.name == pair.pose)?;
    let frame = &sequence.frames[worst.frame];
    let measure = measure_of(path);
    let seen = dressed.map(|dressed| {
        let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
        let moment = meet(dressed, &joints_at(dressed, frame), &mut scratch);
        let heat = measure.and_then(|measure| Some(heat(&moment, measure, measure.field.as_ref()?)));
        Seen {
            body: moment.posed_body.positions.clone(),
            cloth: moment.posed.positions.clone(),
            heat,
        }
    });
    let camera = camera(dressed[worse], &seen[worse], place);
    Some(
        (0..2)
            .map(|which| {
                let image = picture(dressed[which], &seen[which], &camera);
                let value = words::quantity(path, side.values[which]);
                let caption = format!(
                    "{}, {}: {} {value}.",
                    two.names[which],
                    words::pose(&pair.pose),
                    words::short(path)
                );
                Picture {
                    file: format!("{}_{}", pair.pose, ["a", "b"][which]),
                    alt: format!("{caption} At the {}.", place.region),
                    caption,
                    image,
                }
            })
            .collect(),
    )
}

fn picture(dressed: &Dressed, seen: &Seen, camera: &Camera) -> Image {
    let cloth = &dressed.layers[0].surface;
    let scale = seen.heat.as_ref().map(|heat| Scale {
        bottom: heat.bottom,
        limit: heat.limit,
        top: heat.top,
    });
    let shapes = [
        Shape {
            positions: &seen.body,
            triangles: &dressed.body.surface.triangles,
            paint: Paint::Plain(BODY),
        },
        Shape {
            positions: &seen.cloth,
            triangles: &cloth.triangles,
            paint: match (&seen.heat, scale) {
                (Some(heat), Some(scale)) => Paint::Heat {
                    values: &heat.values,
                    scale,
                    plain: CLOTH,
                },
                _ => Paint::Plain(CLOTH),
            },
        },
    ];
    let image = draw(&shapes, camera, SIZE, PAPER);
    match (&seen.heat, scale) {
        (Some(heat), Some(scale)) => heat_legend(&heat.measure, scale, image),
        _ => image,
    }
}

/// At the place, out of the skin beneath it or from where it was found to be seen.
#[expect(clippy::cast_possible_truncation, reason = "for a camera")]
fn camera(dressed: &Dressed, seen: &Seen, place: &Place) -> Camera {
    let scale = dressed.body.anatomy.scale() as f32;
    let position = place.position_m.map(|value| value as f32);
    let toward = place
        .seen_along
        .map(|along| along.map(|value| value as f32))
        .unwrap_or_else(|| {
            let bounds = bounds_of(&seen.body);
            let middle: [f32; 3] = std::array::from_fn(|axis| (bounds[0][axis] + bounds[1][axis]) / 2.0);
            std::array::from_fn(|axis| {
                if axis == 1 {
                    0.0
                } else {
                    position[axis] - middle[axis]
                }
            })
        });
    Camera {
        clear: None,
        ..Camera::at(position, toward, CLOSE * scale)
    }
}

/// What an edit moved, where both garments have the same triangles.
pub fn moved(two: &Two, after: &Dressed, moved: &Moved) -> Section {
    let vertices = moved.shape.len();
    let over = |values: &[f32], noise: f32| values.iter().filter(|value| **value > noise).count();
    let most = |values: &[f32]| f64::from(values.iter().copied().fold(0.0, f32::max));
    let (shape, weights) = (
        over(&moved.shape, SHAPE_NOISE),
        over(&moved.weights, WEIGHT_NOISE),
    );
    let mut sentences = vec![if shape == 0 {
        "As built, no vertex moved.".to_owned()
    } else {
        format!(
            "As built, {shape} of {vertices} vertices moved, by up to {} mm.",
            crate::units::number(round(most(&moved.shape) * 1e3, 100.0))
        )
    }];
    sentences.push(if weights == 0 {
        "No weight changed.".to_owned()
    } else {
        format!(
            "Weights changed at {weights} of {vertices} vertices: up to {} % of a row went to other joints.",
            crate::units::number(round(most(&moved.weights) * 100.0, 10.0))
        )
    });
    let mut pictures = Vec::new();
    for (file, values, count, top, what) in [
        (
            "moved_shape",
            &moved.shape,
            shape,
            most(&moved.shape) as f32 * 1e3,
            "How far each place moved as built, mm",
        ),
        (
            "moved_weights",
            &moved.weights,
            weights,
            most(&moved.weights) as f32 * 100.0,
            "Weight that went to other joints, %",
        ),
    ] {
        if count > 0 {
            let unit = if file == "moved_shape" { 1e3 } else { 100.0 };
            let values: Vec<f32> = values.iter().map(|value| value * unit).collect();
            pictures.extend(both_sides(after, &values, top, file, what));
        }
    }
    Section {
        heading: format!("What moved from {} to {}", two.names[0], two.names[1]),
        sentences,
        pictures,
        ..Section::default()
    }
}

fn round(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

fn both_sides(after: &Dressed, values: &[f32], top: f32, file: &str, what: &str) -> Vec<Picture> {
    let cloth = &after.layers[0].surface;
    let scale = Scale {
        bottom: top * 0.02,
        limit: None,
        top,
    };
    [("front", 0.0, "from the front"), ("back", 180.0, "from behind")]
        .into_iter()
        .map(|(side, azimuth, words)| {
            let shape = Shape {
                positions: &cloth.positions,
                triangles: &cloth.triangles,
                paint: Paint::Heat {
                    values,
                    scale,
                    plain: CLOTH,
                },
            };
            let camera = Camera::around(bounds_of(&cloth.positions), azimuth, 8.0);
            Picture {
                file: format!("{file}_{side}"),
                caption: format!("{what}, {words}: yellow is {top:.1}."),
                alt: format!("The garment as built, {words}, coloured: {what}."),
                image: draw(&[shape], &camera, SIZE, PAPER),
            }
        })
        .collect()
}
