"""The notebooks run from top to bottom, offline and fast; they are kept without output and hold their lesson as asserts."""

import os

import pytest

nbformat = pytest.importorskip("nbformat")
nbclient = pytest.importorskip("nbclient")

# what a reader waits for without leaving, where nothing else runs
LONGEST_S = 30.0
NAMES = (
    "1-why-the-quietest-contact-fails-first",
    "2-a-record-player-that-grits-on-one-side",
    "3-how-much-can-one-contact-do",
    "4-five-thousand-contacts",
)


def read(root, name):
    return nbformat.read(root / "notebooks" / f"{name}.ipynb", 4)


def test_every_notebook_is_on_the_list(root):
    assert sorted(path.stem for path in (root / "notebooks").glob("*.ipynb")) == sorted(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_it_is_kept_without_output_and_says_that_its_data_is_invented(root, name):
    cells = read(root, name).cells
    code = [cell for cell in cells if cell.cell_type == "code"]
    assert not any(cell.outputs or cell.execution_count for cell in code)
    assert "invented" in cells[0].source or "ever measured" in cells[0].source
    assert sum("assert " in cell.source for cell in code) >= 4
    # short cells
    assert max(len(cell.source.splitlines()) for cell in code) <= 30


@pytest.mark.parametrize("name", NAMES)
def test_it_runs(root, name, tmp_path, monkeypatch):
    monkeypatch.delenv("MPLBACKEND", raising=False)
    monkeypatch.setenv("MPLCONFIGDIR", str(tmp_path))
    book = read(root, name)
    began = os.times()
    client = nbclient.NotebookClient(book, timeout=20 * LONGEST_S, kernel_name="python3", resources={"metadata": {"path": str(root / "notebooks")}})
    client.execute()
    # of processors, not of the clock: other work may run beside it
    spent = [now - then for now, then in zip(os.times()[2:4], began[2:4], strict=True)]
    assert 0.5 < sum(spent) < LONGEST_S
    outputs = [out for cell in book.cells if cell.cell_type == "code" for out in cell.outputs]
    assert any("image/png" in out.get("data", {}) for out in outputs) or not any("plots." in c.source for c in book.cells)
    assert not any(out.output_type == "error" for out in outputs)
    assert not any(out.get("name") == "stderr" for out in outputs), [out.text for out in outputs if out.get("name") == "stderr"]
