"""readoff disk: a floppy image with the agent, a batch file to begin with, and a guide that DOS can show."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from readoff import resources
from readoff.cli.common import echo_json, json_option, writing

SIZES = ("360", "720", "1200", "1440")

START_BAT = """\
@ECHO OFF
REM Change the label after /L: whenever you change the machine.
SET READOFF=/L:as-found /D:SPOOL
IF NOT EXIST SPOOL\\NUL MD SPOOL
READOFF SNAP
REM One program, twice in this boot: take the REM away, put yours in its place.
REM READOFF RUN /P:program /N:2 C:\\FOLDER\\PROGRAM.EXE
"""

GUIDE_TXT = """\
READOFF: WHAT TO DO ON THIS MACHINE

First read the cautions that come with Readoff on the other computer. The
short of it: power off before anything is plugged or pulled; power supplies
and monitors stay closed; no logic-level adapter on a serial port.

1. Put this disk into a drive, make that drive the current one (A:), and
   type

     START

   It takes a snapshot of this machine, as it is now, into the folder SPOOL
   on this disk. That is a file of a few KB. The disk must not be write-
   protected. READOFF alone shows one screen of help.

2. Run a program as you always do, with READOFF RUN before it:

     READOFF RUN /L:as-found /P:replay /N:2 /D:SPOOL C:\\BENCH\\REPLAY.EXE

   /L: is the configuration that the machine is in now, in your own words.
   /P: is what you call the program. /N:2 runs it twice in this boot.
   /F:*.LOG also keeps what it writes into such files.
   Leave this disk in its drive until a line says that the run is kept.

3. Switch off, wait, switch on, and do the same again: three boots are the
   least that says anything. Change one thing, change the label, three more.

4. Take this disk to the other computer:

     readoff take THIS-DISK-OR-ITS-IMAGE
     readoff compare as-found other-label

The disk does not start a machine: it holds no DOS.
"""


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--size", type=click.Choice(SIZES), default="720", show_default=True, help="In KB.")
@click.option("--replace", is_flag=True, help="Write over FILE if it is there.")
@json_option
def disk(file: Path, size: str, replace: bool, as_json: bool) -> None:
    """Write a floppy image: READOFF.COM, START.BAT to begin with, GUIDE.TXT to read there.

    FILE is new, unless --replace is said. How an image gets onto a floppy is your system's affair; name the drive with
    care, for whatever is named there is overwritten.

    \b
    Example:
      readoff disk agent.img --size 360
    """
    from readoff.floppy import floppy_image

    files = {
        "READOFF.COM": resources.agent().read_bytes(),
        "START.BAT": _dos_text(START_BAT),
        "GUIDE.TXT": _dos_text(GUIDE_TXT),
    }
    image = floppy_image(int(size) * 2, files, datetime.now())
    mode = "wb" if replace else "xb"
    with writing(file, there="Give another name, or say --replace."), file.open(mode) as out:
        out.write(image)
    if as_json:
        echo_json({"path": str(file), "kilobytes": int(size), "files": list(files)})
        return
    click.echo(f"{file}: {size} KB, with {', '.join(files)}. On the old machine: START")


def _dos_text(text: str) -> bytes:
    return text.replace("\n", "\r\n").encode("cp437")
