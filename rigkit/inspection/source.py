"""A rig from a file, and what of it could not be read."""

from rigkit.gltf import Asset


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
        which = (
            "measured on the rest of it"
            if some
            else "not measured, and the pose at rest is the one that the nodes store"
        )
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
