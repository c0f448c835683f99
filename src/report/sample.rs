//! An invented run to write the outputs from: two capsules for legs, numbers made up to show every case.

use std::path::PathBuf;

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
