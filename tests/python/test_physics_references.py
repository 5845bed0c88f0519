"""Published and computed numbers of the physics of one contact, each row with its source and tag."""

import math

import pytest
from weaklink import physics as ph

# laws of the check values that are built of others
BUILT = {
    # each disc's half-space, and the interaction of two on one half-space (Holm's limit)
    "half_space_pair": lambda rho, a, d: ph.spot_ohm(a, rho) - rho / (math.pi * d),
    "single_disc": lambda rho, a: ph.spot_ohm(a, rho) / 2,
    # equal currents in far spots (1/pi) against Greenwood's factor, taken from his sum over two spots
    "isoflux_ratio": lambda: (1 / math.pi) / ((ph.spots_ohm([0, 1], [0, 0], [0.1, 0.1], 1.0) - 1 / 0.4) * 2),
    "lorenz": lambda: ph.LORENZ_V2_PER_K2,
    "third_cubic": lambda v, t, lorenz: ph.third_harmonic_cubic(v, 1 / t, t, lorenz),
}


@pytest.mark.rows("physics-checks.csv")
def test_check_values(row):
    if row["law"] == "melting_v":
        found = ph.metals()[row["arguments"]].calculated_melting_v
    else:
        arguments = [float(x) for x in row["arguments"].split(";") if x]
        found = BUILT.get(row["law"], getattr(ph, row["law"], None))(*arguments)
    assert found == row.printed("value")


def test_three_times_the_leading_term_is_the_quadratic_of_bdr():
    # check value 9: Brinkman, Dynes and Rowell, J. Appl. Phys. 41 (1970) 1915 [memory]: 9 A0^2/(128 phi) = 3.28086 V^-2
    a = 10.2463  # per sqrt(eV) at 1 nm, to the digits of the check
    leading = ph.tunnelling_gamma_per_v2(1.0, 1e-9) + a / 32
    assert 3 * leading == pytest.approx(3.28086, rel=2e-5, abs=0.0)


def test_conductance_of_bdr():
    # check value 8: G(0) = 1.117e5 S/cm^2 at 1 eV, 1 nm [memory], 0.3 % from Simmons
    per_cm2 = 1e-4 / ph.tunnelling_area_resistance_ohm_m2(1.0, 1e-9)
    assert per_cm2 == pytest.approx(1.117e5, rel=4e-3, abs=0.0)


@pytest.mark.rows("physics-plastic.csv")
def test_plastic_contacts(row):
    found = ph.plastic_ohm(row.number("force_n"), row.number("hardness_pa"), row.number("resistivity_ohm_m"))
    assert found * 1e3 == row.printed("milliohm")


@pytest.mark.rows("physics-tunnelling.csv")
def test_tunnelling(row):
    at = row.number("height_ev"), row.number("thickness_nm") * 1e-9
    assert ph.tunnelling_area_resistance_ohm_m2(*at) == row.printed("area_resistance_ohm_m2")
    assert ph.tunnelling_gamma_per_v2(*at) == row.printed("gamma_per_v2")
    assert ph.tunnelling_taylor_gamma_per_v2(*at) == row.printed("taylor_gamma_per_v2")


@pytest.mark.rows("physics-noise.csv")
def test_noise(row):
    x = row.number("argument")
    found = ph.thermal_noise_v_per_rthz(x, 300.0) if row["what"] == "thermal" else ph.spot_flicker(x, 5.9e28)
    assert found == row.printed("value")
