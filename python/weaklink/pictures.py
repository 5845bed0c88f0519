"""Makes the pictures of the README: ``python -m weaklink.pictures notebooks/pictures notebooks/jobs/gritty-right-on-records.toml``.

The same input gives the same bytes with the same matplotlib. What they show is invented or typical; no set was measured.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from . import Contact, Film, Lead, Load, Section, Source, WeaklinkError, assess, evidence, hearing, level_cycle, limits, load_job, physics, sweep, typical
from .extras import needs

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from ._core import Job

SPEAKER = Section(
    "loudspeaker",
    source=Source(emf_v=0.3, resistance_ohm=0.1),
    path=[Contact("relay", resistance_ohm=0.0), Lead(resistance_ohm=0.1)],
    load=Load(resistance_ohm=8.0),
)


def ohms_that_matter(plots: Any, job: Job) -> Any:
    """Ohms that matter at the places of a typical amplifier."""
    return plots.ohms_that_matter(limits(typical("integrated amplifier"))).figure


def residue_under_its_ceiling(plots: Any, job: Job) -> Any:
    """Three laws at a loudspeaker's contact, 0.3 V, under the ceiling of the one that grows most."""
    import numpy as np

    ohm = np.geomspace(0.01, 10.0, 40)
    laws = {
        "tunnelling": Film.tunnelling(resistance_ohm=1.0, scale_v=0.4),
        "rectifying": Film.rectifying(resistance_ohm=1.0, ideality=1.5, leak_ratio=0.1),
        "bridged": Film.bridged(resistance_ohm=1.0),
    }
    axes = {"law": ("relay.film", laws), "R": ("relay.resistance_ohm", ohm)}
    found = sweep(SPEAKER, axes, ["thd_f", "ceiling_chatter"], progress=False)
    ax = plots.residue(ohm, {law: found.thd_f.sel(law=law) for law in laws}, ceiling=found.ceiling_chatter.max("law"))
    return ax.figure


def level_up_and_down(plots: Any, job: Job) -> Any:
    """A film that breaks: level and harmonics, up, down and the next morning."""
    import numpy as np

    film = Film.tunnelling(resistance_ohm=60.0, scale_v=0.4)
    relay = Section("out", source=Source(emf_v=1.0, resistance_ohm=0.1), path=[Contact("relay", film=film)], load=Load(resistance_ohm=8.0))
    cycle = level_cycle(relay, np.geomspace(0.01, 10.0, 25), frit_v=0.5)
    figure, (left, right) = plots.new_figure(1, 2, width=5.2, height=3.8)
    plots.level_cycle(cycle, relay, ax=left)
    plots.level_cycle(cycle, quantity="residue", ax=right)
    return figure


def loud_and_quiet(plots: Any, job: Job) -> Any:
    """The same crackle beside a loud and a quiet passage, over the thresholds of three models."""
    import numpy as np

    step_v = physics.crackle_step_v(1e-6, 0.0, 1000.0, 50e3)
    third = 1000.0 * 2.0 ** (np.arange(-12, 13) / 3)
    density = physics.telegraph_spectrum_per_hz(step_v, 1e-3, 1e-3, third)
    # 150 mV are 90 dB SPL at the ear: invented
    level = 90.0 + 10 * np.log10(density * third * (2 ** (1 / 6) - 2 ** (-1 / 6))) - 20 * np.log10(0.150)
    figure, (left, right) = plots.new_figure(1, 2, width=5.2, height=4.4)
    plots.spectrum(third, level, maskers=hearing.programme(85.0), points=160, ax=left)
    plots.spectrum(third, level, maskers=[hearing.Masker(440.0, 40.0)], points=160, ax=right)
    return figure


def readings(plots: Any, job: Job) -> Any:
    """The readings of a job."""
    return plots.readings(evidence(job), assess(job), limits=limits(job)).figure


def suspects(plots: Any, job: Job) -> Any:
    """Who is suspected in a job."""
    return plots.suspects(evidence(job), assess(job)).figure


PICTURES: dict[str, Callable[[Any, Any], Any]] = {
    "ohms-that-matter": ohms_that_matter,
    "residue-under-its-ceiling": residue_under_its_ceiling,
    "level-up-and-down": level_up_and_down,
    "loud-and-quiet": loud_and_quiet,
    "readings": readings,
    "suspects": suspects,
}


def make(folder: str | os.PathLike[str], job: Job) -> list[Path]:
    """Writes every picture as SVG into a folder, and returns their paths; nothing is shown."""
    matplotlib = needs("matplotlib", "pictures")
    backend = needs("matplotlib.backends.backend_svg", "pictures")
    pyplot = needs("matplotlib.pyplot", "pictures")
    from . import plots

    there = Path(folder)
    there.mkdir(parents=True, exist_ok=True)
    out = []
    # text stays text; names inside the file do not change from run to run
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "weaklink"}):
        for name, draw in PICTURES.items():
            figure = draw(plots, job)
            path = there / f"{name}.svg"
            new = path.with_suffix(".new")
            backend.FigureCanvasSVG(figure).print_svg(new, metadata={"Date": None, "Creator": None, "Title": draw.__doc__})
            os.replace(new, path)
            pyplot.close(figure)
            out.append(path)
    return out


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command; returns its exit status."""
    parser = argparse.ArgumentParser(prog="python -m weaklink.pictures", description="Makes the pictures of the README.")
    parser.add_argument("folder", metavar="DIR")
    parser.add_argument("job", metavar="JOB.toml")
    options = parser.parse_args(arguments)
    try:
        for path in make(options.folder, load_job(options.job)):
            print(f"{path}: {path.stat().st_size / 1000:.0f} kB")
    except WeaklinkError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    except (ModuleNotFoundError, OSError) as error:
        sys.stderr.write(f"weaklink: {error}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
