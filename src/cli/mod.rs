//! What a user may type: one file per command.
//!
//! Exit codes: 0 all pass or warn, 1 something failed, 2 something could not run.

mod accept;
mod compare;
mod completions;
mod demo;
mod models; // GLB files for the report folder
mod mocap; // other wearers' motions
mod poses;
mod posed;
mod rack;
mod range;
mod reading;
mod wearing; // switches of commands that put a garment on a body
mod refit;
mod rig;
mod schema;
mod splay;
mod start;
mod try_on;
mod unchanged;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// Tests how a rigged garment and the body under it deform together.
#[derive(Debug, Parser)]
#[command(name = "gusset", version, about, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Put garments on a body, run them through poses, and say what fails and where
    Try(try_on::Arguments),
    /// Write a fitting file for what lies in a folder
    Start(start::Arguments),
    /// Make one report of the shards of a rack
    Join(rack::shards::Arguments),
    /// Say which of two garments does better, pose by pose, or what an edit changed
    Compare(compare::Arguments),
    /// Say up to which angle of a joint a garment holds
    Range(range::Arguments),
    /// Say in which hip splay to build trousers for a body
    Splay(splay::Arguments),
    /// Say whether a garment was pulled evenly onto another body
    Refit(refit::Arguments),
    /// Keep a result as what later edits are measured against
    Accept(accept::Arguments),
    /// Say what gusset sees in a rig, and what is wrong with it
    Rig(rig::Arguments),
    /// List the poses that come with gusset, or check pose files
    Poses(poses::Arguments),
    /// Write a body, dressed or not, in a pose as a GLB file
    Posed(posed::Arguments),
    /// Make an invented wearer and trousers, one pair with a planted fault, and test them
    Demo(demo::Arguments),
    /// Print the JSON Schema of a result, of a fitting file or of a pose file
    Schema(schema::Arguments),
    /// Print completions for a shell
    Completions(completions::Arguments),
    /// Print the manual page
    Man,
}

/// Why a command could not do its job: printed on stderr, exit code 2.
#[derive(Debug)]
enum Trouble {
    /// One sentence.
    Say(String),
    /// A mistake in a file written by hand, with its lines.
    Show(miette::Report),
}

impl Trouble {
    fn say(error: impl std::fmt::Display) -> Self {
        Self::Say(error.to_string())
    }
}

impl From<gusset::written::WrittenError> for Trouble {
    fn from(error: gusset::written::WrittenError) -> Self {
        Self::Show(error.report())
    }
}

impl From<gusset::pose::PoseError> for Trouble {
    fn from(error: gusset::pose::PoseError) -> Self {
        Self::Show(error.report())
    }
}

/// Parses the command line, runs the command, and turns trouble into a sentence and exit code 2.
pub(crate) fn run() -> ExitCode {
    let arguments = Arguments::parse();
    let done = match arguments.command {
        Command::Try(arguments) => try_on::run(&arguments),
        Command::Start(arguments) => start::run(&arguments),
        Command::Join(arguments) => rack::shards::join(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Range(arguments) => range::run(&arguments),
        Command::Splay(arguments) => splay::run(&arguments),
        Command::Refit(arguments) => refit::run(&arguments),
        Command::Accept(arguments) => accept::run(&arguments),
        Command::Rig(arguments) => rig::run(&arguments),
        Command::Poses(arguments) => poses::run(&arguments),
        Command::Posed(arguments) => posed::run(&arguments),
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Schema(arguments) => schema::run(&arguments),
        Command::Completions(arguments) => completions::run(&arguments),
        Command::Man => completions::manual(),
    };
    match done {
        Ok(code) => code,
        Err(trouble) => {
            complain(&trouble);
            ExitCode::from(2)
        }
    }
}

fn complain(trouble: &Trouble) {
    match trouble {
        Trouble::Say(sentence) => anstream::eprintln!("gusset: {sentence}"),
        Trouble::Show(report) => anstream::eprintln!("{report:?}"),
    }
}

/// Prints a result. A reader that closed the pipe early is no trouble.
fn print(text: &str) {
    use std::io::Write;
    let mut out = anstream::stdout();
    let _ = out.write_all(text.as_bytes());
    let _ = out.flush();
}
