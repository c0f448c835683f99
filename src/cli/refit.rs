//! `gusset refit`: was a garment pulled evenly onto another body?

use super::Trouble;
use super::range::Format;
use super::reading::Reading;
use super::try_on::CAUTION;
use gusset::refit;
use gusset::report::leaf::{self, Leaf};
use gusset::report::{folder, words};
use gusset::rig::Rig;
use gusset::rig::gltf::{ReadOptions, read};
use gusset::scenes::refit as shown;
use gusset::wardrobe::bare;
use serde_json::json;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The garment before; needs no skin
    #[arg(value_name = "BEFORE")]
    before: PathBuf,
    /// The same garment after, vertex by vertex
    #[arg(value_name = "AFTER")]
    after: PathBuf,
    /// The body it was pulled onto
    #[arg(long, value_name = "FILE")]
    body: Option<PathBuf>,
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
    #[command(flatten)]
    reading: Reading,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let options = arguments.reading.options();
    let shapes = ReadOptions {
        unskinned: true,
        ..options.clone()
    };
    let rig = |file: &Path| -> Result<Rig, Trouble> {
        let rig = read(file, &shapes).map_err(Trouble::say)?;
        if rig.meshes.is_empty() {
            return Err(Trouble::Say(format!(
                "{}: there is no mesh in this file",
                file.display()
            )));
        }
        Ok(rig)
    };
    let [before, after] = [rig(&arguments.before)?, rig(&arguments.after)?];
    let body = match &arguments.body {
        Some(file) => Some(bare(file, &options).map_err(Trouble::say)?.body),
        None => None,
    };
    let [before, after] = [refit::cloth(&before), refit::cloth(&after)];
    let found = refit::refit(&before, &after, body.as_ref()).map_err(Trouble::say)?;
    let json = format!("{:#}\n", json!(found));
    let mut text = format!(
        "{} against {}: {}.\n",
        words::plain(&found.after),
        words::plain(&found.before),
        shown::headline(&found)
    );
    for sentence in shown::sentences(&found) {
        text.push_str(&format!("  {sentence}\n"));
    }
    if arguments.format == Format::Text || arguments.out.is_some() {
        let leaf = Leaf {
            title: format!("{} against {}", found.after, found.before),
            headline: format!("{}.", shown::headline(&found)),
            sentences: shown::sentences(&found),
            sections: vec![shown::pictures(&after, &found), shown::table(&found)],
            caution: CAUTION.into(),
            json: json.clone(),
        };
        let name = folder::safe_name(&format!("refit_{}", found.after));
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
