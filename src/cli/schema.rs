//! `gusset schema`: what a machine may rely on.

use super::Trouble;
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Which file's schema
    #[arg(value_enum, default_value = "result")]
    of: Of,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Of {
    /// result.json
    Result,
    /// A fitting file
    Fitting,
    /// A pose file
    Pose,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let text = match arguments.of {
        Of::Result => gusset::report::json::schema(),
        Of::Fitting => gusset::rack::schema::schema(),
        Of::Pose => gusset::pose::schema::schema(),
    };
    super::print(&format!("{}\n", text.trim_end()));
    Ok(ExitCode::SUCCESS)
}
