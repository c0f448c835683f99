//! The three pictures of a spot card: the place outlined, the same place as built, and where it is on the figure.

use super::camera::{Camera, bounds_of, dot, sub};
use super::picture::{Image, PAPER, draw};
use super::raster::{Buffer, FINE, Frame};
use super::scene::{AsBuilt, Focus, Posed, Scene};
use super::stills::{self, Still};

/// Which of the three it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The place outlined, in its worst frame.
    Place,
    /// The same as built, through the same camera carried along with the cloth.
    AsBuilt,
    /// Where it is on the wearer.
    Figure,
}

impl Part {
    /// In file names.
    pub fn word(self) -> &'static str {
        match self {
            Self::Place => "outlined",
            Self::AsBuilt => "as_built",
            Self::Figure => "figure",
        }
    }
}

/// The card's place on the page: which spot of the fitting, and which of its pictures.
pub type OfCard = (usize, Part);

const PICTURE: [u32; 2] = [400, 400];
const FIGURE: [u32; 2] = [200, 260];
/// Half of what a picture shows at least and at most, metres.
const HALF: [f32; 2] = [0.08, 0.3];
/// Room round the place, times its own size.
const ROOM: f32 = 1.35;
/// What lies this close to the nearest surface belongs to what is seen: fabric just under the skin that shows, metres.
const UNDER: f32 = 0.03;

/// The pictures of a scene that shows a spot; nothing of one that does not.
pub fn of_scene(scene: &Scene) -> Vec<Still> {
    let Some(spot) = &scene.spot else {
        return Vec::new();
    };
    let built = &spot.as_built;
    let mut pictures = Vec::new();
    let posed = scene.focus.first().map(|focus| (focus, &scene.garments[0]));
    let half = half(built, &spot.triangles);
    if let Some((focus, cloth)) = posed {
        let shapes = stills::shapes(&scene.body, &scene.garments);
        let bounds = bounds_of(scene.body.positions.iter().chain(&cloth.positions));
        let (camera, seen_from) = stills::close_up(&shapes, bounds, focus, half);
        let camera = centred(camera, cloth, &spot.triangles, half);
        let mut image = draw(&shapes, &camera, PICTURE, PAPER);
        outline(&mut image, &camera, &shapes, cloth, &spot.triangles);
        let bar_cm = bar(&mut image, &camera);
        let caption = format!("Outlined where it fails, {seen_from}; the tape is {bar_cm} cm long.");
        pictures.push(stills::still(
            scene,
            (image, camera),
            Some((spot.number, Part::Place)),
            caption,
        ));
    }
    pictures.push(as_built(scene, built, half));
    if let Some((focus, cloth)) = posed {
        let shapes = stills::shapes(&scene.body, &scene.garments);
        let bounds = bounds_of(scene.body.positions.iter().chain(&cloth.positions));
        let view = stills::best_view(&shapes, bounds, focus);
        let camera = view.around(bounds);
        let mut image = draw(&shapes, &camera, FIGURE, PAPER);
        image.ring(&camera, focus.position, 11.0);
        let caption = format!("Where it is, seen {}.", view.in_words());
        pictures.push(stills::still(
            scene,
            (image, camera),
            Some((spot.number, Part::Figure)),
            caption,
        ));
    }
    pictures
}

fn as_built(scene: &Scene, built: &AsBuilt, half: f32) -> Still {
    let number = scene.spot.as_ref().map_or(0, |spot| spot.number);
    let triangles = scene.spot.as_ref().map_or(&[][..], |spot| &spot.triangles);
    let shapes = stills::shapes(&built.body, &built.garments);
    let bounds = bounds_of(built.body.positions.iter().chain(&built.garments[0].positions));
    let (camera, seen_from) = stills::close_up(&shapes, bounds, &built.focus, half);
    let camera = centred(camera, &built.garments[0], triangles, half);
    let mut image = draw(&shapes, &camera, PICTURE, PAPER);
    outline(&mut image, &camera, &shapes, &built.garments[0], triangles);
    let bar_cm = bar(&mut image, &camera);
    let caption = format!("The same fabric as built, {seen_from}; the tape is {bar_cm} cm long.");
    stills::still(scene, (image, camera), Some((number, Part::AsBuilt)), caption)
}

/// Half of what a picture must show for the place to fill it.
fn half(built: &AsBuilt, triangles: &[u32]) -> f32 {
    let reach = near(&built.garments[0], triangles, &built.focus)
        .map(|point| dot(sub(point, built.focus.position), sub(point, built.focus.position)).sqrt())
        .fold(0.0, f32::max);
    (ROOM * reach * 0.8).clamp(HALF[0], HALF[1])
}

/// Corners of the place that a picture of it can hold.
fn near<'a>(cloth: &'a Posed, triangles: &'a [u32], focus: &'a Focus) -> impl Iterator<Item = [f32; 3]> + 'a {
    let corners = triangles
        .iter()
        .filter_map(|&triangle| cloth.triangles.get(triangle as usize))
        .flatten();
    let points = corners.filter_map(|&vertex| cloth.positions.get(vertex as usize).copied());
    points.filter(|point| {
        let off = sub(*point, focus.position);
        dot(off, off).sqrt() < 2.0 * HALF[1]
    })
}

/// The camera with the middle of the place in the middle of the picture, where the worst point stays in it.
fn centred(camera: Camera, cloth: &Posed, triangles: &[u32], half: f32) -> Camera {
    let focus = Focus {
        position: camera.target,
        normal: camera.toward,
        say: String::new(),
    };
    let [mut low, mut high] = [[f32::INFINITY; 2], [f32::NEG_INFINITY; 2]];
    for point in near(cloth, triangles, &focus) {
        let [right, up, _] = camera.view(point);
        for (axis, value) in [right, up].into_iter().enumerate() {
            low[axis] = low[axis].min(value);
            high[axis] = high[axis].max(value);
        }
    }
    if low[0] > high[0] {
        return camera;
    }
    let shift: [f32; 2] =
        std::array::from_fn(|axis| ((low[axis] + high[axis]) / 2.0).clamp(-0.6 * half, 0.6 * half));
    let [right, up] = camera.axes();
    Camera {
        target: std::array::from_fn(|axis| {
            camera.target[axis] + right[axis] * shift[0] + up[axis] * shift[1]
        }),
        ..camera
    }
}

/// A line round the place, wherever it or what lies just before it is seen.
fn outline(
    image: &mut Image,
    camera: &Camera,
    shapes: &[super::picture::Shape],
    cloth: &Posed,
    triangles: &[u32],
) {
    let size = [image.width, image.height];
    let frame = Frame::new(camera, size);
    let mut all = Buffer::new(frame.wide * frame.high);
    for shape in shapes {
        all.fill(shape, &frame, 0);
    }
    let own: Vec<[u32; 3]> = triangles
        .iter()
        .filter_map(|&triangle| cloth.triangles.get(triangle as usize).copied())
        .collect();
    let mut place = Buffer::new(frame.wide * frame.high);
    let shape = super::picture::Shape {
        positions: &cloth.positions,
        triangles: &own,
        paint: super::picture::Paint::Plain([0; 3]),
    };
    place.fill(&shape, &frame, 0);
    let sample = |at: usize| place.triangle[at] > 0 && all.near[at] <= place.near[at] + UNDER;
    let inside: Vec<bool> = (0..size[0] as usize * size[1] as usize)
        .map(|pixel| {
            let [x, y] = [pixel % size[0] as usize, pixel / size[0] as usize];
            sample(y * FINE * frame.wide + x * FINE)
        })
        .collect();
    image.line_round(&inside);
}

/// A piece of tape at the bottom left, a block for every centimetre; says how long it is.
fn bar(image: &mut Image, camera: &Camera) -> u32 {
    let per_cm = super::raster::pixels_per_metre(camera, [image.width, image.height]) / 100.0;
    let length = if per_cm * 5.0 < 70.0 { 10 } else { 5 };
    image.tape([14.0, image.height as f32 - 20.0], per_cm, length);
    length
}
