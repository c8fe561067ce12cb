"""The learner's side of a question for a rig file: the file is read and inspected, never run."""

from pathlib import Path
from typing import Any

from rigkit import gltf, inspection
from rigkit.homework import calling
from rigkit.inspection.legs import SIDE_WORDS, Legs

MOST_BYTES = 10 * 2**20
KEPT = (
    "rule",
    "title",
    "about",
    "status",
    "severity",
    "number",
    "unit",
    "sense",
    "limit",
    "said",
    "todo",
)


def record_file(answer: Any) -> calling.Record:
    """The record of a rig file, as `calling` makes them, never an error.

    Parameters
    ----------
    answer : str, Path, bytes or ...
        A .glb or .gltf file, or what stands in one; `...` is no answer yet.

    Returns
    -------
    dict
        {"out": what `findings` gives}, or {"end": …}.
    """
    if answer is ...:
        return {"end": "blank"}
    if not isinstance(answer, str | Path | bytes):
        return {
            "end": "unreadable",
            "what": f"a {type(answer).__name__}, where the name of a file belongs",
        }
    try:
        return calling.record_value(findings(gltf.read(_bytes(answer))))
    except OSError as error:
        return {
            "end": "unreadable",
            "what": f"a file that cannot be opened ({error.strerror or error})",
        }
    except ValueError as error:
        return {"end": "unreadable", "what": f"a file that cannot be read ({error})"}
    except (
        ArithmeticError,
        LookupError,
        MemoryError,
    ) as error:  # a rig so odd that even the kit did not foresee it
        return {
            "end": "unreadable",
            "what": f"a file that cannot be inspected ({type(error).__name__})",
        }


def findings(asset: gltf.Asset) -> dict[str, Any]:
    """The findings of an inspection, in short.

    Parameters
    ----------
    asset : gltf.Asset

    Returns
    -------
    dict
        "rigkit_inspection", the schema; "findings", of each rule those parts that `Report.data`
        gives and a judge weighs; "places", the joints of the legs at rest, "left.knee" to [x, y, z]
        along the file's axes, metres.
    """
    report = inspection.inspect(asset)
    data = report.data()
    found = [
        {key: finding[key] for key in KEPT if finding[key] is not None}
        for finding in data["findings"]
    ]
    return {
        "rigkit_inspection": data["rigkit_inspection"],
        "findings": found,
        "places": _places(asset, report.legs),
    }


def _places(asset: gltf.Asset, legs: Legs) -> dict[str, list[float]]:
    """Places of the legs' joints at rest."""
    if not legs.legs:
        return {}
    at_rest = legs.metres * asset.rest_world()[:, :3, 3]
    return {
        f"{SIDE_WORDS[side]}.{part}": at_rest[node].tolist()
        for side, leg in legs.legs.items()
        for part, node in leg.joints.items()
    }


def _bytes(answer: str | Path | bytes) -> bytes:
    if isinstance(answer, bytes):
        return answer
    with open(answer, "rb") as file:
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise ValueError(f"it is larger than {MOST_BYTES // 2**20} MiB; export fewer vertices")
    return data
