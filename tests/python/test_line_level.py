"""Resistive loops at line level, at the loudspeaker and at the cartridge, against worked values."""

import numpy as np
import pytest
import weaklink as wl
from scipy.optimize import brentq

# the inverse is found by bisection on a smooth function: far below the printed digits
INVERSE_OHM = 1e-12

# 1 % more resistance in the loop, whatever its printed ohms are rounded to
ONE_PERCENT_DB = 20.0 * np.log10(1.01)
ROUNDING_DB = 1e-13


def section(source_ohm, load_ohm):
    return wl.Section("loop", source=wl.Source(emf_v=0.5, resistance_ohm=source_ohm), path=[wl.Contact("selector", resistance_ohm=0.0)], load=wl.Load(resistance_ohm=load_ohm))


@pytest.mark.rows("loading.csv")
def test_loading(row):
    system = section(row.number("source_ohm"), row.number("load_ohm"))
    assert 20.0 * np.log10(abs(system.transfer(1e3))) == row.printed("level_db")
    assert system.loss_db(1e3) == 0.0


@pytest.mark.rows("series-contact.csv")
def test_series_contact(row):
    system = section(row.number("source_ohm"), row.number("load_ohm"))
    assert -system.loss_db(1e3, contacts={"selector": row.number("contact_ohm")}) == row.printed("change_db")


@pytest.mark.parametrize("source_share", [0.0, 0.1, 0.9])
@pytest.mark.rows("loss-inverse.csv")
def test_ohms_for_a_loss(row, source_share):
    loop_ohm = row.number("loop_ohm")
    system = section(source_share * loop_ohm, (1.0 - source_share) * loop_ohm)
    wanted_db = row.number("loss_db")
    ohm = brentq(lambda r: system.loss_db(1e3, contacts={"selector": r}) - wanted_db, 0.0, loop_ohm, xtol=INVERSE_OHM)
    assert ohm == row.printed("contact_ohm")


@pytest.mark.rows("one-percent.csv")
def test_one_percent_of_the_loop(row):
    system = section(row.number("source_ohm"), row.number("load_ohm"))
    loss_db = system.loss_db(1e3, contacts={"selector": row.number("contact_ohm")})
    assert loss_db == pytest.approx(ONE_PERCENT_DB, rel=0.0, abs=ROUNDING_DB)


def test_the_loudspeaker_is_the_most_critical_per_ohm():
    loops = [section(0.0, 8.0), section(10.0, 100.0), section(2200.0, 22e3), section(1000.0, 47e3)]
    losses = [system.loss_db(1e3, contacts={"selector": 1.0}) for system in loops]
    assert losses == sorted(losses, reverse=True)
