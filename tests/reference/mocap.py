"""Knee and hip of a capture as gusset puts them on a body, against the capture's own by another reader (bvhtoolbox).

    mocap.py CAPTURE.bvh RESULT.json ...

The source's joints are placed here by numpy from that reader's offsets and rotations; a knee is the angle between thigh and
shank, a hip the direction of the thigh in the pelvis, X from hip to hip and Y towards the neck as the rest pose has them.
"""

import json
import sys

import numpy as np
from bvhtoolbox import BvhTree
from bvhtoolbox.bvhtransforms import get_rotation_matrices

MOST_DEG = 2.0


def unit(vector):
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)


def rotations(tree, name):
    letters = "".join(channel[0].lower() for channel in tree.joint_channels(name) if channel.endswith("rotation"))
    return get_rotation_matrices(tree, name, axes="r" + letters)


def chain(tree, name):
    """A joint with its ancestors, the root first."""
    names = [name]
    while tree.joint_parent_index(names[0]) >= 0:
        names.insert(0, tree.joint_parent(names[0]).name)
    return names


def world(tree, name):
    """Rotation of a joint in the world, by frame."""
    turn = np.eye(3)
    for joint in chain(tree, name):
        turn = turn @ rotations(tree, joint)
    return turn


def rest(tree, name):
    """Place of a joint at rest."""
    return sum(np.array(tree.joint_offset(joint)) for joint in chain(tree, name))


def bone(tree, joint, child):
    """Direction from a joint to its child, by frame."""
    return unit(world(tree, joint) @ np.array(tree.joint_offset(child)))


def curves(tree):
    """Knee and hip flexion, degrees, of both sides by frame."""
    hips = [rest(tree, f"{side}Hip") for side in ("Left", "Right")]
    x = unit(hips[0] - hips[1])
    up = rest(tree, "Neck") - (hips[0] + hips[1]) / 2
    y = unit(up - x * (up @ x))
    pelvis = world(tree, "Hips") @ np.stack([x, y, np.cross(x, y)], axis=1)
    found = {}
    for side in ("Left", "Right"):
        thigh = bone(tree, f"{side}Hip", f"{side}Knee")
        shank = bone(tree, f"{side}Knee", f"{side}Ankle")
        cosine = np.clip(np.sum(thigh * shank, axis=1), -1, 1)
        local = np.einsum("fji,fj->fi", pelvis, thigh)
        found[f"{side.lower()}LowerLeg"] = np.degrees(np.arccos(cosine))
        found[f"{side.lower()}UpperLeg"] = np.degrees(np.arctan2(local[:, 2], -local[:, 1]))
    return found


def main():
    capture, *results = sys.argv[1:]
    with open(capture, encoding="utf-8") as file:
        tree = BvhTree(file.read())
    wanted = curves(tree)
    for path in results:
        with open(path, encoding="utf-8") as file:
            poses = [pose for fitting in json.load(file)["fittings"] for pose in fitting["poses"]]
        assert len(poses) == 1 and len(poses[0]["frames"]) > 50, f"{path}: one pose of many frames belongs here"
        for name, curve in wanted.items():
            worst = 0.0
            for frame in poses[0]["frames"]:
                source = curve[round(frame["time_s"] / tree.frame_time)]
                # A knee's flexion has a sign, the angle between two bones has none.
                found = frame["angles_deg"][name]["flexion"]
                found = abs(found) if name.endswith("LowerLeg") else found
                worst = max(worst, abs(found - source))
            print(f"{path}: {name} within {worst:.2f} degrees, over {curve.min():.0f} to {curve.max():.0f}")
            assert worst <= MOST_DEG, f"{name} is off by {worst:.2f} degrees"
            assert curve.max() - curve.min() > 20, f"{name} hardly moves: the capture shows nothing"


main()
