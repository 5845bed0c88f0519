"""The command ``weaklink``: exit status 0 done, 2 bad input, 1 anything else."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from . import InputError, WeaklinkError, __version__, assess, load_job

if TYPE_CHECKING:
    from collections.abc import Sequence


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
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command; returns its exit status."""
    options = _parser().parse_args(arguments)
    try:
        answer = assess(load_job(options.job))
        if options.json:
            out = answer.to_json() + "\n"
        else:
            from .report import text

            out = text(answer, everything=options.all)
        sys.stdout.write(out)
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
    except WeaklinkError as error:
        sys.stderr.write(f"weaklink: {error}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
