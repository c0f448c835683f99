"""Which trousers vertices lie inside the posed body, and which triangles cross? The synthetic pair at
key 31 of its clip, by exact winding numbers and exact intersection tests. Writes winding.json."""

import base64

from importlib.metadata import version

import igl
import igl.copyleft.cgal as cgal
import igl.predicates
import numpy as np

from rigs import Rig, sample, short, write

KEY = 31
JITTER = 2e-7  # metres: above the noise of 32-bit skinning, far below anything measured


def crossing(body_points, body_faces, points, faces):
    """Sorted (body, trousers) pairs, and sorted self-crossing pairs of the trousers, lower index first."""
    other = cgal.intersect_other(body_points, body_faces, points, faces, True, False)[0]
    own = cgal.remesh_self_intersections(points, faces, True, False)[2]
    return as_set(other), as_set(np.sort(own, axis=1))


def as_set(pairs):
    return {(int(a), int(b)) for a, b in pairs}


def crossing_by_predicates(body_points, body_faces, points, faces):
    """The same by the library's second implementation (a tree and exact orientation tests)."""
    _, other, _ = igl.predicates.find_intersections(body_points, body_faces, points, faces)
    _, own, _ = igl.predicates.find_self_intersections(points, faces)
    return as_set(other), as_set(np.sort(own, axis=1))


def solid_angle_sum(points, faces, query):
    """Winding number of one point, summed triangle by triangle (van Oosterom, Strackee 1983)."""
    a, b, c = (points[faces[:, k]] - query for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))

    def dot(u, v):
        return np.einsum("ij,ij->i", u, v)

    top = dot(a, np.cross(b, c))
    return np.arctan2(top, la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb).sum() / (2 * np.pi)


def bits(mask):
    """Base64 of a bit set, vertex 0 in the lowest bit of the first byte."""
    return base64.b64encode(np.packbits(mask, bitorder="little").tobytes()).decode()


def flat(pairs):
    return [index for pair in sorted(pairs) for index in pair]


def main():
    body, trousers = Rig("synthetic/body.glb"), Rig("synthetic/trousers.glb")
    skin = body.posed(body.key(0, KEY))
    cloth = trousers.posed(trousers.key(0, KEY))

    winding = igl.winding_number(skin, body.faces, cloth)
    chosen = sample(31, len(cloth), 200)
    by_hand = np.array([solid_angle_sum(skin, body.faces, cloth[i]) for i in chosen])
    assert np.abs(by_hand - winding[chosen]).max() < 1e-9
    distance = np.sqrt(igl.point_mesh_squared_distance(cloth, skin, body.faces)[0])

    # The trousers are open, so that their winding number takes any value, not only whole ones.
    open_chosen = sample(32, len(skin), 200)
    open_winding = igl.winding_number(cloth, trousers.faces, skin[open_chosen])

    other, own = crossing(skin, body.faces, cloth, trousers.faces)
    assert (other, own) == crossing_by_predicates(skin, body.faces, cloth, trousers.faces)
    faces = [set(map(int, f)) for f in trousers.faces]
    apart = {(a, b) for a, b in own if not faces[a] & faces[b]}

    unstable_other, unstable_own = set(), set()
    random = np.random.default_rng(33)
    for _ in range(10):
        noise = [random.uniform(-JITTER, JITTER, p.shape) for p in (skin, cloth)]
        o, s = crossing(skin + noise[0], body.faces, cloth + noise[1], trousers.faces)
        unstable_other |= o ^ other
        unstable_own |= s ^ own

    inside, twice = winding > 0.5, winding > 1.5
    write("winding.json", {
        "made_by": f"tests/reference/winding.py, libigl {version('libigl')}",
        "body": "synthetic/body.glb", "trousers": "synthetic/trousers.glb", "clip": "poses32", "key": KEY,
        "inside_count": int(inside.sum()), "inside_twice_count": int(twice.sum()),
        "inside": bits(inside), "inside_twice": bits(twice),
        "least_distance": short(float(distance.min())),
        "sample_vertices": chosen.tolist(), "sample_winding": short(winding[chosen]),
        "body_vertices": open_chosen.tolist(), "winding_of_open_trousers": short(open_winding),
        "crossing_count": len(other), "crossing": flat(other),
        "self_crossing_count": len(apart), "self_crossing": flat(apart),
        "self_crossing_sharing_a_vertex": flat(own - apart),
        "unstable_crossing": flat(unstable_other), "unstable_self_crossing": flat(unstable_own),
    })
    print("inside", inside.sum(), "twice", twice.sum(), "nearest vertex to the skin", distance.min())
    print("off a whole number by at most", np.abs(winding - np.round(winding)).max())
    print("crossing", len(other), "self: no shared vertex", len(apart), "one shared vertex", len(own - apart))
    print("unstable", unstable_other, unstable_own)


main()
