"""Which takes are to be measured, and in which roles."""

from __future__ import annotations

from dataclasses import dataclass, field

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
    """

    path: str
    role: Role
    device: str | None = None
    port: str | None = None
    picture: str | None = None
    condition: dict[str, str] = field(default_factory=dict)
    fix: str | None = None
    plugging: str | None = None

    def key(self, take_id: str) -> Key:
        """Return the key of this take's rows; quantity and channel are the analyzers' to fill in."""
        subject = _SUBJECTS.get(self.role, self.device or take_id)
        return Key(
            subject=subject,
            role=self.role,
            quantity="",
            port=self.port,
            picture=self.picture,
            condition=self.condition,
            fix=self.fix,
        )
