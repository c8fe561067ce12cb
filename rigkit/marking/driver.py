"""The program inside the jail: a learner's cells in their order, then one call after the other.

Or, in a run of its own, the inspection of a rig file. But for that, standard library, NumPy,
`calling` and `cell` only. Each line of the request is "TOKEN JSON", and is answered by one line
with the same token. Nothing here is a secret: the code it runs can read and change all of it, to
the harm of its own answers alone. Its output is read as a stranger's by `protocol`.
"""

import base64
import contextlib
import gc
import json
import os
import resource
import sys
import time
import types

MOST_LINE, MOST_FINDINGS = 64 * 1024, 2**20


def main():
    setup = json.loads(sys.argv[3])
    for name, soft_and_hard in setup["limits"].items():
        with contextlib.suppress(AttributeError, ValueError, OSError):  # not every system has each
            resource.setrlimit(getattr(resource, f"RLIMIT_{name}"), soft_and_hard)
    sys.path += setup["paths"]
    if setup["landlock"]:
        import landlock

        landlock.confine(**setup["landlock"])
    if setup["fonts"]:
        _copy(setup["fonts"], os.environ["MPLCONFIGDIR"])
    _serve(Answers(int(sys.argv[1]), int(sys.argv[2])))


def _copy(source, target):
    """Copy matplotlib's cache to where it may be written: it takes no other."""
    with contextlib.suppress(
        OSError
    ):  # nothing may be written at all: matplotlib says so to the cell that wants it
        os.mkdir(target)
        for name in os.listdir(source):
            with open(f"{source}/{name}", "rb") as there, open(f"{target}/{name}", "wb") as here:
                here.write(there.read())


class Answers:
    """The two pipes: lines in, one answer to each out."""

    def __init__(self, request, result):
        self._lines, self._result, self._token = os.fdopen(request, "rb"), result, b""

    def next(self):
        """The next message, or None at the end."""
        line = self._lines.readline()
        if not line:
            return None
        self._token, _, text = line.partition(b" ")
        return json.loads(text)

    def give(self, data, most=MOST_LINE):
        text = json.dumps(data, allow_nan=False).encode()
        if len(text) > most - 100:
            text = b'{"end": "unreadable", "what": "far more than was asked for"}'
        line = self._token + b" " + text + b"\n"
        while line:
            line = line[os.write(self._result, line) :]


def _serve(answers):
    # what is loaded stays: looking through it for garbage, again and again, is a tenth of loading
    gc.disable()
    import cell
    import numpy

    from rigkit import homework
    from rigkit.homework import calling

    gc.freeze()
    gc.enable()
    main = types.ModuleType("__main__")
    main.display = lambda *things, **how: None
    sys.modules["__main__"] = main
    while (message := answers.next()) is not None:
        match message["do"]:
            case "hello":
                homework.given.update(message["homework"])
                answers.give({"python": sys.version.split()[0], "numpy": numpy.__version__})
            case "cell":
                answers.give(run_cell(message, vars(main), cell, calling))
            case "call":
                answer = find_answer(
                    message["question"], vars(main), homework.handed, calling.is_blank
                )
                answers.give(make_record(message, answer, calling))
            case "file":
                answers.give(inspected(message, calling), MOST_FINDINGS)
            case "bye":
                answers.give({"cpu": time.process_time()})
                os._exit(0)  # whatever else was started or left for the exit


def run_cell(message, namespace, cell, calling):
    """Run a cell in its share of the processor's time; see `cell.run`."""
    name = f"<cell {message['number']}>"
    try:
        return cell.run(
            message["source"],
            name,
            namespace,
            lambda work: calling.limited(work, message["seconds"], by_processor=True),
        )
    finally:
        _flush()


def _flush():
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(BaseException):  # replaced or closed by the cell
            stream.flush()


def find_answer(question, namespace, handed, is_blank):
    """The global of the question's name; if missing or blank, what was last handed in for it."""
    answer = namespace.get(question, ...)
    if answer is ... or is_blank(answer):
        answer = handed.get(question, answer)
    return answer


def make_record(message, answer, calling):
    """The record of a function's answer to one case, or of a value."""
    if answer is ...:
        return {"end": "blank"}
    if message["kind"] == "function" and not callable(answer):
        return {"end": "unreadable", "what": f"not a function but a {type(answer).__name__}"}
    if message["kind"] == "value":
        return calling.call(lambda: answer, [{}], message["seconds"])[0]
    return calling.call(answer, [message["case"]], message["seconds"])[0]


def inspected(message, calling):
    """The record of a rig file."""
    from rigkit.homework import rig_file  # here, because few runs need it

    data = base64.b64decode(message["data"])
    record = calling.call(lambda: rig_file.record_file(data), [{}], message["seconds"])[0]
    return record.get("out", record)


if __name__ == "__main__":
    main()
