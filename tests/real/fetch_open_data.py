"""Fetch the open recordings that tests listen to: ``python tests/real/fetch_open_data.py``.

They are files of public packages, fetched by package name with apt-get (on Debian) and pip; nothing is installed. Each
goes to a folder named after its package under `tests/real/data`, or under the folder that HUMCHECK_OPEN_DATA names.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

if __package__ is None:  # run as a script
    sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.real.open_data import DEBIAN_FILES, FOLDER, PYTHON_FILES


def main() -> int:
    missing = []
    for package, endings in DEBIAN_FILES.items():
        missing += _fetched(package, endings, _debian_package)
    for (package, version), endings in PYTHON_FILES.items():
        missing += _fetched(package, endings, lambda package, folder, v=version: _wheel(f"{package}=={v}", folder))
    for name in missing:
        print(f"not fetched: {name}", file=sys.stderr)
    return 1 if missing else 0


def _fetched(package, endings, unpack) -> list[str]:
    """Fetch what is missing of a package; return what is missing still."""
    target = FOLDER / package
    if not all(_have(target, ending) for ending in endings):
        with tempfile.TemporaryDirectory() as name:
            try:
                unpack(package, Path(name))
            except (OSError, subprocess.CalledProcessError) as error:
                print(f"{package}: {error}", file=sys.stderr)
            target.mkdir(parents=True, exist_ok=True)
            for path in sorted(Path(name).rglob("*")):
                if path.is_file() and path.as_posix().endswith(tuple(endings)):
                    shutil.copyfile(path, target / path.name)
    return [f"{package}/{ending}" for ending in endings if not _have(target, ending)]


def _have(target: Path, ending: str) -> bool:
    return any(target.glob("*" + Path(ending).name if ending.startswith(".") else Path(ending).name))


def _debian_package(package: str, folder: Path) -> None:
    # Its warning that the folder is root's own is nothing to act on.
    subprocess.run(["apt-get", "download", "-qq", package], cwd=folder, check=True, stderr=subprocess.DEVNULL)
    for archive in folder.glob("*.deb"):
        subprocess.run(["dpkg", "-x", archive.name, "unpacked"], cwd=folder, check=True)


def _wheel(requirement: str, folder: Path) -> None:
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary=:all:"]
    if requirement.startswith("scipy=="):
        command += ["--python-version=3.11", "--platform=manylinux_2_17_x86_64"]
    subprocess.run([*command, f"--dest={folder}", requirement], check=True)
    for archive in folder.glob("*.whl"):
        with zipfile.ZipFile(archive) as wheel:
            wheel.extractall(folder / "unpacked")


if __name__ == "__main__":
    sys.exit(main())
