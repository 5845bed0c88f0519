"""Sweeps: every point is what the plain call gives, labelled; bad axes are named."""

import json
import sys

import numpy as np
import pytest

import weaklink as wl
from weaklink.sweep import OUTPUTS

xr = pytest.importorskip("xarray")

RUST = wl.Film.rectifying(resistance_ohm=0.8, ideality=1.5, leak_ratio=0.1)
TUNNEL = wl.Film.tunnelling(resistance_ohm=0.8, scale_v=0.4)
RELAY = wl.Section(
    "loudspeaker",
    source=wl.Source(emf_v=0.3, resistance_ohm=0.1),
    path=[wl.Contact("relay", film=RUST), wl.Lead(resistance_ohm=0.1)],
    load=wl.Load(resistance_ohm=8.0),
)
PHONO = wl.Chain(
    [
        wl.Section(
            "phono input",
            source=wl.Source(emf_v=5e-3, resistance_ohm=1e3, inductance_h=0.5),
            path=[wl.Lead(capacitance_f=150e-12), wl.Contact("pin", resistance_ohm=100.0)],
            load=wl.Load(resistance_ohm=47e3),
        ),
        wl.Stage("phono stage", equalisation="riaa", gain_db=35.0, output_resistance_ohm=600.0),
        wl.Section(
            "volume",
            source=None,
            path=[wl.Divider("level", track_ohm=50e3, setting_db=-20.0, wiper=wl.Contact("wiper", resistance_ohm=1.0))],
            load=wl.Load(resistance_ohm=47e3),
        ),
    ]
)
OHMS = np.geomspace(0.01, 10.0, 7)


def test_loss_in_a_resistive_loop_is_the_closed_form_at_every_point():
    plain = RELAY.with_contact("relay", resistance_ohm=0.0, film=None)
    found = wl.sweep(plain, {"R": ("relay.resistance_ohm", OHMS), "frequency_hz": [20.0, 1e3]}, "loss_db")
    expected = 20.0 * np.log10((8.2 + OHMS) / 8.2)
    np.testing.assert_allclose(found.loss_db, np.repeat(expected[:, None], 2, axis=1), rtol=1e-12)
    assert found.loss_db.dims == ("R", "frequency_hz")
    assert found.loss_db.attrs["units"] == "dB" and found.R.attrs == {"target": "relay.resistance_ohm", "units": "ohm"}


def test_every_point_of_every_output_is_the_plain_call():
    films = {"rust": RUST, "tunnel": TUNNEL}
    axes = {"law": ("relay.film", films), "R": ("relay.resistance_ohm", OHMS[:3]), "emf_v": [0.1, 3.0]}
    wanted = ["thd_f", "fundamental_db", "ceiling_chatter", "ceiling_harmonics", "harmonics", "slope_with_level", "loss_low_db", "residue_total"]
    found = wl.sweep(RELAY, axes, wanted, ranges={"relay": (0.0, "R")}, harmonics=4)
    assert found.harmonics.dims == ("law", "R", "emf_v", "order") and found.order.values.tolist() == [2, 3, 4, 5]
    for label, film in films.items():
        for ohm in OHMS[:3]:
            for emf in (0.1, 3.0):
                at = found.sel(law=label, R=ohm, emf_v=emf)
                with_film = RELAY.with_contact("relay", film=film)
                given = {"emf_v": emf, "contacts": {"relay": ohm}}
                plain = with_film.distortion(1000.0, harmonics=4, **given)
                assert at.thd_f == plain.thd_f and at.fundamental_db == plain.fundamental_db
                assert (at.harmonics.values == plain.harmonics).all() and at.distortion_status == plain.status
                top = with_film.ceiling(1000.0, ranges={"relay": (0.0, ohm)}, **given)
                assert at.ceiling_chatter == top.chatter and at.ceiling_harmonics == top.harmonics
                assert at.slope_with_level == with_film.signature(1000.0, **given).slope
                assert at.residue_total == with_film.residue(1000.0, **given).total
                low = with_film.loss_range_db(1000.0, ranges={"relay": (0.0, ohm)}, contacts={"relay": ohm}).low_db
                assert at.loss_low_db == low


@pytest.mark.parametrize(
    ("target", "value", "changed"),
    [
        ("relay.scale_v", 0.2, lambda s: s.with_contact("relay", film=wl.Film.tunnelling(resistance_ohm=0.8, scale_v=0.2))),
        ("relay.constriction_ohm", 0.3, lambda s: s.with_contact("relay", constriction_ohm=0.3)),
        ("source.resistance_ohm", 4.0, lambda s: s.with_source(resistance_ohm=4.0)),
        ("load.resistance_ohm", 4.0, lambda s: wl.Section(s.name, source=s.source, path=s.path, load=wl.Load(resistance_ohm=4.0))),
        (
            "lead.inductance_h",
            1e-3,
            lambda s: wl.Section(s.name, source=s.source, path=[s.path[0], wl.Lead(resistance_ohm=0.1, inductance_h=1e-3)], load=s.load),
        ),
    ],
)
def test_any_parameter_of_any_element_moves(target, value, changed):
    section = RELAY.with_contact("relay", film=TUNNEL)
    found = wl.sweep(section, {"x": (target, [value])}, ["thd_f", "loss_db"])
    by_hand = changed(section)
    assert float(found.thd_f[0]) == by_hand.distortion(1000.0).thd_f
    assert float(found.loss_db[0]) == by_hand.loss_db(1000.0)
    assert by_hand.loss_db(1000.0) != section.loss_db(1000.0) or by_hand.distortion(1000.0).thd_f != section.distortion(1000.0).thd_f


def test_a_chain_by_the_names_of_its_elements():
    axes = {
        "gain": ("phono stage.gain_db", [30.0, 40.0]),
        "equalisation": ("phono stage.equalisation", ["flat", "riaa"]),
        "setting": ("level.setting_db", [-30.0, -10.0]),
        "into": ("phono input / load.resistance_ohm", [33e3, 47e3]),
        "pin": ("pin.resistance_ohm", [0.0, 1e3]),
        "frequency_hz": [100.0, 10e3],
    }
    found = wl.sweep(PHONO, axes, ["gain_db", "transfer"])
    at = found.sel(equalisation="riaa", setting=-10.0, into=47e3, pin=1e3, frequency_hz=10e3)
    assert float(at.gain_db.sel(gain=40.0) - at.gain_db.sel(gain=30.0)) == pytest.approx(10.0, abs=1e-9)
    data = PHONO.to_dict()
    data["items"][1]["stage"]["gain_db"] = 40.0
    data["items"][2]["section"]["path"][0]["divider"]["setting_db"] = -10.0
    by_hand = wl.Chain.from_dict(data).transfer(10e3, contacts={"pin": 1e3})
    assert complex(at.transfer.sel(gain=40.0)) == by_hand
    assert found.gain_db.shape == (2, 2, 2, 2, 2, 2)


def test_where_it_came_from_stands_in_the_dataset():
    found = wl.sweep(RELAY, {"emf_v": [1.0]}, "thd_f")
    assert found.attrs["weaklink_version"] == wl.__version__ and found.attrs["typical_version"] == wl.TYPICAL_VERSION
    assert found.attrs["seed"] == "none" and found.attrs["frequency_hz"] == 1000.0
    assert wl.Section.from_dict(json.loads(found.attrs["system"])) == RELAY
    chatter = {"relay": (0.1, 0.5, 1e-3, 1e-3)}
    found = wl.sweep(RELAY, {"emf_v": [1.0]}, "residue_chatter", chatter=chatter)
    assert json.loads(found.attrs["chatter"]) == {"relay": [0.1, 0.5, 1e-3, 1e-3]}
    assert float(found.residue_chatter[0]) == RELAY.residue(1000.0, emf_v=1.0, chatter=chatter).chatter


def test_a_status_stands_beside_every_point():
    found = wl.sweep(RELAY, {"R": ("relay.resistance_ohm", OHMS)}, "ceiling_chatter", ranges={"relay": (0.0, np.inf)})
    assert (found.ceiling_status == "can open").all() and np.isnan(found.ceiling_chatter).all()


def test_without_ranges_the_ceiling_takes_the_chords_in_use_at_each_level():
    found = wl.sweep(RELAY, {"emf_v": [0.1, 3.0]}, "ceiling_chatter", band_hz=(50.0, 5e3))
    plain = [RELAY.ceiling(1000.0, emf_v=emf, band_hz=(50.0, 5e3)).chatter for emf in (0.1, 3.0)]
    assert found.ceiling_chatter.values.tolist() == plain and plain[0] != plain[1]
    assert (found.attrs["band_low_hz"], found.attrs["band_high_hz"]) == (50.0, 5e3)


def test_large_grids_are_cut_and_come_out_whole(monkeypatch):
    from importlib import import_module

    module = import_module("weaklink.sweep")
    axes = {"emf_v": np.geomspace(0.1, 3.0, 6), "R": ("relay.resistance_ohm", OHMS)}
    whole = wl.sweep(RELAY, axes, ["thd_f", "loss_db"], progress=False)
    monkeypatch.setitem(module.PIECE, "distortion", 5)
    monkeypatch.setattr(module, "MOST_POINTS", 10)
    told = []
    cut = wl.sweep(RELAY, axes, ["thd_f", "loss_db"], progress=lambda done, total: told.append((done, total)))
    xr.testing.assert_identical(whole, cut)
    assert told[-1] == (84, 84) and len(told) > 10 and all(a[0] < b[0] for a, b in zip(told, told[1:], strict=False))


def test_control_c_passes():
    def stop(done, total):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        wl.sweep(RELAY, {"emf_v": [1.0]}, "thd_f", progress=stop)


def test_a_lazily_chunked_axis_gives_a_lazy_dataset_with_the_same_numbers():
    dask = pytest.importorskip("dask.array")
    levels = np.geomspace(0.1, 3.0, 6)
    films = {"rust": RUST, "tunnel": TUNNEL}
    plain = {"emf_v": levels, "law": ("relay.film", films), "R": ("relay.resistance_ohm", OHMS)}
    chunked = {
        "emf_v": dask.from_array(levels, chunks=4),
        "law": ("relay.film", films),
        "R": ("relay.resistance_ohm", xr.DataArray(dask.from_array(OHMS, chunks=3), dims="R")),
    }
    wanted = ["thd_f", "ceiling_chatter", "harmonics"]
    lazy = wl.sweep(RELAY, chunked, wanted, ranges={"relay": (0.0, "R")})
    assert lazy.thd_f.chunks == ((4, 2), (2,), (3, 3, 1))
    xr.testing.assert_identical(lazy.compute(), wl.sweep(RELAY, plain, wanted, ranges={"relay": (0.0, "R")}))


@pytest.mark.parametrize(
    ("axes", "outputs", "place", "words"),
    [
        ({}, "thd_f", "axes", "one at least"),
        ({"emf_v": []}, "thd_f", 'axes["emf_v"]', "no values"),
        ([("R", ("relay.resistance_ohm", [1.0])), ("R", ("emf_v", [1.0]))], "thd_f", "axes", '"R" twice'),
        ({"a": ("emf_v", [1.0]), "b": ("source.emf_v", [2.0])}, "thd_f", 'axes["b"]', 'axes["a"]'),
        ({"emf_v": [1.0, 1.0]}, "thd_f", 'axes["emf_v"]', "twice"),
        ({"emf_v": [[1.0, 2.0]]}, "thd_f", 'axes["emf_v"]', "(1, 2)"),
        ({"emf_v": ["loud"]}, "thd_f", 'axes["emf_v"]', "real numbers"),
        ({"relai.resistance_ohm": [1.0]}, "thd_f", 'axes["relai.resistance_ohm"]', 'nearest: "relay"'),
        ({"relay.idealty": [1.0]}, "thd_f", 'axes["relay.idealty"]', 'nearest: "ideality"'),
        ({"x": ("relay.name", [1.0])}, "thd_f", 'axes["x"]', "constriction_ohm"),
        ({"emf_v": {"low": 1.0}}, "thd_f", 'axes["emf_v"]', "a list of numbers"),
        ({"emf_v": [1.0]}, [], "outputs", "none"),
        ({"emf_v": [1.0]}, "thdf", "outputs", 'nearest: "thd_f"'),
        ({"emf_v": [1.0]}, ["thd_f", "thd_f"], "outputs", "twice"),
        ({"thd_f": ("emf_v", [1.0])}, "thd_f", 'axes["thd_f"]', "another name"),
        ({"emf_v": [1.0]}, "loss_low_db", "ranges", "(low, high)"),
        ({"emf_v": [-1.0]}, "thd_f", "emf_v", "-1"),
    ],
)
def test_bad_axes_and_outputs_are_named(axes, outputs, place, words):
    with pytest.raises(wl.InputError) as caught:
        wl.sweep(RELAY, axes, outputs)
    assert caught.value.place == place and words in str(caught.value)


def test_a_name_in_ranges_must_be_an_axis():
    with pytest.raises(wl.InputError) as caught:
        wl.sweep(RELAY, {"emf_v": [1.0]}, "ceiling_chatter", ranges={"relay": (0.0, "R")})
    assert caught.value.place == 'ranges["relay"]' and "'R'" in str(caught.value)


def test_without_xarray_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "xarray", None)
    with pytest.raises(ModuleNotFoundError, match=r"^wl\.sweep needs xarray: pip install 'weaklink\[notebooks\]' brings it$"):
        wl.sweep(RELAY, {"emf_v": [1.0]}, "thd_f")


def test_every_output_can_be_asked_for():
    found = wl.sweep(RELAY, {"emf_v": [1.0]}, list(OUTPUTS), ranges={"relay": (0.0, 1.0)}, harmonics=3)
    assert set(OUTPUTS) <= set(found) and all("units" in found[name].attrs for name in OUTPUTS)
    # nothing is left as it was made
    assert not np.isnan(found.drop_vars(["crosstalk_db"])[[n for n in OUTPUTS if n != "crosstalk_db"]].to_array()).any()
