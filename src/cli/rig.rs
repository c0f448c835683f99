//! `gusset rig`: what the tool understood of a file.

use super::Trouble;
use super::reading::Reading;
use gusset::geometry::triangle;
use gusset::measure::findings;
use gusset::outcome::Finding;
use gusset::rig::Rig;
use gusset::rig::anatomy::Anatomy;
use gusset::rig::bone::Side;
use gusset::rig::gltf::read;
use gusset::rig::skeleton::Skeleton;
use gusset::rig::surface::{Surface, assemble};
use std::fmt::Write;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Rigs to look at: .glb, .gltf or .vrm
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    #[command(flatten)]
    reading: Reading,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Trouble> {
    let options = arguments.reading.options();
    let mut text = String::new();
    let mut faults = false;
    for file in &arguments.files {
        let rig = read(file, &options).map_err(Trouble::say)?;
        faults |= describe(&mut text, &rig);
    }
    super::print(&text);
    Ok(if faults {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}

/// Writes what is known of a rig, and says whether it has a fault.
fn describe(text: &mut String, rig: &Rig) -> bool {
    let all: Vec<usize> = (0..rig.meshes.len()).collect();
    let surface = assemble(rig, &all, &rig.name);
    let skeleton = Skeleton::new(rig, &[&surface], &[]);
    let _ = writeln!(text, "{}", rig.name);
    meshes(text, rig);
    units(text, &surface);
    roles(text, rig, &skeleton);
    angles(text, &skeleton);
    if !rig.clips.is_empty() {
        let names: Vec<&str> = rig.clips.iter().map(|clip| clip.name.as_str()).collect();
        let _ = writeln!(text, "  clips: {}", names.join(", "));
    }
    let mut found = findings::of_remarks(&rig.name, &rig.remarks);
    found.extend(findings::of_surface(&surface, &skeleton));
    let faults = found
        .iter()
        .any(|finding| finding.severity != gusset::outcome::Severity::Note);
    write_findings(text, &found);
    text.push('\n');
    faults
}

fn meshes(text: &mut String, rig: &Rig) {
    for mesh in &rig.meshes {
        let material = if mesh.material.is_empty() {
            String::new()
        } else {
            format!(", material {}", mesh.material)
        };
        let ride = if mesh.skinned {
            ""
        } else {
            ", rides rigidly on its joint"
        };
        let influences = (0..mesh.rows.len())
            .map(|vertex| mesh.rows.row(vertex).count())
            .max()
            .unwrap_or(0);
        let _ = writeln!(
            text,
            "  mesh {}{material}: {} vertices, {} triangles, up to {influences} joints a vertex{ride}",
            mesh.name,
            mesh.positions.len(),
            mesh.triangles.len()
        );
    }
}

fn units(text: &mut String, surface: &Surface) {
    let axes = &surface.to_world;
    let low = surface
        .positions
        .iter()
        .map(|p| p[1])
        .fold(f32::INFINITY, f32::min);
    let high = surface
        .positions
        .iter()
        .map(|p| p[1])
        .fold(f32::NEG_INFINITY, f32::max);
    let area: f64 = surface
        .triangles
        .iter()
        .map(|t| triangle::area(gusset::geometry::corners(&surface.positions, *t)))
        .sum();
    let _ = writeln!(
        text,
        "  size: {:.3} m from bottom to top, {:.2} m² of surface; 1 mesh unit is {:.4} m, mesh axes {}",
        high - low,
        area,
        axes.scale,
        if axes.upright {
            "as in the file (Y up, Z front)"
        } else {
            "turned upright"
        }
    );
    let canonical = gusset::geometry::weld::weld(&surface.positions, gusset::geometry::weld::TOLERANCE);
    let topology = gusset::geometry::topology::Topology::new(&surface.triangles, &canonical);
    let pieces = topology.components().iter().max().map_or(0, |last| last + 1);
    let open = topology.border_edges().count();
    let shut = if open == 0 {
        "closed".to_owned()
    } else {
        format!("open, {open} edges with fabric or skin on one side only")
    };
    let _ = writeln!(text, "  surface: {pieces} piece(s), {shut}");
    if !axes.rest_is_bind {
        let _ = writeln!(
            text,
            "  the nodes do not stand in the pose the mesh was skinned in; the pose it was skinned in is used"
        );
    }
}

fn roles(text: &mut String, rig: &Rig, skeleton: &Skeleton) {
    let _ = writeln!(
        text,
        "  joints: {} nodes, {} with weight",
        rig.nodes.len(),
        skeleton.joints.iter().filter(|j| j.weighted).count()
    );
    for (bone, (node, how)) in &skeleton.roles.by_bone {
        let name = &skeleton.joints[*node].name;
        let name = if name.is_empty() {
            format!("joint {node}")
        } else {
            name.clone()
        };
        let _ = writeln!(text, "    {:<18} {name} ({})", bone.name(), how.words());
    }
    let loose: Vec<String> = (0..skeleton.joints.len())
        .filter(|&node| skeleton.joints[node].weighted && skeleton.roles.bone(node).is_none())
        .map(|node| skeleton.label(node))
        .collect();
    if !loose.is_empty() {
        let shown: Vec<&str> = loose.iter().take(6).map(String::as_str).collect();
        let more = loose.len() - shown.len();
        let tail = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        let _ = writeln!(
            text,
            "    without a role, they follow their parent: {}{tail}",
            shown.join(", ")
        );
    }
}

fn angles(text: &mut String, skeleton: &Skeleton) {
    match Anatomy::new(skeleton) {
        Ok(anatomy) => {
            // To what is printed: -0.00 is 0.
            let degrees = |side| (anatomy.hip_splay(side).to_degrees() * 100.0).round() / 100.0 + 0.0;
            let _ = writeln!(
                text,
                "  as skinned: hip splay {:.2}° left, {:.2}° right; knees bent {:.1}° left, {:.1}° right; thigh {:.0} mm",
                degrees(Side::Left),
                degrees(Side::Right),
                anatomy.knee_at_bind(Side::Left).to_degrees(),
                anatomy.knee_at_bind(Side::Right).to_degrees(),
                anatomy.thigh_length * 1e3
            );
        }
        Err(missing) => {
            let _ = writeln!(text, "  as skinned: no hip angles, {missing}");
        }
    }
}

fn write_findings(text: &mut String, found: &[Finding]) {
    if found.is_empty() {
        let _ = writeln!(text, "  findings: none");
        return;
    }
    let _ = writeln!(text, "  findings:");
    for finding in found {
        let severity = gusset::report::words::severity(finding.severity);
        let _ = writeln!(
            text,
            "    {severity}: {} {} [{}]",
            finding.say, finding.help, finding.code
        );
    }
}
