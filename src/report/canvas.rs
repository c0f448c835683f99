//! A sheet to draw lines, marks and words on, as SVG and as PNG.
//!
//! The SVG writer keeps whole pixels only, so curves would turn to stairs: everything is drawn eight times as large and
//! the header then says the real size.

use super::picture::Image;
use plotters::backend::DrawingBackend;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontTransform, register_font};
use resvg::{tiny_skia, usvg};
use std::sync::{Arc, OnceLock};

/// How much larger the sheet is drawn than it is shown.
pub(super) const FINE: f64 = 8.0;
/// The font of every label; the reader's own sans-serif takes its place in a browser.
const FONT: &[u8] = epaint_default_fonts::UBUNTU_LIGHT;
/// plotters writes a font's size divided by this.
const FONT_RATIO: f64 = 1.24;

/// Text and axes.
pub(super) const INK: RGBColor = RGBColor(0x24, 0x20, 0x26);
/// Values within the limit (Okabe and Ito's blue).
pub(super) const WITHIN: RGBColor = RGBColor(0x00, 0x72, 0xb2);
/// Values over the limit (Okabe and Ito's vermillion).
pub(super) const OVER: RGBColor = RGBColor(0xd5, 0x5e, 0x00);
/// Faint lines.
pub(super) const FAINT: RGBColor = RGBColor(0x77, 0x73, 0x76);

/// Where a word hangs: which end of it is at the given point, and whether it is read upwards.
#[derive(Clone, Copy)]
pub(super) enum Hang {
    /// Starts at the point.
    Start,
    /// Ends at the point.
    End,
    /// Read upwards, ends at the point.
    UpwardsEnd,
}

/// The sheet while it is drawn; sizes and places in the pixels it is shown with.
pub(super) struct Canvas<'a> {
    sheet: SVGBackend<'a>,
}

/// Draws on a sheet of this size and gives its SVG text.
pub(super) fn svg(size: [f64; 2], paint: impl FnOnce(&mut Canvas)) -> String {
    ensure_font();
    let [wide, high] = size.map(|s| (s * FINE) as u32);
    let mut text = String::new();
    {
        let mut canvas = Canvas {
            sheet: SVGBackend::with_string(&mut text, (wide, high)),
        };
        paint(&mut canvas);
        taken(canvas.sheet.present());
    }
    let [shown_wide, shown_high] = size.map(f64::round);
    text.replacen(
        &format!("width=\"{wide}\" height=\"{high}\""),
        &format!("width=\"{shown_wide}\" height=\"{shown_high}\""),
        1,
    )
}

/// The sheet as a picture on white, `times` as large as it is shown.
pub(super) fn image(svg: &str, times: f32) -> Option<Image> {
    let tree = tree(svg)?;
    let [width, height] = [tree.size().width(), tree.size().height()].map(|s| (s * times).round() as u32);
    let mut pixels = tiny_skia::Pixmap::new(width, height)?;
    pixels.fill(tiny_skia::Color::WHITE);
    resvg::render(
        &tree,
        tiny_skia::Transform::from_scale(times, times),
        &mut pixels.as_mut(),
    );
    let rgb = pixels
        .data()
        .chunks_exact(4)
        .flat_map(|p| [p[0], p[1], p[2]])
        .collect();
    Some(Image { width, height, rgb })
}

/// The SVG as shapes, with this tool's own font.
pub(super) fn tree(svg: &str) -> Option<usvg::Tree> {
    static FONTS: OnceLock<Arc<usvg::fontdb::Database>> = OnceLock::new();
    let fonts = FONTS.get_or_init(|| {
        let mut fonts = usvg::fontdb::Database::new();
        fonts.load_font_data(FONT.to_vec());
        fonts.set_sans_serif_family("Ubuntu");
        Arc::new(fonts)
    });
    let options = usvg::Options {
        fontdb: Arc::clone(fonts),
        ..usvg::Options::default()
    };
    usvg::Tree::from_str(svg, &options).ok()
}

/// Browsers set plots in their own sans-serif, which may run wider than the font that was measured: DejaVu Sans, the
/// usual one on Linux, by 1.26 for the words on the plots (measured).
const WIDER: f64 = 1.3;

/// How wide a word may get, in shown pixels.
pub(super) fn width(text: &str, size: f64) -> f64 {
    ensure_font();
    let font = ("sans-serif", size * FONT_RATIO * FINE).into_font();
    font.box_size(text)
        .map_or(0.0, |(wide, _)| WIDER * f64::from(wide) / FINE / FONT_RATIO)
}

fn ensure_font() {
    static ONCE: OnceLock<()> = OnceLock::new();
    ONCE.get_or_init(|| {
        let registered = register_font("sans-serif", FontStyle::Normal, FONT);
        assert!(registered.is_ok(), "the font is part of the program and is sound");
    });
}

impl Canvas<'_> {
    pub(super) fn line(&mut self, from: [f64; 2], to: [f64; 2], colour: RGBColor, thick: f64) {
        self.path(&[from, to], colour, thick);
    }

    pub(super) fn path(&mut self, points: &[[f64; 2]], colour: RGBColor, thick: f64) {
        let points = points.iter().map(|p| fine(*p));
        taken(
            self.sheet
                .draw_path(points, &colour.stroke_width((thick * FINE) as u32)),
        );
    }

    pub(super) fn dashes(&mut self, from: [f64; 2], to_x: f64, colour: RGBColor) {
        let mut x = from[0];
        while x < to_x {
            let end = (x + 5.0).min(to_x);
            self.line([x, from[1]], [end, from[1]], colour, 1.3);
            x += 8.0;
        }
    }

    pub(super) fn block(&mut self, corners: [[f64; 2]; 2], colour: RGBAColor) {
        taken(
            self.sheet
                .draw_rect(fine(corners[0]), fine(corners[1]), &colour, true),
        );
    }

    pub(super) fn dot(&mut self, at: [f64; 2], radius: f64, colour: RGBColor) {
        taken(
            self.sheet
                .draw_circle(fine(at), (radius * FINE) as u32, &colour, true),
        );
    }

    /// A lozenge: unlike a dot also without colour.
    pub(super) fn lozenge(&mut self, at: [f64; 2], half: f64, colour: RGBColor) {
        let [x, y] = at;
        let corners = [[x, y - half], [x + half, y], [x, y + half], [x - half, y]].map(fine);
        taken(self.sheet.fill_polygon(corners, &colour));
    }

    /// A triangle that points up: the value lies above the sheet.
    pub(super) fn arrow(&mut self, tip: [f64; 2], half: f64, colour: RGBColor) {
        let [x, y] = tip;
        let corners = [[x, y], [x + half, y + 2.0 * half], [x - half, y + 2.0 * half]].map(fine);
        taken(self.sheet.fill_polygon(corners, &colour));
    }

    pub(super) fn word(&mut self, text: &str, at: [f64; 2], size: f64, colour: RGBColor, hang: Hang) {
        let (across, down) = match hang {
            Hang::Start => (HPos::Left, VPos::Center),
            Hang::End | Hang::UpwardsEnd => (HPos::Right, VPos::Center),
        };
        let font = ("sans-serif", size * FONT_RATIO * FINE).into_font();
        let font = if let Hang::UpwardsEnd = hang {
            font.transform(FontTransform::Rotate270)
        } else {
            font
        };
        let style = TextStyle::from(font).color(&colour).pos(Pos::new(across, down));
        taken(self.sheet.draw_text(text, &style, fine(at)));
    }
}

fn taken<E: std::fmt::Debug>(drawn: Result<(), E>) {
    drawn.expect("a text takes every shape and the font is registered");
}

fn fine(at: [f64; 2]) -> (i32, i32) {
    ((at[0] * FINE).round() as i32, (at[1] * FINE).round() as i32)
}
