"""How far is each trousers vertex from the body, and each body vertex from the trousers, in the bind
and in a seated pose? 300 seeded vertices each way. Writes closest.json."""

from importlib.metadata import version

import igl
import numpy as np
import trimesh

from rigs import SEATED, Rig, sample, short, write

COUNT = 300
BODY, TROUSERS = "bodies/mhr_body_average.glb", "trousers/trousers_average_build9.glb"


def query(points, vertices, surface, faces):
    """Distances, closest points and winding numbers of chosen vertices to a surface."""
    at = points[vertices]
    squared, _, closest = igl.point_mesh_squared_distance(at, surface, faces)
    check(at, closest, surface, faces)
    random = np.random.default_rng(5)
    moved = np.zeros(len(at))
    for _ in range(8):
        near = igl.point_mesh_squared_distance(at + random.uniform(-1e-6, 1e-6, at.shape), surface, faces)[2]
        moved = np.maximum(moved, np.linalg.norm(near - closest, axis=1))
    return {
        "vertices": vertices.tolist(),
        "distance": short(np.sqrt(squared)),
        "closest": short(closest.ravel()),
        # Two places of the surface are equally far here: compare the distance only.
        "ambiguous": vertices[moved > 1e-4].tolist(),
        "winding": short(igl.winding_number(surface, faces, at)),
    }


def check(at, closest, surface, faces):
    """The first points again by another library and brute force."""
    corners = surface[faces]
    for p, c in zip(at[:20], closest[:20]):
        on_each = trimesh.triangles.closest_point(corners, np.broadcast_to(p, (len(corners), 3)))
        least = np.linalg.norm(on_each - p, axis=1).min()
        assert abs(least - np.linalg.norm(c - p)) < 1e-9


def main():
    body, trousers = Rig(BODY), Rig(TROUSERS)
    cloth_vertices = sample(41, len(trousers.points), COUNT)
    # Body vertices near the trousers: the rest says nothing about a garment.
    rest = np.sqrt(igl.point_mesh_squared_distance(body.posed(), trousers.posed(), trousers.faces)[0])
    near = np.flatnonzero(rest < 0.1)
    skin_vertices = near[sample(42, len(near), COUNT)]
    poses = []
    for name, rotations in (("rest", {}), ("seated", SEATED)):
        skin, cloth = body.posed(body.named(rotations)), trousers.posed(trousers.named(rotations))
        poses.append({
            "pose": name,
            "rotations": [{"name": n, "rotation": q} for n, q in rotations.items()],
            "trousers_to_body": query(cloth, cloth_vertices, skin, body.faces),
            "body_to_trousers": query(skin, skin_vertices, cloth, trousers.faces),
        })
        for way in ("trousers_to_body", "body_to_trousers"):
            q = poses[-1][way]
            d, w = np.array(q["distance"]), np.array(q["winding"])
            print(name, way, "distance", d.min(), d.max(), "winding over 0.5:", (w > 0.5).sum(),
                  "ambiguous", q["ambiguous"])
    write("closest.json", {
        "made_by": f"tests/reference/closest.py, libigl {version('libigl')}",
        "body": BODY, "trousers": TROUSERS, "poses": poses,
    })


main()
