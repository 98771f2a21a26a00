"""Raw images of floppies, made by mtools."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Mapping
from pathlib import Path


def a_floppy(files: Mapping[str, bytes], kilobytes: int = 360) -> bytes:
    """A freshly formatted floppy with these files in its root."""
    with tempfile.TemporaryDirectory() as folder:
        image = Path(folder, "disk.img")
        image.write_bytes(b"")
        _run("mformat", "-C", "-f", str(kilobytes), "-i", image, "::")
        for name, octets in files.items():
            source = Path(folder, name)
            source.write_bytes(octets)
            _run("mcopy", "-i", image, source, f"::{name}")
        return image.read_bytes()


def _run(*command: object) -> None:
    subprocess.run([str(each) for each in command], check=True, capture_output=True)
