//! Each mistake a maker can write in a pose file, and the place, sentence and help it is answered with.

use super::*;

const HEAD: &str = "name: a\nabout: A pose.\nbasis: [common practice]\ndemand: upright\n";

fn read(rest: &str) -> Result<Pose, PoseError> {
    parse(format!("{HEAD}{rest}"), "a.yaml")
}

/// Line, column, the marked word, the help.
fn refused(text: &str) -> (usize, usize, String, String) {
    let error = parse(text, "a.yaml").unwrap_err();
    let mistake = error.mistake().unwrap_or_else(|| panic!("{error}"));
    let start = mistake.span.offset();
    let word = text[start..start + mistake.span.len()].to_owned();
    (mistake.line, mistake.column, word, mistake.help.clone())
}

fn at(rest: &str) -> (usize, usize, String, String) {
    refused(&format!("{HEAD}{rest}"))
}

#[test]
fn a_slip_in_a_key_is_answered_with_the_right_word() {
    let cases = [
        ("angels: {}\n", 5, 1, "angels", "did you mean `angles`?"),
        (
            "angles:\n  hip: { flexion: 9 }\n",
            6,
            3,
            "hip",
            "did you mean `hips`?",
        ),
        (
            "angles:\n  left_hipp: { flexion: 9 }\n",
            6,
            3,
            "left_hipp",
            "did you mean `left_hip`?",
        ),
        (
            "angles:\n  hips: { abducton: 9 }\n",
            6,
            11,
            "abducton",
            "did you mean `abduction`?",
        ),
        (
            "frames:\n  - at_s: 0\n  - at_z: 1\n",
            7,
            5,
            "at_z",
            "did you mean `at_s`?",
        ),
        (
            "cycle: { second: 1 }\nframes: [{}]\n",
            5,
            10,
            "second",
            "did you mean `seconds`?",
        ),
        (
            "optional: [shoulder]\nangles: {}\n",
            5,
            12,
            "shoulder",
            "did you mean `shoulders`?",
        ),
    ];
    for (rest, line, column, word, help) in cases {
        assert_eq!(at(rest), (line, column, word.into(), help.into()), "{rest}");
    }
    let demand = HEAD.replace("upright", "uprigth") + "angles: {}\n";
    assert_eq!(refused(&demand).2, "uprigth");
    // A motion of another joint is answered with those this one has.
    assert_eq!(
        at("angles:\n  knees: { abduction: 9 }\n").3,
        "the keys of `knees` are: flexion"
    );
}

#[test]
fn what_is_written_twice_is_shown_at_the_second_place() {
    assert_eq!(at("angles: {}\nangles: {}\n").0, 6);
    assert_eq!(at("angles:\n  hips: { flexion: 1, flexion: 2 }\n").1, 23);
    let (.., help) = at("angles:\n  left_hip: { flexion: 1 }\n  hips: { flexion: 2 }\n");
    assert!(help.contains("`left_hip` and `right_hip`"), "{help}");
}

#[test]
fn values_of_the_wrong_kind_are_marked() {
    let cases = [
        ("angles:\n  hips: { flexion: lots }\n", "lots"),
        ("angles:\n  hips: { flexion: .nan }\n", ".nan"),
        ("angles:\n  hips: { flexion: 1e9 }\n", "1e9"),
        ("angles:\n  hips: 90\n", "90"),
        ("angles:\n  hips: bend\n", "bend"),
        ("angles: 5\n", "5"),
        ("beyond_range: 1\nangles: {}\n", "1"),
        ("steps: 2.5\nframes: [{}]\n", "2.5"),
        ("steps: 100000\nframes: [{}]\n", "100000"),
        ("steps: 3\nangles: {}\n", "3"),
        ("cycle: { seconds: 0 }\nframes: [{ at_percent: 0 }]\n", "0"),
    ];
    for (rest, word) in cases {
        assert_eq!(at(rest).2, word, "{rest}");
    }
}

#[test]
fn what_is_missing_is_named() {
    for key in ["name", "about", "basis", "demand"] {
        let without: String = HEAD
            .lines()
            .filter(|line| !line.starts_with(key))
            .fold(String::new(), |text, line| text + line + "\n");
        let error = parse(without + "angles: {}\n", "a.yaml").unwrap_err();
        assert!(
            error.to_string().contains(&format!("`{key}` is missing")),
            "{error}"
        );
    }
    for rest in ["", "frames: []\n", "cycle: { seconds: 1 }\nframes: [{}]\n"] {
        assert!(read(rest).is_err(), "{rest}");
    }
    assert!(
        read("angles: {}\nframes: [{}]\n")
            .unwrap_err()
            .to_string()
            .contains("not both")
    );
    assert!(parse("", "a.yaml").is_err());
}

#[test]
fn a_name_fits_files_and_options() {
    for name in ["Sitting", "sit down", "../x", "2_legs", "''"] {
        let text = HEAD.replace("name: a", &format!("name: {name}")) + "angles: {}\n";
        assert_eq!(refused(&text).0, 1, "{name}");
    }
}

#[test]
fn an_angle_beyond_the_joint_is_marked_unless_meant() {
    let text = "angles:\n  left_hip: { flexion: 90 }\n  right_hip: { abduction: 80 }\n";
    let (line, column, word, _) = at(text);
    assert_eq!((line, column, word.as_str()), (7, 27, "80"));
    assert!(
        read(text)
            .unwrap_err()
            .to_string()
            .contains("hip abduction of 80.0 degrees is outside -30 to 50")
    );
    let pose = read(&format!("beyond_range: true\n{text}")).unwrap();
    assert_eq!(ranges::check(&pose).len(), 1);
}

#[test]
fn between_legal_frames_an_illegal_one_is_found() {
    // Turned out as far as a flexed hip goes, then straight: half way the hip is straight and still turned.
    let text = "steps: 5\nframes:\n  - hips: { flexion: 90, rotation: 85 }\n  - hips: { flexion: 0, rotation: 55 }\n";
    assert!(
        read(text)
            .unwrap_err()
            .to_string()
            .contains("between the key frames")
    );
}

#[test]
fn frames_follow_in_time_and_keep_their_kind() {
    assert_eq!(at("frames:\n  - at_s: 1\n  - at_s: 1\n").2, "1");
    assert_eq!(at("frames:\n  - knees: bind\n  - knees: { flexion: 1 }\n").0, 7);
    let right = "cycle: { seconds: 1, right_after_percent: 50 }\nframes:\n  - at_percent: 0\n    hips: { flexion: 1 }\n";
    assert_eq!(at(right).0, 8);
}

#[test]
fn degrees_become_radians_and_both_sides_are_meant_by_the_plural() {
    let pose = read("angles:\n  hips: { flexion: 90 }\n  right_knee: bind\n").unwrap();
    let frame = &pose.frames[0];
    for side in Side::BOTH {
        assert_eq!(
            frame.get(Bone::UpperLeg(side), Motion::Flexion),
            Some(std::f64::consts::FRAC_PI_2)
        );
    }
    assert_eq!(
        frame.angles.get(&Bone::LowerLeg(Side::Right)),
        Some(&Angles::Bind)
    );
    assert_eq!(frame.angles.get(&Bone::LowerLeg(Side::Left)), None);
}

#[test]
fn the_report_prints_file_line_and_snippet() {
    let error = read("angles:\n  hips: { abducton: 9 }\n").unwrap_err();
    let mut page = String::new();
    miette::GraphicalReportHandler::new_themed(miette::GraphicalTheme::none())
        .render_report(&mut page, error.report().as_ref())
        .unwrap();
    for part in [
        "a.yaml:6:11",
        "hips: { abducton: 9 }",
        "not known here",
        "did you mean `abduction`?",
    ] {
        assert!(page.contains(part), "{part} is not in\n{page}");
    }
}

/// The examples a maker copies from the README are read without a complaint.
#[test]
fn the_readme_tells_the_truth() {
    let readme = include_str!("../../poses/README.md");
    let examples: Vec<&str> = readme
        .split("```yaml\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .collect();
    assert_eq!(examples.len(), 3);
    for example in examples {
        let text = if example.contains("name:") {
            example.to_owned()
        } else {
            format!("{HEAD}{example}")
        };
        let pose = parse(&text, "README.md").unwrap_or_else(|error| panic!("{:?}", error.report()));
        assert!([1, 13, 25].contains(&pose.frames.len()));
    }
    for (word, ..) in joint::keys().iter().filter(|(word, ..)| !word.contains('_')) {
        assert!(readme.contains(&format!("`{word}`")), "{word}");
    }
    for key in KEYS {
        assert!(
            readme.contains(&format!("{key}:")) || readme.contains(&format!("`{key}`")),
            "{key}"
        );
    }
}

proptest::proptest! {
    /// Whatever is cut from, put into or repeated in a good file, the reader answers and does not fall over.
    #[test]
    fn no_edit_of_a_good_file_breaks_the_reader(at in 0_usize..400, cut in 0_usize..40, put in ".{0,12}") {
        let text = include_str!("../../poses/running.yaml");
        let bytes = text.as_bytes();
        let at = at.min(bytes.len());
        let rest = (at + cut).min(bytes.len());
        let edited = [&bytes[..at], put.as_bytes(), &bytes[rest..]].concat();
        if let Err(error) = parse(edited, "a.yaml") {
            assert!(!error.to_string().is_empty());
            let _ = format!("{:?}", error.report());
        }
    }
}
