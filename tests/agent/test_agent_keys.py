"""Keys by script: typed when the program waits, after a pause, after a text; and how far the script got."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.box import AT, XT, MachineSpec
from readoff.box.keyboard import SCAN_CODES
from readoff.contract.record import parse_record
from readoff.store.keystrokes import typed_sentence
from support.agent_bench import Bench
from support.agent_box import (
    EXIT_ALL,
    EXIT_MISSING,
    EXIT_NOTHING,
    AgentRan,
    agent_box,
    captured_all,
    end_of,
    readoff,
    record_names,
    run_under_agent,
)
from support.box_programs import assemble

WAYS = ["00", "10", "11", "01", "06", "07", "08", "0A", "0B", "0C", "3F", "44"]


def how_far(ran: AgentRan) -> tuple[int, int, int, int]:
    """(elements, done, typed, place) of keys_end."""
    values = ran.run.values("keys_end")
    assert values is not None
    return values["elements"], values["done"], values["typed"], values["place"]


@pytest.mark.parametrize("way", WAYS)
def test_a_menu_of_three_keys_goes_through_by_itself(way: str) -> None:
    spec: MachineSpec = AT if way in ("10", "06", "0A") else XT
    ran = readoff(agent_box(spec, "MENU.COM"), f"RUN /K:[enter][enter][enter] MENU {way}")
    shown = [each.values or {} for each in ran.run.all("screen")]
    assert [each["moment"] for each in shown] == ["key_wait"] * 3 + ["exit"]
    assert how_far(ran) == (3, 3, 3, 22)
    assert ran.run.values("keys") == {"script": "[enter][enter][enter]"}
    assert (end_of(ran.run)["set"], captured_all(ran.run), ran.exit.code) == (set(), 1, EXIT_ALL)


def test_pauses_and_texts() -> None:
    script = "[enter][after page 2][pause 1.5]x[after score 12.5][enter]"
    ran = readoff(agent_box(AT, "MENU.COM"), f'RUN /K:"{script}" MENU 11')
    assert how_far(ran) == (6, 6, 3, len(script) + 1)
    end = end_of(ran.run)
    assert 1.5 <= (end["elapsed_ticks"] * 65536 + end["elapsed_counts"]) / 1193181 < 2.2


LINE = """
main:   mov     dx, line
        mov     ah, 0Ah
        int     21h
        cld
        mov     si, line
        mov     di, results
        mov     cx, 60
        rep     movsb
        exit
line:   db 50, 0
        times 52 db 0
"""


def test_a_line_longer_than_the_keyboards_buffer() -> None:
    text = 'Speed of 12.5% is "enough" <for> [this] one|'
    script = "Speed of 12.5[percent] is [quote]enough[quote] [less]for[greater] [[this] one[bar][enter]"
    ran, agent = run_under_agent(agent_box(AT), LINE, options=f'/K:"{script}"')
    assert ran.results[1] == len(text) and ran.results[2 : 2 + len(text)] == text.encode()
    assert how_far(agent)[:3] == (len(text) + 1, len(text) + 1, len(text) + 1)


KEYS = """
main:   mov     di, results
        mov     cx, {count}
.next:  push    cx
        mov     ah, {function}
        int     16h
        stosw
        pop     cx
        loop    .next
        exit
"""


def test_named_keys_are_what_the_keyboard_gives() -> None:
    """Scan code and character as INT 16h gives them (the tables of the BIOS's keyboard codes; from memory)."""
    named = {
        "esc": 0x011B,
        "F1": 0x3B00,
        "f10": 0x4400,
        "F12": 0x8600,
        "shift-f1": 0x5400,
        "ctrl-F10": 0x6700,
        "Alt-f2": 0x6900,
        "alt-F11": 0x8B00,
        "Alt-X": 0x2D00,
        "ctrl-c": 0x2E03,
        "tab": 0x0F09,
        "shift-tab": 0x0F00,
        "pgdn": 0x5100,
        "up": 0x4800,
        "space": 0x3920,
    }
    script = "".join(f"[{name}]" for name in named)
    ran, agent = run_under_agent(
        agent_box(AT), KEYS.format(count=len(named), function="10h"), options=f"/K:{script}"
    )
    assert [ran.word(i) for i in range(len(named))] == list(named.values())
    assert how_far(agent)[1] == len(named)


# A program that looks into the buffer itself, and asks no function: reached after a pause.
READS_BUFFER = """
main:   mov     ax, 40h
        mov     es, ax
        sti
.look:  mov     bx, [es:1Ah]
        cmp     bx, [es:1Ch]
        je      .look
        mov     ax, [es:bx]
        mov     [results], ax
        exit
"""


def test_after_a_pause_a_key_comes_with_the_tick() -> None:
    ran, agent = run_under_agent(agent_box(AT), READS_BUFFER, options='/K:"[pause 1]q"')
    assert ran.word(0) == 0x1071
    assert how_far(agent) == (2, 2, 1, 11)


# Its own INT 09h, the keys read from port 60h: out of reach, and a reset ends it where one was asked for.
OWN_KEYBOARD = """
main:   set_vector 9, mine
        sti
.wait:  jmp     .wait
mine:   push    ax
        in      al, 60h
        mov     al, 20h
        out     20h, al
        pop     ax
        iret
"""


def test_a_script_that_stalls_ends_with_the_reset_and_the_record_says_how_far_it_got() -> None:
    box = agent_box(AT)
    box.drive("C").write("OWN.COM", assemble(OWN_KEYBOARD))
    exit_ = box.run("C:\\READOFF.COM", 'RUN /T:3,R /K:"[pause 1]qx" OWN.COM')
    assert exit_.kind == "reset"
    run = [parse_record(box.drive("C").read(name)) for name in record_names(box)][-1]
    assert run.kind == "run" and end_of(run)["outcome"] == "reset"
    values = run.values("keys_end") or {}
    assert (values["elements"], values["done"], values["typed"]) == (3, 2, 1)


# Waits for a key again and again: by DOS, which ends it at Ctrl-C, or by the BIOS, until ESC comes.
WAITS = """
main:   mov     ah, {function}
        int     {interrupt}
        cmp     al, 1Bh
        {jump}  main
        exit 3
"""


@pytest.mark.parametrize(
    ("wait", "outcome", "code"),
    [
        ({"function": 8, "interrupt": "21h", "jump": "jmp"}, "ctrl_c", 0),
        ({"function": 0, "interrupt": "16h", "jump": "jne"}, "finished", 3),
    ],
    ids=["by DOS", "by the BIOS"],
)
def test_a_script_that_stalls_ends_the_wait_when_the_time_is_over(wait, outcome: str, code: int) -> None:
    box = agent_box(AT, WAITS=WAITS.format(**wait))
    ran = readoff(box, 'RUN /T:2 /K:"a[after this never comes]b" WAITS')
    end = end_of(ran.run)
    assert (end["outcome"], end["exit_code"], "over_time" in end["set"]) == (outcome, code, True)
    values = ran.run.values("keys_end") or {}
    assert (values["elements"], values["done"], values["typed"]) == (3, 1, 1)
    assert 2 <= end["elapsed_ticks"] / 18.2 < 6
    assert ran.exit.code == EXIT_MISSING


def test_a_script_that_is_done_leaves_a_long_run_alone() -> None:
    """Over its time, its keys typed: it goes on until somebody else ends it."""
    box = agent_box(AT, WAITS=WAITS.format(function=0, interrupt="16h", jump="jne"))
    box.type_at(9, "\x1b")
    ran = readoff(box, "RUN /T:2 /K:a WAITS")
    assert end_of(ran.run)["elapsed_ticks"] / 18.2 > 4
    assert (ran.run.values("keys_end") or {})["done"] == 1


def test_what_is_not_typed_is_told() -> None:
    _, ran = run_under_agent(agent_box(AT), KEYS.format(count=1, function=0), options="/K:ab")
    assert how_far(ran) == (2, 1, 1, 2)
    assert ran.exit.code == EXIT_MISSING and "not all keys of the script" in ran.said
    assert typed_sentence(ran.run) == "typed 1 key, and stopped before 'b': ab"
    assert captured_all(ran.run) == 1  # nothing of what it showed is missing


def test_each_repeat_begins_the_script_anew() -> None:
    ran = readoff(agent_box(AT, "MENU.COM"), "RUN /N:3 /K:xyz MENU 08")
    ends = [record.values("keys_end") or {} for record in ran.of_kind("run")]
    assert [end["typed"] for end in ends] == [3, 3, 3] and ran.exit.code == EXIT_ALL
    assert {typed_sentence(record) for record in ran.of_kind("run")} == {"typed to the end, 3 keys: xyz"}


@pytest.mark.parametrize(
    "script",
    [
        "[",
        "[]",
        "[entr]",
        "x[f13]",
        "[ctrl-1]",
        "[pause]",
        "[pause x]",
        "[pause 1.55]",
        "[pause 1801]",
        "[pause 1800.1]",
        "[after ]",
        "[f0]",
    ],
)
def test_a_script_that_means_nothing_is_refused(script: str) -> None:
    ran = readoff(agent_box(AT, "MENU.COM"), f'RUN /K:"{script}" MENU 00')
    assert (ran.exit.code, ran.records) == (EXIT_NOTHING, {})


TYPER = Bench()


@settings(max_examples=60, deadline=None)
@given(st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=112))
def test_text_becomes_the_keys_that_a_keyboard_gives(text: str) -> None:
    """The scan codes are those of the test machine's keyboard (the tables of any PC reference)."""
    script = text.replace("[", "[[")[:112]
    if script.count("[") % 2:
        script = script[:-1]
    typed = script.replace("[[", "[")
    TYPER.put("option_script", script.encode() + b"\0")
    assert not TYPER.call("script_ready")
    assert TYPER.word("script_elements") == len(typed)
    code = TYPER.octets("script_code", 3 * len(typed) + 3)
    keys = [int.from_bytes(code[i + 1 : i + 3], "little") for i in range(0, 3 * len(typed), 3)]
    assert keys == [SCAN_CODES[each] << 8 | ord(each) for each in typed]
    assert code[-2:] == b"\x00\xff"


@pytest.mark.parametrize(
    ("seconds", "ticks"), [("0", 1), ("0.1", 3), ("1", 20), ("1800", 32761), ("1799.9", 32760)]
)
def test_a_pause_is_never_shorter_than_said(seconds: str, ticks: int) -> None:
    """18.2 ticks a second, rounded up, and one more, for the first may come at once; within 15 bits."""
    TYPER.put("option_script", f"[pause {seconds}]".encode() + b"\0")
    assert not TYPER.call("script_ready")
    assert int.from_bytes(TYPER.octets("script_code", 5)[3:], "little") == ticks < 0x8000
