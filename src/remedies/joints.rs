//! Joints that the skin beneath follows and the garment does not have.

use super::beneath::skin_rows_by;
use super::edit::{Edit, Kind};
use super::rows::{packed, row, unlike};
use crate::contact::Body;
use crate::fitting::Dressed;
use crate::pose::stand;
use crate::rig::skeleton::Joint;
use crate::rig::surface::SurfaceBind;
use crate::skin;

/// The garment with the skin's own joints and its weights; `None` where it has them all.
///
/// Only joints with a role count: a helper's turn is the runtime's.
pub(super) fn missing(dressed: &Dressed) -> Option<Edit> {
    if !dressed
        .findings
        .iter()
        .any(|finding| finding.code == "joints_missing")
    {
        return None;
    }
    let (body, layer) = (&dressed.body, &dressed.layers[0]);
    let reversed = layer.pairing.reversed(body.skeleton.joints.len());
    let world = skin::follow(&body.skeleton, &reversed, &stand::at_bind(&layer.skeleton));
    let mut skeleton = layer.skeleton.clone();
    let mut binds: Vec<SurfaceBind> = Vec::new();
    // By the body's bind: the garment's.
    let mut by_bind: Vec<Option<usize>> = Vec::new();
    for bind in &body.surface.binds {
        let known = layer
            .surface
            .binds
            .iter()
            .position(|own| layer.pairing.driver[own.node] == Some(bind.node));
        let theirs = &body.skeleton.joints[bind.node];
        let moves = body.skeleton.roles.bone(bind.node).is_some() && !theirs.name.is_empty();
        if known.is_some() || !moves {
            by_bind.push(known);
            continue;
        }
        let at = &world[bind.node];
        let inverse = at.try_inverse()?;
        let node = match reversed.driver[bind.node] {
            Some(node) => node,
            None => {
                skeleton.joints.push(Joint {
                    parent: None,
                    position: at.fixed_view::<3, 1>(0, 3).into_owned(),
                    rotation: crate::rig::surface::polar(at).0,
                    weighted: true,
                    bound: true,
                    ..theirs.clone()
                });
                skeleton.joints.len() - 1
            }
        };
        by_bind.push(Some(layer.surface.binds.len() + binds.len()));
        binds.push(SurfaceBind { node, inverse });
    }
    if binds.is_empty() {
        return None;
    }
    let by_bind: Vec<Option<usize>> = (body.surface.binds.iter().zip(&by_bind))
        .map(|(bind, own)| own.or_else(|| above(body, bind.node, &by_bind)))
        .collect();
    let skin = skin_rows_by(dressed, &by_bind);
    let rows: Vec<_> = skin
        .into_iter()
        .enumerate()
        .map(|(vertex, skin)| if skin.is_empty() { row(layer, vertex) } else { skin })
        .collect();
    let vertices = rows
        .iter()
        .enumerate()
        .filter(|(vertex, now)| unlike(now, &row(layer, *vertex)) > 1e-3)
        .count();
    (vertices > 0).then(|| Edit {
        rows: Some(packed(&rows)),
        skeleton: Some(skeleton),
        binds,
        vertices,
        ..Edit::nothing(Kind::Joints)
    })
}

/// The garment's bind for the nearest joint above that has one.
fn above(body: &Body, node: usize, by_bind: &[Option<usize>]) -> Option<usize> {
    std::iter::successors(body.skeleton.joints[node].parent, |&at| {
        body.skeleton.joints[at].parent
    })
    .find_map(|at| {
        let bind = body.surface.binds.iter().position(|bind| bind.node == at)?;
        by_bind[bind]
    })
}
