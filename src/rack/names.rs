//! What bodies and clothes are called: by what their files have in common and what tells them apart.

use super::file::BODY_MARK;

/// Words that bodies are called by (common practice).
pub(super) const BODY_WORDS: [&str; 4] = ["body", "skin", "mannequin", "avatar"];

/// Bodies by what clothes call them (`ash_body` is `ash` beside `trousers_ash`), else by what tells them apart: the words
/// that not all of their files share. One body alone keeps its name less the word body.
pub(super) fn names_of(bodies: &[&str], garments: &[&str]) -> Vec<String> {
    let shared = |word: &str| bodies.len() > 1 && bodies.iter().all(|stem| has_words(stem, word));
    let dull = |word: &str| shared(word) || BODY_WORDS.contains(&word.to_lowercase().as_str());
    let by_clothes: Vec<Option<&str>> = bodies.iter().map(|stem| called(stem, garments, &dull)).collect();
    let name = |at: usize| {
        // Of several bodies that clothes may mean, the one with the shortest name.
        let rivals = (0..bodies.len()).filter(|&other| by_clothes[other] == by_clothes[at]);
        let shortest = rivals.min_by_key(|&other| bodies[other].len());
        let own = by_clothes[at].filter(|_| shortest == Some(at));
        tidy(own.unwrap_or_else(|| {
            telling(bodies[at], &|word| {
                if bodies.len() == 1 {
                    dull(word)
                } else {
                    shared(word)
                }
            })
        }))
    };
    let mut names: Vec<String> = Vec::new();
    for at in 0..bodies.len() {
        let own = Some(name(at))
            .filter(|name| !name.is_empty())
            .unwrap_or_else(|| "body".into());
        let numbered = (2..u32::MAX).map(|number| format!("{own}-{number}"));
        let free = std::iter::once(own.clone())
            .chain(numbered)
            .find(|name| !names.contains(name));
        names.push(free.unwrap_or(own));
    }
    names
}

/// Where each word of a name begins and ends.
fn spans(stem: &str) -> Vec<(usize, usize)> {
    let mut spans: Vec<(usize, usize)> = Vec::new();
    for (at, letter) in stem.char_indices().filter(|(_, letter)| letter.is_alphanumeric()) {
        let end = at + letter.len_utf8();
        match spans.last_mut() {
            Some(last) if last.1 == at => last.1 = end,
            _ => spans.push((at, end)),
        }
    }
    spans
}

/// The longest run of a body's words that some garment's name holds; a run of dull words or numbers says nothing.
fn called<'a>(stem: &'a str, garments: &[&str], dull: &dyn Fn(&str) -> bool) -> Option<&'a str> {
    let spans = spans(stem);
    let says = |&(from, to): &(usize, usize)| {
        let word = &stem[from..to];
        !dull(word) && !word.bytes().all(|byte| byte.is_ascii_digit())
    };
    let runs = (0..spans.len()).flat_map(|from| (from..spans.len()).map(move |to| (from, to)));
    let telling = runs.filter(|&(from, to)| spans[from..=to].iter().any(says));
    let text = |(from, to): (usize, usize)| &stem[spans[from].0..spans[to].1];
    let worn = telling
        .map(text)
        .filter(|run| garments.iter().any(|garment| has_words(garment, run)));
    worn.max_by_key(|run| run.len())
}

/// From the first word that tells to the last, as the file has them.
fn telling<'a>(stem: &'a str, dull: &dyn Fn(&str) -> bool) -> &'a str {
    let spans = spans(stem);
    let mut tells = spans.iter().filter(|span| !dull(&stem[span.0..span.1]));
    match (tells.next(), tells.next_back()) {
        (Some(first), last) => &stem[first.0..last.unwrap_or(first).1],
        (None, _) => stem,
    }
}

/// Whether the words of one name stand in another, whole and in a row.
pub(super) fn has_words(stem: &str, words: &str) -> bool {
    place_of(stem, words).is_some()
}

/// Where a name stands in a text as whole words.
fn place_of(text: &str, name: &str) -> Option<usize> {
    let edge = |letter: Option<char>| letter.is_none_or(|letter| !letter.is_alphanumeric());
    let whole =
        |&at: &usize| edge(text[..at].chars().next_back()) && edge(text[at + name.len()..].chars().next());
    (!name.is_empty())
        .then(|| text.match_indices(name).map(|found| found.0).find(whole))
        .flatten()
}

/// The path with the body's name in its last part marked.
pub(super) fn with_mark(file: &str, body: &str) -> String {
    let from = file.rfind('/').map_or(0, |slash| slash + 1);
    place_of(&file[from..], body).map_or_else(
        || file.to_owned(),
        |at| {
            format!(
                "{}{BODY_MARK}{}",
                &file[..from + at],
                &file[from + at + body.len()..]
            )
        },
    )
}

pub(super) fn stem(file: &str) -> &str {
    let name = file.rsplit('/').next().unwrap_or(file);
    name.rsplit_once('.').map_or(name, |parts| parts.0)
}

/// A name as the reader takes it: no dividers at its ends, none twice, no sign that results use.
pub(super) fn tidy(name: &str) -> String {
    let mut tidy = String::new();
    let mut divided = false;
    for letter in name.chars().take(80) {
        let dull = letter.is_control() || letter.is_whitespace() || "_-.:,{}/\\".contains(letter);
        if dull {
            // The first of several is kept.
            if !divided && !tidy.is_empty() {
                tidy.push(if "_-.".contains(letter) { letter } else { '-' });
            }
        } else {
            tidy.push(letter);
        }
        divided = dull;
    }
    tidy.trim_end_matches(['_', '-', '.']).to_owned()
}
