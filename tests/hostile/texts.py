"""Results files, bench files and kept takes that are broken, or lie."""

from __future__ import annotations

import copy
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from humcheck.results import results_to_json
from tests.report.fake_results import compare_results

Maker = Callable[[Path], object]
_HEAD = '{"format": "humcheck-results", "format_version": 1'
SCRIPT = "\"'></script><img src=x onerror=alert(1)><svg onload=alert(1)>`${alert(1)}"


def _written(content: bytes) -> Maker:
    return lambda path: path.write_bytes(content)


def _changed(change: Callable[[dict[str, Any]], object]) -> Maker:
    """Return a maker of a whole results file in which one thing is changed."""

    def make(path: Path) -> None:
        plain = json.loads(results_to_json(compare_results()))
        change(plain)
        path.write_text(json.dumps(plain, allow_nan=True), encoding="utf-8")

    return make


def _large(path: Path) -> None:
    """100 MB of rows that nobody asked for: `path` holds 33 million empty lists."""
    with open(path, "w", encoding="utf-8") as file:
        file.write(_HEAD + ', "takes": [')
        for _ in range(1000):
            file.write("[]," * 33_333)
        file.write("[]]}")


def _extreme(value: float) -> Callable[[dict[str, Any]], None]:
    def change(plain: dict[str, Any]) -> None:
        for kind in ("measures", "changes", "lines"):
            for row in plain[kind]:
                for name in ("value", "low", "high", "frequency_hz", "level_dbfs"):
                    if isinstance(row.get(name), float):
                        row[name] = value
        for row in plain["curves"]:
            for name in ("frequency_hz", "value", "low", "high"):
                if row.get(name):
                    row[name] = [value] * len(row[name])

    return change


#: What is no results file: each is refused.
NOT_RESULTS: dict[str, Maker] = {
    "missing": lambda path: None,
    "a folder": lambda path: path.mkdir(),
    "a pipe": lambda path: os.mkfifo(path),
    "a device": lambda path: path.symlink_to("/dev/zero"),
    "empty": _written(b""),
    "text": _written(b"hello"),
    "not UTF-8": _written(b"\xff\xfe\x00"),
    "null": _written(b"null"),
    "a list": _written(b"[]"),
    "another format": _written(b'{"format": "something-else", "format_version": 1}'),
    "a newer version": _written(b'{"format": "humcheck-results", "format_version": 999}'),
    "version 0": _written(b'{"format": "humcheck-results", "format_version": 0}'),
    "version true": _written(b'{"format": "humcheck-results", "format_version": true}'),
    "a head alone": _written(_HEAD.encode() + b"}"),
    "wrong types": _written(_HEAD.encode() + b', "bench": 3}'),
    "nested deeply": _written(b"[" * 1_000_000),
    "nested deeply under an unknown name": _written(_HEAD.encode() + b', "x": ' + b'{"a":' * 500_000),
    "a version of 5000 digits": _written(b'{"format": "humcheck-results", "format_version": ' + b"9" * 5000 + b"}"),
    "an infinite version": _written(b'{"format": "humcheck-results", "format_version": 1e999}'),
    "100 MB": _large,
    "surrogates": lambda path: path.write_text(
        results_to_json(compare_results()).replace("Alder", "\\ud800"), encoding="utf-8"
    ),
    "NaN": _changed(lambda plain: plain["measures"][0].update(value=float("nan"))),
    "infinity": _changed(lambda plain: plain["curves"][0]["value"].__setitem__(0, float("inf"))),
    "a number of 5000 digits": _written(_HEAD.encode() + b', "measures": [{"value": ' + b"9" * 5000 + b"}]}"),
    "numbers of 1e308": _changed(_extreme(1e308)),
    "numbers of -1e308": _changed(_extreme(-1e308)),
    "frequencies of 0": _changed(_extreme(0.0)),
    "a calibration of 0 V": _changed(lambda plain: plain["settings"].update(volts_at_full_scale=0.0)),
    "text for a number": _changed(lambda plain: plain["measures"][0].update(value="loud")),
    "a curve with one value missing": _changed(lambda plain: plain["curves"][0]["value"].pop()),
    "a band with one value missing": _changed(lambda plain: plain["curves"][0].update(low=[1.0], high=[2.0])),
    "a trace of two lengths": _changed(lambda plain: plain.update(traces=[_trace(plain, x=[1.0], y=[])])),
}


def _trace(plain: dict[str, Any], **changed: Any) -> dict[str, Any]:
    key = {name: plain["measures"][0][name] for name in ("subject", "role", "channel")}
    return {**key, "quantity": "delay", "x": [0.0, 1.0], "x_unit": "s", "y": [1.0, 2.0], "unit": "us", **changed}


def _everywhere(path: Path) -> None:
    """Every text of a whole results file, but for ids and fixed words, is a script."""

    def put(value: Any, name: str = "") -> Any:
        if isinstance(value, dict):
            return {key: put(item, key) for key, item in value.items()}
        if isinstance(value, list):
            return [put(item, name) for item in value]
        kept = {"role", "channel", "quantity", "contrast", "family", "bound", "severity", "outcome", "interval"}
        if isinstance(value, str) and name not in kept | {"id", "format", "measure", "change", "line", "curve"}:
            return SCRIPT
        return value

    plain = json.loads(results_to_json(compare_results()))
    path.write_text(json.dumps(put(plain)), encoding="utf-8")


def _twice(plain: dict[str, Any]) -> None:
    for kind, rows in plain.items():
        if isinstance(rows, list) and kind not in ("commands",):
            plain[kind] = rows + copy.deepcopy(rows)


def _emptied(plain: dict[str, Any]) -> None:
    for row in plain["curves"]:
        row.update(frequency_hz=[], value=[], low=None, high=None, bound=None)


#: Results that may be shown or refused; no script in them may run.
ODD_RESULTS: dict[str, Maker] = {
    "scripts for names": _everywhere,
    "numbers of 5e-324": _changed(_extreme(5e-324)),
    "every row twice": _changed(_twice),
    "curves without points": _changed(_emptied),
    "no rows": _changed(lambda plain: [rows.clear() for rows in plain.values() if isinstance(rows, list)]),
    "no takes": _changed(lambda plain: plain.update(takes=[])),
    "a date of no kind": _changed(lambda plain: plain.update(created="9" * 5000)),
    "empty texts": _changed(lambda plain: [row.update(subject="", quantity="") for row in plain["measures"]]),
    "unknown quantities": _changed(lambda plain: [row.update(quantity="x_y") for row in plain["measures"]]),
    "references of other kinds": _changed(
        lambda plain: [row.update(reference={"subject": [1], "role": {}, "n_takes": "x"}) for row in plain["changes"]]
    ),
    "evidence that is not there": _changed(
        lambda plain: [row.update(evidence=[{"measure": "gone"}, {}]) for row in plain["findings"]]
    ),
    "media that lead out": _changed(
        lambda plain: plain.update(
            media=[
                {"id": f"m{n}", "file": file, "sha256": "0" * 64, "caption": SCRIPT, "group": "Alder", "kind": "hum"}
                for n, file in enumerate(("../../etc/passwd", "/etc/passwd", "C:\\x", "\0", "", ".", "x" * 5000))
            ]
        )
    ),
    "control characters": _changed(
        lambda plain: [row.update(subject="\x00\x1b[31m\u202e\r\n") for row in plain["measures"]]
    ),
    "a long name": _changed(lambda plain: plain["bench"].update(name="long " * 200_000)),
}

_TAKES = b'[[takes]]\nfile = "direct.wav"\nrole = "direct"\n'

#: Bench files beside a usable `direct.wav`: each is refused.
NOT_A_BENCH: dict[str, Maker] = {
    "missing": lambda path: None,
    "a folder": lambda path: path.mkdir(),
    "a pipe": lambda path: os.mkfifo(path),
    "a device": lambda path: path.symlink_to("/dev/zero"),
    "empty": _written(b""),
    "not UTF-8": _written(b"\xff\xfe" + _TAKES),
    "10 MB": _written(_TAKES + b"# much ado\n" * 900_000),
    "nested deeply": _written(b"a = " + b"[" * 400_000),
    "nested deeply in a key": _written(b"a" + b".a" * 200_000 + b" = 1"),
    "an open string": _written(b'a = """' + b'"" ' * 100_000),
    "many quotes": _written(b"'\"" * 200_000),
    "a number of 5000 digits": _written(_TAKES + b"port = " + b"9" * 5000),
    "an infinite margin": _written(b"[margins]\ngain = inf\n" + _TAKES),
    "a margin that is not a number": _written(b"[margins]\ngain = nan\n" + _TAKES),
    "an unknown key": _written(_TAKES + b"colour = 1\n"),
    "wrong types": _written(b"takes = 3\n"),
    "a date for a label": _written(_TAKES + b"port = 1979-05-27\n"),
    "a take that is not there": _written(_TAKES + b'[[takes]]\nfile = "gone.wav"\ndevice = "Alder"\n'),
    "a take that is a device": _written(_TAKES + b'[[takes]]\nfile = "/dev/zero"\ndevice = "Alder"\n'),
    "a take with a zero in its name": _written(_TAKES + b'[[takes]]\nfile = "a\\u0000b"\ndevice = "Alder"\n'),
    "a name of 100000 letters": _written(_TAKES + b'device = "' + b"x" * 100_000 + b'"\n'),
    "a pattern of many stars": _written(b'[[takes]]\nfile = "' + b"**/" * 2000 + b'*"\nrole = "direct"\n'),
}

#: Bench files whose other takes are measured all the same: the one that is no recording is told.
DOUBTFUL_BENCH: dict[str, Maker] = {
    "a take far outside": _written(_TAKES + b'[[takes]]\nfile = "/etc/passwd"\ndevice = "Alder"\n'),
    "the bench file as a take": _written(_TAKES + b'[[takes]]\nfile = "input"\ndevice = "Alder"\n'),
    "names that are scripts": _written(
        b'[bench]\nname = """</script><svg onload=alert(1)>"""\n'
        + _TAKES
        + b"picture = '\"><img src=x onerror=alert(1)>'\n"
    ),
}

#: What stands where a command is told to write: it is left as it is.
IN_THE_WAY: dict[str, Maker] = {
    "somebody's file": _written(b"precious"),
    "a pipe": lambda path: os.mkfifo(path),
    "a device": lambda path: path.symlink_to("/dev/full"),
}
