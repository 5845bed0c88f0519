"""Random sections against two independent ways of solving them: a nodal system in numpy, and chain matrices of scikit-rf."""

import numpy as np
import pytest
import skrf
import weaklink as wl

SECTIONS = 500
POINTS_HZ = np.geomspace(10.0, 50e3, 7)

# rounding of the oracles: a system of about twenty equations whose entries span nine decades
RELATIVE = 1e-11


def log_uniform(random, low, high):
    return float(np.exp(random.uniform(np.log(low), np.log(high))))


def random_section(random):
    """A section as plain data: source (R, L), path of ("contact", ohm, role) and ("lead", R, L, C), load (R, C)."""
    source = (log_uniform(random, 0.05, 5e3), log_uniform(random, 1e-6, 0.7))
    path = [("lead", log_uniform(random, 1e-2, 1e3), log_uniform(random, 1e-7, 1e-2), log_uniform(random, 1e-12, 1e-8)) for _ in range(random.integers(0, 5))]
    for _ in range(random.integers(1, 5)):
        role = ["signal", "return"][random.integers(2)]
        path.insert(random.integers(len(path) + 1), ("contact", log_uniform(random, 1e-3, 1e5), role))
    load = (log_uniform(random, 4.0, 1e5), log_uniform(random, 1e-11, 1e-8))
    return source, path, load


def built(data):
    (source_ohm, source_h), path, (load_ohm, load_f) = data
    items = []
    for number, item in enumerate(path):
        if item[0] == "contact":
            items.append(wl.Contact(f"c{number}", resistance_ohm=item[1], role=item[2]))
        else:
            items.append(wl.Lead(resistance_ohm=item[1], inductance_h=item[2], capacitance_f=item[3]))
    return wl.Section("random", source=wl.Source(emf_v=1.0, resistance_ohm=source_ohm, inductance_h=source_h), path=items, load=wl.Load(resistance_ohm=load_ohm, capacitance_f=load_f))


def nodal(data, frequency_hz, *, perfect=False):
    """Load voltage per EMF from the nodal equations, with the return conductor as nodes of its own.

    Series branches keep their current as an unknown (v_a - v_b = Z i), so that a milliohm beside a megohm loses no
    digits and a perfect contact is a branch with Z = 0. Currents are counted per volt of 1 kohm, to keep the rows of one size.
    """
    unit_ohm = 1e3
    s = 2j * np.pi * frequency_hz
    (source_ohm, source_h), path, (load_ohm, load_f) = data
    branches = []  # (from, to, impedance); node -1 is the reference: the source's return terminal, where the EMF begins
    shunts = []  # (from, to, admittance)
    nodes = 1  # node 0: the EMF's hot end
    signal, back = 0, -1

    def series(start, impedance):
        nonlocal nodes
        branches.append((start, nodes, impedance))
        nodes += 1
        return nodes - 1

    signal = series(signal, source_ohm + s * source_h)
    for item in path:
        if item[0] == "contact":
            ohm = 0.0 if perfect else item[1]
            if item[2] == "signal":
                signal = series(signal, ohm)
            else:
                back = series(back, ohm)
        else:
            signal = series(signal, item[1] + s * item[2])
            shunts.append((signal, back, s * item[3]))
    shunts.append((signal, back, 1.0 / load_ohm + s * load_f))
    size = nodes + len(branches) + 1
    matrix = np.zeros((size, size), complex)
    right = np.zeros(size, complex)
    for number, (a, b, impedance) in enumerate(branches, start=nodes):
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node >= 0:
                matrix[node, number] += sign
                matrix[number, node] += sign
        matrix[number, number] = -impedance / unit_ohm
    for a, b, admittance in shunts:
        for row, column, sign in ((a, a, 1), (a, b, -1), (b, a, -1), (b, b, 1)):
            if row >= 0 and column >= 0:
                matrix[row, column] += sign * admittance * unit_ohm
    matrix[0, -1] = -1.0
    matrix[-1, 0] = 1.0
    right[-1] = 1.0
    voltage = np.linalg.solve(matrix, right)
    return voltage[signal] - (voltage[back] if back >= 0 else 0.0)


def chain_matrices(data, frequency_hz, *, perfect=False):
    """Load voltage per EMF from a scikit-rf cascade: every element a two-port of its own, given by its chain matrix."""
    s = 2j * np.pi * frequency_hz
    (source_ohm, source_h), path, (load_ohm, load_f) = data
    one, zero = np.ones_like(s), np.zeros_like(s)

    def series(impedance):
        return np.array([[one, impedance * one], [zero, one]]).transpose(2, 0, 1)

    def shunt(admittance):
        return np.array([[one, zero], [admittance * one, one]]).transpose(2, 0, 1)

    elements = [series(source_ohm + s * source_h)]
    for item in path:
        if item[0] == "contact":
            elements.append(series(0.0 if perfect else item[1]))
        else:
            elements += [series(item[1] + s * item[2]), shunt(s * item[3])]
    elements.append(shunt(1.0 / load_ohm + s * load_f))
    # scattering parameters lose digits where an impedance is far from the reference: take the middle of source and load
    reference_ohm = np.sqrt((source_ohm + 1.0) * load_ohm)
    grid = skrf.Frequency.from_f(frequency_hz, unit="Hz")
    networks = [skrf.Network(frequency=grid, s=skrf.network.a2s(a, reference_ohm), z0=reference_ohm) for a in elements]
    whole = networks[0]
    for network in networks[1:]:
        whole = whole**network
    return 1.0 / whole.a[:, 0, 0]


def sections():
    random = np.random.default_rng(20240607)
    return [random_section(random) for _ in range(SECTIONS)]


def worst(oracle):
    """Largest relative error of the transfer, and of the loss (in dB below one dB, else as a share of it)."""
    of_transfer = of_loss = 0.0
    for data in sections():
        system = built(data)
        expected = oracle(data, perfect=False)
        perfect = oracle(data, perfect=True)
        of_transfer = max(of_transfer, np.max(abs(system.transfer(POINTS_HZ) / expected - 1.0)))
        expected_db = 20.0 * np.log10(abs(perfect / expected))
        error_db = abs(system.loss_db(POINTS_HZ) - expected_db)
        of_loss = max(of_loss, np.max(error_db / np.maximum(1.0, abs(expected_db))))
    return of_transfer, of_loss


def test_against_nodal_equations():
    of_transfer, of_loss = worst(lambda data, perfect: np.array([nodal(data, f, perfect=perfect) for f in POINTS_HZ]))
    print(f"nodal: transfer {of_transfer:.1e}, loss {of_loss:.1e}")
    assert of_transfer < RELATIVE and of_loss < RELATIVE


def test_against_scikit_rf():
    of_transfer, of_loss = worst(lambda data, perfect: chain_matrices(data, POINTS_HZ, perfect=perfect))
    print(f"scikit-rf: transfer {of_transfer:.1e}, loss {of_loss:.1e}")
    assert of_transfer < RELATIVE and of_loss < RELATIVE


def test_the_sections_are_worth_testing():
    losses = np.array([built(data).loss_db(1e3) for data in sections()])
    assert (losses > 1.0).mean() > 0.2 and (losses < 0.1).mean() > 0.1
    assert any(item[0] == "contact" and item[2] == "return" for data in sections() for item in data[1])


def test_response_change_is_the_spread_of_the_loss():
    # a fine grid comes within this of the extremes that the library refines: second order in a step of 1/400 octave
    grid_db = 1e-4
    frequency_hz = np.geomspace(20.0, 20e3, 4000)
    for data in sections()[:50]:
        system = built(data)
        spread = np.ptp(system.loss_db(frequency_hz))
        change = system.response_change_db()
        assert spread - 1e-9 <= change <= spread + grid_db * max(1.0, spread)


def test_a_chain_is_the_product_of_its_sections():
    random = np.random.default_rng(11)
    for _ in range(50):
        first, second = random_section(random), random_section(random)
        output_ohm = log_uniform(random, 1.0, 1e3)
        second = ((output_ohm, 0.0), *second[1:])
        gain_db = random.uniform(-20.0, 60.0)
        last = built(second)
        renamed = [wl.Contact(f"d{k}", resistance_ohm=i.resistance_ohm, role=i.role) if isinstance(i, wl.Contact) else i for k, i in enumerate(last.path)]
        chain = wl.Chain([built(first), wl.Stage("stage", gain_db=gain_db, output_resistance_ohm=output_ohm), wl.Section("last", source=None, path=renamed, load=last.load)])
        for f in POINTS_HZ:
            expected = nodal(first, f) * 10 ** (gain_db / 20.0) * nodal(second, f)
            assert chain.transfer(f) == pytest.approx(expected, rel=RELATIVE)
