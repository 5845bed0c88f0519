"""Published numbers of hearing, independent computations with mpmath and numpy, and each trap with its wrong version."""

import math

import mpmath
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator
from weaklink import hearing as h

# Zwicker 1961: 1 to 24 Bark [seen]
EDGES_HZ = [
    100, 200, 300, 400, 510, 630, 770, 920, 1080, 1270, 1480, 1720, 2000, 2320, 2700, 3150, 3700, 4400, 5300, 6400, 7700,
    9500, 12000, 15500,
]  # fmt: skip
THIRDS_HZ = [
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150,
    4000, 5000, 6300, 8000, 10000, 12500,
]  # fmt: skip
ROUNDING_DB = 1e-10


def called(row):
    plain, named = [], {}
    for part in row["arguments"].split(";"):
        name, found, value = part.rpartition("=")
        if found:
            named[name] = int(value) if name == "edition" else value
        else:
            plain.append(float(part))
    return getattr(h, row["function"])(*plain, **named)


@pytest.mark.rows("hearing.csv")
def test_published_numbers(row):
    assert called(row) == row.printed("value")


# ---- independent computations


def terhardt(f):
    return 3.64 * f**-0.8 - 6.5 * np.exp(-0.6 * (f - 3.3) ** 2) + 1e-3 * f**4


def zwicker(f):
    return 13 * np.arctan(0.76 * f) + 3.5 * np.arctan((f / 7.5) ** 2)


def iso(level, z, dz, tone):
    av = -1.525 - 0.275 * z - 4.5 if tone else -1.525 - 0.175 * z - 0.5
    if -3 <= dz < -1:
        vf = 17 * (dz + 1) - (0.4 * level + 6)
    elif -1 <= dz < 0:
        vf = (0.4 * level + 6) * dz
    elif 0 <= dz < 1:
        vf = -17 * dz
    elif 1 <= dz < 8:
        vf = -(dz - 1) * (17 - 0.15 * level) - 17
    else:
        return -np.inf
    return level + av + vf


def schroeder(level, z, dz, tone):
    spread = 15.81 + 7.5 * (dz + 0.474) - 17.5 * math.hypot(1, dz + 0.474)
    return level + spread - (14.5 + z if tone else 5.5)


def slopes(level, f, dz):
    return level + 27 * dz if dz < 0 else level - (24 + 0.23 / f - 0.2 * level) * dz


@pytest.mark.parametrize("kind", ["tone", "noise"])
def test_models_against_plain_versions(kind):
    maskers = [h.Masker(97.0, 62.0, kind), h.Masker(1000.0, 80.0, kind), h.Masker(5200.0, 41.0, kind)]
    probes = np.geomspace(25.0, 15e3, 120)
    found = h.masked_thresholds(maskers, probes, quiet="Terhardt")
    for name in h.MODELS:
        expected = []
        for f in probes / 1000:
            power = 10 ** (terhardt(f) / 10)
            for m in maskers:
                z = zwicker(m.frequency_hz / 1000)
                dz, tone = zwicker(f) - z, kind == "tone"
                alone = {
                    "ISO 11172-3": lambda m=m, z=z, dz=dz, tone=tone: iso(m.level_db, z, dz, tone),
                    "Schroeder-Johnston": lambda m=m, z=z, dz=dz, tone=tone: schroeder(m.level_db, z, dz, tone),
                    "Terhardt slopes": lambda m=m, dz=dz: slopes(m.level_db, m.frequency_hz / 1000, dz),
                }[name]()
                power += 10 ** (alone / 10)
            expected.append(10 * np.log10(power))
        assert found.model(name).low_db == pytest.approx(expected, rel=0.0, abs=ROUNDING_DB)
        # the array function, one masker at a time, and powers added by hand
        alone = [
            10 ** (h.masked_threshold_db(probes, m.frequency_hz, m.level_db, model=name, masker=kind) / 10)
            - 10 ** (terhardt(probes / 1000) / 10)
            for m in maskers
        ]
        total = 10 * np.log10(sum(alone) + 10 ** (terhardt(probes / 1000) / 10))
        assert found.model(name).low_db == pytest.approx(total, rel=0.0, abs=1e-6)
    by_model = np.array([m.low_db for m in found.models])
    assert np.all(by_model.min(axis=0) == found.low_db) and np.all(by_model.max(axis=0) == found.high_db)


def iso_226(edition):
    """Parameters of the tables, typed again from the references, not from the crate."""
    tf = [78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2, 4.4, 3.0, 2.2, 2.4, 3.5, 1.7, -1.3,
          -4.2, -6.0, -5.4, -1.5, 6.0, 12.6, 13.9, 12.3]  # fmt: skip
    if edition == 2003:
        tf[0] = 78.5
        af = ".532 .506 .480 .455 .432 .409 .387 .367 .349 .330 .315 .301 .288 .276 .267 .259 .253 .250 .246 .244 .243 .243 .243 .242 .242 .245 .254 .271 .301"
        lu = "-31.6 -27.2 -23.0 -19.1 -15.9 -13.0 -10.3 -8.1 -6.2 -4.5 -3.1 -2.0 -1.1 -0.4 0.0 0.3 0.5 0.0 -2.7 -4.1 -1.0 1.7 2.5 1.2 -2.1 -7.1 -11.2 -10.7 -3.1"
    else:
        af = ".635 .602 .569 .537 .509 .482 .456 .433 .412 .391 .373 .357 .343 .330 .320 .311 .303 .300 .295 .292 .290 .290 .289 .289 .289 .293 .303 .323 .354"
        lu = "-31.5 -27.2 -23.1 -19.3 -16.1 -13.1 -10.4 -8.2 -6.3 -4.6 -3.2 -2.1 -1.2 -0.5 0 0.4 0.5 0 -2.7 -4.2 -1.2 1.4 2.3 1.0 -2.3 -7.2 -11.2 -10.9 -3.5"
    return np.array(tf), np.array(af.split(), float), np.array(lu.split(), float)


def contour(phon, edition, offset=1.15):
    tf, af, lu = iso_226(edition)
    if edition == 2003:
        a = 4.47e-3 * (10 ** (0.025 * phon) - offset) + (0.4 * 10 ** ((tf + lu) / 10 - 9)) ** af
        return 10 / af * np.log10(a) - lu + 94
    total = (4e-10) ** (0.3 - af) * (10 ** (0.03 * phon) - 10**0.072) + 10 ** (af * (tf + lu) / 10)
    return 10 / af * np.log10(total) - lu


@pytest.mark.parametrize("edition", [2003, 2023])
@pytest.mark.parametrize("phon", [2.4, 20.0, 40.0, 60.0, 80.0])
def test_contours_against_plain_versions(edition, phon):
    found = h.equal_loudness_db(phon, THIRDS_HZ, edition=edition, extrapolate=phon < 20)
    assert found == pytest.approx(contour(phon, edition), rel=0.0, abs=1e-9)
    assert h.loudness_phon(found, THIRDS_HZ, edition=edition, extrapolate=phon < 20) == pytest.approx(phon, abs=1e-7)


def test_traunmueller_and_its_inverse_by_mpmath():
    with mpmath.workdps(30):
        for hz in [20, 60, 150, 300, 1000, 6000, 12000, 16000]:
            z = mpmath.mpf(2681) / 100 * hz / (1960 + hz) - mpmath.mpf(53) / 100
            z += mpmath.mpf(15) / 100 * (2 - z) if z < 2 else mpmath.mpf(22) / 100 * (z - mpmath.mpf(201) / 10) if z > 20.1 else 0
            assert h.bark(hz, "Traunmueller") == pytest.approx(float(z), rel=1e-13, abs=1e-13)
    for scale in h.SCALES:
        hz = np.geomspace(5.0, 20e3, 200)
        assert h.bark_to_hz(h.bark(hz, scale), scale) == pytest.approx(hz, rel=1e-11, abs=0.0)


def test_scales_against_the_band_edges():
    edges = np.arange(1, 25)
    assert np.max(abs(h.bark(EDGES_HZ) - edges)) == pytest.approx(0.197, abs=1e-3)
    assert np.max(abs(h.bark(EDGES_HZ, "Traunmueller") - edges)) == pytest.approx(0.047, abs=1e-3)


def test_lowest_of_terhardt():
    hz = np.arange(3000.0, 3700.0, 0.5)
    level = h.quiet_threshold_db(hz, "Terhardt")
    assert hz[np.argmin(level)] == pytest.approx(3324, abs=0.5) and level.min() == pytest.approx(-4.98325, abs=1e-5)


def test_a_cubic_between_the_entries_differs_by_little():
    # what the docs say of the scale of interpolation: up to 0.53 dB to 12.5 kHz, 2.4 dB above
    entries = sorted([*THIRDS_HZ, 750, 1500, 3000, 6000, 9000, 11200, 14000, 16000])
    for top, most in ((12.5e3, 0.533), (16e3, 2.397)):
        hz = np.geomspace(20.0, top, 4000)[:-1]
        apart = []
        for quiet in ("free field", "diffuse field"):
            cubic = PchipInterpolator(np.log(entries), h.quiet_threshold_db(entries, quiet))(np.log(hz))
            apart.append(np.max(abs(cubic - h.quiet_threshold_db(hz, quiet))))
        assert max(apart) == pytest.approx(most, abs=0.005)


def test_trap_thirds_alone_leave_out_14_khz():
    # ISO 389-7 has 18.4 dB at 14 kHz (free field) [seen]; straight between 12.5 and 16 kHz it would be 25.1
    assert h.quiet_threshold_db(14e3) == 18.4
    assert np.interp(math.log(14e3), np.log([12.5e3, 16e3]), h.quiet_threshold_db([12.5e3, 16e3])) == pytest.approx(25.1, abs=0.05)
    # and a list of thirds without frequencies beside it has once taken the 9 kHz of the diffuse field for 10 kHz
    assert h.quiet_threshold_db([9e3, 10e3], "diffuse field").tolist() == [8.4, 9.8]


def test_bark_there_and_back_by_default():
    assert h.bark_to_hz(h.bark([50.0, 1e3, 12e3])) == pytest.approx([50.0, 1e3, 12e3], rel=1e-11)


@pytest.mark.parametrize(
    ("t", "powers"), [("x^2", [1.0]), ("x^3", [0.0, 1.0]), ("both", [0.3, -0.2]), ("x^5", [0, 0, 0, 1.0]), ("mixed", [0.1, 0.2, -0.3, 0.05, 0.4])]
)
def test_geddes_lee_by_quadrature(t, powers):
    def integrand(x):
        bend = sum((k + 2) * (k + 1) * a * x**k for k, a in enumerate(powers))
        return math.cos(math.pi * x / 2) ** 2 * bend**2

    exact = quad(integrand, -1, 1, epsabs=1e-13, epsrel=1e-12)[0]
    found = h.geddes_lee(from_second=powers)
    assert found.without_root == pytest.approx(exact, rel=1e-10, abs=0.0)
    assert found.with_root_2003 == pytest.approx(math.sqrt(exact), rel=1e-10, abs=0.0)


def test_geddes_lee_of_harmonics():
    # Chebyshev to powers by numpy
    harmonics = [0.01, -0.02, 0.005, 0.0, 0.003]
    powers = np.polynomial.chebyshev.cheb2poly([0.0, 1.0, *harmonics])
    by_powers = h.geddes_lee(from_second=powers[2:])
    assert h.geddes_lee(harmonics=harmonics).without_root == pytest.approx(by_powers.without_root, rel=1e-10, abs=0.0)
    assert h.geddes_lee(harmonics=[0.01]).with_root_2003 == pytest.approx(0.04, rel=1e-10)
    assert h.geddes_lee(harmonics=[0.0, 0.01]).with_root_2003 == pytest.approx(0.086762893, rel=1e-8)
    assert h.geddes_lee(from_second=[0.0, 1.0]).with_root_2003 == pytest.approx(2.169072331, rel=1e-9)
    assert h.geddes_lee(from_second=[0, 0, 0, 1.0]).without_root == pytest.approx(7.172660317, rel=1e-9)


def test_weights_of_harmonics():
    for n, shorter in zip(range(2, 8), [1, 2.25, 4, 6.25, 9, 12.25], strict=True):
        one = [0.0] * (n - 2) + [0.01]
        assert h.weighted_harmonics(one) == pytest.approx(0.01 * shorter, rel=1e-14)
        assert h.weighted_harmonics(one, "n/2") == pytest.approx(0.005 * n, rel=1e-14)
    assert 20 * math.log10(h.weighted_harmonics([0, 0, 0, 0, 0, 1.0])) == pytest.approx(21.8, abs=0.05)
    assert h.weighted_harmonics([0.04, -0.03]) == pytest.approx(math.hypot(0.04, 0.0675), rel=1e-14)


# ---- traps of the references: the wrong version must come out wrong


def test_trap_4_constant_of_iso_226_2003():
    assert h.equal_loudness_db(40, 1000, edition=2003) == pytest.approx(40.010, abs=5e-4)
    wrong = contour(40.0, 2003, offset=1.14)[THIRDS_HZ.index(1000)]
    assert wrong == pytest.approx(40.027, abs=5e-4)


def test_trap_5_free_field_is_not_diffuse_field():
    assert (h.quiet_threshold_db(1000.0), h.quiet_threshold_db(1000.0, "diffuse field")) == (2.4, 0.8)
    assert h.quiet_threshold_db(20.0) == 78.1
    # the edition of 2003 still has 78.5 at 20 Hz
    assert h.equal_loudness_db(40, 20, edition=2003) == pytest.approx(contour(40.0, 2003)[0], abs=1e-9)


def test_trap_6_the_formula_is_not_the_standard():
    off = h.quiet_threshold_db(THIRDS_HZ, "Terhardt") - h.quiet_threshold_db(THIRDS_HZ)
    assert (THIRDS_HZ[np.argmin(off)], THIRDS_HZ[np.argmax(off)]) == (8000, 12500)
    assert (off.min(), off.max()) == (pytest.approx(-7.8, abs=0.05), pytest.approx(12.6, abs=0.05))


def test_trap_7_sign_of_the_spreading():
    # steep below (25 dB per Bark), flat above (10 dB per Bark): probe minus masker
    slope = lambda z: h.schroeder_spreading_db(z + 1.0) - h.schroeder_spreading_db(z)  # noqa: E731
    assert slope(-40.0) == pytest.approx(25.0, abs=0.02) and slope(40.0) == pytest.approx(-10.0, abs=0.02)
    up, down = (h.masked_threshold_db(hz, 1000, 80, model="Schroeder-Johnston") for hz in (1500, 600))
    assert up > down + 10


def test_trap_8_two_versions_of_gm():
    found = h.geddes_lee(from_second=[0.1])
    assert found.with_root_2003 == pytest.approx(0.2, rel=1e-10) and found.without_root == pytest.approx(0.04, rel=1e-10)


def test_trap_12_nothing_is_masked_from_8_bark_on():
    for n in range(4, 8):
        at = h.masked_threshold_db(1000.0 * n, 1000.0, 80.0)
        assert at == h.quiet_threshold_db(1000.0 * n, "Terhardt")
    hz = h.bark_to_hz(h.bark(1000.0) + np.array([7.999, 8.001]), "Zwicker-Terhardt")
    inside, outside = h.masked_threshold_db(hz, 1000.0, 100.0)
    assert inside > outside + 20


def test_unmasked_difference_tone():
    # 19 + 20 kHz at 80 dB: their 1 kHz product is at threshold at -76.63 dB (Terhardt), 0.01318 % (ISO)
    tones = [h.Masker(19e3, 80.0), h.Masker(20e3, 80.0)]
    for quiet, db in (("Terhardt", -76.63), ("free field", 20 * math.log10(0.01318e-2))):
        found = h.audible(tones, lines_hz=[1000.0], lines_db=[80.0 + db], quiet=quiet)
        assert found.over_all.whole_least_db == pytest.approx(0.0, abs=5.1e-3)
        assert found.over_all.whole_most_db == pytest.approx(0.0, abs=5.1e-3)
        assert found.extrapolated
    assert 0.01474e-2 == pytest.approx(10 ** (-76.63 / 20), rel=5e-4)


def test_models_differ_as_the_references_say():
    thresholds = h.masked_thresholds([h.Masker(1000.0, 80.0)], [2000.0, 3000.0], quiet="Terhardt")
    iso_db = np.array(thresholds.model("ISO 11172-3").low_db)
    schroeder_db = np.array(thresholds.model("Schroeder-Johnston").low_db)
    assert iso_db - schroeder_db == pytest.approx([16.2, 25.45], abs=0.05)
    ratios = 100 * 10 ** ((iso_db - 80) / 20)
    assert ratios == pytest.approx([0.6814, 0.1618], abs=6e-5)
