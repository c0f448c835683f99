//! What lies in a folder, and the fitting file that is made of it.

use super::*;
use crate::rack;

fn found(files: &[(&str, Kind)]) -> Vec<Found> {
    let one = |(file, kind): &(&str, Kind)| Found {
        file: (*file).into(),
        kind: kind.clone(),
    };
    files.iter().map(one).collect()
}

/// Name, file and the bodies that wear it.
type Garment = (String, String, Vec<String>);

/// What the fitting file says, read back by the reader: body names, then garments with file and bodies.
fn read(found: &[Found]) -> (Vec<String>, Vec<Garment>) {
    let text = text(found).unwrap();
    let rack = rack::parse(&text, "fitting.yaml", false)
        .unwrap_or_else(|error| panic!("{text}\n{}", error.in_a_line()));
    let garments = rack
        .garments
        .into_iter()
        .map(|one| (one.name, one.file, one.bodies));
    (
        rack.bodies.into_iter().map(|one| one.name).collect(),
        garments.collect(),
    )
}

#[test]
fn files_that_differ_by_the_body_alone_are_one_garment() {
    let (bodies, garments) = read(&found(&[
        ("bodies/base_body_ash.glb", Kind::Body),
        ("bodies/base_body_birch.glb", Kind::Body),
        ("bodies/base_body_birch_tall.glb", Kind::Body),
        ("clothes/trousers_ash_v2.glb", Kind::Garment),
        ("clothes/trousers_birch_v2.glb", Kind::Garment),
        ("clothes/trousers_birch_tall_v2.glb", Kind::Garment),
        ("clothes/tunic-ash.glb", Kind::Garment),
        ("clothes/cape.glb", Kind::Garment),
        ("notes.glb", Kind::Neither("no skinned mesh")),
    ]));
    assert_eq!(bodies, ["ash", "birch", "birch_tall"]);
    let of = |name: &str| garments.iter().find(|one| one.0 == name).unwrap();
    assert_eq!(
        (of("trousers_v2").1.as_str(), of("trousers_v2").2.len()),
        ("clothes/trousers_{body}_v2.glb", 0)
    );
    assert_eq!(
        (of("tunic").1.as_str(), &of("tunic").2[..]),
        ("clothes/tunic-{body}.glb", &["ash".to_owned()][..])
    );
    assert_eq!(
        (of("cape").1.as_str(), of("cape").2.len()),
        ("clothes/cape.glb", 0)
    );
    assert_eq!(garments.len(), 3);
}

#[test]
fn bodies_are_called_as_their_clothes_call_them() {
    let (bodies, garments) = read(&found(&[
        ("scan_body_ash.glb", Kind::Body),
        ("scan_body_ash_cut.glb", Kind::Body),
        ("scan_body_birch.glb", Kind::Body),
        ("other_17.glb", Kind::Body),
        ("trousers_17_ash.glb", Kind::Garment),
        ("trousers_17_birch.glb", Kind::Garment),
    ]));
    assert_eq!(bodies, ["ash", "scan_body_ash_cut", "birch", "other_17"]);
    assert_eq!(garments[0].1, "trousers_17_{body}.glb");
    assert_eq!(garments[0].2, ["ash", "birch"]);
}

#[test]
fn one_body_alone_and_a_file_that_holds_both() {
    let (bodies, garments) = read(&found(&[
        ("ash_body.glb", Kind::Body),
        ("work trousers.glb", Kind::Garment),
    ]));
    assert_eq!(bodies, ["ash"]);
    assert_eq!(
        (garments[0].0.as_str(), garments[0].1.as_str()),
        ("work-trousers", "work trousers.glb")
    );
    let both = Kind::Both {
        skin: vec!["Skin".into()],
        cloth: vec!["Tunic: green".into()],
    };
    let (bodies, garments) = read(&found(&[("crew.glb", both)]));
    assert_eq!(
        (bodies[0].as_str(), garments[0].0.as_str(), garments[0].1.as_str()),
        ("crew", "Tunic-green", "{body}.glb")
    );
}

#[test]
fn whatever_files_are_called_the_reader_takes_it() {
    let odd = [
        "no.glb",
        "12.glb",
        "a: b, {c}.glb",
        "'x' \"y\".glb",
        "_.glb",
        "true.glb",
        "\u{1f456} é.glb",
        "#.glb",
    ];
    for body in odd {
        for garment in odd.iter().filter(|other| **other != body) {
            let (bodies, garments) = match text(&found(&[(body, Kind::Body), (garment, Kind::Garment)])) {
                Ok(text) => match rack::parse(&text, "f.yaml", false) {
                    Ok(rack) => (rack.bodies, rack.garments),
                    // A colon in a path is refused, as everywhere.
                    Err(error) => {
                        assert!(
                            body.contains(':') || garment.contains(':'),
                            "{text}{}",
                            error.in_a_line()
                        );
                        continue;
                    }
                },
                Err(say) => panic!("{say}"),
            };
            assert_eq!(
                (bodies.len(), garments.len(), bodies[0].file.as_str()),
                (1, 1, body)
            );
        }
    }
}

#[test]
fn a_folder_without_bodies_or_without_clothes_is_said() {
    assert!(
        text(&found(&[("a.glb", Kind::Garment)]))
            .unwrap_err()
            .contains("no body")
    );
    assert!(
        text(&found(&[("a.glb", Kind::Body)]))
            .unwrap_err()
            .contains("no clothes")
    );
}
