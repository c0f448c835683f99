//! Seen is seen: is the skin that the product calls seen what a picture count finds?
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/flat.rs"]
mod flat;
#[path = "support/rigs.rs"]
mod support;

use flat::{Mesh, Parts, Scene};
use gusset::contact::{Moment, Scratch};
use gusset::demo::scenario;
use gusset::fitting::{Dressed, Sequence, joints_at, meet};
use gusset::pose;
use gusset::wardrobe::{Outfit, dress};
use std::path::Path;
use std::collections::{HashMap, HashSet};

const SHOWS: f64 = 0.05;

fn env(name: &str, default: f64) -> f64 {
    std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(default)
}

fn explore(name: &str, dressed: &Dressed, poses: &[(&str, &[usize])]) {
    let grain = env("GRAIN", 0.1) * 1e-4;
    let pixel = env("PIXEL", 1.0) * 1e-3;
    let directions = flat::directions(env("DIRS", 200.0) as usize);
    let skin = &dressed.layers[0].skin;
    let layer = &dressed.layers[0];
    let body = Mesh { positions: &layer.body_as_built, triangles: &dressed.body.surface.triangles };
    let mut covered = vec![false; body.triangles.len()];
    for &t in &skin.points.triangle { covered[t as usize] = true; }
    let parts = Parts::new(body, grain, |t| covered[t]);
    let cloths: Vec<Vec<[u32;3]>> = dressed.layers.iter().map(|l| l.surface.triangles.iter().zip(&l.tags).filter(|(_,t)| **t != 0).map(|(t,_)| *t).collect()).collect();
    let capped: Vec<(Vec<[u32;3]>, Vec<Vec<u32>>)> = dressed.layers.iter().zip(&cloths).map(|(l,t)| (t.clone(), loops(&l.surface.positions, t))).collect();
    println!("{name} loops {:?}", capped.iter().map(|c| c.1.iter().map(Vec::len).collect::<Vec<_>>()).collect::<Vec<_>>());
    let start = std::time::Instant::now();
    let built = Scene { body, worn: dressed.layers.iter().zip(&cloths).map(|(l,t)| Mesh { positions: &l.surface.positions, triangles: t }).collect() };
    let as_built = flat::weights(&built, &parts, &directions, pixel);
    let built_areas = parts.areas(body);
    let took = start.elapsed();
    let spot: Vec<Option<usize>> = (0..skin.points.len()).map(|p| {
        let b = skin.points.barycentric[p];
        parts.at(skin.points.triangle[p] as usize, [b[1], b[2]])
    }).collect();
    let open: f64 = as_built.iter().zip(&built_areas).filter(|(w,_)| **w > SHOWS).map(|(_,a)| a).sum::<f64>()*1e4;
    println!("{name}: {} parts, covered {:.0} cm2, shows as built {:.1}; built in {took:?}", parts.triangle.len(), built_areas.iter().sum::<f64>()*1e4, open);
    let only_pose = std::env::var("POSE").unwrap_or_default();
    for (pose_name, frames) in poses {
        if !pose_name.contains(&only_pose) { continue; }
        let pose = pose::all().iter().find(|p| p.name == *pose_name).unwrap();
        let sequence = Sequence::from(pose);
        if let Some(m) = gusset::fitting::missing_bones(dressed, &sequence) { println!("  {pose_name}: {m}"); continue; }
        for &frame in *frames {
            let world = joints_at(dressed, &sequence.frames[frame]);
            let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
            let moment: Moment = meet(dressed, &world, &mut scratch);
            let body = Mesh { positions: &moment.posed_body.positions, triangles: &dressed.body.surface.triangles };
            let scene = Scene { body, worn: moment.worn.iter().zip(&cloths).map(|(p,t)| Mesh { positions: &p.positions, triangles: t }).collect() };
            let start = std::time::Instant::now();
            let now = flat::weights(&scene, &parts, &directions, pixel);
            let took = start.elapsed();
            let areas = parts.areas(body);
            let shows: Vec<bool> = (0..now.len()).map(|p| now[p] > SHOWS && as_built[p] <= SHOWS).collect();
            let picture: f64 = (0..now.len()).filter(|&p| shows[p]).map(|p| areas[p]).sum::<f64>()*1e4;
            let picture_built: f64 = (0..now.len()).filter(|&p| shows[p]).map(|p| built_areas[p]).sum::<f64>()*1e4;
            // product
            let (mut sums, mut posed_sum) = ([0.0f64; 2], 0.0);
            let mut left_out = 0.0;
            let mut mark = vec![0u8; now.len()];
            for p in 0..skin.points.len() {
                let part = spot[p].unwrap();
                if mark[part] == 0 { mark[part] = 1; }
                let (s, g) = (moment.shows(p), moment.gone[p]);
                if !s && !g { continue; }
                mark[part] = 2;
                let area = skin.points.area[p];
                sums[usize::from(g)] += area*1e4;
                let posed = area * areas[part] / built_areas[part];
                if as_built[part] > SHOWS { left_out += posed*1e4; } else { posed_sum += posed*1e4; }
            }
            let drawn: Vec<_> = moment.worn.iter().zip(&capped).map(|(p,(t,loops))| with_caps(&p.positions, t, loops)).collect();
            if std::env::var("LIST").is_ok() {
                let trees = moment.occluders();
                let normals = moment.skin_normals();
                let mut rows = Vec::new();
                for p in 0..skin.points.len() { let part = spot[p].unwrap();
                    let counted = moment.shows(p)||moment.gone[p];
                    if shows[part] && !counted && skin.to_edge[p] > 0.02 {
                        let at = moment.skin_at(p);
                        let n = gusset::contact::layer::vertex_or_face_normal(&skin.points, p, &dressed.body.surface, &normals);
                        let nl = (n[0]*n[0]+n[1]*n[1]+n[2]*n[2]).sqrt();
                        let n = n.map(|v| v/nl);
                        let (mut open, mut all) = (0.0f64, 0.0f64);
                        for d in flat::directions(2000) { let d = d.map(|v| v as f32); let c = d[0]*n[0]+d[1]*n[1]+d[2]*n[2]; if c <= 0.0 { continue; } all += f64::from(c);
                            let o: [f32;3] = std::array::from_fn(|k| at[k] + n[k]*0.02e-3);
                            if !trees.iter().any(|(t,m)| t.ray_any(o, d, 100.0, *m, None)) { open += f64::from(c); } }
                        rows.push((skin.points.area[p]*1e4, moment.outside[p]*1e3, now[part], as_built[part], open/all, p < skin.points.vertices, at));
                    } }
                println!("      {} listed, {:.2} cm2; by rays from the sample over 5 %: {:.2} cm2", rows.len(), rows.iter().map(|r| r.0).sum::<f64>(), rows.iter().filter(|r| r.4 > 0.05).map(|r| r.0).sum::<f64>());
                for r in rows.iter().step_by(1 + rows.len()/40) { println!("        area {:.3} outside {:.2} mm picture {:.3} built {:.3} rays {:.3} vertex {} at {:.3?}", r.0, r.1, r.2, r.3, r.4, r.5, r.6); }
            }
            let mut hist = [0.0f64; 8];
            for p in 0..skin.points.len() { let part = spot[p].unwrap(); if !(moment.shows(p)||moment.gone[p]) && shows[part] && moment.outside[p] > 0.2e-3 { hist[((now[part]*100.0) as usize / 2).min(7)] += skin.points.area[p]*1e4; } }
            println!("      outside, not seen, by weight in steps of 2 %: {hist:.2?}");
            if std::env::var("CAPS").is_err() { println!("      became {:.2}", (0..now.len()).filter(|&p| now[p] > SHOWS + as_built[p] && as_built[p] <= SHOWS).map(|p| areas[p]).sum::<f64>()*1e4); println!("      product {posed_sum:.2} <0.2mm {:.2} in {:.2}", 
               (0..skin.points.len()).filter(|&p| !(moment.shows(p)||moment.gone[p]) && shows[spot[p].unwrap()] && moment.outside[p] > 0.0 && moment.outside[p] < 0.2e-3).map(|p| skin.points.area[p]*1e4).sum::<f64>(),
               (0..skin.points.len()).filter(|&p| !(moment.shows(p)||moment.gone[p]) && shows[spot[p].unwrap()] && moment.outside[p] < 0.0 && skin.to_edge[p] > 0.02).map(|p| skin.points.area[p]*1e4).sum::<f64>()
             ); println!("    {took:?}"); continue; }
            let capped_scene = Scene { body, worn: drawn.iter().map(|(p,t)| Mesh { positions: p, triangles: t }).collect() };
            let capped_now = flat::weights(&capped_scene, &parts, &directions, pixel);
            let total = |f: &dyn Fn(usize)->bool| (0..now.len()).filter(|&p| f(p)).map(|p| areas[p]).sum::<f64>()*1e4;
            let prod = |f: &dyn Fn(usize)->bool| (0..skin.points.len()).filter(|&p| (moment.shows(p)||moment.gone[p]) && f(spot[p].unwrap())).map(|p| { let part=spot[p].unwrap(); skin.points.area[p] * areas[part] / built_areas[part]}).sum::<f64>()*1e4;
            let b = |p: usize| now[p] > SHOWS + as_built[p] && as_built[p] <= SHOWS;
            let c = |p: usize| capped_now[p] > SHOWS && as_built[p] <= SHOWS;
            let d = |p: usize| now[p] > SHOWS && as_built[p] <= 0.0;
            println!("      became {:.2}; capped {:.2}; both {:.2}; product {posed_sum:.2} || hidden as built: {:.2} product {:.2}; half {:.2} product {:.2}", total(&b), total(&c), total(&|p| b(p)&&c(p)), total(&d), prod(&|p| as_built[p]<=0.0), total(&|p| now[p]>SHOWS && as_built[p]<=0.025),  prod(&|p| as_built[p]<=0.025));
            // why
            let mut why = [0.0f64; 5]; let mut edges = [0.0f64;5];
            let mut extra = 0.0;
            for p in 0..skin.points.len() {
                let part = spot[p].unwrap();
                let posed = skin.points.area[p] * areas[part] / built_areas[part]*1e4;
                let counted = moment.shows(p) || moment.gone[p];
                if counted && !shows[part] && as_built[part] <= SHOWS { extra += posed; }
                if !counted && shows[part] {
                    let o = moment.outside[p];
                    let k = if o > 0.2e-3 { 0 } else if o.is_nan() { 1 } else if o > 0.0 { 2 } else if o > -0.010 { 3 } else { 4 };
                    why[k] += posed;
                    let e = skin.to_edge[p];
                    let k = if e < 0.005 {0} else if e < 0.010 {1} else if e<0.020 {2} else if e<0.040 {3} else {4};
                    edges[k] += posed;
                }
            }
            let diff = posed_sum - picture;
            let ok = diff.abs() <= (0.15*picture).max(2.0);
            println!("  {pose_name:12} {frame:2}: picture {picture:7.2} (built {picture_built:7.2}) product posed {posed_sum:7.2} [{:.2} shows + {:.2} gone as built; left out {left_out:.2}] diff {diff:+.2} {} | product only {extra:.2}; picture only: out {:.2} nan {:.2} <.2mm {:.2} in<10 {:.2} in>10 {:.2} {took:?} edges {edges:.2?}",
                sums[0], sums[1], if ok {"ok"} else {"OVER"}, why[0], why[1], why[2], why[3], why[4]);
        }
    }
}

/// Border loops, over vertices welded at the same place.
fn loops(positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> Vec<Vec<u32>> {
    let mut at = HashMap::new();
    let same: Vec<u32> = positions.iter().enumerate().map(|(n, p)| *at.entry(p.map(|v| (v * 1e6).round() as i64)).or_insert(n as u32)).collect();
    let mut sides: HashSet<(u32, u32)> = HashSet::new();
    for t in triangles { for k in 0..3 { sides.insert((same[t[k] as usize], same[t[(k + 1) % 3] as usize])); } }
    let mut next: HashMap<u32, u32> = HashMap::new();
    for &(a, b) in &sides { if !sides.contains(&(b, a)) { next.insert(a, b); } }
    let mut starts: Vec<u32> = next.keys().copied().collect();
    starts.sort_unstable();
    let mut found = Vec::new();
    for start in starts {
        let mut ring = Vec::new();
        let mut here = start;
        while let Some(to) = next.remove(&here) { ring.push(here); here = to; }
        if ring.len() > 2 { found.push(ring); }
    }
    found
}

fn with_caps(positions: &[[f32; 3]], triangles: &[[u32; 3]], loops: &[Vec<u32>]) -> (Vec<[f32; 3]>, Vec<[u32; 3]>) {
    let (mut positions, mut triangles) = (positions.to_vec(), triangles.to_vec());
    for ring in loops {
        let middle = positions.len() as u32;
        let mean = std::array::from_fn(|k| ring.iter().map(|v| positions[*v as usize][k]).sum::<f32>() / ring.len() as f32);
        positions.push(mean);
        for k in 0..ring.len() { triangles.push([ring[k], ring[(k + 1) % ring.len()], middle]); }
    }
    (positions, triangles)
}

const POSES: [(&str, &[usize]); 4] = [("sitting", &[0]), ("squat", &[0]), ("wide_stance", &[0]), ("walk", &[0, 6, 18])];

fn wear(rigs: &Path, body: &str, garment: &str) -> Dressed {
    dress(&Outfit { body: Some(rigs.join(body)), garment: rigs.join(garment), ..Outfit::default() }).unwrap()
}

#[test]
fn rigs_explore() {
    let Some(rigs) = support::rigs() else { return };
    let only = std::env::var("ONLY").unwrap_or_default();
    for (b, g) in [
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_build9.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_build0.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_defect_bleed_L_to_R.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_defect_oversmooth.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_defect_unnormalised_row.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_build9_thick.glb"),
        ("bodies/mhr_body_average.glb", "trousers/trousers_average_build9_flipped.glb"),
        ("bodies/mhr_body_slim.glb", "trousers/trousers_slim_build9.glb"),
        ("bodies/mhr_body_average_cut.glb", "trousers/trousers_average_build9.glb"),
        ("synthetic/body.glb", "synthetic/trousers.glb"),
    ] {
        if !g.contains(&only) { continue; }
        explore(&format!("{b} {g}"), &wear(&rigs, b, g), &POSES);
    }
}

#[test]
fn demo_explore() {
    let only = std::env::var("ONLY").unwrap_or_default();
    let rack = scenario();
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(format!("{name}.glb"));
    for piece in rack.bodies.iter().chain(rack.garments.iter().chain(rack.faulty.iter().map(|f| &f.1)).map(|worn| &worn.piece)) {
        std::fs::write(file(&piece.name), piece.glb()).unwrap();
    }
    for worn in rack.garments.iter().chain(rack.faulty.iter().map(|f| &f.1)) {
        if !worn.piece.name.contains(&only) { continue; }
        let dressed = dress(&Outfit {
            body: Some(file(&worn.body)),
            garment: file(&worn.piece.name),
            over: worn.over.iter().map(|name| file(name)).collect(),
            ..Outfit::default()
        });
        let dressed = match dressed { Ok(d) => d, Err(e) => { println!("{}: {e}", worn.piece.name); continue; } };
        if dressed.findings.iter().any(|f| f.severity == gusset::outcome::Severity::Stop) { println!("{}: stop", worn.piece.name); continue; }
        explore(&worn.piece.name, &dressed, &POSES);
    }
}
