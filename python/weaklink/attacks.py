"""Attacks on the bounds over random invented circuits: ``python -m weaklink.attacks``.

With ``--figure src/response/attacks.svg`` it draws the figure on the page of the bounds.

The search of :func:`weaklink.try_ceiling` on every kind of bound that it knows. The tests attack the others too (two tones, loss,
millivolts), with searches that share no code with the library: ``pytest tests/python -k "attack or music"`` prints their table.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from . import Chain, Contact, InputError, Lead, Load, Section, Source, Stage, try_ceiling

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from typing import Literal

    _Role = Literal["signal", "return", "shunt"]

TONE_HZ = 1000.0


def _circuit(draw: random.Random, name: str, roles: Sequence[_Role], first: bool) -> tuple[Section, dict[str, tuple[float, float]]]:
    """A section that is reactive within a few harmonics of 1 kHz, and ends for its contacts' jumps."""

    def power(low: float, high: float) -> float:
        return float(10.0 ** draw.uniform(low, high))

    omega = 2.0 * math.pi * TONE_HZ
    source_ohm = power(0.0, 3.5)
    load_ohm = source_ohm * power(-0.7, 1.7)
    path: list[Contact | Lead] = [Lead(capacitance_f=1.0 / (omega * source_ohm * power(0.0, 2.0)))]
    ends = {}
    for k, role in enumerate(roles):
        contact = Contact(f"{name}{k}", resistance_ohm=math.inf if role == "shunt" else 0.0, role=role)
        path.insert(0 if k == 1 else len(path), contact)
        node_ohm = source_ohm * load_ohm / (source_ohm + load_ohm)
        seen = node_ohm if role == "shunt" else source_ohm + load_ohm
        low, swing = seen * power(-3.0, 0.0), seen * power(-1.5, 0.3)
        ends[contact.name] = (node_ohm**2 / (low + swing), node_ohm**2 / low) if role == "shunt" else (low, low + swing)
    source = Source(emf_v=1.0, resistance_ohm=source_ohm, inductance_h=source_ohm / omega / power(0.0, 2.0)) if first else None
    load = Load(resistance_ohm=load_ohm, capacitance_f=1.0 / (omega * load_ohm * power(0.0, 2.0)))
    return Section(name, source=source, path=path, load=load), ends


def _chain(draw: random.Random, equalisation: Literal["flat", "riaa"]) -> tuple[Chain, dict[str, tuple[float, float]]]:
    (first, ends), (second, more) = _circuit(draw, "a", ["signal"], True), _circuit(draw, "b", ["signal"], False)
    stage = Stage("stage", gain_db=6.0, equalisation=equalisation, output_resistance_ohm=0.3 * second.load.resistance_ohm)
    return Chain([first, stage, second]), {**ends, **more}


KINDS: dict[str, tuple[int, Callable[[random.Random], tuple[Section | Chain, dict[str, tuple[float, float]]]]]] = {
    "T1, harmonics": (1, lambda draw: _circuit(draw, "a", ["signal"], True)),
    "T1, any chatter": (2, lambda draw: _circuit(draw, "a", ["signal"], True)),
    "T1, across the signal": (1, lambda draw: _circuit(draw, "a", ["shunt"], True)),
    "T2, two contacts": (1, lambda draw: _circuit(draw, "a", ["signal", "return"], True)),
    "T4, two sections": (1, lambda draw: _chain(draw, "flat")),
    "T4, through an equaliser": (1, lambda draw: _chain(draw, "riaa")),
}


def shares(circuits: int = 12, *, trials: int = 20, seed: int = 0) -> dict[str, list[float]]:
    """Share of the bound that the best of ``trials`` climbs reaches, one per circuit that has a bound, smallest first.

    circuits: tried of every kind; seed: the same seed gives the same circuits and searches. Raises InputError.
    """
    found: dict[str, list[float]] = {}
    for kind, (periods, build) in KINDS.items():
        draw = random.Random(f"{kind} {seed}")
        found[kind] = []
        for _ in range(circuits):
            system, ends = build(draw)
            try:
                best = try_ceiling(system, ends, trials=trials, seed=seed, frequency_hz=TONE_HZ, periods=periods, samples=15 if periods == 1 else 27)
            except InputError as error:
                # where the contacts can do too much there is no bound to attack
                if "no bound" not in str(error):
                    raise
                continue
            found[kind].append(best.ratio)
        found[kind].sort()
    return found


def figure(found: Mapping[str, Sequence[float]]) -> str:
    """The shares as a drawing in SVG, in the colour of the text around it: a dot for a circuit, a bar for the median."""
    left, right, top, row_height, least = 190, 600, 12, 26, 0.5
    bottom = top + row_height * len(found)

    def x(share: float) -> str:
        return f"{left + (max(share, least) - least) / (1.0 - least) * (right - left):.1f}"

    lines = [
        "<div>",
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 {bottom + 44}" width="640" role="img" font-size="13" fill="currentColor">',
        "<title>How near the best contacts that a search found come to the bounds; none passes</title>",
        f'<line x1="{x(1.0)}" y1="{top - 8}" x2="{x(1.0)}" y2="{bottom}" stroke="currentColor" stroke-width="2"></line>',
    ]
    for row, (kind, reached) in enumerate(found.items()):
        y = top + row_height * row + row_height // 2
        lines.append(f'<text x="{left - 12}" y="{y + 4}" text-anchor="end">{kind}</text>')
        lines += [f'<circle cx="{x(one)}" cy="{y}" r="4" fill="#a3431c" fill-opacity="0.6"></circle>' for one in reached]
        if reached:
            middle = x(reached[len(reached) // 2])
            lines.append(f'<line x1="{middle}" y1="{y - 9}" x2="{middle}" y2="{y + 9}" stroke="currentColor" stroke-width="2"></line>')
    for tick in (0.5, 0.6, 0.7, 0.8, 0.9, 1.0):
        lines.append(f'<text x="{x(tick)}" y="{bottom + 16}" text-anchor="middle">{tick:g}</text>')
    words = "share of the bound that the best contact found reaches"
    lines += [f'<text x="{(left + right) // 2}" y="{bottom + 36}" text-anchor="middle">{words}</text>', "</svg>", "</div>"]
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command; returns its exit status: 1 if a bound was passed."""
    parser = argparse.ArgumentParser(prog="python -m weaklink.attacks", description="Attacks the bounds on random invented circuits.")
    parser.add_argument("--circuits", type=int, default=12, metavar="N", help="of every kind, default 12")
    parser.add_argument("--trials", type=int, default=20, metavar="N", help="climbs per circuit, default 20")
    parser.add_argument("--seed", type=int, default=0, metavar="N")
    parser.add_argument("--figure", metavar="FILE.svg", help="also draw them")
    options = parser.parse_args(arguments)
    if options.circuits < 1 or options.trials < 1:
        sys.stderr.write("circuits, trials: allowed: one or more\n")
        return 2
    print(f"{'bound':<26} bounded  least   median  most")
    most = 0.0
    every = shares(options.circuits, trials=options.trials, seed=options.seed)
    for kind, found in every.items():
        if not found:
            print(f"{kind:<26} {0:7d}")
            continue
        print(f"{kind:<26} {len(found):7d}  {found[0]:.3f}  {found[len(found) // 2]:.3f}   {found[-1]:.6f}")
        most = max(most, found[-1])
    if options.figure:
        try:
            Path(options.figure).write_text(figure(every), encoding="utf-8")
        except OSError as error:
            sys.stderr.write(f"{error}\n")
            return 1
    return 0 if most <= 1.0 + 1e-9 else 1


if __name__ == "__main__":
    sys.exit(main())
