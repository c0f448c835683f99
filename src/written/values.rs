//! Is a value of a hand-written file of the kind that belongs there, and are its keys known?

use super::nearest;
use super::tree::{Key, Tree, Value, Wrong};
use std::collections::BTreeMap;

/// The entries of a group of keys.
pub(crate) type Entries<'a> = BTreeMap<&'a str, &'a Tree>;

pub(crate) fn number(tree: &Tree, least: f64, most: f64) -> Result<f64, Wrong> {
    let Value::Number(value) = tree.value else {
        return Err(kind(tree, "a number"));
    };
    // Also false for NaN.
    if (least..=most).contains(&value) {
        return Ok(value);
    }
    let say = format!("{value} is outside {least} to {most}");
    Err(wrong(
        tree.id,
        &say,
        "outside",
        &format!("write a number from {least} to {most}"),
    ))
}

pub(crate) fn flag(tree: &Tree) -> Result<bool, Wrong> {
    match tree.value {
        Value::Flag(flag) => Ok(flag),
        _ => Err(kind(tree, "true or false")),
    }
}

pub(crate) fn text(tree: &Tree) -> Result<String, Wrong> {
    match &tree.value {
        Value::Word(word) if !word.trim().is_empty() => Ok(word.clone()),
        _ => Err(kind(tree, "a text")),
    }
}

pub(crate) fn list(tree: &Tree) -> Result<&[Tree], Wrong> {
    match &tree.value {
        Value::List(list) => Ok(list),
        _ => Err(kind(tree, "a list (lines that begin with `- `)")),
    }
}

fn kind(tree: &Tree, wanted: &str) -> Wrong {
    let found = tree.value.kind();
    let help = "check the value and the indentation below";
    wrong(
        tree.id,
        &format!("{wanted} belongs here, and this is {found}"),
        "not the right kind",
        help,
    )
}

/// The entries of a group of keys, each known and there once.
pub(crate) fn map<'a>(tree: &'a Tree, what: &str, known: &[&str]) -> Result<Entries<'a>, Wrong> {
    let Value::Map(entries) = &tree.value else {
        return Err(kind(tree, &format!("a group of keys for {what}")));
    };
    let mut found = Entries::new();
    for (key, value) in entries {
        if !known.contains(&key.text.as_str()) {
            return Err(unknown(key.id, &key.text, &format!("the keys of {what}"), known));
        }
        if found.insert(key.text.as_str(), value).is_some() {
            return Err(repeated(key));
        }
    }
    Ok(found)
}

fn repeated(key: &Key) -> Wrong {
    let say = format!("`{}` is written twice", key.text);
    wrong(
        key.id,
        &say,
        "the second one",
        "keep one of the two; check the indentation",
    )
}

pub(crate) fn unknown(node: usize, word: &str, what: &str, known: &[&str]) -> Wrong {
    let help = match nearest(word, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("{what} are: {}", known.join(", ")),
    };
    wrong(
        node,
        &format!("`{}` is not one of {what}", shown(word)),
        "not known here",
        &help,
    )
}

/// A word from the file, no longer than a message bears.
fn shown(word: &str) -> String {
    const MOST: usize = 60;
    match word.char_indices().nth(MOST) {
        Some((end, _)) => format!("{}..", &word[..end]),
        None => word.to_owned(),
    }
}

pub(crate) fn need<'a>(owner: &Tree, fields: &Entries<'a>, key: &str) -> Result<&'a Tree, Wrong> {
    fields.get(key).copied().ok_or_else(|| {
        wrong(
            owner.id,
            &format!("`{key}` is missing"),
            &format!("no `{key}` in here"),
            &format!("add a line `{key}: ..`; check the indentation below"),
        )
    })
}

pub(crate) fn wrong(id: usize, say: &str, label: &str, help: &str) -> Wrong {
    Wrong {
        id,
        say: say.to_owned(),
        label: label.to_owned(),
        help: help.to_owned(),
    }
}
