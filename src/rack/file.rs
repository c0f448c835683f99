//! Which rack does a hand-written file describe? The keys are those of `gusset schema fitting`.

mod sizes; // what stands below `sizes:`

use super::{Captured, Day, Excused, Rack, Wearer, Worn};
use crate::contact::region;
use crate::measure::{self, FabricClass};
use crate::outcome::Demand;
use crate::pose;
use crate::pose::capture::{RATE_HZ, RATES_HZ};
use crate::rig::bone::Bone;
use crate::rig::fix::{Fix, Unit, Up};
use crate::verdict::Told;
use crate::written::WrittenError;
use crate::written::tree::{self, Tree, Value, Wrong};
use crate::written::values::{Entries, flag, list, map, need, number, text, unknown, wrong};
use std::collections::{BTreeMap, BTreeSet};

/// The keys of a fitting file, in the order the examples have them.
pub(super) const KEYS: [&str; 9] = [
    "bodies", "garments", "poses", "clips", "captures", "promised", "excuses", "limits", "out",
];
/// The keys of a body.
pub(super) const BODY_KEYS: [&str; 10] = [
    "name",
    "file",
    "unit",
    "up",
    "meshes",
    "hidden",
    "hidden_picture",
    "roles",
    "sizes",
    "corners",
];
/// The keys of a garment.
pub(super) const GARMENT_KEYS: [&str; 9] = [
    "name", "file", "unit", "up", "meshes", "over", "bodies", "sizes", "fabric",
];
/// The keys of a size.
pub(super) const SIZE_KEYS: [&str; 3] = ["name", "morphs", "joints"];
/// The keys of what a size does to a joint.
pub(super) const JOINT_KEYS: [&str; 3] = ["scale", "offset_mm", "inherit"];
/// A joint may be so many times as small or as large.
pub(super) const SCALES: [f64; 2] = [0.05, 20.0];
/// A joint may go so far, millimetres.
pub(super) const MOST_OFFSET_MM: f64 = 1000.0;
/// A morph target may weigh so much, either way.
pub(super) const MOST_MORPH: f64 = 100.0;
/// The keys of a clip.
pub(super) const CLIP_KEYS: [&str; 2] = ["name", "demand"];
/// The keys of a capture.
pub(super) const CAPTURE_KEYS: [&str; 3] = ["file", "demand", "rate"];
/// The keys of an excuse.
pub(super) const EXCUSE_KEYS: [&str; 7] = ["measure", "pose", "region", "body", "garment", "reason", "until"];
/// The words for demand.
pub(super) const DEMANDS: [(&str, Demand); 3] = [
    ("upright", Demand::Upright),
    ("seated", Demand::Seated),
    ("hard", Demand::Hard),
];
/// The words for how much cloth gives.
pub(super) const FABRICS: [(&str, FabricClass); 3] = [
    ("rigid", FabricClass::Rigid),
    ("comfort", FabricClass::Comfort),
    ("power", FabricClass::Power),
];
/// Most fittings that one file may ask for.
const MOST_FITTINGS: usize = 10_000;
/// Stands for the body's name in the file of a garment.
pub(super) const BODY_MARK: &str = "{body}";

/// Reads a fitting file (YAML text). `file_name` is only for messages. With `allow_outside`, its paths may leave its
/// folder.
///
/// # Errors
/// [`WrittenError::Written`] with line, column and the nearest right word for whatever cannot stand.
pub fn parse(text: impl AsRef<[u8]>, file_name: &str, allow_outside: bool) -> Result<Rack, WrittenError> {
    tree::read(text.as_ref(), file_name, |top| rack(top, allow_outside))
}

fn rack(top: &Tree, allow_outside: bool) -> Result<Rack, Wrong> {
    let fields = map(top, "a fitting file", &KEYS)?;
    let path = |tree: &Tree| path(tree, allow_outside);
    let bodies = some(need(top, &fields, "bodies")?, |tree| wearer(tree, &path))?;
    let garments = some(need(top, &fields, "garments")?, |tree| garment(tree, &path))?;
    apart(
        need(top, &fields, "bodies")?,
        bodies.iter().map(|body| body.name.as_str()),
        &[],
    )?;
    let body_names: Vec<&str> = bodies.iter().map(|body| body.name.as_str()).collect();
    let garment_tree = need(top, &fields, "garments")?;
    apart(
        garment_tree,
        garments.iter().map(|garment| garment.name.as_str()),
        &body_names,
    )?;
    let size_names = sizes::apart(need(top, &fields, "bodies")?, &bodies)?;
    let size_names: Vec<&str> = size_names.iter().map(String::as_str).collect();
    names_known(garment_tree, &garments, &body_names, &size_names)?;
    let worn: usize = bodies.iter().map(|body| body.worn().len()).sum();
    if worn * garments.len() > MOST_FITTINGS {
        let say = format!(
            "{worn} bodies, each size counted, in {} garments are too many",
            garments.len()
        );
        return Err(wrong(top.id, &say, "here", "make several fitting files of it"));
    }
    let garment_names: Vec<&str> = garments.iter().map(|garment| garment.name.as_str()).collect();
    let poses: Vec<String> = all(&fields, "poses", |tree| pose_name(tree, &path))?;
    let clips = all(&fields, "clips", clip)?;
    let captures: Vec<Captured> = all(&fields, "captures", |tree| captured(tree, &path))?;
    let known = pose_words(&poses, &clips, &captures);
    Ok(Rack {
        promised: all(&fields, "promised", |tree| {
            one_of(tree, "the poses of this file", &known)
        })?,
        excuses: all(&fields, "excuses", |tree| {
            excuse(tree, &known, &body_names, &garment_names)
        })?,
        limits: fields
            .get("limits")
            .map_or(Ok(Told::new()), |tree| limits(tree))?,
        out: fields.get("out").map(|tree| path(tree)).transpose()?,
        bodies,
        garments,
        poses,
        clips,
        captures,
    })
}

/// A list, absent or not.
fn all<T>(fields: &Entries, key: &str, of: impl Fn(&Tree) -> Result<T, Wrong>) -> Result<Vec<T>, Wrong> {
    fields
        .get(key)
        .map_or(Ok(Vec::new()), |tree| list(tree)?.iter().map(of).collect())
}

/// A list of one or more.
fn some<T>(tree: &Tree, of: impl Fn(&Tree) -> Result<T, Wrong>) -> Result<Vec<T>, Wrong> {
    let items: Vec<T> = list(tree)?.iter().map(of).collect::<Result<_, _>>()?;
    match items.is_empty() {
        false => Ok(items),
        true => Err(wrong(
            tree.id,
            "nothing stands in this list",
            "an empty list",
            "write one entry at least",
        )),
    }
}

fn wearer(tree: &Tree, path: &dyn Fn(&Tree) -> Result<String, Wrong>) -> Result<Wearer, Wrong> {
    let fields = map(tree, "a body", &BODY_KEYS)?;
    Ok(Wearer {
        name: name(need(tree, &fields, "name")?)?,
        file: path(need(tree, &fields, "file")?)?,
        meshes: all(&fields, "meshes", text)?,
        hidden: all(&fields, "hidden", text)?,
        hidden_picture: fields.get("hidden_picture").map(|tree| path(tree)).transpose()?,
        roles: fields.get("roles").map_or(Ok(Vec::new()), |tree| roles(tree))?,
        fix: fix(&fields)?,
        sizes: all(&fields, "sizes", sizes::size)?,
        corners: fields.get("corners").map_or(Ok(false), |tree| flag(tree))?,
    })
}

/// What a file says wrongly of itself.
fn fix(fields: &Entries) -> Result<Fix, Wrong> {
    Ok(Fix {
        unit: maybe_word(fields, "unit", "the units of length", &Unit::WORDS)?,
        up: maybe_word(fields, "up", "the axes that may point up", &Up::WORDS)?,
    })
}

fn maybe_word<T: Copy>(
    fields: &Entries,
    key: &str,
    what: &str,
    known: &[(&str, T)],
) -> Result<Option<T>, Wrong> {
    fields.get(key).map(|tree| word(tree, what, known)).transpose()
}

fn garment(tree: &Tree, path: &dyn Fn(&Tree) -> Result<String, Wrong>) -> Result<Worn, Wrong> {
    let fields = map(tree, "a garment", &GARMENT_KEYS)?;
    Ok(Worn {
        name: name(need(tree, &fields, "name")?)?,
        file: path(need(tree, &fields, "file")?)?,
        meshes: all(&fields, "meshes", text)?,
        over: all(&fields, "over", text)?,
        bodies: all(&fields, "bodies", text)?,
        sizes: all(&fields, "sizes", text)?,
        fabric: fields.get("fabric").map_or(Ok(FabricClass::Rigid), |tree| {
            word(tree, "the fabric classes", &FABRICS)
        })?,
        fix: fix(&fields)?,
    })
}

/// Names of bodies and garments are keys of the accepted result, one line each.
fn name(tree: &Tree) -> Result<String, Wrong> {
    let name = text(tree)?;
    let fits = !name.chars().any(char::is_control)
        && !name.contains([':', ',', '{', '}', '/', '\\'])
        && name.trim() == name;
    match fits && name.len() <= 80 && name != ".." {
        true => Ok(name),
        false => Err(wrong(
            tree.id,
            "a name has at most 80 letters and none of `: , { } / \\`, since results and files are named after it",
            "not such a name",
            "write it like `ash` or `work-trousers`",
        )),
    }
}

/// Each name once, and no garment called like a body.
fn apart<'a>(tree: &Tree, names: impl Iterator<Item = &'a str>, others: &[&str]) -> Result<(), Wrong> {
    let mut seen: BTreeSet<&str> = others.iter().copied().collect();
    for (item, name) in list(tree)?.iter().zip(names) {
        if !seen.insert(name) {
            let say = format!("another one is called `{name}` already");
            return Err(wrong(
                value_of(item, "name").id,
                &say,
                "the second one",
                "give it a name of its own",
            ));
        }
    }
    Ok(())
}

/// Bodies and garments that garments name are there, and no garment is worn over itself.
fn names_known(tree: &Tree, garments: &[Worn], bodies: &[&str], sizes: &[&str]) -> Result<(), Wrong> {
    let names: Vec<&str> = garments.iter().map(|garment| garment.name.as_str()).collect();
    for (item, garment) in list(tree)?.iter().zip(garments) {
        let others: Vec<&str> = names
            .iter()
            .copied()
            .filter(|name| *name != garment.name)
            .collect();
        for (key, what, known) in [
            ("over", "the other garments of this file", &others),
            ("bodies", "the bodies of this file", &bodies.to_vec()),
            ("sizes", "the sizes of this file", &sizes.to_vec()),
        ] {
            if let Value::List(words) = &value_of(item, key).value {
                for word in words {
                    one_of(word, what, known)?;
                }
            }
        }
    }
    Ok(())
}

/// The value of a key, or the whole where it is not there.
fn value_of<'a>(tree: &'a Tree, key: &str) -> &'a Tree {
    match &tree.value {
        Value::Map(entries) => entries
            .iter()
            .find(|entry| entry.0.text == key)
            .map_or(tree, |entry| &entry.1),
        _ => tree,
    }
}

fn one_of(tree: &Tree, what: &str, known: &[&str]) -> Result<String, Wrong> {
    let word = text(tree)?;
    match known.contains(&word.as_str()) {
        true => Ok(word),
        false => Err(unknown(tree.id, &word, what, known)),
    }
}

fn word<T: Copy>(tree: &Tree, what: &str, known: &[(&str, T)]) -> Result<T, Wrong> {
    let words: Vec<&str> = known.iter().map(|known| known.0).collect();
    let found = one_of(tree, what, &words)?;
    let value = known.iter().find(|known| known.0 == found).map(|known| known.1);
    value.ok_or_else(|| unknown(tree.id, &found, what, &words))
}

/// A relative path that stays in the folder of the fitting file, unless it may leave it.
fn path(tree: &Tree, allow_outside: bool) -> Result<String, Wrong> {
    let path = text(tree)?;
    let refuse = |say: &str| {
        let help = "write the path from this file, or allow it with --allow-outside-files";
        Err(wrong(tree.id, say, "not within the folder of this file", help))
    };
    if path.contains('\0') {
        return Err(wrong(
            tree.id,
            "that is no file name",
            "not a name",
            "write the path from this file",
        ));
    }
    if allow_outside {
        return Ok(path);
    }
    if path.starts_with(['/', '\\']) || path.contains(':') {
        return refuse("this is an absolute path, an address or a drive");
    }
    if path.split(['/', '\\']).any(|part| part == "..") {
        return refuse("this path climbs out of the folder of the fitting file");
    }
    Ok(path)
}

fn is_pose_file(name: &str) -> bool {
    name.ends_with(".yaml") || name.ends_with(".yml")
}

fn pose_name(tree: &Tree, path: &dyn Fn(&Tree) -> Result<String, Wrong>) -> Result<String, Wrong> {
    let name = text(tree)?;
    if is_pose_file(&name) {
        return path(tree);
    }
    let known: Vec<&str> = pose::all().iter().map(|pose| pose.name.as_str()).collect();
    one_of(tree, "the poses of the library", &known)
}

/// What can be promised or excused: the poses and clips that are run. A pose file goes by its own name, which is the
/// name of the file.
fn pose_words<'a>(
    poses: &'a [String],
    clips: &'a [(String, Demand)],
    captures: &'a [Captured],
) -> Vec<&'a str> {
    let library = pose::all().iter().map(|pose| pose.name.as_str());
    let stem = |name: &'a str| {
        let name = name.rsplit(['/', '\\']).next().unwrap_or(name);
        let ending = [".yaml", ".yml", ".bvh"]
            .into_iter()
            .find_map(|ending| name.strip_suffix(ending));
        ending.unwrap_or(name)
    };
    let clip_names = clips.iter().map(|clip| clip.0.as_str());
    let capture_names = captures.iter().map(|capture| stem(&capture.file));
    match poses.is_empty() && clips.is_empty() && captures.is_empty() {
        true => library.collect(),
        false => poses
            .iter()
            .map(|name| stem(name))
            .chain(clip_names)
            .chain(capture_names)
            .collect(),
    }
}

/// A capture by its file, or with how much it asks and how finely it is tested.
fn captured(tree: &Tree, path: &dyn Fn(&Tree) -> Result<String, Wrong>) -> Result<Captured, Wrong> {
    let plain = |file| Captured {
        file,
        demand: Demand::Upright,
        rate_hz: RATE_HZ,
    };
    if let Value::Word(_) = tree.value {
        return path(tree).map(plain);
    }
    let fields = map(tree, "a capture", &CAPTURE_KEYS)?;
    let mut captured = plain(path(need(tree, &fields, "file")?)?);
    if let Some(tree) = fields.get("demand") {
        captured.demand = word(tree, "the demands", &DEMANDS)?;
    }
    if let Some(tree) = fields.get("rate") {
        captured.rate_hz = number(tree, RATES_HZ.0, RATES_HZ.1)?;
    }
    Ok(captured)
}

fn clip(tree: &Tree) -> Result<(String, Demand), Wrong> {
    if let Value::Word(_) = tree.value {
        return Ok((text(tree)?, Demand::Upright));
    }
    let fields = map(tree, "a clip", &CLIP_KEYS)?;
    let demand = fields
        .get("demand")
        .map_or(Ok(Demand::Upright), |tree| word(tree, "the demands", &DEMANDS))?;
    Ok((text(need(tree, &fields, "name")?)?, demand))
}

fn roles(tree: &Tree) -> Result<Vec<(Bone, String)>, Wrong> {
    let bones: Vec<&str> = Bone::all().into_iter().map(Bone::name).collect();
    let fields = map(tree, "roles", &bones)?;
    let role = |(bone, joint): (&&str, &&Tree)| Some(Ok((Bone::from_name(bone)?, text(joint).ok()?)));
    for joint in fields.values() {
        text(joint)?;
    }
    fields.iter().filter_map(role).collect()
}

/// Measures, and their numbers that have a limit.
pub(super) fn measure_words() -> Vec<String> {
    let ids = measure::ALL
        .iter()
        .filter(|measure| measure.numbers.iter().any(|number| number.limit.is_some()));
    let ids: Vec<String> = ids.map(|measure| measure.id.to_owned()).collect();
    ids.into_iter().chain(limit_words()).collect()
}

/// Numbers that have a limit.
pub(super) fn limit_words() -> Vec<String> {
    let numbers = measure::ALL
        .iter()
        .flat_map(|measure| measure.numbers.iter().map(move |number| (measure, number)));
    let judged = numbers.filter(|(_, number)| number.limit.is_some());
    judged.map(|(measure, number)| measure.path(number)).collect()
}

fn excuse(tree: &Tree, poses: &[&str], bodies: &[&str], garments: &[&str]) -> Result<Excused, Wrong> {
    let fields = map(tree, "an excuse", &EXCUSE_KEYS)?;
    let (measures, regions) = (measure_words(), region::all());
    let measures: Vec<&str> = measures.iter().map(String::as_str).collect();
    let regions: Vec<&str> = regions.iter().map(String::as_str).collect();
    let maybe = |key: &str, what: &str, known: &[&str]| {
        fields
            .get(key)
            .map_or(Ok(String::new()), |tree| one_of(tree, what, known))
    };
    Ok(Excused {
        measure: one_of(
            need(tree, &fields, "measure")?,
            "the measures and limit keys",
            &measures,
        )?,
        pose: maybe("pose", "the poses of this file", poses)?,
        region: maybe("region", "the places of a body", &regions)?,
        body: maybe("body", "the bodies of this file", bodies)?,
        garment: maybe("garment", "the garments of this file", garments)?,
        reason: text(need(tree, &fields, "reason")?)?,
        until: fields.get("until").map(|tree| day(tree)).transpose()?,
    })
}

fn day(tree: &Tree) -> Result<Day, Wrong> {
    let day = match &tree.value {
        Value::Word(word) => Day::parse(word),
        _ => None,
    };
    day.ok_or_else(|| wrong(tree.id, "this is no day", "not a day", "write it like 2027-01-31"))
}

fn limits(tree: &Tree) -> Result<Told, Wrong> {
    let paths = limit_words();
    let paths: Vec<&str> = paths.iter().map(String::as_str).collect();
    let demands = DEMANDS.map(|known| known.0);
    let mut told = Told::new();
    for (path, row) in map(tree, "limits", &paths)? {
        let mut most: BTreeMap<Demand, f64> = BTreeMap::new();
        for (demand, value) in map(row, &format!("`{path}`"), &demands)? {
            let demand = DEMANDS
                .iter()
                .find(|known| known.0 == demand)
                .map(|known| known.1);
            most.extend(demand.zip(Some(number(value, 0.0, 100_000.0)?)));
        }
        told.insert(path.to_owned(), most);
    }
    Ok(told)
}

#[cfg(test)]
#[path = "file_tests.rs"]
mod tests;
