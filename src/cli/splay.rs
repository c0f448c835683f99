//! `gusset splay`: in which hip splay to build trousers for a body.

use super::Trouble;
use super::range::Format;
use super::reading::Reading;
use super::try_on::{CAUTION, bar};
use gusset::report::leaf::{self, Leaf};
use gusset::report::{folder, words};
use gusset::scenes::splay as shown;
use gusset::splay::{self, Asked, FROM_DEG, TO_DEG};
use gusset::wardrobe::bare;
use serde_json::json;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The body
    #[arg(value_name = "BODY")]
    body: PathBuf,
    /// Room between skin and cloth, with the cloth's thickness
    #[arg(long, default_value = "7", value_name = "MM", value_parser = ease)]
    ease_mm: f64,
    /// Where the report folder goes
    #[arg(
        long,
        value_name = "DIR",
        help = "Where the report folder goes [default: reports]"
    )]
    out: Option<PathBuf>,
    /// What to print; JSON writes no report folder unless --out is given
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// No progress on stderr
    #[arg(long, short)]
    quiet: bool,
    #[command(flatten)]
    reading: Reading,
}

fn ease(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if (0.5..=60.0).contains(&value) => Ok(value),
        _ => Err("give millimetres from 0.5 to 60".into()),
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let dressed = bare(&arguments.body, &arguments.reading.options()).map_err(Trouble::say)?;
    let asked = Asked {
        ease: arguments.ease_mm * 1e-3,
        ..Asked::default()
    };
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a few dozen"
    )]
    let progress = bar(
        ((TO_DEG - FROM_DEG) / asked.step_deg) as u64 + 1,
        arguments.quiet,
        "splays",
    );
    let found = splay::splay(&dressed.body, &asked, &|| progress.inc(1));
    progress.finish_and_clear();
    let json = format!("{:#}\n", json!(found));
    let mut text = format!("{}: {}.\n", words::plain(&found.body), shown::headline(&found));
    for sentence in shown::sentences(&found) {
        text.push_str(&format!("  {sentence}\n"));
    }
    if arguments.format == Format::Text || arguments.out.is_some() {
        let leaf = Leaf {
            title: format!("{}: in which hip splay to build trousers", found.body),
            headline: format!("{}.", shown::headline(&found)),
            sentences: shown::sentences(&found),
            sections: vec![shown::plots(&found), shown::pictures(&dressed.body, &found)],
            caution: CAUTION.into(),
            json: json.clone(),
        };
        let name = folder::safe_name(&format!("splay_{}", found.body));
        let folder = arguments
            .out
            .clone()
            .unwrap_or_else(|| "reports".into())
            .join(name);
        let written = leaf::write(&folder, &leaf).map_err(Trouble::say)?;
        text.push_str(&format!("\nReport: {}\n", written.page.display()));
    }
    super::print(if arguments.format == Format::Json {
        &json
    } else {
        &text
    });
    Ok(ExitCode::SUCCESS)
}
