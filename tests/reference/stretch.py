"""How much is each trousers triangle stretched between the bind and a seated pose? Singular values of
the deformation gradient of 300 seeded triangles. Writes stretch.json."""

import numpy as np

from rigs import SEATED, Rig, sample, short, write

COUNT = 300
TROUSERS = "trousers/trousers_average_build9.glb"


def flat(corners):
    """Edge matrix of a triangle in its own plane, 2 x 2."""
    e1, e2 = corners[1] - corners[0], corners[2] - corners[0]
    x = e1 / np.linalg.norm(e1)
    normal = np.cross(e1, e2)
    y = np.cross(normal / np.linalg.norm(normal), x)
    return np.array([[e1 @ x, e2 @ x], [e1 @ y, e2 @ y]])


def edges(corners):
    return np.stack([corners[1] - corners[0], corners[2] - corners[0]], axis=1)


def metric(corners, uv):
    """a, b, c of the map from the flat texture to the surface (Sander et al. 2001)."""
    gradient = edges(corners) @ np.linalg.inv(edges(uv))
    tensor = gradient.T @ gradient
    return [tensor[0, 0], tensor[0, 1], tensor[1, 1]]


def main():
    trousers = Rig(TROUSERS)
    attribute = trousers.json["meshes"][0]["primitives"][0]["attributes"]["TEXCOORD_0"]
    uv = trousers.accessor(attribute).astype(float)
    seated = trousers.posed(trousers.named(SEATED))
    chosen = sample(51, len(trousers.faces), COUNT)
    stretches, rest_metric, posed_metric = [], [], []
    for corners in trousers.faces[chosen]:
        before, after = trousers.points[corners], seated[corners]
        gradient = edges(after) @ np.linalg.inv(flat(before))
        stretches += np.linalg.svd(gradient, compute_uv=False).tolist()
        rest_metric += metric(before, uv[corners])
        posed_metric += metric(after, uv[corners])
    write("stretch.json", {
        "made_by": f"tests/reference/stretch.py, numpy {np.__version__}",
        "trousers": TROUSERS,
        "rotations": [{"name": n, "rotation": q} for n, q in SEATED.items()],
        "triangles": chosen.tolist(),
        "stretches": short(stretches),
        "texture_metric_rest": short(rest_metric),
        "texture_metric_posed": short(posed_metric),
    })
    s = np.array(stretches).reshape(-1, 2)
    print("largest", s[:, 0].max(), "least", s[:, 1].min(), "median", np.median(s, axis=0))


main()
