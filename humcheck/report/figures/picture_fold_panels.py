"""What the figure of folded sound shows: one panel for each device and picture."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from humcheck.report.catalogue import Catalogue, Setup
from humcheck.results import Trace

FOLD, NOISE, ROWS = "picture_fold", "picture_fold_noise", "picture_rows"
FOLD_TRACES = (FOLD, NOISE, ROWS)


#: A fold without a place is shown where its RMS is so many times that of the noise.
CLEAR = 2.0


@dataclass(slots=True, kw_only=True)
class FoldPanel:
    """One take's folds by channel, the direct ones beside them, and the picture's rows where their place is known.

    Attributes
    ----------
    title, where : str
        Device, and how it was used, the picture first.
    folds, direct : dict of str to Trace
        By channel.
    noise : dict of str to float
        Standard deviation of what noise leaves, by channel.
    rows : Trace or None
        Brightness of the lines.
    """

    title: str
    where: str
    setup: Setup
    folds: dict[str, Trace]
    noise: dict[str, float]
    rows: Trace | None
    direct: dict[str, Trace] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Device and picture."""
        return ", ".join(part for part in (self.title, self.where) if part)

    @property
    def whole_ms(self) -> float:
        """Length of the field: points are evenly spread over it."""
        first = next(iter(self.folds.values()))
        return first.x[-1] * len(first.x) / (len(first.x) - 1)


def fold_panels(catalogue: Catalogue) -> Iterable[FoldPanel]:
    """Return a panel for each device and picture (the set-up that buzzes most), or for recordings alone."""
    found = _by_setup(catalogue)
    direct = {setup.picture: panel for (role, setup), panel in found.items() if role == "direct"}
    strongest: dict[tuple[str, str | None], FoldPanel] = {}
    for (role, setup), panel in found.items():
        if role == "direct":
            continue
        place = setup.subject, setup.picture
        if place not in strongest or largest_of(panel) > largest_of(strongest[place]):
            strongest[place] = panel
        control = direct.get(setup.picture)
        if role == "through" and control is not None and control.rows is not None and panel.rows is not None:
            panel.direct = control.folds
    return sorted(strongest.values() or direct.values(), key=_order)


def _order(panel: FoldPanel) -> tuple[bool, bool]:
    """Return a sort key: what shows most first."""
    return panel.rows is None, panel.setup.picture != "rows"


def _by_setup(catalogue: Catalogue) -> dict[tuple[str, Setup], FoldPanel]:
    """Return the first take's folds of every set-up."""
    found: dict[tuple[str, Setup], FoldPanel] = {}
    for trace in catalogue.results.traces:
        if trace.quantity not in FOLD_TRACES or len(trace.x) != len(trace.y) or len(trace.x) < 2:
            continue
        setup = Setup.of(trace)
        panel = found.setdefault(
            (trace.role, setup),
            FoldPanel(
                title=catalogue.title(trace.subject),
                where=", ".join(part for part in (_picture_words(setup), _other_words(catalogue, setup)) if part),
                setup=setup,
                folds={},
                noise={},
                rows=None,
            ),
        )
        if trace.quantity == FOLD:
            panel.folds.setdefault(trace.channel, trace)
        elif trace.quantity == NOISE:
            panel.noise.setdefault(trace.channel, trace.y[0])
        elif panel.rows is None:
            panel.rows = trace
    return {place: panel for place, panel in found.items() if panel.folds}


def _picture_words(setup: Setup) -> str:
    return {"rows": "coded rows", "white": "white picture", "top-half": "top half white"}.get(
        setup.picture or "", setup.picture or ""
    )


def _other_words(catalogue: Catalogue, setup: Setup) -> str:
    picture = f"{setup.picture} picture"
    return ", ".join(part for part in catalogue.where(setup).split(", ") if part and part != picture)


def stands_out(panel: FoldPanel) -> bool:
    """Return whether a panel shows more than noise: its sound is placed beside rows, or clearly stronger."""
    if panel.rows is not None:
        return True
    for channel, trace in panel.folds.items():
        mean_square = sum(value**2 for value in trace.y) / len(trace.y)
        if mean_square > (CLEAR * panel.noise.get(channel, 0.0)) ** 2:
            return True
    return False


def largest_of(panel: FoldPanel) -> float:
    """Return the largest value of a panel's own folds, either way."""
    return max(abs(value) for trace in panel.folds.values() for value in trace.y)
