//! `gusset demo`: an invented wearer and trousers, one pair with a planted fault, and what gusset says of them.

use super::{Trouble, posed, try_on};
use gusset::demo;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Where to write the rigs and the report
    #[arg(default_value = "gusset-demo", value_name = "DIR")]
    folder: PathBuf,
    /// No progress on stderr
    #[arg(long, short)]
    quiet: bool,
}

/// The demo succeeds when it ran: its planted fault must fail, and that is what it shows.
pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let folder = &arguments.folder;
    std::fs::create_dir_all(folder).map_err(|error| {
        Trouble::Say(format!(
            "{} cannot be made: {error}; name another folder",
            folder.display()
        ))
    })?;
    let pieces = demo::quick();
    let mut files = Vec::new();
    for piece in &pieces {
        let file = folder.join(format!("{}.glb", piece.name));
        posed::write_whole(&file, &piece.glb())?;
        files.push(file);
    }
    let [body, clean, faulty] = &files[..] else {
        return Err(Trouble::Say("the demo has no pieces; please report this".into()));
    };
    super::print(&format!(
        "An invented wearer, clean trousers, and the same with a planted fault, written to {}.\n\n",
        folder.display()
    ));
    try_on::run_files(
        &[body.clone(), clean.clone(), faulty.clone()],
        folder,
        arguments.quiet,
    )?;
    super::print(&format!(
        "\nTry it yourself:  gusset try {} {}\n",
        body.display(),
        faulty.display()
    ));
    Ok(ExitCode::SUCCESS)
}
