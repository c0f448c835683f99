//! A plot on the page: the drawing in the page's own ink, and its words.

use super::tell;
use crate::outcome::Fitting;
use crate::report::plot::Drawn;
use crate::report::words;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct PlotView {
    label: String,
    svg: String,
    wide: u32,
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
        }
    }
}
