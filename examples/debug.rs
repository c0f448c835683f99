use gusset::{contact::Scratch, fitting::*, *};
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let outfit = wardrobe::Outfit {
        body: Some(a[1].clone().into()),
        garment: a[2].clone().into(),
        ..Default::default()
    };
    let d = wardrobe::dress(&outfit).unwrap();
    let pose = pose::parse(std::fs::read(&a[3]).unwrap(), &a[3]).unwrap();
    let s = Sequence::from(&pose);
    let mut scratch = Scratch::new(&d.body, &d.layers);
    let w = joints_at(&d, &s.frames[0]);
    let m = meet(&d, &w, &mut scratch);
    let mut by: std::collections::BTreeMap<String, (f64, f64, f64, f64, f64)> = Default::default();
    let sk = &d.layers[0].skin;
    for p in 0..sk.points.len() {
        if m.outside[p] > 0.0002 * m.scale as f32 {
            let t = sk.points.triangle[p];
            let c = contact::samples::blend(
                sk.points.barycentric[p],
                d.body.surface.triangles[t as usize],
                &d.body.surface.positions,
            );
            let r = contact::region::words(&d.body, d.body.parts[t as usize], c);
            let e = by
                .entry(format!("{r} {}", if sk.to_edge[p] < 0.02 { "edge" } else { "" }))
                .or_default();
            let dd = m.outside[p] as f64 * 1e3;
            e.0 += sk.points.area[p] * 1e4;
            if dd > e.1 {
                e.1 = dd
            };
            if dd > 1.0 {
                e.2 += sk.points.area[p] * 1e4
            };
            if m.shows(p) {
                e.3 += sk.points.area[p] * 1e4;
            } else if m.seen[p].share > 0.0 {
                e.4 += sk.points.area[p] * 1e4;
            }
        }
    }
    for (k, v) in by {
        println!(
            "{k:30} area {:.1} depth {:.1} >1mm {:.1} seen {:.2} a bit {:.2}",
            v.0, v.1, v.2, v.3, v.4
        );
    }
}
