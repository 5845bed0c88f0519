"""The command that makes the README's pictures: the same bytes each time, small, whole; and those in the tree are its own."""

import re
import xml.etree.ElementTree as xml

import pytest

import weaklink as wl

matplotlib = pytest.importorskip("matplotlib")
matplotlib.use("Agg")
from weaklink import pictures  # noqa: E402

# what a reader on a slow line waits for
LARGEST_BYTES = 150_000


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    from pathlib import Path

    job = wl.load_job(Path(__file__).resolve().parents[2] / "notebooks" / "jobs" / "gritty-right-on-records.toml")
    folder = tmp_path_factory.mktemp("pictures")
    return {path.name: path.read_text() for path in pictures.make(folder / "one", job)}, {path.name: path.read_text() for path in pictures.make(folder / "two", job)}


def words(text):
    return [("".join(node.itertext())).strip() for node in xml.fromstring(text).iter("{http://www.w3.org/2000/svg}text")]


def test_the_same_bytes_each_time_and_small(made):
    one, two = made
    assert one == two and set(one) == {f"{name}.svg" for name in pictures.PICTURES}
    assert max(len(text) for text in one.values()) < LARGEST_BYTES
    assert not re.search(r"/tmp|/home|/root", "".join(one.values()))


def test_the_pictures_in_the_tree_are_of_this_command(made, root):
    one, _ = made
    there = {path.name: path.read_text() for path in (root / "notebooks" / "pictures").glob("*.svg")}
    assert set(there) == set(one)
    for name, text in there.items():
        # another matplotlib may place text and ticks otherwise; what is said must be the same
        told, now = (set(word for word in words(each) if re.search("[a-z]{4}", word)) for each in (text, one[name]))
        assert told == now and told, name


def test_the_command_says_what_it_wrote_and_what_is_wrong(tmp_path, jobs, capsys, monkeypatch):
    monkeypatch.setattr(pictures, "PICTURES", {"suspects": pictures.suspects})
    assert pictures.main([str(tmp_path / "out"), str(jobs / "gritty-right-on-records.toml")]) == 0
    assert "suspects.svg" in capsys.readouterr().out and [p.name for p in (tmp_path / "out").iterdir()] == ["suspects.svg"]
    assert pictures.main([str(tmp_path), str(tmp_path / "none.toml")]) in (1, 2)
    assert "none.toml" in capsys.readouterr().err
