"""A step as the line carries it: what an agent that stands by is told to do.

Texts go in code page 437; what it lacks becomes a question mark, for a person's words must never be held up by a
character. A program's path and arguments are another matter: there such a character is an error.
"""

from __future__ import annotations

import textwrap
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from readoff.contract import cp437
from readoff.errors import ContractError
from readoff.link.frames import limit_of

What = Literal["nothing", "run", "snapshot", "reset", "person", "wait", "power", "probe", "send"]

WIDTH = 78
"""Characters in a line that the agent shows: a screen has 80 or 40 columns."""
PATH_MOST = 126
"""Octets in a path: more than any that DOS takes."""
ARGUMENTS_MOST = 125
"""Octets in arguments: with the blank before them they fill a DOS command tail."""
NAME_MOST = 64
"""Octets in a label or a program's name, as the agent's options have them."""
FILES_MOST = 127
"""Octets in patterns of files, as the agent's /F: has them in all."""
KEYS_MOST = 112
"""Octets in a script of keys, as the agent's /K: has it."""
_FIXED = 64
"""Octets set aside for a frame's kind, numbers, lengths and FCS."""


@dataclass(frozen=True)
class GivenStep:
    """What the agent is told. what: a name of the contract's enum. seconds: to wait before it asks again.

    label, program, path, arguments, keys, files: as RUN would be given them. words: for the person, without line ends;
    cautions: what goes with them, never cut.
    """

    what: What
    words: str = ""
    cautions: tuple[str, ...] = ()
    seconds: int = 0
    label: str = ""
    program: str = ""
    path: str = ""
    arguments: str = ""
    keys: str = ""
    files: str = ""

    @property
    def token(self) -> int:
        """Names the step: made from what it says, so that a host that starts again gives the same. Never 0."""
        parts = (self.what, self.label, self.program, self.path, self.arguments, self.words, *self.cautions)
        parts += (self.keys,) if self.keys else ()
        parts += ("files", self.files) if self.files else ()
        return zlib.crc32("\0".join(parts).encode()) or 1


def step_values(step: GivenStep) -> dict[str, Any]:
    """The values of the step's frame. Raises ContractError for a text of the run that the agent cannot take."""
    texts = {
        "label": _name(step.label, NAME_MOST, "label"),
        "program": _name(step.program, NAME_MOST, "program"),
        "path": _name(step.path, PATH_MOST, "path"),
        "arguments": _name(step.arguments, ARGUMENTS_MOST, "arguments"),
    }
    keys = _name(step.keys, KEYS_MOST, "keys")
    files = _name(step.files, FILES_MOST, "files")
    room = limit_of("frame_limit") - _FIXED - sum(map(len, texts.values())) - len(keys) - len(files)
    words = shown_words(step.words, step.cautions, room)
    return {
        "what": step.what,
        "token": step.token,
        "seconds": step.seconds,
        **texts,
        "words": words,
        "keys": keys,
        "files": files,
    }


def _name(text: str, most: int, where: str) -> str:
    if len(cp437.encode(text)) > most:
        raise ContractError(f"is longer than the {most} octets that the agent takes", where=where)
    return text


def shown_words(words: str, cautions: Sequence[str], room: int) -> str:
    """Words and cautions in lines for the agent's screen, ``room`` octets at most; the words are cut, if need be.

    Raises ContractError where the cautions alone do not fit.
    """
    below = "".join(_lines(caution, "- ") for caution in cautions)
    if len(below) > room:
        raise ContractError("the cautions are too long for a frame", where="step")
    above = _lines(words)
    if len(above) + len(below) > room:
        above = above[: max(0, room - len(below) - len("...\r\n"))] + "...\r\n"
    return above[: max(0, room - len(below))] + below


def _lines(text: str, mark: str = "") -> str:
    plain = "".join(c if c.isprintable() else " " for c in text.encode("cp437", "replace").decode("cp437"))
    lines = textwrap.wrap(plain, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))
    return "".join(f"{line}\r\n" for line in lines)
