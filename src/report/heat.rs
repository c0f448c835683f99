//! A number over two angles: a map in colours with the line along which it meets its limit.

use super::canvas::{self, Canvas, FAINT, Hang, INK};
use super::colour::viridis;
use super::words;
use plotters::style::{Color, RGBColor, WHITE};

const TEXT: f64 = 12.0;
const LEFT: f64 = 66.0;
const TOP: f64 = 62.0;
const WIDE: f64 = 560.0;
const HIGH: f64 = 300.0;

/// What is drawn.
#[derive(Clone, Debug)]
pub struct Map {
    /// Above everything.
    pub title: String,
    /// Below the level axis.
    pub across: String,
    /// Above the upright axis.
    pub up: String,
    /// Places of the columns, rising.
    pub xs: Vec<f64>,
    /// Places of the rows, rising.
    pub ys: Vec<f64>,
    /// Row by row: the share of the limit that is used; NaN where it could not be measured.
    pub used: Vec<f64>,
}

/// Shares of a limit above this have the last colour.
const MOST: f64 = 2.0;

/// The map as SVG, every label inside.
pub fn svg(map: &Map) -> String {
    let words = canvas::width(&map.title, 16.0).max(WIDE + 110.0);
    canvas::svg([LEFT + words + 24.0, TOP + HIGH + 62.0], |sheet| map.paint(sheet))
}

/// Every level axis begins and ends at the middle of its first and last column.
fn place(values: &[f64], value: f64) -> f64 {
    let (first, last) = (
        values.first().copied().unwrap_or(0.0),
        values.last().copied().unwrap_or(1.0),
    );
    (value - first) / (last - first)
}

impl Map {
    fn x(&self, value: f64) -> f64 {
        LEFT + WIDE * place(&self.xs, value)
    }

    fn y(&self, value: f64) -> f64 {
        TOP + HIGH * (1.0 - place(&self.ys, value))
    }

    fn paint(&self, sheet: &mut Canvas) {
        sheet.word(&self.title, [LEFT, 18.0], 16.0, INK, Hang::Start);
        sheet.word(&self.up, [LEFT, 44.0], TEXT, INK, Hang::Start);
        self.cells(sheet);
        for [from, to] in contour(&self.xs, &self.ys, &self.used, 1.0) {
            let ends = [from, to].map(|[x, y]| [self.x(x), self.y(y)]);
            sheet.line(ends[0], ends[1], RGBColor(255, 255, 255), 4.0);
        }
        for [from, to] in contour(&self.xs, &self.ys, &self.used, 1.0) {
            let ends = [from, to].map(|[x, y]| [self.x(x), self.y(y)]);
            sheet.line(ends[0], ends[1], INK, 1.8);
        }
        self.axes(sheet);
        key(sheet);
    }

    /// Each gap between four values in 8 by 8 small blocks, so that the colours run evenly and the line lies on them.
    fn cells(&self, sheet: &mut Canvas) {
        const FINE: usize = 8;
        let columns = self.xs.len();
        for row in 0..self.ys.len().saturating_sub(1) {
            for column in 0..columns.saturating_sub(1) {
                let corner = |right: usize, up: usize| self.used[(row + up) * columns + column + right];
                let four = [corner(0, 0), corner(1, 0), corner(0, 1), corner(1, 1)];
                for part in 0..FINE * FINE {
                    let share = |at: usize| (at as f64 + 0.5) / FINE as f64;
                    let (u, v) = (share(part % FINE), share(part / FINE));
                    let value = (four[0] * (1.0 - u) + four[1] * u) * (1.0 - v)
                        + (four[2] * (1.0 - u) + four[3] * u) * v;
                    let at = |along: f64, from: f64, to: f64| from + (to - from) * along;
                    let half = 0.5 / FINE as f64;
                    let x = |along| self.x(at(along, self.xs[column], self.xs[column + 1]));
                    let y = |along| self.y(at(along, self.ys[row], self.ys[row + 1]));
                    // A little over its neighbours, or fine lines of paper show between them.
                    let corners = [[x(u - half), y(v + half)], [x(u + half) + 0.4, y(v - half) + 0.4]];
                    sheet.block(corners, shade(value).mix(1.0));
                }
            }
        }
    }

    fn axes(&self, sheet: &mut Canvas) {
        let floor = TOP + HIGH;
        let every = |count: usize| count.div_ceil(10).max(1);
        for value in self.xs.iter().step_by(every(self.xs.len())) {
            let (x, word) = (self.x(*value), words::number(*value));
            sheet.line([x, floor], [x, floor + 4.0], FAINT, 1.0);
            sheet.word(
                &word,
                [x - canvas::width(&word, TEXT) / 2.6, floor + 13.0],
                TEXT,
                INK,
                Hang::Start,
            );
        }
        for value in self.ys.iter().step_by(every(self.ys.len())) {
            let y = self.y(*value);
            sheet.line([LEFT - 4.0, y], [LEFT, y], FAINT, 1.0);
            sheet.word(&words::number(*value), [LEFT - 8.0, y], TEXT, INK, Hang::End);
        }
        sheet.word(&self.across, [LEFT, floor + 34.0], TEXT, INK, Hang::Start);
    }
}

fn shade(used: f64) -> RGBColor {
    if used.is_nan() {
        return RGBColor(200, 200, 200);
    }
    let [r, g, b] = viridis((used / MOST) as f32).map(|c| c.round() as u8);
    RGBColor(r, g, b)
}

fn key(sheet: &mut Canvas) {
    let (left, right) = (LEFT + WIDE + 22.0, LEFT + WIDE + 36.0);
    for step in 0..64 {
        let at = |step: f64| TOP + HIGH * (1.0 - step / 64.0);
        let corners = [
            [left, at(f64::from(step) + 1.0)],
            [right, at(f64::from(step)) + 0.4],
        ];
        sheet.block(corners, shade(MOST * (f64::from(step) + 0.5) / 64.0).mix(1.0));
    }
    let middle = TOP + HIGH / 2.0;
    sheet.block(
        [[left - 3.0, middle - 2.0], [right + 3.0, middle + 2.0]],
        WHITE.mix(1.0),
    );
    sheet.line([left - 3.0, middle], [right + 3.0, middle], INK, 1.8);
    for (y, word) in [(TOP, "2 × limit or more"), (middle, "limit"), (TOP + HIGH, "0")] {
        sheet.word(word, [right + 8.0, y], TEXT, INK, Hang::Start);
    }
}

/// Where a surface over a grid has one height: straight pieces, from end to end (marching squares; a saddle is parted
/// by its mean).
pub fn contour(xs: &[f64], ys: &[f64], values: &[f64], height: f64) -> Vec<[[f64; 2]; 2]> {
    let mut pieces = Vec::new();
    for row in 0..ys.len().saturating_sub(1) {
        for column in 0..xs.len().saturating_sub(1) {
            let value = |right: usize, up: usize| values[(row + up) * xs.len() + column + right];
            let around = [(0, 0), (1, 0), (1, 1), (0, 1)];
            let four = around.map(|(right, up)| value(right, up) - height);
            if four.iter().any(|v| !v.is_finite()) {
                continue;
            }
            let corner = |at: usize| [xs[column + around[at].0], ys[row + around[at].1]];
            let mut cuts: Vec<[f64; 2]> = Vec::new();
            for side in 0..4 {
                let (a, b) = (four[side], four[(side + 1) % 4]);
                if (a > 0.0) != (b > 0.0) {
                    let share = a / (a - b);
                    let (p, q) = (corner(side), corner((side + 1) % 4));
                    cuts.push([p[0] + (q[0] - p[0]) * share, p[1] + (q[1] - p[1]) * share]);
                }
            }
            match cuts.as_slice() {
                [a, b] => pieces.push([*a, *b]),
                [a, b, c, d] if (four.iter().sum::<f64>() > 0.0) == (four[0] > 0.0) => {
                    pieces.extend([[*a, *b], [*c, *d]])
                }
                [a, b, c, d] => pieces.extend([[*d, *a], [*b, *c]]),
                _ => {}
            }
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The contour of a plane is the straight line it must be.
    #[test]
    fn the_line_lies_where_the_limit_is_met() {
        let xs: Vec<f64> = (0..=6).map(|n| f64::from(n) * 20.0).collect();
        let ys: Vec<f64> = (0..=3).map(|n| f64::from(n) * 15.0).collect();
        let used: Vec<f64> = ys
            .iter()
            .flat_map(|y| xs.iter().map(move |x| x / 80.0 + y / 90.0))
            .collect();
        let pieces = contour(&xs, &ys, &used, 1.0);
        assert!(!pieces.is_empty());
        for [x, y] in pieces.into_iter().flatten() {
            assert!((x / 80.0 + y / 90.0 - 1.0).abs() < 1e-9, "{x} {y}");
        }
        let map = Map {
            title: "Skin shows".into(),
            across: "hip flexion, degrees".into(),
            up: "hip abduction, degrees".into(),
            xs,
            ys,
            used,
        };
        let text = svg(&map);
        assert!(canvas::tree(&text).is_some());
        crate::report::sample::save("heat.png", &crate::report::plot::png(&text));
    }
}
