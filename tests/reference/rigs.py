"""Which vertices does a rig have, and where do they go in a pose? A small reader and linear blend
skinning in 64-bit floats for the scripts beside it; shares no code with the tool under test."""

import base64
import json
import os
import struct
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

HERE = Path(__file__).resolve().parent
RIGS = Path(os.environ.get("GUSSET_RIGS", HERE / "../../../shared/rigs"))

COMPONENT = {5121: np.uint8, 5123: np.uint16, 5125: np.uint32, 5126: np.float32}
WIDTH = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}

# Hips bent 90 degrees and knees 90: turns about X, on rigs whose rest rotations are the identity.
HALF = 0.707106781
SEATED = {
    "leftUpperLeg": [-HALF, 0.0, 0.0, HALF],
    "rightUpperLeg": [-HALF, 0.0, 0.0, HALF],
    "leftLowerLeg": [HALF, 0.0, 0.0, HALF],
    "rightLowerLeg": [HALF, 0.0, 0.0, HALF],
}


class Rig:
    """First primitive of the first mesh, with the first skin."""

    def __init__(self, file):
        data = (RIGS / file).read_bytes()
        if data[:4] == b"glTF":
            (length,) = struct.unpack_from("<I", data, 12)
            self.json = json.loads(data[20 : 20 + length])
            self.bin = data[28 + length :]
        else:
            self.json = json.loads(data)
            self.bin = base64.b64decode(self.json["buffers"][0]["uri"].split(",")[1])
        primitive = self.json["meshes"][0]["primitives"][0]
        attribute = primitive["attributes"]
        self.points = self.accessor(attribute["POSITION"]).astype(float)
        self.faces = self.accessor(primitive["indices"]).astype(np.int64).reshape(-1, 3)
        self.joints = self.accessor(attribute["JOINTS_0"]).astype(np.int64)
        self.weights = self.accessor(attribute["WEIGHTS_0"]).astype(float)
        skin = self.json["skins"][0]
        self.skin = skin["joints"]
        # glTF stores matrices column by column.
        self.inverse_bind = (
            self.accessor(skin["inverseBindMatrices"]).astype(float).reshape(-1, 4, 4).transpose(0, 2, 1)
        )

    def accessor(self, index):
        a = self.json["accessors"][index]
        view = self.json["bufferViews"][a["bufferView"]]
        if "sparse" in a or a.get("normalized"):
            raise ValueError("sparse and normalized accessors are not needed here")
        width, dtype = WIDTH[a["type"]], np.dtype(COMPONENT[a["componentType"]])
        start = view.get("byteOffset", 0) + a.get("byteOffset", 0)
        stride = view.get("byteStride", dtype.itemsize * width)
        out = np.ndarray((a["count"], width), dtype, self.bin, start, (stride, dtype.itemsize))
        return out.copy()

    def world(self, rotations):
        """World matrix of every node; `rotations` (by node index) replace local rotations."""
        nodes = self.json["nodes"]
        parent = {child: i for i, n in enumerate(nodes) for child in n.get("children", [])}
        done = {}

        def of(i):
            if i not in done:
                done[i] = (of(parent[i]) if i in parent else np.eye(4)) @ local(nodes[i], rotations.get(i))
            return done[i]

        return [of(i) for i in range(len(nodes))]

    def posed(self, rotations=None):
        """World positions; weight rows are used as the file has them."""
        world = self.world(rotations or {})
        matrices = np.array([world[j] for j in self.skin]) @ self.inverse_bind
        blended = np.einsum("vk,vkij->vij", self.weights, matrices[self.joints])
        return np.einsum("vij,vj->vi", blended[:, :3, :3], self.points) + blended[:, :3, 3]

    def named(self, rotations):
        """Rotations by node name turned into rotations by node index."""
        index = {n.get("name"): i for i, n in enumerate(self.json["nodes"])}
        return {index[name]: q for name, q in rotations.items()}

    def key(self, clip, k):
        """Rotations by node index at key k of a clip that only rotates."""
        animation = self.json["animations"][clip]
        out = {}
        for channel in animation["channels"]:
            target, sampler = channel["target"], animation["samplers"][channel["sampler"]]
            if target["path"] != "rotation":
                raise ValueError("only rotations expected")
            out[target["node"]] = self.accessor(sampler["output"])[k].astype(float)
        return out


def local(node, rotation):
    if "matrix" in node:
        return np.array(node["matrix"], float).reshape(4, 4).T
    m = np.eye(4)
    q = node.get("rotation", [0, 0, 0, 1]) if rotation is None else rotation
    m[:3, :3] = Rotation.from_quat(q).as_matrix() * np.array(node.get("scale", [1, 1, 1]), float)
    m[:3, 3] = node.get("translation", [0, 0, 0])
    return m


def sample(seed, count, size):
    """Seeded sorted choice of `size` of `count` indices."""
    return np.sort(np.random.default_rng(seed).choice(count, size, replace=False))


def short(values, digits=9):
    """Nested lists with so many significant digits."""
    if isinstance(values, np.ndarray):
        values = values.tolist()
    if isinstance(values, (list, tuple)):
        return [short(v, digits) for v in values]
    return float(f"{values:.{digits}g}") if isinstance(values, float) else values


def write(name, fields):
    """One line a field, so that a changed number shows as a changed line."""
    body = ",\n".join(f" {json.dumps(k)}:{json.dumps(v, separators=(',', ':'))}" for k, v in fields.items())
    (HERE / name).write_text("{\n" + body + "\n}\n")
