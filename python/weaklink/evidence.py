"""What a job sheet and its readings say, line by line: for figures and the bench record."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from . import _core

if TYPE_CHECKING:
    from ._core import Job


@dataclass(frozen=True, slots=True)
class Heard:
    """What was heard on one route and channel; residue (ratio) and loss_db: lowest and highest, where they were measured.

    output_v: level at the end of the route, V rms; level_db: at the ear, dB SPL; None where the sheet does not say.
    """

    route: str
    channel: str
    what: str
    strength: str
    output_v: float | None
    level_db: float | None
    residue: tuple[float, float] | None
    loss_db: tuple[float, float] | None
    goes_away: tuple[str, ...]
    comes_back: tuple[str, ...]
    in_pauses: str | None


@dataclass(frozen=True, slots=True)
class Bridged:
    """What a clip lead across a contact, or its replacement, changed."""

    contact: str
    channel: str
    then: str
    put: str


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found at a stage, a source or the loudspeakers; bias_v, direct_v: lowest and highest size, V; None: not looked at."""

    at: str
    channel: str
    bias_v: tuple[float, float] | None
    direct_v: tuple[float, float] | None
    swapped: str | None


@dataclass(frozen=True, slots=True)
class Reading:
    """What a meter showed, and the resistance that it alone leaves, ohm.

    low_ohm, high_ohm: ends for the signal; high_ohm None where nothing bounds it. shown_high_ohm: the upper end as the meter saw it.
    dry: small enough for its place that it broke no film. before_remedy: nothing had been done to the contact yet. parallel_ohm: least
    and most of what else joined its two ends, already taken off; most None where nobody knows.
    """

    contact: str
    channel: str
    when: str
    before_remedy: bool
    shows: str
    method: str
    low_ohm: float
    high_ohm: float | None
    shown_high_ohm: float | None
    dry: bool
    polarity: str | None
    parallel_ohm: tuple[float, float | None] | None
    note: str | None
    line: int


@dataclass(frozen=True, slots=True)
class Evidence:
    """Routes (name, contacts from source to ear), what was heard, bridged, checked and read, prices of parts in their currency."""

    routes: tuple[tuple[str, tuple[str, ...]], ...]
    heard: tuple[Heard, ...]
    bridged: tuple[Bridged, ...]
    checked: tuple[Checked, ...]
    readings: tuple[Reading, ...]
    prices: tuple[tuple[str, float], ...]
    currency: str | None

    @property
    def contacts(self) -> tuple[str, ...]:
        """Every contact once, in the order of the routes."""
        return tuple(dict.fromkeys(contact for _, contacts in self.routes for contact in contacts))

    def symptoms(self, route: str, channel: str) -> tuple[str, ...] | None:
        """What is wrong on a route and channel, in the words of the sheet; empty where it is clean, None if nobody listened."""
        found = [h.what for h in self.heard if h.route == route and h.channel == channel]
        return tuple(what for what in found if what != "clean") if found else None

    def told(self, route: str, channel: str) -> str:
        """The same in a word or two: "grit and hum", "clean", "not listened to"."""
        found = self.symptoms(route, channel)
        return "not listened to" if found is None else " and ".join(found) or "clean"


def _pair(ends: list[Any] | None) -> tuple[Any, Any] | None:
    return (ends[0], ends[1]) if ends else None


def evidence(job: Job) -> Evidence:
    """Everything that was observed on a job, each reading turned into ohms at its place. Raises InputError as assess does."""
    data: dict[str, Any] = json.loads(_core._evidence_json(job))
    heard = tuple(
        Heard(
            route=h["route"],
            channel=h["channel"],
            what=h["what"],
            strength=h["strength"],
            output_v=h["output_v"],
            level_db=h["level_db"],
            residue=_pair(h["residue"]),
            loss_db=_pair(h["loss_db"]),
            goes_away=tuple(h["goes_away"]),
            comes_back=tuple(h["comes_back"]),
            in_pauses=h["in_pauses"],
        )
        for h in data["heard"]
    )
    return Evidence(
        routes=tuple((r["name"], tuple(r["contacts"])) for r in data["routes"]),
        heard=heard,
        bridged=tuple(Bridged(b["contact"], b["channel"], b["then"], b["with"]) for b in data["bridged"]),
        checked=tuple(Checked(c["at"], c["channel"], _pair(c["bias_v"]), _pair(c["direct_v"]), c["swapped"]) for c in data["checked"]),
        readings=tuple(Reading(**{**r, "parallel_ohm": _pair(r["parallel_ohm"])}) for r in data["readings"]),
        prices=tuple((name, part["price"]) for name, part in data["parts"].items() if part["price"] is not None),
        currency=data["currency"],
    )
