"""Bundles taken apart and packed again, as somebody would who means no good; and the study that one is made of."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path

from support import study_records as records
from support.study_bench import run

STUDY = records.gauge_study(
    top='with_typed = true\nbegun = 2001-01-01\ncurrency = "EUR"',
    more="price = 10\n",
    end='[[targets]]\nmetric = "level"\nat = 75\n[[excluded]]\nboot = "11223344-00000007"\nwhy = "a fan stood"\n',
)


def contents(path: Path) -> dict[str, bytes]:
    """The members of a zip file."""
    with zipfile.ZipFile(path) as zipped:
        return {each.filename: zipped.read(each) for each in zipped.infolist()}


def packed(path: Path, files: Mapping[str, bytes]) -> None:
    """Writes a zip file."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, octets in files.items():
            zipped.writestr(name, octets)


def resealed(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """The files with a manifest that fits them again: what somebody would make who means harm."""
    manifest = json.loads(files["bundle.json"])
    manifest["files"] = {
        name: {"octets": len(octets), "sha256": hashlib.sha256(octets).hexdigest()}
        for name, octets in files.items()
        if name != "bundle.json"
    }
    return {**files, "bundle.json": json.dumps(manifest).encode()}


def refused(elsewhere: Path, said: str) -> None:
    """It is not taken, that is said, and nothing is left behind."""
    told = run("take", "bundle.zip", status=None)
    assert told.exit_code not in (0,), told.output
    assert said in told.stderr, told.stderr
    assert {each.name for each in elsewhere.iterdir()} == {"bundle.zip"}


def pick(files: Mapping[str, bytes], start: str) -> str:
    """The first name that begins so."""
    return next(name for name in sorted(files) if name.startswith(start))
