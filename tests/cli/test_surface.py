"""The command line as users and other programs rely on it."""

import shlex
import shutil
import subprocess
import sys

import pytest

from humcheck.cli import build_parser, main

COMMANDS = ("tracks", "new", "clip", "record", "inspect", "compare", "bench", "calibrate", "report", "demo")


def run(*arguments, **more):
    return subprocess.run(
        [sys.executable, "-m", "humcheck", *arguments], capture_output=True, text=True, timeout=120, check=False, **more
    )


def test_help_loads_nothing_heavy():
    code = (
        "import sys; from humcheck.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'msgspec', 'jinja2', 'rich', 'soundfile', 'matplotlib', 'pathlib', 'json'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-S", "-c", f"import sys; sys.path[:0] = {sys.path!r}\n{code}"],
                          capture_output=True, text=True, timeout=60, check=True)  # fmt: skip
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize("command", ["inspect a.wav", "compare --direct a.wav", "bench a.toml"])
def test_a_number_of_jobs_that_is_none_is_refused(command, capsys):
    assert build_parser().parse_args([*command.split(), "--jobs", "3"]).jobs == 3
    with pytest.raises(SystemExit):
        build_parser().parse_args([*command.split(), "--jobs", "0"])
    assert "not a whole number above zero" in capsys.readouterr().err


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command, capsys):
    with pytest.raises(SystemExit) as stopped:
        main([command, "--help"])
    assert stopped.value.code == 0
    assert len(capsys.readouterr().out) > 200


def test_every_command_stands_in_the_readme():
    from pathlib import Path

    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for command in COMMANDS:
        assert f"humcheck {command}" in text


def test_every_option_has_help():
    for action in build_parser()._subparsers._group_actions[0].choices.values():
        for option in action._actions:
            if option.option_strings:
                assert option.help, f"{action.prog} {option.option_strings}"


def test_version_names_the_libraries_that_numbers_depend_on():
    done = run("--version")
    assert done.returncode == 0
    for name in ("humcheck", "numpy", "scipy", "soundfile"):
        assert f"{name} " in done.stdout


def test_no_command_is_a_usage_error():
    done = run()
    assert done.returncode == 2
    assert "humcheck demo" in done.stderr


@pytest.mark.parametrize(
    ("call", "says"),
    [
        ([], "no command is named; begin with: humcheck demo"),
        (["compar"], "there is no command 'compar' (did you mean compare?)"),
        (["-v"], "'-v' is not understood here"),
        (["compare", "direct.wav", "alder.wav"], "come after --direct, takes made through it after --through"),
        (["compare", "--through", "alder.wav"], "--direct is missing"),
        (["new", "show", "--ports", "4", "loose"], "humcheck new: 'loose' is not understood here"),
        (["inspect"], "name one or more recordings"),
        (["inspect", "x.wav", "--mains", "55"], "--mains: '55' is none of 50, 60, auto"),
        (["calibrate", "x.wav", "--volts", "0,775"], "--volts: '0,775' is not a number above zero; write its decimals"),
        (["tracks", "--rate"], "what belongs to --rate is missing"),
        (["help", "nothing"], "there is no command 'nothing'"),
        (["demo", "two\nlines"], "'two\\nlines' is not understood here"),
    ],
)
def test_a_call_that_is_not_understood_is_answered_in_one_line(call, says, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(call)
    assert stopped.value.code == 2
    answer = capsys.readouterr()
    assert answer.out == ""
    assert answer.err.count("\n") == 1
    assert answer.err.startswith("humcheck")
    assert says in answer.err


def test_help_of_a_command_is_asked_for_in_two_ways(capsys):
    said = []
    for call in (["help", "bench"], ["bench", "--help"], ["help"], ["--help"]):
        with pytest.raises(SystemExit) as stopped:
            main(call)
        assert stopped.value.code == 0
        said.append(capsys.readouterr().out)
    assert said[0] == said[1]
    assert said[2] == said[3]


@pytest.mark.parametrize("value", ["0", "-1", "nan", "inf", "loud"])
def test_a_calibration_that_is_no_number_above_zero_is_refused(value):
    done = run("inspect", "x.wav", "--volts-at-full-scale", value)
    assert done.returncode == 2
    assert "above zero" in done.stderr


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shells_can_complete_commands_and_options(shell, capsys):
    assert main(["--completion", shell]) == 0
    script = capsys.readouterr().out
    for word in ("compare", "bench", "through", "listening"):
        assert word in script


@pytest.mark.skipif(shutil.which("bash") is None, reason="there is no bash here")
def test_a_real_bash_completes(tmp_path):
    """Asked of bash itself, the way it asks when a user presses the key."""
    made = subprocess.run(
        [sys.executable, "-m", "humcheck", "--completion", "bash"], check=True, capture_output=True, text=True
    )
    (tmp_path / "completion").write_text(made.stdout, encoding="utf-8")
    asked = (
        f"source {shlex.quote(str(tmp_path / 'completion'))}; COMP_WORDS=(humcheck comp); COMP_CWORD=1; "
        'COMP_LINE="humcheck comp"; COMP_POINT=13; _shtab_humcheck humcheck comp humcheck; echo "${COMPREPLY[@]}"'
    )
    answer = subprocess.run(["bash", "-c", asked], check=True, capture_output=True, text=True, cwd=tmp_path)
    assert answer.stdout.split() == ["compare"]
