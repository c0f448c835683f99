//! What a maker can write in a fitting file, each mistake with its place and what it is answered with.

use super::super::{Day, Place, schema};
use super::*;
use crate::rig::gltf::ReadOptions;
use std::path::{Path, PathBuf};

const SMALLEST: &str = "bodies:   [{ name: ash, file: ash.glb }]\ngarments: [{ name: work-trousers, file: work_trousers.glb }]\n";
const WHOLE: &str = include_str!("example.yaml");

fn read(text: &str) -> Rack {
    parse(text, "fitting.yaml", false).unwrap_or_else(|error| panic!("{}", error.in_a_line()))
}

/// Line, sentence and help for what cannot stand.
fn refused(text: &str) -> (usize, String, String) {
    let error = parse(text, "fitting.yaml", false).unwrap_err();
    let mistake = error.mistake().unwrap_or_else(|| panic!("{error}"));
    (mistake.line, mistake.say.clone(), mistake.help.clone())
}

#[test]
fn two_lists_are_enough() {
    let rack = read(SMALLEST);
    assert_eq!((rack.bodies.len(), rack.garments.len()), (1, 1));
    assert!(rack.poses.is_empty() && rack.out.is_none());
}

#[test]
fn every_key_is_read() {
    let rack = read(WHOLE);
    assert_eq!(
        rack.bodies[0].roles,
        [
            (Bone::from_name("leftUpperLeg").unwrap(), "thigh_l".to_owned()),
            (Bone::from_name("rightUpperLeg").unwrap(), "thigh_r".to_owned()),
        ]
    );
    assert_eq!(
        rack.clips,
        [
            ("Walk".to_owned(), Demand::Upright),
            ("Stairs".to_owned(), Demand::Seated)
        ]
    );
    assert_eq!(rack.promised, ["squat", "mine"]);
    assert_eq!(rack.excuses[0].until, Day::parse("2027-01-31"));
    assert_eq!(rack.limits["lift.area_cm2"][&Demand::Upright], 4.0);
    let place = Place {
        folder: Path::new("shop"),
        allow_outside: false,
    };
    let jobs = |today| rack.jobs(place, &ReadOptions::default(), Day::parse(today).unwrap());
    let of = jobs("2027-01-31");
    let names: Vec<String> = of
        .iter()
        .map(|job| format!("{} on {}", job.garment, job.body))
        .collect();
    assert_eq!(
        names,
        [
            "leggings on ash",
            "leggings on birch M",
            "trousers on birch M",
            "leggings on birch L",
            "trousers on birch L",
            "leggings on birch XL",
            "leggings on birch least",
            "leggings on birch most",
        ]
    );
    let trousers = &of[2].outfit;
    assert_eq!(trousers.garment, PathBuf::from("shop/trousers_birch.glb"));
    assert_eq!(trousers.over, [PathBuf::from("shop/leggings_birch.glb")]);
    assert_eq!(of[0].fabric, FabricClass::Power);
    let size = |at: usize| of[at].outfit.size.clone();
    assert_eq!(size(0), None);
    assert_eq!(size(3).unwrap().0.morphs, [("Belly".to_owned(), 0.6)]);
    let xl = &size(5).unwrap().0.joints[1];
    assert_eq!(
        (xl.joint.as_str(), xl.scale, xl.offset_m, xl.inherit),
        ("rightUpperLeg", [1.15, 1.0, 1.15], [-0.01, 0.0, 0.0], false)
    );
    let most = &size(7).unwrap().0.joints[1];
    assert_eq!((most.scale, most.offset_m), ([1.15, 1.05, 1.15], [0.0; 3]));
    // The first excuse is for the trousers, the second for the first body.
    assert_eq!([0, 1, 2].map(|at| of[at].excuses.len()), [1, 0, 1]);
    assert!(!of[2].excuses[0].expired);
    assert!(jobs("2027-02-01")[2].excuses[0].expired);
}

#[test]
fn a_wrong_word_is_answered_with_its_line_and_the_nearest_right_one() {
    let with = |text: &str| format!("{SMALLEST}{text}\n");
    for (text, line, said, help) in [
        (
            SMALLEST.replace("bodies", "bodys"),
            1,
            "`bodys` is not one of the keys of a fitting file",
            "did you mean `bodies`?",
        ),
        (
            SMALLEST.replace("file: work", "flie: work"),
            2,
            "`flie`",
            "did you mean `file`?",
        ),
        (
            with("poses: [standing, sittin]"),
            3,
            "`sittin` is not one of the poses of the library",
            "did you mean `sitting`?",
        ),
        (
            with("poses: [standing]\npromised: [standin]"),
            4,
            "`standin`",
            "did you mean `standing`?",
        ),
        (
            with("excuses:\n  - { measure: lift.area_cm, reason: x }"),
            4,
            "`lift.area_cm`",
            "did you mean `lift.area_cm2`?",
        ),
        (
            with("excuses:\n  - { measure: lift, region: inner left thig, reason: x }"),
            4,
            "thig",
            "did you mean `inner left thigh`?",
        ),
        (
            with("excuses:\n  - { measure: lift, reason: x, until: 2027-02-29 }"),
            4,
            "no day",
            "write it like 2027-01-31",
        ),
        (
            with("excuses:\n  - { measure: lift }"),
            4,
            "`reason` is missing",
            "reason",
        ),
        (
            with("limits: { lift.area_cm2: { uprigt: 1 } }"),
            3,
            "`uprigt`",
            "did you mean `upright`?",
        ),
        (
            with("limits: { lift.area_cm2: { upright: .nan } }"),
            3,
            "outside 0 to",
            "write a number",
        ),
        (
            with("clips: [{ name: Walk, demand: sitting }]"),
            3,
            "`sitting`",
            "seated",
        ),
        (
            SMALLEST.replace("file: ash.glb", "file: ash.glb, roles: { leftUperLeg: x }"),
            1,
            "`leftUperLeg`",
            "leftUpperLeg",
        ),
        (
            SMALLEST.replace("trousers.glb", "trousers.glb, over: [work-trousers]"),
            2,
            "`work-trousers` is not one of the other garments",
            "",
        ),
        (
            SMALLEST.replace("trousers.glb", "trousers.glb, bodies: [asch]"),
            2,
            "`asch`",
            "did you mean `ash`?",
        ),
        (
            SMALLEST.replace("trousers.glb", "trousers.glb, fabric: rigit"),
            2,
            "`rigit`",
            "did you mean `rigid`?",
        ),
        (
            SMALLEST.replace("file: ash.glb", "file: ash.glb, unit: centimetres"),
            1,
            "`centimetres` is not one of the units of length",
            "",
        ),
        (
            SMALLEST.replace("trousers.glb", "trousers.glb, up: w"),
            2,
            "`w` is not one of the axes",
            "",
        ),
        (
            SMALLEST.replace("ash.glb", "ash.glb, sizes: [{ name: L, morfs: { a: 1 } }]"),
            1,
            "`morfs`",
            "did you mean `morphs`?",
        ),
        (
            SMALLEST.replace(
                "ash.glb",
                "ash.glb, sizes: [{ name: L, joints: { a: { scale: [1, 2] } } }]",
            ),
            1,
            "three numbers",
            "[1.1, 1, 1.1]",
        ),
        (
            SMALLEST.replace("ash.glb", "ash.glb, sizes: [{ name: L, joints: { a: 0 } }]"),
            1,
            "outside 0.05 to 20",
            "",
        ),
        (
            SMALLEST.replace("ash.glb", "ash.glb, sizes: [{ name: L }, { name: L }]"),
            1,
            "called `ash L` already",
            "",
        ),
        (
            SMALLEST.replace("ash.glb", "ash.glb, sizes: [{ name: most }], corners: true"),
            1,
            "what one of the corners is called",
            "",
        ),
        (
            SMALLEST.replace("ash.glb", "ash.glb, corners: true"),
            1,
            "there is no size",
            "sizes:",
        ),
        (
            SMALLEST
                .replace("ash.glb", "ash.glb, sizes: [{ name: large }]")
                .replace("trousers.glb", "trousers.glb, sizes: [larg]"),
            2,
            "`larg` is not one of the sizes of this file",
            "did you mean `large`?",
        ),
        (
            SMALLEST.replace("name: work-trousers", "name: ash"),
            2,
            "called `ash` already",
            "",
        ),
        (SMALLEST.replace("name: ash", "name: 'a/b'"), 1, "a name has", ""),
        ("bodies: []\ngarments: []\n".into(), 1, "nothing stands", ""),
        (
            "garments: [{ name: a, file: a.glb }]\n".into(),
            1,
            "`bodies` is missing",
            "",
        ),
        (with("out: a\nout: b"), 4, "`out` is written twice", ""),
    ] {
        let (at, say, what) = refused(&text);
        assert!(
            at == line && say.contains(said) && what.contains(help),
            "{text}: {at} {say} {what}"
        );
    }
}

#[test]
fn paths_stay_in_the_folder_unless_they_may_leave_it() {
    for file in [
        "../ash.glb",
        "/etc/passwd",
        "a/../../b.glb",
        "C:\\\\ash.glb",
        "file:///ash.glb",
        "\\\\\\\\host\\\\a",
    ] {
        let text = SMALLEST.replace("file: ash.glb", &format!("file: \"{file}\""));
        let (line, say, help) = refused(&text);
        assert!(
            line == 1 && help.contains("--allow-outside-files"),
            "{file}: {say} {help}"
        );
        assert!(parse(&text, "fitting.yaml", true).is_ok(), "{file}");
        for key in ["out: FILE", "poses: ['FILE.yaml']"] {
            let text = format!("{SMALLEST}{}\n", key.replace("FILE", &file.replace("\\\\", "\\")));
            assert_eq!(refused(&text).0, 3, "{text}");
        }
    }
}

#[test]
fn a_link_out_of_the_folder_is_found_too() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("shop");
    std::fs::create_dir(&folder).unwrap();
    std::fs::write(parent.path().join("ash.glb"), "x").unwrap();
    std::fs::write(folder.join("own.glb"), "x").unwrap();
    let place = |allow_outside| Place {
        folder: &folder,
        allow_outside,
    };
    assert_eq!(place(false).leads_out(&folder.join("own.glb")), None);
    assert_eq!(place(false).leads_out(&folder.join("missing.glb")), None);
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("../ash.glb", folder.join("ash.glb")).unwrap();
        assert!(
            place(false)
                .leads_out(&folder.join("ash.glb"))
                .unwrap()
                .contains("--allow-outside-files")
        );
        assert_eq!(place(true).leads_out(&folder.join("ash.glb")), None);
    }
}

#[test]
fn bombs_are_refused() {
    let mut bomb = String::from("a0: &a0 [x, x, x, x, x, x, x, x]\n");
    for level in 1..12 {
        bomb += &format!(
            "a{level}: &a{level} [{}]\n",
            vec![format!("*a{}", level - 1); 8].join(", ")
        );
    }
    assert!(parse(&bomb, "fitting.yaml", false).is_err());
    let many = |key: &str, count: usize| {
        let entries: Vec<String> = (0..count)
            .map(|at| format!("{{name: {key}{at}, file: x}}"))
            .collect();
        format!("{key}: [{}]\n", entries.join(","))
    };
    let text = many("bodies", 200) + &many("garments", 60);
    assert!(refused(&text).1.contains("too many"));
}

/// The keys that a schema allows where, and what each may hold: as much of JSON Schema as the fitting file's uses.
fn allows(schema: &serde_json::Value, value: &serde_json::Value) -> bool {
    if let Some(any) = schema["anyOf"].as_array() {
        return any.iter().any(|schema| allows(schema, value));
    }
    if let Some(words) = schema["enum"].as_array() {
        return words.contains(value);
    }
    match schema["type"].as_str() {
        Some("object") => value.as_object().is_some_and(|map| {
            let required = schema["required"].as_array().into_iter().flatten();
            required
                .into_iter()
                .all(|key| map.contains_key(key.as_str().unwrap_or_default()))
                && map.iter().all(|(key, value)| {
                    // A schema of its own for names that the format does not know.
                    let free = Some(&schema["additionalProperties"]).filter(|schema| schema.is_object());
                    schema["properties"]
                        .get(key)
                        .or(free)
                        .is_some_and(|schema| allows(schema, value))
                })
        }),
        Some("array") => value.as_array().is_some_and(|list| {
            list.len() as u64 >= schema["minItems"].as_u64().unwrap_or(0)
                && list.iter().all(|value| allows(&schema["items"], value))
        }),
        Some("string") => value
            .as_str()
            .is_some_and(|word| match schema["pattern"].as_str() {
                Some("\\.ya?ml$") => word.ends_with(".yaml") || word.ends_with(".yml"),
                _ => !word.trim().is_empty(),
            }),
        Some("number") => value.is_number(),
        Some("boolean") => value.is_boolean(),
        other => panic!("the schema has a kind this test does not know: {other:?}"),
    }
}

#[test]
fn the_schema_accepts_the_examples_and_refuses_a_typo() {
    let schema: serde_json::Value = serde_json::from_str(&schema::schema()).unwrap();
    let value = |text: &str| serde_yaml::from_str::<serde_json::Value>(text).unwrap();
    assert!(allows(&schema, &value(SMALLEST)));
    assert!(allows(&schema, &value(WHOLE)));
    for (right, wrong) in [
        ("hidden:", "hiden:"),
        ("unit: cm", "unit: cn"),
        ("up: z", "up: w"),
        ("sizes:", "size:"),
        ("morphs:", "morhps:"),
        ("inherit: false", "inherit: 0"),
        ("offset_mm:", "offset:"),
        ("leftUpperLeg", "leftUperLeg"),
        ("fabric: power", "fabric: powr"),
        ("demand: seated", "demand: seatd"),
        ("region: inner left thigh", "region: inner left thig"),
        ("lift.area_cm2: { upright", "lift.area_cm2: { uprigt"),
        ("measure: dip", "measure: dp"),
        ("[standing, squat", "[standing, squatt"),
        ("promised:", "promissed:"),
    ] {
        let typo = WHOLE.replacen(right, wrong, 1);
        assert_ne!(typo, WHOLE);
        assert!(!allows(&schema, &value(&typo)), "{wrong}");
        assert!(parse(&typo, "fitting.yaml", false).is_err(), "{wrong}");
    }
    for key in KEYS {
        assert!(schema["properties"][key]["description"].is_string(), "{key}");
    }
}
