"""Reading a bench file: what it gives, and what a user is told where it is wrong.

The format's own rules are those of TOML 1.0.0 (https://toml.io/en/v1.0.0); the rest is this project's convention.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from humcheck.benches.bench_file import read_bench
from humcheck.benches.model import Bench, BenchRun, Limit
from humcheck.benches.take_files import natural_order
from humcheck.errors import HumcheckError, UnusableCall

WHOLE = """\
[bench]
name = "Town library show"
mains_hz = 50
listening = ["headphones", "living-room=95"]

[calibration]
volts_at_full_scale = 1.93
uncertainty_percent = 1.0

[circuit]
source_ohms = 600
load_ohms = 10e3

[margins]
gain = 0.3

[[takes]]
file = "takes/direct-*.flac"
plugging = "1"

[[takes]]
file = "takes/alder.flac"
device = "Alder"
port = 1
picture = "white"
fix = "isolating transformer"
condition = { supply = "off", outputs = 2, earthed = true }

[[recordings]]
file = "day.wav"
runs = [
  { role = "direct" },
  { device = "Birch", port = "2", condition = { supply = "off" } },
]

[limits]
hum_level_rel = { max = -80.0 }
gain = { min = -0.5, max = 0.5 }
"""


def bench_folder(folder: Path) -> Path:
    (folder / "takes").mkdir()
    for name in ("takes/direct-2.flac", "takes/direct-10.flac", "takes/direct-1.flac", "takes/alder.flac", "day.wav"):
        (folder / name).write_bytes(b"not opened here")
    return folder


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "bench.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def problem(folder: Path, text: str | bytes) -> str:
    with pytest.raises(UnusableCall) as caught:
        read_bench(written(folder, text))
    sentence = caught.value.sentence()
    assert sentence.isprintable()
    return sentence.replace(str(folder) + os.sep, "")


def test_a_whole_file(tmp_path: Path) -> None:
    bench = read_bench(written(bench_folder(tmp_path), WHOLE))
    assert bench.name == "Town library show"
    assert bench.mains_hz == 50.0
    assert bench.listening == ("headphones", "living-room=95")
    assert (bench.volts_at_full_scale, bench.volts_uncertainty_percent) == (1.93, 1.0)
    assert (bench.source_ohms, bench.load_ohms) == (600.0, 10e3)
    assert bench.margins == {"gain": 0.3}
    assert bench.limits == {"hum_level_rel": Limit(max=-80.0), "gain": Limit(min=-0.5, max=0.5)}
    # TOML keeps the order of an array of tables; a glob stands where it is written, in natural order.
    assert [os.path.relpath(take.path, tmp_path) for take in bench.takes] == [
        os.path.join("takes", name) for name in ("direct-1.flac", "direct-2.flac", "direct-10.flac", "alder.flac")
    ]
    assert [take.role for take in bench.takes] == ["direct"] * 3 + ["through"]
    assert [take.plugging for take in bench.takes] == ["1"] * 3 + [None]
    alder = bench.takes[-1]
    assert (alder.device, alder.port, alder.picture, alder.fix) == ("Alder", "1", "white", "isolating transformer")
    assert alder.condition == {"supply": "off", "outputs": "2", "earthed": "yes"}
    assert bench.recordings[0].path == str(tmp_path / "day.wav")
    assert bench.recordings[0].runs == (
        BenchRun(role="direct"),
        BenchRun(role="through", device="Birch", port="2", condition={"supply": "off"}),
    )


def test_little_is_enough(tmp_path: Path) -> None:
    bench = read_bench(written(bench_folder(tmp_path), '[[takes]]\nfile = "day.wav"\n'))
    assert bench.name == tmp_path.name
    assert (bench.mains_hz, bench.volts_at_full_scale, bench.limits, bench.margins) == (None, None, {}, {})


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("port = 1", "prot = 1", "takes[1].prot (line 24): there is no such key; did you mean port?"),
        ("mains_hz = 50", "mains_hz = 55", "bench.mains_hz (line 3): 55 is not known here; write one of 50, 60"),
        (
            'plugging = "1"',
            'role = "dirct"',
            "takes[0].role (line 19): 'dirct' is not known here; did you mean direct?",
        ),
        ('file = "day.wav"', "", "recordings[0] (line 29): the key file is missing; add file = ..."),
        (
            "port = 1",
            "port = true",
            "takes[1].port (line 24): is true or false; write a whole number or text in quotes",
        ),
        ("hum_level_rel", "hum_level_real", "hum_level_real (line 37): there is no such quantity; did you mean hum_le"),
        ("gain = 0.3", "gian = 0.3", "margins.gian (line 15): there is no such quantity; did you mean gain?"),
        ("gain = 0.3", "gain = -1", "margins.gain (line 15): -1 makes no sense; write a number above zero"),
        ("max = -80.0", "mx = -80.0", "limits.hum_level_rel.mx (line 37): there is no such key; did you mean max?"),
        ("min = -0.5, max = 0.5", "min = 2, max = 1", "limits.gain (line 38): min 2 is larger than max 1; exchange"),
        ("max = -80.0", "max = nan", "limits.hum_level_rel (line 37): is no finite number; leave out the side"),
        ("1.93", "0", "calibration.volts_at_full_scale (line 7): 0 makes no sense; write a number above zero"),
        ('"headphones"', '"earphones"', "bench.listening[0] (line 4): 'earphones' is no listening setting"),
        ('device = "Birch", ', "", "recordings[0].runs[1].port (line 33): a port of which device; add device"),
        ('device = "Birch"', 'device = " alder"', "'alder' is 'Alder' in takes[1].device (line 23); write them alike"),
        ('device = "Alder"', 'role = "through"', "a take through a device does not say which; add device"),
        ('device = "Alder"', 'device = "A\\nB"', "takes[1].device (line 23): is no usable label; write 1 to 80"),
        ('supply = "off", out', "supply = [1], out", "takes[1].condition.supply (line 27): is no label; write text"),
        (
            '{ role = "direct" }',
            '{ role = "recorder" }',
            "recordings[0].runs[0].role (line 32): no track plays in such",
        ),
        ("[margins]", "[margin]", "margin (line 14): there is no such key; did you mean margins?"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert old in WHOLE
    sentence = problem(bench_folder(tmp_path), WHOLE.replace(old, new, 1))
    assert sentence.startswith("bench.toml: ")
    assert told in sentence


def test_files_that_cannot_be_used_are_told_at_once(tmp_path: Path) -> None:
    folder = bench_folder(tmp_path)
    (folder / "empty.wav").touch()
    (folder / "linked.wav").symlink_to(folder / "day.wav")
    names = ("gone.wav", "takes", "empty.wav", "day.wav", "linked.wav", "no-*.wav", "x\\u001b[31m.wav", "null\\u0000")
    text = "".join(f'[[takes]]\nfile = "{name}"\n' for name in names)
    sentence = problem(folder, text)
    for told in (
        "takes[0].file (line 2): there is no file gone.wav",
        "takes[1].file (line 4): takes is a folder, not a recording",
        "takes[2].file (line 6): empty.wav is empty",
        "takes[4].file (line 10): linked.wav is named already in takes[3].file (line 8)",
        "takes[5].file (line 12): no file matches no-*.wav",
        "takes[6].file (line 14): no file matches x\\x1b[31m.wav",
        "takes[7].file (line 16): null\\x00 cannot be opened",
    ):
        assert told in sentence


def test_many_missing_files_are_counted(tmp_path: Path) -> None:
    text = "".join(f'[[takes]]\nfile = "take-{number}.wav"\n' for number in range(30))
    assert "and 22 more" in problem(tmp_path, text)


def test_names_are_seen_from_the_bench_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # A folder whose own name looks like a glob, a file above it, an absolute name, and a name with brackets.
    folder = tmp_path / "show [1*]"
    folder.mkdir()
    for path in (tmp_path / "above.wav", folder / "take [2].wav", folder / "direct-1.wav", tmp_path / "far.wav"):
        path.write_bytes(b"x")
    written(
        folder,
        "".join(
            f"[[takes]]\nfile = '{name}'\n"
            for name in ("direct-?.wav", "../above.wav", "take [2].wav", tmp_path / "far.wav")
        ),
    )
    monkeypatch.chdir(tmp_path)
    bench = read_bench(Path("show [1*]") / "bench.toml")
    assert [Path(take.path) for take in bench.takes] == [
        folder / "direct-1.wav",
        tmp_path / "above.wav",
        folder / "take [2].wav",
        tmp_path / "far.wav",
    ]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty"),
        (b"  \n", "is empty"),
        ("[bench]\nname = 'é'\n".encode("latin-1"), "line 2 is not UTF-8 text; save it as UTF-8"),
        ("[bench]\n".encode("utf-16"), "is not UTF-8 text"),
        (b"[bench]\nname = \n", "is not a TOML file: Invalid value (at line 2, column 8)"),
        (b'[[takes]]\nfile = "takes\\day.wav"\n', "write folders in file names with /"),
        (b"[bench]\n[bench]\n", "is not a TOML file"),
        (b"x = " + b"[" * 5000, "is nested too deeply"),
        (b"a" + b".a" * 5000 + b" = 1\n", "is nested too deeply"),
        (b"# " + b"x" * 1_000_000, "is too large for a bench file"),
        (b"[bench]\nname = 'x'\n", "names no takes"),
        (b'[[takes]]\nfile = "day.wav"\ndevice = "Alder"\n', "names no direct take"),
    ],
)
def test_files_that_are_no_bench(tmp_path: Path, content: bytes, told: str) -> None:
    assert told in problem(bench_folder(tmp_path), content)


def test_no_file_at_all(tmp_path: Path) -> None:
    for path, told in ((tmp_path / "gone.toml", "there is no such file"), (tmp_path, "is a folder")):
        with pytest.raises(UnusableCall, match=told):
            read_bench(path)
    with pytest.raises(UnusableCall, match="is not a regular file"):
        read_bench("/dev/null")


def test_a_byte_order_mark_and_other_line_ends_do_no_harm(tmp_path: Path) -> None:
    text = b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode()
    assert read_bench(written(bench_folder(tmp_path), text)).name == "Town library show"


def test_a_bracket_in_a_text_is_no_nesting(tmp_path: Path) -> None:
    text = f'[[takes]]\nfile = "day.wav"\nfix = "{"[" * 40}" # {"{" * 99}\nprot = """\n[[takes]]\n"""\n'
    assert "takes[0].prot (line 4)" in problem(bench_folder(tmp_path), text)


@pytest.mark.parametrize(
    "piece",
    [
        '"""\n\\',
        "'''\n",
        '"\\',
        "[a.b.c]\n",
        "a ",
        "a" * 50,
        " " * 50,
        "{",
        "a.a=1\n",
        "[[takes]]\n",
        '"""\\"',
        "0x" + "f" * 50,
    ],
)
def test_hostile_text_takes_no_longer_than_other_text(tmp_path: Path, piece: str) -> None:
    # Half the largest size of one piece repeated: patterns that try again at every place would take hours.
    with pytest.raises(HumcheckError):
        read_bench(written(tmp_path, "x = " + piece * (500_000 // len(piece))))


def test_natural_order() -> None:
    names = ["b-2", "a-10b2", "a-2", "B-1", "a-10b10", "a-٣"]
    assert sorted(names, key=natural_order) == ["a-2", "a-10b2", "a-10b10", "a-٣", "B-1", "b-2"]


_FRAGMENTS = st.sampled_from(
    [line + "\n" for line in WHOLE.splitlines()]
    + [
        "port = {}\n",
        "limits = 3\n",
        "gain = 1\n",
        "[[limits]]\n",
        "[takes]\n",
        "x = 1979-05-27\n",
        'file = "a\\u0000"\n',
    ]
    + ["gain = {max = inf}\n", "port = 0x" + "f" * 40 + "\n", 'condition = { "" = 1 }\n', "runs = []\n", '"a.b" = 1\n']
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.one_of(
        st.binary(max_size=200),
        st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace")),
        st.lists(_FRAGMENTS, max_size=14).map(lambda lines: "".join(lines).encode()),
    )
)
def test_any_bytes_give_a_bench_or_one_line(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    folder = tmp_path_factory.getbasetemp() / "any-bytes"
    if not folder.exists():
        folder.mkdir()
        bench_folder(folder)
    try:
        bench = read_bench(written(folder, content))
    except HumcheckError as error:
        sentence = error.sentence()
    else:
        sentence = ""
        assert isinstance(bench, Bench)
        assert any(run.role == "direct" for run in (*bench.takes, *(r for rec in bench.recordings for r in rec.runs)))
    assert sentence.isprintable()
