"""Which takes are to be measured, and in which roles."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from humcheck.results import Key
from humcheck.results.rows import Role

_SUBJECTS = {"direct": "direct", "recorder": "recorder", "source_off": "source off"}


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeRequest:
    """One recording and how it was made.

    Attributes
    ----------
    path : str
        The file.
    role : str
        ``"direct"``, ``"through"``, ``"recorder"``, ``"source_off"`` or ``"single"``.
    device, port, picture, fix : str or None
        How it was made.
    condition : dict
        Further keys.
    plugging : str or None
        Takes of one key that share it were made without unplugging anything in between.
    run : tuple of (int, int) or None
        Of a long recording that holds the track several times: first sample of this run, and the one after its last.
    """

    path: str
    role: Role
    device: str | None = None
    port: str | None = None
    picture: str | None = None
    condition: dict[str, str] = field(default_factory=dict)
    fix: str | None = None
    plugging: str | None = None
    run: tuple[int, int] | None = None

    def names(self, take_id: str) -> dict[str, Any]:
        """Return what rows of this take are called, by the fields of their key; the picture may be a row's own."""
        return {
            "subject": _SUBJECTS.get(self.role, self.device or take_id),
            "port": self.port,
            "condition": self.condition,
            "fix": self.fix,
        }

    def key(self, take_id: str) -> Key:
        """Return the key of this take's rows; quantity and channel are the analyzers' to fill in."""
        return Key(**self.names(take_id), role=self.role, quantity="", picture=self.picture)
