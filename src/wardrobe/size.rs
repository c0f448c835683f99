//! A body and its clothes brought to a size: which targets and joints it means, and whether they are there.

use super::{Outfit, WearError};
use crate::contact::Body;
use crate::rig::sized::{self, Resized, node_of};
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::Surface;
use crate::rig::{Morph, Rig};
use crate::written::nearest;
use std::path::Path;
use std::sync::Arc;

/// The names of all morph targets that are asked for.
pub(super) fn targets(outfit: &Outfit) -> Vec<&str> {
    let of_size = outfit.size.iter().flat_map(|(size, _)| &size.morphs);
    let names = outfit.morphs.iter().chain(of_size);
    names.map(|(name, _)| name.as_str()).collect()
}

/// Whether any mesh of a rig has a morph target of that name.
pub(super) fn has_target(rig: &Rig, name: &str) -> bool {
    let mut targets = rig.meshes.iter().flat_map(|mesh| &mesh.morphs);
    targets.any(|morph| morph.name == name)
}

/// What the size adds to a surface of a rig that has the outfit's own morph weights already.
pub(super) fn grow(outfit: &Outfit, rig: &Rig, surface: &mut Surface) {
    let Some((size, share)) = &outfit.size else {
        return;
    };
    let weight = |weights: &[(String, f64)], morph: &Morph| {
        let named = weights.iter().find(|(name, _)| *name == morph.name);
        named.map(|(_, weight)| *weight)
    };
    surface.growth = sized::growth(surface, rig, &|morph| {
        let now = weight(&outfit.morphs, morph).unwrap_or(morph.weight);
        weight(&size.morphs, morph).map_or(0.0, |wanted| share * (wanted - now))
    });
}

/// Brings the body's joints to the size; the clothes that are put on it afterwards follow.
///
/// # Errors
/// A joint that the body does not have.
pub(super) fn resize(outfit: &Outfit, body: &mut Body, file: &Path) -> Result<(), WearError> {
    let Some((size, share)) = outfit.size.as_ref().filter(|(size, _)| !size.joints.is_empty()) else {
        return Ok(());
    };
    known(
        size.joints.iter().map(|one| one.joint.as_str()),
        &body.skeleton,
        file,
    )?;
    let resized = Resized::new(&body.skeleton, size.joints_at(*share))
        .map_err(|missing| super::not_a_body(file, &missing.to_string()))?;
    body.sized = Some(Arc::new(resized));
    Ok(())
}

fn known<'a>(
    mut joints: impl Iterator<Item = &'a str>,
    skeleton: &Skeleton,
    file: &Path,
) -> Result<(), WearError> {
    let missing = joints.find(|joint| node_of(skeleton, joint).is_none());
    missing.map_or(Ok(()), |joint| {
        let names = skeleton.joints.iter().map(|joint| joint.name.as_str());
        Err(WearError::NoSuchSizeJoint {
            file: file.display().to_string(),
            name: joint.to_owned(),
            help: nearest(joint, names).map_or_else(
                || "`gusset rig` lists its joints".into(),
                |near| format!("did you mean `{near}`?"),
            ),
        })
    })
}
