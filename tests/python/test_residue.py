"""Noise, chatter and harmonics beside a tone: published rows, scipy's quadrature, simulation, closed forms."""

import math

import numpy as np
import pytest
import weaklink as wl
from scipy.integrate import quad

K, ROOM = 1.380649e-23, 293.15
QUADRATURE = 1e-6  # Gauss-Legendre of order 8 on six panels an octave against scipy's adaptive rule

# R, L, RL, C -> flat, RIAA, RIAA + A in uV, 20 Hz to 20 kHz, 293.15 K, noiseless amplifier, RIAA 1 at 1 kHz (references [calc])
CARTRIDGES = [
    (1000.0, 0.5, 47e3, 2e-10, 0.0, 2.8300, 0.6215, 0.4530),
    (1000.0, 0.5, 47e3, 2e-10, 100.0, 2.8301, 0.6314, 0.4579),
    (600.0, 0.47, 47e3, 2.5e-10, 0.0, 2.7997, 0.5764, 0.4279),
    (10.0, 30e-6, 100.0, 0.0, 0.0, 0.05433, 0.03564, 0.02175),
]


def cartridge(r, henry, load_ohm, farad, contact_ohm=0.0, emf_v=5e-3):
    return wl.Section(
        "cartridge",
        source=wl.Source(emf_v=emf_v, resistance_ohm=r, inductance_h=henry),
        path=[wl.Contact("pin", resistance_ohm=contact_ohm)],
        load=wl.Load(resistance_ohm=load_ohm, capacitance_f=farad),
    )


@pytest.mark.parametrize("row", CARTRIDGES, ids=lambda row: f"{row[0]:g} ohm + {row[4]:g}")
def test_thermal_noise_of_cartridges(row):
    section = cartridge(*row[:5])
    chain = wl.Chain([section, wl.Stage("phono stage", equalisation="riaa")])
    flat, riaa, both = section.johnson_v(), chain.johnson_v(), chain.johnson_v(weighting="A")
    assert 1e6 * flat == pytest.approx(row[5], abs=6e-5 if row[5] > 0.1 else 6e-6)
    assert 1e6 * riaa == pytest.approx(row[6], abs=6e-5 if row[5] > 0.1 else 6e-6)
    assert 1e6 * both == pytest.approx(row[7], abs=6e-5 if row[5] > 0.1 else 6e-6)
    assert section.johnson_v(weighting="riaa") == pytest.approx(riaa, rel=1e-12)


def test_noise_of_a_resistance_and_of_a_capacitance():
    # 1 kohm into nothing much, 20 kHz wide: 0.569025 uV; through RIAA, 20 Hz to 20 kHz: 0.373793 uV (references [calc])
    open_load = cartridge(1000.0, 0.0, 1e12, 0.0)
    assert 1e6 * open_load.johnson_v(band_hz=(1e-3, 20e3)) == pytest.approx(0.569025, rel=2e-6)
    assert 1e6 * open_load.johnson_v(weighting="riaa") == pytest.approx(0.373793, rel=2e-6)
    # kT/C of 200 pF whatever the resistance; at 300 K 4.550795 uV (Nyquist), here at 293.15 K
    whole = cartridge(47e3, 0.0, 1e12, 2e-10).johnson_v(band_hz=(1e-3, 1e12))
    assert 1e6 * whole == pytest.approx(4.550795 * math.sqrt(ROOM / 300.0), rel=1e-5)


def test_noise_through_a_chain_against_scipy():
    first = cartridge(1000.0, 0.5, 47e3, 2e-10, 300.0)
    stage = wl.Stage("phono stage", equalisation="riaa", gain_db=20.0, output_resistance_ohm=2200.0)
    last = wl.Section("last", source=None, path=[wl.Contact("select", resistance_ohm=500.0)], load=wl.Load(resistance_ohm=22e3, capacitance_f=1e-9))
    chain = wl.Chain([first, stage, last])

    def density(f):
        s = 2j * math.pi * f
        z1 = 1 / (1 / (1300.0 + 0.5 * s) + 1 / 47e3 + 2e-10 * s)
        z2 = 1 / (1 / 2700.0 + 1 / 22e3 + 1e-9 * s)
        h = lambda f: (1 + 2j * math.pi * f * 318e-6) / ((1 + 2j * math.pi * f * 3180e-6) * (1 + 2j * math.pi * f * 75e-6))
        gain = 10.0 * h(f) / abs(h(1e3)) * z2 / 2700.0
        return 4 * K * ROOM * (z1.real * abs(gain) ** 2 + z2.real)

    known = math.sqrt(quad(density, 20.0, 20e3, epsabs=0.0, epsrel=1e-10, limit=500)[0])
    assert chain.johnson_v() == pytest.approx(known, rel=QUADRATURE)
    found = chain.residue(1e3, emf_v=5e-3)
    tone = 5e-3 * abs(chain.transfer(1e3))
    assert found.johnson == pytest.approx(known / tone, rel=QUADRATURE)
    weighted = chain.residue(1e3, emf_v=5e-3, weighting="A").johnson
    assert weighted == pytest.approx(chain.johnson_v(weighting="A") / tone, rel=QUADRATURE) and weighted < 0.9 * found.johnson
    assert found.total == found.johnson and found.notch_reading == pytest.approx(found.total / math.hypot(1, found.total))


def test_harmonics_are_those_of_the_band_and_weighted():
    film = wl.Film.rectifying(resistance_ohm=100.0, ideality=1.0, leak_ratio=0.1)
    section = cartridge(1000.0, 0.0, 47e3, 0.0, emf_v=1.0).with_contact("pin", film=film)
    lines = np.abs(section.distortion(3e3, harmonics=20).harmonics)
    assert section.residue(3e3).harmonics == pytest.approx(np.sqrt((lines[:5] ** 2).sum()), rel=1e-9)  # 6, 9, 12, 15, 18 kHz
    hz = 3e3 * np.arange(2, 7)
    weight = 10 ** (wl.hearing.weighting_db(hz, "A") / 10)
    assert section.residue(3e3, weighting="A").harmonics == pytest.approx(np.sqrt((lines[:5] ** 2 * weight).sum()), rel=1e-9)
    x = 2.0 * (hz / 3e3 - 3e3 / hz)
    notched = np.sqrt((lines[:5] ** 2 * x**2 / (1 + x**2)).sum())
    assert section.residue(3e3, notch_q=2.0).harmonics == pytest.approx(notched, rel=1e-9)


CHATTER = (0.2, 3.0, 2e-3, 5e-3)
LOOP = {"dwell_low_s": 2e-3, "dwell_high_s": 5e-3, "loop_ohm": 8.3}


def loudspeaker():
    return wl.Section("out", source=wl.Source(emf_v=2.83, resistance_ohm=0.3), path=[wl.Contact("relay", resistance_ohm=1.0)],
                      load=wl.Load(resistance_ohm=8.0))  # fmt: skip


def test_chatter_in_a_resistive_loop_is_the_closed_form():
    # four arctangents of weaklink.physics, checked there by simulation; wide band: sqrt(p (1-p)) dg/mean g
    found = loudspeaker().residue(1e3, chatter={"relay": CHATTER})
    assert found.chatter == pytest.approx(wl.physics.chatter_residue_in_band(*CHATTER[:2], **LOOP, tone_hz=1e3), rel=1e-5)
    wide = loudspeaker().residue(1e3, chatter={"relay": CHATTER}, band_hz=(1e-2, 1e9)).chatter
    assert wide == pytest.approx(wl.physics.chatter_residue(*CHATTER[:2], **LOOP), rel=1e-3)
    ceiling = loudspeaker().ceiling(1e3, ranges={"relay": CHATTER[:2]}).chatter
    assert 0.5 * ceiling < found.chatter <= ceiling
    assert math.isnan(found.crackle_per_s)  # 286 changes per second fuse
    slow = loudspeaker().residue(1e3, chatter={"relay": (0.2, 3.0, 0.5, 0.3)})
    assert slow.crackle_per_s == pytest.approx(2 / 0.8)
    # noise and tone beside a chattering contact are those of its mean resistance, 2.2 ohm
    mean = loudspeaker().with_contact("relay", resistance_ohm=(2 * 0.2 + 5 * 3.0) / 7)
    same = mean.johnson_v() / (2.83 * 8.0 / 10.5)
    assert found.johnson == pytest.approx(same, rel=1e-3) and abs(loudspeaker().residue(1e3).johnson / same - 1) > 0.02
    # at every level alike
    level = loudspeaker().residue(1e3, emf_v=[1e-3, 10.0], chatter={"relay": CHATTER}).chatter
    assert level[0] == pytest.approx(level[1], rel=1e-12)


def test_chatter_before_equalisation_against_a_simulation():
    # a seeded random telegraph on the tone of a resistive section, its sidebands through RIAA: periodogram within its scatter
    rng = np.random.default_rng(5)
    low, high, dwell_low, dwell_high = 10.0, 5e3, 4e-3, 4e-3
    first = cartridge(1000.0, 0.0, 47e3, 0.0, 1.0)
    chain = wl.Chain([first, wl.Stage("phono stage", equalisation="riaa")])
    rate, count = 96_000.0, 2**22
    times = np.cumsum(rng.exponential(dwell_low, size=int(2.2 * count / rate / (dwell_low + dwell_high))))
    state = np.searchsorted(times, np.arange(count) / rate) % 2
    gain = np.where(state == 0, 47e3 / (48e3 + low), 47e3 / (48e3 + high))
    hz = 43691 * rate / count  # a whole number of periods, no leakage of the tone
    wave = gain * np.cos(2 * np.pi * hz * np.arange(count) / rate)
    spectrum = np.abs(np.fft.rfft(wave)) ** 2
    f = np.fft.rfftfreq(count, 1 / rate)
    tone = np.argmin(np.abs(f - hz))
    size = spectrum[tone - 3 : tone + 4].sum()
    spectrum[tone - 3 : tone + 4] = 0.0
    with np.errstate(divide="ignore"):
        shape = np.where((f >= 20) & (f <= 20e3), 10 ** (wl.hearing.weighting_db(np.clip(f, 1.0, None), "riaa") / 10), 0.0)
    known = math.sqrt((spectrum * shape).sum() / size)
    found = chain.residue(hz, chatter={"pin": (low, high, dwell_low, dwell_high)})
    assert found.chatter == pytest.approx(known, rel=0.03)  # 5000 changes: scatter about 1.5 %
    # without equalisation it is another number by more than that
    assert abs(first.residue(hz, chatter={"pin": (low, high, dwell_low, dwell_high)}).chatter / known - 1) > 0.05


def test_flicker_of_a_contact_in_closed_form():
    # a relative fluctuation C/f of 5 ohm in 13.3 ohm under the tone: sidebands S = (R/loop)^2 C/(2 |f - f0|) each, from 1 Hz on (nearer is the tone),
    # and about the mirror of the tone; direct current I: I^2 R^2 C/f at the load's share
    c, section = 1e-8, loudspeaker().with_contact("relay", resistance_ohm=5.0)
    share = (5.0 / 13.3) ** 2 * c
    near = 0.5 * share * (math.log(980.0) + math.log(19e3) + math.log(21e3 / 1020.0))
    assert section.residue(1e3, flicker={"relay": c}).contact_noise == pytest.approx(math.sqrt(near), rel=1e-4)
    beside = section.with_contact("relay", direct_current_a=0.05).residue(1e3, flicker={"relay": c}).contact_noise
    extra = (0.05 * 5.0 * 8.0 / 13.3) ** 2 * c * math.log(1000.0) / (2.83 * 8.0 / 13.3) ** 2
    assert beside**2 - near == pytest.approx(extra, rel=1e-3)


def test_flicker_in_the_second_section():
    # half the signal arrives there: the same ratio to the tone as with half the EMF and nothing before
    c = {"relay": 1e-8}
    last = wl.Section("out", source=None, path=[wl.Contact("relay", resistance_ohm=5.0)], load=wl.Load(resistance_ohm=8.0))
    half = wl.Section("in", source=wl.Source(emf_v=2.83, resistance_ohm=1e3), path=[wl.Contact("pin", resistance_ohm=0.0)],
                      load=wl.Load(resistance_ohm=1e3))  # fmt: skip
    chain = wl.Chain([half, wl.Stage("driver", output_resistance_ohm=0.3), last])
    alone = loudspeaker().with_contact("relay", resistance_ohm=5.0).residue(1e3, flicker=c).contact_noise
    assert chain.residue(1e3, flicker=c).contact_noise == pytest.approx(alone, rel=1e-9)
    # direct current is not halved on the way, so its noise counts twice
    direct = [wl.Contact("relay", resistance_ohm=5.0, direct_current_a=0.05)]
    with_dc = wl.Chain([half, wl.Stage("driver", output_resistance_ohm=0.3), wl.Section("out", source=None, path=direct, load=last.load)])
    one = loudspeaker().with_contact("relay", resistance_ohm=5.0, direct_current_a=0.05).residue(1e3, flicker=c).contact_noise
    added = lambda whole: whole**2 - alone**2
    assert added(with_dc.residue(1e3, flicker=c).contact_noise) == pytest.approx(4 * added(one), rel=1e-6)


def test_flicker_is_of_the_tone_whatever_comes_after():
    # a flat gain after the contact's section lifts tone and sidebands alike
    c, alone = {"relay": 1e-8}, loudspeaker().with_contact("relay", resistance_ohm=5.0)
    after = wl.Section("after", source=None, path=[wl.Contact("pin", resistance_ohm=50.0)], load=wl.Load(resistance_ohm=100.0))
    chain = wl.Chain([alone, wl.Stage("line", gain_db=26.0, output_resistance_ohm=50.0), after])
    assert chain.residue(1e3, flicker=c).contact_noise == pytest.approx(alone.residue(1e3, flicker=c).contact_noise, rel=1e-9)


def test_arrays_and_bad_input():
    section = loudspeaker()
    found = section.residue([[100.0], [1e3]], emf_v=[0.1, 1.0, 10.0], chatter={"relay": (0.1, [1.0, 2.0, 4.0], 1.0, 1.0)}, weighting="BS.468")
    assert found.total.shape == (2, 3) and (np.diff(found.chatter, axis=1) > 0).all() and (np.diff(found.johnson, axis=1) < 0).all()
    assert found.total == pytest.approx(np.sqrt(found.harmonics**2 + found.chatter**2 + found.johnson**2 + found.contact_noise**2))
    assert section.residue(1e3).crackle_per_s == 0.0
    assert section.residue(1e3, emf_v=0.0).status == "no fundamental"
    for keys, match in (
        ({"band_hz": (1e3, 20.0)}, "band_hz"),
        ({"weighting": "BS468"}, 'did you mean "BS.468"'),
        ({"notch_q": -1.0}, "notch_q"),
        ({"chatter": {"relay": (1.0, 0.5, 1.0, 1.0)}}, r"chatter\[.relay.\].*high_ohm"),
        ({"chatter": {"relay": (0.5, 1.0, -1.0, 1.0)}}, "dwell_low_s"),
        ({"chatter": {"relay": 3.0}}, "dwell_high_s"),
        ({"chatter": {"relais": CHATTER}}, "unknown contact"),
        ({"flicker": {"relay": float("nan")}}, "flicker"),
    ):
        with pytest.raises(wl.InputError, match=match):
            section.residue(1e3, **keys)
