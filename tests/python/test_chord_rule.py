"""A ceiling takes the largest chord up to the peak voltage in use, not the resistance that a dry meter read."""

import numpy as np
import pytest
import weaklink as wl

SHEET = """
sheet = 1
[method]
"bridge" = {{ wires = 4, open_circuit = "{open_circuit}", source = "1 ohm", accuracy = "0.1 %" }}
[section]
"s" = {{ from = {{ emf = "{emf_v} V", resistance = "0.1 ohm" }}, path = ["a / b"], into = "8 ohm" }}
[route]
"r" = ["s"]
[[heard]]
route = "r"
channel = "left"
what = "grit"
residue = "99 %"
[[reading]]
contact = "a / b"
channel = "left"
shows = "0.1 ohm"
method = "bridge"
"""

# the film that the bench priors allow and that grows most
FILM = wl.Film.rectifying(resistance_ohm=0.1, ideality=1.0, leak_ratio=0.01)


def ceiling(emf_v, open_circuit="20 mV"):
    sheet = SHEET.format(emf_v=emf_v, open_circuit=open_circuit)
    return wl.assess(wl.Job.from_text(sheet), draws=0).finding("a / b", "left")


def section(emf_v):
    return wl.Section("s", source=wl.Source(emf_v=emf_v, resistance_ohm=0.1), path=[wl.Contact("c", film=FILM)], load=wl.Load(resistance_ohm=8.0))


def false_ceiling():
    ratio = 0.1 / 8.1
    return ratio / (2.0 * np.sqrt(1.0 + ratio))


@pytest.mark.parametrize(("emf_v", "growth"), [(0.3, 1.1), (1.0, 1.5), (2.83, 3.0), (10.0, 5.0)])
def test_read_dry_and_used_loud_it_has_grown(emf_v, growth):
    # what the film really leaves passes the ceiling of the ohms that were read, and stays below that of the finding
    really = section(emf_v).distortion(1e3).thd_f
    found = ceiling(emf_v)
    assert found.dry is True and really <= found.ceiling
    # a leak of a hundredth lets no chord grow more than a hundredfold
    assert growth * false_ceiling() < found.ceiling < 100.0 * false_ceiling()
    if emf_v >= 2.0:
        assert really > 1.05 * false_ceiling()


@pytest.mark.parametrize("emf_v", [0.001, 0.005])
def test_read_dry_and_used_as_quietly_it_stands(emf_v):
    # the signal puts no more on it than the meter did: the ohms that were read, and a few percent
    found = ceiling(emf_v)
    assert false_ceiling() <= found.ceiling < 1.1 * false_ceiling()
    assert section(emf_v).distortion(1e3).thd_f <= found.ceiling


def test_read_with_volts_and_used_quietly_it_bounds_nothing():
    found = ceiling(0.005, open_circuit="3 V")
    assert found.dry is False and found.ceiling is None and found.bound is None and found.resistance_ohm[1] is None
    assert any("may be far more to the signal" in reason for reason in found.reasons)
