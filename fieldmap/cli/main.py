"""The ``fieldmap`` command: finds the command, runs it, prints its answer or what went wrong."""

from __future__ import annotations

import sys
from typing import Any

import click
import typer

from fieldmap.cli import assess, check, demo, hazards, move, start, values, version
from fieldmap.cli.reply import STRICT_EXIT, Reply, envelope, err, out, print_json
from fieldmap.errors import Fault, FieldmapError

OUR_FAULT, MISUSE, BAD_INPUT, DISK = 1, 2, 3, 5

app = typer.Typer(
    name="fieldmap",
    help="What lies in the fields, how to set the mower, and whether the road fits.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command("demo")(demo.demo)
app.command("start")(start.start)
app.command("check")(check.check)
app.command("assess")(assess.assess)
app.command("move")(move.move)
app.command("values")(values.values)
app.command("version")(version.version)
app.add_typer(hazards.app, name="hazards")


def run(argv: list[str] | None = None) -> None:
    """Run one command and end the process with its exit code."""
    words = sys.argv[1:] if argv is None else argv
    sys.exit(answer(words))


def answer(words: list[str]) -> int:
    """Run one command; print to stdout and stderr; give back the exit code.

    0 done; 1 our fault; 2 misuse; 3 bad input; 4 done, and something is stop or unknown (only
    with ``--strict``); 5 disk, permission or lock.
    """
    wants_json = "--json" in words
    try:
        reply = app(words, standalone_mode=False)
    except click.exceptions.Abort:
        return MISUSE
    except click.ClickException as error:
        return _fail([_misuse(error)], MISUSE, wants_json=wants_json)
    except FieldmapError as error:
        if "--debug" in words:
            raise
        return _fail(error.faults, error.exit_code, wants_json=wants_json)
    except OSError as error:
        if "--debug" in words:
            raise
        return _fail([_disk(error)], DISK, wants_json=wants_json)
    except Exception as error:  # the last door: a person never sees a traceback
        if "--debug" in words:
            raise
        return _fail([_ours(error)], OUR_FAULT, wants_json=wants_json)
    return _show(reply, wants_json=wants_json, strict="--strict" in words)


def _show(reply: Any, *, wants_json: bool, strict: bool) -> int:
    if not isinstance(reply, Reply):  # help was asked for
        return int(reply or 0)
    if wants_json:
        print_json(envelope(result=reply.result, warnings=reply.warnings, faults=reply.faults))
    else:
        for line in reply.warnings:
            err(f"note: {line}")
        for fault in reply.faults:
            err(str(fault))
        for line in reply.lines:
            out(line)
    if reply.faults:
        return BAD_INPUT
    return STRICT_EXIT if strict and reply.attention else 0


def _fail(faults: Any, code: int, *, wants_json: bool) -> int:
    if wants_json:
        print_json(envelope(faults=faults))
    else:
        err(str(FieldmapError(faults)))
    return code


def _misuse(error: click.ClickException) -> Fault:
    return Fault(
        "the command's words are off",
        error.format_message(),
        "nothing was done",
        "see 'fieldmap --help', or --help behind the command",
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
