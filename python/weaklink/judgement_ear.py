"""A listener with an ear of its own, who writes down what is noticed of an invented fault, and what makes it go and come."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from . import _core

if TYPE_CHECKING:
    import numpy as np

PRIOR = {name: default for name, default, *_ in _core._priors()}
# the lowest published threshold, ISO 389-7 free field at 3150 Hz, -6.0 dB SPL [seen], under a tone of 80 dB SPL
LEAST_RESIDUE = 10.0 ** ((-6.0 - 80.0) / 20.0)
COMES_BACK = ("overnight", "when tapped", "when turned")
HUM_HEARD = 0.9
PLAINLY, LEAST_LOSS_DB, PLAIN_LOSS_DB, SILENT_DB = 10.0, 0.5, 1.0, 20.0


def normal_cdf(x: float) -> float:
    """Standard normal distribution function."""
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


class Ear:
    """One listener: how keen, and what is written down of what there is to hear."""

    KINDS = (("grit", "grit"), ("crackle", "crackle"), ("loss", "quieter"), ("drops", "comes and goes"), ("dull", "dull"), ("hum", "hum"))

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        keen = float(rng.normal())
        self.residue = max(PRIOR["noticed"] * PRIOR["hearing_spread"] ** keen, 1.0)
        self.loss = max(2.0 * 1.4**keen, 1.0)

    def notes(self, effect: dict[str, float]) -> list[dict[str, str]]:
        """Symptoms as the sheet has them: what, strength, sometimes a figure."""
        rng, found = self.rng, []
        silent = effect["loss"] >= SILENT_DB
        for kind, what in self.KINDS:
            size = effect[kind]
            if silent and kind not in ("loss", "hum"):
                continue
            if kind == "hum":
                if size > 0.0 and rng.random() < HUM_HEARD:
                    found.append((10.0, {"what": what, "strength": "plain"}))
                continue
            ratio = kind in ("grit", "crackle")
            least, plain = (LEAST_RESIDUE, PLAINLY * LEAST_RESIDUE) if ratio else (LEAST_LOSS_DB, PLAIN_LOSS_DB)
            times, spread = (self.residue, 1.3) if ratio else (self.loss, 1.15)
            def over(level: float, size: float = size, times: float = times, spread: float = spread) -> float:
                return normal_cdf(math.log(size / (level * times)) / math.log(spread)) if size >= level else 0.0

            u = rng.random()
            if u >= over(least):
                continue
            note = {"what": what, "strength": "plain" if u < over(plain) else "slight"}
            if kind == "loss":
                note["what"] = "dead" if size + rng.normal() >= SILENT_DB else "quieter"
            if kind == "grit" and rng.random() < 0.2:
                value = size * math.exp(math.log(1.15) * rng.normal())
                # what a distortion meter cannot show is not written down
                if value <= 1.0:
                    note["residue"] = f"{100 * value:.6g} % +- {15 * value:.6g} %"
            if kind == "loss" and note["what"] == "quieter" and rng.random() < 0.2:
                note["by"] = f"{max(size + 0.2 * rng.normal(), 0.05):.6g} dB +- 0.3 dB"
            found.append((size / least, note))
        found.sort(key=lambda one: -one[0])
        return [note for k, (_, note) in enumerate(found) if k == 0 or rng.random() >= PRIOR["unwritten"]]


# cures where the cause is nothing in the sheet
BY_CHANCE = dict.fromkeys(("turned up", "switch worked", "tapped", "warmed up", "meter applied", *COMES_BACK), 0.05) | {"in pauses": 0.5}


def somewhere_else(what: str, rng: np.random.Generator) -> dict[str, str]:
    """What is written down of a fault that is nothing in the sheet: as large as a stage's may be."""
    note = {"what": what, "strength": str(rng.choice(["plain", "slight"]))}
    if what == "grit" and rng.random() < 0.2:
        value = 1e-4 * 1e3 ** float(rng.random())
        note["residue"] = f"{100 * value:.6g} % +- {15 * value:.6g} %"
    if what == "quieter" and rng.random() < 0.2:
        note["by"] = f"{0.5 * 40.0 ** float(rng.random()):.6g} dB +- 0.3 dB"
    return note


def cured(what: str, cures: dict[str, float], rng: np.random.Generator) -> str:
    """Lines of the sheet on what makes a symptom go, come, and stay in a pause; not everything is tried."""
    pauses = HUM_HEARD if what == "hum" else cures["in pauses"]
    helped = [word for word, chance in cures.items() if word != "in pauses" and rng.random() < PRIOR["tried"] * chance]
    away = [word for word in helped if word not in COMES_BACK]
    back = [word for word in helped if word in COMES_BACK]
    text = f"goes_away = {away}\n" if away else ""
    text += f"comes_back = {back}\n" if back else ""
    if rng.random() < PRIOR["tried"]:
        text += f'in_pauses = "{"yes" if rng.random() < pauses else "no"}"\n'
    return text
