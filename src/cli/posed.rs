//! `gusset posed`: a body, dressed or not, in a pose, as a file to look at elsewhere.

use super::Trouble;
use super::reading::Reading;
use gusset::contact::Scratch;
use gusset::fitting::{Sequence, joints_at};
use gusset::rig::gltf::{GlbMaterial, GlbScene, GlbSurface, glb};
use gusset::wardrobe::{Outfit, bare, dress};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The body, and a garment to put on it
    #[arg(required = true, num_args = 1..=2, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Pose by name, or a pose file
    #[arg(long, value_name = "NAME")]
    pose: String,
    /// Frame of a sequence, from 0
    #[arg(long, default_value = "0")]
    frame: usize,
    /// The GLB file to write
    #[arg(long, value_name = "FILE.glb")]
    out: PathBuf,
    /// Mesh or material that is cloth, in a file that holds more (may be repeated)
    #[arg(long, value_name = "NAME")]
    garment_mesh: Vec<String>,
    #[command(flatten)]
    reading: Reading,
}

/// Linear colours of skin and cloth: neutral grey, and a quiet green.
const SKIN: [f32; 4] = [0.45, 0.45, 0.45, 1.0];
const CLOTH: [f32; 4] = [0.10, 0.22, 0.18, 1.0];

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let sequence = Sequence::from(&super::poses::named(&arguments.pose)?);
    let Some(frame) = sequence.frames.get(arguments.frame) else {
        return Err(Trouble::Say(format!(
            "pose {} has {}, so --frame goes from 0 to {}",
            sequence.name,
            match sequence.frames.len() {
                1 => "1 frame".into(),
                count => format!("{count} frames"),
            },
            sequence.frames.len() - 1
        )));
    };
    check_out(arguments)?;
    let dressed = match arguments.files.as_slice() {
        [body] if arguments.garment_mesh.is_empty() => bare(body, &arguments.reading.options()),
        [one] => dress(&outfit(arguments, None, one)),
        files => dress(&outfit(arguments, Some(&files[0]), &files[1])),
    }
    .map_err(Trouble::say)?;
    if let Some(missing) = gusset::fitting::missing_bones(&dressed, &sequence) {
        return Err(Trouble::Say(format!(
            "pose {} does not apply: {missing}",
            sequence.name
        )));
    }
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    scratch.pose(&dressed.body, &dressed.layers, &joints_at(&dressed, frame));
    let mut scene = GlbScene {
        materials: [("skin", SKIN), ("cloth", CLOTH)]
            .map(|(name, colour)| GlbMaterial {
                name: name.into(),
                colour,
                picture: None,
            })
            .to_vec(),
        ..GlbScene::default()
    };
    let body = &dressed.body.surface;
    scene
        .surfaces
        .push(surface(&body.name, 0, scratch.body_positions(), &body.triangles));
    for (index, layer) in dressed.layers.iter().enumerate() {
        let cloth = &layer.surface;
        scene.surfaces.push(surface(
            &cloth.name,
            1,
            scratch.layer_positions(index),
            &cloth.triangles,
        ));
    }
    write_whole(&arguments.out, &glb(&scene))?;
    super::print(&format!(
        "{} written: {} in pose {}, frame {}\n",
        arguments.out.display(),
        body.name,
        sequence.name,
        arguments.frame
    ));
    Ok(ExitCode::SUCCESS)
}

/// A file that would replace what was read, or that no program would open by its ending, is not written.
fn check_out(arguments: &Arguments) -> Result<(), Trouble> {
    let out = &arguments.out;
    if !out
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("glb"))
    {
        return Err(Trouble::Say(format!(
            "{}: what is written is a GLB file, so --out must end in .glb",
            out.display()
        )));
    }
    let same = |file: &PathBuf| matches!((file.canonicalize(), out.canonicalize()), (Ok(a), Ok(b)) if a == b);
    if arguments.files.iter().any(same) {
        return Err(Trouble::Say(format!(
            "{} is the file that is read; choose another name for --out",
            out.display()
        )));
    }
    Ok(())
}

fn outfit(arguments: &Arguments, body: Option<&PathBuf>, garment: &Path) -> Outfit {
    Outfit {
        body: body.cloned(),
        garment: garment.to_owned(),
        garment_meshes: arguments.garment_mesh.clone(),
        options: arguments.reading.options(),
        ..Outfit::default()
    }
}

fn surface(name: &str, material: usize, positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> GlbSurface {
    GlbSurface {
        name: name.to_owned(),
        material,
        positions: positions.to_vec(),
        triangles: triangles.to_vec(),
        ..GlbSurface::default()
    }
}

/// Written beside and renamed: the file is there whole or not at all.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Trouble> {
    let name = path
        .file_name()
        .map_or_else(|| "out".into(), |name| name.to_string_lossy().into_owned());
    let beside = path.with_file_name(format!(".{name}.gusset-writing"));
    let done = std::fs::write(&beside, bytes).and_then(|()| std::fs::rename(&beside, path));
    done.map_err(|error| {
        let _ = std::fs::remove_file(&beside);
        Trouble::Say(format!(
            "{} cannot be written: {error}; check the folder and the space on the disk",
            path.display()
        ))
    })
}
