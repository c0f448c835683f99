//! The speed workload: a body, trousers, and 32 poses of their joints.

use gusset::demo::{BodyShape, Kind, Pattern, body, garment};
use gusset::fitting::{Dressed, Frame, Sequence, joints_at};
use gusset::outcome::Demand;
use gusset::pose;
use gusset::rig::surface::Surface;
use gusset::wardrobe::{Outfit, dress, dress_rigs};
use nalgebra::Matrix4;
use std::path::Path;

pub(crate) struct Workload {
    pub(crate) name: &'static str,
    pub(crate) dressed: Dressed,
    pub(crate) body: Surface,
    pub(crate) cloth: Surface,
    pub(crate) sequence: Sequence,
    pub(crate) frames: Vec<Frame>,
    /// World matrices of the body's joints, one for each pose; the last is the hardest.
    pub(crate) world: Vec<Vec<Matrix4<f64>>>,
}

impl Workload {
    pub(crate) fn load() -> Self {
        let beside = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/rigs");
        let rigs = std::env::var_os("GUSSET_RIGS").map_or_else(beside, Into::into);
        let outfit = Outfit {
            body: Some(rigs.join("synthetic/body.glb")),
            garment: rigs.join("synthetic/trousers.glb"),
            ..Outfit::default()
        };
        if let Ok(dressed) = dress(&outfit) {
            let sequence = Sequence::of_clip(0, &dressed.rig.clips[0], Demand::Hard);
            return Self::new("synthetic pair", dressed, sequence);
        }
        let wearer = body(&BodyShape::woman("wren"));
        let mut pattern = Pattern::new("trousers", Kind::SlimTrousers);
        pattern.grain /= 2.0;
        let trousers = garment(&wearer, &pattern);
        let dressed = dress_rigs(wearer.rig(), trousers.rig().clone());
        let poses = pose::all();
        let mut sequence = Sequence::from(&poses[0]);
        sequence.frames = poses
            .iter()
            .map(|pose| Frame::Angles(pose.frames[0].clone()))
            .collect();
        Self::new("invented pair", dressed, sequence)
    }

    fn new(name: &'static str, dressed: Dressed, sequence: Sequence) -> Self {
        let frames = sequence.frames.clone();
        Self {
            name,
            body: dressed.body.surface.clone(),
            cloth: dressed.layers[0].surface.clone(),
            world: frames.iter().map(|frame| joints_at(&dressed, frame)).collect(),
            frames,
            sequence,
            dressed,
        }
    }
}

/// The same surfaces as built with twice, four and eight times the triangles.
pub(crate) struct Finer {
    pub(crate) body: (Vec<[f32; 3]>, Vec<[u32; 3]>),
    pub(crate) cloth: (Vec<[f32; 3]>, Vec<[u32; 3]>),
}

impl Finer {
    pub(crate) fn new(work: &Workload) -> Self {
        // Half a thigh's width aside, so that there is something to cross.
        let aside = |p: &[f32; 3]| [p[0] + 0.01, p[1], p[2]];
        Self {
            body: (work.body.positions.clone(), work.body.triangles.clone()),
            cloth: (
                work.cloth.positions.iter().map(aside).collect(),
                work.cloth.triangles.clone(),
            ),
        }
    }

    /// Cuts every triangle in two across its longest side.
    pub(crate) fn halve(&mut self) {
        for (positions, triangles) in [&mut self.body, &mut self.cloth] {
            let old = std::mem::take(triangles);
            for corners in old {
                let at = corners.map(|v| positions[v as usize]);
                let long = |k: usize| {
                    (0..3)
                        .map(|axis| (at[k][axis] - at[(k + 1) % 3][axis]).powi(2))
                        .sum::<f32>()
                };
                let k = (0..3).max_by(|&i, &j| long(i).total_cmp(&long(j))).unwrap();
                let [a, b, c] = [corners[k], corners[(k + 1) % 3], corners[(k + 2) % 3]];
                let middle = std::array::from_fn(|axis| (at[k][axis] + at[(k + 1) % 3][axis]) / 2.0);
                let new = positions.len() as u32;
                positions.push(middle);
                triangles.extend([[a, new, c], [new, b, c]]);
            }
        }
    }
}
