"""Controls, loudspeakers, roles, crosstalk, damping, dissipation, the range of loss: against numpy, scipy, scikit-rf, search."""

import math
import pickle

import numpy as np
import pytest
import scipy.optimize
import scipy.signal

import weaklink as wl
from weaklink._core import _typical_values

# a dense solve of a few nodes, and a walk of as many steps: some dozen roundings on well-scaled numbers
NODAL = 1e-9


# --- two channels with a common return, nodal equations --------------------------------------------------------------


def two_channels(f: float, source: tuple[float, float], path: list[tuple[str, float]], load: float) -> tuple[complex, complex]:
    """Load voltages of the driven and the silent channel per EMF; path of ("series" | "shared" | "cap" | "leak", value)."""
    s = 2j * math.pi * f
    # unknowns: per channel the nodes along the signal conductor; the return nodes are common to both
    signal, ret, elements = [[0], [0]], 0, []
    count = 1  # node 0 is the source's return

    def new() -> int:
        nonlocal count
        count += 1
        return count - 1

    emf_nodes = [new(), new()]
    for c in (0, 1):
        node = new()
        elements.append((emf_nodes[c], node, 1 / (source[0] + s * source[1])))
        signal[c] = node
    for kind, value in path:
        if kind == "shared":
            node = new()
            elements.append((ret, node, 1 / value))
            ret = node
            continue
        for c in (0, 1):
            if kind == "series":
                node = new()
                elements.append((signal[c], node, 1 / value))
                signal[c] = node
            else:
                elements.append((signal[c], ret, s * value if kind == "cap" else 1 / value))
    for c in (0, 1):
        elements.append((signal[c], ret, 1 / load))
    y = np.zeros((count, count), complex)
    for a, b, g in elements:
        y[[a, b], [a, b]] += g
        y[[a, b], [b, a]] -= g
    known = {0: 0.0, emf_nodes[0]: 1.0, emf_nodes[1]: 0.0}
    free = [k for k in range(count) if k not in known]
    right = -sum(y[free, k] * v for k, v in known.items())
    v = np.zeros(count, complex)
    for k, value in known.items():
        v[k] = value
    v[free] = np.linalg.solve(y[np.ix_(free, free)], right)
    return v[signal[0]] - v[ret], v[signal[1]] - v[ret]


def test_shared_returns_against_nodal_equations():
    rng = np.random.default_rng(3)
    worst = [0.0, 0.0]
    for trial in range(200):
        source = (float(rng.uniform(1, 3e3)), float(rng.choice([0.0, 0.4])))
        load, f = float(10 ** rng.uniform(1, 5)), float(10 ** rng.uniform(1.3, 4.3))
        kinds = [*rng.permutation(["shared", "series", "cap", "shared", "leak", "series"])]
        path, items = [], []
        for number, kind in enumerate(kinds):
            if kind == "cap":
                value = float(10 ** rng.uniform(-11, -8))
                items.append(wl.Lead(capacitance_f=value))
            else:
                value = float(10 ** rng.uniform(-1, 3)) * (100 if kind == "leak" else 1)
                role = {"shared": "shared return", "leak": "shunt", "series": "signal"}[kind]
                items.append(wl.Contact(f"c{number}", resistance_ohm=value, role=role))
            path.append((kind, value))
        section = wl.Section("s", source=wl.Source(emf_v=1, resistance_ohm=source[0], inductance_h=source[1]), path=items, load=wl.Load(resistance_ohm=load))
        driven, silent = two_channels(f, source, path, load)
        own = abs(section.transfer(f) - driven) / abs(driven)
        other = abs(10 ** (section.crosstalk_db(f) / 20) / abs(silent / driven) - 1)
        worst = [max(worst[0], own), max(worst[1], other)]
    print(f"shared return against nodal equations: transfer {worst[0]:.2g}, crosstalk {worst[1]:.2g}")
    assert worst[0] < NODAL and worst[1] < NODAL


def test_crosstalk_of_the_handbook_case():
    # -93.5523 dB: 600 ohm, 47 kohm, 1 ohm in common [calc, nodal], common-impedance coupling after Ott
    s = wl.Section(
        "line",
        source=wl.Source(emf_v=1, resistance_ohm=600),
        path=[wl.Contact("screw", resistance_ohm=1.0, role="shared return")],
        load=wl.Load(resistance_ohm=47e3),
    )
    assert s.crosstalk_db(1e3) == pytest.approx(-93.5523, abs=5e-5)
    found = s.crosstalk_db(1e3, contacts={"screw": [0.0, 1.0, 10.0]})
    assert found[0] == -math.inf and found[2] - found[1] == pytest.approx(20, abs=0.01)
    plain = s.with_contact("screw", role="return")
    assert plain.crosstalk_db(1e3) == -math.inf


def test_crosstalk_through_a_chain_adds_in_phase():
    def section(name: str, source: wl.Source | None) -> wl.Section:
        contact = wl.Contact(name, resistance_ohm=2.0, role="shared return")
        return wl.Section(name, source=source, path=[contact], load=wl.Load(resistance_ohm=10e3))

    first = section("a", wl.Source(emf_v=1, resistance_ohm=100))
    chain = wl.Chain([first, wl.Stage("s", gain_db=12.0, output_resistance_ohm=100), section("b", None)])
    # each crosstalk is small: amplitudes add
    one = 10 ** (first.crosstalk_db(1e3) / 20)
    assert 10 ** (chain.crosstalk_db(1e3) / 20) == pytest.approx(2 * one, rel=2 * one)


# --- controls --------------------------------------------------------------------------------------------------------


def test_divider_against_nodal_equations():
    rng = np.random.default_rng(5)
    for _ in range(100):
        source, load = (float(10 ** rng.uniform(2, 4)) for _ in range(2))
        track, db, wiper = float(10 ** rng.uniform(3, 6)), float(rng.uniform(-60, 0)), float(10 ** rng.uniform(0, 4))
        a = 10 ** (db / 20)
        control = wl.Divider("volume", track_ohm=track, setting_db=db, wiper=wl.Contact("wiper", resistance_ohm=wiper))
        s = wl.Section("s", source=wl.Source(emf_v=1, resistance_ohm=source), path=[control], load=wl.Load(resistance_ohm=load))
        g = 1 / (source + (1 - a) * track)
        y = np.array([[g + 1 / (a * track) + 1 / wiper, -1 / wiper], [-1 / wiper, 1 / wiper + 1 / load]])
        assert s.transfer(1e3).real == pytest.approx(np.linalg.solve(y, [g, 0])[1], rel=1e-12)
    assert s.contact_names == ["wiper"]
    louder = s.with_contact("wiper", resistance_ohm=0.0)
    assert louder.path[0].wiper.resistance_ohm == 0.0 and louder.path[0].track_ohm == track


@pytest.mark.parametrize(
    ("changes", "place"),
    [({"track_ohm": 0}, "track_ohm"), ({"setting_db": 3}, "setting_db"), ({"setting_db": -math.inf}, "setting_db")],
)
def test_bad_dividers(changes, place):
    good = {"track_ohm": 50e3, "setting_db": -20.0}
    with pytest.raises(wl.InputError) as caught:
        wl.Divider("volume", **(good | changes))
    assert caught.value.place == f'divider "volume": {place}'
    with pytest.raises(wl.InputError, match="role"):
        wl.Divider("volume", **good, wiper=wl.Contact("w", resistance_ohm=1.0, role="shunt"))


# --- loudspeakers ----------------------------------------------------------------------------------------------------

# a driver of our own: moving mass kg, compliance m/N, mechanical losses kg/s, force factor T m, voice coil ohm and H
MMS, CMS, RMS, BL, RE, LE = 22e-3, 0.45e-3, 1.4, 7.2, 6.1, 0.35e-3


def small() -> wl.Load:
    """The same driver by Small's formulas."""
    fs = 1 / (2 * math.pi * math.sqrt(MMS * CMS))
    qms = math.sqrt(MMS / CMS) / RMS
    qes = RE * math.sqrt(MMS / CMS) / BL**2
    return wl.Load.loudspeaker(nominal_ohm=8, voice_coil_ohm=RE, voice_coil_h=LE, resonance_hz=fs, mechanical_q=qms, electrical_q=qes)


def admittance(series_ohm: float) -> scipy.signal.StateSpace:
    """Current per volt of the electromechanical equations: voice coil current, cone velocity, cone position."""
    a = [[-(RE + series_ohm) / LE, -BL / LE, 0], [BL / MMS, -RMS / MMS, -1 / (CMS * MMS)], [0, 1, 0]]
    return scipy.signal.StateSpace(a, [[1 / LE], [0], [0]], [[1, 0, 0]], [[0]])


def test_impedance_against_the_equations_of_motion():
    f = np.geomspace(10, 20e3, 300)
    _, y = scipy.signal.freqresp(admittance(0.0), 2 * np.pi * f)
    # the state-space evaluation loses some digits to its polynomials
    assert np.max(np.abs(small().impedance_ohm(f) * y - 1)) < 1e-9


def test_a_contact_shifts_the_resonance_as_scipy_does():
    # 0.5 ohm in front of the driver: peak of its voltage over frequency, both ways
    r, load = 0.5, small()
    section = wl.Section(
        "out", source=wl.Source(emf_v=1), path=[wl.Contact("relay", resistance_ohm=r)], load=load
    )

    def by_scipy(f: float) -> float:
        _, y = scipy.signal.freqresp(admittance(r), [2 * np.pi * f])
        return float(abs(1 - r * y[0]))

    def peak(gain) -> float:
        found = scipy.optimize.minimize_scalar(lambda f: -gain(f), bounds=(30, 90), method="bounded", options={"xatol": 1e-9})
        return float(found.x)

    ours, theirs = peak(lambda f: abs(section.transfer(f))), peak(by_scipy)
    # a maximum is flat: its place is good to the root of the rounding
    assert ours == pytest.approx(theirs, rel=1e-6)
    assert abs(section.transfer(ours)) == pytest.approx(by_scipy(theirs), rel=1e-9)


def test_total_q_is_that_of_the_poles():
    # poles of cone velocity per volt with the inductance out of the way, scipy's roots: w0/Q is the width of the pair
    series = np.array([0.0, 0.5, 2.0])
    q = small().total_q(series)
    for r, found in zip(series, q, strict=True):
        zeros, poles, _ = scipy.signal.tf2zpk([1.0, 0.0], [MMS, RMS + BL**2 / (RE + r), 1 / CMS])
        assert abs(poles[0]) / -2 / poles[0].real == pytest.approx(found, rel=1e-12) and len(zeros) == 1
    assert isinstance(small().total_q(0.5), float)
    with pytest.raises(wl.InputError, match="plain resistance"):
        wl.Load(resistance_ohm=8).total_q(0.5)


def test_the_80_percent_rule_of_the_typical_one():
    # IEC 60268-5 clause 16 [seen]: the modulus does not fall below 80 % of the rated value in the rated band
    load = wl.Load.loudspeaker(nominal_ohm=8, voice_coil_h=0.5e-3, resonance_hz=50, mechanical_q=2.625, electrical_q=0.5)
    f = np.geomspace(20, 20e3, 20001)
    z = np.abs(load.impedance_ohm(f))
    assert load.voice_coil_ohm == 6.4 and 6.4 <= z.min() < 6.9
    assert z[f < 200].max() == pytest.approx(40.0, rel=1e-3)


def test_ripple_and_damping():
    # response ripple of 0.1 ohm between 6.4 and 40 ohm: 0.1130 dB; 8 ohm over 0.05 ohm, then 0.5 ohm more [calc]
    load = wl.Load.loudspeaker(nominal_ohm=8, resonance_hz=50, mechanical_q=2.625, electrical_q=0.5)
    relay = wl.Contact("relay", resistance_ohm=0.1)
    s = wl.Section("out", source=wl.Source(emf_v=1), path=[relay], load=load)
    assert s.response_change_db(band_hz=(50, 1e6)) == pytest.approx(0.1130, abs=5e-5)
    out = wl.Section("out", source=wl.Source(emf_v=1, resistance_ohm=0.05), path=[relay], load=wl.Load(resistance_ohm=8))
    assert out.damping_factor(contacts={"relay": 0.0}) == pytest.approx(160, rel=1e-12)
    assert out.damping_factor(contacts={"relay": [0.1, 0.5, 1.0]}) == pytest.approx([53.333, 14.5455, 7.6190], rel=1e-5)
    assert s.damping_factor(contacts={"relay": 0.0}) == math.inf


def test_typical_loudspeaker_lead_is_five_metres_of_awg_16():
    # ASTM B258: d = 0.127 mm 92^((36-n)/39); annealed copper 1/58 ohm mm2/m (IEC 60028 [memory])
    d = 0.127 * 92 ** ((36 - 16) / 39)
    ohm_per_m = 4 / (math.pi * d * d) / 58
    assert d == pytest.approx(1.2908, abs=5e-5) and ohm_per_m == pytest.approx(13.174e-3, rel=1e-4)
    loop = wl.limits(wl.typical("integrated amplifier"))
    relay = next(row for row in loop.rows if row.contact == "speaker relay / a")
    # 8 ohm, 0.05 ohm of the power stage; the lead is written with two digits
    assert relay.loop_ohm - 8.05 == pytest.approx(10 * ohm_per_m, abs=0.005)


def test_common_practice_level():
    # 35 W into 8 ohm is 16.7 V, common practice; the typical stages of the library lead there from 2.5 mV
    assert math.sqrt(35 * 8) == pytest.approx(16.7, abs=0.05)
    stages = {name: float(value.split(" dB")[0]) for group, name, value, _ in _typical_values() if group == "stage"}
    gain_db = stages["phono stage"] + stages["power stage"]
    # they are printed with a tenth of a decibel: 1.2 % each
    assert 2.5e-3 * 10 ** (gain_db / 20) == pytest.approx(16.7, rel=0.013)


@pytest.mark.parametrize(
    "bad",
    [{"resonance_hz": 50.0}, {"voice_coil_ohm": 6.0}, {"resonance_hz": 0.0, "mechanical_q": 3.0, "electrical_q": 1.0}, {"voice_coil_h": 1e-3}],
)
def test_bad_loudspeakers(bad):
    with pytest.raises(wl.InputError):
        wl.Load.loudspeaker(nominal_ohm=8, **bad)


# --- power, imbalance, values ----------------------------------------------------------------------------------------


def section() -> wl.Section:
    return wl.Section(
        "s",
        source=wl.Source(emf_v=3.0, resistance_ohm=40, inductance_h=1e-3),
        path=[
            wl.Contact("pin", resistance_ohm=30.0),
            wl.Lead(resistance_ohm=1.0, capacitance_f=1e-6),
            wl.Contact("mute", resistance_ohm=500.0, role="shunt"),
            wl.Contact("ground", resistance_ohm=20.0, role="return"),
        ],
        load=wl.Load(resistance_ohm=200),
    )


def test_energy_balance():
    s, f = section(), 2e3
    w = 2 * math.pi * f
    at_load = 3.0 * s.transfer(f)
    # what the load gets, walked back by hand to the source
    i = at_load / 200
    v = at_load + 20 * i
    i_mute = v / 500
    i_cap = 1j * w * 1e-6 * v
    current = i + i_mute + i_cap
    parts = [30 * abs(current) ** 2, abs(v) ** 2 / 500, 20 * abs(i) ** 2]
    for name, power in zip(s.contact_names, parts, strict=True):
        assert s.dissipation_w(name, f) == pytest.approx(power, rel=1e-12)
    total = sum(parts) + abs(at_load) ** 2 / 200 + (40 + 1) * abs(current) ** 2
    assert total == pytest.approx((3.0 * current.conjugate()).real, rel=1e-12)
    doubled = s.dissipation_w("pin", f, emf_v=np.array([3.0, 6.0]))
    assert doubled[1] == pytest.approx(4 * doubled[0], rel=1e-12)
    with pytest.raises(wl.InputError, match="unknown contact"):
        s.dissipation_w("nobody", f)


def test_imbalance_is_the_difference_of_losses():
    s = section()
    got = s.imbalance_db([1e3, 5e3], left={"pin": 10.0}, right={"pin": 90.0, "mute": math.inf})
    want = s.loss_db([1e3, 5e3], contacts={"pin": 90.0, "mute": math.inf}) - s.loss_db([1e3, 5e3], contacts={"pin": 10.0})
    assert got == pytest.approx(want, abs=1e-12) and isinstance(s.imbalance_db(1e3), float)


def test_values_travel():
    control = wl.Divider("v", track_ohm=10e3, setting_db=-12.0, wiper=wl.Contact("w", resistance_ohm=2.0))
    mute = wl.Contact("m", resistance_ohm=math.inf, role="shunt")
    speaker = small()
    s = wl.Section("s", source=wl.Source(emf_v=1), path=[control, mute, wl.Contact("d", resistance_ohm=1.0, direct_current_a=1e-3)], load=speaker)
    for value in (control, mute, speaker, s):
        assert pickle.loads(pickle.dumps(value)) == value and hash(pickle.loads(pickle.dumps(value))) == hash(value)
        assert type(value).from_dict(value.to_dict()) == value
        assert eval(repr(value), {name: getattr(wl, name) for name in wl.__all__}) == value
    assert s.path[1].resistance_ohm == math.inf and s.path[2].direct_current_a == 1e-3 and s.load == speaker


@pytest.mark.parametrize("role", ["feedback", "supply", "bias"])
def test_no_section_takes_what_it_cannot_describe(role):
    with pytest.raises(wl.InputError, match="nothing bounds"):
        wl.Section("s", source=wl.Source(emf_v=1), path=[wl.Contact("c", resistance_ohm=0.0, role=role)], load=wl.Load(resistance_ohm=8))


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_a_contact_across_the_signal_has_resistance(bad):
    with pytest.raises(wl.InputError):
        section().loss_db(1e3, contacts={"mute": bad})
    with pytest.raises(wl.InputError):
        wl.Contact("m", resistance_ohm=bad, role="shunt")
    with pytest.raises(wl.InputError):
        wl.Contact("m", resistance_ohm=math.inf)


# --- T7 and its companions -------------------------------------------------------------------------------------------


def switched(section: wl.Section, name: str, low: float, high: float, duty: np.ndarray) -> np.ndarray:
    """Loss of the fundamental, dB, of a resistive loop whose contact jumps twice a half period, placed at every phase."""
    n = 720
    t = (np.arange(n) + 0.5) / n
    e = np.sin(2 * np.pi * t)
    losses = []
    r = {k: section.transfer(1e3, contacts={name: k}).real for k in (low, high)}
    perfect = section.transfer(1e3, contacts={name: math.inf if section.path[0].role == "shunt" else 0.0}).real
    for width in duty:
        for phase in np.linspace(0, 0.5, 25, endpoint=False):
            closed = ((t + phase) % 0.5) < 0.5 * width
            v = np.where(closed, r[low], r[high]) * e
            fundamental = abs(2 / n * np.sum(v * np.exp(-2j * np.pi * t)))
            losses.append(20 * math.log10(perfect / fundamental))
    return np.array(losses)


@pytest.mark.parametrize(("role", "low", "high"), [("signal", 2.0, 300.0), ("shunt", 30.0, 4000.0)])
def test_loss_disc_by_search(role, low, high):
    s = wl.Section("s", source=wl.Source(emf_v=1, resistance_ohm=60), path=[wl.Contact("c", resistance_ohm=low, role=role)], load=wl.Load(resistance_ohm=90))
    found = s.loss_range_db(1e3, ranges={"c": (low, high)})
    losses = switched(s, "c", low, high, np.linspace(0.0, 1.0, 21))
    assert found.applies and losses.min() >= found.low_db - 1e-9 and losses.max() <= found.high_db + 1e-9
    # always closed and always open are in the search: both ends are reached
    assert losses.min() == pytest.approx(found.low_db, abs=1e-6) and losses.max() == pytest.approx(found.high_db, abs=1e-6)


def test_loss_disc_of_a_reactive_loop_by_search():
    # behind 0.5 H a contact that opens in step with the current can change phase as well: describing impedance by an
    # explicit periodic solution of L di/dt + (R + r(t)) i = e, backward differences refined
    henry, ohm, high, f = 0.5, 1500.0, 6000.0, 1000.0
    s = wl.Section("s", source=wl.Source(emf_v=1, resistance_ohm=500, inductance_h=henry), path=[wl.Contact("c", resistance_ohm=0.0)], load=wl.Load(resistance_ohm=1000))
    found = s.loss_range_db(f, ranges={"c": (0.0, high)})
    n = 2400
    h = 1 / (f * n)
    t = (np.arange(n) + 1) * h
    e = np.sin(2 * np.pi * f * t)
    perfect = abs(s.transfer(f)) / 1000
    losses = []
    for width in (0.0, 0.2, 0.4, 0.5, 0.6, 0.8, 1.0):
        for phase in np.linspace(0, 0.5, 20, endpoint=False):
            r = np.where(((t * f + phase) % 0.5) < 0.5 * width, high, 0.0)
            keep = 1 / (1 + h * (ohm + r) / henry)
            drive = keep * h * e / henry
            # i[k] = keep[k] i[k-1] + drive[k], periodic
            total, product = 0.0, 1.0
            for k in range(n):
                total, product = keep[k] * total + drive[k], product * keep[k]
            i, out = total / (1 - product), np.empty(n)
            for k in range(n):
                i = keep[k] * i + drive[k]
                out[k] = i
            fundamental = abs(2 / n * np.sum(out * np.exp(-2j * np.pi * f * t)))
            losses.append(20 * math.log10(perfect / fundamental))
    # backward Euler with 2400 steps a period is good to some 1e-3
    assert min(losses) >= found.low_db - 0.02 and max(losses) <= found.high_db + 0.02
    assert min(losses) < 0.02 and max(losses) > 0.8 * found.high_db and found.low_db < 0.0


def test_other_contacts_count_in_the_range_of_loss():
    s = wl.Section("s", source=wl.Source(emf_v=1, resistance_ohm=60), path=[wl.Contact("c", resistance_ohm=0.0), wl.Contact("d", resistance_ohm=25.0)], load=wl.Load(resistance_ohm=90))
    found = s.loss_range_db(1e3, ranges={"c": (5.0, 70.0)})
    assert found.low_db == pytest.approx(s.loss_db(1e3, contacts={"c": 5.0}), rel=1e-12)
    assert found.high_db == pytest.approx(s.loss_db(1e3, contacts={"c": 70.0}), rel=1e-12)


def test_loss_range_shapes_and_statuses():
    s = wl.Section(
        "s",
        source=wl.Source(emf_v=1, resistance_ohm=10),
        path=[wl.Contact("a", resistance_ohm=0.0), wl.Lead(capacitance_f=1e-9), wl.Contact("b", resistance_ohm=0.0), wl.Contact("g", resistance_ohm=0.0, role="shared return")],
        load=wl.Load(resistance_ohm=100),
    )
    found = s.loss_range_db([[100.0], [1e3]], ranges={"a": (0.0, [1.0, 2.0, math.inf])})
    assert found.low_db.shape == (2, 3) and found.applies.all() and np.isinf(found.high_db[:, 2]).all()
    several = s.loss_range_db(1e3, ranges={"a": (0, 1), "b": (0, 1)})
    assert several.status == "several loops" and math.isnan(several.low_db) and "more than one loop" in several.reason()
    assert s.loss_range_db(1e3, ranges={"g": (0, 1)}).status == "shared return"
    assert s.ceiling(1e3, ranges={"g": (0, 1)}).applies
    with pytest.raises(wl.InputError, match="low at most high"):
        s.loss_range_db(1e3, ranges={"a": (2, 1)})


def test_direct_current_raises_the_ceiling_by_its_share():
    def ceiling(direct_a: float, emf: float) -> float:
        c = wl.Contact("c", resistance_ohm=0.0, range_ohm=(0.0, 100.0), direct_current_a=direct_a)
        s = wl.Section("s", source=wl.Source(emf_v=emf, resistance_ohm=400), path=[c], load=wl.Load(resistance_ohm=600))
        return s.ceiling(1e3).chatter

    r = 0.1 / (2 * math.sqrt(1.1))
    # what the direct current may do to the signal's own: |M + Rmid| I0 / sqrt(E^2 - (swing/2)^2 I0^2), 1050 and 50 ohm here (derived)
    share = 2e-3 * 1050 / math.sqrt(1 - (2e-3 * 50) ** 2)
    assert ceiling(2e-3, 1.0) == pytest.approx(r * math.hypot(1, share), rel=1e-11)
    assert ceiling(0.0, 1.0) == pytest.approx(r, rel=1e-11)
    assert math.isnan(ceiling(1e-3, 0.0))


def test_ceiling_across_the_signal():
    mute = wl.Contact("m", resistance_ohm=math.inf, role="shunt")
    s = wl.Section("s", source=wl.Source(emf_v=1, resistance_ohm=1000), path=[mute], load=wl.Load(resistance_ohm=9000))
    r = 900.0 / np.array([180.0, 9e4])
    top = s.ceiling(1e3, ranges={"m": ([180.0, 9e4], math.inf)})
    assert top.chatter == pytest.approx(r / (2 * np.sqrt(1 + r)), rel=1e-11)
    assert s.ceiling(1e3, ranges={"m": (0.0, 1e3)}).status == "can short"
    assert s.ceiling(1e3).chatter == 0.0
    # its own range begins at its own leak
    assert s.with_contact("m", resistance_ohm=180.0).ceiling(1e3).chatter == pytest.approx(top.chatter[0], rel=1e-11)
