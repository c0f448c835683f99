//! The frames that spot cards show, each with the same place as built.

use super::{drawn, posed, scene};
use crate::fitting::{Dressed, Plan};
use crate::outcome::{Fitting, Spot};
use crate::report::scene::{AsBuilt, Focus, OfSpot, Posed, Scene};
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

/// A scene for every spot that is a place on the garment.
pub fn of_fitting(dressed: &Dressed, plan: &Plan, fitting: &Fitting, number: usize) -> Vec<Scene> {
    let spots = fitting.spots.par_iter().enumerate();
    spots
        .filter(|(_, spot)| !spot.triangles.is_empty())
        .map(|(at, spot)| of_spot(dressed, plan, fitting, (number, at), spot))
        .collect()
}

fn of_spot(
    dressed: &Dressed,
    plan: &Plan,
    fitting: &Fitting,
    (number, at): (usize, usize),
    spot: &Spot,
) -> Scene {
    let pose = fitting.poses.iter().position(|pose| pose.pose == spot.pose);
    let built = as_worn(dressed);
    let mut shown = match pose {
        Some(pose) => {
            let place = Some(spot.place.clone());
            scene(
                dressed,
                plan,
                fitting,
                number,
                (pose, spot.frame),
                place,
                &spot.measure,
            )
        }
        // What the file itself shows has no pose.
        None => Scene {
            fitting: number,
            pose: String::new(),
            frame: 0,
            what: spot.measure.clone(),
            body: built.0.clone(),
            garments: built.1.clone(),
            focus: Vec::new(),
            spot: None,
        },
    };
    let focus = match shown.focus.first() {
        Some(focus) => turned_back(focus, &shown.garments[0], &built.1[0], &spot.triangles),
        None => straight_out(&built.1[0], &spot.triangles),
    };
    shown.spot = Some(OfSpot {
        number: at,
        triangles: spot.triangles.clone(),
        as_built: AsBuilt {
            body: built.0,
            garments: built.1,
            focus,
        },
    });
    shown
}

/// Body and garments as built.
fn as_worn(dressed: &Dressed) -> (Posed, Vec<Posed>) {
    let body = &dressed.body.surface;
    let cloth = dressed.layers.iter().map(|layer| {
        let surface = &layer.surface;
        posed(&surface.name, surface.positions.clone(), &surface.triangles)
    });
    (
        posed(&body.name, body.positions.clone(), &drawn(body)),
        cloth.collect(),
    )
}

/// The same point of the cloth as built, and its direction turned back as the cloth there has turned.
fn turned_back(focus: &Focus, cloth: &Posed, built: &Posed, triangles: &[u32]) -> Focus {
    let middle = |of: &Posed, triangle: u32| {
        let corners = of.triangles[triangle as usize].map(|vertex| vector(of.positions[vertex as usize]));
        (corners[0] + corners[1] + corners[2]) / 3.0
    };
    let position = vector(focus.position);
    let nearest = triangles.iter().copied().min_by(|&a, &b| {
        let far = |triangle| (middle(cloth, triangle) - position).norm();
        far(a).total_cmp(&far(b))
    });
    let Some(nearest) = nearest else {
        return focus.clone();
    };
    let turned = frame(cloth, nearest).zip(frame(built, nearest));
    let normal = turned.map_or(focus.normal, |(now, then)| {
        (then * now.transpose() * vector(focus.normal)).into()
    });
    Focus {
        position: middle(built, nearest).into(),
        normal,
        say: focus.say.clone(),
    }
}

/// Out of the cloth at a place that no pose shows.
fn straight_out(built: &Posed, triangles: &[u32]) -> Focus {
    let first = triangles.first().copied().unwrap_or(0);
    let corner = built.triangles[first as usize][0];
    Focus {
        position: built.positions[corner as usize],
        normal: frame(built, first).map_or([0.0, 0.0, 1.0], |frame| frame.column(2).into_owned().into()),
        say: String::new(),
    }
}

/// A triangle's own axes: along its first edge, across it, and out.
fn frame(of: &Posed, triangle: u32) -> Option<Matrix3<f32>> {
    let [a, b, c] = of.triangles[triangle as usize].map(|vertex| vector(of.positions[vertex as usize]));
    let along = (b - a).try_normalize(1e-9)?;
    let out = (b - a).cross(&(c - a)).try_normalize(1e-12)?;
    Some(Matrix3::from_columns(&[along, out.cross(&along), out]))
}

fn vector(point: [f32; 3]) -> Vector3<f32> {
    Vector3::from(point)
}
