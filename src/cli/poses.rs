//! `gusset poses`: what the library holds, and whether a pose file is right.

use super::Trouble;
use gusset::pose::{self, Pose, ranges};
use std::fmt::Write;
use std::io::Read;
use std::path::Path;
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Names of the library, or pose files; without any, the whole library in a list
    #[arg(value_name = "NAME")]
    names: Vec<String>,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    if arguments.names.is_empty() {
        let mut text = String::new();
        for pose in pose::all() {
            check(pose)?;
            let _ = writeln!(
                text,
                "{:<22} {:<8} {:>3}  {}",
                pose.name,
                demand(pose),
                frames(pose),
                pose.about
            );
        }
        super::print(&format!(
            "{text}\n{} poses and sequences, all within published joint ranges or marked.\n",
            pose::all().len()
        ));
        return Ok(ExitCode::SUCCESS);
    }
    let mut text = String::new();
    for name in &arguments.names {
        let pose = named(name)?;
        check(&pose)?;
        describe(&mut text, &pose);
    }
    super::print(&text);
    Ok(ExitCode::SUCCESS)
}

/// A pose of the library, or the file of that path.
pub(super) fn named(name: &str) -> Result<Pose, Trouble> {
    let is_file = ["yaml", "yml"]
        .iter()
        .any(|ending| Path::new(name).extension().is_some_and(|own| own == *ending));
    if !is_file {
        return Ok(pose::find(name)?);
    }
    let bytes = start_of(Path::new(name)).map_err(|error| {
        Trouble::Say(format!(
            "{name}: the pose file cannot be read: {error}; check the path"
        ))
    })?;
    let pose = pose::parse(bytes, name)?;
    check(&pose)?;
    Ok(pose)
}

/// The bytes of a regular file, and no more than is needed to see that it is too long for a pose.
fn start_of(path: &Path) -> std::io::Result<Vec<u8>> {
    const MOST_BYTES: u64 = 1 << 20;
    if !path.metadata()?.is_file() {
        return Err(std::io::Error::other("this is a folder, a device or a pipe"));
    }
    let mut bytes = Vec::new();
    std::fs::File::open(path)?
        .take(MOST_BYTES)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// A pose outside published ranges is refused unless it says so itself.
fn check(pose: &Pose) -> Result<(), Trouble> {
    let outside = ranges::check(pose);
    match outside.first() {
        Some(first) if !pose.beyond_range => Err(Trouble::Say(format!(
            "pose {}: {} {} is {:.0} degrees, beyond {:.0} to {:.0} ({}); lower it, or write `beyond_range: true` if it is meant",
            pose.name,
            first.bone.name(),
            first.motion,
            first.value_deg,
            first.least_deg,
            first.most_deg,
            first.source
        ))),
        _ => Ok(()),
    }
}

fn demand(pose: &Pose) -> &'static str {
    gusset::report::words::demand(pose.demand)
}

fn frames(pose: &Pose) -> usize {
    pose.frames.len()
}

fn describe(text: &mut String, pose: &Pose) {
    let _ = writeln!(
        text,
        "{}: {}\n  {}, {} frame(s)",
        pose.name,
        pose.about,
        demand(pose),
        frames(pose)
    );
    for basis in &pose.basis {
        let _ = writeln!(text, "  basis: {basis}");
    }
    for frame in pose.frames.iter().take(1) {
        for (bone, angles) in &frame.angles {
            match angles {
                pose::Angles::Bind => {
                    let _ = writeln!(text, "  {:<16} as bound", bone.name());
                }
                pose::Angles::Set(set) => {
                    let list: Vec<String> = set
                        .iter()
                        .map(|(motion, angle)| format!("{motion} {:.1}", angle.to_degrees()))
                        .collect();
                    let _ = writeln!(text, "  {:<16} {}", bone.name(), list.join(", "));
                }
            }
        }
    }
}
