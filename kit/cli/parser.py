"""The words of the command line. Nothing heavy is loaded here, so that ``--help`` is instant."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import NoReturn

from kit import __version__
from kit.errors import KitError

ABOUT = """\
Fair head-to-head comparisons of espresso preparation methods.

A trial is a folder of plain files. The usual order of the work:

  fairpull demo                 see the whole path on an invented trial
  fairpull new my-trial         start your own; describe it in my-trial/trial.toml
  fairpull open my-trial        do everything below in notebooks instead
  fairpull plan my-trial        which questions your shots can answer, and the cost
  fairpull schedule my-trial    draw the run order at random
  fairpull freeze my-trial      seal plan and order before the first shot
  fairpull sheets my-trial      print the sheets of the bench, and a log sheet
  fairpull import my-trial F    read a filled-in log sheet or your own spreadsheet
  fairpull rescue my-trial …    plan again what is left when something breaks
  fairpull check my-trial       look for mistakes in the log
  fairpull export my-trial      the log for other programs: CSV and a workbook
  fairpull analyse my-trial     what the shots say, in words
  fairpull settle my-trial      settle a blind analysis; then names are shown
  fairpull publish my-trial     tables, figures, report and bundle
  fairpull reproduce B.zip      recompute somebody's published bundle
"""


class Parser(argparse.ArgumentParser):
    """A parser whose complaints are errors of the kit: one sentence, in the format asked for."""

    def error(self, message: str) -> NoReturn:
        """Refuse a command line that cannot be read.

        Raises
        ------
        KitError
            Always.
        """
        raise KitError(f"{message[:1].upper() + message[1:]}. Type “{self.prog} --help” for help.")


def build_parser() -> Parser:
    """The parser of ``fairpull``; each command names the function that runs it."""
    parser = Parser(
        prog="fairpull", description=ABOUT, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--version", action="version", version=f"fairpull {__version__}")
    commands = parser.add_subparsers(
        dest="command", required=True, metavar="COMMAND", title="commands"
    )
    _add_starting(commands)
    _add_planning(commands)
    _add_bench(commands)
    _add_logging(commands)
    _add_results(commands)
    _add_bundles(commands)
    return parser


def _add_starting(commands: argparse._SubParsersAction[Parser]) -> None:
    demo = _command(
        commands, "demo", "run the whole path on an invented trial", "kit.cli.demo:demo"
    )
    demo.add_argument(
        "folder", nargs="?", type=Path, metavar="FOLDER",
        help="where to put it (default: four_naps, or the next free name)",
    )  # fmt: skip
    new = _command(
        commands, "new", "start a trial of your own in a new folder", "kit.cli.starting:new"
    )
    new.add_argument("folder", type=Path, metavar="FOLDER", help="a folder that is not there yet")
    source = new.add_mutually_exclusive_group()
    source.add_argument(
        "--like", metavar="SAMPLE", default="four_naps",
        help="start from the plan of a sample: four_naps, disc_and_soak, seven_rivers",
    )  # fmt: skip
    source.add_argument(
        "--from", dest="bundle", type=Path, metavar="BUNDLE",
        help="start from the plan of somebody's published bundle, to repeat their trial",
    )  # fmt: skip
    opened = _command(
        commands, "open", "open the notebooks on a trial", "kit.cli.starting:open_trial"
    )
    _folder(opened)
    opened.add_argument("--no-browser", action="store_true", help="print the link only")


def _add_planning(commands: argparse._SubParsersAction[Parser]) -> None:
    plan = _command(
        commands, "plan", "what your shots can answer, and what they cost", "kit.cli.before:plan"
    )
    _folder(plan)
    schedule = _command(
        commands, "schedule", "draw the run order at random", "kit.cli.before:schedule"
    )
    _folder(schedule)
    schedule.add_argument(
        "--seed", type=int, metavar="N",
        help="a whole number of your choice; without it one is drawn and recorded",
    )  # fmt: skip
    _folder(
        _command(
            commands, "freeze", "seal plan and order before the first shot", "kit.cli.before:freeze"
        )
    )


def _add_logging(commands: argparse._SubParsersAction[Parser]) -> None:
    imported = _command(
        commands, "import", "read shots from a CSV or XLSX file", "kit.cli.during:import_log"
    )
    _folder(imported)
    imported.add_argument("file", type=Path, metavar="FILE", help="log sheet or spreadsheet")
    _folder(_command(commands, "check", "look for mistakes in the log", "kit.cli.during:check"))
    _folder(
        _command(commands, "export", "write the log for other programs", "kit.cli.during:export")
    )


def _add_bench(commands: argparse._SubParsersAction[Parser]) -> None:
    sheets = _command(commands, "sheets", "write the sheets of the bench", "kit.cli.bench:sheets")
    _folder(sheets)
    sheets.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="default: A4")
    rescue = _command(
        commands, "rescue", "plan again what is left when something breaks", "kit.cli.bench:rescue"
    )
    _folder(rescue)
    rescue.add_argument(
        "what", choices=("bag", "session", "shots"),
        help="bag: the bag ran out; session: it ends early; shots: pull lost ones again",
    )  # fmt: skip
    rescue.add_argument("--reason", required=True, metavar="TEXT", help="what happened")
    rescue.add_argument(
        "--extra-sessions", type=int, default=1, metavar="N",
        help="sessions that can be added for what is left (default: 1)",
    )  # fmt: skip


def _add_results(commands: argparse._SubParsersAction[Parser]) -> None:
    analyse = _command(commands, "analyse", "what the shots say, in words", "kit.cli.after:analyse")
    analyse.add_argument(
        "folder", type=Path, metavar="FOLDER", help="trial folder, or a plain table of shots (CSV)"
    )
    settle = _command(commands, "settle", "settle a blind analysis", "kit.cli.after:settle")
    _folder(settle)
    publish = _command(
        commands, "publish", "write tables, figures, report and bundle", "kit.cli.after:publish"
    )
    _folder(publish)
    publish.add_argument(
        "--stills", nargs="?", const="still-wide", metavar="FORMAT",
        help="also the running means shot by shot, as stills and a GIF (default: still-wide)",
    )  # fmt: skip
    publish.add_argument(
        "--licence", choices=("CC-BY-4.0", "CC0-1.0"), default="CC-BY-4.0",
        help="licence of the data in the bundle (proposed: CC-BY-4.0)",
    )  # fmt: skip


def _add_bundles(commands: argparse._SubParsersAction[Parser]) -> None:
    reproduce = _command(
        commands, "reproduce", "recompute a published bundle and compare", "kit.cli.after:reproduce"
    )
    reproduce.add_argument("bundle", type=Path, metavar="BUNDLE")
    reproduce.add_argument(
        "--no-browser", action="store_true", help="write the report but do not open it"
    )
    verify = _command(
        commands,
        "verify",
        "check a bundle against the seal shown in public",
        "kit.cli.after:verify",
    )
    verify.add_argument("bundle", type=Path, metavar="BUNDLE")
    verify.add_argument("seal", metavar="SEAL", help="the short seal, as shown")
    pool = _command(
        commands, "pool", "combine several bundles of the same trial", "kit.cli.after:pool"
    )
    pool.add_argument("bundles", type=Path, nargs="+", metavar="BUNDLE")
    pool.add_argument(
        "--to", type=Path, default=Path("pooled"), metavar="FOLDER",
        help="where tables and figures go (default: pooled)",
    )  # fmt: skip


def _command(
    commands: argparse._SubParsersAction[Parser], name: str, help_: str, run: str
) -> Parser:
    parser = commands.add_parser(name, help=help_, description=help_[:1].upper() + help_[1:] + ".")
    parser.add_argument("--json", action="store_true", help="print the result as data")
    parser.set_defaults(run=run)
    return parser


def _folder(parser: Parser) -> None:
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="trial folder")
