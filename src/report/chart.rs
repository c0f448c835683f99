//! Curves over angles or poses: one sheet, one or more curves, limits, a mark where something begins.

use super::canvas::{self, Canvas, FAINT, Hang, INK, OVER, WITHIN};
use super::plot::nice;
use super::words;
use plotters::style::{BLACK, Color, RGBColor};

const TEXT: f64 = 12.0;
const LEFT: f64 = 66.0;
const RIGHT: f64 = 24.0;
const TOP: f64 = 78.0;
const HIGH: f64 = 230.0;
const WIDE: f64 = 760.0;
/// A limit lower than this share of a level axis would lie on its floor.
const LOW: f64 = 0.1;
/// Okabe and Ito's bluish green.
const THIRD: RGBColor = RGBColor(0x00, 0x9e, 0x73);

/// What is drawn.
#[derive(Clone, Debug, Default)]
pub struct Chart {
    /// Above everything.
    pub title: String,
    /// A line below the title: what the dashes mean.
    pub note: String,
    /// Below the level axis.
    pub across: String,
    /// Above the upright axis.
    pub unit: String,
    /// Told apart by colour and by mark; at most three.
    pub curves: Vec<Curve>,
    /// Dashed: from where to where, and how high.
    pub limits: Vec<([f64; 2], f64)>,
    /// An upright line with a word.
    pub marks: Vec<(f64, String)>,
    /// A shaded stretch of the level axis.
    pub band: Option<[f64; 2]>,
    /// Where the upright axis begins where all values are above it; 0 without.
    pub floor: Option<f64>,
    /// Names in place of numbers below the level axis.
    pub names: Vec<(f64, String)>,
}

/// One curve.
#[derive(Clone, Debug, Default)]
pub struct Curve {
    /// In the legend; empty for a curve that needs none.
    pub name: String,
    /// Where, and how high; absent where it could not be measured. From left to right.
    pub points: Vec<(f64, Option<f64>)>,
}

/// The chart as SVG, every label inside.
pub fn svg(chart: &Chart) -> String {
    let sheet = Sheet::new(chart);
    canvas::svg(sheet.size(), |canvas| sheet.paint(canvas))
}

struct Sheet<'a> {
    chart: &'a Chart,
    from: f64,
    to: f64,
    low: f64,
    high: f64,
    bent: bool,
}

impl<'a> Sheet<'a> {
    fn new(chart: &'a Chart) -> Self {
        let points = || chart.curves.iter().flat_map(|curve| &curve.points);
        let (from, to) = points().fold((f64::INFINITY, f64::NEG_INFINITY), |(from, to), (x, _)| {
            (from.min(*x), to.max(*x))
        });
        let (from, to) = if chart.names.is_empty() {
            (from, to)
        } else {
            (from - 0.5, to + 0.5)
        };
        let heights = || {
            points()
                .filter_map(|(_, y)| *y)
                .chain(chart.limits.iter().map(|limit| limit.1))
        };
        let low = heights().fold(chart.floor.unwrap_or(0.0), f64::min);
        let top = heights().fold(low, f64::max);
        let top = if top > low { top } else { low + 1.0 };
        let step = nice((top - low) / 5.0);
        let high = (top * 1.04 / step).ceil() * step;
        let least = chart
            .limits
            .iter()
            .map(|limit| limit.1)
            .fold(f64::INFINITY, f64::min);
        Self {
            chart,
            from: if from.is_finite() { from } else { 0.0 },
            to: if to > from { to } else { from + 1.0 },
            low: (low / step).floor() * step,
            high,
            bent: low >= 0.0 && least > 0.0 && least < high * LOW,
        }
    }

    fn x(&self, value: f64) -> f64 {
        LEFT + WIDE * (value - self.from) / (self.to - self.from)
    }

    fn y(&self, value: f64) -> f64 {
        let share = (value.clamp(self.low, self.high) - self.low) / (self.high - self.low);
        TOP + HIGH * (1.0 - if self.bent { share.sqrt() } else { share })
    }

    fn below(&self) -> f64 {
        let names = self.chart.names.iter().map(|(_, name)| canvas::width(name, TEXT));
        names.fold(18.0, f64::max) + 34.0
    }

    fn size(&self) -> [f64; 2] {
        let head = canvas::width(&self.chart.title, 16.0)
            .max(self.legend_end())
            .max(canvas::width(&self.note(), TEXT));
        [(LEFT + WIDE).max(LEFT + head) + RIGHT, TOP + HIGH + self.below()]
    }

    fn legend_end(&self) -> f64 {
        let named = self.chart.curves.iter().filter(|curve| !curve.name.is_empty());
        named.map(|curve| canvas::width(&curve.name, TEXT) + 46.0).sum()
    }

    fn note(&self) -> String {
        match (self.chart.note.is_empty(), self.bent) {
            (_, false) => self.chart.note.clone(),
            (false, true) => format!("{}; heights by the square root", self.chart.note),
            (true, true) => "heights by the square root".into(),
        }
    }

    fn paint(&self, sheet: &mut Canvas) {
        sheet.word(&self.chart.title, [LEFT, 18.0], 16.0, INK, Hang::Start);
        sheet.word(&self.note(), [LEFT, 38.0], TEXT, INK, Hang::Start);
        if !self.chart.unit.is_empty() {
            sheet.word(&self.chart.unit, [LEFT - 8.0, TOP - 14.0], TEXT, INK, Hang::End);
        }
        if let Some([from, to]) = self.chart.band {
            sheet.block([[self.x(from), TOP], [self.x(to), TOP + HIGH]], THIRD.mix(0.16));
        }
        self.axes(sheet);
        for (number, curve) in self.chart.curves.iter().enumerate() {
            self.curve(sheet, number, curve);
        }
        for ([from, to], height) in &self.chart.limits {
            sheet.dashes([self.x(*from), self.y(*height)], self.x(*to), INK);
        }
        self.marks(sheet);
        self.legend(sheet);
    }

    fn axes(&self, sheet: &mut Canvas) {
        let floor = TOP + HIGH;
        for tick in self.heights() {
            let y = self.y(tick);
            sheet.block([[LEFT, y - 0.25], [LEFT + WIDE, y + 0.25]], BLACK.mix(0.10));
            sheet.word(&words::number(tick), [LEFT - 8.0, y], TEXT, INK, Hang::End);
        }
        sheet.line([LEFT, floor], [LEFT + WIDE, floor], FAINT, 1.0);
        sheet.line([LEFT, TOP], [LEFT, floor], FAINT, 1.0);
        if self.chart.names.is_empty() {
            let step = nice((self.to - self.from) / 12.0);
            let mut tick = (self.from / step).ceil() * step;
            while tick <= self.to + step * 1e-6 {
                let (x, word) = (self.x(tick), words::number(tick));
                sheet.line([x, floor], [x, floor + 4.0], FAINT, 1.0);
                let half = canvas::width(&word, TEXT) / 2.6;
                sheet.word(&word, [x - half, floor + 13.0], TEXT, INK, Hang::Start);
                tick += step;
            }
        }
        for (x, name) in &self.chart.names {
            sheet.word(name, [self.x(*x), floor + 8.0], TEXT, INK, Hang::UpwardsEnd);
        }
        sheet.word(
            &self.chart.across,
            [LEFT, floor + self.below() - 12.0],
            TEXT,
            INK,
            Hang::Start,
        );
    }

    fn heights(&self) -> Vec<f64> {
        if self.bent {
            let mut ticks = vec![0.0];
            ticks.extend((1..5).map(|n| nice(self.high * (f64::from(n) / 5.0).powi(2))));
            ticks.retain(|tick| *tick < self.high * 0.85);
            ticks.dedup();
            ticks.push(self.high);
            return ticks;
        }
        let step = nice((self.high - self.low) / 6.0);
        let count = ((self.high - self.low) / step + 1e-6) as i32;
        (0..=count)
            .map(|tick| self.low + f64::from(tick) * step)
            .collect()
    }

    fn curve(&self, sheet: &mut Canvas, number: usize, curve: &Curve) {
        let mut run: Vec<[f64; 2]> = Vec::new();
        let flush = |sheet: &mut Canvas, run: &mut Vec<[f64; 2]>| {
            if run.len() > 1 {
                sheet.path(run, colour(number), 1.6);
            }
            run.clear();
        };
        for (x, height) in &curve.points {
            match height {
                Some(height) => run.push([self.x(*x), self.y(*height)]),
                None => flush(sheet, &mut run),
            }
        }
        flush(sheet, &mut run);
        let sparse = curve.points.len() <= 60;
        for (at, (x, height)) in curve.points.iter().enumerate() {
            // On a close curve every sixth point has a mark, so that curves differ without colour too.
            if let Some(height) = height.filter(|_| sparse || at % 6 == 2 * number) {
                mark(sheet, number, [self.x(*x), self.y(height)]);
            }
        }
    }

    fn marks(&self, sheet: &mut Canvas) {
        for (x, word) in &self.chart.marks {
            let at = self.x(*x);
            sheet.line([at, TOP - 4.0], [at, TOP + HIGH], OVER, 1.2);
            let hang = if at > LEFT + 0.7 * WIDE {
                Hang::End
            } else {
                Hang::Start
            };
            let aside = if at > LEFT + 0.7 * WIDE { -5.0 } else { 5.0 };
            sheet.word(word, [at + aside, TOP + 6.0], TEXT, INK, hang);
        }
    }

    fn legend(&self, sheet: &mut Canvas) {
        let mut x = LEFT;
        for (number, curve) in self
            .chart
            .curves
            .iter()
            .enumerate()
            .filter(|(_, curve)| !curve.name.is_empty())
        {
            sheet.line([x, 58.0], [x + 22.0, 58.0], colour(number), 1.6);
            mark(sheet, number, [x + 11.0, 58.0]);
            sheet.word(&curve.name, [x + 28.0, 58.0], TEXT, INK, Hang::Start);
            x += 46.0 + canvas::width(&curve.name, TEXT);
        }
    }
}

fn colour(number: usize) -> RGBColor {
    [WITHIN, OVER, THIRD][number % 3]
}

/// A dot, a lozenge, a small block: unlike each other also without colour.
fn mark(sheet: &mut Canvas, number: usize, at: [f64; 2]) {
    let [x, y] = at;
    match number % 3 {
        0 => sheet.dot(at, 2.6, WITHIN),
        1 => sheet.lozenge(at, 4.2, OVER),
        _ => sheet.block([[x - 2.6, y - 2.6], [x + 2.6, y + 2.6]], THIRD.mix(1.0)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart() -> Chart {
        let points = |scale: f64| {
            (0..=12)
                .map(|n| (f64::from(n) * 10.0, Some(scale * f64::from(n * n))))
                .collect()
        };
        Chart {
            title: "Skin shows <through>".into(),
            across: "hip flexion, degrees".into(),
            unit: "cm²".into(),
            curves: vec![
                Curve {
                    name: "A".into(),
                    points: points(1.0),
                },
                Curve {
                    name: "B".into(),
                    points: points(0.5),
                },
            ],
            limits: vec![([0.0, 45.0], 1.0), ([45.0, 120.0], 8.0)],
            marks: vec![(31.0, "from 31°".into())],
            band: Some([60.0, 70.0]),
            ..Chart::default()
        }
    }

    #[test]
    fn a_chart_is_svg_with_its_words_escaped() {
        let text = svg(&chart());
        assert!(canvas::tree(&text).is_some());
        assert!(text.contains("from 31°") && text.contains("&lt;through&gt;"));
        crate::report::sample::save("chart.png", &crate::report::plot::png(&text));
    }

    #[test]
    fn a_curve_of_one_point_or_none_is_drawn_too() {
        for points in [vec![], vec![(0.0, Some(1.0))], vec![(0.0, None)]] {
            let chart = Chart {
                curves: vec![Curve {
                    name: String::new(),
                    points,
                }],
                ..Chart::default()
            };
            assert!(canvas::tree(&svg(&chart)).is_some());
        }
    }
}
