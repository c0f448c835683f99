"""What does the cloth of two trousers do between the bind and a seated pose? Numbers of whole garments, from singular
values of every triangle's deformation gradient. Writes cloth.json."""

import numpy as np

from rigs import SEATED, Rig, short, write

GARMENTS = [
    "trousers/trousers_average_build9.glb",
    "trousers/trousers_average_defect_bleed_L_to_R.glb",
]


def edges(corners):
    """n x k x 2: the two edges from the first corner as columns."""
    return np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]], axis=2)


def flat(corners):
    """Edge matrices of triangles in their own planes."""
    e = edges(corners)
    q, r = np.linalg.qr(e)
    return r


def least_of_worst(values, areas, area):
    """The value at which the worst `area` is full."""
    order = np.argsort(-values)
    full = np.cumsum(areas[order])
    return float(values[order][np.searchsorted(full, area)])


def shear(gram):
    return np.arcsin(np.clip(gram[:, 0, 1] / np.sqrt(gram[:, 0, 0] * gram[:, 1, 1]), -1, 1))


def measure(file):
    rig = Rig(file)
    uv = rig.accessor(rig.json["meshes"][0]["primitives"][0]["attributes"]["TEXCOORD_0"]).astype(float)
    rotations = rig.named(SEATED)
    before, after = rig.posed()[rig.faces], rig.posed(rotations)[rig.faces]
    normal = np.cross(before[:, 1] - before[:, 0], before[:, 2] - before[:, 0])
    normal_now = np.cross(after[:, 1] - after[:, 0], after[:, 2] - after[:, 0])
    areas = np.linalg.norm(normal, axis=1) / 2
    hundredth, twentieth = 0.01 * areas.sum(), 0.05 * areas.sum()
    gradient = edges(after) @ np.linalg.inv(flat(before))
    large, small = np.linalg.svd(gradient, compute_uv=False).T

    to_uv = np.linalg.inv(edges(uv[rig.faces]))
    map_rest, map_now = edges(before) @ to_uv, edges(after) @ to_uv
    gram_rest, gram_now = (np.einsum("nki,nkj->nij", m, m) for m in (map_rest, map_now))
    along = np.sqrt(np.einsum("nii->ni", gram_now) / np.einsum("nii->ni", gram_rest))
    turn = np.abs(shear(gram_now) - shear(gram_rest))
    lop_rest, lop_now = (
        (lambda s: s[:, 0] / s[:, 1])(np.linalg.svd(m, compute_uv=False)) for m in (map_rest, map_now)
    )

    world = rig.world(rotations)
    matrices = np.array([world[j] for j in rig.skin]) @ rig.inverse_bind
    blended = np.einsum("vk,vkij->vij", rig.weights, matrices[rig.joints])[:, :3, :3]
    blended = blended[rig.faces].mean(axis=1)
    cofactors = np.linalg.det(blended)[:, None, None] * np.linalg.inv(blended).transpose(0, 2, 1)
    flipped = np.einsum("nij,nj,ni->n", cofactors, normal, normal_now) < 0

    _, groups = np.unique(np.round(rig.points, 6), axis=0, return_inverse=True)
    posed = rig.posed(rotations)
    gap = max(np.ptp(posed[groups == g], axis=0).max() for g in np.unique(groups))
    return {
        "garment": file,
        "stretch.raw.worst": large.max(),
        "stretch.raw.p99": least_of_worst(large, areas, hundredth),
        "stretch.raw.p95": least_of_worst(large, areas, twentieth),
        "stretch.u": least_of_worst(along[:, 0], areas, hundredth),
        "stretch.v": least_of_worst(along[:, 1], areas, hundredth),
        "stretch.shear_deg": np.degrees(least_of_worst(turn, areas, hundredth)),
        "squeeze.raw.worst": small.min(),
        "squeeze.raw.p99": -least_of_worst(-small, areas, hundredth),
        "squeeze.raw.p95": -least_of_worst(-small, areas, twentieth),
        "squeeze.u": -least_of_worst(-along[:, 0], areas, hundredth),
        "squeeze.v": -least_of_worst(-along[:, 1], areas, hundredth),
        "texture_drift.density_p99": least_of_worst(np.sqrt(large * small), areas, hundredth),
        "texture_drift.pressed_p99": least_of_worst(1 / np.sqrt(large * small), areas, hundredth),
        "texture_drift.anisotropy_p99": least_of_worst(lop_now / lop_rest, areas, hundredth),
        "texture_drift.l2": np.sqrt(
            ((large**2 + small**2) / 2 * areas * large * small).sum() / (areas * large * small).sum()
        ),
        "pinch.flipped_cm2": areas[flipped].sum() * 1e4,
        "seam_gap.worst_mm": gap * 1e3,
    }


def main():
    found = [
        {k: short(float(v)) if not isinstance(v, str) else v for k, v in measure(file).items()}
        for file in GARMENTS
    ]
    write("cloth.json", {
        "made_by": f"tests/reference/cloth.py, numpy {np.__version__}",
        "rotations": [{"name": n, "rotation": q} for n, q in SEATED.items()],
        "garments": found,
    })
    for row in found:
        print(row)


main()
