"""The ``fieldmap`` command: finds the command, runs it, prints its answer or what went wrong."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Sequence
from typing import Any

import typer

from fieldmap.cli import (
    assess,
    check,
    day,
    demo,
    hazards,
    ledger,
    move,
    poor_cut,
    road_checks,
    roads,
    search,
    slopes,
    start,
    values,
    version,
    what_if,
    widest,
)
from fieldmap.cli.reply import STRICT_EXIT, Reply, envelope, err, out, print_json
from fieldmap.errors import Fault, FieldmapError, told

OUR_FAULT, MISUSE, BAD_INPUT, DISK = 1, 2, 3, 5
STOPPED = 130  # what a shell gives a command that was stopped with Ctrl-C

app = typer.Typer(
    name="fieldmap",
    help="What lies in the fields, how to set the mower, and whether the road fits.",
    context_settings={"help_option_names": ["-h", "--help"]},
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command("demo", short_help="The whole job on an invented farm, and what to open.")(demo.demo)
app.command("start", short_help="Make a farm folder from your files.")(start.start)
app.command("check", short_help="Read every input and list every fault.")(check.check)
app.command("assess", short_help="Risk, findings, mower settings, maps and sheets.")(assess.assess)
app.command("move", short_help="Check a road move before the machine is on the road.")(move.move)
app.command("day", short_help="The order of the fields that fits the day and the road.")(day.day)
app.command("search", short_help="What was looked at, what not, and lines to walk.")(search.search)
app.command("slopes", short_help="Slopes of many fields at once, with a plot.")(slopes.slopes)
app.command("ledger", short_help="Write down mowing and knife changes; how far knives are.")(
    ledger.ledger
)
app.command("road-checks", short_help="Write down what was measured on the road.")(
    road_checks.road_checks
)
app.command("roads", short_help="Fetch the roads round the farm: the only one that goes online.")(
    roads.roads
)
app.command("poor-cut", short_help="What to look at, in order, when the cut is poor.")(
    poor_cut.poor_cut
)
app.command("values", short_help="Trade figures with their sources.")(values.values)
app.command(
    "what-if", short_help="Another machine, shoe or knives, or marks cleared: what differs."
)(what_if.what_if)
app.command("widest", short_help="How wide a machine gets where, and which of yours does.")(
    widest.widest
)
app.command("version", short_help="Versions of everything that can change an answer.")(
    version.version
)
app.add_typer(hazards.app, name="hazards")


def run(argv: list[str] | None = None) -> None:
    """Run one command and end the process with its exit code."""
    words = sys.argv[1:] if argv is None else argv
    sys.exit(answer(words))


def answer(words: list[str]) -> int:
    """Run one command; print to stdout and stderr; give back the exit code.

    0 done; 1 our fault; 2 misuse; 3 bad input; 4 done, and something is stop or unknown (only
    with ``--strict``); 5 disk, permission or lock; 130 stopped by hand.
    """
    wants_json = "--json" in words
    faults: Sequence[Fault] = (_STOPPED_BY_HAND,)
    code = STOPPED
    try:
        reply = app(words or ["--help"], prog_name="fieldmap", standalone_mode=False)
        if reply != STOPPED:  # what typer makes of Ctrl-C
            return _show(reply, wants_json=wants_json, strict="--strict" in words)
    except BrokenPipeError:  # whoever read the answer had enough of it
        _let_go_of_stdout()
        return 0
    except (KeyboardInterrupt, typer.Abort):
        pass
    except Exception as error:  # noqa: BLE001 - the last door: a person never sees a traceback
        faults, code = _faults(error)
        if "--debug" in words:
            traceback.print_exc()
    return _fail(faults, code, wants_json=wants_json)


def _show(reply: Any, *, wants_json: bool, strict: bool) -> int:
    if not isinstance(reply, Reply):  # help was asked for
        return int(reply or 0)
    if wants_json:
        print_json(envelope(result=reply.result, warnings=reply.warnings, faults=reply.faults))
    else:
        for line in reply.warnings:
            err(f"note: {line}")
        for line in (*told(reply.faults), *reply.lines):
            out(line)
    sys.stdout.flush()
    if reply.faults:
        return BAD_INPUT
    return STRICT_EXIT if strict and reply.attention else 0


def _fail(faults: Sequence[Fault], code: int, *, wants_json: bool) -> int:
    try:
        if wants_json:
            print_json(envelope(faults=faults))
        else:
            for line in told(faults):
                err(line)
        sys.stdout.flush()
    except OSError:  # nobody is left to be told; the exit code still says it
        _let_go_of_stdout()
    return code


def _let_go_of_stdout() -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _faults(error: Exception) -> tuple[tuple[Fault, ...], int]:
    if isinstance(error, FieldmapError):
        return error.faults, error.exit_code
    if isinstance(error, typer.TyperException):
        return (_misuse(error),), MISUSE
    if isinstance(error, OSError):
        return (_disk(error),), DISK
    return (_ours(error),), OUR_FAULT


_STOPPED_BY_HAND = Fault(
    "stopped by hand",
    "Ctrl-C",
    "what was not finished was not written",
    "run it again",
)


def _misuse(error: typer.TyperException) -> Fault:
    context = getattr(error, "ctx", None)
    command = "fieldmap" if context is None else context.command_path
    return Fault(
        "the command's words are off",
        error.format_message().rstrip("."),
        "nothing was done",
        f"see '{command} --help'",
    )


def _disk(error: OSError) -> Fault:
    return Fault(
        "the disk said no",
        error.strerror or str(error),
        "nothing more was done",
        "free the disk or mend the permission",
        where=str(error.filename or ""),
    )


def _ours(error: Exception) -> Fault:
    return Fault(
        "fieldmap broke",
        f"{type(error).__name__}: {error}",
        "this is our fault, not yours",
        "run it again with --debug and send us what it prints",
    )
