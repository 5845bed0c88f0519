"""``sheet = 1`` is read for ever: a frozen sheet with every table, and its answer; a newer version is refused; answers can be repeated.

``tests/references/sheet-1`` is never changed. What a reading is in ohms and what a model finds may get better: then the answer beside
it changes, in a commit that says why. That the sheet is read, and what was written in it, may not.
"""

import dataclasses
import json

import pytest
import weaklink as wl
from weaklink import _core

# what another way of summing may change
ROUNDING = 1e-6


@pytest.fixture(scope="module")
def frozen(request):
    folder = request.config.rootpath / "tests" / "references" / "sheet-1"
    return wl.load_job(folder / "sheet.toml"), json.loads((folder / "answer.json").read_text()), (folder / "sheet.toml").read_text()


def same(found, known, place=""):
    if isinstance(known, dict):
        # a newer version may tell more, never less
        assert known.keys() <= found.keys(), place
        for key, value in known.items():
            same(found[key], value, f"{place}.{key}")
    elif isinstance(known, list):
        assert len(found) == len(known), place
        for k, (a, b) in enumerate(zip(found, known, strict=True)):
            same(a, b, f"{place}[{k}]")
    elif isinstance(known, float):
        assert found == pytest.approx(known, rel=ROUNDING, abs=0.0), place
    else:
        assert found == known, place


def test_the_frozen_sheet_reads_and_says_the_same(frozen):
    job, answer, _ = frozen
    same(json.loads(json.dumps(dataclasses.asdict(wl.evidence(job)))), answer["evidence"])
    assert [[f.contact, f.channel, f.kind] for f in wl.assess(job, draws=0).findings] == answer["findings"]
    assert len(answer["findings"]) > 8 and len({kind for *_, kind in answer["findings"]}) >= 4


def test_the_frozen_sheet_has_every_table_of_version_1(frozen):
    text = frozen[2]
    schema = json.loads(_core._schema_json())
    tables = schema["properties"]
    missing = [name for name in tables if f"{name} =" not in text and f"[{name}" not in text and f"[[{name}" not in text]
    # keys that came after it was frozen: each must be one that a sheet may leave out
    assert set(missing) <= {"prior", "checked"}, missing
    # and nothing more is ever required
    assert set(schema["required"]) <= {"sheet", "route"}


@pytest.mark.parametrize("version", ["2", "17", "18446744073709551615"])
def test_a_newer_sheet_is_refused_with_one_sentence(version):
    # keys that nobody knows yet are no faults of their own
    with pytest.raises(wl.InputError) as refused:
        wl.Job.from_text(f'sheet = {version}\nfuture = "yes"\n[hologram]\nx = 1\n', file="job.toml")
    error = refused.value
    assert len(error.faults) == 1 and error.line == 1 and error.place == "sheet"
    assert str(error) == (
        f"job.toml: line 1: sheet: a sheet of version {version}; allowed: 1; weaklink {wl.__version__} reads no newer sheet, a newer weaklink does"
    )


@pytest.mark.parametrize("version", ["0", "-1", '"1"', "1.0", "true", "99999999999999999999999"])
def test_what_is_no_version_is_a_fault(version):
    with pytest.raises(wl.InputError, match="sheet"):
        wl.Job.from_text(f"sheet = {version}\n")


def test_answers_carry_what_repeats_them(frozen):
    job = frozen[0]
    first = wl.assess(job, draws=2000, seed=7)
    told = json.loads(first.to_json())
    assert (told["version"], told["typical_version"], told["seed"], told["draws"]) == (wl.__version__, wl.TYPICAL_VERSION, 7, 2000)
    again = wl.assess(wl.Job.from_text(job.text, file=job.file, readings=job.readings), draws=first.draw_count, seed=first.seed)
    assert again.to_json() == first.to_json() and wl.assess(job, draws=2000, seed=8).to_json() != first.to_json()
    limits = json.loads(wl.limits(job).to_json())
    assert limits["version"] == wl.__version__ and limits["typical_version"] == wl.TYPICAL_VERSION
    section = wl.Section("s", source=wl.Source(emf_v=1.0, resistance_ohm=10.0), path=[wl.Contact("c", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=8.0))
    tried = wl.try_ceiling(section, 5.0, trials=3, seed=11)
    assert tried.seed == 11 and wl.try_ceiling(section, 5.0, trials=3, seed=tried.seed).best == tried.best
    shop = pytest.importorskip("weaklink.shop")
    invented = shop.invented_log(400, 5)
    assert invented.seed == 5 and shop.invented_log(400, 5).text == invented.text
    compared = json.loads(shop.compare(invented.log()).to_json())
    assert compared["version"] == wl.__version__
