//! `gusset posed`: a body, dressed or not, in a pose, as a file to look at elsewhere.

use super::Trouble;
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {}

pub(super) fn run(_arguments: &Arguments) -> Result<ExitCode, Trouble> {
    Err(Trouble::Say("not yet".into()))
}
