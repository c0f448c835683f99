//! Where the fabric collapses: limbs that get thin, creases, triangles turned inside out.
//!
//! Linear blending makes a limb thin where joints turn against each other: where half the weight turns by t, the width
//! across the turn becomes `cos(t / 2)` (closed form). A triangle is flipped when its normal points against its bind
//! normal carried by the blended matrix of its joints. Most flips lie in closed creases or copy a flip of the skin
//! beneath; judged is what remains: flipped fabric that can be seen, over skin that is not flipped.

use super::{At, Failing, Fault, Field, Limit, Measure, Number, Taken};
use crate::contact::Moment;
use crate::contact::layer::NOBODY;
use crate::contact::seen::Sight;
use crate::geometry::vector::dot;
use crate::geometry::{corners, triangle};
use crate::units::Unit;

/// See the module.
pub static MEASURE: Measure = Measure {
    id: "pinch",
    about: "the fabric collapses or turns inside out",
    numbers: &[
        Number {
            path: "flipped_seen_cm2",
            about: "fabric turned inside out where it can be seen, over skin that is not",
            unit: Unit::Area,
            limit: Some(Limit::fixed(1.0, 3.0, Some(15.0))),
        },
        Number {
            path: "flipped_cm2",
            about: "fabric turned inside out, seen or closed in a crease",
            unit: Unit::Area,
            limit: None,
        },
        Number {
            path: "width_least",
            about: "narrowest section of a leg or sleeve, now over as built",
            unit: Unit::Ratio,
            limit: None,
        },
        Number {
            path: "crease_mm",
            about: "length of edges that fold by more than a right angle",
            unit: Unit::Length,
            limit: None,
        },
    ],
    take,
    spread: None,
    failing: Some(Failing {
        number: "flipped_seen_cm2",
        unit: Unit::Area,
        by_area: true,
        find: failing,
    }),
    field: Some(Field {
        values: field,
        unit: Unit::Area,
        bottom: 0.0,
        limit: None,
        top: 1.0,
    }),
};

fn take(moment: &Moment) -> Taken {
    let (mut all, mut seen) = (0.0, 0.0);
    let mut largest: Option<(bool, f64, usize)> = None;
    let trees = moment.occluders();
    let sight = Sight::new(&trees, moment.pelvis.0, moment.pelvis.1, moment.body.scale());
    for (triangle, &area) in moment.layer.areas.iter().enumerate() {
        if area <= 0.0 || !is_flipped(moment, triangle) {
            continue;
        }
        all += area;
        let here = judged(moment, triangle) && is_seen(moment, triangle, &sight);
        if here {
            seen += area;
        }
        if largest.is_none_or(|(known, most, _)| (here, area) > (known, most)) {
            largest = Some((here, area, triangle));
        }
    }
    let narrowest = narrowest(moment);
    Taken {
        values: vec![
            Some(seen),
            Some(all),
            narrowest.map(|found| found.0),
            Some(creased(moment)),
        ],
        worst: [
            ("flipped_seen_cm2", largest.map(|found| found.2)),
            ("flipped_cm2", largest.map(|found| found.2)),
            ("width_least", narrowest.map(|found| found.1)),
        ]
        .into_iter()
        .filter_map(|(path, triangle)| Some((path, At::Triangle(triangle?))))
        .collect(),
        ..Taken::default()
    }
}

fn is_flipped(moment: &Moment, triangle: usize) -> bool {
    let cloth = &moment.layer.cloth;
    cloth.carriers.is_flipped(
        triangle,
        &moment.posed.palette,
        cloth.normals[triangle],
        face(moment, triangle),
    )
}

fn face(moment: &Moment, triangle: usize) -> [f32; 3] {
    u32::try_from(triangle).map_or([0.0; 3], |triangle| moment.fabric_normals().face(triangle))
}

/// True for fabric with a home whose skin beneath is not flipped itself.
fn judged(moment: &Moment, triangle: usize) -> bool {
    let home = moment.layer.homes[triangle];
    if home == NOBODY {
        return false;
    }
    let skin = &moment.body.surface;
    let vertices = skin.triangles[home as usize];
    let bind = triangle::normal(corners(&skin.positions, vertices));
    let rows = vertices.into_iter().flat_map(|vertex| {
        skin.rows
            .row(vertex as usize)
            .map(|(bind, weight)| (&moment.posed_body.palette[bind], weight / 3.0))
    });
    !crate::contact::cloth::turn::is_flipped(
        rows,
        crate::geometry::vector::narrow(bind),
        moment.skin_normals().face(home),
    )
}

/// Whether the inner side, which is where the outer side should be, can be looked at.
///
/// Cloth that hangs over in a fold shows its outer side, as cloth does: counting that too failed clean trousers when
/// cycling, by one triangle of the hip's fold.
fn is_seen(moment: &Moment, triangle: usize, sight: &Sight) -> bool {
    let at = crate::contact::samples::blend(
        [1.0 / 3.0; 3],
        moment.layer.surface.triangles[triangle],
        &moment.posed.positions,
    );
    sight.is_seen(at, face(moment, triangle).map(|value| -value))
}

/// Least width of a limb section now over as built, and a triangle there.
fn narrowest(moment: &Moment) -> Option<(f64, usize)> {
    let mut least: Option<(f64, usize)> = None;
    for ring in &moment.layer.cloth.rings {
        let width = ring.widths(&moment.posed.positions)[1];
        if width.is_finite() && least.is_none_or(|(known, _)| width < known) {
            least = Some((width, ring.triangle as usize));
        }
    }
    least
}

/// Length as built of edges that fold by more than a right angle, metres.
fn creased(moment: &Moment) -> f64 {
    let face = |triangle: u32| moment.fabric_normals().face(triangle);
    let folds = moment.layer.cloth.folds.iter();
    folds
        .filter(|fold| dot(face(fold.triangles[0]), face(fold.triangles[1])) < 0.0)
        .fold(0.0, |total, fold| total + fold.length)
}

/// 1 at the corners of flipped fabric, 0 elsewhere.
fn field(moment: &Moment) -> Vec<f32> {
    let mut values = vec![0.0; moment.posed.positions.len()];
    for (triangle, corners) in moment.layer.surface.triangles.iter().enumerate() {
        if moment.layer.areas[triangle] > 0.0 && is_flipped(moment, triangle) {
            for &vertex in corners {
                values[vertex as usize] = 1.0;
            }
        }
    }
    values
}

fn failing(moment: &Moment, _: f64) -> Vec<Fault> {
    let trees = moment.occluders();
    let sight = Sight::new(&trees, moment.pelvis.0, moment.pelvis.1, moment.body.scale());
    let areas = moment.layer.areas.iter().enumerate();
    areas
        .filter(|(triangle, area)| {
            **area > 0.0
                && is_flipped(moment, *triangle)
                && judged(moment, *triangle)
                && is_seen(moment, *triangle, &sight)
        })
        .map(|(triangle, &area)| Fault {
            at: At::Triangle(triangle),
            area,
            value: Unit::Area.to_edge(area),
        })
        .collect()
}
