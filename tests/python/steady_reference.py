"""A slow, plain oracle for the periodic steady state of a passive section with nonlinear contacts.

Written from the physics (Kirchhoff's laws branch by branch, film laws, Small's loudspeaker), sharing no formula with the
fast solver it judges. Three ways to one answer: dense Newton on samples (`harmonics_newton`), the same equations with many
digits (`harmonics_mpmath`), integration in time of hand-written state equations (`periodic_by_integration`).

Convention of all harmonics X: x(t) = X[0] + Re sum_h sqrt(2) X[h] exp(j h w t): complex rms, cosine reference; X[0] is the
mean. Tones: list of (harmonic index, complex rms EMF). Sections are what `Section.to_dict()` gives. Run it to check itself.
"""

import math

import numpy as np
from mpmath import mp
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

BOLTZMANN_J_PER_K, CHARGE_C, ROOM_K = 1.380649e-23, 1.602176634e-19, 293.15  # CODATA 2018, exact
THERMAL_V = BOLTZMANN_J_PER_K * ROOM_K / CHARGE_C
HEATING_V = 2 * math.pi / math.sqrt(3) * THERMAL_V  # 2 sqrt(L) T0 with L = pi^2/3 (k/e)^2
EXPONENT_LIMIT = 700.0  # a law goes on along its tangent beyond it
TAIL = 1e-9  # the top tenth of the harmonics, relative to the largest deviation, for enough samples
SOLVED = 1e-11  # residual that counts as solved, relative to its terms; Newton goes on to rounding
MOST_DENSE, MOST_RESISTIVE = 4100, 2**18  # caps on unknowns: contacts x samples, dense and decoupled

# ---------------------------------------------------------------------------------------------------------- film laws


def law(film, halves=1):
    """(shape, g, unit, share): i = g (share unit shape(u/unit) + (1-share) u); halves=2: the film as half the current sees it."""
    g = 1.0 / (halves * film["resistance_ohm"])
    if film["law"] == "tunnelling":
        return "sinh", g, film["scale_v"], 1.0
    if film["law"] == "rectifying":
        return "expm1", g, film["ideality"] * THERMAL_V, 1.0 - film["leak_ratio"]
    return "atan", g, HEATING_V, 1.0


def excess(shape, x):
    """shape(x) - x, by its series where the two would cancel, and the slope of shape."""
    if shape == "atan":
        series = sum((-1) ** k * x ** (2 * k + 1) / (2 * k + 1) for k in range(1, 22))
        return np.where(np.abs(x) < 0.3, series, np.arctan(x) - x), 1 / (1 + x * x)
    low = -EXPONENT_LIMIT if shape == "sinh" else -np.inf
    y = np.clip(x, low, EXPONENT_LIMIT)
    plain, slope = (np.sinh(y) - x, np.cosh(y)) if shape == "sinh" else (np.expm1(y) - x, np.exp(y))
    small, z = np.abs(x) < 1.0, np.clip(x, -1.0, 1.0)
    powers = range(3, 24, 2) if shape == "sinh" else range(2, 22)
    series = sum(z**k / math.factorial(k) for k in powers)
    return np.where(small, series, plain + slope * np.where(x == y, 0.0, x - y)), slope


def phi(film, u):
    """What the film carries beyond its zero-voltage resistance, A, and the slope of its whole current, S."""
    shape, g, unit, share = film
    more, slope = excess(shape, u / unit)
    return g * share * unit * more, g * (share * slope + 1.0 - share)


def film_voltage(film, r, x):
    """u with u + r i(u) = x: Newton between brackets; convex or concave on either side of zero, so it comes down one side."""
    shape, g, unit, share = film
    top = np.abs(x)  # |u| <= |x|, and |u| is at most what the film alone would take at the current x/r
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        if shape == "sinh":
            top = np.minimum(top, unit * np.arcsinh(np.abs(x) / (r * g * unit)))
        elif shape == "expm1" and share > 0:
            top = np.where(x > 0, np.minimum(top, unit * np.log1p(np.abs(x) / (r * g * unit * share))), top)
    u = np.sign(x) * top if shape == "sinh" else np.where(x > 0, top, 0.0) if shape == "expm1" else 0.0 * x
    for _ in range(200):
        more, slope = phi(film, u)
        step = (u + r * (g * u + more) - x) / (1 + r * slope)
        new = np.clip(u - step, np.minimum(np.sign(x) * top, 0.0), np.maximum(np.sign(x) * top, 0.0))
        done = np.all(np.abs(new - u) <= 1e-15 * np.abs(u))
        u = new
        if done:
            break
    return u


def film_deviation(film, r, u0, dx):
    """(du, di, d du/dx, d di/dx) for the unknown x = u + r i, as deviations from the zero-voltage line through u0.

    (1 + r g) du + r phi(u0 + du) = dx: the right side is never a difference of two nearly equal numbers.
    """
    g = film[1]
    du = film_voltage(film, r, (1 + r * g) * u0 + dx) - u0
    for _ in range(4):
        more, slope = phi(film, u0 + du)
        du = du - ((1 + r * g) * du + r * more - dx) / (1 + r * slope)
    more, slope = phi(film, u0 + du)
    return du, g * du + more, 1 / (1 + r * slope), slope / (1 + r * slope)


# ------------------------------------------------------------------------- the network: every branch current an unknown


class Network:
    """Modified nodal analysis with two rails: A0 + j w A1 on node voltages and branch currents. Ohmic contacts are branches."""

    def __init__(self, section):
        self.nodes, self.branches = 0, []  # branch: (kind, name, from, to, first value, second value)
        self.films, self.ohmic = [], []  # (branch, contact, halves, law), (branch, contact, halves)
        top, rail = self.node(), 0
        self.add("emf", "emf", top, 0)
        source, load = section["source"], section["load"]
        top = self.series("source", top, source["resistance_ohm"], source.get("inductance_h", 0.0))
        for number, item in enumerate(section["path"]):
            (kind, part), = item.items()
            if kind == "lead":
                top = self.series(f"lead {number}", top, part.get("resistance_ohm", 0.0), part.get("inductance_h", 0.0))
                if part.get("capacitance_f", 0.0) > 0:
                    self.add("c", f"lead {number} c", top, rail, part["capacitance_f"])
            elif kind == "divider":
                ratio = 10 ** (part["setting_db"] / 20)
                top = self.series(f"track above {number}", top, (1 - ratio) * part["track_ohm"])
                self.add("rl", f"track below {number}", top, rail, ratio * part["track_ohm"], 0.0)
                if part.get("wiper"):
                    top, rail = self.contact(part["wiper"], top, rail)
            else:
                top, rail = self.contact(part, top, rail)
        if load.get("capacitance_f", 0.0) > 0:
            self.add("c", "load c", top, rail, load["capacitance_f"])
        speaker = load.get("loudspeaker")
        if speaker:  # Small: Zm = Res/(1 + j Qms (f/f0 - f0/f)) is Res beside C = Qms/(w0 Res) and L = Res/(w0 Qms)
            w0, res, cap, ind = motional(speaker)
            inner = self.series("voice coil", top, speaker["voice_coil_ohm"], speaker.get("voice_coil_h", 0.0))
            self.add("rl", "motional r", inner, rail, res, 0.0)
            self.add("rl", "motional l", inner, rail, 0.0, ind)
            self.add("c", "motional c", inner, rail, cap)
        else:
            self.add("rl", "load", top, rail, load["resistance_ohm"], 0.0)
        self.top, self.rail = top, rail
        n = self.size = self.nodes + len(self.branches)
        self.a1 = np.zeros((n, n))
        self.a0 = {"norton": np.zeros((n, n)), "hybrid": np.zeros((n, n))}
        films = {branch: (contact, film) for branch, contact, _, film in self.films}
        for b, (kind, _, p, q, first, second) in enumerate(self.branches):
            row = self.nodes + b
            for mode, a in self.a0.items():
                for node, sign in ((p, 1.0), (q, -1.0)):
                    if node:
                        a[node - 1, row] += sign  # currents that leave a node sum to zero
                        if kind == "c":
                            self.a1[row, node - 1] = sign * first
                        elif not (kind == "film" and mode == "hybrid" and films[b][0]["role"] == "shunt"):
                            a[row, node - 1] += sign
                if kind == "c":
                    a[row, row] = -1.0  # jwC v - i = 0
                elif kind == "rl":
                    a[row, row] = -first  # v - (R + jwL) i = 0
                    self.a1[row, row] = -second
                elif kind == "film" and mode == "norton":
                    a[row, row] = -1.0 / films[b][1][1]  # v - R i = -R phi
                elif kind == "film" and films[b][0]["role"] == "shunt":
                    a[row, row] = 1.0  # hybrid: i of a shunt film given, v of a series film given
        self.inputs = [self.nodes] + [self.nodes + film[0] for film in self.films]  # rows: EMF (branch 0), films
        self.resistive = not self.a1.any()

    def node(self):
        self.nodes += 1
        return self.nodes

    def add(self, kind, name, start, end, first=0.0, second=0.0):
        self.branches.append((kind, name, start, end, first, second))
        return len(self.branches) - 1

    def series(self, name, start, ohm, henry=0.0):
        if ohm == 0.0 and henry == 0.0:
            return start
        self.add("rl", name, start, end := self.node(), ohm, henry)
        return end

    def contact(self, contact, top, rail):
        """Adds a contact; returns the ends of the two rails behind it. In the return, its current runs from load to source."""
        film, role, halves = contact["film"], contact.get("role", "signal"), 1
        if film is None:
            return top, rail  # an open shunt
        contact = {**contact, "role": role, "constriction_ohm": contact.get("constriction_ohm", 0.0)}
        if role == "shunt":
            start, end, after = top, rail, (top, rail)
        elif role == "signal":
            start, end = top, self.node()
            after = (end, rail)
        else:
            halves = 2 if role == "shared_return" else 1  # v(2 i): half the conductance, twice the constriction
            start, end = self.node(), rail
            after = (top, start)
        name = "contact " + contact["name"]
        if film["law"] == "ohmic":
            ohm = halves * (film["resistance_ohm"] + contact["constriction_ohm"])
            self.ohmic.append((self.add("rl", name, start, end, ohm, 0.0), contact, halves))
        else:
            start = self.series("constriction " + contact["name"], start, halves * contact["constriction_ohm"])
            self.films.append((self.add("film", name, start, end), contact, halves, law(film, halves)))
        return after

    def answers(self, mode, omegas):
        """Unknowns (frequency, unknown, input) for one unit in each input row; one step of refinement."""
        a = self.a0[mode] + 1j * np.asarray(omegas)[:, None, None] * self.a1
        b = np.zeros((len(a), self.size, len(self.inputs)), complex)
        b[:, self.inputs, np.arange(len(self.inputs))] = 1.0
        scale = 1 / np.abs(a).max(axis=2, keepdims=True)
        a, b = a * scale, b * scale
        y = np.linalg.solve(a, b)
        return y + np.linalg.solve(a, b - a @ y)

    def voltage(self, y, start, end):
        return (y[:, start - 1] if start else 0.0) - (y[:, end - 1] if end else 0.0)

    def ports(self, y):
        """Voltage and current of each film, (frequency, film, ...)."""
        v = [self.voltage(y, *self.branches[b][2:4]) for b, *_ in self.films]
        return np.stack(v, axis=1), np.stack([y[:, self.nodes + b] for b, *_ in self.films], axis=1)


def motional(speaker):
    w0 = 2 * math.pi * speaker["resonance_hz"]
    res = speaker["voice_coil_ohm"] * speaker["mechanical_q"] / speaker["electrical_q"]
    return w0, res, speaker["mechanical_q"] / (w0 * res), res / (w0 * speaker["mechanical_q"])


# ------------------------------------------------------------------------------------------ 1. dense Newton on samples


def to_harmonics(x):
    c = np.fft.rfft(x, axis=0) / len(x) * math.sqrt(2)
    c[0] /= math.sqrt(2)
    return c


def to_time(harmonics, samples):
    c = np.array(harmonics, complex) / math.sqrt(2)
    c[0] *= math.sqrt(2)
    return np.fft.irfft(c, samples, axis=0) * samples


def emf_harmonics(section, tones, count):
    e = np.zeros(count, complex)
    for index, amplitude in tones or [(1, section["source"]["emf_v"])]:
        e[index] += amplitude if index else np.real(amplitude)
    return e


def spread(y, count):
    return np.broadcast_to(y, (count, *y.shape[1:])) if len(y) == 1 else y


def newton(net, films, shunt, h, u0, r, dx, resistive):
    """dx with b + H a = 0, where (a, b) is (u, r i) of a series film and (r i, u) of a shunt. Returns dx, residual ratio."""
    n, k = u0.shape

    def residual(dx):
        parts = [film_deviation(films[j], r[j], u0[:, j], dx[:, j]) for j in range(k)]
        du, di, su, si = (np.stack([p[m] for p in parts], axis=1) for m in range(4))
        a, b = np.where(shunt, r * di, du), np.where(shunt, du, r * di)
        slope_a, slope_b = np.where(shunt, r * si, su), np.where(shunt, su, r * si)
        answer = a @ h[0].real.T if resistive else np.fft.irfft(np.einsum("fkj,fj->fk", h, np.fft.rfft(a, axis=0)), n, axis=0)
        return b + answer, slope_a, slope_b, np.abs(b).max() + np.abs(answer).max() + 1e-300

    f, slope_a, slope_b, size = residual(dx)
    if not resistive:
        kernel = np.fft.irfft(h, n, axis=0)
        turn = (np.arange(n)[:, None] - np.arange(n)[None, :]) % n
        blocks = [[kernel[turn, i, j] for j in range(k)] for i in range(k)]
    for _ in range(60):
        if resistive:
            jacobian = h[0].real[None] * slope_a[:, None, :] + np.eye(k) * slope_b[:, :, None]
            step = np.linalg.solve(jacobian, f[:, :, None])[:, :, 0]
        else:
            jacobian = np.block([[blocks[i][j] * slope_a[None, :, j] for j in range(k)] for i in range(k)])
            jacobian[np.diag_indices(n * k)] += slope_b.T.ravel()
            step = np.linalg.solve(jacobian, f.T.ravel()).reshape(k, n).T
        damp, merit = 1.0, np.linalg.norm(f)
        while damp > 1e-4:
            new = residual(dx - damp * step)
            if np.linalg.norm(new[0]) < (1 - 1e-4 * damp) * merit:
                break
            damp /= 2
        else:
            break  # no way down: rounding, or stuck
        dx = dx - damp * step
        f, slope_a, slope_b, size = new
    return dx, np.abs(f).max() / size


def harmonics_newton(section, base_hz, tones=None, samples=63, harmonics=None, most_samples=None, tail=TAIL):
    """Steady state by collocation at an odd number of samples, doubled until the tail is below `tail`, or a doubling changes the
    residue by less, or the cap is hit.

    Returns load and linear_load (rms harmonics 0..), contacts (name: voltage, current in time; of the contact itself, so
    both channels' current for a shared return), converged, residual, tail, change (of the residue in the last doubling,
    relative), samples, and for `energy_balance` currents and ohms of the branches.
    """
    net = Network(section)
    films, count = [film[3] for film in net.films], len(net.films)
    shunt = np.array([film[1]["role"] == "shunt" for film in net.films], bool)
    top_tone = max(index for index, _ in tones or [(1, 1)])
    n = max(samples, 8 * top_tone + 1) | 1
    most = most_samples or max(n, (MOST_RESISTIVE if net.resistive else MOST_DENSE) // max(count, 1))
    dx, before, change = None, None, math.inf
    while True:
        freqs = n // 2 + 1
        omegas = [0.0] if net.resistive else 2 * math.pi * base_hz * np.arange(freqs)
        e = emf_harmonics(section, tones, freqs)
        y = spread(net.answers("norton", omegas), freqs)
        unknowns = y[:, :, 0] * e[:, None]
        linear = net.voltage(unknowns, net.top, net.rail)
        if not count:
            return finish(net, n, e, unknowns, linear, linear, {}, 0.0, 0.0, 0.0, True, harmonics)
        linear_film = to_time(net.ports(unknowns)[0], n)
        hybrid = net.answers("hybrid", omegas)[:, :, 1:]
        v, i = net.ports(hybrid)
        h = -np.where(shunt[None, :, None], v, i)
        own = np.abs(h[min(top_tone, len(h) - 1)].diagonal())
        r = np.maximum(np.where(shunt, own, 1 / np.maximum(own, 1e-300)), 1e-9)
        h = h * np.where(shunt, 1.0, r)[:, None] / np.where(shunt, r, 1.0)[None, :]
        start = np.zeros((n, count)) if dx is None else to_time(np.pad(to_harmonics(dx), ((0, freqs - len(dx) // 2 - 1), (0, 0))), n)
        dx, residual = newton(net, films, shunt, h, linear_film, r, start, net.resistive)
        done, step = (1.0 if residual < SOLVED else 0.0), 0.1
        reached = np.zeros((n, count))
        while done < 1.0 and step > 1e-4:  # walk up in EMF
            at = min(1.0, done + step)
            dx, residual = newton(net, films, shunt, h, at * linear_film, r, reached, net.resistive)
            if residual < SOLVED:
                done, step, reached = at, 2 * step, dx
            else:
                step /= 2
        u = np.stack([linear_film[:, j] + film_deviation(films[j], r[j], linear_film[:, j], dx[:, j])[0] for j in range(count)], axis=1)
        more = np.stack([phi(films[j], u[:, j])[0] for j in range(count)], axis=1)
        ohm = np.array([1 / film[1] for film in films])
        added = np.einsum("fuj,fj->fu", y[:, :, 1:], -ohm * to_harmonics(more))  # phi acts beside the zero-voltage resistances
        deviation = net.voltage(added, net.top, net.rail)
        edge = max(2, freqs // 10)
        tails = [deviation, *to_harmonics(u - linear_film).T]
        worst = max(np.abs(x[-edge:]).max() / max(np.abs(x).max(), 1e-300) for x in tails)
        if before is not None:
            change = np.linalg.norm((deviation[: len(before)] - before)[2:]) / max(np.linalg.norm(deviation[2:]), 1e-300)
        before, ok = deviation, residual < SOLVED
        enough = worst < tail or change < tail  # a weak contact's own tail may stand on rounding
        if enough or not ok or 2 * n + 1 > most:
            break
        n = 2 * n + 1
    waves = {}
    for j, (_, contact, halves, film) in enumerate(net.films):
        current = film[1] * u[:, j] + more[:, j]
        waves[contact["name"]] = {"voltage": u[:, j] + halves * contact["constriction_ohm"] * current, "current": halves * current,
                                  "film_voltage": u[:, j], "halves": halves}  # fmt: skip
    return finish(net, n, e, unknowns + added, linear + deviation, linear, waves, residual, worst, change, bool(ok and enough), harmonics)


def finish(net, n, e, unknowns, load, linear, waves, residual, worst, change, converged, harmonics):
    for branch, contact, halves in net.ohmic:
        current = to_time(unknowns[:, net.nodes + branch], n) * halves
        ohm = contact["film"]["resistance_ohm"] + contact["constriction_ohm"]
        waves[contact["name"]] = {"voltage": ohm * current, "current": current}
    keep = slice(None if harmonics is None else harmonics + 1)
    return {"load": load[keep], "linear_load": linear[keep], "contacts": waves, "converged": converged, "residual": residual,
            "tail": worst, "change": change, "samples": n, "emf": e, "currents": unknowns[:, net.nodes :].T,
            "ohms": [b[4] if b[0] == "rl" else 0.0 for b in net.branches]}  # fmt: skip


def thd(harmonics, fundamental=1):
    """Root sum of squares of the harmonics above the fundamental over the fundamental; the mean does not count."""
    x = np.abs(np.asarray(harmonics, complex))
    return float(np.linalg.norm(x[fundamental + 1 :]) / x[fundamental])


def energy_balance(result):
    """(power from the source, power in every resistance, power in every film), W; of one channel."""
    source = -float(np.real(np.sum(result["emf"] * np.conj(result["currents"][0]))))
    ohms = sum(ohm * float(np.sum(np.abs(i) ** 2)) for ohm, i in zip(result["ohms"], result["currents"], strict=True))
    films = sum(float(np.mean(w["film_voltage"] * w["current"])) / w["halves"] for w in result["contacts"].values() if "halves" in w)
    return source, ohms, films


# ----------------------------------------------------------------------------------------------------- 2. many digits


def film_mp(film, u):
    """Whole current of a film and its slope, many digits, by the law as it stands."""
    shape, g, unit, share = film
    x = u / mp.mpf(unit)
    y = min(x, mp.mpf(EXPONENT_LIMIT)) if shape != "sinh" else max(min(x, mp.mpf(EXPONENT_LIMIT)), -mp.mpf(EXPONENT_LIMIT))
    if shape == "atan":
        value, slope = mp.atan(x), 1 / (1 + x * x)
    elif shape == "sinh":
        value, slope = mp.sinh(y) + mp.cosh(y) * (x - y), mp.cosh(y)
    else:
        value, slope = mp.exp(y) - 1 + mp.exp(y) * (x - y), mp.exp(y)
    return g * (mp.mpf(share) * unit * value + (1 - mp.mpf(share)) * u), g * (share * slope + 1 - mp.mpf(share))


def harmonics_mpmath(section, base_hz, tones=None, samples=45, harmonics=9, digits=40):
    """Load harmonics (list of mpc) with u + Z (i(u) - u/R) = u0 solved plainly at `samples` points; begins at the float answer.

    The solution is unique (every law rises, the network is passive), so where it begins decides nothing but the time.
    """
    old, mp.dps = mp.dps, digits + 20  # what plain differences lose
    try:
        net, n = Network(section), samples | 1
        k, m = len(net.films), n // 2
        films = [film[3] for film in net.films]
        ohm = [1 / mp.mpf(film[1]) for film in films]
        e = emf_harmonics(section, tones, m + 1)
        ports, loads = [], []
        a0, a1 = mp.matrix(net.a0["norton"].tolist()), mp.matrix(net.a1.tolist())
        for j, (b, *_) in enumerate(net.films):
            a0[net.nodes + b, net.nodes + b] = -ohm[j]  # R with all digits, where g was the rounded one

        def across(y, start, end):
            return (y[start - 1] if start else mp.mpf(0)) - (y[end - 1] if end else mp.mpf(0))

        for f in range(1 if net.resistive else m + 1):
            a = a0 + mp.mpc(0, 2 * mp.pi * mp.mpf(base_hz) * f) * a1
            port, load = [], []
            for row, unit in zip(net.inputs, [mp.mpf(1), *[-x for x in ohm]], strict=True):
                b = mp.zeros(net.size, 1)
                b[row] = unit
                y = mp.lu_solve(a, b)
                port.append([across(y, *net.branches[film[0]][2:4]) for film in net.films])
                load.append(across(y, net.top, net.rail))
            ports.append(port)
            loads.append(load)
        at = (lambda f: 0) if net.resistive else (lambda f: f)
        turn = [mp.expjpi(mp.mpf(2 * t) / n) for t in range(n)]
        root = [mp.sqrt(2) if f else mp.mpf(1) for f in range(m + 1)]
        emf = [mp.mpc(complex(x)) for x in e]
        wave = [[sum(mp.re(root[f] * emf[f] * ports[at(f)][0][j] * turn[f * t % n]) for f in range(m + 1) if emf[f]) for j in range(k)] for t in range(n)]
        rough = harmonics_newton(section, base_hz, tones, samples=n, most_samples=n)
        u = [[mp.mpf(float(rough["contacts"][film[1]["name"]]["film_voltage"][t])) for film in net.films] for t in range(n)]
        if not net.resistive:  # kernel[t][i][j]: film i's voltage t samples after an impulse of extra current in film j
            kernel = [[[mp.re(ports[0][1 + j][i] + 2 * sum(ports[f][1 + j][i] * turn[f * t % n] for f in range(1, m + 1))) / n
                        for j in range(k)] for i in range(k)] for t in range(n)]  # fmt: skip
        for _ in range(50):
            now = [[film_mp(films[j], u[t][j]) for j in range(k)] for t in range(n)]
            extra = [[now[t][j][0] - u[t][j] / ohm[j] for j in range(k)] for t in range(n)]
            slope = [[now[t][j][1] - 1 / ohm[j] for j in range(k)] for t in range(n)]
            largest = mp.mpf(0)
            groups = [[t] for t in range(n)] if net.resistive else [list(range(n))]  # instants that hang together
            for group in groups:
                size = len(group) * k
                jac, f = mp.eye(size), mp.zeros(size, 1)
                for a, t in enumerate(group):
                    for i in range(k):
                        f[a * k + i] = u[t][i] - wave[t][i]
                        for b, s in enumerate(group):
                            for j in range(k):
                                z = -mp.re(ports[0][1 + j][i]) if net.resistive else -kernel[(t - s) % n][i][j]
                                f[a * k + i] += z * extra[s][j]
                                jac[a * k + i, b * k + j] += z * slope[s][j]
                step = mp.lu_solve(jac, f)
                for a, t in enumerate(group):
                    for i in range(k):
                        u[t][i] -= step[a * k + i]
                        largest = max(largest, abs(step[a * k + i]))
            if largest <= mp.mpf(10) ** (-digits) * max(abs(x) for row in u for x in row):
                break
        else:
            raise ArithmeticError("mpmath Newton did not settle in 50 rounds")
        extra = [[film_mp(films[j], u[t][j])[0] - u[t][j] / ohm[j] for j in range(k)] for t in range(n)]
        return [emf[f] * loads[at(f)][0] + sum(loads[at(f)][1 + j] * root[f] / n * sum(extra[t][j] * mp.conj(turn[f * t % n]) for t in range(n))
                for j in range(k)) for f in range(min(harmonics, m) + 1)]  # fmt: skip
    finally:
        mp.dps = old


# ------------------------------------------------------------------------------------------------ 3. integration in time


def film_current(film, u):
    """The laws once more, in plain scalars."""
    r = film["resistance_ohm"]
    if film["law"] == "ohmic":
        return u / r
    if film["law"] == "tunnelling":
        return film["scale_v"] / r * math.sinh(u / film["scale_v"])
    if film["law"] == "bridged":
        return HEATING_V / r * math.atan(u / HEATING_V)
    unit, leak = film["ideality"] * THERMAL_V, film["leak_ratio"]
    return (1 - leak) / r * unit * math.expm1(u / unit) + leak / r * u


def series_current(emf_v, ohm, film):
    """Current of an EMF behind a resistance through a film, by bracketing: a sign change in voltage, or in current."""
    if emf_v == 0.0:
        return 0.0
    unit = {"tunnelling": lambda: film["scale_v"], "rectifying": lambda: film["ideality"] * THERMAL_V}.get(film["law"], lambda: abs(emf_v))()
    end = math.copysign(min(abs(emf_v), 600 * unit), emf_v)
    u = brentq(lambda u: u + ohm * film_current(film, u) - emf_v, 0.0, end, xtol=1e-18, rtol=1e-15, maxiter=500)
    return film_current(film, u)


def film_voltage_at(film, i):
    """Film voltage at a current; a bridge has none from (pi/2) VT/R on."""
    r = film["resistance_ohm"]
    if film["law"] == "ohmic":
        return r * i
    if film["law"] == "tunnelling":
        return film["scale_v"] * math.asinh(r * i / film["scale_v"])
    if film["law"] == "bridged":
        return HEATING_V * math.tan(r * i / HEATING_V) if abs(r * i / HEATING_V) < 1.57 else math.copysign(math.inf, i)
    unit, leak = film["ideality"] * THERMAL_V, film["leak_ratio"]
    low, high = (i * r / leak, 0.0) if i < 0 else (0.0, unit * math.log1p(i * r / (unit * (1 - leak))) if leak < 1 else i * r)
    return brentq(lambda u: film_current(film, u) - i, 1.01 * low, 1.01 * high, xtol=1e-18, rtol=1e-15) if i else 0.0


def periodic_by_integration(section, base_hz, tones=None, harmonics=9, samples=512, tolerance=1e-11, method="LSODA", settle=3):
    """Load harmonics by integrating the state equations to a period that closes (shooting), for one series contact.

    Source R, L; series resistances; capacitors to the return before and behind the contact; a load R or a loudspeaker.
    States: i1 in the source's inductance, v1 before and v2 behind the contact, i2 in the voice coil, and the motional vm, im.
    """
    source, load, speaker = section["source"], section["load"], section["load"].get("loudspeaker")
    r1, l1, c1, c2, r_mid, contact = source["resistance_ohm"], source.get("inductance_h", 0.0), 0.0, load.get("capacitance_f", 0.0), 0.0, None
    for item in section["path"]:
        (kind, part), = item.items()
        if kind == "contact" and contact is None and part.get("role", "signal") in ("signal", "return", "shared_return"):
            contact = part
        elif kind == "lead" and part.get("inductance_h", 0.0) == 0.0:
            ohm, farad = part.get("resistance_ohm", 0.0), part.get("capacitance_f", 0.0)
            if (contact is None and c1 > 0 and ohm > 0) or (contact is not None and c2 > load.get("capacitance_f", 0.0) and ohm > 0):
                raise NotImplementedError("a resistance between two capacitors on one side of the contact")
            if contact is None:
                r1, c1 = r1 + ohm, c1 + farad
            else:
                r_mid, c2 = r_mid + ohm, c2 + farad
        else:
            raise NotImplementedError(f"{kind} in a section for integration")
    film = dict(contact["film"])
    both = 2.0 if contact.get("role") == "shared_return" else 1.0
    film["resistance_ohm"], r_mid = both * film["resistance_ohm"], r_mid + both * contact.get("constriction_ohm", 0.0)
    re, l2 = (speaker["voice_coil_ohm"], speaker.get("voice_coil_h", 0.0)) if speaker else (load["resistance_ohm"], 0.0)
    res, cm, lm = motional(speaker)[1:] if speaker else (1.0, 1.0, 1.0)
    period, omega = 1 / base_hz, 2 * math.pi * base_hz
    tones = tones or [(1, source["emf_v"])]
    left_i, right_i = l1 > 0 and c1 == 0, l2 > 0 and c2 == 0  # a current as state stands next to the contact

    def rates(t, x):
        """(d state/dt, load voltage)."""
        i1, v1, v2, i2, vm, im = x
        emf = sum(a.real if not h else math.sqrt(2) * (a * complex(math.cos(h * omega * t), math.sin(h * omega * t))).real for h, a in
                  ((h, complex(a)) for h, a in tones))  # fmt: skip
        if left_i or right_i:
            i = i1 if left_i else i2
            drop = r_mid * i + film_voltage_at(film, i)
        else:
            from_v, from_r = (v1, 0.0) if c1 > 0 else (emf, r1)
            to_v, to_r = (v2, 0.0) if c2 > 0 else (vm if speaker else 0.0, re)
            i = series_current(from_v - to_v, from_r + r_mid + to_r, film)
            drop = from_v - to_v - i * (from_r + to_r)
        back = vm if speaker else 0.0
        if left_i and right_i:  # one inductance in two parts
            d1 = d2 = (emf - r1 * i - drop - re * i - back) / (l1 + l2)
            out = re * i + l2 * d2 + back
        else:
            if c2 > 0:
                out = v2
            elif right_i:
                out = (v1 if c1 > 0 else emf - r1 * i) - drop
            else:
                out = re * i + back
            before = v1 if c1 > 0 else out + drop
            d1 = (emf - r1 * i1 - before) / l1 if l1 > 0 else 0.0
            d2 = (out - re * i2 - back) / l2 if l2 > 0 else 0.0
        into = i1 if l1 > 0 else (emf - v1) / r1 if c1 > 0 else i
        taken = i2 if l2 > 0 else (v2 - back) / re if c2 > 0 else i
        dv1 = (into - i) / c1 if c1 > 0 else 0.0
        dv2 = (i - taken) / c2 if c2 > 0 else 0.0
        return [d1, dv1, dv2, d2, *([(taken - im - vm / res) / cm, vm / lm] if speaker else [0.0, 0.0])], out

    active = [j for j, used in enumerate([l1 > 0, c1 > 0, c2 > 0, l2 > 0, speaker is not None, speaker is not None]) if used]
    if left_i and right_i:
        active.remove(3)  # i2 is i1

    def full(z):
        x = [0.0] * 6
        for j, value in zip(active, z, strict=True):
            x[j] = float(value)
        if left_i and right_i:
            x[3] = x[0]
        return x

    peak = sum(abs(a) for _, a in tones) * math.sqrt(2)
    ohm = [r1 + re + omega * l1 + omega * l2, 1.0, 1.0, re + r1, 1.0, max(lm * omega, 1e-3)]
    unit = np.array([peak / ohm[j] if j in (0, 3, 5) else peak for j in active])

    def run(z, start, end, t_eval=None):
        answer = solve_ivp(lambda t, s: np.array(rates(t, full(s * unit))[0])[active] / unit, (start, end), z, method=method,
                           rtol=tolerance, atol=tolerance * 1e-2, t_eval=t_eval, max_step=period / 50)  # fmt: skip
        if not answer.success:
            raise ArithmeticError(answer.message)
        return answer.y

    z = np.zeros(len(active))
    if active:
        z = run(z, 0.0, settle * period)[:, -1]
        for _ in range(12):
            end = run(z, 0.0, period)[:, -1]
            wrong = end - z
            if np.abs(wrong).max() < 30 * tolerance:
                break
            step = 1e-5  # relative to the drive: Newton on the map of one period
            turn = np.stack([(run(z + step * unit_vector, 0.0, period)[:, -1] - end) / step for unit_vector in np.eye(len(active))], axis=1)
            z = z - np.linalg.solve(turn - np.eye(len(active)), wrong)
        else:
            raise ArithmeticError("the period does not close")
    times = np.arange(samples) * period / samples
    states = run(z, 0.0, times[-1], times).T if active else np.zeros((samples, 0))
    return to_harmonics(np.array([rates(t, full(s * unit))[1] for t, s in zip(times, states, strict=True)]))[: harmonics + 1]


# ------------------------------------------------------------------------------------------------- random sections


def random_section(rng, gentle):
    """Cartridge, line or loudspeaker, 1 to 4 contacts of every law and role; no shunt beside a source without resistance."""

    def log(low, high):
        return float(10 ** rng.uniform(math.log10(low), math.log10(high)))

    place = rng.choice(["cartridge", "line", "loudspeaker"])
    if place == "cartridge":
        source = {"emf_v": log(1e-4, 0.1), "resistance_ohm": log(10.0, 2e3), "inductance_h": log(1e-4, 0.8)}
        load = {"resistance_ohm": log(100.0, 1e5), "capacitance_f": log(1e-11, 5e-10)}
    elif place == "line":
        source = {"emf_v": log(1e-3, 10.0), "resistance_ohm": log(10.0, 1e4), "inductance_h": 0.0}
        load = {"resistance_ohm": log(1e3, 1e6), "capacitance_f": float(rng.choice([0.0, log(1e-11, 1e-9)]))}
    else:
        source = {"emf_v": log(1e-2, 30.0), "resistance_ohm": float(rng.choice([0.0, log(1e-3, 1.0)])), "inductance_h": 0.0}
        load = {"resistance_ohm": 8.0, "capacitance_f": 0.0}
        if rng.random() < 0.7:
            load["loudspeaker"] = {"voice_coil_ohm": log(3.0, 7.0), "voice_coil_h": float(rng.choice([0.0, log(1e-4, 2e-3)])),
                                   "resonance_hz": log(20.0, 200.0), "mechanical_q": log(1.0, 10.0), "electrical_q": log(0.2, 1.5)}  # fmt: skip
    if not gentle:
        source["emf_v"] = log(1e-6, 30.0)
    loop = source["resistance_ohm"] + load["resistance_ohm"]
    path = []
    for number in range(int(rng.integers(1, 5))):
        wiper = place == "line" and rng.random() < 0.15
        roles = ["signal", "return", "shared_return"] + (["shunt"] if source["resistance_ohm"] > 0 else [])
        role = "signal" if wiper else str(rng.choice(roles))
        if gentle:
            ohm = log(1e-6, 0.3) * loop if role != "shunt" else log(3.0, 1e6) * loop
        else:
            ohm = log(1e-6, 1e9)
        which = str(rng.choice(["ohmic", "tunnelling", "rectifying", "bridged"], p=[0.1, 0.3, 0.3, 0.3]))
        film = {"law": which, "resistance_ohm": ohm}
        if which == "tunnelling":
            film["scale_v"] = log(0.02, 1.0)
        elif which == "rectifying":
            film.update(ideality=float(rng.uniform(1.0, 2.5)), leak_ratio=log(1e-2 if gentle else 1e-3, 1.0))
        contact = {"name": f"k{number}", "film": film, "constriction_ohm": float(rng.choice([0.0, log(1e-6, 1e-2)])),
                   "range_ohm": None, "role": role, "direct_current_a": 0.0}  # fmt: skip
        if wiper:
            path.append({"divider": {"name": f"d{number}", "track_ohm": log(1e3, 1e5), "setting_db": float(rng.uniform(-60, 0)), "wiper": contact}})
        else:
            path.append({"contact": contact})
        if rng.random() < 0.5:
            size = (0.1, 3e-7, 1e-10) if place == "loudspeaker" else (0.3, 0.0, 2e-10)
            path.append({"lead": {"resistance_ohm": size[0] * float(rng.random()), "inductance_h": size[1] * float(rng.random()),
                                  "capacitance_f": size[2] * float(rng.random())}})  # fmt: skip
    return {"name": place, "source": source, "path": path, "load": load}


def random_case(rng, gentle=True):
    """(section, frequency): gentle ones are those that `harmonics_newton` surely solves to its tail within its cap."""
    while True:
        section = random_section(rng, gentle)
        frequency_hz = float(10 ** rng.uniform(1.0, math.log10(40e3)))
        if not gentle or softness(section, frequency_hz) < 6.0:
            return section, frequency_hz


def softness(section, frequency_hz):
    """Largest film voltage of the linear answer in units of the film's scale: how bent the worst film is."""
    net = Network(section)
    y = net.answers("norton", [0.0 if net.resistive else 2 * math.pi * frequency_hz])[:, :, 0]
    if not net.films:
        return 0.0
    peaks = np.abs(net.ports(y)[0][0]) * section["source"]["emf_v"] * math.sqrt(2)
    return max(float(v) / film[3][2] for v, film in zip(peaks, net.films, strict=True))


# ------------------------------------------------------------------------------------------------------- self check


def one_contact(film, emf_v=1.0, ohm=100.0, henry=0.0, load_ohm=1000.0, farad=0.0, role="signal", more=()):
    contacts = [{"contact": {"name": f"k{j}", "film": f, "constriction_ohm": 0.0, "role": role}} for j, f in enumerate([film, *more])]
    source = {"emf_v": emf_v, "resistance_ohm": ohm, "inductance_h": henry}
    return {"name": "check", "source": source, "path": contacts, "load": {"resistance_ohm": load_ohm, "capacitance_f": farad}}


def self_check():
    """Prints each comparison as a relative difference, and fails on one that is out of its tolerance."""

    def say(what, found, tolerance):
        print(f"{what:66s} {found:9.2e}  (allowed {tolerance:.0e})")
        assert found <= tolerance, what

    diode = {"law": "rectifying", "resistance_ohm": 0.0257025 / 25e-15, "ideality": 0.0257025 / THERMAL_V, "leak_ratio": 0.0}
    say("diode, 0.9 V and 249.3 ohm: 1.08485 mA", abs(series_current(0.9, 249.3, diode) / 1.08485e-3 - 1), 5e-6)
    u = film_voltage(law(diode), 249.3, np.array([0.9]))[0]
    say("the same by film_voltage", abs((0.9 - u) / 249.3 / 1.08485e-3 - 1), 5e-6)
    for emf_v in (1e-7, 1e-9):
        film = {"law": "rectifying", "resistance_ohm": 50.0, "ideality": 1.3, "leak_ratio": 0.1}
        t, unit, a = 1100.0 / 50.0, 1.3 * THERMAL_V, math.sqrt(2) * emf_v
        a2, a3 = 0.9 / (2 * unit), 0.9 / (6 * unit**2)
        x = np.abs(harmonics_newton(one_contact(film, emf_v), 1000.0)["load"])
        say(f"closed form, second harmonic at {emf_v:g} V", abs(x[2] / x[1] / (a * a2 / (2 * (1 + t) ** 2)) - 1), 1e-6)
        third = a * a * abs(a3 * (1 + t) - 2 * t * a2 * a2) / (4 * (1 + t) ** 4)
        say(f"closed form, third harmonic at {emf_v:g} V: {third:.1e}", abs(x[3] / x[1] / third - 1), 1e-4)
    film = {"law": "tunnelling", "resistance_ohm": 1e-3, "scale_v": 0.1}
    x = harmonics_newton(one_contact(film, 1e-3), 1000.0)["load"]  # contact driven by a current: 2 microvolts' worth of film
    current, g = math.sqrt(2) * abs(x[1]) / 1000.0, 1e3
    say("current-driven film, third harmonic against the series", abs(abs(x[3]) / (current**3 / (24 * g**3 * 0.01) / 1.1 / math.sqrt(2)) - 1), 1e-6)
    for law_, r, scale in (("tunnelling", 1e-4, 0.1), ("tunnelling", 1e9, 0.05)):
        film = {"law": law_, "resistance_ohm": r, "scale_v": scale}
        both = {"law": law_, "resistance_ohm": 2 * r, "scale_v": 2 * scale}
        for henry, farad in ((0.0, 0.0), (0.5, 2e-10)):
            x, y = (harmonics_newton(one_contact(f, 0.5, henry=henry, farad=farad, more=m), 1000.0)["load"] for f, m in ((film, [film]), (both, [])))
            n = min(len(x), len(y), 30)
            say(f"two of {r:g} ohm equal one, L = {henry} H", np.abs(x[2:n] - y[2:n]).max() / np.abs(y[2:n]).max(), 1e-9)
    films = [{"law": "rectifying", "resistance_ohm": 1e3, "ideality": 1.0, "leak_ratio": 0.1}, {"law": "bridged", "resistance_ohm": 300.0},
             {"law": "tunnelling", "resistance_ohm": 1e4, "scale_v": 0.1}]  # fmt: skip
    for henry, farad in ((0.0, 0.0), (0.5, 2e-10)):
        for role in ("signal", "shared_return", "shunt"):
            for film in films:
                section = one_contact(film, 0.2, 1000.0, henry, 47e3, farad, role)
                fast = harmonics_newton(section, 2e3)
                power, *spent = energy_balance(fast)
                say(f"energy, {film['law']} {role} L = {henry} H", abs(sum(spent) / power - 1), 1e-10)
                n = 25
                y = harmonics_mpmath(section, 2e3, samples=n)
                x = harmonics_newton(section, 2e3, samples=n, most_samples=n)["load"]
                worst = max(abs(complex(a) - b) for a, b in zip(y[2:], x[2:10], strict=True)) / max(abs(complex(a)) for a in y[2:])
                say("   60 digits, same samples: harmonics above the first", worst, 1e-12 if henry == 0 else 1e-10)
                if role != "shunt" and fast["converged"]:
                    z = periodic_by_integration(section, 2e3)
                    say("   integration in time", np.abs(z - fast["load"][:10]).max() / abs(z[1]), 1e-8)


if __name__ == "__main__":
    self_check()
