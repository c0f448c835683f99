//! Every frame's numbers as a table: one row per fitting, pose and frame, one column per number.

use super::json::six_figures;
use crate::outcome::{Fitting, FrameResult, Outcome, PoseResult};
use std::collections::BTreeSet;

/// Columns before the numbers.
const HEAD: [&str; 8] = [
    "body",
    "garment",
    "worn_over",
    "pose",
    "demand",
    "verdict",
    "frame",
    "time_s",
];

/// The table after RFC 4180. A number that could not be measured is an empty cell; a pose that does not apply has one
/// row without a frame.
pub fn render(outcome: &Outcome) -> String {
    let paths = columns(outcome);
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    let mut put = |row: Vec<String>| {
        writer
            .write_record(row)
            .expect("memory takes every byte, rows are equally long")
    };
    put(HEAD
        .into_iter()
        .chain(paths.iter().copied())
        .map(str::to_owned)
        .collect());
    for fitting in &outcome.fittings {
        for pose in &fitting.poses {
            let frames: Vec<Option<&FrameResult>> = if pose.frames.is_empty() {
                vec![None]
            } else {
                pose.frames.iter().map(Some).collect()
            };
            for frame in frames {
                put(row(fitting, pose, frame, &paths));
            }
        }
    }
    let bytes = writer.into_inner().expect("memory takes every byte");
    String::from_utf8(bytes).expect("only text was written")
}

/// Every number and word that any frame has, sorted.
fn columns(outcome: &Outcome) -> BTreeSet<&str> {
    let frames = outcome
        .fittings
        .iter()
        .flat_map(|f| &f.poses)
        .flat_map(|p| &p.frames);
    frames
        .flat_map(|f| f.measures.values.keys().chain(f.measures.words.keys()))
        .map(String::as_str)
        .collect()
}

fn row(
    fitting: &Fitting,
    pose: &PoseResult,
    frame: Option<&FrameResult>,
    paths: &BTreeSet<&str>,
) -> Vec<String> {
    let names: Vec<&str> = fitting.garments.iter().map(|g| g.name.as_str()).collect();
    let (garment, over) = names.split_first().unwrap_or((&"", &[]));
    let mut row = vec![
        fitting.body.clone(),
        (*garment).to_owned(),
        over.join(" over "),
        pose.pose.clone(),
        snake(&pose.demand),
        snake(&pose.verdict),
        frame.map(|f| f.frame.to_string()).unwrap_or_default(),
        frame.and_then(|f| f.time_s).map(cell).unwrap_or_default(),
    ];
    row.extend(paths.iter().map(|path| {
        let measures = frame.map(|f| &f.measures);
        let word = measures.and_then(|m| m.words.get(*path)).cloned();
        word.or_else(|| measures.and_then(|m| m.get(path)).map(cell))
            .unwrap_or_default()
    }));
    row
}

fn cell(value: f64) -> String {
    six_figures(value).to_string()
}

/// The word `result.json` uses.
fn snake(of: &impl serde::Serialize) -> String {
    serde_json::to_value(of)
        .ok()
        .and_then(|v| v.as_str().map(str::to_owned))
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn the_table_reads_back_with_one_row_per_frame() {
        let mut outcome = sample::outcome();
        outcome.fittings[0].garments[0].name = "moss, \"green\"\ntrousers".into();
        let text = render(&outcome);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let head = reader.headers().unwrap().clone();
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        let fitting = &outcome.fittings[0];
        let frames: usize = outcome
            .fittings
            .iter()
            .flat_map(|f| &f.poses)
            .map(|p| p.frames.len().max(1))
            .sum();
        assert_eq!(rows.len(), frames);
        assert_eq!(&rows[0][1], fitting.garments[0].name);
        let column = head
            .iter()
            .position(|h| h == "skin_shows.inner.area_cm2")
            .unwrap();
        let expected = fitting.poses[0].frames[0]
            .measures
            .get("skin_shows.inner.area_cm2")
            .unwrap();
        assert!((rows[0][column].parse::<f64>().unwrap() - expected).abs() < expected * 1e-5);
        assert!(head.iter().any(|h| h == "part_contact.skin.class"));
    }

    #[test]
    fn a_pose_that_does_not_apply_is_listed() {
        let text = render(&sample::outcome());
        assert!(text.contains(",arms_wide,upright,not_applicable,,,"), "{text}");
        assert!(text.lines().count() > 3 && text.split("\r\n").count() == text.lines().count() + 1);
    }
}
