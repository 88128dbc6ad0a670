"""Text for Markdown: what comes from outside stays text."""

from __future__ import annotations

import re

from humcheck.report.text import visible

_SPECIAL = re.compile(r"([\\`*_\[\]<>|~#$])")
#: Some renderers make links of bare addresses.
_ADDRESS = re.compile(r"(?i)\b(https?|ftp)://|\b(www)\.")


def plain(text: str) -> str:
    """Return outside text so that Markdown shows it as it is: no markup, no links, no HTML, no line of its own."""
    shown = " ".join(visible(text).split())
    escaped = _SPECIAL.sub(r"\\\1", shown.replace("&", "&amp;"))
    return _ADDRESS.sub(lambda found: f"{found.group(1)}&#58;//" if found.group(1) else "www&#46;", escaped)
