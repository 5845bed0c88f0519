"""Dense Newton on samples: the slow plain version of the steady state, see oracle_network."""

import math

import numpy as np
from oracle_network import TAIL, SOLVED, ROUNDED, MOST_DENSE, MOST_RESISTIVE, phi, film_voltage, film_deviation, Network


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
        done, step = (1.0 if residual < ROUNDED else 0.0), 0.1
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
