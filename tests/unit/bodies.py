"""Whole bodies to find the legs of: joints with arms, fingers and helpers, named in many ways. All
invented.

The one scheme that is not ours is that of the VRM humanoid, an open specification.
"""

from dataclasses import dataclass, replace

import numpy as np

# Where the left half of a body stands, metres: name, parent, (x, y, z). The right half is its
# mirror image.
MIDDLE = {
    "root": (None, (0, 0, 0)),
    "pelvis": ("root", (0, 0.95, 0)),
    "spine": ("pelvis", (0, 1.08, -0.01)),
    "chest": ("spine", (0, 1.28, -0.02)),
    "neck": ("chest", (0, 1.48, 0)),
    "head": ("neck", (0, 1.58, 0.02)),
    "jaw": ("head", (0, 1.56, 0.09)),
}
LEFT = {
    "hip": ("pelvis", (0.09, 0.90, 0)),
    "knee": ("hip", (0.095, 0.48, 0.02)),
    "ankle": ("knee", (0.10, 0.08, 0)),
    "ball": ("ankle", (0.10, 0.02, 0.12)),
    "toe": ("ball", (0.10, 0.02, 0.19)),
    "clavicle": ("chest", (0.03, 1.42, 0)),
    "shoulder": ("clavicle", (0.17, 1.40, 0)),
    "elbow": ("shoulder", (0.38, 1.22, -0.02)),
    "wrist": ("elbow", (0.56, 1.06, 0)),
    "index1": ("wrist", (0.61, 1.00, 0.02)),
    "index2": ("index1", (0.63, 0.97, 0.02)),
    "index3": ("index2", (0.65, 0.95, 0.02)),
    "thumb1": ("wrist", (0.59, 1.03, 0.05)),
    "thumb2": ("thumb1", (0.60, 1.01, 0.07)),
    "eye": ("head", (0.03, 1.62, 0.09)),
}
LEG = ("hip", "knee", "ankle", "ball", "toe")


@dataclass
class Body:
    """Joints: what each is (side, part), its name, its parent's place, where it stands."""

    what: list
    names: list
    parents: list
    points: np.ndarray

    def place(self, side, part):
        return self.what.index((side, part))

    def without(self, *parts):
        """The body without some parts; their children hang from what they hung from."""
        return self.keeping(lambda what: what[1] not in parts)

    def keeping(self, wanted):
        kept = [i for i, what in enumerate(self.what) if wanted(what)]

        def above(i):
            while i >= 0 and i not in kept:
                i = self.parents[i]
            return kept.index(i) if i >= 0 else -1

        return Body(
            [self.what[i] for i in kept],
            [self.names[i] for i in kept],
            [above(self.parents[i]) for i in kept],
            self.points[kept],
        )

    def adding(self, what, name, parent, point):
        return Body(
            [*self.what, what],
            [*self.names, name],
            [*self.parents, parent],
            np.concatenate([self.points, [point]]),
        )

    def moved(self, matrix, scale=1.0):
        return replace(self, points=scale * self.points @ np.asarray(matrix, float).T)


def body(naming, fingers=True):
    """A body whose joints are called what `naming(part, side)` says; side is "L", "R" or None."""
    what, parents, points = [], [], []
    for part, (parent, point) in MIDDLE.items():
        what.append((None, part))
        parents.append(-1 if parent is None else what.index((None, parent)))
        points.append(point)
    for side, way in (("L", 1), ("R", -1)):
        for part, (parent, point) in LEFT.items():
            if fingers or not part.startswith(("index", "thumb")):
                what.append((side, part))
                parents.append(
                    what.index((side, parent) if (side, parent) in what else (None, parent))
                )
                points.append((way * point[0], *point[1:]))
    return Body(what, [naming(part, side) for side, part in what], parents, np.array(points, float))


def worded(words, form):
    """A naming: words for parts, and how a word and a side become a name."""
    return lambda part, side: form(words.get(part, part), side)


SEGMENTS = {
    "hip": "thigh",
    "knee": "shin",
    "ankle": "foot",
    "ball": "toes",
    "toe": "toe_tip",
    "shoulder": "upper_arm",
    "elbow": "forearm",
    "wrist": "hand",
}
CALF = {**SEGMENTS, "knee": "calf", "ball": "ball"}
UPPER = {
    "hip": "upperLeg",
    "knee": "lowerLeg",
    "ankle": "foot",
    "ball": "toes",
    "toe": "toesEnd",
    "pelvis": "hips",
    "shoulder": "upperArm",
    "elbow": "lowerArm",
    "wrist": "hand",
}
SHORT = {
    "hip": "upleg",
    "knee": "lowleg",
    "ankle": "ankle",
    "ball": "toe",
    "toe": "toeend",
    "pelvis": "hip",
}
BONES = {
    "hip": "femur",
    "knee": "tibia",
    "ankle": "talus",
    "ball": "metatarsal",
    "toe": "toe end",
    "shoulder": "humerus",
    "elbow": "ulna",
}
COUNTED = {
    "hip": "leg1",
    "knee": "leg2",
    "ankle": "leg3",
    "ball": "leg4",
    "toe": "leg5",
    "shoulder": "arm1",
    "elbow": "arm2",
    "wrist": "arm3",
}
PLAIN = {"hip": "leg", "knee": "knee", "ankle": "foot", "ball": "foot_ball", "toe": "foot_end"}
WORD = {"L": "left", "R": "right"}


def _sided(before="", after="", letters=None, middle=str):
    def form(word, side):
        mark = "" if side is None else (letters or {"L": "L", "R": "R"})[side]
        return (
            middle(word)
            if side is None
            else before.replace("*", mark) + middle(word) + after.replace("*", mark)
        )

    return form


def _camel(word):
    first, *others = word.replace("_", " ").split()
    return first + "".join(other.capitalize() for other in others)


def _title(word):
    return word[:1].upper() + word[1:]


LOWER = {"L": "l", "R": "r"}
NAMINGS = {
    "ours": worded({}, _sided("*_")),
    "suffix letter": worded(SEGMENTS, _sided(after="_*")),
    "suffix dot": worded(SEGMENTS, _sided(after=".*")),
    "small suffix dot": worded(CALF, _sided(after=".*", letters=LOWER)),
    "small prefix": worded(SEGMENTS, _sided("*_", letters=LOWER)),
    "glued prefix": worded(
        SEGMENTS, _sided("*", letters=LOWER, middle=lambda w: _title(_camel(w)))
    ),
    "glued suffix": worded(UPPER, _sided(after="*")),
    "vrm": worded(UPPER, _sided("*", letters=WORD, middle=_title)),
    "word prefix": worded(SEGMENTS, _sided("*_", letters=WORD)),
    "word suffix": worded(CALF, _sided(after=" *", letters=WORD)),
    "capital words": worded(
        UPPER, _sided("*_", letters={"L": "LEFT", "R": "RIGHT"}, middle=str.upper)
    ),
    "run together": worded(SHORT, _sided("*", letters=WORD)),
    "run together letter": worded(SHORT, _sided(after="*", letters=LOWER)),
    "with a crew's tag": worded(SEGMENTS, lambda word, side: f"parade:{word}_{side or 'M'}"),
    "with numbers": worded(CALF, lambda word, side: f"jnt_{side or 'c'}_{word}_01"),
    "bones": worded(BONES, _sided("* ", letters=WORD)),
    "short sides": worded(SHORT, _sided(after="-*", letters={"L": "lft", "R": "rgt"})),
    "counted legs": worded(COUNTED, _sided("*_")),
    "leg then knee": worded(PLAIN, _sided("*.", letters=WORD)),
    "spaces and case": worded(UPPER, _sided("* - ", letters={"L": "Left", "R": "Right"})),
    "pipes": worded(SEGMENTS, lambda word, side: f"rig|skeleton|{word}.{(side or 'M').lower()}"),
    "no side": worded(
        SEGMENTS, lambda word, side: word if side is None else word + {"L": "_1", "R": "_2"}[side]
    ),
    "no side, no number": worded(CALF, lambda word, side: word),
    "numbers only": lambda part, side: (
        f"j{[*LEFT, *MIDDLE].index(part) * 3 + 'LR'.find(side or '-')}"
    ),
    "empty": lambda part, side: "",
    "another language": worded(
        {
            "hip": "oberschenkel",
            "knee": "unterschenkel",
            "ankle": "fuss",
            "ball": "zehen",
            "toe": "zehenspitze",
        },
        lambda word, side: f"{word}_{ {'L': 'links', 'R': 'rechts', None: 'mitte'}[side] }",
    ),
}
WITH_SIDES = [
    name
    for name in NAMINGS
    if name not in ("no side", "no side, no number", "numbers only", "empty", "another language")
]

# Other axes: which way is up, which way it faces, and the turn from ours.
TURNS = {
    "+y +z": np.eye(3),
    "+z -y": [[1, 0, 0], [0, 0, -1], [0, 1, 0]],
    "+z +x": [[0, 0, 1], [1, 0, 0], [0, 1, 0]],
    "+x +y": [[0, 1, 0], [0, 0, 1], [1, 0, 0]],
    "-y +z": [[-1, 0, 0], [0, -1, 0], [0, 0, 1]],
    "+y -x": [[0, 0, -1], [0, 1, 0], [1, 0, 0]],
}
