"""The templates' environment, and the policy under which a page runs its own script and loads nothing."""

from __future__ import annotations

import base64
import hashlib
import json
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from humcheck.report.order import OTHER, title_of
from humcheck.report.text import PAGE, escaped, unit_words, visible

if TYPE_CHECKING:
    from jinja2 import Environment


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return the environment: everything is escaped, and a name that is missing is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("humcheck.report"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.policies["json.dumps_function"] = _dumped
    made.filters["short"] = lambda value: f"{value:.6g}"
    made.filters["unit"] = unit_words
    made.filters["title_of"] = title_of
    made.filters["with_unit"] = lambda value, unit: PAGE.with_unit(f"{value:g}".replace("-", PAGE.minus), unit)
    made.filters["opened"] = lambda text: f"{text[:1].upper()}{text[1:]}."
    made.filters["channel"] = lambda channel: "" if channel == "mono" else channel
    made.globals["dots"] = {"strong": "●●●", "clear": "●●○", "slight": "●○○", "none": "○○○"}
    made.globals["other_group"] = OTHER
    made.globals["page_style"] = PAGE
    return made


def _dumped(value: Any, **_: Any) -> str:
    """Return short JSON; characters that would do harm in a page are escaped, letters of all languages stay."""
    return escaped(json.dumps(value, ensure_ascii=False, separators=(",", ":")))


def _shown(value: Any) -> Any:
    """Return what a template prints: outside text never carries control characters into the page."""
    return visible(value) if type(value) is str else value


@lru_cache(maxsize=2)
def policy(*, with_sounds: bool) -> str:
    """Return a policy under which the page runs its own script and style, plays its own sounds and loads nothing."""
    style, script = (environment().get_template(name).render() for name in ("style.css", "script.js"))
    media = " media-src data:;" if with_sounds else ""
    return (
        f"default-src 'none';{media} style-src {_hash(style)}; script-src {_hash(script)}; "
        "base-uri 'none'; form-action 'none'"
    )


def _hash(content: str) -> str:
    digest = base64.b64encode(hashlib.sha256(content.encode("utf-8")).digest()).decode("ascii")
    return f"'sha256-{digest}'"
