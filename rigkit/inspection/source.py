"""A rig from a file, and what of it could not be read."""

import os

from rigkit import gltf
from rigkit.gltf import Asset
from rigkit.inspection import bvh


def read(source: str | os.PathLike[str] | bytes) -> Asset:
    """Read a rig from a glTF file, or a motion from a BVH file, by what stands in it.

    Parameters
    ----------
    source : str, Path or bytes

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        As `gltf.read` and `bvh.read`.
    """
    if isinstance(source, str | os.PathLike):
        ours = os.fspath(source).lower().endswith(".bvh")
    else:
        ours = isinstance(source, bytes) and bvh.is_bvh(source)
    return bvh.read(source) if ours else gltf.read(source)


# How a rig is built and rests; of a recording remain its bones, their names, and all that moves.
BUILT = (
    *("sides-turn", "preset-bend", "bends-alike", "hinge-square", "knee-in-plane"),
    *("rest-reads-zero", "scale-one", "no-negative-scale"),
)


def no_rest(asset: Asset, rule: str) -> str:
    """Return why a rule on how a rig is built says nothing of an asset; "" if it does."""
    if isinstance(asset, bvh.Recording) and rule in BUILT:
        return "a BVH file holds a motion, not how a rig is built or rests"
    return ""


def remarks(asset: Asset) -> tuple[str, ...]:
    """Return what a reader of the report must know of a file that could not be read in full.

    Parameters
    ----------
    asset : Asset

    Returns
    -------
    tuple of str
        Sentences.
    """
    said = []
    if skin := unread_skin(asset):
        some = any(node.skin is not None for node in asset.nodes)
        which = "measured on the rest of it" if some else "not measured"
        said.append(f"{skin}: rules on the skin were {which}. Save it uncompressed for those.")
    if motion := unread_motion(asset):
        which = "measured on the others" if asset.animations else "not measured"
        said.append(f"{motion}: rules on motion were {which}. Save it uncompressed for those.")
    return tuple(f"{sentence[:1].upper()}{sentence[1:]}" for sentence in said)


def unread_skin(asset: Asset) -> str:
    """Return why some skin was not read; "" if none was left out."""
    if "skin" not in asset.compressed:
        return ""
    some = "a part of " if any(node.skin is not None for node in asset.nodes) else ""
    return f"{some}the skin is compressed ({asset.compressed['skin']}) and was not read"


def unread_motion(asset: Asset) -> str:
    """Return why some animation was not read; "" if none was left out."""
    if "animations" not in asset.compressed:
        return ""
    how = asset.compressed["animations"]
    some = "an animation" if asset.animations else "the animation"
    return f"{some} is compressed ({how}) and was not read"
