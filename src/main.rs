//! Arguments in, exit code out.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
