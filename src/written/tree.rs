//! Where does each word of a hand-written YAML file stand?
//!
//! The text is read into a plain [`Tree`] whose nodes are numbered in reading order. The reader of the tree says
//! *which* node is wrong; a second pass that stops at that number says *where* it is. So checks are ordinary
//! functions on ordinary data, and duplicate keys, which the YAML crate reports at 1:1, are found at their place.

use super::{Mistake, WrittenError, shortened};
use miette::NamedSource;
use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};
use std::cell::Cell;
use std::fmt;

/// Longest text that is read, bytes: a hundred times the longest file of the library.
const MOST_BYTES: usize = 256 * 1024;
/// Most nodes that are read; aliases count every time they are used.
const MOST_NODES: usize = 50_000;

/// One value of the file.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Tree {
    /// Number in reading order, keys included.
    pub(crate) id: usize,
    pub(crate) value: Value,
}

/// The kinds of value a YAML file has.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Value {
    Nothing,
    Flag(bool),
    Number(f64),
    Word(String),
    List(Vec<Tree>),
    /// In order, duplicates kept.
    Map(Vec<(Key, Tree)>),
}

/// A key of a map.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Key {
    pub(crate) id: usize,
    pub(crate) text: String,
}

impl Value {
    /// What it is, in a sentence.
    pub(crate) fn kind(&self) -> &'static str {
        match self {
            Self::Nothing => "nothing",
            Self::Flag(_) => "true or false",
            Self::Number(_) => "a number",
            Self::Word(_) => "a word",
            Self::List(_) => "a list",
            Self::Map(_) => "a group of keys",
        }
    }
}

/// A node that is wrong, and why.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Wrong {
    pub(crate) id: usize,
    pub(crate) say: String,
    pub(crate) label: String,
    pub(crate) help: String,
}

/// Reads a text with `interpret`; a node it calls wrong becomes an error with file, line and snippet.
pub(crate) fn read<T>(
    bytes: &[u8],
    file: &str,
    interpret: impl FnOnce(&Tree) -> Result<T, Wrong>,
) -> Result<T, WrittenError> {
    let text = text(bytes, file)?;
    let walk = Walk {
        next: Cell::new(0),
        stop_at: None,
    };
    let tree = walk
        .deserialize(serde_yaml::Deserializer::from_str(text))
        .map_err(|error| from_yaml(&error, text, file))?;
    interpret(&tree).map_err(|wrong| from_wrong(wrong, text, file))
}

fn text<'a>(bytes: &'a [u8], file: &str) -> Result<&'a str, WrittenError> {
    let not = |say: String| WrittenError::NotText {
        file: file.to_owned(),
        say,
    };
    if bytes.len() > MOST_BYTES {
        return Err(not(format!(
            "{} bytes are too long for a file written by hand, which may have {MOST_BYTES}",
            bytes.len()
        )));
    }
    let text = std::str::from_utf8(bytes)
        .map_err(|error| not(format!("not UTF-8 text (byte {})", error.valid_up_to())))?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

fn from_wrong(wrong: Wrong, text: &str, file: &str) -> WrittenError {
    let walk = Walk {
        next: Cell::new(0),
        stop_at: Some(wrong.id),
    };
    let stopped = walk.deserialize(serde_yaml::Deserializer::from_str(text));
    let start = stopped.err().and_then(|error| offset(&error, text)).unwrap_or(0);
    mistake(text, file, start, wrong)
}

fn from_yaml(error: &serde_yaml::Error, text: &str, file: &str) -> WrittenError {
    let start = offset(error, text).unwrap_or(text.len());
    let say = plain(&error.to_string());
    let line = text[line_start(text, start)..].lines().next().unwrap_or_default();
    let help = if line.contains('\t') || say.contains("cannot start any token") {
        "indent with spaces, not tabs; put words with special signs in quotes"
    } else {
        "check the indentation and the brackets from here upward"
    };
    let wrong = Wrong {
        id: 0,
        say,
        label: "the YAML breaks here".into(),
        help: help.into(),
    };
    mistake(text, file, start, wrong)
}

/// The crate's sentence without the path in front and the place behind, which we show ourselves.
fn plain(message: &str) -> String {
    let end = message.find(" at line ").unwrap_or(message.len());
    format!("this is not readable YAML: {}", &message[..end])
}

fn offset(error: &serde_yaml::Error, text: &str) -> Option<usize> {
    let place = error.location()?;
    // The parser counts bytes (the tests hold it to that); its marks of broken text may lie past the end.
    (0..=place.index().min(text.len()))
        .rev()
        .find(|&byte| text.is_char_boundary(byte))
}

fn line_start(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |newline| newline + 1)
}

fn mistake(text: &str, file: &str, start: usize, wrong: Wrong) -> WrittenError {
    let from = line_start(text, start);
    let length = text[start..]
        .find([' ', ',', ':', '}', ']', '#', '\n', '\r'])
        .unwrap_or(text.len() - start);
    // Words of the file stand in all three; each stays one sentence.
    let say = shortened(&wrong.say, 600);
    let label = shortened(&wrong.label, 200);
    let help = shortened(&wrong.help, 2000);
    WrittenError::Written(Box::new(Mistake {
        file: file.to_owned(),
        line: text[..start].matches('\n').count() + 1,
        column: text[from..start].chars().count() + 1,
        say,
        written: NamedSource::new(file, text.to_owned()),
        span: (start, length.max(usize::from(start < text.len()))).into(),
        label,
        help,
    }))
}

/// Reads a value, numbering nodes; fails at the node it is told to stop at, so that the parser names the place.
struct Walk {
    next: Cell<usize>,
    stop_at: Option<usize>,
}

impl Walk {
    fn number<E: serde::de::Error>(&self) -> Result<usize, E> {
        let id = self.next.get();
        self.next.set(id + 1);
        if self.stop_at == Some(id) {
            return Err(E::custom("here"));
        }
        if id >= MOST_NODES {
            return Err(E::custom(format!("more than {MOST_NODES} values")));
        }
        Ok(id)
    }

    fn node<E: serde::de::Error>(&self, value: Value) -> Result<Tree, E> {
        self.number().map(|id| Tree { id, value })
    }
}

impl<'de> DeserializeSeed<'de> for &Walk {
    type Value = Tree;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Tree, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for &Walk {
    type Value = Tree;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a word, a number, a list or a group of keys")
    }

    fn visit_unit<E: serde::de::Error>(self) -> Result<Tree, E> {
        self.node(Value::Nothing)
    }

    fn visit_none<E: serde::de::Error>(self) -> Result<Tree, E> {
        self.node(Value::Nothing)
    }

    fn visit_bool<E: serde::de::Error>(self, flag: bool) -> Result<Tree, E> {
        self.node(Value::Flag(flag))
    }

    #[expect(
        clippy::cast_precision_loss,
        reason = "numbers this large are refused by every range that follows"
    )]
    fn visit_i64<E: serde::de::Error>(self, number: i64) -> Result<Tree, E> {
        self.node(Value::Number(number as f64))
    }

    #[expect(
        clippy::cast_precision_loss,
        reason = "numbers this large are refused by every range that follows"
    )]
    fn visit_u64<E: serde::de::Error>(self, number: u64) -> Result<Tree, E> {
        self.node(Value::Number(number as f64))
    }

    fn visit_f64<E: serde::de::Error>(self, number: f64) -> Result<Tree, E> {
        self.node(Value::Number(number))
    }

    fn visit_str<E: serde::de::Error>(self, word: &str) -> Result<Tree, E> {
        self.node(Value::Word(word.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Tree, A::Error> {
        let id = self.number()?;
        let mut list = Vec::new();
        while let Some(item) = items.next_element_seed(self)? {
            list.push(item);
        }
        Ok(Tree {
            id,
            value: Value::List(list),
        })
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Tree, A::Error> {
        let id = self.number()?;
        let mut map = Vec::new();
        while let Some(key) = entries.next_key_seed(KeySeed(self))? {
            map.push((key, entries.next_value_seed(self)?));
        }
        Ok(Tree {
            id,
            value: Value::Map(map),
        })
    }
}

/// Reads a key: any scalar, as its text.
struct KeySeed<'a>(&'a Walk);

impl<'de> DeserializeSeed<'de> for KeySeed<'_> {
    type Value = Key;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Key, D::Error> {
        deserializer.deserialize_str(self)
    }
}

impl Visitor<'_> for KeySeed<'_> {
    type Value = Key;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a key word")
    }

    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Key, E> {
        Ok(Key {
            id: self.0.number()?,
            text: text.to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wrong(id: usize) -> Wrong {
        Wrong {
            id,
            say: "no".into(),
            label: "here".into(),
            help: "none".into(),
        }
    }

    fn place(text: &str, id: usize) -> (usize, usize, String) {
        let error = read(text.as_bytes(), "a.yaml", |_| Err::<(), _>(wrong(id))).unwrap_err();
        let mistake = error.mistake().unwrap();
        let (start, length) = (mistake.span.offset(), mistake.span.len());
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        (
            mistake.line,
            mistake.column,
            text[start..start + length].to_owned(),
        )
    }

    #[test]
    fn every_node_is_found_where_it_stands() {
        let text = "name: é_1\nangles:\n  hips: { flexion: 90, abduction: 5.5 } # both\n  knees: bind\n";
        let at = |id, line, column, word: &str| assert_eq!(place(text, id), (line, column, word.to_owned()));
        at(1, 1, 1, "name");
        at(2, 1, 7, "é_1");
        at(3, 2, 1, "angles");
        at(5, 3, 3, "hips");
        at(7, 3, 11, "flexion");
        at(8, 3, 20, "90");
        at(9, 3, 24, "abduction");
        at(10, 3, 35, "5.5");
        at(12, 4, 10, "bind");
    }

    #[test]
    fn a_byte_order_mark_and_line_ends_of_another_system_shift_nothing() {
        assert_eq!(place("\u{feff}a: 1\r\nb: 2\r\n", 3), (2, 1, "b".into()));
    }

    #[test]
    fn the_second_of_two_equal_keys_has_its_own_place() {
        let tree = read(b"a: 1\na: 2\n", "a.yaml", |tree| Ok(tree.clone())).unwrap();
        let Value::Map(entries) = tree.value else {
            panic!("no map")
        };
        assert_eq!(entries.len(), 2);
        assert_eq!(place("a: 1\na: 2\n", entries[1].0.id), (2, 1, "a".into()));
    }

    #[test]
    fn broken_yaml_is_one_sentence_with_a_place() {
        let refuse = |text: &str| {
            let error = read(text.as_bytes(), "a.yaml", |_| Ok(())).unwrap_err();
            let mistake = error.mistake().unwrap();
            (mistake.line, mistake.say.clone(), mistake.help.clone())
        };
        let (line, say, help) = refuse("a: 1\n\tb: 2\n");
        assert_eq!(line, 2);
        assert!(say.starts_with("this is not readable YAML: found"), "{say}");
        assert!(help.contains("spaces"), "{help}");
        assert_eq!(refuse("a: [1, 2\n").0, 2);
        assert_eq!(refuse("a: *b\n").0, 1);
        assert!(refuse("a: 1\n---\nb: 2\n").1.contains("more than one document"));
        assert_eq!(refuse("a: 1\n? {b: 1}\n: 2\n").0, 2);
    }

    #[test]
    fn bombs_are_refused() {
        let deep = "[".repeat(20_000);
        let mut bomb = String::from("a0: &a0 [x, x, x, x, x, x, x, x]\n");
        for level in 1..12 {
            let below = level - 1;
            bomb += &format!(
                "a{level}: &a{level} [{}]\n",
                vec![format!("*a{below}"); 8].join(", ")
            );
        }
        let long = "#".repeat(MOST_BYTES + 1);
        for text in [deep, bomb, long] {
            assert!(read(text.as_bytes(), "a.yaml", |_| Ok(())).is_err());
        }
        assert!(read(&[0xff, 0xfe, 0x00], "a.yaml", |_| Ok(())).is_err());
    }
}
