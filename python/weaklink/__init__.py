"""What aged switch and relay contacts do to an audio signal, and whether they explain what is heard.

SI units, the unit in the name; voltages and currents are rms of a sine unless the name says peak; EMF is open circuit;
``loss_db`` is positive for quieter; residue and distortion are ratios to the fundamental; exp(+j omega t).
"""

from . import physics
from ._core import (
    TYPICAL_VERSION,
    Ceiling,
    Chain,
    Contact,
    Film,
    InputError,
    InternalError,
    Job,
    Lead,
    Load,
    Section,
    Source,
    Stage,
    WeaklinkError,
    __version__,
    load_job,
    loss_range_for_residue,
    residue_from_loss_range,
    typical,
)
from .fits import FilmFit, HarmonicLaw, fit_film, law_from_harmonics, show_validation
from .results import Assessment, Finding, Headline, Limit, Limits, NextStep, Rival, Typical, assess, limits

__all__ = [
    "TYPICAL_VERSION",
    "Assessment",
    "Ceiling",
    "Chain",
    "Contact",
    "Film",
    "FilmFit",
    "Finding",
    "HarmonicLaw",
    "Headline",
    "InputError",
    "InternalError",
    "Job",
    "Lead",
    "Limit",
    "Limits",
    "Load",
    "NextStep",
    "Rival",
    "Section",
    "Source",
    "Stage",
    "Typical",
    "WeaklinkError",
    "__version__",
    "assess",
    "fit_film",
    "law_from_harmonics",
    "limits",
    "load_job",
    "loss_range_for_residue",
    "physics",
    "residue_from_loss_range",
    "show_validation",
    "typical",
]
