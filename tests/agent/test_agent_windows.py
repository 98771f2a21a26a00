"""In a window of Windows, which a resident program stands for that answers INT 2Fh AX=1600h as Windows 3.10 does."""

from __future__ import annotations

from pathlib import Path

from readoff.box import AT
from support.agent_box import EXIT_ALL, agent_box, readoff, record_names
from support.commands import answer, run

ANSWERS = r"""
main:   get_vector 2Fh, older
        set_vector 2Fh, asked
        mov     dx, 64
        mov     ax, 3100h
        int     21h
asked:  cmp     ax, 1600h
        je      .here
        iret
.here:  mov     ax, 0A03h
        iret
older:  dw 0, 0
"""


def test_the_agent_says_it_the_host_marks_it(tmp_path: Path, monkeypatch) -> None:
    box = agent_box(AT, "INTLOOP.COM", WINDOW=ANSWERS)
    here = "in a window of Windows: a time is not the program's alone here"
    plain = readoff(box, "RUN /L:plain INTLOOP 500")
    assert here not in plain.said
    assert box.run("C:\\WINDOW.COM", "").kind == "resident"
    window = readoff(box, "RUN /L:window INTLOOP 500")
    assert (here in window.said, window.exit.code) == (True, EXIT_ALL)
    monkeypatch.chdir(tmp_path)
    for name in record_names(box):
        (tmp_path / name.rpartition("\\")[2]).write_bytes(box.drive("C").read(name))
    run("take", ".")
    assert "in a window of Windows 3.10" in run("show", "2").output
    assert "in a window of" not in run("show", "1").output
    warnings = answer("compare", "plain", "window", status=1)["warnings"]
    assert [each for each in warnings if "window was run in a window of Windows 3.10" in each]
    assert not [each for each in warnings if each.startswith("plain was run")]
