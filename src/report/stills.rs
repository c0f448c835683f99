//! The pictures of a scene: the whole figure from the side that shows the place, and a close-up of it.

use super::camera::{Bounds, dot, unit};
use super::canvas::{self, Hang, INK};
use super::card::{OfCard, Part};
use super::colour::{Scale, viridis};
use super::picture::{BODY, CLOTH, Camera, Image, PAPER, Paint, Shape, bounds_of, draw};
use super::raster::is_seen;
use super::scene::{Focus, Heat, Posed, Scene};
use super::{palette, words};
use plotters::style::{Color, RGBColor};
use serde::Serialize;

const FIGURE: [u32; 2] = [400, 520];
const CLOSE_UP: [u32; 2] = [400, 400];
const LEGEND: f64 = 70.0;
/// Words of the legend, pixels; the page shows the picture smaller.
const TEXT: f64 = 14.0;
/// Half of what a close-up shows, metres: about two hands.
const CLOSE: f32 = 0.13;
/// A layer beneath the garment under test.
const BENEATH: [u8; 3] = [150, 134, 118];
/// Directions to look from: round the figure in eighths, at these heights.
const ELEVATIONS: [i16; 3] = [8, -30, 40];

/// A finished picture with its words.
#[derive(Clone, Debug)]
pub struct Still {
    /// Index into the outcome's fittings.
    pub fitting: usize,
    /// The pose's name.
    pub pose: String,
    /// Frame of the pose.
    pub frame: usize,
    /// Path of the number it shows; may be empty.
    pub what: String,
    /// From where it was taken.
    pub eye: Eye,
    /// The whole figure or a close-up.
    pub close: bool,
    /// Set on the pictures of a spot card.
    pub card: Option<OfCard>,
    /// What is to be seen, and from where.
    pub caption: String,
    /// The picture in words, for who cannot see it.
    pub alt: String,
    /// The picture.
    pub image: Image,
    /// The same as a PNG file.
    pub png: Vec<u8>,
    /// In fewer colours, a third as large, for the page.
    pub small: Vec<u8>,
}

impl Still {
    /// In few colours, for a page and a folder that must stay small.
    pub fn shrink(&mut self) {
        self.small = palette::png(&self.image, 64);
        self.png.clone_from(&self.small);
    }
}

/// Where the eye of a picture is, for a view that opens there.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Eye {
    /// Unit vector from the target to the eye.
    pub toward: [f32; 3],
    /// The middle of the picture, metres.
    pub target: [f32; 3],
    /// Half of what is shown, metres.
    pub half: f32,
}

impl From<&Camera> for Eye {
    fn from(camera: &Camera) -> Self {
        Self {
            toward: camera.toward,
            target: camera.target,
            half: camera.extent[0].max(camera.extent[1]),
        }
    }
}

/// The whole figure and, where there is something to look at, a close-up of the first place.
pub fn of_scene(scene: &Scene) -> Vec<Still> {
    let shapes = shapes(&scene.body, &scene.garments);
    let bounds = bounds_of(
        std::iter::once(&scene.body)
            .chain(&scene.garments)
            .flat_map(|s| &s.positions),
    );
    let first = scene.focus.first();
    let view = first.map_or(
        View {
            azimuth: 25,
            elevation: 8,
        },
        |focus| best_view(&shapes, bounds, focus),
    );
    let camera = view.around(bounds);
    let mut figure = draw(&shapes, &camera, FIGURE, PAPER);
    for focus in &scene.focus {
        figure.ring(&camera, focus.position, 17.0);
    }
    let say = first.map_or_else(String::new, |f| sentence(&f.say));
    let words = format!("Seen {}. {say}", view.in_words());
    let mut stills = vec![still(scene, (figure, camera), None, words)];
    if let Some(focus) = first {
        let (camera, seen_from) = close_up(&shapes, bounds, focus, CLOSE);
        let picture = draw(&shapes, &camera, CLOSE_UP, PAPER);
        let words = format!("Close-up {seen_from}.");
        stills.push(Still {
            close: true,
            ..still(scene, (picture, camera), None, words)
        });
    }
    stills
}

/// A picture with its legend, where what it shows has colours, and with its words.
pub(super) fn still(
    scene: &Scene,
    (picture, camera): (Image, Camera),
    card: Option<OfCard>,
    caption: String,
) -> Still {
    let pose = words::pose(&scene.pose);
    let say = scene.focus.first().map_or_else(String::new, |f| sentence(&f.say));
    let plain = matches!(card, Some((_, Part::Figure | Part::AsBuilt)));
    let legend = heat(scene)
        .filter(|_| !plain)
        .map(|heat| legend(heat, scale_of(heat), picture.width));
    let picture = legend.into_iter().fold(picture, below);
    let alt = match card {
        None if caption.contains(&say) => format!("{pose}, frame {}. {caption}", scene.frame),
        Some((_, Part::AsBuilt)) => format!("As built. {caption} {say}"),
        _ => format!("{pose}, frame {}. {caption} {say}", scene.frame),
    };
    Still {
        fitting: scene.fitting,
        pose: scene.pose.clone(),
        frame: scene.frame,
        what: scene.what.clone(),
        eye: Eye::from(&camera),
        close: false,
        card,
        caption: caption.trim_end().into(),
        alt: words::capital(alt.trim_end()),
        png: picture.png(),
        small: palette::png(&picture, 96),
        image: picture,
    }
}

/// With a large letter first and a full stop last.
fn sentence(say: &str) -> String {
    let text = words::capital(&words::plain(say));
    let ended = text.is_empty() || text.ends_with(['.', '!', '?']);
    if ended { text } else { text + "." }
}

fn heat(scene: &Scene) -> Option<&Heat> {
    std::iter::once(&scene.body)
        .chain(&scene.garments)
        .find_map(|surface| surface.heat.as_ref())
}

fn scale_of(heat: &Heat) -> Scale {
    Scale {
        bottom: heat.bottom,
        top: heat.top,
        limit: heat.limit,
    }
}

pub(super) fn shapes<'a>(body: &'a Posed, garments: &'a [Posed]) -> Vec<Shape<'a>> {
    let colours = std::iter::once(BODY)
        .chain([CLOTH])
        .chain(std::iter::repeat(BENEATH));
    std::iter::once(body)
        .chain(garments)
        .zip(colours)
        .map(|(posed, plain)| shape(posed, plain))
        .collect()
}

fn shape(posed: &Posed, plain: [u8; 3]) -> Shape<'_> {
    let paint = match &posed.heat {
        Some(heat) => Paint::Heat {
            values: &heat.values,
            scale: scale_of(heat),
            plain,
        },
        None => Paint::Plain(plain),
    };
    Shape {
        positions: &posed.positions,
        triangles: &posed.triangles,
        paint,
    }
}

/// A direction to look from, degrees.
#[derive(Clone, Copy)]
pub(super) struct View {
    azimuth: i16,
    elevation: i16,
}

impl View {
    pub(super) fn around(self, bounds: Bounds) -> Camera {
        Camera::around(bounds, f32::from(self.azimuth), f32::from(self.elevation))
    }

    pub(super) fn in_words(self) -> String {
        let side = match (self.azimuth + 22) / 45 % 8 {
            0 => "from the front",
            1 => "from the front, the wearer's left",
            2 => "from the wearer's left",
            3 => "from behind, the wearer's left",
            4 => "from behind",
            5 => "from behind, the wearer's right",
            6 => "from the wearer's right",
            _ => "from the front, the wearer's right",
        };
        let height = match self.elevation {
            ..-20 => ", below",
            25.. => ", above",
            _ => "",
        };
        format!("{side}{height}")
    }
}

/// Every direction, the one that looks most straight at the focus first.
fn views(bounds: Bounds, focus: &Focus) -> Vec<View> {
    let normal = unit(focus.normal).unwrap_or([0.0, 0.0, 1.0]);
    let straight = |view: &View| dot(view.around(bounds).toward, normal);
    let mut views: Vec<View> = ELEVATIONS
        .into_iter()
        .flat_map(|elevation| {
            (0..8).map(move |eighth| View {
                azimuth: eighth * 45,
                elevation,
            })
        })
        .collect();
    views.sort_by(|a, b| straight(b).total_cmp(&straight(a)));
    views
}

/// The straightest direction from which nothing hides the focus; where all are hidden, the straightest.
pub(super) fn best_view(shapes: &[Shape], bounds: Bounds, focus: &Focus) -> View {
    let views = views(bounds, focus);
    views
        .iter()
        .find(|view| is_seen(shapes, &view.around(bounds), focus.position))
        .copied()
        .unwrap_or(views[0])
}

/// Straight at the focus where it is free; else the best view; else what is before it is cut away.
pub(super) fn close_up(shapes: &[Shape], bounds: Bounds, focus: &Focus, half: f32) -> (Camera, String) {
    let straight = Camera {
        clear: None,
        ..Camera::at(focus.position, focus.normal, half)
    };
    if is_seen(shapes, &straight, focus.position) {
        return (straight, "straight on".into());
    }
    let view = views(bounds, focus)
        .into_iter()
        .find(|v| is_seen(shapes, &v.around(bounds), focus.position));
    match view {
        Some(view) => {
            let toward = view.around(bounds).toward;
            (
                Camera {
                    clear: None,
                    ..Camera::at(focus.position, toward, half)
                },
                view.in_words(),
            )
        }
        None => (
            Camera {
                clear: Some(0.02),
                ..straight
            },
            "straight on, what is before it cut away".into(),
        ),
    }
}

/// A picture with the strip of its colours below; `path` is the number whose name and unit the strip has.
pub fn heat_legend(path: &str, scale: Scale, picture: Image) -> Image {
    let heat = Heat {
        measure: path.to_owned(),
        unit: words::unit(path).to_owned(),
        values: Vec::new(),
        bottom: scale.bottom,
        limit: scale.limit,
        top: scale.top,
    };
    let strip = legend(&heat, scale, picture.width);
    below(picture, strip)
}

/// A strip of the colours with the unit, the ends and the limit.
fn legend(heat: &Heat, scale: Scale, width: u32) -> Image {
    let (left, right, top) = (68.0, f64::from(width) - 82.0, 28.0);
    let place = |value: f32| left + (right - left) * f64::from(scale.place(value).unwrap_or(0.0));
    let value = |value: f32| words::quantity(&heat.measure, f64::from(value));
    let svg = canvas::svg([f64::from(width), LEGEND], |sheet| {
        let [r, g, b] = PAPER;
        sheet.block(
            [[0.0, 0.0], [f64::from(width), LEGEND]],
            RGBColor(r, g, b).mix(1.0),
        );
        // From the edge, and smaller where it is long, so that it ends on the sheet.
        let title = words::colours(&heat.measure);
        let room = f64::from(width) - 24.0;
        let size = TEXT.min(TEXT * room / (canvas::width(&title, TEXT) * 1.1).max(1.0));
        sheet.word(&title, [12.0, 14.0], size, INK, Hang::Start);
        for step in 0..96 {
            let x = |step: f64| left + (right - left) * step / 96.0;
            let [r, g, b] = viridis((step as f32 + 0.5) / 96.0).map(|c| c.round() as u8);
            sheet.block(
                [
                    [x(f64::from(step)), top],
                    [x(f64::from(step) + 1.5).min(right), top + 12.0],
                ],
                RGBColor(r, g, b).mix(1.0),
            );
        }
        sheet.word(
            &value(scale.bottom),
            [left - 6.0, top + 6.0],
            TEXT,
            INK,
            Hang::End,
        );
        sheet.word(
            &value(scale.top),
            [right + 6.0, top + 6.0],
            TEXT,
            INK,
            Hang::Start,
        );
        if let Some(limit) = scale.limit {
            let x = place(limit);
            sheet.line([x, top - 3.0], [x, top + 15.0], INK, 2.0);
            // Towards the right end the words hang to the left of the mark, so that they stay on the sheet.
            let hang = if x > left + 0.6 * (right - left) {
                Hang::End
            } else {
                Hang::Start
            };
            sheet.word(
                &format!("limit {}, outlined", value(limit)),
                [x, top + 25.0],
                TEXT,
                INK,
                hang,
            );
        }
    });
    canvas::image(&svg, 1.0).expect("the legend has a size and is SVG")
}

/// `lower` under `upper`, both of one width.
fn below(mut upper: Image, lower: Image) -> Image {
    debug_assert_eq!(upper.width, lower.width, "a legend is as wide as its picture");
    upper.rgb.extend(lower.rgb);
    upper.height += lower.height;
    upper
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_scene_gives_a_figure_and_a_close_up_that_show_the_place() {
        let scene = &sample::scenes()[0];
        let stills = of_scene(scene);
        for still in &stills {
            sample::save(&format!("still-{}.png", still.close), &still.png);
        }
        assert_eq!(stills.iter().map(|s| s.close).collect::<Vec<_>>(), [false, true]);
        assert!(
            stills[0].caption.contains("inner left thigh"),
            "{}",
            stills[0].caption
        );
        assert_eq!(stills[0].png, of_scene(scene)[0].png);
    }

    #[test]
    fn the_other_leg_is_looked_past() {
        let scene = &sample::scenes()[0];
        let shapes = shapes(&scene.body, &scene.garments);
        let bounds = bounds_of(&scene.body.positions);
        let hidden = Focus {
            position: [0.0194, 0.6, 0.03],
            normal: [-1.0, 0.0, 0.1],
            say: String::new(),
        };
        let view = best_view(&shapes, bounds, &hidden);
        assert!(
            view.azimuth != 270,
            "from the wearer's right the right leg is in the way"
        );
    }

    #[test]
    fn directions_have_words() {
        assert_eq!(
            View {
                azimuth: 180,
                elevation: -30
            }
            .in_words(),
            "from behind, below"
        );
        assert_eq!(
            View {
                azimuth: 315,
                elevation: 8
            }
            .in_words(),
            "from the front, the wearer's right"
        );
    }
}
