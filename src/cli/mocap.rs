//! Motion captures as sequences: BVH files, and the clips of other wearers' glTF files.

use super::Trouble;
use gusset::fitting::{MOST_CLIP_FRAMES, Sequence};
use gusset::outcome::Demand;
use gusset::pose::capture::{Capture, of_bvh, of_clip};
use gusset::pose::{bvh, clip};
use gusset::rig::anatomy::Anatomy;
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::skeleton::Skeleton;
use gusset::wardrobe;
use std::io::Read;
use std::path::Path;

/// Every motion of a file, told in anatomical angles so that any body takes it. `rate_hz` thins a BVH capture; the clips of
/// a glTF file are tested as the body's own are.
pub(super) fn sequences(
    file: &Path,
    demand: Demand,
    rate_hz: f64,
    options: &ReadOptions,
) -> Result<Vec<Sequence>, Trouble> {
    let is_bvh = file
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("bvh"));
    let captures = if is_bvh {
        vec![(stem(file), from_bvh(file, rate_hz)?)]
    } else {
        from_gltf(file, options)?
    };
    Ok(captures
        .into_iter()
        .map(|(name, capture)| Sequence::of_capture(name, &shown(file), capture, demand))
        .collect())
}

fn from_bvh(file: &Path, rate_hz: f64) -> Result<Capture, Trouble> {
    let trouble = |error: std::io::Error| {
        Trouble::Say(format!(
            "{}: the capture cannot be read: {error}; check the path",
            file.display()
        ))
    };
    if !file.metadata().map_err(trouble)?.is_file() {
        return Err(trouble(std::io::Error::other(
            "this is a folder, a device or a pipe",
        )));
    }
    let mut bytes = Vec::new();
    let opened = std::fs::File::open(file).map_err(trouble)?;
    // One byte more than is allowed, so that a longer file is refused and not cut.
    opened
        .take(bvh::MOST_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(trouble)?;
    let bvh = bvh::parse(&bytes, &file.display().to_string()).map_err(Trouble::say)?;
    of_bvh(&bvh, rate_hz, MOST_CLIP_FRAMES).map_err(|missing| no_legs(file, &missing.to_string()))
}

fn from_gltf(file: &Path, options: &ReadOptions) -> Result<Vec<(String, Capture)>, Trouble> {
    let rig = read(file, options).map_err(Trouble::say)?;
    if rig.clips.is_empty() {
        return Err(Trouble::Say(format!(
            "{}: this file holds no clip; name a BVH file, or a glTF file with one",
            file.display()
        )));
    }
    let (skeleton, anatomy) = if rig.meshes.iter().any(|mesh| mesh.skinned) {
        let wearer = wardrobe::bare(file, options).map_err(Trouble::say)?;
        (wearer.body.skeleton, wearer.body.anatomy)
    } else {
        let skeleton = Skeleton::of_nodes(&rig);
        let anatomy = Anatomy::new(&skeleton).map_err(|missing| no_legs(file, &missing.to_string()))?;
        (skeleton, anatomy)
    };
    let of = |clip: &gusset::rig::Clip| {
        let name = if clip.name.is_empty() {
            stem(file)
        } else {
            clip.name.clone()
        };
        (name, of_clip(&rig, &skeleton, &anatomy, clip, MOST_CLIP_FRAMES))
    };
    let moving = rig.clips.iter().filter(|clip| !clip::frames(clip, 1).is_empty());
    Ok(moving.map(of).collect())
}

fn no_legs(file: &Path, missing: &str) -> Trouble {
    Trouble::Say(format!(
        "{}: {missing}, so no pose can be read from it; name its joints as VRM bones do (leftUpperLeg, leftLowerLeg ...)",
        file.display()
    ))
}

/// What a capture goes by, in promises and results.
pub(super) fn stem(file: &Path) -> String {
    file.file_stem()
        .map_or_else(|| "capture".into(), |stem| stem.to_string_lossy().into_owned())
}

fn shown(file: &Path) -> String {
    file.file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}
