//! How one number runs through all frames of all poses, against its limit.

mod axes; // upright and level
mod band; // one pose

use super::canvas::{self, Canvas, FAINT, Hang, INK, OVER, WITHIN};
use super::{words, worst};
use crate::outcome::{Demand, Fitting, FrameResult, Outcome, PoseResult};
use crate::timings::{Step, time};
pub(super) use axes::nice;
use axes::{Along, Axis};
use band::Band;
use plotters::style::{BLACK, Color, WHITE};
use rayon::prelude::*;
use std::collections::BTreeSet;

const TEXT: f64 = 12.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = 18.0;
const TOP: f64 = 66.0;
const HIGH: f64 = 230.0;
/// A pose's band is at least this wide, so that its name can stand below it.
const BAND: f64 = 14.4;
/// Frames up to here widen their pose's band; a long clip is drawn closer.
const FRAMES: usize = 24;
/// Longer names of poses are cut.
const NAME: usize = 30;

/// A finished plot.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// Index into the outcome's fittings.
    pub fitting: usize,
    /// Path of the number.
    pub path: String,
    /// The plot, see [`svg`].
    pub svg: String,
    /// Every value in words, from left to right.
    pub readings: Vec<Reading>,
}

/// A value to be read off a plot.
#[derive(Clone, Debug)]
pub struct Reading {
    /// How far right it lies, in the pixels the plot is shown with.
    pub x: f64,
    /// `walk, frame 3`.
    pub moment: String,
    /// `4.7 %`.
    pub value: String,
    /// Whether it is over its limit.
    pub over: bool,
}

/// From where to where the values lie from top to bottom, in shown pixels.
pub const SPAN: [f64; 2] = [TOP, TOP + HIGH];

/// Every plot of every fitting.
pub fn all(outcome: &Outcome) -> Vec<Drawn> {
    let of_fitting = |(at, fitting): (usize, &Fitting)| {
        let draw = |path: String| {
            time(Step::Plots, || {
                let plot = Plot::new(outcome, fitting, &path);
                Drawn {
                    fitting: at,
                    svg: canvas::svg(plot.size(), |sheet| plot.paint(sheet)),
                    readings: plot.readings(fitting, &path),
                    path,
                }
            })
        };
        paths(outcome, fitting)
            .into_par_iter()
            .map(draw)
            .collect::<Vec<_>>()
    };
    outcome.fittings.iter().enumerate().flat_map(of_fitting).collect()
}

/// The numbers of a fitting that were measured anywhere, those with a limit first.
pub fn paths(outcome: &Outcome, fitting: &Fitting) -> Vec<String> {
    let frames = fitting.poses.iter().flat_map(|p| &p.frames);
    let measured = frames.flat_map(|f| {
        f.measures
            .values
            .iter()
            .filter(|(_, v)| v.is_some_and(f64::is_finite))
    });
    let mut paths: Vec<String> = measured.map(|(path, _)| path.clone()).collect();
    paths.sort_by_key(|path| (!worst::limits(outcome, fitting).contains_key(path), path.clone()));
    paths.dedup();
    paths
}

/// The plot as SVG, every label inside.
pub fn svg(outcome: &Outcome, fitting: &Fitting, path: &str) -> String {
    let plot = Plot::new(outcome, fitting, path);
    canvas::svg(plot.size(), |sheet| plot.paint(sheet))
}

/// An SVG of [`svg`] as PNG, twice its shown size.
pub fn png(svg: &str) -> Vec<u8> {
    canvas::image(svg, 2.0)
        .expect("plots have a size and are SVG")
        .png()
}

/// Title of the level axis over several poses.
const POSES_TITLE: &str = "pose; a sequence runs from its first frame to its last";

struct Plot {
    /// Marks and title of the level axis; only a single sequence has room for them.
    along: Option<Along>,
    title: String,
    unit: &'static str,
    limits: String,
    bands: Vec<Band>,
    axis: Axis,
}

impl Plot {
    fn new(outcome: &Outcome, fitting: &Fitting, path: &str) -> Self {
        let poses: Vec<&PoseResult> = fitting.poses.iter().filter(|p| !p.frames.is_empty()).collect();
        let weights = poses.iter().map(|p| p.frames.len().clamp(3, FRAMES) as f64);
        let per_weight = (860.0 / weights.sum::<f64>().max(1.0)).clamp(BAND / 3.0, 60.0);
        let mut left = LEFT;
        let mut bands = Vec::new();
        for pose in &poses {
            let wide = pose.frames.len().clamp(3, FRAMES) as f64 * per_weight;
            bands.push(Band::new(
                worst::limits(outcome, fitting),
                pose,
                path,
                [left, wide],
            ));
            left += wide;
        }
        let axis = Axis::new(&bands);
        let demands: BTreeSet<Demand> = poses.iter().map(|pose| pose.demand).collect();
        Self {
            along: match (poses.as_slice(), bands.as_slice()) {
                ([pose], [band]) => Some(Along::new(pose, band)),
                _ => None,
            },
            title: words::title(path),
            unit: words::shown_unit(path),
            limits: limits_in_words(worst::limits(outcome, fitting), path, &demands),
            bands,
            axis,
        }
    }

    fn readings(&self, fitting: &Fitting, path: &str) -> Vec<Reading> {
        let poses = fitting.poses.iter().filter(|pose| !pose.frames.is_empty());
        let of_band = |(pose, band): (&PoseResult, &Band)| {
            let reading = |(frame, result): (usize, &FrameResult)| Reading {
                x: band.x(frame),
                moment: words::moment(pose, result),
                value: result
                    .measures
                    .get(path)
                    .map_or_else(|| "not measurable".into(), |value| words::quantity(path, value)),
                over: band.values[frame]
                    .zip(band.limit)
                    .is_some_and(|(value, limit)| value > limit),
            };
            pose.frames.iter().enumerate().map(reading).collect::<Vec<_>>()
        };
        poses.zip(&self.bands).flat_map(of_band).collect()
    }

    fn end(&self) -> f64 {
        self.bands.last().map_or(LEFT, |band| band.left + band.wide)
    }

    fn size(&self) -> [f64; 2] {
        let names = self.bands.iter().map(|b| canvas::width(&b.name, TEXT));
        let (below, foot) = match &self.along {
            Some(along) => (40.0, canvas::width(&along.title, TEXT)),
            None => (names.fold(0.0, f64::max) + 26.0, canvas::width(POSES_TITLE, TEXT)),
        };
        let head = canvas::width(&self.title, 16.0).max(self.legend_end()).max(foot);
        [
            (self.end().max(LEFT + head) + RIGHT).ceil(),
            (TOP + HIGH + 16.0 + below).ceil(),
        ]
    }

    fn legend(&self) -> String {
        if self.limits.is_empty() {
            return "this number has no limit".into();
        }
        let bent = if self.axis.bent {
            "; low values are drawn wider apart"
        } else {
            ""
        };
        format!("- - limit: {}{bent}", self.limits)
    }

    /// What the marks that occur mean, and how much room each explanation takes.
    fn keys(&self) -> impl Iterator<Item = (Key, f64)> {
        let values = || {
            self.bands
                .iter()
                .flat_map(|b| b.values.iter().map(|v| (b.limit, *v)))
        };
        let over = values().any(|(limit, v)| v.zip(limit).is_some_and(|(v, limit)| v > limit));
        let above = values().any(|(_, v)| v.is_some_and(|v| v > self.axis.high));
        let gap = values().any(|(_, v)| v.is_none());
        let keys = [(over, Key::Over), (above, Key::Above), (gap, Key::Gap)];
        keys.into_iter()
            .filter(|(occurs, _)| *occurs)
            .map(|(_, key)| (key, 30.0 + canvas::width(key.say(), TEXT)))
    }

    fn legend_end(&self) -> f64 {
        canvas::width(&self.legend(), TEXT) + self.keys().map(|(_, wide)| wide).sum::<f64>()
    }

    fn key(&self, sheet: &mut Canvas) {
        let mut x = LEFT + canvas::width(&self.legend(), TEXT) + 18.0;
        for (key, wide) in self.keys() {
            match key {
                Key::Over => sheet.lozenge([x, 40.0], 5.0, OVER),
                Key::Above => sheet.arrow([x, 35.0], 4.5, OVER),
                Key::Gap => cross(sheet, [x, 40.0]),
            }
            sheet.word(key.say(), [x + 9.0, 40.0], TEXT, INK, Hang::Start);
            x += wide;
        }
    }

    fn paint(&self, sheet: &mut Canvas) {
        sheet.word(&self.title, [LEFT, 18.0], 16.0, INK, Hang::Start);
        sheet.word(&self.legend(), [LEFT, 40.0], TEXT, INK, Hang::Start);
        self.key(sheet);
        if !self.unit.is_empty() {
            sheet.word(self.unit, [LEFT - 8.0, TOP - 14.0], TEXT, INK, Hang::End);
        }
        self.grid(sheet);
        for band in &self.bands {
            self.band(sheet, band);
        }
        for band in &self.bands {
            self.limit(sheet, band);
        }
        if let Some(along) = &self.along {
            along.paint(sheet);
        } else {
            let names = self.bands.iter().map(|b| canvas::width(&b.name, TEXT));
            let under = TOP + HIGH + 8.0 + names.fold(0.0, f64::max) + 18.0;
            sheet.word(POSES_TITLE, [LEFT, under], TEXT, INK, Hang::Start);
        }
        sheet.line([LEFT, TOP], [LEFT, TOP + HIGH], FAINT, 1.0);
    }

    /// Over everything else, on a light edge, so that no curve hides it.
    fn limit(&self, sheet: &mut Canvas, band: &Band) {
        if let Some(limit) = band.limit {
            let y = self.axis.place(limit);
            let (from, to) = (band.left + 1.0, band.left + band.wide - 1.0);
            sheet.block([[from, y - 1.6], [to, y + 1.6]], WHITE.mix(0.55));
            sheet.dashes([from, y], to, INK);
        }
    }

    fn grid(&self, sheet: &mut Canvas) {
        for band in self.bands.iter().skip(1).step_by(2) {
            sheet.block(
                [[band.left, TOP], [band.left + band.wide, TOP + HIGH]],
                BLACK.mix(0.045),
            );
        }
        for tick in self.axis.ticks() {
            let y = self.axis.place(tick);
            sheet.line([LEFT - 4.0, y], [LEFT, y], FAINT, 1.0);
            if tick != self.axis.low {
                sheet.block([[LEFT, y - 0.25], [self.end(), y + 0.25]], BLACK.mix(0.10));
            }
            sheet.word(&words::number(tick), [LEFT - 8.0, y], TEXT, INK, Hang::End);
        }
        let floor = TOP + HIGH;
        sheet.line([LEFT, floor], [self.end(), floor], FAINT, 1.0);
    }

    fn band(&self, sheet: &mut Canvas, band: &Band) {
        if self.along.is_none() {
            let at = [band.left + band.wide / 2.0, TOP + HIGH + 8.0];
            sheet.word(&band.name, at, TEXT, INK, Hang::UpwardsEnd);
        }
        for run in band.runs() {
            let points: Vec<[f64; 2]> = run.iter().map(|(x, v)| [*x, self.axis.place(*v)]).collect();
            if points.len() > 1 {
                sheet.path(&points, WITHIN, 1.4);
            }
        }
        for (frame, value) in band.values.iter().enumerate() {
            self.value(sheet, band, band.x(frame), *value);
        }
    }

    /// A dot within the limit, a lozenge over it, an arrow with its number above the sheet, a cross where nothing could
    /// be measured.
    fn value(&self, sheet: &mut Canvas, band: &Band, x: f64, value: Option<f64>) {
        let Some(value) = value else {
            cross(sheet, [x, TOP + HIGH - 5.0]);
            return;
        };
        let over = band.limit.is_some_and(|limit| value > limit);
        let crowded = band.wide / band.values.len().max(1) as f64 <= 4.0;
        if value > self.axis.high {
            sheet.arrow([x, TOP + 1.0], 4.5, if over { OVER } else { WITHIN });
            let text = words::number(value);
            let right = x + 8.0 + canvas::width(&text, TEXT) < self.end() + RIGHT;
            let (at, hang) = if right {
                (x + 8.0, Hang::Start)
            } else {
                (x - 8.0, Hang::End)
            };
            sheet.word(&text, [at, TOP + 6.0], TEXT, INK, hang);
        } else if over {
            sheet.lozenge([x, self.axis.place(value)], if crowded { 3.2 } else { 5.0 }, OVER);
        } else if !crowded || band.values.len() < 3 {
            sheet.dot([x, self.axis.place(value)], 2.6, WITHIN);
        }
    }
}

/// A mark that needs a word.
#[derive(Clone, Copy)]
enum Key {
    Over,
    Above,
    Gap,
}

impl Key {
    fn say(self) -> &'static str {
        match self {
            Self::Over => "over the limit",
            Self::Above => "above this sheet",
            Self::Gap => "not measurable",
        }
    }
}

fn cross(sheet: &mut Canvas, [x, y]: [f64; 2]) {
    sheet.line([x - 3.0, y - 3.0], [x + 3.0, y + 3.0], INK, 1.2);
    sheet.line([x - 3.0, y + 3.0], [x + 3.0, y - 3.0], INK, 1.2);
}

/// `everyday 1 cm², seated 8 cm²`: of the demands that occur.
fn limits_in_words(limits: &worst::Limits, path: &str, demands: &BTreeSet<Demand>) -> String {
    let Some(limits) = limits.get(path) else {
        return String::new();
    };
    let parts: Vec<String> = limits
        .iter()
        .filter(|(demand, _)| demands.contains(demand))
        .map(|(d, limit)| format!("{} {}", words::demand(*d), words::quantity(path, *limit)))
        .collect();
    parts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use resvg::usvg;

    fn words_outside(group: &usvg::Group, size: usvg::Size, outside: &mut Vec<String>) -> usize {
        let mut seen = 0;
        for node in group.children() {
            match node {
                usvg::Node::Group(inner) => seen += words_outside(inner, size, outside),
                usvg::Node::Text(text) => {
                    seen += 1;
                    let b = text.abs_bounding_box();
                    let inside = b.left() >= 0.0
                        && b.top() >= 0.0
                        && b.right() <= size.width()
                        && b.bottom() <= size.height();
                    if !inside {
                        outside.push(text.chunks().iter().map(|c| c.text()).collect());
                    }
                }
                _ => {}
            }
        }
        seen
    }

    #[test]
    fn every_label_is_inside() {
        let mut outcome = sample::outcome();
        outcome.fittings[0].poses[2].pose =
            "a_pose_with_a_name_that_is_much_longer_than_any_in_the_library".into();
        for path in paths(&outcome, &outcome.fittings[0]) {
            let text = svg(&outcome, &outcome.fittings[0], &path);
            let tree = canvas::tree(&text).unwrap();
            let mut outside = Vec::new();
            let seen = words_outside(tree.root(), tree.size(), &mut outside);
            assert!(
                seen > 25 && outside.is_empty(),
                "{path}: {seen} words, outside: {outside:?}"
            );
            sample::save(&format!("{path}.svg"), text.as_bytes());
            sample::save(&format!("{path}.png"), &png(&text));
        }
    }

    #[test]
    fn values_over_the_limit_have_another_shape() {
        let outcome = sample::outcome();
        let over = svg(&outcome, &outcome.fittings[0], "skin_shows.inner.area_cm2");
        let within = svg(&outcome, &outcome.fittings[0], "lift.area_cm2");
        assert!(over.contains("#D55E00") && !within.contains("#D55E00"));
        assert!(over.contains("everyday 1 cm²") && over.contains("\n243\n"));
    }

    #[test]
    fn one_huge_value_does_not_flatten_the_rest() {
        let outcome = sample::outcome();
        let plot = Plot::new(&outcome, &outcome.fittings[0], "skin_shows.inner.area_cm2");
        assert!(plot.axis.high < 100.0, "{}", plot.axis.high);
        let plot = Plot::new(&outcome, &outcome.fittings[0], "ease.median_mm");
        assert!(plot.axis.high >= 7.0 && plot.axis.low == 0.0);
    }

    fn words_of(group: &usvg::Group, into: &mut Vec<(String, f32)>) {
        for node in group.children() {
            match node {
                usvg::Node::Group(inner) => words_of(inner, into),
                usvg::Node::Text(text) => into.push((
                    text.chunks().iter().map(|c| c.text().trim()).collect(),
                    text.abs_bounding_box().x(),
                )),
                _ => {}
            }
        }
    }

    /// Every word of a plot and how far right it begins.
    fn written(svg: &str) -> Vec<(String, f32)> {
        let mut words = Vec::new();
        words_of(canvas::tree(svg).unwrap().root(), &mut words);
        words
    }

    #[test]
    fn one_sequence_has_frames_or_seconds_below_it() {
        let mut outcome = sample::outcome();
        let fitting = &mut outcome.fittings[0];
        fitting.poses.retain(|pose| pose.pose == "walking");
        let path = "skin_shows.inner.area_cm2";
        let frames = written(&svg(&outcome, &outcome.fittings[0], path));
        let at = |words: &[(String, f32)], word: &str| words.iter().find(|(w, _)| w == word).map(|(_, x)| *x);
        assert!(at(&frames, "walking: frame").is_some(), "{frames:?}");
        assert!(at(&frames, "15").unwrap() > at(&frames, "10").unwrap());
        for frame in &mut outcome.fittings[0].poses[0].frames {
            frame.time_s = Some(frame.frame as f64 / 30.0);
        }
        let seconds = written(&svg(&outcome, &outcome.fittings[0], path));
        assert!(at(&seconds, "walking: time in seconds").is_some() && at(&seconds, "0.7").is_some());
        // Seconds 0.5 are frame 15.
        let [half, fifteenth] = [at(&seconds, "0.5"), at(&frames, "15")].map(Option::unwrap);
        assert!((half - fifteenth).abs() < 3.0, "{half} {fifteenth}");
    }

    #[test]
    fn only_demands_that_occur_are_in_the_legend() {
        let mut outcome = sample::outcome();
        outcome.fittings[0].poses.retain(|pose| pose.pose == "walking");
        let svg = svg(&outcome, &outcome.fittings[0], "skin_shows.inner.area_cm2");
        assert!(svg.contains("limit: everyday 1 cm²") && !svg.contains("hard"));
    }

    #[test]
    fn a_limit_far_below_the_values_stays_off_the_floor() {
        let mut outcome = sample::outcome();
        for pose in &mut outcome.fittings[0].poses {
            for frame in &mut pose.frames {
                let values = &mut frame.measures.values;
                values.insert("lift.area_cm2".into(), Some(400.0));
            }
        }
        let plot = Plot::new(&outcome, &outcome.fittings[0], "lift.area_cm2");
        assert!(plot.axis.bent && plot.axis.high >= 400.0);
        assert!(
            TOP + HIGH - plot.axis.place(3.0) > 12.0,
            "{}",
            plot.axis.place(3.0)
        );
        let ticks = plot.axis.ticks();
        assert!(ticks.len() > 3 && ticks.is_sorted(), "{ticks:?}");
    }

    #[test]
    fn steps_are_one_two_or_five() {
        assert_eq!(
            [0.13, 1.0, 1.3, 3.0, 7.0].map(nice).map(words::number),
            ["0.2", "1", "2", "5", "10"]
        );
    }
}
