//! The switches of every command that reads rigs: what a file may refer to, and how much it may ask for.

use gusset::rig::gltf::{Caps, ReadOptions};

#[derive(Clone, Debug, Default, clap::Args)]
pub(super) struct Reading {
    /// Read buffers that lie outside a file's own folder
    #[arg(long)]
    allow_outside_files: bool,
    /// Raise a limit that refused a file, for example vertices=2000000 (may be repeated)
    #[arg(long, value_name = "LIMIT=NUMBER", value_parser = raised)]
    raise: Vec<Raised>,
}

/// A limit by its name, and its new value.
#[derive(Clone, Debug)]
struct Raised {
    limit: String,
    most: u64,
}

fn raised(text: &str) -> Result<Raised, String> {
    let (limit, most) = text
        .split_once('=')
        .ok_or("write the limit's name and a number, like vertices=2000000")?;
    let most = most
        .parse()
        .map_err(|_| format!("`{most}` is not a whole number"))?;
    Caps::default().set(limit, most)?;
    Ok(Raised {
        limit: limit.to_owned(),
        most,
    })
}

impl Reading {
    pub(super) fn options(&self) -> ReadOptions {
        let mut caps = Caps::default();
        for Raised { limit, most } in &self.raise {
            // The name was looked up when the words were parsed.
            let _ = caps.set(limit, *most);
        }
        ReadOptions {
            caps,
            allow_outside_files: self.allow_outside_files,
            unskinned: false,
        }
    }
}
