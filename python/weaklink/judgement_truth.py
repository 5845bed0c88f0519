"""The planted-truth check of the judgement: ``python -m weaklink.judgement_truth [--amplifiers 2000] [--draws 20000]``.

Random amplifiers with a planted fault are written as job sheets, read and assessed like any other. The table says how often the
guilty one is named first, how often it is declared innocent, and whether the probabilities are what they say; once with the
judgement's own priors as the truth, and once with each misspecification made on purpose.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from .judgement_invented import World, invent
from .results import assess

if TYPE_CHECKING:
    from collections.abc import Callable

INNOCENT = ("cannot be the sole cause", "cleared", "in order")
# says nothing of a contact that jumps; of any other it is as wrong
ONLY_STEADY = "cannot unless it jumps"
# the evidence separates where the leader has this probability: the judgement itself says that it is sure; and the same for less
SURE, LIKELY = 0.9, 0.8
DECILES = 10
# amplifiers of a decile below which their scatter alone is not relied on
FEW = 50
WORLDS = {
    "as assumed": World(),
    "every film rectifies": World(law="rectifying"),
    "every film tunnels": World(law="tunnelling"),
    "circuit values off by 20 %": World(wrong_by=0.2),
    "sound contacts near their limit": World(sound=(0.5, 2.0)),
}


@dataclass
class Told:
    """What was made of amplifiers: sums over channels with a symptom."""

    amplifiers: int = 0
    channels: int = 0
    first: int = 0
    innocent: list[str] = field(default_factory=list)
    leaders: list[tuple[float, bool]] = field(default_factory=list)
    alone: int = 0
    of_two: int = 0
    of_two_cleared: int = 0
    clashes: int = 0
    # probability, whether it was that one, which amplifier
    odds: list[tuple[float, bool, int]] = field(default_factory=list)

    def add(self, other: Told) -> None:
        """Adds what another run found."""
        for name in ("amplifiers", "channels", "first", "alone", "of_two", "of_two_cleared", "clashes"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.innocent += other.innocent
        self.leaders += other.leaders
        self.odds += other.odds

    def sure(self, least: float = SURE) -> tuple[int, int, float]:
        """Channels whose leader has so much probability, how many of them name the guilty one, and what was said on average."""
        told = [one for one in self.leaders if one[0] >= least]
        return len(told), sum(hit for _, hit in told), sum(p for p, _ in told) / max(len(told), 1)

    def deciles(self) -> list[tuple[int, float, float, float]]:
        """Number, mean probability, observed share, standard error of that, for every decile of the probabilities.

        What is told of one amplifier goes together: one cause behind both channels is judged twice, and of two suspects of a channel one
        alone is mostly guilty. The error is that of sums over amplifiers (Liang and Zeger 1986 [memory]), not of so many independent cases.
        """
        rows = []
        for k in range(DECILES):
            inside = [one for one in self.odds if k <= one[0] * DECILES < k + 1 or (k == DECILES - 1 and one[0] >= 1.0)]
            if inside:
                n = len(inside)
                off: dict[int, float] = {}
                for p, hit, amplifier in inside:
                    off[amplifier] = off.get(amplifier, 0.0) + hit - p
                square = sum(d * d for d in off.values())
                # few amplifiers do not know their own scatter: not less than of independent cases
                if len(off) < FEW:
                    square = max(square, sum(p * (1.0 - p) for p, _, _ in inside))
                error = math.sqrt(max(square, 1e-12)) / n
                rows.append((n, sum(p for p, _, _ in inside) / n, sum(hit for _, hit, _ in inside) / n, error))
        return rows

    def uncalibrated(self) -> list[str]:
        """Deciles that are off by more than the larger of 3 points and 2.5 standard errors."""
        off = [(n, mean, seen) for n, mean, seen, error in self.deciles() if abs(seen - mean) > max(0.03, 2.5 * error)]
        return [f"{100 * mean:.0f} % seen {100 * seen:.0f} % ({n})" for n, mean, seen in off]


def told_of(seed: int, world: World, draws: int) -> Told:
    """One amplifier, judged."""
    found = Told()
    amplifier = invent(seed, world)
    if amplifier is None:
        return found
    answer = assess(amplifier.job(), draws=draws, seed=seed)
    found.amplifiers = 1
    found.clashes = bool(answer.clashes)
    for channel in answer.odds:
        guilty = amplifier.guilty[channel.channel]
        odds = [(one.who, one.probability) for one in channel.odds] + [("something else", channel.something_else)]
        leader, p = max(odds, key=lambda one: one[1])
        found.channels += 1
        found.first += leader in guilty
        found.leaders.append((min(p, 1.0), leader in guilty))
        found.odds += [(min(p, 1.0), who in guilty, seed) for who, p in odds]
        for one in answer.findings:
            if one.channel == channel.channel and one.contact in guilty:
                way = amplifier.way[channel.channel]
                if len(guilty) > 1:
                    # with another fault beside it, that it cannot be the only one may be true
                    found.of_two += 1
                    found.of_two_cleared += one.kind in ("cleared", "in order")
                    continue
                found.alone += 1
                if one.kind in INNOCENT or (one.kind == ONLY_STEADY and way != "chatter"):
                    found.innocent.append(f"seed {seed}: {one.contact} {one.channel} ({way}): {one.kind}, {one.decided_by}")
    return found


def judged(
    amplifiers: int, world: World, *, draws: int = 20_000, seed: int = 0, workers: int | None = None, progress: Callable[[int], object] | None = None
) -> Told:
    """Invents and judges so many amplifiers; those on which nobody hears anything wrong are drawn again. progress: called with their number so far."""
    total = Told()
    work = partial(told_of, world=world, draws=draws)
    if workers == 1:
        while total.amplifiers < amplifiers:
            one = work(seed)
            total.add(one)
            seed += 1
            if progress and one.amplifiers:
                progress(total.amplifiers)
        return total
    with ProcessPoolExecutor(workers or os.cpu_count()) as pool:
        while total.amplifiers < amplifiers:
            batch = range(seed, seed + max(amplifiers - total.amplifiers, 8))
            for one in pool.map(work, batch, chunksize=4):
                if total.amplifiers < amplifiers:
                    total.add(one)
                    if progress and one.amplifiers:
                        progress(total.amplifiers)
            seed = batch.stop
    return total


def report(name: str, found: Told) -> str:
    """The table of one world."""

    def share(part: int, whole: int) -> str:
        return f"{100 * part / whole:.1f} %" if whole else "-"

    def sure(least: float) -> str:
        count, hits, said = found.sure(least)
        return f"{share(hits, count)} of the {count} with a leader at {100 * least:.0f} % or more (said {100 * said:.1f} %)"

    lines = [
        f"{name}: {found.amplifiers} invented amplifiers, {found.channels} channels with a symptom",
        f"  guilty named first: {share(found.first, found.channels)} of all, {sure(SURE)} that the evidence separates (aim 95 %), {sure(LIKELY)}",
        f"  guilty alone and declared innocent by a rule: {len(found.innocent)} of {found.alone} (aim 0)",
        f"  guilty beside another fault and cleared by a route or a reading: {found.of_two_cleared} of {found.of_two}",
        f"  sheets with a contradiction reported: {found.clashes}",
        "  probability  said  seen  +-  cases",
    ]
    for k, (n, mean, seen, error) in enumerate(found.deciles()):
        lines.append(f"  decile {k + 1:2d}   {100 * mean:5.1f} {100 * seen:5.1f} {100 * error:4.1f} {n:6d}")
    off = found.uncalibrated()
    lines.append(f"  off by more than 3 points and 2.5 standard errors: {', '.join(off) if off else 'none'}")
    return "\n".join(lines + [f"    {one}" for one in found.innocent[:8]]) + "\n"


def tell(name: str, wanted: int, done: int) -> None:
    """Says on the error stream how far a long run has come, twenty times in all."""
    if done % max(wanted // 20, 1) == 0 and done < wanted:
        sys.stderr.write(f"{name}: {done} of {wanted}\n")
        sys.stderr.flush()


def main(arguments: list[str] | None = None) -> int:
    """Runs the check; exit status 1 if an aim is missed in the world that was assumed."""
    parser = argparse.ArgumentParser(prog="python -m weaklink.judgement_truth", description=__doc__.split("\n", 1)[0])
    parser.add_argument("--amplifiers", type=int, default=2000)
    parser.add_argument("--draws", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--world", choices=list(WORLDS), help="one of them alone")
    options = parser.parse_args(arguments)
    missed = False
    for name, world in WORLDS.items():
        if options.world in (None, name):
            told = partial(tell, name, options.amplifiers)
            found = judged(options.amplifiers, world, draws=options.draws, seed=options.seed, progress=told)
            sys.stdout.write(report(name, found))
            sys.stdout.flush()
            if name == "as assumed":
                count, hits, _ = found.sure()
                missed = hits < 0.95 * count or bool(found.innocent) or bool(found.uncalibrated())
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
