"""The answer to a job sheet as frozen objects.

Every number comes from the compiled core; these classes only hold it, print it and turn it into tables.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from . import _core
from .extras import bad_input

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas
    import xarray

    from ._core import Job


@dataclass(frozen=True, slots=True)
class Headline:
    """One channel in one line: ``says`` who, ``because`` of what."""

    channel: str
    says: str
    because: str


@dataclass(frozen=True, slots=True)
class Bound:
    """The bound that clears a contact: what it is from (``by``: "the millivolts across it", "its largest ohms", "all contacts
    of the route together"), on which route, the most that the contact can do there (of a measured loss the least it must do)
    and what is heard, both as a ratio to the tone or in dB (``unit``).
    """

    by: str
    route: str
    at_most: float
    needed: float
    unit: str


@dataclass(frozen=True, slots=True)
class Finding:
    """What the evidence says about one contact and channel.

    kind: proved, able to account for it, cannot be the sole cause, cannot unless it jumps (the same, for a steady contact: a meter
    shows only the mean of one that jumps fast), cleared, in order, not settled.
    ceiling: most residue it can cause (bound T8 by the millivolts across it, else T1 at the upper end of its reading, any
    chatter), a ratio; None: no bound.
    loss_db: loss at 1 kHz at both ends of its reading, dB. resistance_ohm: those ends; an upper None is unbounded.
    by_hypothesis: largest residue by film law in a resistive loop, and by chatter between zero and the upper end, as ratios.
    impossible_below_ohm: below this, steady or within its swing, it cannot do what is heard. impossible_below_v: volts across it, as
    loud as it was heard, below which it cannot whatever it does (bound T8).
    bound: the bound that clears it; None where none does, or routes, a bridge or its kind decide. bound_together: the bound of
    all contacts of that route at once, where it clears them all.
    """

    contact: str
    channel: str
    kind: str
    ceiling: float | None
    loss_db: tuple[float | None, float | None]
    resistance_ohm: tuple[float | None, float | None]
    dry: bool | None
    in_order: bool | None
    by_hypothesis: tuple[tuple[str, float], ...]
    impossible_below_ohm: float | None
    impossible_below_v: float | None
    bound: Bound | None
    bound_together: Bound | None
    reasons: tuple[str, ...]
    decided_by: str
    in_order_up_to_ohm: float | None
    in_order_source: str | None
    probability: float | None
    probability_se: float | None
    probability_by_hypothesis: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class NextStep:
    """One test: minutes it takes, bits it decides, whether the lid stays on, how to read it."""

    what: str
    contact: str | None
    channel: str
    minutes: float
    bits: float
    lid_on: bool
    reads_as: str


@dataclass(frozen=True, slots=True)
class Rival:
    """Something that is no contact and still open, with the test that decides."""

    who: str
    channels: tuple[str, ...]
    test: str


@dataclass(frozen=True, slots=True)
class Typical:
    """A typical value that stood in for a number; whether half or twice of it changes a finding (None: not tried)."""

    place: str
    name: str
    means: str
    changes_the_answer: bool | None


@dataclass(frozen=True, slots=True)
class Odds:
    """How likely one suspect is at fault on a channel, alone or with another, with its Monte Carlo standard error."""

    who: str
    probability: float
    probability_se: float
    by_hypothesis: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class ChannelOdds:
    """How likely everything is on a channel with a symptom, likeliest first.

    something_else: that it is nothing in the sheet. two_faults: that there are two. moved_by: the assumption that moves the
    first one's probability most, from moved_from to moved_to.
    """

    channel: str
    odds: tuple[Odds, ...]
    something_else: float
    something_else_se: float
    two_faults: float
    moved_by: str | None
    moved_from: float | None
    moved_to: float | None

    def of(self, who: str) -> float:
        """Probability of a suspect by its name; 0.0 for one that is excluded."""
        return next((one.probability for one in self.odds if one.who == who), 0.0)


@dataclass(frozen=True, slots=True)
class Assessment:
    """The answer to one job sheet."""

    title: str
    headlines: tuple[Headline, ...]
    why: tuple[str, ...]
    findings: tuple[Finding, ...]
    next_steps: tuple[NextStep, ...]
    rivals: tuple[Rival, ...]
    typical: tuple[Typical, ...]
    assumes: tuple[str, ...]
    cautions: tuple[str, ...]
    clashes: tuple[str, ...]
    version: str
    typical_version: int
    source_json: str
    odds: tuple[ChannelOdds, ...]
    draw_count: int
    seed: int
    job: Job

    @property
    def draws(self) -> xarray.Dataset:
        """Every draw of the joint state with its weight, drawn again from the seed (the same bits); needs xarray.

        Dimension ``draw``; ``channel``, ``suspect``, ``second`` (of two faults, else the same), ``hypothesis`` by name;
        ``resistance_ohm`` (zero voltage; NaN for what is no contact), ``keenness`` of the listener (standard deviations duller
        than the median), ``frit_v``, ``residue`` and ``loss_db`` on the first bad route, ``weight`` (sums to one less
        ``something_else`` on each channel). Raises ModuleNotFoundError without xarray.
        """
        return _draws(self.job, self.draw_count, self.seed)

    @property
    def headline(self) -> dict[str, str]:
        """Channel to sentence."""
        return {line.channel: line.says for line in self.headlines}

    def finding(self, contact: str, channel: str) -> Finding:
        """The finding on one contact and channel; KeyError if there is none."""
        for found in self.findings:
            if found.contact == contact and found.channel == channel:
                return found
        raise KeyError((contact, channel))

    def to_json(self) -> str:
        """Everything, as JSON text."""
        return self.source_json

    def to_frame(self) -> pandas.DataFrame:
        """One row per contact and channel; needs pandas."""
        import pandas

        rows = [
            {
                "contact": f.contact,
                "channel": f.channel,
                "finding": f.kind,
                "low_ohm": f.resistance_ohm[0],
                "high_ohm": f.resistance_ohm[1],
                "dry": f.dry,
                "in_order": f.in_order,
                "ceiling": f.ceiling,
                "loss_low_db": f.loss_db[0],
                "loss_high_db": f.loss_db[1],
                "impossible_below_ohm": f.impossible_below_ohm,
                "impossible_below_v": f.impossible_below_v,
                "bound_by": f.bound.by if f.bound else None,
                "bound_at_most": f.bound.at_most if f.bound else None,
                "bound_unit": f.bound.unit if f.bound else None,
                "decided_by": f.decided_by,
            }
            for f in self.findings
        ]
        return pandas.DataFrame(rows)

    def _repr_html_(self) -> str:
        from .report import html

        return html(self)

    def __str__(self) -> str:
        from .report import text

        return text(self)


def _draws(job: Job, draws: int, seed: int) -> xarray.Dataset:
    try:
        import xarray
    except ModuleNotFoundError as error:
        raise ModuleNotFoundError(f"{error}: pip install 'weaklink[notebooks]' brings it", name=error.name) from None
    import numpy as np

    hypotheses = np.array(_core._hypotheses())
    parts: dict[str, list[Any]] = {}
    for channel, suspects, columns in _core._draws(job, draws, seed):
        names = np.array(suspects)
        columns = {**columns, "suspect": names[columns["suspect"]], "second": names[columns["second"]]}
        columns["hypothesis"] = hypotheses[columns["hypothesis"]]
        columns["channel"] = np.full(len(columns["weight"]), channel)
        for name, values in columns.items():
            parts.setdefault(name, []).append(values)
    arrays = {name: ("draw", np.concatenate(values)) for name, values in parts.items()}
    return xarray.Dataset(arrays, attrs={"seed": seed, "draws": draws, "version": _core.__version__})


def _finding(row: dict[str, Any], data: dict[str, Any]) -> Finding:
    return Finding(
        contact=data["contact"],
        channel=data["channel"],
        kind=data["kind"],
        ceiling=data["ceiling"],
        loss_db=(data["loss_db"][0], data["loss_db"][1]),
        resistance_ohm=(data["resistance_ohm"][0], data["resistance_ohm"][1]),
        dry=data["dry"],
        in_order=data["in_order"],
        by_hypothesis=tuple(sorted(data["by_hypothesis"].items())),
        impossible_below_ohm=data["impossible_below_ohm"],
        impossible_below_v=data["impossible_below_v"],
        bound=Bound(**data["bound"]) if data["bound"] else None,
        bound_together=Bound(**data["bound_together"]) if data["bound_together"] else None,
        reasons=tuple(data["reasons"]),
        decided_by=data["decided_by"],
        in_order_up_to_ohm=row["in_order_up_to_ohm"],
        in_order_source=row["in_order_source"],
        probability=data["probability"],
        probability_se=data["probability_se"],
        probability_by_hypothesis=tuple(sorted(data["probability_by_hypothesis"].items())),
    )


def assess(
    job: Job, *, draws: int = 100_000, seed: int = 0, progress: Callable[[int], object] | None = None
) -> Assessment:
    """Says what the evidence of a job sheet leaves.

    job: what :func:`load_job` gives. draws: draws of the joint state behind the probabilities, 0 for findings without them.
    seed: the same seed gives the same bits, whatever the number of threads. progress: called now and then with the number of
    blocks done. Raises InputError where a route cannot be computed, where the sheet's priors exclude everything, for draws or a
    seed that is no whole number from zero on.
    """
    source = _core._assess_json(job, draws, seed, progress)
    data = json.loads(source)
    return Assessment(
        title=data["title"],
        headlines=tuple(Headline(**line) for line in data["headlines"]),
        why=tuple(data["why"]),
        findings=tuple(_finding(row, found) for row in data["rows"] for found in row["findings"]),
        next_steps=tuple(NextStep(**step) for step in data["next_steps"]),
        rivals=tuple(Rival(r["who"], tuple(r["channels"]), r["test"]) for r in data["rivals"]),
        typical=tuple(Typical(**used) for used in data["typical"]),
        assumes=tuple(data["assumes"]),
        cautions=tuple(data["cautions"]),
        clashes=tuple(data["clashes"]),
        version=data["version"],
        typical_version=data["typical_version"],
        source_json=source,
        odds=tuple(_channel_odds(one) for one in data["odds"]),
        draw_count=draws,
        seed=seed,
        job=job,
    )


def _channel_odds(data: dict[str, Any]) -> ChannelOdds:
    odds = tuple(Odds(**{**one, "by_hypothesis": tuple(sorted(one["by_hypothesis"].items()))}) for one in data["odds"])
    return ChannelOdds(**{**data, "odds": odds})


@dataclass(frozen=True, slots=True)
class Limit:
    """Limits of one contact, ohm; None where a gigohm does not reach the target, or nothing bounds it.

    residue_ohm: below it (across the signal, role "shunt": above it) the wanted residue is impossible whatever the contact
    does (bound T1, any chatter). loss_ohm: a steady resistance of so much is the wanted loss at 1 kHz; crosstalk_ohm: one
    in a shared return is the wanted crosstalk. together_ohm: if every contact of the route has its own at once, the wanted
    residue is impossible for all of them together (bound T2). playing_v: below this true-rms display across it, while 1 kHz
    plays with playing_load_v at its section's load, the wanted residue is impossible whatever its ohms (bound T8; accuracy of
    the typical "signal millivolts" counted against it, None where it is too coarse); playing_ratio: the same at any level, volts
    across it over volts at that load, no accuracy counted. stop_ohm: the tightest of residue, loss and crosstalk. as_movement: residue_ohm limits largest
    minus smallest reading, because a contact that is usual for its kind has more. dry_box_v, one_ampere_v: below this
    display a contact that does not jump is below stop_ohm for sure, accuracy and a rectifying film counted against it; None where the method is too
    coarse or not dry there, and one_ampere_v where a contact does not stand before a loudspeaker. With as_movement one_ampere_v is the most that
    the display may move while tapped, and proves nothing of the value. hand_meter_ohm: from this display on it is above stop_ohm for sure.
    """

    contact: str
    section: str | None
    role: str
    loop_ohm: float | None
    residue_ohm: float | None
    loss_ohm: float | None
    crosstalk_ohm: float | None
    together_ohm: float | None
    playing_v: float | None
    playing_ratio: float | None
    playing_load_v: float | None
    stop_ohm: float | None
    as_movement: bool
    in_order_up_to_ohm: float | None
    dry_box_v: float | None
    one_ampere_v: float | None
    hand_meter_ohm: float | None


@dataclass(frozen=True, slots=True)
class TypicalLimit:
    """A typical value that stood in for a number; moves_by: factor by which half or twice of it moves a stop_ohm."""

    place: str
    name: str
    means: str
    moves_by: float | None


@dataclass(frozen=True, slots=True)
class Limits:
    """How many ohms are too many at each place, for a residue (ratio), a loss (dB) and a crosstalk (dB, below zero).

    inaudible_up_to_db: where the residue is what no model of hearing lets through, the level at the ear it holds up to.
    playing_output_v: level at the end of every route that the rows' playing_v is for, V rms.
    """

    title: str
    residue: float
    inaudible_up_to_db: float | None
    loss_db: float
    crosstalk_db: float
    rows: tuple[Limit, ...]
    typical: tuple[TypicalLimit, ...]
    playing_output_v: float
    hand_meter: str
    version: str
    typical_version: int
    source_json: str

    def to_json(self) -> str:
        """Targets, rows and typical values, as JSON text."""
        return self.source_json

    def to_frame(self) -> pandas.DataFrame:
        """One row per contact; needs pandas."""
        import pandas

        return pandas.DataFrame([asdict(row) for row in self.rows])

    def __str__(self) -> str:
        from .report import limits_text

        return limits_text(self)


def limits(
    job: Job,
    *,
    residue: float | str = 1e-3,
    loss_db: float = 0.5,
    crosstalk_db: float = -40.0,
    level_db: float | None = None,
) -> Limits:
    """Says how many ohms each contact of a job may have; no readings are needed.

    residue: target as a ratio to the tone, or "inaudible": below the lowest published threshold in quiet, wherever it
    stands in the spectrum and whatever plays, at any level at the ear up to level_db (dB SPL, 20 to 110; default the loudest
    that the job's listenings speak of, else 80); a median young listener, half of them hear better. loss_db: target at 1 kHz, dB. crosstalk_db: target at 1 kHz through a shared return, dB, below zero
    (default: DIN 45500-6). InputError for a target out of its range.
    """
    if isinstance(residue, str) and residue != "inaudible":
        raise bad_input("residue", repr(residue), 'allowed: a ratio above zero, or "inaudible"')
    if not isinstance(residue, str) and level_db is not None:
        raise bad_input("level_db", level_db, 'allowed: with residue="inaudible", not beside a number')
    wanted = None if isinstance(residue, str) else residue
    source = _core._limits_json(job, wanted, loss_db, crosstalk_db, level_db)
    data = json.loads(source)
    return Limits(
        title=job.title,
        **data["targets"],
        rows=tuple(Limit(**row) for row in data["rows"]),
        typical=tuple(TypicalLimit(**used) for used in data["typical"]),
        playing_output_v=data["playing_output_v"],
        hand_meter=data["hand_meter"],
        version=data["version"],
        typical_version=data["typical_version"],
        source_json=source,
    )
