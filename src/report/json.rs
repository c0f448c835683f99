//! The run as `result.json`, and back.

use crate::outcome::{Outcome, SCHEMA_VERSION};
use crate::written::shortened;
use serde_json::Value;

/// Why a text is not a result of this tool.
#[derive(Debug, thiserror::Error)]
pub enum JsonError {
    /// Not JSON, or not of this shape; line and column are in the message.
    #[error("this is not a result of gusset: {}", shortened(&.0.to_string(), 300))]
    Shape(#[from] serde_json::Error),
    /// Written by a later version.
    #[error(
        "this result has schema version {found}, but this gusset reads up to {SCHEMA_VERSION}: use a newer one"
    )]
    Newer {
        /// The version in the text.
        found: u64,
    },
    /// Has no version at all.
    #[error("this is not a result of gusset: it has no `schema_version`")]
    NoVersion,
}

/// As text: keys sorted, numbers of six figures, one line end at the end.
pub fn render(outcome: &Outcome) -> String {
    let mut value =
        serde_json::to_value(outcome).expect("an outcome is made of maps, lists, numbers and text");
    round(&mut value);
    format!("{value:#}\n")
}

/// The outcome of a text that [`render`] wrote.
pub fn parse(text: &str) -> Result<Outcome, JsonError> {
    let mut value: Value = serde_json::from_str(text)?;
    let found = value
        .get("schema_version")
        .and_then(Value::as_u64)
        .ok_or(JsonError::NoVersion)?;
    if found > u64::from(SCHEMA_VERSION) {
        return Err(JsonError::Newer { found });
    }
    // Reading may be off by the last bit; six figures bring back what was written.
    round(&mut value);
    Ok(serde_json::from_value(value)?)
}

/// The JSON Schema of `result.json`.
pub fn schema() -> String {
    let schema = schemars::schema_for!(Outcome);
    format!("{:#}\n", schema.to_value())
}

/// A number of six figures: beyond them the last bits of different systems begin.
pub fn six_figures(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

fn round(value: &mut Value) {
    match value {
        Value::Number(number) if number.is_f64() => {
            if let Some(short) = number
                .as_f64()
                .map(six_figures)
                .and_then(serde_json::Number::from_f64)
            {
                *number = short;
            }
        }
        Value::Array(list) => list.iter_mut().for_each(round),
        Value::Object(map) => map.values_mut().for_each(round),
        _ => {}
    }
}

#[cfg(test)]
#[path = "../../tests/support/dice.rs"]
mod dice;

#[cfg(test)]
mod tests {
    use super::dice::edit;
    use super::*;
    use crate::report::{csv, junit, markdown, sample};

    #[test]
    fn what_was_written_reads_back_and_writes_the_same() {
        let text = render(&sample::outcome());
        let back = parse(&text).unwrap();
        assert_eq!(render(&back), text);
        assert_eq!(
            back.fittings[0].poses.len(),
            sample::outcome().fittings[0].poses.len()
        );
        assert_eq!(parse(&render(&back)).unwrap(), back);
    }

    #[test]
    fn numbers_have_six_figures_and_keys_are_sorted() {
        let mut outcome = sample::outcome();
        outcome.fittings[0].garments[0].area_cm2 = 1_234.567_891;
        let text = render(&outcome);
        assert!(text.contains("\"area_cm2\": 1234.57"), "{}", &text[..2000]);
        let top: Vec<&str> = text.lines().filter(|l| l.starts_with("  \"")).collect();
        assert!(top.is_sorted(), "{top:?}");
    }

    /// The door of a result, as the fuzzer's: what can be read can be written in every form, or is refused in a sentence.
    #[test]
    fn edited_results_break_no_output() {
        let text = render(&sample::outcome());
        sample::save("result.json", text.as_bytes());
        let tally = edit(&[text.into_bytes()], 6, 6_000, |bytes| {
            let Ok(text) = std::str::from_utf8(bytes) else {
                return Err("not text".into());
            };
            let outcome = parse(text).map_err(|error| error.to_string())?;
            let _ = (csv::render(&outcome), junit::render(&outcome));
            let _ = (markdown::render(&outcome), markdown::of_rack(&outcome));
            let written = render(&outcome);
            assert_eq!(render(&parse(&written).unwrap()), written);
            Ok(())
        });
        eprintln!("{tally:?}");
    }

    #[test]
    fn a_later_version_and_another_text_are_told_apart() {
        let later = render(&sample::outcome()).replace("\"schema_version\": 1", "\"schema_version\": 99");
        assert!(matches!(parse(&later), Err(JsonError::Newer { found: 99 })));
        assert!(matches!(parse("{}"), Err(JsonError::NoVersion)));
        assert!(matches!(parse("FAIL"), Err(JsonError::Shape(_))));
    }

    #[test]
    fn the_schema_names_every_top_field() {
        let schema: Value = serde_json::from_str(&schema()).unwrap();
        let written: Value = serde_json::from_str(&render(&sample::outcome())).unwrap();
        for key in written.as_object().unwrap().keys() {
            assert!(schema["properties"].get(key).is_some(), "{key}");
        }
    }
}
