"""The combside command: one subcommand a file of this folder, one way of failing.

Exit status: 0 done, 1 the answer is no, 2 the input is wrong. No input ends in
a traceback.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module

from assistant.app.load import Refused
from assistant.cli import complaints, completion, examples, status
from assistant.cli.styled import print_styled
from assistant.ears.vocabulary import VocabularyError
from assistant.files.places import docs_folder
from assistant.files.yaml_file import BadFile
from assistant.mouth.synthesiser import VoiceError
from assistant.screens.harmless import harmless

COMMANDS = (
    "consult",
    "kit",
    "household",
    "plan",
    "practice",
    "diary",
    "rehearse",
    "run",
    "check",
    "soundcheck",
)
"""Each is a module of this folder, imported only when it is asked for: the recognisers and the room take seconds."""


def parser(only: str = "") -> argparse.ArgumentParser:
    """Every command with its options; `only` one of them, where that is known already."""
    top = argparse.ArgumentParser(
        prog="combside",
        description="Walks a person and a helper through relaxing hair at home, by voice. The kit's own "
        "leaflet always rules.",
        epilog="Alone it says where this household stands and what comes next. Try it first: combside "
        f"rehearse. Pages to read: {docs_folder()}",
    )
    completion.add_to(top)
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    for command in (only,) if only in COMMANDS else COMMANDS:
        import_module(f"assistant.cli.{command}").add_to(commands)
        examples.lay_out(commands.choices[command])
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; its exit status."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    chosen = parser(words[0] if words else "").parse_args(words)
    try:
        done: int = (
            chosen.carry_out(chosen) if chosen.command else import_module("assistant.cli.standing").show()
        )
    except BadFile as bad:
        complaints.show(bad.complaints)
        return status.WRONG_INPUT
    except Refused as refused:
        for reason in refused.reasons:
            told = f": {harmless(reason.words)} [{reason.mark}]"
            print_styled("no", "bold red", sys.stderr, rest=told)
        return status.NO
    except (VocabularyError, VoiceError) as error:
        print(f"error: {harmless(str(error))}", file=sys.stderr)
        return status.WRONG_INPUT
    except (KeyboardInterrupt, EOFError):
        print("stopped", file=sys.stderr)
        return status.NO
    except BrokenPipeError:
        return status.DONE
    except OSError as error:
        told = f"{error.filename}: {error.strerror}" if error.filename and error.strerror else str(error)
        print(f"error: {harmless(told)}", file=sys.stderr)
        return status.WRONG_INPUT
    return done
