//! A plot on the page: the drawing in the page's own ink, and its words.

use super::tell;
use crate::outcome::Fitting;
use crate::report::plot::{self, Drawn};
use crate::report::{canvas, model, words};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct PlotView {
    label: String,
    svg: String,
    wide: u32,
    /// Words of all values, `!` before what is over its limit, bars between.
    values: String,
}

const DEFAULTS: [&str; 5] = [
    " opacity=\"1\"",
    " font-family=\"sans-serif\"",
    " text-anchor=\"start\"",
    " stroke=\"none\" stroke-width=\"1\"",
    " stroke=\"none\"",
];

/// Where the values of a fitting's plots lie and which moment each is: the same for all of them.
pub(super) fn moments(drawn: Option<&Drawn>) -> String {
    let readings = drawn.map_or(&[][..], |drawn| &drawn.readings);
    let moments: Vec<(f64, &str)> = readings
        .iter()
        .map(|reading| ((reading.x * 10.0).round() / 10.0, reading.moment.as_str()))
        .collect();
    let [top, floor] = plot::SPAN;
    let all = serde_json::json!({ "fine": canvas::FINE, "top": top, "floor": floor, "moments": moments });
    model::script_safe(&all.to_string())
}

impl PlotView {
    /// The SVG takes the page's own ink, so that it reads on light and on dark paper.
    pub(super) fn new(fitting: &Fitting, drawn: &Drawn) -> Self {
        let svg = drawn.svg.replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1);
        let svg = svg
            .replace("\"#242026\"", "\"currentColor\"")
            .replace("\"#000000\"", "\"currentColor\"")
            .replace("\"#777376\"", "\"currentColor\"")
            .replace("\"#FFFFFF\"", "\"var(--card)\"");
        // What is the default anyway, or said once in the page's style.
        let svg = DEFAULTS
            .iter()
            .fold(svg, |svg, default| svg.replace(default, ""))
            .replace("\n", "");
        let body = svg.find("viewBox").map_or("", |from| &svg[from..]);
        let wide = svg.split('"').nth(1).and_then(|w| w.parse().ok()).unwrap_or(940);
        let label = format!(
            "{}. {}",
            words::title(&drawn.path),
            tell::extremes(fitting, &drawn.path)
        );
        Self {
            label,
            svg: format!("<svg aria-hidden=\"true\" {body}"),
            wide,
            values: drawn
                .readings
                .iter()
                .map(|reading| format!("{}{}", if reading.over { "!" } else { "" }, reading.value))
                .collect::<Vec<_>>()
                .join("|"),
        }
    }
}
