//! An invented run to write the outputs from: two capsules for legs, numbers made up to show every case.

use super::model::{self, Model};
use super::scene::{Focus, Heat, Posed, Scene};
use crate::outcome::{
    Demand, Finding, Fitting, FrameResult, Garment, Numbers, Outcome, Place, PoseResult, Reason,
    SCHEMA_VERSION, Severity, Sides, Verdict,
};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

/// Keeps a made file where it can be looked at, when `GUSSET_LOOK` names a folder.
pub(super) fn save(name: &str, bytes: &[u8]) {
    if let Some(folder) = std::env::var_os("GUSSET_LOOK").map(PathBuf::from) {
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join(name), bytes).unwrap();
    }
}

/// A capsule between two points, as positions and triangles with the outside out.
pub(super) fn capsule(
    from: [f32; 3],
    to: [f32; 3],
    radius: f32,
    around: u32,
) -> (Vec<[f32; 3]>, Vec<[u32; 3]>) {
    let rings = around;
    let point = |ring: u32, step: u32| {
        let share = ring as f32 / rings as f32;
        // Half of the rings lie on the two caps.
        let (centre, polar) = if share < 0.25 {
            (from, share / 0.25 * 90.0)
        } else if share > 0.75 {
            (to, 90.0 + (share - 0.75) / 0.25 * 90.0)
        } else {
            let along = (share - 0.25) / 0.5;
            (std::array::from_fn(|c| from[c] + (to[c] - from[c]) * along), 90.0)
        };
        let (polar, turn) = (
            polar.to_radians(),
            (step as f32 / around as f32 * 360.0).to_radians(),
        );
        [
            centre[0] + radius * polar.sin() * turn.cos(),
            centre[1] - radius * polar.cos(),
            centre[2] - radius * polar.sin() * turn.sin(),
        ]
    };
    let positions = (0..=rings)
        .flat_map(|ring| (0..around).map(move |step| point(ring, step)))
        .collect();
    let corner = |ring: u32, step: u32| ring * around + step % around;
    let triangles = (0..rings)
        .flat_map(|ring| {
            (0..around).flat_map(move |step| {
                let [a, b, c, d] = [
                    corner(ring, step),
                    corner(ring, step + 1),
                    corner(ring + 1, step + 1),
                    corner(ring + 1, step),
                ];
                [[a, b, c], [a, c, d]]
            })
        })
        .collect();
    (positions, triangles)
}

/// A walk through every verdict: 24 poses, one of them not applicable, one with many frames, one huge outlier.
pub(crate) fn outcome() -> Outcome {
    let names = [
        "standing",
        "build_splay",
        "wide_stance",
        "walking",
        "stairs",
        "sitting",
        "sitting_leaning_forward",
        "sitting_knees_apart",
        "cycling",
        "running",
        "bending_forward",
        "twisting",
        "arms_forward",
        "arms_up",
        "arms_wide",
        "cross_legged_on_the_floor",
        "side_split",
        "squat",
        "kneeling_on_heels",
        "lunge",
        "range_of_hip_motion",
        "range_of_knee_motion",
        "reaching",
        "stretching",
    ];
    let poses: Vec<PoseResult> = names
        .iter()
        .enumerate()
        .map(|(at, name)| pose(at, name))
        .collect();
    Outcome {
        schema_version: SCHEMA_VERSION,
        verdict: Verdict::Fail,
        caution: "gusset checks how rigged 3-D garments deform on screen; its numbers say nothing about the fit, \
                  pressure, comfort or protection of real clothing, and its joint ranges are not medical advice."
            .into(),
        limits: limits(),
        fittings: vec![Fitting {
            limits: BTreeMap::new(),
            size: None,
            spots: Vec::new(),
            body: "ash".into(),
            garments: vec![Garment {
                name: "moss-trousers".into(),
                hip_splay_deg: Sides { left: Some(9.25), right: Some(9.25) },
                covered_share: 0.46,
                over_skin_share: 0.93,
                area_cm2: 8123.4,
                ease_median_mm: Some(7.2),
            }],
            body_hip_splay_deg: Sides { left: Some(9.25), right: Some(9.25) },
            verdict: Verdict::Fail,
            reasons: reasons(),
            rig_findings: findings(),
            poses,
        }],
    }
}

fn limits() -> BTreeMap<String, BTreeMap<Demand, f64>> {
    let by_demand = |of: [f64; 3]| {
        [Demand::Upright, Demand::Seated, Demand::Hard]
            .into_iter()
            .zip(of)
            .collect()
    };
    BTreeMap::from([
        ("skin_shows.inner.area_cm2".into(), by_demand([1.0, 8.0, 60.0])),
        ("lift.area_cm2".into(), by_demand([3.0, 5.0, 10.0])),
        ("stretch.beyond_skin.p99".into(), by_demand([1.10, 1.14, 1.20])),
        ("part_contact.skin.depth_mm".into(), by_demand([2.0, 2.0, 6.0])),
    ])
}

fn pose(at: usize, name: &str) -> PoseResult {
    let demand = match name {
        "stairs" | "cycling" | "sitting" | "sitting_leaning_forward" | "sitting_knees_apart" => {
            Demand::Seated
        }
        "squat" | "side_split" | "lunge" | "cross_legged_on_the_floor" | "kneeling_on_heels" => Demand::Hard,
        _ if name.starts_with("range") => Demand::Hard,
        _ => Demand::Upright,
    };
    let missing = name == "arms_wide";
    let count = if missing {
        0
    } else if name == "walking" {
        24
    } else {
        1 + at % 3
    };
    PoseResult {
        pose: name.into(),
        about: format!("An invented pose, number {at}."),
        demand,
        verdict: match name {
            "standing" | "walking" | "sitting" => Verdict::Fail,
            "squat" | "side_split" => Verdict::Warn,
            "twisting" => Verdict::PartlyTested,
            _ if missing => Verdict::NotApplicable,
            _ => Verdict::Pass,
        },
        regions: BTreeMap::new(),
        not_applicable: missing.then(|| "the rig has no upper arms".into()),
        frames: (0..count).map(|frame| frame_result(name, at, frame)).collect(),
    }
}

fn frame_result(name: &str, at: usize, frame: usize) -> FrameResult {
    let wave = ((frame * 37 + at * 11) % 17) as f64 / 17.0;
    let skin = match name {
        "standing" => 243.0,
        "walking" => 0.2 + 3.0 * wave,
        "sitting" => 12.5 + wave,
        "squat" | "side_split" => 71.0 + wave,
        _ => 0.6 * wave,
    };
    let mut measures = Numbers::default();
    let mut put = |path: &str, value: Option<f64>| measures.values.insert(path.into(), value);
    put("skin_shows.inner.area_cm2", Some(skin));
    put(
        "skin_shows.inner.depth_mm",
        Some(if name == "standing" {
            8.6
        } else {
            skin.sqrt() / 3.0
        }),
    );
    put("lift.area_cm2", Some(0.4 + wave));
    put("stretch.beyond_skin.p99", Some(1.02 + 0.05 * wave));
    put(
        "part_contact.skin.depth_mm",
        (name != "twisting").then_some(0.3 * wave),
    );
    put("ease.median_mm", Some(7.0 - wave));
    measures
        .words
        .insert("part_contact.skin.class".into(), "no_room".into());
    FrameResult {
        frame,
        time_s: None,
        angles_deg: BTreeMap::new(),
        measures,
        worst: BTreeMap::new(),
        pairs: BTreeMap::new(),
    }
}

fn reasons() -> Vec<Reason> {
    let reason = |pose: &str, what: &str, value, limit, weight, say: &str| Reason {
        what: what.into(),
        pose: pose.into(),
        frame: 0,
        value,
        limit,
        weight,
        say: say.into(),
        place: Some(Place {
            surface: "body".into(),
            vertex: 1203,
            position_m: [0.08, 0.74, 0.03],
            region: "inner left thigh".into(),
            seen_from: "from the front, below".into(),
            seen_along: None,
        }),
    };
    let skin = "skin_shows.inner.area_cm2";
    vec![
        reason(
            "standing",
            skin,
            Some(243.0),
            Some(1.0),
            Verdict::Fail,
            "Skin shows through over 243 cm², about the size of two hands, at the inner left thigh.",
        ),
        reason(
            "walking",
            skin,
            Some(3.0),
            Some(1.0),
            Verdict::Fail,
            "Skin shows through over 3 cm² at the inner left thigh.",
        ),
        reason(
            "sitting",
            skin,
            Some(13.1),
            Some(8.0),
            Verdict::Fail,
            "Skin shows through over 13.1 cm² at the seat.",
        ),
        reason(
            "squat",
            skin,
            Some(71.9),
            Some(60.0),
            Verdict::Warn,
            "Skin shows through over 71.9 cm² at the left knee.",
        ),
        reason(
            "side_split",
            skin,
            Some(71.4),
            Some(60.0),
            Verdict::Warn,
            "Skin shows through over 71.4 cm² at the crotch.",
        ),
        reason(
            "twisting",
            "part_contact.skin.depth_mm",
            None,
            Some(2.0),
            Verdict::PartlyTested,
            "How deep fabric is inside another part could not be measured.",
        ),
    ]
}

fn findings() -> Vec<Finding> {
    let finding = |code: &str, severity, count, place: &str, say: &str, help: &str| Finding {
        code: code.into(),
        severity,
        surface: "moss-trousers".into(),
        count,
        place: place.into(),
        say: say.into(),
        help: help.into(),
    };
    vec![
        finding(
            "weight_sum",
            Severity::Fault,
            12,
            "vertex 1203",
            "Weights add up to 0.71 instead of 1.",
            "Normalise the weights of these vertices.",
        ),
        finding(
            "unlike_skin",
            Severity::Note,
            48,
            "vertex 88, left thigh",
            "Weights differ from the skin beneath.",
            "Copy the weights from the body there.",
        ),
    ]
}

/// The sample's standing and sitting as capsules: a leg with skin that comes through its trouser leg.
pub(super) fn scenes() -> Vec<Scene> {
    let leg = |side: f32, radius: f32, low: f32| capsule([side, low, 0.0], [side, 0.8, 0.0], radius, 40);
    let surface = |name: &str, radius: f32, low: f32| {
        let (mut positions, mut triangles) = leg(0.1, radius, low);
        let (right, more) = leg(-0.1, radius, low);
        let first = positions.len() as u32;
        positions.extend(right);
        triangles.extend(more.iter().map(|t| t.map(|v| v + first)));
        Posed {
            name: name.into(),
            positions,
            triangles: Arc::new(triangles),
            heat: None,
        }
    };
    let mut body = surface("body", 0.08, 0.1);
    let bump = [0.05_f32, 0.6, 0.06];
    let depth = |p: &[f32; 3]| {
        let off: f32 = (0..3).map(|c| (p[c] - bump[c]).powi(2)).sum::<f32>().sqrt();
        (0.02 - off * 0.2).max(0.0)
    };
    let values: Vec<f32> = body
        .positions
        .iter()
        .map(|p| (depth(p) - 0.006).max(0.0) * 1e3)
        .collect();
    for (point, deep) in body.positions.clone().iter().zip(body.positions.iter_mut()) {
        let out = depth(point) / 0.09;
        deep[0] += (point[0] - 0.1) * out;
        deep[2] += point[2] * out;
    }
    body.heat = Some(Heat {
        measure: "skin_shows.inner.depth_mm".into(),
        unit: "mm".into(),
        values,
        bottom: 0.0,
        limit: Some(3.0),
        top: 10.0,
    });
    let garment = surface("moss-trousers", 0.086, 0.25);
    let scene = |pose: &str| Scene {
        fitting: 0,
        pose: pose.into(),
        frame: 0,
        what: "skin_shows.inner.area_cm2".into(),
        body: body.clone(),
        garments: vec![garment.clone()],
        focus: vec![Focus {
            position: bump,
            normal: [-0.5, 0.0, 0.6],
            say: "Skin shows through at the inner left thigh.".into(),
        }],
        spot: None,
    };
    ["standing", "walking", "sitting", "squat"].map(scene).to_vec()
}

/// The sample's legs for the 3-D view: one joint that sways through the frames.
pub(super) fn models() -> Vec<Model> {
    let scene = &scenes()[0];
    let surface = |posed: &Posed, body: bool| model::Surface {
        name: posed.name.clone(),
        body,
        positions: posed.positions.clone(),
        triangles: Arc::clone(&posed.triangles),
        rows: vec![vec![(0, 1.0)]; posed.positions.len()],
        joints: vec!["hips".into()],
    };
    let surfaces = vec![surface(&scene.body, true), surface(&scene.garments[0], false)];
    let scales = vec![model::Scale {
        measure: "skin_shows.inner.depth_mm".into(),
        title: "Skin that shows through".into(),
        surface: 0,
        bottom: 0.0,
        limit: Some(3.0),
        top: 10.0,
    }];
    let values = scene.body.heat.as_ref().map_or(&[][..], |heat| &heat.values);
    let frame = |number: usize, from: f32| {
        let sway = from + number as f32 * 0.01;
        let matrix = [[1.0, 0.0, 0.0, sway], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]];
        model::Frame {
            number,
            time_s: None,
            palettes: vec![vec![matrix]; 2],
            values: vec![scales[0].pack(values)],
        }
    };
    let sequence = |pose: &str, frames: usize, from: f32| model::Sequence {
        pose: pose.into(),
        frames: (0..frames).map(|number| frame(number, from)).collect(),
    };
    let sequences = vec![sequence("standing", 1, 0.0), sequence("walking", 24, 0.1)];
    vec![Model {
        fitting: 0,
        surfaces,
        scales: scales.clone(),
        sequences,
    }]
}
