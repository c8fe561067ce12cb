"""The humanoid map of a VRM file: which node is which bone of a person.

VRM 1.0: `extensions.VRMC_vrm.humanoid.humanBones` is an object of bones, each with its node
(vrm-c/vrm-specification, VRMC_vrm-1.0/humanoid.md); VRM 0.x: `extensions.VRM.humanoid.humanBones`
is a list of objects with bone and node.
"""

from collections.abc import Iterator

from rigkit.gltf.fields import Entry, fields, items, place, short, text

EXTENSIONS = ("VRMC_vrm", "VRM")


def humanoid(document: Entry) -> tuple[dict[str, int], str]:
    """Return a file's humanoid map, and a sentence if it has one that cannot be read.

    Parameters
    ----------
    document : dict
        The file's JSON.

    Returns
    -------
    map : dict of str to int
        The node of each bone.
    problem : str
        Empty where nothing is wrong; else the map is empty.
    """
    found: dict[str, int] = {}
    try:
        for bone, number, where in _bones(document):
            if bone in found:
                raise ValueError(f"{where}: names {short(bone)} twice.")
            found[bone] = place(document, "nodes", number, where)
    except ValueError as problem:
        return {}, f"The humanoid map is not read: {problem}"
    return found, ""


def _bones(document: Entry) -> Iterator[tuple[str, object, str]]:
    """Each bone of the first map there is, its node, and where it stands in the file."""
    extensions = fields(document, "extensions", "JSON")
    name = next((name for name in EXTENSIONS if name in extensions), None)
    if name is None:
        return
    map_ = fields(fields(extensions, name, "extensions"), "humanoid", name)
    where = f"{name}.humanoid.humanBones"
    if name == "VRMC_vrm":
        bones = fields(map_, "humanBones", f"{name}.humanoid")
        for bone in bones:
            yield bone, fields(bones, bone, where).get("node"), f"{where}.{bone}"
        return
    for i, entry in enumerate(items(map_, "humanBones", f"{name}.humanoid")):
        at = f"{where}[{i}]"
        if not isinstance(entry, dict):
            raise ValueError(f"{at}: must be an object; got {short(entry)}.")
        yield text(entry, "bone", at), entry.get("node"), at
