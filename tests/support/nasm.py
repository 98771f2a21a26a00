"""Assembling with NASM, for tests that compare a committed binary with its source."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path


def assemble(source: Path, output: Path) -> bytes:
    """Assemble ``source`` to a flat binary; its own folder is searched for includes. Returns the octets.

    Raises AssertionError when NASM isn't there, fails, or warns.
    """
    program = shutil.which("nasm")
    assert program, "nasm is not installed; these tests need it (Debian: apt-get install nasm)"
    done = subprocess.run(
        [program, "-f", "bin", "-Wall", "-I", f"{source.parent}/", "-o", str(output), str(source)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0 and not done.stderr, f"nasm: {done.stderr}"
    return output.read_bytes()
