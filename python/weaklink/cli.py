"""The command ``weaklink``: exit status 0 done, 2 bad input, 1 anything else."""

from __future__ import annotations

import argparse
import json
import sys
import time
from typing import TYPE_CHECKING

from . import Assessment, InputError, Job, WeaklinkError, __version__, _core, assess, limits, load_job, typical
from .extras import bad_input

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="weaklink",
        description="What aged switch and relay contacts do to an audio signal, and whether they explain what is heard.",
    )
    parser.add_argument("--version", action="version", version=f"weaklink {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    judge = commands.add_parser("assess", help="say what the evidence of a job sheet leaves")
    judge.add_argument("job", metavar="JOB.toml", help="the job sheet")
    judge.add_argument("--json", action="store_true", help="everything, for machines")
    judge.add_argument("--all", action="store_true", help="every reason and number")
    judge.add_argument("--draws", type=int, default=100_000, metavar="N", help="draws behind the probabilities, default 100000; 0 for none")
    judge.add_argument("--seed", type=int, default=0, metavar="N", help="seed of the draws, default 0")
    judge.add_argument("--shop", metavar="shop.toml", help="rank remedies by what compare --save learnt")
    judge.add_argument("--report", metavar="FILE.html", help="also write the page for the customer, with the bench record behind it")
    judge.add_argument("--done", action="append", default=[], metavar="TEXT", help="for the page: what was done; may be repeated")
    judge.add_argument("--not-tested", action="append", default=[], metavar="TEXT", help="for the page: what was not tested; may be repeated")
    judge.add_argument("--price", metavar="TEXT", help="for the page: the price, as a sentence")
    judge.add_argument("--ohms", action="store_true", help="for the page: show the customer ohms as well")
    most = commands.add_parser("limits", help="say how many ohms are too many at each place")
    which = most.add_mutually_exclusive_group(required=True)
    which.add_argument("job", nargs="?", metavar="JOB.toml", help="a job sheet; its readings are not used")
    which.add_argument("--typical", metavar="NAME", help=f"a typical layout: {', '.join(_core._layouts())}")
    told = 'target, default 0.1; or "inaudible"'
    most.add_argument("--residue", type=_percent, default=1e-3, metavar="PERCENT", help=told)
    most.add_argument("--level", type=float, metavar="DB", help="inaudible up to this level at the ear, dB SPL")
    most.add_argument("--loss", type=float, default=0.5, metavar="DB", help="target, default 0.5")
    most.add_argument("--crosstalk", type=float, default=-40.0, metavar="DB", help="target in a shared return, default -40")
    most.add_argument("--json", action="store_true", help="for machines")
    blank = commands.add_parser("template", help="print a commented job sheet to fill in, or its readings file")
    blank.add_argument(
        "--readings", nargs="?", const="", metavar="JOB.toml", help="a CSV to fill in, for the contacts of a job sheet"
    )
    shop = commands.add_parser("compare", help="say what a bench log teaches: clean, strip or replace")
    shop.add_argument("log", nargs="?", metavar="LOG", help="the bench log, CSV or Parquet")
    shop.add_argument("--columns", action="store_true", help="list the columns of a bench log")
    shop.add_argument("--hour", type=float, default=60.0, metavar="PRICE", help="price of an hour of work, default 60")
    shop.add_argument("--years", type=float, default=3.0, help="up to when good service counts, default 3")
    shop.add_argument("--level", type=float, metavar="DB", help="level at the ear for what is heard, dB SPL, default 80")
    shop.add_argument("--strict", action="store_true", help="stop at the first fault of the log instead of setting it aside")
    shop.add_argument("--set-aside", metavar="FILE", help="write the rows without an after or set aside, and why")
    shop.add_argument("--save", metavar="shop.toml", help="write what was learnt")
    shop.add_argument("--json", action="store_true", help="everything, for machines")
    shop.add_argument("--all", action="store_true", help="every fault and number")
    commands.add_parser("schema", help="print the JSON Schema of a job sheet, for editors")
    commands.add_parser("typicals", help="list the typical values and where they come from")
    return parser


def _percent(text: str) -> float | str:
    return text if text == "inaudible" else float(text) / 100.0


def _progress() -> Callable[[int], None] | None:
    """Tells on standard error how far the draws are, where somebody watches and it takes longer than a moment."""
    if not sys.stderr.isatty():
        return None
    began = time.monotonic()

    def told(blocks: int) -> None:
        if time.monotonic() - began > 1.0:
            sys.stderr.write(f"\r\033[Kdraws: block {blocks}\r")
            sys.stderr.flush()

    return told


def _answer(options: argparse.Namespace) -> str:
    from .report import WIDTH, text, typicals_text

    if options.command == "assess":
        from .shop_job import load_shop, remedies_json, remedies_text

        job = load_job(options.job)
        # a fault of either file is told before the draws
        shop = load_shop(options.shop) if options.shop is not None else None
        answer = assess(job, draws=options.draws, seed=options.seed, progress=_progress())
        _report(options, job, answer)
        if options.json:
            return json.dumps({**json.loads(answer.to_json()), **remedies_json(job, answer, shop)}) + "\n"
        remedies = remedies_text(job, answer, shop)
        page = text(answer, everything=options.all)
        if shop is not None or not remedies:
            return page + remedies
        # beside the last line, where there is room
        joined = f"{page.rstrip()} {remedies}"
        narrow = not options.all and len(joined.splitlines()[-1]) <= WIDTH
        return joined if narrow else text(answer, everything=options.all, below=1) + remedies
    if options.command == "limits":
        job = typical(options.typical) if options.typical else load_job(options.job)
        found = limits(
            job, residue=options.residue, loss_db=options.loss, crosstalk_db=options.crosstalk, level_db=options.level
        )
        return found.to_json() + "\n" if options.json else str(found)
    if options.command == "compare":
        return _compare(options)
    if options.command == "template":
        if options.readings is None:
            return _core._sheet_template()
        sheet = Job.from_text(_core._sheet_template()) if options.readings == "" else load_job(options.readings)
        return _core._readings_template(sheet)
    if options.command == "schema":
        return json.dumps(json.loads(_core._schema_json()), indent=2) + "\n"
    return typicals_text()


def _report(options: argparse.Namespace, job: Job, answer: Assessment) -> None:
    """Writes the page, or says which option does nothing without it."""
    words = {"--done": options.done, "--not-tested": options.not_tested, "--price": options.price, "--ohms": options.ohms}
    if options.report is None:
        idle = next((name for name, given in words.items() if given), None)
        if idle is not None:
            raise bad_input(idle, "without --report", "allowed: beside --report FILE.html")
        return
    from .html_report import page, write

    write(
        options.report,
        page(job, assessment=answer, done=options.done, not_tested=options.not_tested, price=options.price, ohms=options.ohms),
    )


def _compare(options: argparse.Namespace) -> str:
    from .shop_log import columns_text

    if options.columns:
        return columns_text()
    if options.log is None:
        raise bad_input("compare", "no log", "allowed: a bench log, CSV or Parquet, or --columns")
    from .shop import compare, read_log

    def told(step: str) -> None:
        # on one line, and only where somebody watches
        if sys.stderr.isatty():
            sys.stderr.write(f"\r\033[K{step}")
            sys.stderr.flush()

    told("log")
    try:
        log = read_log(options.log, strict=options.strict)
        if options.set_aside:
            log.write_set_aside(options.set_aside)
        found = compare(log, per_hour=options.hour, horizon_years=options.years, level_db=options.level, progress=told)
        if options.save:
            found.save(options.save)
    finally:
        told("")
    return found.to_json() + "\n" if options.json else found.text(everything=options.all)


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command; returns its exit status."""
    options = _parser().parse_args(arguments)
    try:
        sys.stdout.write(_answer(options))
        sys.stdout.flush()
    except InputError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    except BrokenPipeError:
        # the reader of the pipe has gone: nothing left to say to it
        sys.stderr.close()
        return 1
    except KeyboardInterrupt:
        sys.stderr.write("stopped\n")
        return 1
    except ModuleNotFoundError as error:
        # an extra that is not installed says what to install; anything else is a fault of ours
        if error.name is None or error.name.split(".")[0] not in ("statsmodels", "scipy", "narwhals", "pyarrow", "numpy"):
            raise
        told = str(error) if "pip install" in str(error) else f"{error}: pip install 'weaklink[shop]' brings it"
        sys.stderr.write(f"weaklink: {told}\n")
        return 1
    except OSError as error:
        sys.stderr.write(f"weaklink: {error.filename}: {error.strerror}\n")
        return 1
    except WeaklinkError as error:
        sys.stderr.write(f"weaklink: {error}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
