"""A raw disk image in a watched folder: the records in it are arrivals of their own."""

import struct

from readoff.arrivals.folders import FolderReader
from readoff.arrivals.images import files_in_image
from support.memory_intake import MemoryIntake
from support.records import a_record


def floppy_of(name, octets, *, chain=None):
    """A 160 KB floppy of DOS 1, without parameters, with one file; chain: its clusters, in order."""
    clusters = -(-len(octets) // 512)
    chain = chain or list(range(2, 2 + clusters))
    table = [0xFFE, 0xFFF] + [0] * 340
    for here, after in zip(chain, [*chain[1:], 0xFFF], strict=True):
        table[here] = after
    packed = b"".join(
        (a | b << 12).to_bytes(3, "little") for a, b in zip(table[::2], table[1::2], strict=True)
    )[:512]
    entry = name.encode().ljust(11) + bytes(15) + struct.pack("<HI", chain[0], len(octets))
    image = bytearray(bytes(512) + 2 * packed.ljust(512, b"\0") + entry.ljust(2048, b"\0")).ljust(
        163_840, b"\0"
    )
    for number, cluster in enumerate(chain):
        at = 512 * (7 + cluster - 2)
        image[at : at + 512] = octets[512 * number : 512 * (number + 1)].ljust(512, b"\0")
    return bytes(image)


def test_records_in_an_image_are_taken_each_for_itself(tmp_path):
    record = a_record(1, b"x" * 3000)
    path = tmp_path / "DISK1.IMG"
    path.write_bytes(floppy_of("00000001RDO", record, chain=[9, 3, 5, 100, 4, 2, 50]))
    intake, told = MemoryIntake(), []
    reader = FolderReader(tmp_path, intake, told.append, settle=2.0)
    for now in range(5):
        reader.look(float(now))
    assert intake.arrivals == [(record, f"{path}: 00000001.RDO")]
    assert len(told) == 1


def test_a_chain_in_a_circle_ends(tmp_path):
    octets = b"y" * 2000
    image = bytearray(floppy_of("CIRCLE  TXT", octets))
    image[512 + 6 : 512 + 9] = (0x004 | 0x004 << 12).to_bytes(3, "little")  # entries 4 and 5: back to 4
    (file,) = files_in_image(bytes(image))
    assert file.octets == octets[:1536]
    assert file.problem == "1536 of 2000 octets are there: the chain of clusters goes in a circle"
