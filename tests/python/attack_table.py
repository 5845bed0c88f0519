"""One table of all attacks on the bounds: every search that ran puts a row here, and conftest prints them at the end.

``pytest -k "attack or music" tests/python`` runs them all.
"""

import numpy as np

# what the search of a bound has to reach at the median, and what none may pass
MEDIAN_REACHED = 0.85
NEVER_ABOVE = 1.0 + 1e-9

ROWS = []


def record(name, reached, *, no_bound=0, wanted=MEDIAN_REACHED, why=""):
    """Puts the shares of a bound that the best attacks reached into the table, and holds them against what is asked.

    wanted: least median; below 0.85 ``why`` says what keeps every contact away from the bound.
    """
    reached = np.asarray(reached, float)
    assert wanted >= MEDIAN_REACHED or why, f"{name}: say why so little is asked"
    median, most = float(np.median(reached)), float(reached.max())
    ROWS.append((name, len(reached), no_bound, median, most, why if wanted < MEDIAN_REACHED else ""))
    assert most <= NEVER_ABOVE, f"{name}: a bound was passed: {most}"
    assert median >= wanted, f"{name}: median {median}, asked {wanted}"


def table():
    """The rows as lines of text."""
    lines = [f"{'bound':<34} circuits  no bound  median  most"]
    for name, count, no_bound, median, most, why in sorted(ROWS):
        lines.append(f"{name:<34} {count:8d}  {no_bound:8d}  {median:6.3f}  {most:.6f}{f'  ({why})' if why else ''}")
    return lines
