"""Invented bench logs with a planted truth, for tests and the demo. No contact of them was ever measured."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from .extras import bad_input
from .shop_log import BenchLog, read_log, words

if TYPE_CHECKING:
    import os

    import numpy as np
    from numpy.typing import NDArray

    _Floats = NDArray[np.float64]

KINDS = ("relay", "rotary switch", "slide switch", "push switch", "headphone socket", "phono socket")
# price of an invented part, how its kind's comebacks compare with the mean, its metal, and what a remedy takes
PRICE = (11.0, 24.0, 7.0, 6.0, 9.0, 4.0)
METAL = ("silver alloy", "silver", "silver", "silver", "nickel plated", "gold plated")
PRODUCT = ("deoxidiser", "abrasive", "none", "")
PRONE = (1.3, 0.8, 1.0, 1.2, 1.0, 0.7)
REMEDIES = ("clean", "strip", "replace", "none")


@dataclass(frozen=True)
class Truth:
    """What is planted.

    A contact comes back at the rate ``base_per_year * prone[kind] * per_tenfold**log10(R/limit) * ratio[remedy] * u * shape *
    t**(shape-1)`` where R is its true resistance before the remedy and u the frailty of its amplifier: gamma with mean 1 and
    variance ``frailty_variance``, shared by its contacts. Given the frailty, replacing multiplies the rate by
    ``ratio["replace"]`` (conditional truth). Over amplifiers the ratio is nearer to 1, because frail ones fail early: see
    :meth:`marginal_ratio`. The remedy is chosen by the first reading and by the amplifier, not by the frailty.
    """

    base_per_year: float = 0.03
    per_tenfold: float = 25.0
    frailty_variance: float = 1.2
    shape: float = 1.15
    # against clean, in the order of REMEDIES
    ratio: tuple[float, ...] = (1.0, 0.8, 0.5, 1.5)
    # share of the true resistance that is left; a new part starts anew
    left: tuple[float, ...] = (0.12, 0.05, 0.0, 1.0)
    # spread of the logarithm of what is left
    spread_after: tuple[float, ...] = (0.7, 0.5, 0.4, 0.0)
    damage: tuple[float, ...] = (0.005, 0.04, 0.02, 0.0)
    minutes: tuple[float, ...] = (15.0, 45.0, 35.0, 5.0)
    # spread of the true logarithm between amplifiers, between contacts, and of one reading
    between_jobs: float = 0.8
    between_contacts: float = 1.5
    reading: float = 0.7
    # how much an untouched contact falls on reading it again, because high first readings were picked
    fall: float = 0.31

    @property
    def spread(self) -> float:
        """Standard deviation of the logarithm of a first reading before any is picked."""
        return math.sqrt(self.between_jobs**2 + self.between_contacts**2 + self.reading**2)

    @property
    def picked_from(self) -> float:
        """First readings enter the log from here on, in standard deviations above the median.

        For a normal variable z picked above c the noise in it has the mean ``reading**2/spread * phi(c)/(1-Phi(c))``; a second
        reading has none, so that the geometric mean falls by ``exp`` of that. Solved for ``fall``.
        """
        wanted = -math.log1p(-self.fall) * self.spread / self.reading**2
        low, high = -5.0, 5.0
        for _ in range(80):
            middle = 0.5 * (low + high)
            mills = math.exp(-0.5 * middle**2) / math.sqrt(2 * math.pi) / (0.5 * math.erfc(middle / math.sqrt(2)))
            low, high = (middle, high) if mills < wanted else (low, middle)
        return 0.5 * (low + high)

    def marginal_ratio(self, horizon_years: float = 3.0, *, over: str = "clean", remedy: str = "replace") -> float:
        """Comebacks per contact-year up to the horizon had every contact had ``remedy``, over those had it had ``over``.

        Averaged over amplifiers and over how bad the contacts were: with the gamma frailty integrated out a contact survives
        ``(1 + v H(t))**(-1/v)``. Computed on 200 000 invented contacts.
        """
        import numpy as np

        drawn = _contacts(200_000, 424_242, self)
        time = np.linspace(0.0, horizon_years, 61)
        rates = []
        for name in (remedy, over):
            scale = self.hazard(drawn.kind, drawn.true_ohm) * self.ratio[REMEDIES.index(name)]
            came, years = 0.0, 0.0
            for part in np.array_split(scale, 20):
                survival = self.survival(part[:, None] * time[None, :] ** self.shape)
                came += float(np.sum(1.0 - survival[:, -1]))
                years += float(np.sum(np.trapezoid(survival, time, axis=1)))
            rates.append(came / years)
        return rates[0] / rates[1]

    def survival(self, cumulative: _Floats) -> _Floats:
        """Share without a comeback for a cumulative conditional hazard, over amplifiers."""
        import numpy as np

        if self.frailty_variance == 0.0:
            return np.exp(-cumulative)
        return np.asarray((1.0 + self.frailty_variance * cumulative) ** (-1.0 / self.frailty_variance))

    def hazard(self, kind: NDArray[np.int64], true_ohm: _Floats) -> _Floats:
        """Scale of the cumulative hazard after cleaning an amplifier of mean frailty, 1/year**shape."""
        import numpy as np

        limit = np.array([_limit(k) for k in range(len(KINDS))])[kind]
        return np.asarray(
            self.base_per_year * np.array(PRONE)[kind] * self.per_tenfold ** np.log10(true_ohm / limit), dtype=np.float64
        )


@dataclass(frozen=True)
class _Contacts:
    job: NDArray[np.int64]
    kind: NDArray[np.int64]
    true_ohm: _Floats
    first_ohm: _Floats


def _limit(kind: int) -> float:
    table = words()
    limit = table.in_order_up_to_ohm[table.kinds.index(KINDS[kind])]
    assert limit is not None
    return limit


def _contacts(rows: int, seed: int, truth: Truth) -> _Contacts:
    """Contacts whose first reading was above the limit of their kind, amplifier by amplifier."""
    import numpy as np

    random = np.random.default_rng([seed, 1])
    cut = truth.picked_from * truth.spread
    limits = np.array([_limit(k) for k in range(len(KINDS))])
    parts: list[tuple[NDArray[np.int64], _Floats, _Floats, NDArray[np.int64]]] = []
    have, jobs, size = 0, 0, 60
    while have < rows:
        count = max(200, (rows - have) // 8)
        shared = truth.between_jobs * random.standard_normal((count, 1))
        own = shared + truth.between_contacts * random.standard_normal((count, size))
        first = own + truth.reading * random.standard_normal((count, size))
        kind = random.choice(len(KINDS), p=[0.22, 0.22, 0.16, 0.16, 0.12, 0.12], size=(count, size))
        job = np.broadcast_to(np.arange(jobs, jobs + count)[:, None], (count, size))
        picked = first > cut
        # the median of all contacts lies so far below its limit that the cut is the limit
        base = limits[kind[picked]] * math.exp(-cut)
        parts.append((job[picked], base * np.exp(own[picked]), base * np.exp(first[picked]), kind[picked]))
        have += int(picked.sum())
        jobs += count
    job, true, first, kind = (np.concatenate([part[k] for part in parts])[:rows] for k in range(4))
    return _Contacts(job.astype(np.int64), kind.astype(np.int64), true, first)


@dataclass(frozen=True)
class InventedLog:
    """An invented log: its columns as a reader of CSV would see them, and the truth it was made from."""

    columns: dict[str, list[str]]
    truth: Truth
    seed: int

    @property
    def text(self) -> str:
        """The log as CSV; the note of every row says that it is invented."""
        rows = zip(*self.columns.values(), strict=True)
        return "\n".join([",".join(self.columns), *map(",".join, rows)]) + "\n"

    def write(self, path: str | os.PathLike[str]) -> None:
        """Writes the log as a CSV file."""
        Path(path).write_text(self.text, encoding="utf-8")

    def log(self) -> BenchLog:
        """The log as the reader reads it."""
        return read_log(self.text.encode())


@dataclass(frozen=True)
class Drawn:
    """One invented log as numbers: what :func:`invented_log` writes down."""

    contacts: _Contacts
    remedy: NDArray[np.int64]
    after_ohm: _Floats
    start_day: NDArray[np.int64]
    end_day: NDArray[np.int64]
    came_back: NDArray[np.bool_]
    other_fault: NDArray[np.bool_]
    followed: NDArray[np.bool_]
    minutes: _Floats
    damage: NDArray[np.bool_]


FIRST_DAY, LAST_DAY, CLOSED_ON = 17_532, 19_722, 20_089  # 2018-01-01, 2023-12-31, 2025-01-01
DAYS = 365.25


def draw(rows: int, seed: int, truth: Truth) -> Drawn:
    """Draws an invented log from its truth."""
    import numpy as np

    contacts = _contacts(rows, seed, truth)
    random = np.random.default_rng([seed, 2])
    jobs = int(contacts.job.max()) + 1
    z = np.log(contacts.first_ohm / np.array([_limit(k) for k in range(len(KINDS))])[contacts.kind])
    # bad contacts get the thorough remedies; a technician has habits, job by job
    habit = 1.6 * random.standard_normal(jobs)[contacts.job]
    leaning = 1.5 * (z - z.mean()) / z.std() + habit + 0.7 * random.standard_normal(rows)
    remedy = np.select([leaning < 0.2, leaning < 1.0], [0, 1], 2)
    remedy = np.where(random.random(rows) < 0.10, 3, remedy)
    # what is left: a share of the true resistance, or a new part
    limits = np.array([_limit(k) for k in range(len(KINDS))])[contacts.kind]
    spread = np.array(truth.spread_after)[remedy]
    left = np.where(remedy == 2, 0.25 * limits, np.array(truth.left)[remedy] * contacts.true_ohm)
    noise = np.where(remedy == 3, truth.reading, 0.1)
    after = left * np.exp(spread * random.standard_normal(rows) + noise * random.standard_normal(rows))
    v = truth.frailty_variance
    frailty = random.gamma(1.0 / v, v, jobs) if v > 0.0 else np.ones(jobs)
    scale = truth.hazard(contacts.kind, contacts.true_ohm) * np.array(truth.ratio)[remedy] * frailty[contacts.job]
    years = (random.exponential(1.0, rows) / scale) ** (1.0 / truth.shape)
    start = random.integers(FIRST_DAY, LAST_DAY, jobs)[contacts.job]
    last = np.minimum(CLOSED_ON, start + (DAYS * 6.0 * random.random(jobs)[contacts.job]).astype(np.int64) + 30)
    back = start + np.maximum(1, np.rint(np.minimum(years, 50.0) * DAYS)).astype(np.int64)
    came_back = back <= last
    other = ~came_back & (random.random(rows) < 0.10)
    end = np.where(came_back, back, last)
    followed = random.random(rows) < 0.85
    minutes = np.array(truth.minutes)[remedy] * np.exp(0.4 * random.standard_normal(rows))
    damage = random.random(rows) < np.array(truth.damage)[remedy]
    return Drawn(contacts, remedy, after, start, end, came_back, other, followed, minutes, damage)


def _millivolts(ohm: _Floats) -> list[str]:
    """What one ampere leaves: to the tenth of a millivolt, over the supply above 4 V."""
    return [f">{4:g} V" if r > 4.0 else "<0.5 mV" if r < 5e-4 else f"{1e3 * r:.1f} mV" for r in ohm.tolist()]


def invented_log(rows: int = 5000, seed: int = 0, *, truth: Truth | None = None, untidy: bool = False) -> InventedLog:
    """An invented bench log with a planted truth; the same rows, seed and truth give the same log.

    ``untidy`` puts in what real logs have: blanks, wrong units, negative minutes, dates that run backwards, a second
    currency, rows that stand twice.
    """
    import numpy as np

    if rows < 1:
        raise bad_input("rows", rows, "allowed: 1 or more")
    truth = truth or Truth()
    d = draw(rows, seed, truth)
    kind, remedy = d.contacts.kind.tolist(), d.remedy.tolist()

    def days(numbers: NDArray[np.int64], shown: NDArray[np.bool_] | None = None) -> list[str]:
        text = numbers.astype("datetime64[D]").astype(str).tolist()
        return text if shown is None else [t if s else "" for t, s in zip(text, shown.tolist(), strict=True)]

    letters = "abcdefghij"
    # where an amplifier lived; without an effect
    lived = np.random.default_rng([seed, 4]).choice(3, p=[0.7, 0.15, 0.15], size=int(d.contacts.job.max()) + 1)[d.contacts.job]
    returned = (d.came_back | d.other_fault) & d.followed
    columns = {
        "job": [str(1000 + j) for j in d.contacts.job.tolist()],
        "date": days(d.start_day),
        # a contact's name is its place in the log: no two alike in one amplifier
        "contact": [f"{KINDS[k]} {n // 10 % 100} / {letters[n % 10]}" for n, k in enumerate(kind)],
        "kind": [KINDS[k] for k in kind],
        "metal": [METAL[k] for k in kind],
        "method": ["1 A drop"] * rows,
        "shows": _millivolts(d.contacts.first_ohm),
        "remedy": [REMEDIES[r] for r in remedy],
        "product": [PRODUCT[r] for r in remedy],
        "after": _millivolts(d.after_ohm),
        "minutes": [f"{m:.0f}" for m in d.minutes.tolist()],
        "part_cost": [f"{PRICE[k]:.2f}" if r == 2 else "" for k, r in zip(kind, remedy, strict=True)],
        "damage": ["yes" if x else "no" for x in d.damage.tolist()],
        "back_on": days(d.end_day, returned),
        "back_why": [
            ("other fault" if o else "same contact") if b else ""
            for o, b in zip(d.other_fault.tolist(), returned.tolist(), strict=True)
        ],
        "last_known_good": days(d.end_day, d.followed & ~returned),
        "environment": np.array(["dry", "smoke", "damp"])[lived].tolist(),
        "note": ["invented"] * rows,
    }
    if untidy:
        _untidy(columns, seed)
    return InventedLog(columns, truth, seed)


def _untidy(columns: dict[str, list[str]], seed: int) -> None:
    """Spoils about three rows in a hundred, each in one way."""
    import numpy as np

    rows = len(columns["job"])
    random = np.random.default_rng([seed, 3])
    spoiled = random.permutation(rows)[: max(8, rows // 34)].tolist()
    ways = [("after", "")] * 18 + [
        ("shows", ""),
        ("shows", "12 mA"),
        ("kind", "relais"),
        ("minutes", "-20"),
        ("back_on", "2009-05-01"),
        ("part_cost", "12.00 GBP"),
        ("shows", "85"),
    ]
    costs = [k for k, cost in enumerate(columns["part_cost"]) if cost]
    for k in costs[:1]:
        columns["part_cost"][k] += " EUR"
    for k, row in enumerate(spoiled):
        name, cell = ways[k % len(ways)]
        columns[name][row] = cell
    for row in spoiled[:4]:
        for cells in columns.values():
            cells.append(cells[row])
