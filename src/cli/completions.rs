//! `gusset completions` and `gusset man`: made from the arguments themselves.

use super::Trouble;
use clap::CommandFactory;
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The shell to complete for
    shell: clap_complete::Shell,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let mut text = Vec::new();
    clap_complete::generate(
        arguments.shell,
        &mut super::Arguments::command(),
        "gusset",
        &mut text,
    );
    super::print(&String::from_utf8_lossy(&text));
    Ok(ExitCode::SUCCESS)
}

pub(super) fn manual() -> Result<ExitCode, Trouble> {
    let mut text = Vec::new();
    clap_mangen::Man::new(super::Arguments::command())
        .render(&mut text)
        .map_err(Trouble::say)?;
    super::print(&String::from_utf8_lossy(&text));
    Ok(ExitCode::SUCCESS)
}
