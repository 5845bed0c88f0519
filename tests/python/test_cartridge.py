"""A moving-magnet cartridge on its load: resonance, loss and what a contact does to it, against worked values."""

import numpy as np
import pytest
import weaklink as wl
from scipy.optimize import brentq, minimize_scalar

# low enough that the second-order low pass is at its value for direct current to better than 1e-12
NEARLY_DIRECT_HZ = 1e-3

# the top of a parabola is found to the square root of the rounding; printed values have seven digits
PEAK_SEARCH_HZ = 1e-4


def cartridge(row, *, cable_share=0.5):
    farad = row.number("capacitance_pf") * 1e-12
    return wl.Section(
        "phono input",
        source=wl.Source(emf_v=5e-3, resistance_ohm=row.number("resistance_ohm"), inductance_h=row.number("inductance_h")),
        path=[wl.Contact("pin", resistance_ohm=0.0), wl.Lead(capacitance_f=cable_share * farad)],
        load=wl.Load(resistance_ohm=row.number("load_ohm"), capacitance_f=(1.0 - cable_share) * farad),
    )


def level_db(section, frequency_hz):
    return 20.0 * np.log10(abs(section.transfer(frequency_hz)))


@pytest.mark.parametrize("cable_share", [0.0, 0.5, 1.0])
@pytest.mark.rows("cartridge.csv")
def test_response(row, cable_share):
    section = cartridge(row, cable_share=cable_share)
    dc_db = level_db(section, NEARLY_DIRECT_HZ)
    assert dc_db == row.printed("dc_db")
    assert level_db(section, 10e3) - level_db(section, 1e3) == row.printed("at_10k_db")
    assert level_db(section, 20e3) - level_db(section, 1e3) == row.printed("at_20k_db")
    # at the natural frequency the transfer is imaginary, and its size re direct current is the quality factor
    natural_hz = brentq(lambda f: section.transfer(f).real, 5e3, 50e3, xtol=1e-9)
    assert natural_hz == row.printed("natural_hz")
    assert abs(section.transfer(natural_hz)) / 10 ** (dc_db / 20.0) == row.printed("quality")


@pytest.mark.rows("cartridge.csv")
def test_peak(row):
    section = cartridge(row)
    found = minimize_scalar(lambda f: -level_db(section, f), bounds=(20.0, 40e3), method="bounded", options={"xatol": PEAK_SEARCH_HZ})
    dc_db = level_db(section, NEARLY_DIRECT_HZ)
    if row["peak_hz"] == "none":
        assert np.all(level_db(section, np.geomspace(20.0, 100e3, 2000)) < dc_db)
    else:
        assert found.x == row.printed("peak_hz")
        assert -found.fun - dc_db == row.printed("peak_db")


@pytest.mark.rows("cartridge-contact.csv")
def test_contact_in_series(row):
    first = {"resistance_ohm": "1000", "inductance_h": "0.5", "load_ohm": "47000", "capacitance_pf": "200"}
    section = cartridge(type(row)(first), cable_share=0.0)
    loss_db = section.loss_db(row.number("frequency_hz"), contacts={"pin": row.number("contact_ohm")})
    assert -loss_db == row.printed("change_db")
