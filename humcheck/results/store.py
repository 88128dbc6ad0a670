"""Results as JSON text and back, with the checks that keep a saved file readable for years."""

from __future__ import annotations

import codecs
import json
import math
from collections.abc import Callable
from inspect import cleandoc
from typing import Any

import msgspec

from humcheck.errors import HumcheckError
from humcheck.results.consistency import require_consistent
from humcheck.results.rows import Results

CURRENT_FORMAT_VERSION = 1
#: What the tool knows its own results files by.
RESULTS_MARK = '"format": "humcheck-results"'

#: Steps from one format version to the next, by the version they start from.
MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}


def results_to_json(results: Results) -> str:
    """Return the results file's text.

    Raises
    ------
    ValueError
        If a number is not finite (a programming error: such a value has no place in a row).
    """
    plain = msgspec.to_builtins(results)
    _require_finite(plain, "$")
    return json.dumps(plain, allow_nan=False, ensure_ascii=False, indent=1, sort_keys=False) + "\n"


def load_results(text: str | bytes, *, where: object = None) -> Results:
    """Read a results file's text, migrating older format versions.

    Raises
    ------
    HumcheckError
        If the text is no results file, is newer than this program, or a field does not fit.
    """
    data = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text.removeprefix(codecs.BOM_UTF8)
    version = _version_of(data, where)
    try:
        # Typed from the first byte on: what is no row never takes up memory.
        results = _decoded(data, version)
        require_consistent(results)
    except (msgspec.DecodeError, ValueError, RecursionError) as error:
        raise HumcheckError(f"the results file is damaged: {error}", where=where, remedy="measure again") from error
    return results


class _Head(msgspec.Struct):
    """What is read first: which format, and which version of it."""

    format: str = ""
    format_version: int = 0


def _version_of(data: bytes, where: object) -> int:
    """Return the format version, after a first look that keeps nothing else of the file."""
    remedy = "give a file written with --json"
    if data.lstrip()[:9].lower() in (b"<!doctype", b"<html"):
        raise HumcheckError("this is a page, not the results that it was made from", where=where, remedy=remedy)
    try:
        head = msgspec.json.decode(data, type=_Head)
    except msgspec.ValidationError:
        head = _Head()
    except (msgspec.DecodeError, ValueError, RecursionError) as error:
        raise HumcheckError(f"this is damaged, or not JSON at all ({error})", where=where, remedy=remedy) from error
    if head.format != "humcheck-results":
        raise HumcheckError("this is not a humcheck results file", where=where, remedy=remedy)
    if head.format_version < 1:
        raise HumcheckError("the results file does not say its format version", where=where, remedy=remedy)
    if head.format_version > CURRENT_FORMAT_VERSION:
        raise HumcheckError(
            f"the results file has format version {head.format_version}, this program reads up to "
            f"{CURRENT_FORMAT_VERSION}",
            where=where,
            remedy="update humcheck",
        )
    return head.format_version


def _decoded(data: bytes, version: int) -> Results:
    if version == CURRENT_FORMAT_VERSION:
        return msgspec.json.decode(data, type=Results)
    plain = msgspec.json.decode(data, type=dict[str, Any])
    while version < CURRENT_FORMAT_VERSION:
        plain = MIGRATIONS[version](plain)
        version += 1
    return msgspec.convert(plain, Results)


def results_schema() -> dict[str, Any]:
    """Return the JSON Schema of the results file, as published with the package."""
    schema: dict[str, Any] = _with_even_descriptions(msgspec.json.schema(Results))
    return schema


def _with_even_descriptions(schema: Any) -> Any:
    """Return the schema with docstrings as people read them: how they are indented is the library's affair."""
    if isinstance(schema, dict):
        return {
            name: cleandoc(item) if name == "description" and isinstance(item, str) else _with_even_descriptions(item)
            for name, item in schema.items()
        }
    return [_with_even_descriptions(item) for item in schema] if isinstance(schema, list) else schema


def _require_finite(value: object, path: str) -> None:
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{path} is {value}, not a finite number")
    elif isinstance(value, dict):
        for name, item in value.items():
            _require_finite(item, f"{path}.{name}")
    elif isinstance(value, list):
        for index, item in enumerate(value):
            _require_finite(item, f"{path}[{index}]")
