"""Counts the skin that became visible in a pose, by rays of another library (embree through trimesh).

    python seen.py BIND.glb POSE.glb...

The files come from `gusset posed BODY GARMENT --pose ... --out FILE.glb`; BIND.glb is the pair as bound (a pose file that
only says `knees: bind`). A place counts when more than 5 % of 200 cosine-distributed directions from it meet neither
body nor garment, and at most 5 % did as bound. Areas are those as bound, in square centimetres. Needs numpy, trimesh
and embreex (see requirements.txt).
"""

import json
import struct
import sys

import numpy as np
import trimesh
from trimesh.ray.ray_pyembree import RayMeshIntersector

DIRECTIONS = 200
ROWS = 2  # each triangle is looked at from ROWS * ROWS places


def load(path):
    """Positions and triangles of the body and of the garment."""
    data = open(path, "rb").read()
    length = struct.unpack("<I", data[12:16])[0]
    gltf = json.loads(data[20 : 20 + length])

    def read(index, kind, width):
        accessor = gltf["accessors"][index]
        view = gltf["bufferViews"][accessor["bufferView"]]
        start = 28 + length + view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        flat = np.frombuffer(data, dtype=kind, count=accessor["count"] * width, offset=start)
        return flat.reshape(-1, width)

    meshes = []
    for mesh in gltf["meshes"]:
        primitive = mesh["primitives"][0]
        positions = read(primitive["attributes"]["POSITION"], "<f4", 3).astype(float)
        meshes.append((positions, read(primitive["indices"], "<u4", 1).reshape(-1, 3).astype(int)))
    return meshes


def places(positions, triangles):
    """Centres of the small triangles, and the triangle each belongs to."""
    corners = [positions[triangles[:, corner]] for corner in range(3)]
    found = []
    for i in range(ROWS):
        for j in range(ROWS - i):
            steps = [(3 * i + 1, 3 * j + 1)] + ([(3 * i + 2, 3 * j + 2)] if i + j + 1 < ROWS else [])
            for u, v in ((a / (3 * ROWS), b / (3 * ROWS)) for a, b in steps):
                found.append(corners[0] * (1 - u - v) + corners[1] * u + corners[2] * v)
    return np.concatenate(found), np.tile(np.arange(len(triangles)), len(found))


def seen_share(path):
    """Share of directions that escape, by place; owner of each place; area of each triangle."""
    (skin, skin_triangles), (cloth, cloth_triangles) = load(path)
    everything = trimesh.Trimesh(
        np.concatenate([skin, cloth]),
        np.concatenate([skin_triangles, cloth_triangles + len(skin)]),
        process=False,
    )
    rays = RayMeshIntersector(everything)
    a, b, c = (skin[skin_triangles[:, corner]] for corner in range(3))
    normals = np.cross(b - a, c - a)
    areas = np.linalg.norm(normals, axis=1) / 2
    normals /= 2 * areas[:, None] + 1e-20
    points, owners = places(skin, skin_triangles)
    z = normals[owners]
    x = np.cross(z, np.where(np.abs(z[:, [0]]) < 0.9, [[1, 0, 0]], [[0, 1, 0]]))
    x /= np.linalg.norm(x, axis=1, keepdims=True)
    y = np.cross(z, x)
    share = np.zeros(len(points))
    for number in range(DIRECTIONS):
        radius = np.sqrt((number + 0.5) / DIRECTIONS)
        angle = 2 * np.pi * (number * 0.61803398875 % 1)
        ray = x * radius * np.cos(angle) + y * radius * np.sin(angle) + z * np.sqrt(1 - radius * radius)
        share += ~rays.intersects_any(points + z * 2e-5, ray)
    return share / DIRECTIONS, owners, areas


bound, owners, areas = seen_share(sys.argv[1])
weights = areas[owners] / ROWS**2 * 1e4
for path in sys.argv[2:]:
    now, _, _ = seen_share(path)
    hidden, hardly = ((now > 0.05) & (bound <= most) for most in (0.0, 0.05))
    print(f"{path}: {weights[hardly].sum():.2f} cm2 became visible, {weights[hidden].sum():.2f} of it fully hidden as bound")
