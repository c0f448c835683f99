//! How a spot, its cause and a remedy are put: what to paint or pull, where, by how much.

use super::edit::{Edit, Kind, Where};
use super::file::Way;
use super::ground::{Ground, SHAPE_GONE};
use super::onset::Onset;
use super::rows::{row, unlike};
use super::spot::Patch;
use super::{Tried, spot};
use crate::fitting::{Dressed, Plan};
use crate::outcome::{Cause, Finding, Place, Remedy, Spot};
use crate::units::{Unit, number};
use std::collections::BTreeMap;

/// A remedy with what it did.
pub(super) fn remedy(patch: &Patch, tried: &Tried) -> Remedy {
    let (before, after) = values(patch, tried);
    let elsewhere = match (&tried.broken[..], tried.elsewhere) {
        _ if tried.failing == Some(0) => format!("then {}", left(0)),
        ([], None) => String::new(),
        ([], Some([was, is])) if is <= was * 1.01 => "nothing else gets worse".into(),
        ([], Some(_)) => "elsewhere some numbers rise, none over its limit".into(),
        ([only], _) => format!("but then {only} is over its limit"),
        ([first, rest @ ..], _) => format!("but then {first} and {} more are over their limits", rest.len()),
    };
    Remedy {
        action: action(&tried.edit, &patch.place.region),
        by: amount(&tried.edit),
        before,
        after,
        elsewhere,
        still_failing: tried.failing.map(|count| count as u64),
    }
}

/// Area in square centimetres where that is judged, else the worst value.
fn values(patch: &Patch, tried: &Tried) -> (f64, f64) {
    let by_area = patch
        .measure
        .failing
        .as_ref()
        .is_some_and(|failing| failing.by_area);
    if by_area {
        (
            Unit::Area.to_edge(tried.before.area),
            Unit::Area.to_edge(tried.after.area),
        )
    } else {
        (tried.before.worst, tried.after.worst)
    }
}

fn action(edit: &Edit, region: &str) -> String {
    let where_ = match edit.place {
        Where::Spot | Where::Around if region.is_empty() => "there".into(),
        Where::Spot => format!("at the {region}"),
        Where::Around => format!("round the {region}, as far as its weights are unlike the skin's,"),
        Where::Garment => "on the whole garment".into(),
    };
    match edit.kind {
        Kind::SkinWeights => format!("give the fabric {where_} the weights of the skin beneath"),
        Kind::MirroredSide => format!("give the fabric {where_} the weights of the other side, mirrored"),
        Kind::WrongSideDown => {
            format!("take off {where_} what follows the other side more than the skin beneath does")
        }
        Kind::Smooth => format!("smooth the weights {where_}"),
        Kind::Normalise => "normalise the weights".into(),
        Kind::EvenSeams => "give both edges of every seam the same weights".into(),
        Kind::SeamsAsSkin => {
            "give both edges of a seam, where they differ, the weights of the skin beneath".into()
        }
        Kind::Joints => {
            "add the joints that the skin beneath follows and this garment lacks, with the skin's weights"
                .into()
        }
        Kind::Out(_) => format!("pull the fabric out {where_}, as built"),
        Kind::In(_) => format!("pull the fabric in towards the skin {where_}, as built"),
        Kind::HideSkin => format!("hide the skin beneath the fabric {where_}"),
        Kind::File(way) => file_action(way),
    }
}

fn file_action(way: Way) -> String {
    match way {
        Way::Scaled(times, _) => format!(
            "scale the whole garment by {}, and apply the scale",
            number(times)
        ),
        Way::Turned(axis, quarters) => {
            format!(
                "turn the whole garment by {} degrees about {axis}, and apply the turn",
                90 * quarters
            )
        }
        Way::BoundAt(degrees) => {
            format!(
                "bind the garment with the hips splayed {} degrees, the pose its shape was built in",
                number(degrees)
            )
        }
    }
}

fn amount(edit: &Edit) -> String {
    let count = |what: &str| format!("{} {what}", number(edit.vertices as f64));
    match edit.kind {
        Kind::Out(by) if edit.place == Where::Garment => {
            format!("{} mm, {}", number(by * 1e3), count("vertices"))
        }
        Kind::Out(by) | Kind::In(by) => {
            let fade = number(SHAPE_GONE * 1e3);
            format!(
                "{} mm, fading over {fade} mm, {}",
                number(by * 1e3),
                count("vertices")
            )
        }
        Kind::HideSkin => count("triangles of skin"),
        _ => count("vertices"),
    }
}

/// A file that is wrong as a whole. `count` is of numbers that fail, before and after; 1 before where it covers nothing.
pub(super) fn file_spot(dressed: &Dressed, edit: &Edit, count: [usize; 2]) -> Spot {
    let what = match edit.kind {
        Kind::File(Way::Scaled(times, unit)) => format!(
            "The garment is {} times too large for this body, as if its numbers were {unit}.",
            number(1.0 / times)
        ),
        Kind::File(Way::Turned(axis, quarters)) => format!(
            "The garment lies on its side: turned by {} degrees about {axis} it lies on the body.",
            90 * quarters
        ),
        Kind::File(Way::BoundAt(degrees)) => format!(
            "The garment was bound in another pose than it was built in: its shape is that of hips splayed about {} degrees.",
            number(degrees)
        ),
        _ => "The garment is too tight all over: much of it lies in the skin as built.".into(),
    };
    let remedy = Remedy {
        action: action(edit, ""),
        by: amount(edit),
        before: count[0] as f64,
        after: count[1] as f64,
        elsewhere: "counted is what stops or fails the fitting".into(),
        still_failing: Some(count[1] as u64),
    };
    Spot {
        measure: "file".into(),
        cause: edit.cause(),
        say: format!("{what} With that mended {}.", left(count[1])),
        ..of_whole(dressed, 0, remedy)
    }
}

/// `everything passes`, or how much does not.
fn left(failing: usize) -> String {
    match failing {
        0 => "everything passes".into(),
        1 => "one number fails still".into(),
        _ => format!("{failing} numbers fail still"),
    }
}

/// A spot that is no place in a pose: shown by one vertex, with the remedy that mends it.
fn of_whole(dressed: &Dressed, vertex: usize, remedy: Remedy) -> Spot {
    let surface = &dressed.layers[0].surface;
    Spot {
        measure: String::new(),
        value: remedy.before,
        unit: String::new(),
        region: String::new(),
        side: String::new(),
        area_cm2: 0.0,
        pose: String::new(),
        frame: 0,
        onset: None,
        onset_motion: String::new(),
        place: Place {
            surface: surface.name.clone(),
            vertex: u64::from(surface.sources[vertex].1),
            position_m: surface.positions[vertex].map(f64::from),
            region: String::new(),
            seen_from: String::new(),
            seen_along: None,
        },
        joints: Vec::new(),
        cause: Cause::Unknown,
        removed_share: (remedy.before > 0.0).then(|| (1.0 - remedy.after / remedy.before).clamp(0.0, 1.0)),
        say: String::new(),
        remedies: vec![remedy],
        triangles: Vec::new(),
    }
}

/// What fails, where, why and what would help.
pub(super) fn spot(
    ground: &Ground,
    plan: &Plan,
    patch: &Patch,
    cause: Cause,
    best: Option<&Tried>,
) -> String {
    let region = if patch.place.region.is_empty() {
        "the garment".into()
    } else {
        format!("the {}", patch.place.region)
    };
    let pose = plan.sequences[patch.worst.0].name.replace('_', " ");
    let unit = patch
        .measure
        .failing
        .as_ref()
        .map_or("", |failing| failing.unit.symbol());
    let mut say = format!(
        "At {region}: {}, {} cm² in {pose}, up to {}{}{unit}.",
        match patch.measure.id {
            "skin_shows" | "layer_shows" => format!("{}, edges included", patch.measure.about),
            _ => patch.measure.about.to_owned(),
        },
        number(patch.area * 1e4),
        number(patch.value),
        if unit.is_empty() { "" } else { " " },
    );
    let evidence = evidence(ground, patch);
    match (cause, best) {
        (Cause::Weights, _) => say.push_str(&format!(" The weights are wrong: {evidence}.")),
        (Cause::Shape, Some(_)) => {
            say.push_str(" The weights are as they should be; the fabric lies too close as built.")
        }
        (Cause::Joints, _) => say.push_str(" The skin beneath follows joints that the garment does not have."),
        (Cause::HiddenSkin, _) => say.push_str(
            " The body lies in itself there, and no edit of the fabric helps: that skin is best not shown.",
        ),
        (Cause::Seam, _) => say.push_str(" The two edges of a seam have different weights."),
        (Cause::NoRoom, _) => say
            .push_str(" There is no room: the skins are closer than the two eases. Only less ease can help."),
        (Cause::BodyOverlaps, _) => {
            say.push_str(" The body overlaps itself there; no edit of the garment can help.")
        }
        _ => say.push_str(
            " Nothing that was tried helped: not the weights of the skin or of the other side, not smoothing them, not even \
             seams, not pulling the fabric out or in.",
        ),
    }
    say
}

/// From where on it is seen.
pub(super) fn onset(onset: &Onset) -> String {
    match onset {
        Onset::Frame(0, _) => " It is there from the first frame on.".into(),
        Onset::Frame(frame, Some(time_s)) => format!(" It begins at frame {frame}, {} s.", number(*time_s)),
        Onset::Frame(frame, None) => format!(" It begins at frame {frame}."),
        Onset::Standing(_) => " It is there in standing already.".into(),
        Onset::Angle(way, degrees) => {
            format!(
                " On the way there from standing it begins at {}° of {}.",
                number(*degrees),
                way.words()
            )
        }
    }
}

/// The joint that a place follows too much, and the one it follows too little.
fn evidence(ground: &Ground, patch: &Patch) -> String {
    let (layer, skin) = (&ground.dressed.layers[0], &ground.skin);
    let mut off: BTreeMap<usize, [f64; 2]> = BTreeMap::new();
    let mut count = 0.0;
    // Where the fabric differs most from the skin, not over the whole place: the cause may fill only its middle.
    let mut vertices: Vec<u32> = patch
        .triangles
        .iter()
        .flat_map(|&t| layer.surface.triangles[t as usize])
        .collect();
    vertices.sort_unstable();
    vertices.dedup();
    let off_by = |vertex: &u32| {
        let (own, skin) = (row(layer, *vertex as usize), &skin[*vertex as usize]);
        unlike(&own, skin)
    };
    vertices.sort_by(|a, b| off_by(b).total_cmp(&off_by(a)).then(a.cmp(b)));
    vertices.truncate((vertices.len() / 4).max(1));
    for vertex in vertices {
        count += 1.0;
        for (bind, weight) in row(layer, vertex as usize) {
            off.entry(bind).or_default()[0] += weight;
        }
        for (bind, weight) in &skin[vertex as usize] {
            off.entry(*bind).or_default()[1] += weight;
        }
    }
    let most = off
        .iter()
        .max_by(|a, b| (a.1[0] - a.1[1]).total_cmp(&(b.1[0] - b.1[1])));
    let Some((bind, [own, theirs])) = most else {
        return "they are not those of the skin beneath".into();
    };
    format!(
        "the fabric there follows {} by {} % and the skin beneath by {} %",
        layer.skeleton.label(layer.surface.binds[*bind].node),
        number((100.0 * own / count).round()),
        number((100.0 * theirs / count).round())
    )
}

/// Faulty rows as a spot; `failing` numbers fail once they add up.
pub(super) fn rows_spot(dressed: &Dressed, finding: &Finding, failing: usize) -> Option<Spot> {
    let layer = &dressed.layers[0];
    let vertex = layer.surface.faulty.iter().position(|faulty| *faulty)?;
    let canonical = layer.topology.canonical()[vertex];
    let triangles = layer.topology.vertex_triangles(canonical).to_vec();
    let remedy = Remedy {
        action: "normalise the weights".into(),
        by: if finding.count == 1 {
            "1 vertex".into()
        } else {
            format!("{} vertices", finding.count)
        },
        before: finding.count as f64,
        after: 0.0,
        elsewhere: format!("then {}", left(failing)),
        still_failing: Some(failing as u64),
    };
    Some(Spot {
        measure: finding.code.clone(),
        joints: spot::joints(dressed, &triangles),
        cause: Cause::Rows,
        say: finding.say.clone(),
        triangles,
        ..of_whole(dressed, vertex, remedy)
    })
}
