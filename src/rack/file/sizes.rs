//! What stands below `sizes:` of a body.

use super::{JOINT_KEYS, MOST_MORPH, MOST_OFFSET_MM, SCALES, SIZE_KEYS, Wearer, name, value_of};
use crate::rack::sizes::CORNERS;
use crate::rig::sized::{JointSize, Size};
use crate::written::tree::{Tree, Value, Wrong};
use crate::written::values::{flag, list, map, need, number, wrong};
use std::collections::BTreeSet;

pub(super) fn size(tree: &Tree) -> Result<Size, Wrong> {
    let fields = map(tree, "a size", &SIZE_KEYS)?;
    Ok(Size {
        name: name(need(tree, &fields, "name")?)?,
        morphs: fields.get("morphs").map_or(Ok(Vec::new()), |tree| {
            named(tree, "a morph target and its weight", morph)
        })?,
        joints: fields
            .get("joints")
            .map_or(Ok(Vec::new()), |tree| named(tree, "a joint and its scale", joint))?,
    })
}

/// The entries of a group whose keys are names of the user's own, each once.
fn named<T>(tree: &Tree, what: &str, of: impl Fn(&str, &Tree) -> Result<T, Wrong>) -> Result<Vec<T>, Wrong> {
    let Value::Map(entries) = &tree.value else {
        return Err(wrong(
            tree.id,
            &format!("{what} belong here"),
            "not names with their values",
            "write it like { name: 1.1 }",
        ));
    };
    let mut seen = BTreeSet::new();
    let once = |key: &crate::written::tree::Key, value: &Tree| {
        if seen.insert(key.text.clone()) {
            return of(&key.text, value);
        }
        let say = format!("`{}` is written twice", key.text);
        Err(wrong(key.id, &say, "the second one", "keep one of the two"))
    };
    let mut once = once;
    entries.iter().map(|(key, value)| once(key, value)).collect()
}

fn morph(name: &str, tree: &Tree) -> Result<(String, f64), Wrong> {
    Ok((name.to_owned(), number(tree, -MOST_MORPH, MOST_MORPH)?))
}

/// A scale alone, or a group of keys.
fn joint(name: &str, tree: &Tree) -> Result<JointSize, Wrong> {
    let mut joint = JointSize {
        joint: name.to_owned(),
        scale: [1.0; 3],
        offset_m: [0.0; 3],
        inherit: true,
    };
    if let Value::Map(_) = tree.value {
        let fields = map(tree, "a joint of a size", &JOINT_KEYS)?;
        if let Some(tree) = fields.get("scale") {
            joint.scale = scale(tree)?;
        }
        if let Some(tree) = fields.get("offset_mm") {
            joint.offset_m = three(tree, -MOST_OFFSET_MM, MOST_OFFSET_MM)?.map(|mm| mm * 1e-3);
        }
        if let Some(tree) = fields.get("inherit") {
            joint.inherit = flag(tree)?;
        }
    } else {
        joint.scale = scale(tree)?;
    }
    Ok(joint)
}

fn scale(tree: &Tree) -> Result<[f64; 3], Wrong> {
    match tree.value {
        Value::List(_) => three(tree, SCALES[0], SCALES[1]),
        _ => Ok([number(tree, SCALES[0], SCALES[1])?; 3]),
    }
}

fn three(tree: &Tree, least: f64, most: f64) -> Result<[f64; 3], Wrong> {
    let [x, y, z] = list(tree)? else {
        return Err(wrong(
            tree.id,
            "three numbers belong here",
            "not three",
            "write it like [1.1, 1, 1.1]",
        ));
    };
    Ok([
        number(x, least, most)?,
        number(y, least, most)?,
        number(z, least, most)?,
    ])
}

/// Every size once, none called like another body or a corner; all their names.
pub(super) fn apart(tree: &Tree, bodies: &[Wearer]) -> Result<Vec<String>, Wrong> {
    let mut taken: BTreeSet<String> = bodies
        .iter()
        .filter(|body| body.sizes.is_empty())
        .map(|body| body.name.clone())
        .collect();
    let mut names = Vec::new();
    for (item, body) in list(tree)?.iter().zip(bodies) {
        let sizes = value_of(item, "sizes");
        if body.corners && body.sizes.is_empty() {
            return Err(wrong(
                value_of(item, "corners").id,
                "corners are the least and the most of all sizes, and there is no size",
                "no sizes here",
                "add `sizes: [{ name: L, morphs: { belly: 1 } }]`",
            ));
        }
        for (at, size) in body.sizes.iter().enumerate() {
            let place = match &sizes.value {
                Value::List(list) => list.get(at).map_or(sizes, |one| value_of(one, "name")),
                _ => sizes,
            };
            if body.corners && CORNERS.contains(&size.name.as_str()) {
                let say = format!("`{}` is what one of the corners is called", size.name);
                return Err(wrong(
                    place.id,
                    &say,
                    "a size of that name",
                    "give it another name",
                ));
            }
            if !taken.insert(body.in_size(size)) {
                let say = format!("another one is called `{}` already", body.in_size(size));
                return Err(wrong(
                    place.id,
                    &say,
                    "the second one",
                    "give it a name of its own",
                ));
            }
            names.push(size.name.clone());
        }
        if body.corners {
            names.extend(CORNERS.map(str::to_owned));
        }
    }
    names.sort();
    names.dedup();
    Ok(names)
}
