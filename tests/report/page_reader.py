"""Reads a page back: a strict parser that fails on anything that is not well nested."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from html.parser import HTMLParser

VOID = frozenset({"meta", "br", "hr", "img", "input", "link"})
#: Elements that SVG may close by a slash.
_DRAWN = frozenset({"path", "line", "rect", "text"})


@dataclass
class Element:
    """One element with its attributes and what is inside it, in order."""

    tag: str
    attributes: dict[str, str]
    parts: list[Element | str] = field(default_factory=list)

    @property
    def children(self) -> list[Element]:
        """Elements directly inside."""
        return [part for part in self.parts if isinstance(part, Element)]

    @property
    def text(self) -> str:
        """All text inside, as written."""
        return "".join(part if isinstance(part, str) else part.text for part in self.parts)

    def all(self, tag: str | None = None, **wanted: str) -> list[Element]:
        """Return descendants by tag and attributes; ``class_`` matches one of several classes."""
        found = []
        for child in self.children:
            if (tag is None or child.tag == tag) and child.matches(wanted):
                found.append(child)
            found += child.all(tag, **wanted)
        return found

    def matches(self, wanted: dict[str, str]) -> bool:
        """Return whether all attributes are as wanted."""
        for name, value in wanted.items():
            own = self.attributes.get(name.rstrip("_").replace("_", "-"), "")
            if (value not in own.split()) if name == "class_" else own != value:
                return False
        return True

    def first(self, tag: str | None = None, **wanted: str) -> Element:
        """Return the first such descendant."""
        return self.all(tag, **wanted)[0]

    @property
    def words(self) -> str:
        """The text, its white space evened out."""
        return " ".join(self.text.split())


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("root", {})
        self.open = [self.root]

    def handle_starttag(self, tag, attrs):
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"attribute given twice in {tag}"
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].parts.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag, attrs):
        assert tag in _DRAWN, f"{tag} may not close itself"
        self.open[-1].parts.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag):
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data):
        self.open[-1].parts.append(data)


@lru_cache(maxsize=32)
def read_page(page: str) -> Element:
    """Return the page's root element; fails where the page is not well nested."""
    reader = _Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == [reader.root], f"never closed: {[element.tag for element in reader.open]}"
    return reader.root


def path_points(data: str) -> list[tuple[float, float]]:
    """Return the absolute corners of path data made of M, L and absolute coordinates only."""
    assert not re.search(r"[a-km-z]", data.removesuffix("z")), "relative commands"
    numbers = [float(text) for text in re.findall(r"-?\d+(?:\.\d+)?", data)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))
