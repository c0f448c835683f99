//! Which shape does a mesh have before it is skinned?

use super::Rig;

/// Adds morph targets to the shape of a rig, by name; those not named keep the file's own weight.
pub fn morph(rig: &mut Rig, wanted: &[(String, f64)]) {
    for mesh in &mut rig.meshes {
        for target in &mesh.morphs {
            let named = wanted.iter().position(|(name, _)| *name == target.name);
            let weight = named.map_or(target.weight, |at| wanted[at].1);
            if weight == 0.0 {
                continue;
            }
            for (position, delta) in mesh.positions.iter_mut().zip(&target.deltas) {
                for (value, by) in position.iter_mut().zip(delta) {
                    *value = to_f32(f64::from(*value) + weight * f64::from(*by));
                }
            }
        }
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "positions are kept in f32 (DESIGN 2)"
)]
fn to_f32(value: f64) -> f32 {
    value as f32
}
