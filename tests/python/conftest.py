"""Shared by the outside checks."""

import csv
from pathlib import Path

import pytest

import weaklink as wl

ROOT = Path(__file__).resolve().parents[2]
JOBS = ROOT / "notebooks" / "jobs"


def table(name: str) -> list[dict[str, str]]:
    """Rows of a table of published values."""
    with (ROOT / "tests" / "references" / name).open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows and all(row["source"] and row["tag"] for row in rows)
    return rows


@pytest.fixture
def references():
    return table


@pytest.fixture
def jobs() -> Path:
    return JOBS


@pytest.fixture
def root() -> Path:
    return ROOT


@pytest.fixture
def cartridge() -> wl.Section:
    return wl.Section(
        "phono input",
        source=wl.Source(emf_v=5e-3, resistance_ohm=1000.0, inductance_h=0.5),
        path=[wl.Contact("pin", resistance_ohm=0.0)],
        load=wl.Load(resistance_ohm=47e3, capacitance_f=200e-12),
    )
