"""Polls of the keyboard: each is counted once, by whichever way the program asks; 64 in vain in a tick are a wait."""

from __future__ import annotations

import pytest

from readoff.box import AT
from readoff.store.captures import captures_of
from support.agent_box import EXIT_ALL, AgentRan, agent_box, captured_all, console, readoff, run_under_agent
from support.box_programs import run_source

WAYS = {
    "16 01": "mov ah, 01h\n int 16h",
    "16 11": "mov ah, 11h\n int 16h",
    "21 06": "mov ah, 06h\n mov dl, 0FFh\n int 21h",
    "21 0B": "mov ah, 0Bh\n int 21h",
    "21 4406": "mov ax, 4406h\n xor bx, bx\n int 21h",
}
# A letter on the screen; from the beginning of a tick on so many polls; the screen is wiped.
POLLS = """
main:   mov     ax, 0B800h
        mov     es, ax
        mov     word [es:0], 0741h
        {before}
        mov     ax, 40h
        mov     es, ax
        mov     cx, {ticks}
.tick:  mov     bx, [es:6Ch]
.same:  cmp     bx, [es:6Ch]
        je      .same
        push    cx
        mov     cx, {count}
.next:  push    cx
        {poll}
        pop     cx
        loop    .next
        pop     cx
        loop    .tick
        mov     bx, [es:1Ah]
        sub     bx, [es:1Ch]
        mov     [results], bx
        mov     ax, 0B800h
        mov     es, ax
        mov     word [es:0], 0720h
        exit
"""


def moments(ran: AgentRan) -> list[str]:
    return [each.moment for each in captures_of(ran.run)]


@pytest.mark.parametrize("before", ["", WAYS["21 0B"], WAYS["16 01"]], ids=["", "after 0B", "after 16"])
@pytest.mark.parametrize("way", WAYS)
def test_the_64th_poll_in_vain_within_a_tick_is_a_wait_and_the_63rd_is_not(way: str, before: str) -> None:
    """What DOS asks the BIOS for it meanwhile is not counted again; and polls in other ticks do not count."""
    for count, ticks, expected in ((63, 3, ["exit"]), (64, 1, ["key_wait", "exit"])):
        source = POLLS.format(before=before, poll=WAYS[way], count=count, ticks=ticks)
        _, ran = run_under_agent(agent_box(AT), source)
        assert moments(ran) == expected
        assert (captured_all(ran.run), ran.exit.code) == (1, EXIT_ALL)


@pytest.mark.parametrize("way", WAYS)
def test_a_key_by_script_comes_at_the_64th_poll_and_not_before(way: str) -> None:
    """06h takes it; the others leave it in the buffer (one key there: two octets)."""
    for count, typed in ((63, 0), (64, 1)):
        source = POLLS.format(before="", poll=WAYS[way], count=count, ticks=1)
        ran, agent = run_under_agent(agent_box(AT), source, options="/K:x")
        assert (agent.run.values("keys_end") or {})["typed"] == typed
        assert ran.word(0) == (0xFFFE if typed and way != "21 06" else 0)


def test_polls_by_dos_and_by_the_bios_in_turns_are_a_wait_too() -> None:
    both = "\n".join((WAYS["21 0B"], WAYS["16 01"]))
    _, ran = run_under_agent(agent_box(AT), POLLS.format(before="", poll=both, count=64, ticks=1))
    assert moments(ran) == ["key_wait", "exit"]


# In the middle of the polls: a key comes, and is taken.
COMES_AND_GOES = """
        cmp     cx, 40
        jne     .poll
        mov     ah, 05h
        mov     cx, 1E61h
        int     16h
        mov     ah, 0
        int     16h
.poll:
"""


@pytest.mark.parametrize(("key", "expected"), [("", ["key_wait", "exit"]), (COMES_AND_GOES, ["exit"])])
@pytest.mark.parametrize("way", WAYS)
def test_a_key_begins_the_count_anew(way: str, key: str, expected: list[str]) -> None:
    """80 polls within one tick; a key after half of them."""
    source = POLLS.format(before="", poll=key + WAYS[way], count=80, ticks=1)
    _, ran = run_under_agent(agent_box(AT), source)
    assert moments(ran) == expected


THEN_WAITS = """
main:   mov     ah, 0Bh                 ; a look in passing
        int     21h
        mov     ax, {wait}
        int     21h
        mov     [results], al
        exit 7
"""


@pytest.mark.parametrize("wait", ["0100h", "0700h", "0800h", "0C01h", "0C07h", "0C08h"])
def test_a_wait_of_dos_after_a_poll_is_served_by_the_script(wait: str) -> None:
    ran, agent = run_under_agent(agent_box(AT), THEN_WAITS.format(wait=wait), options="/T:5 /K:q")
    assert ran.results[0] == ord("q")
    assert (agent.run.values("keys_end") or {})["typed"] == 1


PRINTS = """
main:   mov     cx, 3000
.next:  mov     dl, 'p'
        mov     ah, 02h
        int     21h
        loop    .next
        mov     ax, 40h
        mov     es, ax
        mov     bx, [es:1Ah]
        sub     bx, [es:1Ch]
        mov     [results], bx
        exit
"""


def test_what_dos_looks_for_while_it_prints_is_no_wait() -> None:
    """DOS looks for Ctrl-C at every fourth character; here 750 times within a few ticks."""
    ran, agent = run_under_agent(agent_box(AT), PRINTS, options="/K:q")
    assert ran.word(0) == 0 and console(agent.run) == b"p" * 3000
    assert (agent.run.values("keys_end") or {})["typed"] == 0


# Ctrl-C while it prints; its own handler never comes back to DOS, and from then on only the BIOS is asked.
NEVER_BACK = """
main:   set_vector 23h, mine
        mov     ah, 5
        mov     cx, 2E03h
        int     16h
.print: mov     dl, 'p'
        mov     ah, 02h
        int     21h
        jmp     .print
mine:   mov     sp, 0FFF0h
        push    cs
        pop     ds
        sti
        mov     ax, 0B800h
        mov     es, ax
        mov     word [es:2000], 0741h
.wait:  mov     ah, {function}
        int     16h
        {again}
        mov     ah, 0
        int     16h
        mov     [results], ax
        exit
"""


@pytest.mark.parametrize(("function", "again"), [("00h", ""), ("01h", "jz .wait")], ids=["waits", "polls"])
def test_a_call_that_ctrl_c_cut_off_does_not_hide_the_waits_after_it(function: str, again: str) -> None:
    take = "" if again else "mov [results], ax\n exit\n"
    source = NEVER_BACK.format(function=function, again=again + take)
    ran, agent = run_under_agent(agent_box(AT), source, options="/T:5 /K:q")
    assert ran.word(0) == 0x1071 and "key_wait" in moments(agent)


def test_a_text_is_looked_for_while_the_program_polls_by_dos_now_and_then() -> None:
    """Far fewer than 64 polls a tick: after a text the key comes with the next look at the keyboard."""
    source = POLLS.format(before="", poll=WAYS["21 0B"], count=1, ticks=4)
    ran, agent = run_under_agent(agent_box(AT), source, options='/K:"[after A]x"')
    assert (agent.run.values("keys_end") or {})["typed"] == 1 and ran.word(0) == 0xFFFE


def test_the_same_program_alone_sees_the_same() -> None:
    source = POLLS.format(before="", poll=WAYS["21 06"], count=200, ticks=2)
    alone = run_source(agent_box(AT), source)
    under, _ = run_under_agent(agent_box(AT), source)
    assert under.results == alone.results


def test_a_menu_that_asks_by_status_goes_through_by_script() -> None:
    ran = readoff(agent_box(AT, "MENU.COM"), "RUN /K:[enter][enter][enter] MENU 0B")
    assert moments(ran) == ["key_wait"] * 3 + ["exit"]
