"""Whether the bench was the same with and without the device; where it was not, no cause is blamed on the device."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from humcheck.findings.index import Use
from humcheck.findings.words import joined
from humcheck.results import Key

#: Parts of the bench itself, as people name them in a take's condition (common practice, no source). A key of
#: another name that only the takes through a device carry says how the device was used, such as its supply.
BENCH_PARTS = (
    "lead", "leads", "cable", "cables", "adapter", "adapters", "display", "screen", "monitor", "television", "tv",
    "source", "recorder", "outlet", "outlets", "mains", "input",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """What was not the same in a take through a device and in the direct take beside it.

    Attributes
    ----------
    told : tuple of str
        Differences that the takes' keys tell, in words; any of them forbids blaming the device.
    unsaid : tuple of str
        What only one side says, so that it is not known to be the same.
    again : str
        What to record again; empty where nothing differs.
    fix : str or None
        What was put into the path to cure something, and is not in the direct path: it counts to the device under test.
    """

    told: tuple[str, ...] = ()
    unsaid: tuple[str, ...] = ()
    again: str = ""
    fix: str | None = None

    def __bool__(self) -> bool:
        return bool(self.told)


def without_its_fix(use: Use) -> list[Use]:
    """Return the same use without its fix, where that was recorded; empty for a use without a fix."""
    mine = use.key
    if mine.fix is None:
        return []
    return use.siblings(lambda key: (key.fix, key.picture, key.condition) == (None, mine.picture, mine.condition))


def differences(through: Key, direct: Key, *, fix_is_told: bool = False) -> Differences:
    """Return in what the bench differed between a take through a device and the direct take beside it.

    Parameters
    ----------
    through : Key
        Key of the use of the device.
    direct : Key
        Key of the direct take that it is set against.
    fix_is_told : bool, optional
        Whether the same use was recorded without its fix: what the fix does is told by that comparison, and here it
        counts to the device.
    """
    told: list[str] = []
    unsaid: list[str] = []
    if through.picture != direct.picture:
        if through.picture is None or direct.picture is None:
            which = "direct recording" if direct.picture is None else "recording through the device"
            unsaid.append(f"the {which} does not say which picture was on")
        else:
            told.append(f"a {through.picture} picture against a {direct.picture} one")
    for name in sorted({*through.condition, *direct.condition}):
        told += _condition(name, through.condition.get(name), direct.condition.get(name))
    counted = fix_is_told and direct.fix is None
    if through.fix != direct.fix and not counted:
        told.append(f"{_fix_words(through.fix)} against {_fix_words(direct.fix)}")
    return Differences(
        told=tuple(told),
        unsaid=tuple(unsaid),
        again=_again(through, direct) if told else "",
        fix=through.fix if counted else None,
    )


def _condition(name: str, with_device: str | None, without: str | None) -> Iterable[str]:
    if with_device == without:
        return
    if with_device is not None and without is not None:
        yield f"{name} {with_device} against {name} {without}"
    elif without is not None or name.lower() in BENCH_PARTS:
        yield f"{name} {with_device or 'not said'} against {name} {without or 'not said'}"


def _fix_words(fix: str | None) -> str:
    return "without a fix" if fix is None else f"with {fix}"


def _again(through: Key, direct: Key) -> str:
    wanted = [] if through.picture in (None, direct.picture) else [f"a {through.picture} picture"]
    names = sorted({*through.condition, *direct.condition})
    wanted += [
        f"{name} {through.condition.get(name, 'as with the device')}"
        for name in names
        if any(_condition(name, through.condition.get(name), direct.condition.get(name)))
    ]
    if through.fix != direct.fix:
        wanted.append(through.fix or "no fix")
    return f"Record the direct path again with {joined(wanted)}; then compare." if wanted else ""
