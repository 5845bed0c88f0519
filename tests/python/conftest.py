"""Reads the published values of ``tests/references`` for the tests that ask for them.

A test marked ``@pytest.mark.rows("file.csv")`` runs once per row of that file; it gets the row as its argument ``row``.
Every file has the columns ``source`` and ``tag``: where a value comes from, and how it was obtained ([seen] read in a
text, [memory] recalled, [calc] computed from the formula of the source, or common practice).
"""

import csv
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import settings

# the same examples every time, and no failure because the machine is busy
settings.register_profile("weaklink", derandomize=True, deadline=None, database=None)
settings.load_profile("weaklink")

REFERENCES = Path(__file__).parents[1] / "references"

# a printed value is right to half a unit of its last digit; the rest lets an exact tie through after rounding
HALF_A_DIGIT = 0.5 * (1.0 + 1e-6)


class Row(dict):
    """One row of a reference file; numbers keep the digits in which they were printed."""

    def number(self, column):
        return float(self[column])

    def printed(self, column):
        """What equals the printed value to half a unit of its last digit."""
        unit = 10.0 ** Decimal(self[column]).as_tuple().exponent
        return pytest.approx(float(self[column]), rel=0.0, abs=HALF_A_DIGIT * unit)


def read_rows(name):
    with open(REFERENCES / name, newline="", encoding="utf-8") as file:
        rows = [Row(line) for line in csv.DictReader(file)]
    assert rows, f"{name} has no rows"
    for number, row in enumerate(rows, start=2):
        assert None not in row and None not in row.values(), f"{name}, line {number}: wrong number of fields"
        assert row["source"] and row["tag"], f"{name}, line {number}: no source or no tag"
    return rows


def pytest_configure(config):
    config.addinivalue_line("markers", "rows(name): run once per row of tests/references/name")


def pytest_generate_tests(metafunc):
    mark = metafunc.definition.get_closest_marker("rows")
    if mark is not None:
        rows = read_rows(mark.args[0])
        metafunc.parametrize("row", rows, ids=["-".join(list(row.values())[:3]) for row in rows])


ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def root():
    return ROOT


@pytest.fixture
def jobs():
    return ROOT / "notebooks" / "jobs"


def pytest_sessionfinish(session):
    """What a worker (pytest-xdist) put into the table goes to the process that prints it."""
    import attack_table

    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["attacks"] = attack_table.ROWS


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node):
    import attack_table

    attack_table.ROWS += [tuple(row) for row in getattr(node, "workeroutput", {}).get("attacks", [])]


def pytest_terminal_summary(terminalreporter):
    """The table of all attacks on the bounds that ran."""
    import attack_table

    if attack_table.ROWS:
        terminalreporter.section("attacks on the bounds: share of the bound that the best contact found reaches")
        for line in attack_table.table():
            terminalreporter.write_line(line)
