//! A fitting file for what lies in a folder: which files are bodies, which are clothes, and which belong together by
//! their names.
//!
//! Only a start, to be read and corrected: what was guessed stands in the file, never behind it.

use super::file::BODY_MARK;
use super::names::{BODY_WORDS, has_words, names_of, stem, tidy, with_mark};
use crate::rig::Rig;
use crate::rig::bone::{Bone, Side};
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::assemble;
use crate::wardrobe::propose;
use std::collections::{BTreeMap, BTreeSet};

/// What a file holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A wearer.
    Body,
    /// Clothes.
    Garment,
    /// Both: meshes that are skin, and meshes that are cloth.
    Both {
        /// By name.
        skin: Vec<String>,
        /// By name.
        cloth: Vec<String>,
    },
    /// Nothing that can be put on or wear anything, in a few words.
    Neither(&'static str),
}

/// One file of the folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// From the folder, parts divided by `/`.
    pub file: String,
    /// What it holds.
    pub kind: Kind,
}

/// What a rig is: a body has legs and a mesh from below the ankles to above the head joint, or is called one; all else
/// that is skinned is clothes. A name that says cloth is believed before the shape.
pub fn kind(rig: &Rig) -> Kind {
    if rig.meshes.is_empty() {
        return Kind::Neither("no skinned mesh");
    }
    let (cloth, skin) = propose(rig, &rig.name);
    let all: Vec<usize> = (0..rig.meshes.len()).collect();
    match (skin.is_empty(), cloth.is_empty()) {
        (true, _) => Kind::Garment,
        (false, true) if is_body(rig, &all) => Kind::Body,
        (false, true) => Kind::Garment,
        (false, false) => {
            let of_skin: Vec<usize> = all
                .into_iter()
                .filter(|&mesh| skin.contains(&rig.meshes[mesh].name))
                .collect();
            match is_body(rig, &of_skin) {
                true => Kind::Both { skin, cloth },
                false => Kind::Garment,
            }
        }
    }
}

fn is_body(rig: &Rig, meshes: &[usize]) -> bool {
    let surface = assemble(rig, meshes, &rig.name);
    let skeleton = Skeleton::new(rig, &[&surface], &[]);
    let at = |bone| skeleton.position(bone).map(|place| place.y);
    let legs = Side::BOTH
        .into_iter()
        .all(|side| at(Bone::UpperLeg(side)).is_some() && at(Bone::LowerLeg(side)).is_some());
    if !legs {
        return false;
    }
    let heights = surface.positions.iter().map(|point| f64::from(point[1]));
    let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), y| {
        (low.min(y), high.max(y))
    });
    let ankle = Side::BOTH
        .into_iter()
        .filter_map(|side| at(Bone::Foot(side)))
        .fold(f64::INFINITY, f64::min);
    let head = at(Bone::Head).unwrap_or(f64::INFINITY);
    let words = words_of(&rig.name);
    (low < ankle && high > head) || BODY_WORDS.iter().any(|word| words.iter().any(|own| own == word))
}

/// `work_trousers-ash.v2` is work, trousers, ash, v2.
fn words_of(name: &str) -> Vec<String> {
    let words = name.split(|letter: char| !letter.is_alphanumeric());
    words
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// A garment as it will stand in the file.
#[derive(Debug, Default)]
struct Entry {
    /// Body and file, as far as they are known; a body that is `None` stands for every body.
    files: Vec<(Option<String>, String)>,
    meshes: Vec<String>,
}

/// The fitting file, or why there is none to write in a sentence.
///
/// # Errors
/// A folder without a body or without clothes.
pub fn text(found: &[Found]) -> Result<String, String> {
    let bodies: Vec<&Found> = found
        .iter()
        .filter(|one| matches!(one.kind, Kind::Body | Kind::Both { .. }))
        .collect();
    if bodies.is_empty() {
        return Err("no body lies here: none of the files has legs and a mesh from the feet to above the head joint; write the fitting file by hand (`gusset schema fitting` lists its keys)".into());
    }
    let of_garment = found.iter().filter(|one| one.kind == Kind::Garment);
    let names = names_of(
        &bodies.iter().map(|one| stem(&one.file)).collect::<Vec<_>>(),
        &of_garment.map(|one| stem(&one.file)).collect::<Vec<_>>(),
    );
    let garments = garments_of(found, &bodies, &names);
    if garments.is_empty() {
        return Err("no clothes lie here, only bodies; put the garments beside them".into());
    }
    let mut text = String::from(
        "# Written by `gusset start` from what lies here; correct it by hand.\n# Run it with: gusset try FILE. All keys: gusset schema fitting\nbodies:\n",
    );
    for (body, name) in bodies.iter().zip(&names) {
        let meshes = match &body.kind {
            Kind::Both { skin, .. } => format!(", meshes: {}", list(skin)),
            _ => String::new(),
        };
        text.push_str(&format!(
            "  - {{ name: {}, file: {}{meshes} }}\n",
            quoted(name),
            quoted(&body.file)
        ));
    }
    text.push_str("garments:\n");
    for (name, entry) in garments {
        text.push_str(&garment(&name, &entry, &names));
    }
    let neither = found.iter().filter_map(|one| match one.kind {
        Kind::Neither(why) => Some(format!(
            "# Left out, {why}: {}\n",
            one.file.replace(char::is_control, " ")
        )),
        _ => None,
    });
    text.extend(neither);
    Ok(text)
}

fn garment(name: &str, entry: &Entry, bodies: &[String]) -> String {
    let file = match entry.files.first() {
        Some((Some(body), file)) => with_mark(file, body),
        Some((None, file)) => file.clone(),
        None => String::new(),
    };
    let own: Vec<String> = entry.files.iter().filter_map(|(body, _)| body.clone()).collect();
    let only = if own.is_empty() || bodies.iter().all(|body| own.contains(body)) {
        String::new()
    } else {
        format!(", bodies: {}", list(&own))
    };
    let meshes = if entry.meshes.is_empty() {
        String::new()
    } else {
        format!(", meshes: {}", list(&entry.meshes))
    };
    format!(
        "  - {{ name: {}, file: {}{meshes}{only} }}\n",
        quoted(name),
        quoted(&file)
    )
}

/// Garments by their names. Files that differ by the body's name alone are one garment.
fn garments_of(found: &[Found], bodies: &[&Found], names: &[String]) -> BTreeMap<String, Entry> {
    let mut garments: BTreeMap<String, Entry> = BTreeMap::new();
    // Files of one garment have the same path but for the body's name.
    let mut by_pattern: BTreeMap<String, Entry> = BTreeMap::new();
    for one in found.iter().filter(|one| one.kind == Kind::Garment) {
        let own_stem = stem(&one.file);
        let body = names
            .iter()
            .filter(|name| has_words(own_stem, name))
            .max_by_key(|name| name.len());
        let pattern = body.map_or_else(|| one.file.clone(), |body| with_mark(&one.file, body));
        by_pattern
            .entry(pattern)
            .or_default()
            .files
            .push((body.cloned(), one.file.clone()));
    }
    for (pattern, entry) in by_pattern {
        let name = tidy(&stem(&pattern).replace(BODY_MARK, " "));
        garments.insert(
            free(
                &garments,
                names,
                if name.is_empty() { "garment".into() } else { name },
            ),
            entry,
        );
    }
    for (body, name) in bodies.iter().zip(names) {
        if let Kind::Both { cloth, .. } = &body.kind {
            for mesh in cloth {
                let entry = Entry {
                    files: vec![(Some(name.clone()), body.file.clone())],
                    meshes: vec![mesh.clone()],
                };
                let name = tidy(mesh);
                let name = if name.is_empty() { "garment".into() } else { name };
                garments.insert(free(&garments, names, name), entry);
            }
        }
    }
    garments
}

/// The name, or the name with a number where it is taken.
fn free(garments: &BTreeMap<String, Entry>, bodies: &[String], name: String) -> String {
    let taken = |name: &String| garments.contains_key(name) || bodies.contains(name);
    let numbered = (2..u32::MAX).map(|number| format!("{name}-{number}"));
    std::iter::once(name.clone())
        .chain(numbered)
        .find(|name| !taken(name))
        .unwrap_or(name)
}

fn list(words: &[String]) -> String {
    let unique: BTreeSet<&String> = words.iter().collect();
    let quoted: Vec<String> = unique.into_iter().map(|word| quoted(word)).collect();
    format!("[{}]", quoted.join(", "))
}

/// A word as YAML takes it, in quotes where it could be read as something else.
fn quoted(word: &str) -> String {
    let plain = word.starts_with(|letter: char| letter.is_ascii_alphabetic())
        && word
            .chars()
            .all(|letter| letter.is_ascii_alphanumeric() || "_-./".contains(letter));
    let reserved = ["true", "false", "yes", "no", "on", "off", "null", "y", "n"];
    if plain && !reserved.contains(&word.to_lowercase().as_str()) {
        word.to_owned()
    } else {
        serde_json::Value::from(word).to_string()
    }
}

#[cfg(test)]
#[path = "start_tests.rs"]
mod tests;
