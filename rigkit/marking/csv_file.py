"""Tables as spreadsheets save them."""

__all__ = ["decode"]


def decode(data: bytes) -> str | None:
    """Decode UTF-8, UTF-16 with its mark, or Windows-1252.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    str or None
        None where it is no text.
    """
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return None
