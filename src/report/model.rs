//! What the page's 3-D view is made of, and how it is packed into text.
//!
//! Positions and weights in 16 bits (0.03 mm on a body), colours in 8, joint matrices whole; zlib, then base64. A surface
//! that several fittings share is packed once.

use super::camera::bounds_of;
use super::words;
use base64::Engine;
use flate2::{Compression, write::ZlibEncoder};
use serde::Serialize;
use std::io::Write;
use std::sync::Arc;

/// Joints a vertex may have in the view; of longer rows the heaviest stay.
const INFLUENCES: usize = 8;
/// Stands for "plain" among packed values.
const PLAIN: u8 = 0;

/// One fitting, to turn and to play.
#[derive(Clone, Debug)]
pub struct Model {
    /// Index into the outcome's fittings.
    pub fitting: usize,
    /// The body, the garment under test, then those beneath.
    pub surfaces: Vec<Surface>,
    /// What it can be coloured by, in step with [`Frame::values`].
    pub scales: Vec<Scale>,
    /// Poses that could be taken, in the order of the report.
    pub sequences: Vec<Sequence>,
}

/// A surface at its bind.
#[derive(Clone, Debug)]
pub struct Surface {
    /// Shown to people.
    pub name: String,
    /// Drawn grey.
    pub body: bool,
    /// Metres, glTF axes.
    pub positions: Vec<[f32; 3]>,
    /// Corners, outside out.
    pub triangles: Arc<Vec<[u32; 3]>>,
    /// By vertex: joint (index into `joints`) and weight.
    pub rows: Vec<Vec<(u16, f32)>>,
    /// Names of its joints.
    pub joints: Vec<String>,
}

/// Colours of a measure.
#[derive(Clone, Debug)]
pub struct Scale {
    /// Path of the number it belongs to.
    pub measure: String,
    /// What it shows.
    pub title: String,
    /// Index into [`Model::surfaces`].
    pub surface: usize,
    /// Values up to this are plain.
    pub bottom: f32,
    /// Outlined where it is passed.
    pub limit: Option<f32>,
    /// The value of the last colour.
    pub top: f32,
}

/// One pose.
#[derive(Clone, Debug)]
pub struct Sequence {
    /// The pose's name.
    pub pose: String,
    /// In order of time; frames may be left out.
    pub frames: Vec<Frame>,
}

/// One moment.
#[derive(Clone, Debug)]
pub struct Frame {
    /// As the report counts them.
    pub number: usize,
    /// Seconds, where it has a time.
    pub time_s: Option<f64>,
    /// By surface and joint: three rows of four, from the bind to the posed world.
    pub palettes: Vec<Vec<[[f32; 4]; 3]>>,
    /// By scale: a byte per vertex of its surface, see [`Scale::pack`].
    pub values: Vec<Vec<u8>>,
}

impl Scale {
    /// Values as bytes: 0 is plain or not measured, 1 just above the bottom, 255 the top and above.
    pub fn pack(&self, values: &[f32]) -> Vec<u8> {
        let span = (self.top - self.bottom).max(f32::MIN_POSITIVE);
        let pack = |value: &f32| {
            if value.is_nan() || *value <= self.bottom {
                PLAIN
            } else {
                (1.0 + ((value - self.bottom) / span).min(1.0) * 254.0).round() as u8
            }
        };
        values.iter().map(pack).collect()
    }
}

/// A packed text and the name it goes by in the page.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Blob {
    /// Letters and digits only.
    pub id: String,
    /// Base64 of zlib.
    pub text: String,
}

/// All models as a list for the script and the blobs it refers to.
#[derive(Clone, Debug, Default)]
pub struct Packed {
    /// JSON, safe inside a `script` element.
    pub list: String,
    /// Shapes and frames.
    pub blobs: Vec<Blob>,
}

#[derive(Serialize)]
struct ModelHead {
    fitting: usize,
    frames: String,
    /// Bytes from one frame to the next.
    stride: usize,
    surfaces: Vec<SurfaceHead>,
    scales: Vec<ScaleHead>,
    poses: Vec<PoseHead>,
}

#[derive(Clone, Serialize)]
struct SurfaceHead {
    shape: String,
    name: String,
    body: bool,
    vertices: usize,
    triangles: usize,
    /// Influences a vertex: 4 or 8.
    influences: usize,
    low: [f32; 3],
    span: [f32; 3],
    joints: Vec<String>,
}

#[derive(Serialize)]
struct ScaleHead {
    id: String,
    title: String,
    surface: usize,
    bottom: String,
    top: String,
    /// Where on the colours, 0 to 1, and in words.
    limit: Option<(f32, String)>,
}

#[derive(Serialize)]
struct PoseHead {
    key: String,
    name: String,
    /// Number and, where it has one, the time in words.
    frames: Vec<(usize, String)>,
}

/// Packs models for a page.
pub fn pack(models: &[Model]) -> Packed {
    let mut packed = Packed::default();
    let mut known: Vec<(Vec<u8>, String)> = Vec::new();
    let mut heads = Vec::new();
    for model in models {
        let surfaces = model
            .surfaces
            .iter()
            .map(|surface| {
                let (bytes, mut head) = shape(surface);
                head.shape = match known.iter().find(|(other, _)| *other == bytes) {
                    Some((_, id)) => id.clone(),
                    None => {
                        let id = format!("shape{}", known.len());
                        packed.blobs.push(blob(&id, &bytes));
                        known.push((bytes, id.clone()));
                        id
                    }
                };
                head
            })
            .collect();
        let id = format!("frames{}", model.fitting);
        let (bytes, stride) = frames(model);
        packed.blobs.push(blob(&id, &bytes));
        heads.push(ModelHead {
            fitting: model.fitting,
            frames: id,
            stride,
            surfaces,
            scales: model.scales.iter().map(scale_head).collect(),
            poses: model.sequences.iter().map(pose_head).collect(),
        });
    }
    packed.list = script_safe(&serde_json::to_string(&heads).expect("heads are lists, numbers and text"));
    packed
}

/// JSON that cannot end the element it stands in.
pub fn script_safe(json: &str) -> String {
    json.replace('<', "\\u003c")
        .replace('>', "\\u003e")
        .replace('&', "\\u0026")
}

fn blob(id: &str, bytes: &[u8]) -> Blob {
    let mut packer = ZlibEncoder::new(Vec::new(), Compression::new(6));
    let packed = packer.write_all(bytes).and_then(|()| packer.finish());
    Blob {
        id: id.to_owned(),
        text: base64::engine::general_purpose::STANDARD.encode(packed.expect("memory takes every byte")),
    }
}

/// Positions, joints, weights, corners: each as one run, aligned to its own size.
fn shape(surface: &Surface) -> (Vec<u8>, SurfaceHead) {
    let [low, high] = bounds_of(&surface.positions);
    let span: [f32; 3] = std::array::from_fn(|axis| (high[axis] - low[axis]).max(1e-6));
    let longest = surface.rows.iter().map(Vec::len).max().unwrap_or(0);
    let influences = if longest > 4 { INFLUENCES } else { 4 };
    let mut bytes = Vec::new();
    for point in &surface.positions {
        for axis in 0..3 {
            let share = ((point[axis] - low[axis]) / span[axis]).clamp(0.0, 1.0);
            bytes.extend(((share * 65535.0).round() as u16).to_le_bytes());
        }
    }
    let rows: Vec<Vec<(u16, f32)>> = surface.rows.iter().map(|row| heaviest(row, influences)).collect();
    for row in &rows {
        row.iter()
            .for_each(|(joint, _)| bytes.extend(joint.to_le_bytes()));
    }
    for row in &rows {
        let weights = row
            .iter()
            .map(|(_, weight)| (weight.clamp(0.0, 1.0) * 65535.0).round() as u16);
        weights.for_each(|weight| bytes.extend(weight.to_le_bytes()));
    }
    bytes.resize(bytes.len().next_multiple_of(4), 0);
    for corner in surface.triangles.iter().flatten() {
        bytes.extend(corner.to_le_bytes());
    }
    let head = SurfaceHead {
        shape: String::new(),
        name: words::plain(&surface.name),
        body: surface.body,
        vertices: surface.positions.len(),
        triangles: surface.triangles.len(),
        influences,
        low,
        span,
        joints: surface.joints.iter().map(|name| words::plain(name)).collect(),
    };
    (bytes, head)
}

fn heaviest(row: &[(u16, f32)], most: usize) -> Vec<(u16, f32)> {
    let mut row: Vec<(u16, f32)> = row
        .iter()
        .copied()
        .filter(|(_, weight)| weight.is_finite())
        .collect();
    row.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    row.resize(most, (0, 0.0));
    row
}

/// Every frame: the palettes of all surfaces, then the values of all scales; and how long one is.
fn frames(model: &Model) -> (Vec<u8>, usize) {
    let mut bytes = Vec::new();
    let mut stride = 0;
    for frame in model.sequences.iter().flat_map(|sequence| &sequence.frames) {
        let from = bytes.len();
        for number in frame.palettes.iter().flatten().flatten().flatten() {
            bytes.extend(number.to_le_bytes());
        }
        for values in &frame.values {
            bytes.extend(values);
        }
        bytes.resize(bytes.len().next_multiple_of(4), 0);
        stride = bytes.len() - from;
    }
    (bytes, stride)
}

fn scale_head(scale: &Scale) -> ScaleHead {
    let place = |value: f32| ((value - scale.bottom) / (scale.top - scale.bottom)).clamp(0.0, 1.0);
    let quantity = |value: f32| words::quantity(&scale.measure, f64::from(value));
    ScaleHead {
        id: scale.measure.split('.').next().unwrap_or_default().to_owned(),
        title: words::capital(&scale.title),
        surface: scale.surface,
        bottom: quantity(scale.bottom),
        top: quantity(scale.top),
        limit: scale.limit.map(|limit| (place(limit), quantity(limit))),
    }
}

fn pose_head(sequence: &Sequence) -> PoseHead {
    PoseHead {
        key: words::plain(&sequence.pose),
        name: words::capital(&words::pose(&sequence.pose)),
        frames: sequence
            .frames
            .iter()
            .map(|frame| {
                let time = frame
                    .time_s
                    .map_or_else(String::new, |s| format!("{} s", words::number(s)));
                (frame.number, time)
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use std::io::Read;

    fn unpacked(blob: &Blob) -> Vec<u8> {
        let bytes = base64::engine::general_purpose::STANDARD
            .decode(&blob.text)
            .unwrap();
        let mut out = Vec::new();
        flate2::read::ZlibDecoder::new(&bytes[..])
            .read_to_end(&mut out)
            .unwrap();
        out
    }

    #[test]
    fn a_shape_comes_back_within_a_twentieth_of_a_millimetre() {
        let model = &sample::models()[0];
        let packed = pack(std::slice::from_ref(model));
        let heads: serde_json::Value = serde_json::from_str(&packed.list).unwrap();
        let surface = &model.surfaces[1];
        let head = &heads[0]["surfaces"][1];
        let blob = packed.blobs.iter().find(|b| b.id == head["shape"]).unwrap();
        let bytes = unpacked(blob);
        let vertices = surface.positions.len();
        assert_eq!(
            bytes.len(),
            (vertices * (6 + 4 * 4)).next_multiple_of(4) + surface.triangles.len() * 12
        );
        for (vertex, position) in surface.positions.iter().enumerate() {
            for axis in 0..3 {
                let at = vertex * 6 + axis * 2;
                let share = f64::from(u16::from_le_bytes([bytes[at], bytes[at + 1]])) / 65535.0;
                let back = head["low"][axis].as_f64().unwrap() + share * head["span"][axis].as_f64().unwrap();
                assert!((back - f64::from(position[axis])).abs() < 0.05e-3);
            }
        }
    }

    #[test]
    fn a_shared_body_is_packed_once_and_names_cannot_end_the_element() {
        let mut models = sample::models();
        models.push(models[0].clone());
        models[1].fitting = 1;
        models[1].surfaces[1].name = "</script><b>".into();
        let packed = pack(&models);
        let ids: Vec<&str> = packed.blobs.iter().map(|b| b.id.as_str()).collect();
        assert_eq!(ids, ["shape0", "shape1", "frames0", "frames1"]);
        assert!(!packed.list.contains('<'));
        let heads: serde_json::Value = serde_json::from_str(&packed.list).unwrap();
        assert_eq!(heads[1]["surfaces"][1]["name"], "</script><b>");
    }

    #[test]
    fn plain_values_are_nought_and_the_top_is_the_last() {
        let scale = Scale {
            measure: "dip.p99_mm".into(),
            title: String::new(),
            surface: 1,
            bottom: 1.0,
            limit: None,
            top: 2.0,
        };
        assert_eq!(
            scale.pack(&[f32::NAN, 0.5, 1.0, 1.0001, 1.5, 2.0, 9.0]),
            [0, 0, 0, 1, 128, 255, 255]
        );
    }

    #[test]
    fn every_frame_is_as_long_as_the_stride() {
        let model = &sample::models()[0];
        let (bytes, stride) = frames(model);
        let count: usize = model.sequences.iter().map(|s| s.frames.len()).sum();
        assert!(count > 1 && bytes.len() == stride * count);
    }
}
