"""A folder of 100,000 files: what a look at it costs, in files read and asked about."""

import os
import tempfile
from pathlib import Path

from readoff.arrivals.folders import FolderReader
from support.memory_intake import MemoryIntake
from support.records import a_record

FILES = 100_000
MOST_LINKS = 30_000  # names that one file may have on the usual file systems, and some room


def test_a_look_reads_no_file_twice_that_has_not_changed(monkeypatch):
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=memory) as where:
        folder = Path(where)
        for number in range(FILES):
            path = folder / f"{number:06}.TXT"
            if number % MOST_LINKS == 0:
                first = path
                first.write_bytes(b"no record")
            else:
                os.link(first, path)
        intake, reads = MemoryIntake(), []
        reader = FolderReader(folder, intake, lambda what: None, settle=3.0, deep_every=30.0)
        right = FolderReader._read
        monkeypatch.setattr(
            FolderReader, "_read", lambda self, path: (reads.append(path), right(self, path))[1]
        )
        reader.look(0.0)
        assert len(reads) == FILES
        reader.look(5.0)  # settled
        assert len(reads) == 2 * FILES
        reads.clear()
        (folder / "050000.RDO").write_bytes(a_record(1))
        reader.look(10.0)
        reader.look(15.0)
        reader.look(60.0)  # a small folder would be read again by now
        assert reads == [str(folder / "050000.RDO")] * 2
        assert intake.octets == [a_record(1)]
        reader.look(FILES / 1000 * 30.0 + 10.0)
        assert len(reads) == 2 + FILES + 1
