"""Programs that are broken off: by Ctrl-C, by a division without a result, by a critical error. The agent goes on."""

from __future__ import annotations

from readoff.box import AT, Box, Drive
from support.agent_box import EXIT_ALL, EXIT_MISSING, AgentRan, agent_box, console, end_of, readoff


def ending(ran: AgentRan) -> tuple[str, str, int]:
    """(outcome, exit kind, exit code)."""
    end = end_of(ran.run)
    return end["outcome"], end["exit_kind"], end["exit_code"]


def test_ctrl_c_ends_the_program_and_the_repeats_but_not_the_agent() -> None:
    ran = readoff(agent_box(AT, "CTRLC.COM"), "RUN /N:3 CTRLC", keys="\x03")
    assert ending(ran) == ("ctrl_c", "ctrl_c", 0)
    assert console(ran.run) == b"CtrlC: waiting for a key\r\n"
    assert "broken off" in ran.said
    assert ran.exit.code == EXIT_MISSING


def test_a_divide_error_ends_the_program_but_not_the_agent() -> None:
    box = agent_box(AT, "DIVZERO.COM", "WAYS.COM")
    ran = readoff(box, "RUN DIVZERO")
    assert console(ran.run).startswith(b"Divide: by zero now\r\n")
    assert ending(ran) == ("divide_error", "ctrl_c", 0)  # DOS says 0100h, as for Ctrl-C
    assert "division without a result" in ran.said and ran.exit.code == EXIT_MISSING
    assert readoff(box, "RUN WAYS 02").exit.code == EXIT_ALL


# Opens a file on a drive that is not ready; its own INT 24h answers Abort.
ABORTS = """
main:   set_vector 24h, mine
        mov     dx, text
        mov     ah, 9
        int     21h
        mov     dx, name
        mov     ax, 3D00h
        int     21h
        mov     dx, behind
        mov     ah, 9
        int     21h
        exit
mine:   mov     al, 2
        iret
name:   db "A:\\DATA", 0
text:   db "Aborts: at 77 points$"
behind: db "not reached$"
"""


def test_a_critical_error_that_is_answered_with_abort() -> None:
    drive = Drive(removable=True)
    drive.ready = False
    box = Box(AT, {"C": agent_box(AT, "WAYS.COM", ABORTS=ABORTS).drive("C"), "A": drive})
    box.boot(1)
    ran = readoff(box, "RUN /N:3 ABORTS")
    assert ending(ran)[:2] == ("critical_error", "critical_error")
    assert console(ran.run) == b"Aborts: at 77 points"
    assert "critical error" in ran.said and ran.exit.code == EXIT_MISSING
    assert readoff(box, "RUN WAYS 02").exit.code == EXIT_ALL
