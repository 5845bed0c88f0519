"""The oracle of the steady state checks itself three ways before it judges anything; see oracle_network."""

import numpy as np
import pytest
from oracle_cases import one_contact
from oracle_more import harmonics_mpmath, periodic_by_integration, series_current
from oracle_network import THERMAL_V
from oracle_newton import energy_balance, harmonics_newton

FILMS = [
    {"law": "rectifying", "resistance_ohm": 1e3, "ideality": 1.0, "leak_ratio": 0.1},
    {"law": "bridged", "resistance_ohm": 300.0},
    {"law": "tunnelling", "resistance_ohm": 1e4, "scale_v": 0.1},
]
DIGITS = 1e-10  # the plain equations in 60 digits begin at the float answer and end at their own root
INTEGRATED = 1e-8  # LSODA at 1e-11 over the periods that it takes to settle


def test_diode_behind_a_resistance():
    # 0.9 V, 249.3 ohm, 25 fA, VT = 0.0257025 V: 1.08485 mA (Banwell and Jayakumar, Electronics Letters 36, 2000 [seen])
    diode = {"law": "rectifying", "resistance_ohm": 0.0257025 / 25e-15, "ideality": 0.0257025 / THERMAL_V, "leak_ratio": 0.0}
    assert series_current(0.9, 249.3, diode) == pytest.approx(1.08485e-3, rel=5e-6, abs=0.0)


@pytest.mark.parametrize("henry,farad", [(0.0, 0.0), (0.5, 2e-10)])
@pytest.mark.parametrize("role", ["signal", "shared_return", "shunt"])
@pytest.mark.parametrize("film", FILMS, ids=lambda film: film["law"])
def test_three_ways_to_one_answer(film, role, henry, farad):
    section = one_contact(film, 0.2, 1000.0, henry, 47e3, farad, role)
    dense = harmonics_newton(section, 2e3)
    power, *spent = energy_balance(dense)
    assert sum(spent) == pytest.approx(power, rel=1e-10)
    few = harmonics_newton(section, 2e3, samples=25, most_samples=25)["load"]
    exact = np.array([complex(x) for x in harmonics_mpmath(section, 2e3, samples=25)])
    assert np.abs(exact[2:] - few[2:10]).max() <= DIGITS * np.abs(exact[2:]).max()
    if role != "shunt" and dense["converged"]:
        integrated = periodic_by_integration(section, 2e3)
        assert np.abs(integrated - dense["load"][:10]).max() <= INTEGRATED * abs(integrated[1])
