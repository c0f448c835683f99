"""How much room is there between the skin and two pairs of trousers, as built and in poses? Closest points by libigl on
sixteen points a triangle. Writes room.json."""

from importlib.metadata import version

import igl
import numpy as np

from rigs import SEATED, Rig, short, write

BODY = "bodies/mhr_body_average.glb"
GARMENTS = [
    "trousers/trousers_average_build9.glb",
    "trousers/trousers_average_defect_bleed_L_to_R.glb",
]
# A long step: turns about X as in SEATED; left hip 30 degrees forward, knee 10; right hip 12 back.
STEP = {
    "leftUpperLeg": [-np.sin(np.radians(15)), 0.0, 0.0, np.cos(np.radians(15))],
    "leftLowerLeg": [np.sin(np.radians(5)), 0.0, 0.0, np.cos(np.radians(5))],
    "rightUpperLeg": [np.sin(np.radians(6)), 0.0, 0.0, np.cos(np.radians(6))],
}
POSES = {"step": STEP, "seated": SEATED}
# Distance a home may lie from its fabric for a thigh of 0.41 m.
REACH = 0.060
PARTS = ["head", "torso", "pelvis"] + [s + p for s in ("left", "right") for p in ("arm", "fore", "hand", "thigh", "shank", "foot")]
INNER = {"head": "torso", "torso": "pelvis", "pelvis": None, "arm": "torso", "fore": "arm", "hand": "fore",
         "thigh": "pelvis", "shank": "thigh", "foot": "shank"}


def part_of(joint):
    side = "left" if joint.startswith("left") else "right" if joint.startswith("right") else ""
    rest = joint[len(side):]
    whole = {"hips": "pelvis", "neck": "head", "head": "head", "Shoulder": "torso"}
    limbs = {"UpperArm": "arm", "LowerArm": "fore", "UpperLeg": "thigh", "LowerLeg": "shank", "Foot": "foot", "Toes": "foot"}
    if rest in whole:
        return whole[rest]
    if rest in limbs:
        return side + limbs[rest]
    if side:
        return side + "hand"
    return "torso" if rest.lower().endswith(("spine", "chest")) else "head"


def inner(part):
    side = next((s for s in ("left", "right") if part.startswith(s)), "")
    of = INNER[part[len(side):]]
    return None if of is None else of if of in PARTS else side + of


def near(part):
    return [p for p in PARTS if p == part or inner(p) == part or inner(part) == p]


class Skin:
    """A posed skin that answers closest points on some of its parts, with the side by angle-weighted normals."""

    def __init__(self, points, faces, parts):
        self.points, self.faces, self.parts = points, faces, parts
        corners = points[faces]
        self.normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        self.normal /= np.linalg.norm(self.normal, axis=1)[:, None]
        self.vertex = igl.per_vertex_normals(points, faces, igl.PER_VERTEX_NORMALS_WEIGHTING_TYPE_ANGLE)
        self.edge = {}
        for face, (a, b, c) in enumerate(faces):
            for edge in ((a, b), (b, c), (c, a)):
                key = (min(edge), max(edge))
                self.edge[key] = self.edge.get(key, 0) + self.normal[face]

    def room(self, at, wanted):
        """Signed distance and face of the nearest skin among the wanted parts."""
        chosen = np.flatnonzero(np.isin(self.parts, wanted))
        squared, face, closest = igl.point_mesh_squared_distance(at, self.points, self.faces[chosen])
        face = chosen[face]
        corners = self.points[self.faces[face]]
        share = igl.barycentric_coordinates(closest, corners[:, 0].copy(), corners[:, 1].copy(), corners[:, 2].copy())
        sign = np.empty(len(at))
        for i, (f, s) in enumerate(zip(face, share)):
            on = s > 1e-7
            v = self.faces[f]
            if on.all():
                n = self.normal[f]
            elif on.sum() == 2:
                ends = v[on]
                n = self.edge[(min(ends), max(ends))]
            else:
                n = self.vertex[v[np.argmax(s)]]
            sign[i] = 1 if (at[i] - closest[i]) @ n >= 0 else -1
        return sign * np.sqrt(squared), face


def sixteenths(corners):
    """n x 16 x 3: the middles of sixteen equal triangles in each."""
    middles = []
    for i in range(4):
        for j in range(4 - i):
            middles.append(((i + 1 / 3) / 4, (j + 1 / 3) / 4))
            if i + j < 3:
                middles.append(((i + 2 / 3) / 4, (j + 2 / 3) / 4))
    u, v = np.array(middles).T
    weights = np.stack([1 - u - v, u, v])
    return np.einsum("kp,nkd->npd", weights, corners)


def least_of_worst(values, areas, area):
    order = np.argsort(-values)
    return float(values[order][np.searchsorted(np.cumsum(areas[order]), area)])


def measure(body, rig, rotations):
    joint = {node.get("name"): matrix[:3, 3] for node, matrix in zip(body.json["nodes"], body.world({}))}
    scale = np.linalg.norm(joint["leftUpperLeg"] - joint["leftLowerLeg"]) / 0.41
    names = [body.json["nodes"][j]["name"] for j in body.skin]
    groups = np.array([PARTS.index(part_of(n)) for n in names])
    share = np.zeros((len(body.points), len(PARTS)))
    for k in range(body.joints.shape[1]):
        np.add.at(share, (np.arange(len(share)), groups[body.joints[:, k]]), body.weights[:, k])
    parts = share[body.faces].sum(axis=1).argmax(axis=1)

    built = Skin(body.posed(), body.faces, parts)
    posed = Skin(body.posed(body.named(rotations)), body.faces, parts)
    cloth, now = rig.posed()[rig.faces], rig.posed(rig.named(rotations))[rig.faces]
    areas = np.linalg.norm(np.cross(cloth[:, 1] - cloth[:, 0], cloth[:, 2] - cloth[:, 0]), axis=1) / 2
    areas = np.repeat(areas / 16, 16)
    at, at_now = sixteenths(cloth).reshape(-1, 3), sixteenths(now).reshape(-1, 3)
    far, face = built.room(at, range(len(PARTS)))
    home = np.where(np.abs(far) <= REACH * scale, parts[face], -1)
    ease, ease_now = np.full(len(at), np.nan), np.full(len(at), np.nan)
    for part in np.unique(home[home >= 0]):
        mine = home == part
        wanted = [PARTS.index(p) for p in near(PARTS[part])]
        ease[mine], _ = built.room(at[mine], wanted)
        ease_now[mine], _ = posed.room(at_now[mine], wanted)
    known = home >= 0
    more = ease_now - ease
    allowed = np.clip(ease / 2, 0.0015 * scale, 0.003 * scale)
    inside = np.zeros(len(at), bool)
    low = known & (ease_now < 0)
    inside[low] = igl.winding_number(posed.points, posed.faces, at_now[low]) >= 0.5
    # Cloth that hung further off than the garment usually does may come as near as the rest of it lies.
    usual = -least_of_worst(-ease[known], areas[known], areas[known].sum() / 2)
    lost = np.where(known, np.minimum(ease, usual) - ease_now, -np.inf)
    return {
        "ease.median_mm": least_of_worst(-ease_now[known], areas[known], areas[known].sum() / 2) * -1e3,
        "dip.p99_mm": least_of_worst(lost, areas, 0.01 * areas.sum()) * 1e3,
        "lift.area_cm2": areas[known & (more > allowed)].sum() * 1e4,
        "buried.area_cm2": areas[inside].sum() * 1e4,
        "buried.depth_mm": float(-ease_now[inside].min() * 1e3) if inside.any() else 0.0,
        "compared": int(known.sum()),
    }


def main():
    body = Rig(BODY)
    found = []
    for file in GARMENTS:
        rig = Rig(file)
        for pose, rotations in POSES.items():
            row = {"garment": file, "pose": pose}
            row |= {k: short(float(v)) for k, v in measure(body, rig, rotations).items()}
            found.append(row)
            print(row, flush=True)
    write("room.json", {
        "made_by": f"tests/reference/room.py, libigl {version('libigl')}",
        "poses": {p: [{"name": n, "rotation": [float(v) for v in q]} for n, q in r.items()] for p, r in POSES.items()},
        "rows": found,
    })


main()
