"""The answers of a bench log as plain frozen objects."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from ._core import __version__

if TYPE_CHECKING:
    import os

    from .shop_log import Fault

CLEANING_CAUTION = "Cleaning: set unplugged and cold, room aired, no flames; an agent that plastics and carbon tracks bear; dry before power."
PLATED_CAUTION = (
    "Plated metal: no abrasive, a thin flash may go in a few strokes [memory]; a lubricant is of little use against abrasive "
    "wear (Antler and Drozdowicz 1979 [seen])."
)

# a value with its 95 % band
Band = tuple[float, float, float]

@dataclass(frozen=True)
class Cell:
    """One remedy on one kind; bands are 95 %, clustered by amplifier, None where the log does not say.

    ``left_ratio``: after over before, adjusted for how bad it was and, where there are re-readings, against leaving it alone.
    ``in_order``: share back in order; where fewer than ten were in order, or were not, the band is the exact one of so many contacts
    and holds the truth more often than 95 in 100 times. ``heard``: shares of the afters that are excluded from being heard in their
    typical place, not settled, able to be heard (if it chatters between nothing and its reading), at ``level_db`` of the comparison;
    ``afters``: how many there are. ``minutes``, ``part_cost``: their errors are in
    the bands of ``cost_per_good_year`` and of the decisions. ``ceiling``: residue that nine in ten afters stay below in their typical place.
    ``damage``: share that costs count with, shrunk towards the remedy's; ``damaged``: how many were damaged of how many.
    ``comebacks_per_100_years``: per hundred contact-years to the horizon, standardised over all contacts of the kind; of fewer than ten
    comebacks the band is at least the exact one of so many in so many contact-years, as if they came one by one, and so wide are the
    bands of good years, costs and decisions. Its value then leans on the weak cells of the fit: half a comeback where there was none.
    Of a log with fewer than five comebacks it is the plain count with its exact band.
    """

    kind: str
    remedy: str
    contacts: int
    left_ratio: Band | None
    in_order: Band | None
    not_decided: int
    loss_db: float | None
    ceiling: float | None
    over_target: float | None
    heard: Band | None
    afters: int
    comebacks: int
    contact_years: float
    comebacks_per_100_years: Band | None
    good_years: Band | None
    damage: float | None
    damaged: tuple[int, int] | None
    minutes: float | None
    part_cost: float | None
    cost_per_good_year: Band | None


@dataclass(frozen=True)
class Ratio:
    """Comebacks of one remedy over those of another: in the plain table, and adjusted (marginal: over amplifiers).

    Where either has fewer than ten, the band is at least the exact conditional one; without an upper end if the other has none.
    """

    remedy: str
    over: str
    plain: float | None
    adjusted: Band


@dataclass(frozen=True)
class Decision:
    """Resistance before the remedy above which a remedy costs less per good year; 0 always, infinite never in this log."""

    kind: str
    remedy: str
    against: str
    above_ohm: Band
    seen_ohm: tuple[float, float]


@dataclass(frozen=True)
class Curve:
    """One remedy on one kind over the reading before: share back in order and mean good years to the horizon."""

    kind: str
    remedy: str
    before_ohm: tuple[float, ...]
    in_order: tuple[float, ...]
    good_years: tuple[float, ...]


@dataclass(frozen=True)
class Warranty:
    """Longest time at which the lower 95 % band still has nine in ten in order, by the exact band too where few came back;
    ``carried`` is as far as the data reach."""

    remedy: str
    years: float
    carried_years: float


@dataclass(frozen=True)
class Question:
    """A comparison that the log cannot make yet, and how many more contacts of each remedy it takes."""

    kind: str
    remedy: str
    against: str
    rows_more: int


@dataclass(frozen=True)
class Prior:
    """What the growth of films alone says of a kind of which the log does not say how long a remedy holds; never mixed with data.

    A bare surface of ``metal`` stands open in ``environment``: earliest and latest time, years, at which its film alone may reach
    ``limit_ohm``, the limit of the kind; infinite past 1 000 years. Decades apart: that spread is what physics knows.
    """

    kind: str
    metal: str
    environment: str
    limit_ohm: float
    earliest_years: float
    latest_years: float
    source: str
    label: str = "prior, growth physics, not data"


@dataclass(frozen=True)
class Comparison:
    """What a log teaches; ``print`` it for the short answer."""

    summary: str
    faults: tuple[Fault, ...]
    over: int
    below: int
    pairs: int
    jobs: int
    currency: str
    per_hour: float
    horizon_years: float
    level_db: float
    reread_ratio: Band | None
    rereadings: int
    cells: tuple[Cell, ...]
    ratios: tuple[Ratio, ...]
    decisions: tuple[Decision, ...]
    curves: tuple[Curve, ...]
    warranties: tuple[Warranty, ...]
    questions: tuple[Question, ...]
    priors: tuple[Prior, ...]
    warnings: tuple[str, ...]
    assumes: tuple[str, ...]
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Everything as plain values, with the version that computed it; infinite numbers become None."""

        def plain(value: Any) -> Any:
            if isinstance(value, float):
                return value if math.isfinite(value) else None
            if isinstance(value, dict):
                return {name: plain(item) for name, item in value.items()}
            if isinstance(value, (list, tuple)):
                return [plain(item) for item in value]
            return value

        done: dict[str, Any] = plain(asdict(self))
        # infinite is a word of its own: never within this log
        for row, decision in zip(done["decisions"], self.decisions, strict=True):
            row["above_ohm"] = ["never" if math.isinf(x) else x for x in decision.above_ohm]
        for row, prior in zip(done["priors"], self.priors, strict=True):
            row["latest_years"] = "past 1000" if math.isinf(prior.latest_years) else prior.latest_years
        return {"version": __version__, **done}

    def to_json(self) -> str:
        """Everything, for machines."""
        return json.dumps(self.to_dict(), indent=2)

    def text(self, *, everything: bool = False) -> str:
        """The short answer, under 40 lines of at most 80 columns, decisions last; or everything."""
        from .shop_text import page

        return page(self, everything=everything)

    def __str__(self) -> str:
        return self.text()

    def save(self, path: str | os.PathLike[str]) -> None:
        """Writes what a later assessment needs, as TOML; never leaves half a file."""
        from .files import write_whole
        from .shop_text import toml

        write_whole(path, toml(self))
