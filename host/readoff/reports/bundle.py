"""The bundle: one zip file from which anybody can check a report's findings. docs/publishing.md tells its layout.

bundle.json comes first and names every other file with its length and SHA-256. The same contents give the same octets.
A bundle from outside is believed in nothing: names, sizes, digests and rows are checked before any of it is used, all
of it is read in memory, and no name in it becomes a path unless it is one of the few that a bundle has.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain, count
from pathlib import Path
from typing import Any

import readoff
from readoff.arrivals.bundled import MANIFEST, ROWS
from readoff.errors import MalformedError, UsageError
from readoff.reports.publication import INVENTED, Publication
from readoff.store import Store
from readoff.store.carry import Carried, Rows, carry
from readoff.store.photographs import check_kept

WHAT, VERSION = "readoff bundle", 1
STUDY, FINDINGS, README = "study.toml", "findings.json", "README.txt"
MOST_FILES = 20_000
MOST_OCTETS = 64 << 20
"""In one file of a bundle; an arrival has no more."""
MOST_IN_ALL = 512 << 20
MOST_SCHEMAS, LONGEST_SCHEMA = 500, 4 << 20
_SAFE = re.compile(
    r"bundle\.json|study\.toml|findings\.json|store\.json|README\.txt|schemas/[A-Za-z0-9][A-Za-z0-9_-]{0,63}\.toml"
    r"|arrivals/[0-9]{1,9}\.rdo|photographs/[0-9a-f]{64}\.(?:jpg|png)"
)
_ENDINGS = {"image/jpeg": "jpg", "image/png": "png"}
Step = Callable[[int, int], None]
"""Called while files are read: how many are, and of how many."""
_README = """\
{title}
{invented}
This is a bundle of Readoff {version}: everything that a report rests on, as it came from the old machine.

  readoff take {name} --store check.db

in an empty folder takes it into a new store, holds every file against its SHA-256, judges it again, and says whether
the findings are those in findings.json. Further: readoff runs, readoff show, readoff why.

  bundle.json    every file with its length and SHA-256, and what was asked
  study.toml     the study, where there was one
  schemas/       the schemas and glyphs of the author's own by which captures were read
  arrivals/      the octets as they came, each arrival a file
  store.json     when and where they came, typed numbers, notes, attachments, the runs' numbers
  photographs/   what was attached
  findings.json  what was found
"""


@dataclass(frozen=True)
class Made:
    """What a bundle holds besides the store's part. asked: what was judged; findings: plain values.

    study: the study file's text, "" without one. schemas: file name -> text of the author's own schemas.
    """

    asked: Mapping[str, Any]
    findings: Any
    study: str
    schemas: Mapping[str, str]


@dataclass(frozen=True)
class Bundle:
    """A bundle from outside, checked. path: where it lies; digest: SHA-256 of the file, or of bundle.json in a folder.

    files: name -> octets.
    """

    path: Path
    digest: bytes
    title: str
    made_with: str
    asked: Mapping[str, Any]
    files: Mapping[str, bytes]
    findings: Any
    carried: Carried

    @property
    def schemas(self) -> dict[str, str]:
        """File name -> text of the author's own schemas."""
        start = "schemas/"
        return {
            name.removeprefix(start): _text(octets, self.path, name)
            for name, octets in self.files.items()
            if name.startswith(start)
        }

    @property
    def study(self) -> str:
        """The study file's text, or ""."""
        return _text(self.files[STUDY], self.path, STUDY) if STUDY in self.files else ""


# -- making --------------------------------------------------------------------------------------------------------


def make_bundle(store: Store, publication: Publication, made: Made, name: str = "bundle.zip") -> bytes:
    """A bundle's octets. Raises StoreError, UsageError where it would be larger than a bundle may be."""
    labels = [each.label for each in publication.configurations]
    shown = [each.attachment for each in publication.attached]
    carried = carry(store, publication.boots, publication.machine, labels, shown)
    files = {f"arrivals/{number:06}.rdo": octets for number, octets in carried.arrivals.items()}
    kinds = {row["sha256"]: _ENDINGS[row["kind"]] for row in carried.rows["photographs"]}
    files |= {f"photographs/{sha}.{kinds[sha]}": octets for sha, octets in carried.photographs.items()}
    files |= {f"schemas/{name}": text.encode() for name, text in _schema_files(made.schemas)}
    files |= {FINDINGS: _json(made.findings), ROWS: _json(carried.rows)}
    files |= {STUDY: made.study.encode()} if made.study else {}
    invented = f"\n{INVENTED}\n" if publication.invented else ""
    readme = _README.format(
        title=publication.title, invented=invented, version=readoff.__version__, name=name
    )
    files[README] = readme.encode()
    _check_sizes({each: len(octets) for each, octets in files.items()}, name)
    manifest = {
        "what": WHAT,
        "version": VERSION,
        "made_with": f"Readoff {readoff.__version__}",
        "title": publication.title,
        "asked": dict(made.asked),
        "files": {
            each: {"octets": len(files[each]), "sha256": hashlib.sha256(files[each]).hexdigest()}
            for each in sorted(files)
        },
    }
    return _zip({MANIFEST: _json(manifest), **{each: files[each] for each in sorted(files)}})


def _schema_files(schemas: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """(a plain name, text) of each schema, no name twice."""
    given: set[str] = set()
    for name, text in schemas.items():
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", name.removesuffix(".toml")).strip("-_")[:56] or "schema"
        numbers = (f"{stem}-{number}.toml" for number in count(2))
        plain = next(each for each in chain([f"{stem}.toml"], numbers) if each not in given)
        given.add(plain)
        yield plain, text


def _json(value: Any) -> bytes:
    return (json.dumps(value, indent=1, ensure_ascii=False, sort_keys=True) + "\n").encode("utf-8")


def _zip(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, octets in files.items():
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))  # no date: the same each time
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            entry.create_system = 3
            zipped.writestr(entry, octets)
    return out.getvalue()


def _check_sizes(sizes: Mapping[str, int], where: str) -> None:
    schemas = [size for name, size in sizes.items() if name.startswith("schemas/")]
    if len(schemas) > MOST_SCHEMAS or max(schemas, default=0) > LONGEST_SCHEMA:
        raise UsageError(
            f"a bundle may have {MOST_SCHEMAS} schemas of {LONGEST_SCHEMA >> 20} MiB at most", where=where
        )
    large = max(sizes.values()) > MOST_OCTETS
    if large or len(sizes) > MOST_FILES or sum(sizes.values()) > MOST_IN_ALL:
        raise UsageError(
            f"a bundle may have {MOST_FILES} files of {MOST_OCTETS >> 20} MiB, {MOST_IN_ALL >> 20} MiB in all, and "
            f"this has {len(sizes)} files and {sum(sizes.values()) >> 20} MiB",
            where=where,
            next_step="Publish a study with fewer boots, or parts of it.",
        )


# -- reading -------------------------------------------------------------------------------------------------------


def read_bundle(path: Path, step: Step = lambda done, of: None) -> Bundle:
    """A bundle, as a file or unpacked in a folder, every file of it held against its digest.

    Raises MalformedError naming the file that is wrong, UsageError where it cannot be read.
    """
    if path.is_dir():
        files = _members_of_folder(path, step)
        whole = files.get(MANIFEST, b"")
    else:
        whole = _read_file(path)
        files = _members(whole, path, step)
    manifest = _parsed(files, MANIFEST, path)
    if not isinstance(manifest, dict) or manifest.get("what") != WHAT:
        raise MalformedError("this is no bundle of Readoff", where=str(path))
    if manifest.get("version") != VERSION:
        raise MalformedError(
            f"this bundle is of version {str(manifest.get('version'))[:20]}, and this program reads {VERSION}",
            where=str(path),
            next_step="Install a newer Readoff.",
        )
    _check_digests(files, manifest.get("files"), path)
    texts = {key: manifest.get(key) for key in ("title", "made_with")}
    asked = manifest.get("asked")
    if not all(isinstance(each, str) for each in texts.values()) or not isinstance(asked, dict):
        raise MalformedError("it does not say what it is", where=f"{path}: {MANIFEST}")
    rows = _rows(files, path)
    return Bundle(
        path,
        hashlib.sha256(whole).digest(),
        str(texts["title"]),
        str(texts["made_with"]),
        asked,
        files,
        _parsed(files, FINDINGS, path),
        Carried(rows, _arrivals(files, rows, path), _photographs(files, rows, path)),
    )


def _read_file(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            octets = file.read(MOST_IN_ALL + 1)
    except OSError as error:
        raise UsageError(f"cannot be read ({error.strerror or error})", where=str(path)) from error
    if len(octets) > MOST_IN_ALL:
        raise MalformedError("it is larger than a bundle may be", where=str(path))
    return octets


def _members_of_folder(path: Path, step: Step) -> dict[str, bytes]:
    """The files of a bundle that was unpacked. Raises as _members does; follows no link."""
    try:
        places = {
            each.relative_to(path).as_posix(): each
            for folder, _, names in os.walk(path)
            for each in (Path(folder, name) for name in names)
        }
        for name, each in places.items():
            if each.is_symlink() or not each.is_file() or not _SAFE.fullmatch(name):
                raise MalformedError(
                    f"{_plain(name)!r} is no file of a bundle",
                    where=str(path),
                    next_step="Take it out of the folder, or take the bundle as it came (bundle.zip).",
                )
        _check_entries({name: each.stat().st_size for name, each in places.items()}, path)
        out: dict[str, bytes] = {}
        for name, each in places.items():
            with each.open("rb") as file:
                out[name] = file.read(MOST_OCTETS)
            step(len(out), len(places))
    except OSError as error:
        raise UsageError(f"cannot be read ({error.strerror or error})", where=str(path)) from error
    return out


def _members(octets: bytes, path: Path, step: Step) -> dict[str, bytes]:
    out: dict[str, bytes] = {}
    try:
        with zipfile.ZipFile(io.BytesIO(octets)) as zipped:
            entries = zipped.infolist()
            for entry in entries:
                _check_entry(entry, path, out)
                out[entry.filename] = b""
            _check_entries({entry.filename: entry.file_size for entry in entries}, path)
            for done, entry in enumerate(entries, 1):
                out[entry.filename] = _read(zipped, entry, path)
                step(done, len(entries))
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, ValueError) as error:
        raise MalformedError(f"this is no whole zip file ({error})", where=str(path)) from error
    return out


def _check_entry(entry: zipfile.ZipInfo, path: Path, seen: Mapping[str, bytes]) -> None:
    name = _plain(entry.filename)
    if not _SAFE.fullmatch(entry.filename):
        raise MalformedError(f"{name!r} is no file of a bundle", where=str(path))
    if entry.filename in seen:
        raise MalformedError(f"{name} is in it twice", where=str(path))
    if entry.flag_bits & 1:
        raise MalformedError(f"{name} is encrypted", where=str(path))


def _plain(name: str) -> str:
    """A stranger's name of a file, for a message."""
    return name[:100].encode("ascii", "backslashreplace").decode("ascii")


def _check_entries(sizes: Mapping[str, int], path: Path) -> None:
    """sizes: name -> octets that a file has, or says that it has."""
    large = [name for name, size in sizes.items() if size > MOST_OCTETS]
    if large:
        raise MalformedError(f"{large[0]} is larger than a file of a bundle may be", where=str(path))
    schemas = [size for name, size in sizes.items() if name.startswith("schemas/")]
    if len(schemas) > MOST_SCHEMAS or any(size > LONGEST_SCHEMA for size in schemas):
        raise MalformedError("it has more schemas, or longer ones, than a bundle may have", where=str(path))
    if len(sizes) > MOST_FILES or sum(sizes.values()) > MOST_IN_ALL:
        raise MalformedError("it has more files, or larger ones, than a bundle may have", where=str(path))


def _read(zipped: zipfile.ZipFile, entry: zipfile.ZipInfo, path: Path) -> bytes:
    """A member's octets. The length that it declares was checked; more than that is never unpacked."""
    try:
        with zipped.open(entry) as file:
            octets = file.read(entry.file_size + 1)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise MalformedError(f"{entry.filename} is damaged ({error})", where=str(path)) from error
    if len(octets) != entry.file_size:
        raise MalformedError(f"{entry.filename} has another length than it says", where=str(path))
    return octets


def _check_digests(files: Mapping[str, bytes], listed: Any, path: Path) -> None:
    if not isinstance(listed, dict):
        raise MalformedError("it lists no files", where=f"{path}: {MANIFEST}")
    there = files.keys() - {MANIFEST}
    for name in sorted(there - listed.keys()):
        raise MalformedError(f"{name} was added since the bundle was made", where=str(path))
    for name in sorted(listed.keys() - there):
        raise MalformedError(f"{name!r:.80} is missing from the bundle", where=str(path))
    for name in sorted(there):
        entry = listed[name]
        digest = entry.get("sha256") if isinstance(entry, dict) else None
        if digest != hashlib.sha256(files[name]).hexdigest():
            raise MalformedError(
                f"{name} was changed since the bundle was made: its SHA-256 is another",
                where=str(path),
                next_step="Nothing of it was taken. Fetch the bundle again.",
            )
    for name in (FINDINGS, ROWS):
        if name not in files:
            raise MalformedError(f"{name} is missing from the bundle", where=str(path))


def _parsed(files: Mapping[str, bytes], name: str, path: Path) -> Any:
    if name not in files:
        raise MalformedError(f"{name} is missing from the bundle", where=str(path))
    try:
        return json.loads(files[name])
    except (ValueError, RecursionError) as error:
        raise MalformedError("this is no JSON that can be read", where=f"{path}: {name}") from error


def _rows(files: Mapping[str, bytes], path: Path) -> Rows:
    rows = _parsed(files, ROWS, path)
    if not isinstance(rows, dict) or not all(isinstance(each, list) for each in rows.values()):
        raise MalformedError("this is not what a store carries", where=f"{path}: {ROWS}")
    return rows


def _arrivals(files: Mapping[str, bytes], rows: Rows, path: Path) -> dict[int, bytes]:
    """Number -> octets, each arrival with a row that names its SHA-256."""
    start = "arrivals/"
    found = {
        int(name.removeprefix(start).removesuffix(".rdo")): octets
        for name, octets in files.items()
        if name.startswith(start)
    }
    told = {row.get("number"): row.get("sha256") for row in rows.get("arrivals", []) if isinstance(row, dict)}
    if told != {number: hashlib.sha256(octets).hexdigest() for number, octets in found.items()}:
        raise MalformedError("its arrivals do not fit its files", where=f"{path}: {ROWS}")
    return found


def _photographs(files: Mapping[str, bytes], rows: Rows, path: Path) -> dict[str, bytes]:
    """Photographs that are what they say: of that kind and size, and nothing that no store would have kept."""
    out = {}
    for row in rows.get("photographs", []):
        sha, kind = (row.get("sha256"), row.get("kind")) if isinstance(row, dict) else (None, None)
        name = f"photographs/{sha}.{_ENDINGS.get(str(kind), '')}"
        if name not in files or hashlib.sha256(files[name]).hexdigest() != sha:
            raise MalformedError(f"photograph {str(sha)[:16]} is not in the bundle", where=str(path))
        check_kept(files[name], str(kind), (row.get("width"), row.get("height")), f"{path}: {name}")
        out[sha] = files[name]
    return out


def _text(octets: bytes, path: Path, name: str) -> str:
    try:
        return octets.decode("utf-8")
    except UnicodeDecodeError as error:
        raise MalformedError("it is not UTF-8 text", where=f"{path}: {name}") from error
