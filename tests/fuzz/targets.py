"""What the fuzzer calls: each target takes any bytes, and may raise nothing but what a user is told in a sentence."""

from __future__ import annotations

import copy
import json
import os
import struct
import tempfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import soundfile

from humcheck.audio.files import open_take
from humcheck.benches.bench_file import read_bench
from humcheck.errors import HumcheckError
from humcheck.report.archive import render_archive, same_bench
from humcheck.report.page import render_page
from humcheck.report.publish import tables_csv
from humcheck.report.terminal import print_results
from humcheck.results import load_results, results_to_json
from humcheck.takes.survey import survey
from tests.report.fake_results import compare_results, direct_only_results, inspect_results

SCRIPT = "'\"></script><img src=x onerror=alert(1)>"
#: Values that are put in the place of others, and letters that names are made of.
_ODD: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 3, 10**14, -(10**14), 1e-320, 2999.0, -2999.0, 0.5, 1e-9, 20.0, 20000.0, "", " ",
    SCRIPT,
    "direct", "left", "hum_level", "gain", "crosstalk", "response_delta", "noise_spectrum", "picture_coupling", "white",
    "\x00\x1b[31m\u202e\n", "x" * 3000, [], {}, [1.0], {"supply": "off"}, "2026-02-30T99:99:99Z",
    "0001-01-01T00:00:00Z",
)  # fmt: skip
_FOLDER = tempfile.TemporaryDirectory(prefix="humcheck-fuzz-")
_RATE_HZ = 8000


def audio(data: bytes) -> None:
    """Open a recording of any bytes, and read all of it."""
    path = os.path.join(_FOLDER.name, "take.wav")
    Path(path).write_bytes(data)
    try:
        take = open_take(path)
        if take.n_samples < 1 << 22:
            found = survey(take)
            assert np.isfinite(found.mean_square).all()
    except HumcheckError as error:
        _require_sentence(error)


def bench(data: bytes) -> None:
    """Read a bench file of any bytes."""
    path = Path(_FOLDER.name) / "bench.toml"
    path.write_bytes(data)
    try:
        read_bench(path)
    except HumcheckError as error:
        _require_sentence(error)


def results(data: bytes) -> None:
    """Read results, and make page, archive, tables and summary of them: any bytes, or whole results oddly changed."""
    text = data[1:] if data[:1] == b"{" else changed_results(data)
    try:
        read = load_results(text)
    except HumcheckError as error:
        _require_sentence(error)
        return
    assert "<img src=x" not in render_page(read)
    pair = [read, compare_results()]
    if same_bench(pair) is None:
        assert "<img src=x" not in render_archive(pair)
    tables = (tables_csv.measures_csv, tables_csv.changes_csv, tables_csv.curves_csv, tables_csv.lines_csv)
    assert not any("\x1b" in table(read) for table in tables)
    with open(os.devnull, "w", encoding="utf-8") as nowhere:
        print_results(read, nowhere)


def _require_sentence(error: HumcheckError) -> None:
    assert error.sentence().isprintable()


def changed_results(data: bytes) -> bytes:
    """Return a whole results file in which the bytes say what is changed: three of them find a place, one a value."""
    plain = json.loads(_whole(data[0] % 3 if data else 0))
    for start in range(1, min(len(data), 41) - 4, 5):
        where, value = struct.unpack_from("<IB", data, start)
        _change(plain, where, value)
    return json.dumps(plain).encode()


def _change(plain: Any, where: int, value: int) -> None:
    """Follow `where` into the rows, and change, remove or double what is found there."""
    where, index = divmod(where, len(plain))
    holder, name = plain, list(plain)[index]
    while isinstance(holder[name], dict | list) and holder[name]:
        holder = holder[name]
        names = list(holder) if isinstance(holder, dict) else range(len(holder))
        where, index = divmod(where, len(names))
        name = names[index]
        if not where:
            break
    found = holder[name]
    if value < 30:
        holder[name] = copy.deepcopy(_ODD[value % len(_ODD)])
    elif value < 45 and isinstance(holder, dict):
        del holder[name]
    elif isinstance(found, list | dict):
        holder[name] = (found + copy.deepcopy(found) if value % 2 else found[:1]) if isinstance(found, list) else {}
    elif found is not None:
        alike = [odd for odd in _ODD if type(odd) is type(found)]
        holder[name] = alike[value % len(alike)]


@cache
def _whole(number: int) -> str:
    made = (compare_results, inspect_results, direct_only_results)[number]()
    other = msgspec.structs.replace(made.bench, id=f"b{number + 2}")
    return results_to_json(msgspec.structs.replace(made, bench=other))


def audio_seeds() -> Iterator[bytes]:
    """Yield a short recording of each kind."""
    samples = 0.1 * np.sin(np.arange(400)[:, None] * np.array([0.1, 0.2]))
    kinds = [("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("WAV", "IMA_ADPCM"), ("AIFF", "PCM_16")]
    kinds += [("FLAC", "PCM_16"), ("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III"), ("W64", "PCM_16"), ("CAF", "PCM_16")]
    for number, (file_format, subtype) in enumerate(kinds):
        path = Path(_FOLDER.name) / f"seed-{number}"
        soundfile.write(path, samples, _RATE_HZ, format=file_format, subtype=subtype)
        yield path.read_bytes()
    yield struct.pack(">I", 24) + b"ftypisom" + bytes(12)
    yield b"\x1a\x45\xdf\xa3" + bytes(20)


def bench_seeds() -> Iterator[bytes]:
    """Yield a bench file with everything in it."""
    from tests.benches.test_bench_file import WHOLE

    yield WHOLE.encode()
    yield b'[[takes]]\nfile = "bench.toml"\nrole = "direct"\n'


def results_seeds() -> Iterator[bytes]:
    """Yield a whole file, and changes of three others."""
    yield b"{" + _whole(1).encode()
    for number in range(3):
        yield bytes([number]) + struct.pack("<IBIBIB", 1234567 + number, 7, 7654321, 210, 424242, 240)


#: Each target, its first inputs, and the longest input worth trying.
TARGETS: dict[str, tuple[Callable[[bytes], None], Callable[[], Iterator[bytes]], int]] = {
    "audio": (audio, audio_seeds, 4096),
    "results": (results, results_seeds, 64),
    "bench": (bench, bench_seeds, 2048),
}
