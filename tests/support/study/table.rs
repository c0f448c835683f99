//! The study's tables.

use super::Row;
use super::cause::{Named, right};
use gusset::outcome::{Demand, Verdict};
use std::collections::BTreeMap;
use std::fmt::Write;

/// One line a fitting.
pub(crate) fn rows(rows: &[Row]) -> String {
    let mut text = String::from(
        "seed,garment,ease_mm,fault,strength,side,lower,visible,verdict,failed,named,mended,spots,numbers\n",
    );
    for row in rows {
        let fault = row.planted.map_or(String::from("clean,,,"), |planted| {
            format!(
                "{},{:.2},{},{:.2}",
                planted.fault.name(),
                planted.strength,
                if planted.on_the_right { "right" } else { "left" },
                planted.lower
            )
        });
        let failed: Vec<String> = row
            .failed
            .iter()
            .map(|(what, pose)| format!("{what}@{pose}"))
            .collect();
        let numbers: Vec<String> = row
            .worst
            .iter()
            .map(|((path, demand), (value, pose, limit))| {
                format!("{path}@{demand:?}={value:.3}/{limit:.3}@{pose}")
            })
            .collect();
        let _ = writeln!(
            text,
            "{},\"{}\",{:.1},{fault},\"{}\",{:?},\"{}\",{},{},\"{}\",\"{}\"",
            row.seed,
            row.about,
            row.ease_mm,
            row.visible.as_deref().unwrap_or("-"),
            row.verdict,
            failed.join(" "),
            row.named.as_ref().map_or("-", |named| &named.first),
            row.named.as_ref().is_some_and(|named| named.mended),
            row.named.as_ref().map_or("-", |named| &named.say),
            numbers.join(" ")
        );
    }
    text
}

/// All tables: limits, then faults by kind.
pub(crate) fn tables(rows: &[Row]) -> String {
    let mut text = String::new();
    for (half, words) in [(0, "settling half (even seeds)"), (1, "testing half (odd seeds)")] {
        let half: Vec<&Row> = rows.iter().filter(|row| row.seed % 2 == half).collect();
        let _ = writeln!(text, "\n{words}\n{}", limits(&half));
    }
    text + &faults(rows)
}

/// By number: the limit, the worst clean value, the least of faulty ones that are over it (each with its share of the
/// limit), and how many are over.
fn limits(rows: &[&Row]) -> String {
    let mut paths: Vec<&str> = rows
        .iter()
        .flat_map(|row| row.worst.keys().map(|(path, _)| path.as_str()))
        .collect();
    paths.sort_unstable();
    paths.dedup();
    let made: Vec<&&Row> = rows.iter().filter(|row| row.planted.is_none()).collect();
    // Where pictures show skin as well, the tool is right.
    let clean: Vec<&&Row> = made.iter().copied().filter(|row| row.visible.is_none()).collect();
    let faulty: Vec<&&Row> = rows.iter().filter(|row| row.planted.is_some()).collect();
    let failed = clean.iter().filter(|row| row.verdict != Verdict::Pass).count();
    let seen: Vec<&&&Row> = faulty.iter().filter(|row| row.visible.is_some()).collect();
    let missed = seen.iter().filter(|row| row.verdict == Verdict::Pass).count();
    let mut text = format!(
        "{} made clean, of which {} show skin in pictures too; of the other {} {failed} fail; {} faulty, {} that an eye can see, {missed} of them pass\n",
        made.len(),
        made.len() - clean.len(),
        clean.len(),
        faulty.len(),
        seen.len()
    );
    let _ = writeln!(
        text,
        "| number | demand | limit | worst clean | least faulty over it | clean over | faulty over |"
    );
    let _ = writeln!(text, "| --- | --- | --- | --- | --- | --- | --- |");
    for path in paths {
        for demand in [Demand::Upright, Demand::Seated, Demand::Hard] {
            let key = (path.to_owned(), demand);
            let of = |row: &Row| row.worst.get(&key).map(|(value, _, limit)| (*value, *limit));
            let of_clean: Vec<(f64, f64)> = clean.iter().filter_map(|row| of(row)).collect();
            // Limits may add slack by fitting: the worst is the one nearest to its own limit, and so is the least.
            let nearest = |a: &(f64, f64), b: &(f64, f64)| (a.0 / a.1).total_cmp(&(b.0 / b.1));
            let Some(worst) = of_clean.iter().copied().max_by(nearest) else {
                continue;
            };
            let over = |(value, limit): &(f64, f64)| value > limit;
            let of_faulty = seen.iter().filter_map(|row| of(row));
            let faulty_over: Vec<(f64, f64)> = of_faulty.filter(over).collect();
            let least = faulty_over
                .iter()
                .copied()
                .min_by(nearest)
                .map_or_else(|| "-".into(), times);
            let _ = writeln!(
                text,
                "| {path} | {demand:?} | {:.2} | {} | {least} | {} | {} |",
                worst.1,
                times(worst),
                of_clean.iter().filter(|pair| over(pair)).count(),
                faulty_over.len()
            );
        }
    }
    text
}

/// A value with its share of the limit.
fn times((value, limit): (f64, f64)) -> String {
    format!("{value:.2} ({:.2})", value / limit)
}

/// By kind and strength: how many were planted, how many an eye can see, how many of those fail, are named rightly first, and
/// have a remedy that lets everything pass.
fn faults(rows: &[Row]) -> String {
    let mut kinds: BTreeMap<(&str, &str), [usize; 5]> = BTreeMap::new();
    for row in rows {
        let Some(planted) = row.planted else { continue };
        let strength = if planted.strength < 0.66 {
            "up to 2/3"
        } else {
            "above"
        };
        let counts = kinds.entry((planted.fault.name(), strength)).or_default();
        counts[0] += 1;
        if row.visible.is_none() {
            continue;
        }
        counts[1] += 1;
        counts[2] += usize::from(row.verdict != Verdict::Pass);
        if let Some(named) = &row.named {
            let (right, _) = right(planted.fault);
            counts[3] += usize::from(right.contains(&named.first.as_str()));
            counts[4] += usize::from(named.mended);
        }
    }
    let mut text = String::from(
        "| fault | strength | planted | seen by an eye | found | named rightly first | a remedy lets everything pass |\n| --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for ((kind, strength), [planted, seen, found, named, mended]) in kinds {
        let _ = writeln!(
            text,
            "| {kind} | {strength} | {planted} | {seen} | {found} | {named} | {mended} |"
        );
    }
    let asked: Vec<(&Row, &Named)> = rows
        .iter()
        .filter_map(|row| Some((row, row.named.as_ref()?)))
        .collect();
    let share = |of: &dyn Fn(&Row, &Named) -> bool, among: &dyn Fn(&Row) -> bool| {
        let among: Vec<&(&Row, &Named)> = asked.iter().filter(|(row, _)| among(row)).collect();
        let count = among.iter().filter(|(row, named)| of(row, named)).count();
        format!("{count} of {}", among.len())
    };
    let fault = |row: &Row| row.planted.map(|planted| right(planted.fault));
    if !asked.is_empty() {
        let _ = writeln!(
            text,
            "\nnamed rightly first: {}; of what an edit can mend, a remedy lets everything pass: {}",
            share(
                &|row, named| fault(row).is_some_and(|(right, _)| right.contains(&named.first.as_str())),
                &|_| true
            ),
            share(&|_, named| named.mended, &|row| fault(row)
                .is_some_and(|(_, can)| can)),
        );
    }
    text
}
