use super::*;

const TWO: &str = "HIERARCHY\nROOT Hips {\n OFFSET 0 90 0\n CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation\n JOINT Left Up Leg\n {\n  OFFSET 10 0 0\n  CHANNELS 3 Zrotation Xrotation Yrotation\n  End Site\n  {\n   OFFSET 0 -40 0\n  }\n }\n}\nMOTION\nFrames: 2\nFrame Time: 0.05\n0 90 0 0 0 0 0 0 0\n1 2 3 90 0 0 10 20 30\n";

#[test]
fn joints_rows_and_times_are_read() {
    let bvh = parse(TWO.as_bytes(), "two.bvh").unwrap();
    let names: Vec<(&str, Option<usize>)> = bvh
        .joints
        .iter()
        .map(|joint| (joint.name.as_str(), joint.parent))
        .collect();
    assert_eq!(names, [("Hips", None), ("Left Up Leg", Some(0)), ("", Some(1))]);
    assert_eq!((bvh.frames(), bvh.frame_s), (2, 0.05));
    assert_eq!(bvh.joints[2].offset, Vector3::new(0.0, -40.0, 0.0));
    assert!(bvh.rotations(0).iter().all(|turn| turn.angle() < 1e-12));
}

/// By hand: channels Z, X, Y turn as Rz Rx Ry, the last one first.
#[test]
fn rotations_are_the_product_of_the_channels_in_their_order() {
    let bvh = parse(TWO.as_bytes(), "two.bvh").unwrap();
    let turns = bvh.rotations(1);
    let x = turns[0] * Vector3::x();
    assert!((x - Vector3::y()).norm() < 1e-6, "{x}");
    let about = |axis, degrees: f64| Rotation3::from_axis_angle(&axis, degrees.to_radians());
    let wanted =
        about(Vector3::z_axis(), 10.0) * about(Vector3::x_axis(), 20.0) * about(Vector3::y_axis(), 30.0);
    let apart = turns[1].to_rotation_matrix().angle_to(&wanted);
    assert!(apart < 1e-6, "{apart}");
    assert_eq!(turns[2].angle(), 0.0);
    assert!(bvh.rotations(2).iter().all(|turn| turn.angle() == 0.0));
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let said = |text: &str| parse(text.as_bytes(), "a.bvh").unwrap_err().to_string();
    for (from, to, wanted) in [
        ("HIERARCHY", "hello", "a.bvh:1: a BVH file begins with HIERARCHY"),
        (
            "OFFSET 0 90 0",
            "OFFSET 0 x 0",
            "a.bvh:3: `x` is no number, and an offset is one",
        ),
        (
            "CHANNELS 3 Z",
            "CHANNELS 3 Q",
            "a.bvh:8: `Qrotation` is no channel",
        ),
        (
            "CHANNELS 3",
            "CHANNELS 7",
            "a.bvh:8: a joint has one CHANNELS line",
        ),
        ("Frames: 2", "Frames: 0", "a.bvh:16: 0 frames"),
        (
            "Frames: 2",
            "Frames: 3",
            "a.bvh:20: the file ends in frame 3 of 3, at number 1 of 9",
        ),
        (
            "Frames: 2",
            "Frames: 1",
            "a.bvh:19: `1` stands behind the last of 1 frames",
        ),
        ("Time: 0.05", "Time: 0", "a.bvh:17: a frame of 0 s"),
        ("10 20 30", "10 NaN 30", "a.bvh:19: `NaN` is no number"),
        ("MOTION", "}", "a.bvh:15: `}` stands where ROOT or MOTION belongs"),
    ] {
        let said = said(&TWO.replacen(from, to, 1));
        assert!(said.starts_with(wanted) && said.contains("; export"), "{said}");
    }
    assert!(said("HIERARCHY").contains("the file ends where ROOT or MOTION belongs"));
    assert!(said("HIERARCHY MOTION").contains("no joint with channels"));
    assert!(
        parse(b"\xff", "a.bvh")
            .unwrap_err()
            .to_string()
            .contains("not text (byte 0)")
    );
}

#[test]
fn what_would_swell_is_refused() {
    let deep = format!(
        "HIERARCHY\n{}",
        "ROOT a\n{\n".replace("ROOT", "JOINT").repeat(3_000)
    )
    .replacen("JOINT", "ROOT", 1);
    assert!(
        parse(deep.as_bytes(), "a.bvh")
            .unwrap_err()
            .say
            .contains("more than 400 deep")
    );
    let wide = format!("HIERARCHY\nROOT a\n{{\n{}", "End Site\n{\n}\n".repeat(3_000));
    assert!(
        parse(wide.as_bytes(), "a.bvh")
            .unwrap_err()
            .say
            .contains("more than 2000 joints")
    );
    // A million frames are said and two are there: nothing is set aside for the rest.
    let many = TWO.replacen("Frames: 2", "Frames: 1000000", 1);
    assert!(
        parse(many.as_bytes(), "a.bvh")
            .unwrap_err()
            .say
            .contains("ends in frame 3")
    );
}
