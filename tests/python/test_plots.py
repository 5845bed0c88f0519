"""Figures: what is drawn where, under which name; told apart without colour; nothing is shown."""

import itertools
import sys

import numpy as np
import pytest

import weaklink as wl
from weaklink import hearing

matplotlib = pytest.importorskip("matplotlib")
matplotlib.use("Agg")
plots = pytest.importorskip("weaklink.plots")
from matplotlib import colors  # noqa: E402
from matplotlib import pyplot as plt  # noqa: E402

from weaklink import plots_style as style  # noqa: E402

# L* of neighbours in one figure: 10 is plain to see in grey (common practice)
LEAST_LIGHTNESS_STEP = 10.0
# colour difference in CIELAB that a glance tells apart (common practice)
LEAST_DIFFERENCE = 18.0
# full loss of one cone in linear sRGB: Machado, Oliveira, Fernandes 2009 [memory]
BLIND = {
    "none": np.eye(3),
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    "tritan": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
}


@pytest.fixture(autouse=True)
def nothing_is_shown(monkeypatch):
    def shown(*_, **__):
        raise AssertionError("a figure showed itself")

    monkeypatch.setattr(plt, "show", shown)
    yield
    plt.close("all")


@pytest.fixture
def gritty(jobs):
    return wl.load_job(jobs / "gritty-right-on-records.toml")


@pytest.fixture
def repaired(jobs):
    sheet, (name, csv) = (jobs / "gritty-right-on-records.toml").read_text(), ("gritty-right-on-records.csv", "")
    csv = (jobs / name).read_text() + "after cleaning,source selector / phono,right,<0.1 mV,dry box,,,\n"
    return wl.Job.from_text(sheet, readings=(name, csv))


def line(ax, label):
    return next(one for one in ax.lines if one.get_label() == label)


def words(ax):
    return [text.get_text() for text in ax.get_legend().get_texts()]


def lab(color, matrix):
    """CIELAB of a colour as that eye sees it (sRGB, IEC 61966-2-1; D65)."""
    rgb = np.array(colors.to_rgb(color))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(matrix @ linear, 0.0, 1.0)
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ linear
    t = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_series_keep_apart_in_grey_and_for_every_eye():
    assert len(set(style.DASHES)) == len(set(style.MARKS)) == len(style.SERIES) == 4
    lightness = [lab(color, np.eye(3))[0] for color in style.SERIES]
    assert lightness == sorted(lightness) and np.diff(lightness).min() >= LEAST_LIGHTNESS_STEP
    for matrix in BLIND.values():
        seen = [lab(color, matrix) for color in style.SERIES]
        assert min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2)) >= LEAST_DIFFERENCE


@pytest.mark.parametrize(("value", "text"), [(0.02, "20m"), (4.7, "4.7"), (15e3, "15k"), (1e6, "1M"), (999.0, "999"), (0.0, "0"), (1e-6, "1u"), (1000.0, "1k")])
def test_numbers_on_axes_are_as_a_bench_writes_them(value, text):
    assert style.thousands(value) == text


def test_ohms_that_matter_are_the_limits():
    found = wl.limits(wl.typical("integrated amplifier"))
    ax = plots.ohms_that_matter(found)
    assert ax.get_xlabel() == "resistance, ohm" and ax.get_xscale() == "log"
    rows = [row for row in found.rows if row.residue_ohm]
    disc = line(ax, "0.1 % residue impossible below")
    assert disc.get_xdata().tolist() == [row.residue_ohm for row in rows]
    names = [text.get_text() for text in ax.get_yticklabels()]
    assert [names[int(k)] for k in disc.get_ydata()] == [row.contact for row in rows]
    assert line(ax, "steady: 0.5 dB quieter").get_xdata().tolist() == [row.loss_ohm for row in found.rows if row.loss_ohm]
    bars = [(bar.get_x() + bar.get_width()) for bar in ax.patches]
    assert bars == pytest.approx([row.residue_ohm for row in rows], rel=1e-12)
    # the first contact stands on top
    assert ax.yaxis_inverted()


def test_residue_lines_are_the_data_and_the_ceiling_is_closed_off():
    ohm, top = np.geomspace(0.01, 10, 9), np.linspace(0.01, 0.3, 9)
    ax = plots.residue(ohm, {"film": top / 100, "other": top / 1000}, ceiling=top, heard=(1e-3, 2e-3))
    assert line(ax, "film").get_ydata().tolist() == (top / 100).tolist() and line(ax, "film").get_xdata().tolist() == ohm.tolist()
    assert line(ax, "film").get_linestyle() != line(ax, "other").get_linestyle()
    assert line(ax, "ceiling: the most that any contact can do").get_ydata().tolist() == top.tolist()
    assert ax.get_ylabel() == "residue, %" and ax.yaxis.get_major_formatter()(0.01, 0) == "1"
    assert "impossible" in words(ax) and "may be heard" in words(ax)
    with pytest.raises(wl.InputError, match="by_law: 5 laws"):
        plots.residue(ohm, {str(k): top for k in range(5)})


def test_a_level_cycle_fades_when_quiet_and_stays_once_turned_up():
    film = wl.Film.tunnelling(resistance_ohm=60.0, scale_v=0.4)
    relay = wl.Section("out", source=wl.Source(emf_v=1.0, resistance_ohm=0.1), path=[wl.Contact("relay", film=film)], load=wl.Load(resistance_ohm=8.0))
    cycle = wl.level_cycle(relay, np.geomspace(0.01, 10.0, 9), frit_v=0.5)
    ax = plots.level_cycle(cycle, relay)
    up, down, morning = (line(ax, name).get_ydata() for name in ("turned up", "turned down", "next morning"))
    # 60 ohm into 8.1: closed form at the lowest level, where the film is straight
    assert up[0] == pytest.approx(20 * np.log10(68.1 / 8.1), abs=1e-2)
    # a tunnelling film lets more through the louder it gets, until it breaks and lets nearly all through
    assert (np.diff(up) < 0.0).all() and up[3] < up[0] - 0.1
    assert down[0] < 0.1 and morning[0] == up[0] and up[-1] == down[-1]
    assert ax.yaxis_inverted() and "dB" in ax.get_ylabel() and ax.get_xlabel() == "EMF of the source, V rms"
    ax = plots.level_cycle(cycle, quantity="residue")
    assert line(ax, "turned up").get_ydata().tolist() == cycle.up.thd_f.tolist()
    with pytest.raises(wl.InputError, match="system"):
        plots.level_cycle(cycle)
    with pytest.raises(wl.InputError, match="quantity"):
        plots.level_cycle(cycle, relay, quantity="thd")


def test_a_spectrum_marks_what_lies_over_all_some_or_no_threshold():
    maskers = [hearing.Masker(1000.0, 70.0)]
    here = hearing.masked_thresholds(maskers, [2000.0, 3000.0, 4000.0])
    levels = [here.high_db[0] + 1.0, 0.5 * (here.low_db[1] + here.high_db[1]), here.low_db[2] - 1.0]
    ax = plots.spectrum([2000.0, 3000.0, 4000.0], levels, maskers=maskers, tone=(1000.0, 70.0))
    for label, at in (("heard by every model", 2000.0), ("heard by some model", 3000.0), ("heard by no model", 4000.0)):
        assert line(ax, f"residue, {label}").get_xdata().tolist() == [at]
    for model in hearing.MODELS:
        curve = line(ax, model)
        grid = curve.get_xdata().tolist()
        assert curve.get_ydata().tolist() == list(hearing.masked_thresholds(maskers, grid).model(model).high_db)
    assert ax.get_xlabel() == "frequency, Hz" and ax.get_ylabel() == "level at the ear, dB SPL"
    assert ax.get_title(loc="left") == "masked by a tone, loudest 70 dB SPL"
    assert plots.spectrum([2e3], [10.0]).get_title(loc="left") == "nothing plays: thresholds in quiet"
    # what lies below the picture is told, not dropped
    told = plots.spectrum([2e3, 3e3, 4e3], [10.0, -60.0, -np.inf]).get_title(loc="left")
    assert told.endswith("1 of 3 lines below -40 dB SPL are not shown")


def test_readings_are_full_when_dry_and_hollow_when_not(gritty):
    seen, answer, limits = wl.evidence(gritty), wl.assess(gritty), wl.limits(gritty)
    ax = plots.readings(seen, answer, limits=limits)
    names = [text.get_text() for text in ax.get_yticklabels()]
    row = names.index("source selector / phono, right")
    marks = [one for one in ax.lines if one.get_marker() == "o"]
    here = [one for one in marks if abs(one.get_ydata()[0] - row) < 0.5]
    own = [r for r in seen.readings if (r.contact, r.channel) == ("source selector / phono", "right")]
    assert sorted(one.get_xdata()[0] for one in here) == sorted(r.high_ohm for r in own)
    assert all(one.get_markerfacecolor() != "white" for one in here)
    relay = next(one for one in marks if abs(one.get_ydata()[0] - names.index("speaker relay / a, right")) < 0.5)
    # not dry: hollow, at its lower end, and an arrow leads on
    assert relay.get_markerfacecolor() == "white" and relay.get_xdata()[0] == pytest.approx(0.05664)
    assert any(one.get_marker() == ">" and abs(one.get_ydata()[0] - names.index("speaker relay / a, right")) < 0.5 for one in ax.lines)
    stroke = line(ax, "cannot do it below")
    assert stroke.get_xdata()[0] == answer.finding("phono socket / pin", "right").impossible_below_ohm
    assert line(ax, "0.5 dB quieter").get_xdata()[0] == limits.rows[0].loss_ohm
    assert {"dry", "in order for its kind"} <= set(words(ax))
    band = next(patch for patch in ax.patches if patch.get_y() < row < patch.get_y() + patch.get_height())
    assert band.get_x() + band.get_width() == pytest.approx(0.04)


def test_suspects_stand_on_their_routes(gritty):
    seen, answer = wl.evidence(gritty), wl.assess(gritty)
    ax = plots.suspects(seen, answer)
    names = [text.get_text().replace("\n", " / ") for text in ax.get_xticklabels()]
    assert sorted(names) == sorted(seen.contacts)
    for _, on in seen.routes:
        places = [names.index(contact) for contact in on]
        assert places == sorted(places)
    routes = [text.get_text() for text in ax.get_yticklabels()]
    disc = line(ax, "able to account for it")
    assert names[int(disc.get_xdata()[0])] == "source selector / phono"
    height = dict(zip(ax.get_yticks(), routes, strict=True))
    assert height[disc.get_ydata()[0]] == "right: phono"
    told = {text.get_position()[1]: text.get_text() for text in ax.texts}
    assert {height[y]: what for y, what in told.items()} == {"left: phono": "clean", "left: tuner": "clean", "right: phono": "grit", "right: tuner": "clean"}
    heavy = [one for one in ax.lines if one.get_linewidth() == 3.2]
    assert [height[one.get_ydata()[0]] for one in heavy] == ["right: phono"]


def test_as_found_to_after_joins_what_was_read_twice(gritty, repaired):
    seen = wl.evidence(repaired)
    ax = plots.as_found_to_after(seen)
    joined = line(ax, "source selector / phono, right")
    after = next(r for r in seen.readings if not r.before_remedy)
    assert joined.get_ydata()[0] == pytest.approx(899.1, rel=1e-3) and joined.get_ydata()[1] == after.high_ohm
    # the upright bars: from the lowest to the highest end, before and after
    bars = [one.get_ydata().tolist() for one in ax.lines if one.get_linewidth() == 4.0]
    assert bars == [pytest.approx([9.9186, 899.1], rel=1e-4), [1e-3, after.high_ohm]]
    assert [text.get_text() for text in ax.get_xticklabels()] == ["as found", "after"]
    assert words(ax) == ["source selector / phono, right"]
    with pytest.raises(wl.InputError, match="before and after"):
        plots.as_found_to_after(wl.evidence(gritty))


def test_comebacks_are_the_cells_with_their_bands(jobs):
    shop = pytest.importorskip("weaklink.shop")
    found = shop.compare(shop.read_log(jobs / "bench-log.csv"))
    ax = plots.comebacks(found)
    kinds = [text.get_text() for text in ax.get_yticklabels()]
    assert kinds == list(dict.fromkeys(cell.kind for cell in found.cells))
    bars = {container.get_label(): container for container in ax.containers}
    for remedy, container in bars.items():
        points, _, (wide,) = container
        cells = [cell for cell in found.cells if cell.remedy == remedy and cell.comebacks_per_100_years]
        assert points.get_xdata().tolist() == [cell.comebacks_per_100_years[0] for cell in cells]
        ends = [segment[:, 0].tolist() for segment in wide.get_segments()]
        np.testing.assert_allclose(ends, [cell.comebacks_per_100_years[1:] for cell in cells], rtol=1e-12)
    assert {"clean", "strip", "replace"} <= set(bars) and "95 % bands" in ax.get_xlabel()


def test_a_given_axes_is_drawn_on_and_returned(gritty, repaired):
    seen, answer, limits = wl.evidence(gritty), wl.assess(gritty), wl.limits(gritty)
    calls = [
        lambda ax: plots.ohms_that_matter(limits, ax=ax),
        lambda ax: plots.residue([1.0, 2.0], {"a": [0.1, 0.2]}, ax=ax),
        lambda ax: plots.spectrum([2e3], [10.0], ax=ax),
        lambda ax: plots.readings(seen, answer, ax=ax),
        lambda ax: plots.suspects(seen, answer, ax=ax),
        lambda ax: plots.as_found_to_after(wl.evidence(repaired), ax=ax),
    ]
    for call in calls:
        figure, ax = plt.subplots()
        assert call(ax) is ax and plt.get_fignums() == [figure.number] and ax.lines
        plt.close(figure)


def test_without_matplotlib_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib.pyplot", None)
    with pytest.raises(ModuleNotFoundError, match=r"^a figure needs matplotlib: pip install 'weaklink\[notebooks\]' brings it$"):
        plots.residue([1.0, 2.0], {"a": [0.1, 0.2]})
