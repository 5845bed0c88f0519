"""How long a remedy may hold where no log says it: the growth of a film on bare metal, as a labelled prior and nothing else."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .physics import time_to_resistance_s
from .shop_log import words
from .shop_results import Prior

if TYPE_CHECKING:
    from collections.abc import Iterable

YEAR_S = 365.25 * 86_400.0
# an ordinary room is taken for the cleanest class
ENVIRONMENT = "ISA-71.04 G1"
# radius of the spot under the film, m [assumption]: the two of the references' example
SPOTS_M = (10e-6, 50e-6)
# the metal of a growth law, by words of a job sheet; a noble or passive surface has none here
METALS = {"silver": "silver", "copper": "copper", "brass": "copper", "bronze": "copper"}
COVERED = ("plat", "flash", "gilt", "gold", "nickel", "tin", "rhodium", "palladium")
LABEL = Prior.label
ASSUMES = (
    f"bare metal that stood open in {ENVIRONMENT} and closes on a spot of 10 to 50 um radius without breaking its film [assumption]; "
    "a wiping or closed contact holds longer, a worn one shorter: neither is modelled"
)
SOURCE = {
    "silver": "ISA-71.04-2013 G1, silver below 20 nm in 30 days [seen], its lower end a tenth [assumption]; between parabolic and linear in "
    "time [assumption]; Ag2S 1e-3 to 10 ohm m [memory, low]",
    "copper": "ISA-71.04-2013 G1, copper below 30 nm in 30 days [seen], its lower end a tenth [assumption]; logarithmic, cubic, parabolic "
    "(Kusano et al. 2014 [seen]); Cu2O 0.43 [seen] to 1e6 ohm m [seen, low]",
}


def metal_of(text: str) -> str | None:
    """The growth law that a metal's name stands for; None where there is none."""
    told = text.lower()
    if any(word in told for word in COVERED):
        return None
    return next((metal for word, metal in METALS.items() if word in told), None)


def prior_of(kind: str, metal: str) -> Prior | None:
    """When a film alone may bring a bare contact of a kind to its limit; None where the kind has no limit.

    ``metal``: "silver" or "copper". Earliest: the smaller spot and the fastest and most resistive film that the class allows; latest:
    the larger one and the slowest.
    """
    table = words()
    limit = table.in_order_up_to_ohm[table.kinds.index(kind)]
    if limit is None:
        return None
    areas = [math.pi * radius * radius for radius in SPOTS_M]
    earliest, latest = (time_to_resistance_s(ENVIRONMENT, metal, resistance_ohm=limit, area_m2=area) for area in areas)
    return Prior(kind, metal, ENVIRONMENT, limit, earliest[0] / YEAR_S, latest[1] / YEAR_S, SOURCE[metal])


def priors(kinds: Iterable[str]) -> list[Prior]:
    """The priors of several kinds, for both metals that have a growth law."""
    return [found for kind in kinds for metal in SOURCE if (found := prior_of(kind, metal)) is not None]


def duration(years: float) -> str:
    """A time in the largest unit of which there are two: "5 hours", "12 days", "never (past 1000 years)"."""
    if math.isinf(years):
        return "never (past 1000 years)"
    for unit, length in (("years", 1.0), ("months", 1.0 / 12.0), ("days", 1.0 / 365.25), ("hours", 1.0 / 8766.0)):
        if years >= 2.0 * length:
            count = years / length
            return f"{count:.0f} {unit}" if count >= 9.5 else f"{count:.2g} {unit}"
    return "less than 2 hours"


def span(prior: Prior) -> tuple[float, float]:
    """Earliest and latest time of a prior, years."""
    return prior.earliest_years, prior.latest_years


def from_to(earliest_years: float, latest_years: float) -> str:
    """A range of times in words."""
    return f"{duration(earliest_years)} to {duration(latest_years)}"
