"""The learner's side of a check: call the function, keep the notebook alive, record the answers.

Nothing here knows a question or an answer, and nothing is imported from the rest of the library, so
this file can run alone where neither may be. What it hands on is a *record* per case, and a record
is JSON: `{"out": …}`, or `{"end": …}` with what went wrong.
"""

import contextlib
import copy
import dis
import io
import math
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from types import FrameType
from typing import Any

import numpy as np

Record = dict[str, Any]

MOST_NUMBERS = 10_000
MOST_TEXT = 300
DEEPEST = 8


class TimeLimitError(BaseException):
    """Raised inside the learner's function; not an `Exception`, so that few `except` catch it."""


def call(
    function: Callable[..., Any], cases: Sequence[Mapping[str, Any]], seconds: float | None = 3.0
) -> list[Record]:
    """Call a function with each case and record what it does: one record per case, never an error.

    Parameters
    ----------
    function : callable
        Called with a case's values in their order; lists of numbers arrive as arrays, fresh ones
        for each call.
    cases : list of dict
    seconds : float or None
        For all cases together. Keeps to it only where `can_stop()`; None sets no limit.

    Returns
    -------
    list of dict
    """
    if is_blank(function):
        return [{"end": "blank"} for _ in cases]
    records: list[Record] = []
    sink = _Sink()
    with contextlib.redirect_stdout(sink), contextlib.redirect_stderr(_Sink()):
        try:
            limited(lambda: _call_all(function, cases, records), seconds)
        except (TimeLimitError, KeyboardInterrupt) as stop:
            took = seconds if isinstance(stop, TimeLimitError) else None
            records += [{"end": "stopped", "seconds": took} for _ in cases[len(records) :]]
    if sink.written:
        records[0]["printed"] = sink.written
    return records


def record_value(value: Any) -> Record:
    """The record of an answer that is a value.

    Parameters
    ----------
    value : object

    Returns
    -------
    dict
    """
    try:
        return _record(value)
    except Exception as error:
        return _raised(error)


def can_stop() -> bool:
    """True if an endless function can be stopped: on Linux and macOS, in the main thread."""
    return hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread()


def is_blank(function: Callable[..., Any]) -> bool:
    """True if a function has no body yet: only a docstring, `...`, `pass` or `return None`."""
    code = getattr(function, "__code__", None)
    if code is None:
        return False
    steps = [
        s for s in dis.get_instructions(code) if s.opname not in ("RESUME", "NOP", "COPY_FREE_VARS")
    ]
    return all(
        s.opname.startswith(("LOAD_CO", "RETURN_")) and s.argval in (None, ...) for s in steps
    )


def arguments(case: Mapping[str, Any]) -> list[Any]:
    """A case's values as a function gets them: lists of numbers as new arrays, all else copied."""
    return [
        np.array(v, dtype=float) if isinstance(v, list) and not _has_text(v) else copy.deepcopy(v)
        for v in case.values()
    ]


class UnreadableError(Exception):
    """An answer that is nothing to measure; the text says what it is."""


def plain_data(value: Any, depth: int = 0, budget: list[int] | None = None) -> Any:
    """Return `value` as JSON data, with None for each number that is not finite.

    Parameters
    ----------
    value : object
        Numbers, text, true or false, arrays, and lists, tuples or dicts of these.
    depth : int
        Of `value` in what holds it.
    budget : list of int, optional
        How many more values may come, counted down.

    Returns
    -------
    float, str, bool, list, dict or None

    Raises
    ------
    UnreadableError
        Anything else: generators and other lazy things (never consumed), objects, or more than
        `MOST_NUMBERS`.
    """
    budget = [MOST_NUMBERS] if budget is None else budget
    budget[0] -= 1
    if budget[0] < 0 or depth > DEEPEST:
        raise UnreadableError("far more than was asked for")
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, float, np.integer, np.floating)):
        return _number(value)
    if isinstance(value, str):
        return value[:MOST_TEXT]
    if isinstance(value, dict):
        return {str(k)[:MOST_TEXT]: plain_data(v, depth + 1, budget) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_data(v, depth + 1, budget) for v in value]
    if hasattr(value, "__array__"):
        return _array(np.asarray(value), depth, budget)
    raise UnreadableError(_kind(value))


def _array(array: np.ndarray, depth: int, budget: list[int]) -> Any:
    if array.size > MOST_NUMBERS:
        raise UnreadableError(f"{array.size:,} numbers")
    if array.dtype.kind not in "biufUO":
        raise UnreadableError(
            "complex numbers" if array.dtype.kind == "c" else f"an array of {array.dtype}"
        )
    return plain_data(array.tolist(), depth + 1, budget)


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _call_all(
    function: Callable[..., Any], cases: Iterable[Mapping[str, Any]], records: list[Record]
) -> None:
    for case in cases:
        records.append(_call(function, case))


def _call(function: Callable[..., Any], case: Mapping[str, Any]) -> Record:
    try:
        return _record(function(*arguments(case)))
    except (TimeLimitError, KeyboardInterrupt):
        raise
    except NotImplementedError:
        return {"end": "blank"}
    except BaseException as error:
        return _raised(error, function)


def _record(value: Any) -> Record:
    if value is ...:
        return {"end": "blank"}
    if value is None:
        return {"end": "nothing"}
    try:
        return {"out": plain_data(value)}
    except UnreadableError as error:
        return {"end": "unreadable", "what": str(error)}


def _raised(error: BaseException, function: Callable[..., Any] | None = None) -> Record:
    try:
        message = str(error)
    except Exception:
        message = ""
    name = error.name if isinstance(error, (NameError, ImportError)) else None
    return {
        "end": "raised",
        "type": type(error).__name__,
        "message": message[:MOST_TEXT],
        "line": _line(error, function),
    } | ({"name": name} if isinstance(name, str) else {})


def _line(error: BaseException, function: Callable[..., Any] | None) -> int | None:
    """The last line of the learner's own cell or file that the error passed through."""
    home = getattr(getattr(function, "__code__", None), "co_filename", None)
    lines, step = [], error.__traceback__
    while step is not None:
        if step.tb_frame.f_code.co_filename == home:
            lines.append(step.tb_lineno)
        step = step.tb_next
    return lines[-1] if lines else None


def limited(work: Callable[[], None], seconds: float | None, by_processor: bool = False) -> None:
    """Do `work`, or raise `TimeLimitError` if it takes longer than `seconds`.

    By the clock on the wall, or by the processor time that this process takes.
    """
    if seconds is None or not can_stop():
        work()
        return
    timer, ring = (
        (signal.ITIMER_PROF, signal.SIGPROF)
        if by_processor
        else (signal.ITIMER_REAL, signal.SIGALRM)
    )
    here, running, trace_before = sys._getframe(), True, sys.gettrace()

    def stop(_: FrameType, event: str, __: Any) -> Any:
        if running and event == "line":
            raise TimeLimitError
        return stop

    def alarm(_: int, frame: FrameType | None) -> None:
        # A bare `except:` may catch the first TimeLimitError; the trace raises a second one
        # from inside that clause.
        if not running:
            return
        sys.settrace(stop)
        while frame is not None and frame is not here:
            frame.f_trace = stop
            frame = frame.f_back
        raise TimeLimitError

    handler_before = signal.signal(ring, alarm)
    try:
        # and again every 0.05 s, should the function have caught both
        signal.setitimer(timer, seconds, 0.05)
        work()
    finally:
        running = False
        sys.settrace(trace_before)
        signal.setitimer(timer, 0)
        signal.signal(ring, handler_before)


class _Sink(io.TextIOBase):
    """Takes what the function prints and only counts it."""

    written = 0

    def writable(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self.written += len(text)
        return len(text)


def _has_text(value: Any) -> bool:
    return (
        any(_has_text(v) for v in value)
        if isinstance(value, list)
        else isinstance(value, (str, dict))
    )


def _kind(value: Any) -> str:
    if value is None:
        return "None in place of a number"
    if value is ...:
        return "`...` in place of a number"
    name = type(value).__name__
    return {
        "function": "a function (did you forget to call it?)",
        "complex": "complex numbers",
        "method": "a method (did you forget to call it?)",
        "generator": "a generator (use `return`, not `yield`)",
    }.get(name, f"a {name}")
