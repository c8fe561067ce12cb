"""Rigs as files: glTF 2.0 (ISO/IEC 12113) in and out, for what a rig is made of.

That is the tree of nodes, skins with their inverse bind matrices, triangles with weights and
normals, and animations of nodes. `read` says in `Asset.notes` what else a file held.

    asset.py      a file's content as arrays, and the poses that follow from it
    extras.py     what a program keeps with a file for itself
    container.py  bytes to JSON and buffers, strangers' bytes included
    accessors.py  arrays out of buffers
    fields.py     values of the JSON, each of the kind it must be
    reader.py     JSON to an Asset
    writer.py     an Asset to bytes, and to a file
"""

from rigkit.gltf.asset import Animation, Asset, Channel, Mesh, Node, Skin
from rigkit.gltf.reader import read
from rigkit.gltf.writer import write

__all__ = ["Node", "Skin", "Mesh", "Channel", "Animation", "Asset", "read", "write"]


def __dir__() -> list[str]:
    return __all__
