"""The plan as batch files, for a bench without a line: one for each boot, in order, to be started by hand.

DOS rules: names of 8.3, lines that end in CR LF, at most 127 characters a line, code page 437.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from readoff.errors import UsageError
from readoff.studies.order import PlannedBoot
from readoff.studies.step import boot_words
from readoff.studies.study import Program, Study

LONGEST_COMMAND = 127  # that COMMAND.COM takes in a line
SPOOL = "SPOOL"
_WIDTH = 72
_INDENT = " " * 12


def batch_files(
    study: Study, boots: Iterable[PlannedBoot], drive: str, *, send_programs: bool = False
) -> dict[str, bytes]:
    """File name -> octets: B001.BAT, B002.BAT, … and PLAN.TXT. drive: of this disk on the old machine ("A:").

    send_programs: each boot also brings home the programs' files, so that the guard can tell whether they are
    the same octets everywhere. Raises UsageError where a command would be longer than DOS takes.
    """
    files = {}
    told: list[str] = []
    cautions: dict[str, None] = {}
    last = ""
    probed: set[str] = set()
    for boot in boots:
        words = boot_words(study, boot, last)
        name = f"B{boot.number:03}.BAT"
        probes = () if study.probe_once and boot.label in probed else study.probes
        probed.add(boot.label)
        files[name] = _octets(_batch(study, boot, words.within, drive, probes, send_programs=send_programs))
        first, *rest = _wrapped(words.before, _WIDTH - len(_INDENT))
        told += [f"{name:<{len(_INDENT)}}{first}", *(_INDENT + line for line in rest)]
        cautions.update(dict.fromkeys(words.cautions))
        last = boot.label
    if told:
        told += ["", *_wrapped(f"Start each in its own boot, in this order, from {drive}\\.")]
        told += _wrapped(f"Records gather in {drive}\\{SPOOL}. Bring this disk home.")
    else:
        told += ["All boots of the plan are done."]
    careful = [line for each in cautions for line in _wrapped(f"Caution: {each}")]
    head = [*_wrapped(study.title), *_wrapped(f"Machine: {study.machine}"), "", *careful, ""]
    files["PLAN.TXT"] = _octets([*head, *told])
    return files


def _batch(
    study: Study, boot: PlannedBoot, words: str, drive: str, probes: Iterable[str], *, send_programs: bool
) -> Iterable[str]:
    yield "@ECHO OFF"
    for line in _wrapped(words):
        yield f"ECHO {_plain(line)}"
    yield f"ECHO And freshly {'switched on' if study.cold else 'reset'}, for a boot of its own."
    yield "ECHO Ctrl-C ends this if it is not so; any other key goes on."
    yield "PAUSE"
    spool = f"/D:{drive}\\{SPOOL}"
    # COMMAND.COM's NUL is there in every existing folder: the way to ask whether a folder exists.
    yield f"IF NOT EXIST {drive}\\{SPOOL}\\NUL MD {drive}\\{SPOOL}"
    for probe in probes:
        yield f"{drive}\\READOFF PROBE {probe} /L:{_label(boot)} {spool}"
    for program in study.programs:
        yield _run(program, boot, study.repeats, drive, spool)
        if send_programs:
            yield _fitting(f"{drive}\\READOFF SEND {spool} {program.path}", program)
    yield f"ECHO Boot {boot.number} is done."


def _run(program: Program, boot: PlannedBoot, repeats: int, drive: str, spool: str) -> str:
    options = f"/L:{_label(boot)} /P:{program.name} /N:{repeats} {spool}"
    options += f' /K:"{program.keys}"' if program.keys else ""
    options += "".join(f" /F:{each}" for each in program.files.split(";") if each)
    return _fitting(f"{drive}\\READOFF RUN {options} {program.line}", program)


def _label(boot: PlannedBoot) -> str:
    return f'"{boot.label}"' if " " in boot.label else boot.label


def _fitting(line: str, program: Program) -> str:
    if len(line) > LONGEST_COMMAND:
        raise UsageError(
            f"the command for {program.name} has {len(line)} characters, and DOS takes {LONGEST_COMMAND}",
            next_step="Shorten its path, name or label, or put the call into a batch file of its own.",
        )
    return line


def _wrapped(text: str, width: int = _WIDTH) -> list[str]:
    return textwrap.wrap(text, width) or [""]


def _plain(text: str) -> str:
    """Text that ECHO shows as it is: what COMMAND.COM would take for redirection or a variable is left out."""
    return "".join(" " if each in "<>|%" else each for each in text)


def _octets(lines: Iterable[str]) -> bytes:
    return "".join(f"{line}\r\n" for line in lines).encode("cp437", "replace")
