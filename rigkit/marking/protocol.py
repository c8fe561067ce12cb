"""A session with one process in the jail: questions and answers, line by line.

The answers are read as a stranger's words.

Each line asked carries a fresh token that its answer must repeat, so nothing is answered before it
was asked, or twice.
"""

import json
import math
import os
import re
import secrets
import selectors
import time
import unicodedata
from base64 import b64encode
from collections.abc import Callable, Mapping
from typing import Any, NoReturn

from rigkit.homework.calling import MOST_NUMBERS, MOST_TEXT
from rigkit.marking.calls import Call, CaseRecord, Pipes, Request, SessionResult
from rigkit.marking.entry import FINISHED, NOT_STARTED

__all__ = ["ProtocolError", "Session", "clean", "run_session", "words"]

TIME, MEMORY, OUTPUT, STOPPED = "time limit", "memory", "output limit", "stopped early"
FILES = "file limit"
MIB = 2**20
KEPT = 64 * 1024  # bytes of what the cells print
MOST_PRINTED = 16 * MIB
MOST_LINE, MOST_FINDINGS = 64 * 1024, MIB  # the latter is for a file with many animations
MOST_RESULT = 4 * MIB
MOST_FILES = 10_000  # and folders and links: each takes a KiB of the kernel's memory, empty or not
EVERY = 0.1  # seconds between two looks at how many there are
CELL = 3.0  # seconds of the processor's time for one cell; each that uses them up leaves less
LEAST = 0.5  # but not less than these
PATIENCE = 1.0  # seconds more until what should have ended itself is taken to be stuck
MOST_SKIPPED = 20
_NAME = re.compile(r"[^\W\d]\w{0,59}(\.\w{1,60}){0,5}")


def run_session(session: "Session", request: Request) -> SessionResult:
    """Say hello, run the cells, make the calls, say goodbye; until something ends it."""
    result = SessionResult()
    try:
        session.ask({"do": "hello", "homework": dict(request.homework)})
        session.watch_files()
        result.end = STOPPED
        _run_cells(session, request, result)
        session.keep_no_more()
        for call in request.calls:
            _collect(session, call, result.records.setdefault(call.question, []))
        result.cpu = _seconds(session.ask({"do": "bye"}))
        result.end = FINISHED
    except SessionEndedError as ended:
        result.end = result.end if result.end == NOT_STARTED else ended.end
    return result


def _run_cells(session: "Session", request: Request, result: SessionResult) -> None:
    """Run the cells. Those that use up their time leave half of what there is to the next.

    The processor's time is measured inside; who keeps it from being measured gets three times as
    much by the clock.
    """
    left = session.left() / 2
    for number, source in enumerate(request.cells, 1):
        begun, seconds = time.monotonic(), max(LEAST, min(CELL, left / 2))
        asked = {"do": "cell", "number": number, "source": source, "seconds": seconds}
        cell = _cell(session.ask(asked, wait=3 * seconds + PATIENCE))
        if cell.get("error") == "TimeLimitError":
            left, cell["seconds"] = left - (time.monotonic() - begun), round(seconds, 1)
        result.cells.append(cell)


def _collect(session: "Session", call: Call, records: list[CaseRecord]) -> None:
    """Ask for one answer, case by case: none is known inside before the last is answered."""
    if call.kind == "file":
        asked = {"do": "file", "data": b64encode(call.data).decode(), "seconds": call.seconds}
        records.append(_record(session.ask(asked, MOST_FINDINGS), call.seconds))
        return
    begun, seconds = time.monotonic(), round(min(call.seconds, session.left() / 2), 1)
    for case in call.cases if call.kind == "function" else [{}]:
        left = seconds - (time.monotonic() - begun)
        stopped = {"end": "stopped", "seconds": seconds}
        if left <= 0 or (records and records[-1].get("end") == "stopped"):
            records.append(stopped)
            continue
        asked = {
            "do": "call",
            "question": call.question,
            "kind": call.kind,
            "case": case,
            "seconds": left,
        }
        record = _record(session.ask(asked, wait=left + PATIENCE), seconds)
        late = time.monotonic() - begun > seconds + PATIENCE / 2
        records.append(stopped if late else record)


# The other side's words, read as a stranger's


class ProtocolError(Exception):
    """A line from the jail is no answer; the text says why."""


def clean(line: bytes) -> Any:
    """A line from the jail as JSON data of finite floats, text, true, false, None, lists and dicts.

    Raises
    ------
    ProtocolError
        It is not that, or larger or deeper than any answer.
    """
    try:
        data = json.loads(
            line.decode("utf-8"), parse_constant=_no_number, parse_float=_float, parse_int=_float
        )
        return _plain(data, [2 * MOST_NUMBERS])
    except UnicodeDecodeError:
        raise ProtocolError("not text") from None
    except RecursionError:
        raise ProtocolError("nested too deeply") from None
    except ValueError:
        raise ProtocolError("not an answer") from None


def _no_number(text: str) -> NoReturn:
    raise ProtocolError("not a finite number")


def _float(text: str) -> float:
    if len(text) > 30:
        raise ProtocolError("a number of more than 30 digits")
    if not math.isfinite(number := float(text)):
        raise ProtocolError("not a finite number")
    return number


def _plain(data: Any, budget: list[int], depth: int = 0) -> Any:
    budget[0] -= 1
    if budget[0] < 0 or depth > 20:
        raise ProtocolError("far more than was asked for")
    if isinstance(data, str):
        return words(data[:MOST_TEXT])
    if isinstance(data, list):
        return [_plain(part, budget, depth + 1) for part in data]
    if isinstance(data, dict):
        return {
            words(name[:MOST_TEXT]): _plain(part, budget, depth + 1) for name, part in data.items()
        }
    return data


def words(text: str) -> str:
    """Text with something harmless in place of control characters, surrogates and the like."""
    return "".join(
        "\N{REPLACEMENT CHARACTER}" if unicodedata.category(c)[0] == "C" and c not in "\n\t" else c
        for c in text
    )


def _cell(line: bytes) -> dict[str, Any]:
    """The end of a cell."""
    try:
        data = clean(line)
    except ProtocolError:
        data = None
    match data:
        case {"ok": True}:
            found: dict[str, Any] = {"ok": True}
        case {"error": kind, "line": place}:
            found = {"error": _type(kind), "line": _whole(place), **_named(data)}
        case _:
            return {"error": "unreadable", "line": None}
    skipped = data.get("skipped")
    lines = [
        {"line": _whole(one.get("line")), **_named(one)}
        for one in (skipped if isinstance(skipped, list) else [])[:MOST_SKIPPED]
        if isinstance(one, dict)
    ]
    return found | ({"skipped": lines} if lines else {})


def _named(data: Mapping[str, Any]) -> dict[str, str]:
    """The name that an error is about, if it is one that a program can have."""
    name = data.get("name")
    return {"name": name} if isinstance(name, str) and _NAME.fullmatch(name) else {}


def _record(line: bytes, seconds: float) -> dict[str, Any]:
    """A record in the shapes that `homework.calling` makes, without messages of errors."""
    try:
        data = clean(line)
    except ProtocolError as error:
        return {"end": "unreadable", "what": str(error)}
    printed = _whole(data.get("printed")) if isinstance(data, dict) else None
    return _shape(data, seconds) | ({"printed": printed} if printed else {})


def _shape(data: Any, seconds: float) -> dict[str, Any]:
    match data:
        case {"out": value}:
            return {"out": value}
        case {"end": "blank" | "nothing" as end}:
            return {"end": end}
        case {"end": "stopped"}:
            return {"end": "stopped", "seconds": seconds}
        case {"end": "unreadable", "what": str(what)}:
            return {"end": "unreadable", "what": what}
        case {"end": "raised", "type": kind, "line": place}:
            raised = {"end": "raised", "type": _type(kind), "message": "", "line": _whole(place)}
            return raised | _named(data)
    return {"end": "unreadable", "what": "not an answer"}


def _type(kind: Any) -> str:
    """The name of an error's type: one that a class can have in a program, else nobody's."""
    return (
        kind
        if isinstance(kind, str) and re.fullmatch(r"[A-Za-z_]\w{0,59}", kind, re.ASCII)
        else "Exception"
    )


def _whole(number: Any) -> int | None:
    """A count as an int, such as a line; None for anything else."""
    return (
        int(number)
        if isinstance(number, float) and number.is_integer() and 0 <= number <= 1e9
        else None
    )


def _seconds(line: bytes) -> float | None:
    try:
        match clean(line):
            case {"cpu": float(cpu)} if 0 <= cpu < 1e6:
                return cpu
    except ProtocolError:
        pass
    return None


# Processes and pipes


class SessionEndedError(Exception):
    """The session cannot go on."""

    def __init__(self, end: str) -> None:
        self.end = end


class Session:
    """Both directions of the session with one process; its prints are read on the side.

    Parameters
    ----------
    pipes : Pipes
    deadline : float
        By the monotonic clock.
    files : callable
        Counts the files that there are in the folders it may write to; after it said hello.
    """

    def __init__(self, pipes: Pipes, deadline: float, files: Callable[[], int] = lambda: 0) -> None:
        self._deadline, self._request = deadline, pipes.request
        self._files, self._watches = files, False
        self._selector = selectors.DefaultSelector()
        for file, take in (
            (pipes.result, self._take_result),
            (pipes.stdout, self._take_printed),
            (pipes.stderr, self._take_errors),
        ):
            os.set_blocking(file, False)
            self._selector.register(file, selectors.EVENT_READ, take)
        os.set_blocking(self._request, False)
        self._unread, self._gone = b"", False
        self._kept, self._errors, self._keeps, self.cut = bytearray(), bytearray(), True, False
        self._result_bytes = self._printed_bytes = 0

    @property
    def bytes_out(self) -> int:
        return self._result_bytes + self._printed_bytes

    def left(self) -> float:
        """Seconds until its time is up."""
        return max(0.0, self._deadline - time.monotonic())

    def ask(
        self, message: Mapping[str, Any], most: int = MOST_LINE, wait: float = math.inf
    ) -> bytes:
        """Send a message and return the line that repeats its token; others are dropped.

        A line of more than `most` bytes ends the session, and so does none within `wait` seconds.
        """
        until = min(self._deadline, time.monotonic() + wait)
        token = secrets.token_hex(8).encode()
        unsent: memoryview | bytes = self._send(
            memoryview(token + b" " + json.dumps(message).encode() + b"\n")
        )
        if unsent:  # the pipe is full: the rest goes out as there is room
            self._selector.register(self._request, selectors.EVENT_WRITE, None)
        try:
            while True:
                unsent = self._wait(unsent, until)
                answers = (one for one in self._lines(most) if one.startswith(token + b" "))
                if answer := next(answers, None):
                    return answer[len(token) + 1 :]
                if self._gone:
                    raise SessionEndedError(STOPPED)
        finally:
            if self._request in self._selector.get_map():
                self._selector.unregister(self._request)

    def _wait(self, unsent: memoryview | bytes, until: float) -> memoryview | bytes:
        """Wait until a pipe is ready, serve it, and return what is still to be sent."""
        left = until - time.monotonic()
        if left <= 0:
            raise SessionEndedError(TIME)
        if self._watches and self._files() > MOST_FILES:
            raise SessionEndedError(FILES)
        for key, _ in self._selector.select(0 if self._gone else min(left, EVERY)):
            if key.fd != self._request:
                key.data(key.fd)
                continue
            unsent = self._send(unsent)
            if not unsent:
                self._selector.unregister(self._request)
        return unsent

    def watch_files(self) -> None:
        """Let no more files than there may be be made from here on."""
        try:
            self._watches = self._files() >= 0
        except OSError as error:
            self._errors += f"its folders cannot be looked into: {error.strerror}".encode()
            raise SessionEndedError(NOT_STARTED) from None

    def keep_no_more(self) -> None:
        """Drop prints from here on: all earlier ones were made before a call was known."""
        for take, file in [(key.data, key.fd) for key in self._selector.get_map().values()]:
            while take != self._take_result and len(self._kept) < KEPT and take(file):
                pass
        self._keeps = False

    def printed(self) -> str:
        return words(self._kept.decode("utf-8", "replace"))

    def errors(self) -> str:
        return words(self._errors.decode("utf-8", "replace"))

    def close(self) -> None:
        self._selector.close()

    def _send(self, unsent: memoryview | bytes) -> memoryview | bytes:
        """The rest to send, after as much as there is room for; nothing when nobody reads."""
        try:
            return unsent[os.write(self._request, unsent) :]
        except BlockingIOError:
            return unsent
        except OSError:
            self._gone = True
            return b""

    def _lines(self, most: int) -> list[bytes]:
        *lines, self._unread = self._unread.split(b"\n")
        if max(map(len, [*lines, self._unread])) > most or self._result_bytes > MOST_RESULT:
            raise SessionEndedError(OUTPUT)
        return lines

    def _take_result(self, file: int) -> None:
        data = self._read(file)
        self._gone = self._gone or not data
        self._result_bytes += len(data)
        self._unread += data

    def _take_errors(self, file: int) -> bytes:
        data = self._take_printed(file)
        self._errors += data[: KEPT - len(self._errors)]
        return data

    def _take_printed(self, file: int) -> bytes:
        data = self._read(file)
        self._printed_bytes += len(data)
        if self._keeps:
            room = KEPT - len(self._kept)
            self._kept += data[:room]
            self.cut = self.cut or len(data) > room
        if self._printed_bytes > MOST_PRINTED:
            raise SessionEndedError(OUTPUT)
        return data

    def _read(self, file: int) -> bytes:
        """The bytes that are there; at its end the file is let go."""
        try:
            data = os.read(file, 64 * 1024)
        except BlockingIOError:
            return b""
        if not data:
            self._selector.unregister(file)
        return data
