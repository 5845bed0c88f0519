"""Film laws from measurements, and the list of what was checked."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from . import _core
from ._core import Film

if TYPE_CHECKING:
    from typing import TypeAlias

    # numpy itself loads when the first array comes
    import numpy
    import numpy.typing

    _Num: TypeAlias = float | numpy.typing.ArrayLike

@dataclass(frozen=True)
class Parameter:
    """A fitted value: standard deviation and 95 % interval, None where the points do not fix it or it is held at its bound."""

    name: str
    value: float
    sd: float | None
    interval: tuple[float, float] | None
    at_bound: bool


@dataclass(frozen=True)
class LawFit:
    """How one law did: parameters of the law (free or held), weighted sum of squares, corrected Akaike criterion, Akaike weight.

    Of more than 4096 points, the sum of squares of a law that they exclude is what one search from one start finds: it may lie above the least.
    """

    law: str
    parameters: int
    sum_of_squares: float
    criterion: float
    weight: float


@dataclass(frozen=True)
class FilmFit:
    """A film law fitted to points; ``identifiable`` is False, with a reason, where the points do not tell it."""

    identifiable: bool
    reason: str
    law: str
    film: Film
    reversed: bool
    constriction_ohm: float
    parameters: list[Parameter]
    covariance: numpy.typing.NDArray[numpy.float64] | None = field(compare=False)
    points: int
    degrees_of_freedom: int
    chi_square: float | None
    probability: float | None
    residual_sd: float
    comparison: list[LawFit]


@dataclass(frozen=True)
class HarmonicLaw:
    """What harmonics across a contact tell; scale_v and ideality are what each law would need."""

    identifiable: bool
    law: str | None
    reason: str
    scale_v: float | None
    ideality: float | None
    bridged_ratio: float


def fit_film(voltage_v: _Num, current_a: _Num, *, sd_v: _Num | None = None) -> FilmFit:
    """Fits every film law to current-voltage points (V, A) of both polarities, and says whether they tell one.

    v = Rc i + v_film(i) by weighted least squares in the voltage (Levenberg-Marquardt); sd_v: standard deviation of the
    voltages, V, one or one each; without it the scatter is estimated and goodness cannot be tested. Laws are compared by
    Akaike's criterion with its correction for few points. Raises InputError for fewer than 6 points, one polarity, NaN. A
    curve is called only against every other law: six points without sd_v are too few for that. Points so small that nothing
    departs from a straight line: identifiable is False, the resistance stands.
    """
    import numpy

    found: dict[str, Any] = json.loads(_core._fit_film_json(voltage_v, current_a, sd_v))
    parameters = [
        Parameter(**{**p, "interval": None if p["interval"] is None else tuple(p["interval"])}) for p in found["parameters"]
    ]
    covariance = None if found["covariance"] is None else numpy.array(found["covariance"])
    rest = {
        "film": Film.from_dict(found["film"]),
        "parameters": parameters,
        "covariance": covariance,
        "comparison": [LawFit(**row) for row in found["comparison"]],
    }
    return FilmFit(**{**found, **rest})


def law_from_harmonics(*, first_v: float, second_v: float, third_v: float, floor_v: float) -> HarmonicLaw:
    """The film law from the first three harmonics across a contact at a sine of fixed current (peaks, V). [derived]

    Tunnelling V0 = V1 sqrt(V1/(24 V3)) for small ratios, here exact; rectifying without leak n kT/e = V1^2/(4 V2) at every
    level; bridged V3/V1 = V1^2/(48 L T0^2) with nothing free. floor_v: what the instrument shows of none; three times that counts.
    Holds for a small constriction: a plain resistance in series weakens a bridge's harmonic to what a tunnelling film may have.
    An apparent ideality above 5 is not called: much leak, or a tunnelling film between unlike metals.
    """
    return HarmonicLaw(**json.loads(_core._harmonics_json(first_v, second_v, third_v, floor_v)))


@dataclass(frozen=True)
class Claim:
    """A claim, what it was checked against, the worst error a test found, and the test."""

    claim: str
    checked_against: str
    worst_error: float
    where: str


class Validation(list[Claim]):
    """Rows of show_validation; prints as a table."""

    def __repr__(self) -> str:
        rows = [("claim", "checked against", "worst error", "where")]
        rows += [(c.claim, c.checked_against, f"{c.worst_error:.2g}", c.where) for c in self]
        widths = [max(len(row[k]) for row in rows) for k in range(4)]
        return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows)


def show_validation() -> Validation:
    """What the physics was checked against: claim, reference, worst error, test. A test measures every figure again."""
    from importlib.resources import files

    text = files("weaklink").joinpath("validation.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return Validation(Claim(r["claim"], r["checked_against"], float(r["worst_error"]), r["where"]) for r in rows)
