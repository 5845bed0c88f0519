"""The ceilings T1 and T6: closed forms, and an attack by switching contacts that shares no code with the library."""

import subprocess
import sys

import numpy as np
import pytest
import weaklink as wl
from attack_table import record

# closed forms against a supremum over a band on which everything is flat: rounding only
ROUNDING = 1e-11

# the attack solves its own equations, to about this
ATTACK_ROUNDING = 1e-9

# circuits attacked
CIRCUITS = 48


def resistive(ratio):
    return ratio / (2.0 * np.sqrt(1.0 + ratio))


def loop(source_ohm, load_ohm, contacts=("relay",)):
    path = [wl.Contact(name, resistance_ohm=0.0) for name in contacts]
    return wl.Section("loop", source=wl.Source(emf_v=1.0, resistance_ohm=source_ohm), path=path, load=wl.Load(resistance_ohm=load_ohm))


# ---------------------------------------------------------------- closed forms


def test_resistive_loops():
    random = np.random.default_rng(1)
    for _ in range(200):
        source_ohm, load_ohm = 10 ** random.uniform(-2, 5, 2)
        ratio = 10 ** random.uniform(-4, 4, 5)
        found = loop(source_ohm, load_ohm).ceiling(1e3, ranges={"relay": (0.0, ratio * (source_ohm + load_ohm))})
        assert np.all(found.applies) and found.harmonics.shape == (5,)
        assert found.harmonics == pytest.approx(resistive(ratio), rel=ROUNDING)
        assert found.chatter == pytest.approx(resistive(ratio), rel=ROUNDING)


def test_a_lower_end_above_zero_counts_as_part_of_the_loop():
    found = loop(2.0, 8.0).ceiling(1e3, ranges={"relay": (5.0, 20.0)})
    assert found.harmonics == pytest.approx(resistive(15.0 / 15.0), rel=ROUNDING)


def test_contacts_of_one_loop_add():
    system = loop(0.05, 8.0, contacts=("relay", "socket", "fuse"))
    together = system.ceiling(1e3, ranges={"relay": (0.1, 0.3), "socket": (0.0, 0.2), "fuse": (0.05, 0.1)})
    assert together.harmonics == pytest.approx(resistive(0.45 / 8.2), rel=ROUNDING)
    # a contact that is not named stays what it is, or what it is said to be
    two = system.ceiling(1e3, ranges={"relay": (0.1, 0.3), "socket": (0.0, 0.2)}, contacts={"fuse": 0.7})
    assert two.harmonics == pytest.approx(resistive(0.4 / 8.85), rel=ROUNDING)


def test_a_contact_that_stays_has_no_residue():
    found = loop(1.0, 8.0).ceiling(1e3, ranges={"relay": (0.4, 0.4)})
    assert (found.harmonics, found.chatter, found.applies, found.status) == (0.0, 0.0, True, "holds")


def test_several_loops():
    apart = wl.Section(
        "two loops",
        source=wl.Source(emf_v=1.0, resistance_ohm=1000.0),
        path=[wl.Contact("a", resistance_ohm=1.0), wl.Lead(capacitance_f=1e-9), wl.Contact("b", resistance_ohm=1.0)],
        load=wl.Load(resistance_ohm=47e3),
    )
    # T2 binds them together: about the sum of each alone, as long as they are small
    both = apart.ceiling(1e3, ranges={"a": (0.0, 10.0), "b": (0.0, 10.0)})
    alone = [apart.ceiling(1e3, ranges={name: (0.0, 10.0)}, contacts={"a": 0.0, "b": 0.0}).chatter for name in "ab"]
    assert both.applies is True and both.chatter == pytest.approx(sum(alone), rel=0.02)
    too_much = apart.ceiling(100.0, ranges={"a": (0.0, 1e9), "b": (0.0, 1e9)})
    assert too_much.status == "no bound" and np.isnan(too_much.chatter) and "more than the bound" in too_much.reason()
    assert apart.ceiling(1e3, ranges={"a": (0.0, 10.0), "b": (2.0, 2.0)}).applies is True
    after_a_stage = wl.Chain([loop(1.0, 8.0, ("x",)), wl.Stage("stage"), wl.Section("next", source=None, path=[wl.Contact("y", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=1e4))])
    # T4: resistive and flat throughout, both switch together
    found = after_a_stage.ceiling(1e3, ranges={"x": (0.0, 1.0), "y": (0.0, 1e3)})
    assert found.chatter == pytest.approx(np.sinh(0.5 * (np.log(10 / 9) + np.log(1.1))), rel=ROUNDING)
    mute = wl.Section("m", source=None, path=[wl.Contact("z", resistance_ohm=np.inf, role="shunt")], load=wl.Load(resistance_ohm=1e4))
    muted = wl.Chain([loop(1.0, 8.0, ("x",)), wl.Stage("stage", output_resistance_ohm=10.0), mute])
    # the mute of 1 to 2 ohm stands behind 10 ohm and beside 10 kohm: its gain goes with the conductance
    beside = 1.0 / 10.0 + 1e-4
    swings = np.log(10 / 9) + np.log((beside + 1.0) / (beside + 0.5))
    assert muted.ceiling(1e3, ranges={"x": (0.0, 1.0), "z": (1.0, 2.0)}).chatter == pytest.approx(np.sinh(0.5 * swings), rel=ROUNDING)


def test_a_contact_that_can_open_has_no_ceiling():
    system = loop(1.0, 8.0)
    found = system.ceiling(1e3, ranges={"relay": (0.0, [1.0, np.inf])})
    assert list(found.applies) == [True, False]
    assert list(found.status) == ["holds", "can open"]
    assert "finite" in found.reason(1) and "holds" in found.reason(0)
    assert np.isnan(found.chatter[1]) and found.chatter[0] == pytest.approx(resistive(1.0 / 9.0), rel=ROUNDING)


def test_an_equaliser_weighs_the_residue():
    # a flat loop before an equaliser: harmonic n counts by the curve at n f over the curve at f, so the second is the worst
    # in the treble, where the curve falls
    stage = wl.Stage("equaliser", equalisation="riaa")
    chain = wl.Chain([loop(1000.0, 47e3, ("pin",)), stage])
    gain = abs(chain.transfer(np.array([5e3, 10e3])))
    found = chain.ceiling(5e3, ranges={"pin": (0.0, 4800.0)})
    assert found.harmonics == pytest.approx(resistive(0.1) * gain[1] / gain[0], rel=ROUNDING)
    bass = abs(chain.transfer(20.0))
    assert found.chatter == pytest.approx(resistive(0.1) * bass / gain[0], rel=ROUNDING)


# ---------------------------------------------------------------- loss and residue, T6


@pytest.mark.rows("loss-and-residue.csv")
def test_loss_goes_with_residue(row):
    percent = 100.0 * wl.residue_from_loss_range(row.number("loss_range_db"))
    assert percent == row.printed("residue_percent")


def test_loss_and_residue_round_trip():
    residue = np.geomspace(1e-9, 10.0, 200)
    assert wl.residue_from_loss_range(wl.loss_range_for_residue(residue)) == pytest.approx(residue, rel=1e-13)
    assert wl.residue_from_loss_range(0.0) == 0.0 == wl.loss_range_for_residue(0.0)


def test_loss_and_ohms_agree():
    # both theorems are attained by the same switching contact in a resistive loop
    ohms = np.geomspace(1e-3, 1e3, 30)
    system = loop(0.5, 7.5)
    loss_db = system.loss_db(1e3, contacts={"relay": ohms})
    ceiling = system.ceiling(1e3, ranges={"relay": (0.0, ohms)}).harmonics
    assert wl.residue_from_loss_range(loss_db) == pytest.approx(ceiling, rel=1e-10)


# ---------------------------------------------------------------- the default range


def test_default_range_of_an_ohmic_contact_is_zero_to_its_resistance():
    system = loop(1.0, 8.0).with_contact("relay", resistance_ohm=0.9)
    assert system.ceiling(1e3).harmonics == pytest.approx(resistive(0.1), rel=ROUNDING)
    assert system.ceiling(1e3, contacts={"relay": 1.8}).harmonics == pytest.approx(resistive(0.2), rel=ROUNDING)


def test_default_range_of_a_rectifier_grows_with_level():
    film = wl.Film.rectifying(resistance_ohm=0.8, ideality=1.0, leak_ratio=0.01)
    system = loop(0.1, 8.0).with_contact("relay", film=film)
    emf_v = np.geomspace(1e-4, 10.0, 40)
    ceiling = system.ceiling(1e3, emf_v=emf_v)
    assert np.all(np.diff(ceiling.harmonics) > 0.0)
    # the largest chord is the reverse one, at the peak of the open-circuit voltage
    chord = film.chord_ohm(-np.sqrt(2.0) * emf_v)
    assert ceiling.harmonics == pytest.approx(resistive(chord / 8.1), rel=1e-9)
    assert ceiling.harmonics[0] == pytest.approx(resistive(0.8 / 8.1), rel=0.01)


@pytest.mark.parametrize("film", [wl.Film.tunnelling(resistance_ohm=0.8, scale_v=0.05), wl.Film.ohmic(resistance_ohm=0.8)])
def test_default_range_of_a_film_that_conducts_better_with_level_does_not(film):
    # (zero, resistance at zero voltage) at every level
    ceiling = loop(0.1, 8.0).with_contact("relay", film=film).ceiling(1e3, emf_v=np.geomspace(1e-4, 10.0, 40))
    assert ceiling.harmonics == pytest.approx(resistive(0.8 / 8.1), rel=ROUNDING)


def test_default_range_of_a_bridge_grows_with_its_heat():
    film = wl.Film.bridged(resistance_ohm=0.8)
    ceiling = loop(0.1, 8.0).with_contact("relay", film=film).ceiling(1e3, emf_v=np.array([0.01, 0.1, 0.5]))
    chord = film.chord_ohm(np.sqrt(2.0) * np.array([0.01, 0.1, 0.5]))
    assert ceiling.harmonics == pytest.approx(resistive(chord / 8.1), rel=1e-9)


def test_a_range_of_its_own_comes_before_the_default():
    system = loop(1.0, 8.0).with_contact("relay", resistance_ohm=0.5, range_ohm=(0.2, 4.0))
    assert system.ceiling(1e3).harmonics == pytest.approx(resistive(3.8 / 9.2), rel=ROUNDING)


def thd_in_a_resistive_loop(film, emf_v, loop_ohm):
    """Distortion of a film in a resistive loop: every instant on its own, by bisection, then a plain Fourier sum."""
    emf = np.sqrt(2.0) * emf_v * np.sin(2.0 * np.pi * np.arange(1024) / 1024)
    low, high = -abs(emf) - 1e-300, abs(emf) + 1e-300
    for _ in range(80):
        middle = 0.5 * (low + high)
        above = middle + loop_ohm * film.current_a(middle) > emf
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    spectrum = abs(np.fft.rfft(emf - middle))
    return np.sqrt(np.sum(spectrum[2:] ** 2)) / spectrum[1]


RECTIFIER = wl.Film.rectifying(resistance_ohm=0.8, leak_ratio=0.01)


@pytest.mark.parametrize("emf_v", [0.01, 0.1, 1.0, 10.0])
def test_a_rectifier_stays_below_its_default_ceiling(emf_v):
    system = loop(0.1, 7.9).with_contact("relay", film=RECTIFIER)
    found, bound = thd_in_a_resistive_loop(RECTIFIER, emf_v, 8.0), system.ceiling(1e3, emf_v=emf_v).harmonics
    # and far from nothing, or the comparison would say little
    assert 0.01 * bound < found <= bound


def test_the_default_ceiling_counts_the_level_at_the_driven_frequency():
    # after an equaliser 20 Hz stands 19.3 dB above 1 kHz, and so does the voltage that the contact has to block
    chain = wl.Chain([loop(0.0, 1e3, ()).with_source(emf_v=0.05), wl.Stage("equaliser", equalisation="riaa"), wl.Section("next", source=None, path=[wl.Contact("relay", film=RECTIFIER)], load=wl.Load(resistance_ohm=8.0))])
    level_v = 0.05 * abs(chain.transfer(20.0, contacts={"relay": 0.0}))
    assert thd_in_a_resistive_loop(RECTIFIER, level_v, 8.0) <= chain.ceiling(20.0).harmonics


def test_a_very_low_frequency_does_not_take_the_interpreter_down():
    code = """
import resource
resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
import weaklink as wl
section = wl.Section("s", source=wl.Source(emf_v=1.0), path=[wl.Contact("c", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=8.0))
try:
    section.ceiling(1e-5)
except wl.InputError:
    pass
"""
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, timeout=60).returncode == 0


# ---------------------------------------------------------------- the attack


def random_circuit(random):
    """Source R + L, lead C, contact, load R || C; reactive within the first ten harmonics, as `(ohm, henry, farad, ohm, farad)`."""
    source_ohm = 10 ** random.uniform(0.0, 3.5)
    load_ohm = source_ohm * 10 ** random.uniform(-0.7, 1.7)
    corner = lambda: 10 ** random.uniform(0.0, 2.0)  # times the driven frequency
    omega = 2.0 * np.pi * 1e3
    return source_ohm, source_ohm / (omega * corner()), 1.0 / (omega * source_ohm * corner()), load_ohm, 1.0 / (omega * load_ohm * corner())


def seen_from_contact(circuit, omega):
    """Loop impedance, output per contact current, open-circuit voltage at the contact per EMF."""
    source_ohm, henry, lead_f, load_ohm, load_f = circuit
    upstream_y = 1.0 / (source_ohm + 1j * omega * henry)
    towards_source = 1.0 / (upstream_y + 1j * omega * lead_f)
    towards_load = 1.0 / (1.0 / load_ohm + 1j * omega * load_f)
    return towards_source + towards_load, towards_load, upstream_y * towards_source


class Attack:
    """Periodic steady state of a switching contact on N samples of `periods` periods of the drive.

    (F^-1 diag(M(n w)) F + diag(R(t))) i = e, one real system; a switch that flips changes its inverse by one rank.
    """

    def __init__(self, circuit, samples, periods, low_ohm, high_ohm, driven_hz=1e3):
        self.low, self.high, self.samples, self.periods = low_ohm, high_ohm, samples, periods
        order = np.rint(np.fft.fftfreq(samples, 1.0 / samples)).astype(int)
        omega = 2.0 * np.pi * driven_hz / periods * order
        m, t, drive = seen_from_contact(circuit, omega)
        self.network = np.fft.ifft(m[:, None] * np.fft.fft(np.eye(samples), axis=0), axis=0).real
        emf = np.zeros(samples, complex)
        emf[[periods, -periods]] = 0.5 * drive[[periods, -periods]]
        self.emf = np.fft.ifft(emf).real * samples
        upper = (samples - 1) // 2
        self.lines = np.array([n for n in range(1, upper + 1) if n != periods])
        self.output = t

    def ratio(self, current):
        """Residue over fundamental at the output; direct current does not count. The last axis is time."""
        spectrum = self.output * np.fft.fft(current, axis=-1)
        power = np.sum(abs(spectrum[..., self.lines]) ** 2, axis=-1)
        return np.sqrt(power) / abs(spectrum[..., self.periods])

    def inverse(self, pattern):
        return np.linalg.inv(self.network + np.diag(np.where(pattern, self.high, self.low)))

    def climb(self, pattern):
        """Flips the switch that helps most until none does."""
        inverse = self.inverse(pattern)
        best = self.ratio(inverse @ self.emf)
        for _ in range(20 * self.samples):
            current = inverse @ self.emf
            step = np.where(pattern, self.low - self.high, self.high - self.low)
            scale = step / (1.0 + step * np.diag(inverse))
            candidates = current - (scale * current)[:, None] * inverse.T
            ratios = self.ratio(candidates)
            flip = int(np.argmax(ratios))
            if ratios[flip] <= best * (1.0 + 1e-12):
                break
            best = ratios[flip]
            pattern = pattern.copy()
            pattern[flip] ^= True
            inverse = inverse - scale[flip] * np.outer(inverse[:, flip], inverse[flip])
        return pattern

    def search(self, random, starts):
        """Best ratio found from random starts, runs of one state and kicks to the best so far; solved afresh, without rank-one updates."""
        best, best_pattern = 0.0, None
        for start in range(starts):
            if start % 3 == 0 or best_pattern is None:
                pattern = random.random(self.samples) < random.uniform(0.1, 0.9)
            elif start % 3 == 1:
                # a square wave of any frequency, duty and phase
                phase = np.arange(self.samples) * random.integers(1, self.samples) / self.samples + random.random()
                pattern = phase % 1.0 < random.uniform(0.1, 0.9)
            else:
                pattern = best_pattern ^ (random.random(self.samples) < 3.0 / self.samples)
            pattern = self.climb(pattern)
            found = float(self.ratio(np.linalg.solve(self.network + np.diag(np.where(pattern, self.high, self.low)), self.emf)))
            if found > best:
                best, best_pattern = found, pattern
        return best


def as_section(circuit):
    source_ohm, henry, lead_f, load_ohm, load_f = circuit
    return wl.Section(
        "attacked",
        source=wl.Source(emf_v=1.0, resistance_ohm=source_ohm, inductance_h=henry),
        path=[wl.Lead(capacitance_f=lead_f), wl.Contact("switch", resistance_ohm=0.0)],
        load=wl.Load(resistance_ohm=load_ohm, capacitance_f=load_f),
    )


def attacked(samples, periods, circuits, starts, seed):
    """Rows of best attack over harmonics' ceiling and over chatter's ceiling, one per random circuit."""
    random = np.random.default_rng(seed)
    rows = []
    upper = (samples - 1) // 2
    for _ in range(circuits):
        circuit = random_circuit(random)
        loop_ohm = abs(seen_from_contact(circuit, 2.0 * np.pi * 1e3)[0])
        low = loop_ohm * 10 ** random.uniform(-3.0, 0.0)
        high = low + loop_ohm * 10 ** random.uniform(-1.5, 1.0)
        band_hz = (1e3 / periods * (1.0 - 1e-9), 1e3 * upper / periods * (1.0 + 1e-9))
        ceiling = as_section(circuit).ceiling(1e3, ranges={"switch": (low, high)}, band_hz=band_hz)
        assert ceiling.applies is True
        assert not ceiling.chatter < ceiling.harmonics * (1.0 - ATTACK_ROUNDING)
        best = Attack(circuit, samples, periods, low, high).search(random, starts)
        rows.append((best / ceiling.harmonics, best / ceiling.chatter))
    return np.array(rows)


@pytest.mark.parametrize("samples", [15, 21])
def test_attack_on_the_harmonics(samples):
    reached = attacked(samples, 1, CIRCUITS, starts=60, seed=samples)[:, 0]
    record(f"T1 harmonics, {samples} samples", reached)


@pytest.mark.parametrize(("samples", "periods"), [(27, 2), (39, 2), (45, 3)])
def test_attack_on_chatter(samples, periods):
    rows = attacked(samples, periods, CIRCUITS, starts=60, seed=samples)
    reached = rows[:, 1]
    record(f"T1 chatter, {samples} samples, {periods} periods", reached)


def test_chatter_can_beat_the_harmonics_alone():
    # what makes two numbers necessary: some attack over two periods passes the ceiling that holds for harmonics
    over_harmonics = attacked(27, 2, 24, starts=30, seed=5)[:, 0]
    assert over_harmonics.max() > 1.0


def test_the_attack_solves_what_it_says():
    # no switching: the attack's fundamental is the library's transfer
    random = np.random.default_rng(3)
    for _ in range(20):
        circuit = random_circuit(random)
        attack = Attack(circuit, 15, 1, 30.0, 30.0)
        current = np.linalg.solve(attack.network + 30.0 * np.eye(15), attack.emf)
        output = (attack.output * np.fft.fft(current))[1] / 15.0 * 2.0
        assert output == pytest.approx(as_section(circuit).transfer(1e3, contacts={"switch": 30.0}), rel=1e-10)
        assert attack.ratio(current) < 1e-12
