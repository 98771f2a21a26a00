"""Disk images made by mtools (Debian package mtools, GNU), an independent implementation of FAT."""

import random
import struct
import subprocess

import pytest

from readoff.arrivals.images import ImageFile, arrivals_in, files_in_image, is_image

# The formats of mtools' own manual, by size in KB; 160 to 360 are those of DOS 1 to 2.
SIZES = [160, 180, 320, 360, 720, 1200, 1440, 2880]


def mtools(*command):
    subprocess.run(
        [*map(str, command)],
        check=True,
        capture_output=True,
        env={"MTOOLS_SKIP_CHECK": "1", "PATH": "/usr/bin"},
    )


@pytest.fixture
def fill(tmp_path):
    """Fills an image by mtools; gives the files by their names in it."""

    def filled(image, at=""):
        draw = random.Random(1)
        files = {name: draw.randbytes(size) for name, size in FILES.items()}
        mtools("mmd", "-i", f"{image}{at}", "::SPOOL", "::SPOOL/DEEP")
        for name, octets in files.items():
            path = tmp_path / "one file"
            path.write_bytes(octets)
            mtools("mcopy", "-i", f"{image}{at}", path, f"::{name}")
        return files

    return filled


FILES = {
    "A.RDO": 1,
    "EMPTY.TXT": 0,
    "NOENDING": 512,
    "SPOOL/00000001.RDO": 5000,
    "SPOOL/00000002.RDO": 1024,
    "SPOOL/DEEP/X.Y": 30_000,
}


def by_name(octets):
    files = files_in_image(octets)
    assert not any(each.problem for each in files)
    return {each.name: each.octets for each in files}


# DOS knew the last size only with a parameter block.
@pytest.mark.parametrize(
    ("size", "with_parameters"), [(size, True) for size in SIZES] + [(size, False) for size in SIZES[:-1]]
)
def test_floppies_with_and_without_a_parameter_block(tmp_path, fill, size, with_parameters):
    image = tmp_path / "floppy.img"
    mtools("mformat", "-C", "-f", size, "-i", image, "::")
    files = fill(image)
    octets = image.read_bytes()
    if not with_parameters:
        octets = bytes(512) + octets[512:]
    assert by_name(octets) == files


@pytest.mark.parametrize(("megabytes", "cluster"), [(4, 4), (20, 4), (60, 8)])
def test_volumes_of_12_and_16_bits_and_partitions(tmp_path, fill, megabytes, cluster):
    """A hard disk: 63 sectors before the first partition, as FDISK leaves them."""
    image = tmp_path / "disk.img"
    sectors = megabytes * 2048
    begin = 63 * 512
    image.write_bytes(bytes(begin + sectors * 512))
    at = f"@@{begin}"
    mtools(
        "mformat",
        "-i",
        f"{image}{at}",
        "-T",
        sectors,
        "-h",
        16,
        "-s",
        63,
        "-c",
        cluster,
        "-d",
        2,
        "-H",
        63,
        "::",
    )
    files = fill(image, at)
    octets = bytearray(image.read_bytes())
    octets[446:462] = (
        bytes([0x80, 0, 0, 0, 6, 0, 0, 0]) + (63).to_bytes(4, "little") + sectors.to_bytes(4, "little")
    )
    octets[510:512] = b"\x55\xaa"
    assert by_name(bytes(octets)) == files
    assert by_name(bytes(octets[begin:])) == files


def test_logical_drives_of_an_extended_partition(tmp_path, fill):
    """Chained tables as FDISK leaves them (from memory): offsets of a drive count from its own table, of the next table
    from the extended partition's begin.
    """
    image, drive = tmp_path / "disk.img", 2 * 2048 * 512
    extended, tables = 100 * 512, [100 * 512, 100 * 512 + drive]
    image.write_bytes(bytes(extended + 2 * drive))
    files = {}
    for number, table in enumerate(tables, 1):
        at = f"@@{table + 63 * 512}"
        mtools(
            "mformat",
            "-i",
            f"{image}{at}",
            "-T",
            drive // 512 - 63,
            "-h",
            16,
            "-s",
            63,
            "-c",
            4,
            "-d",
            2,
            "::",
        )
        files |= {f"volume {number}/{name}": octets for name, octets in fill(image, at).items()}
    octets = bytearray(image.read_bytes())

    def entry(table, place, kind, first):
        begin = table + 446 + 16 * place
        octets[begin : begin + 16] = bytes([0, 0, 0, 0, kind, 0, 0, 0]) + struct.pack(
            "<II", first // 512, drive // 512
        )
        octets[table + 510 : table + 512] = b"\x55\xaa"

    entry(0, 0, 5, extended)
    entry(tables[0], 0, 1, 63 * 512)
    entry(tables[0], 1, 5, drive)
    entry(tables[1], 0, 1, 63 * 512)
    assert by_name(bytes(octets)) == files
    entry(tables[1], 1, 5, 0)  # a circle
    assert by_name(bytes(octets)) == files


def test_deleted_files_are_gone_and_fragments_are_joined(tmp_path, fill):
    image = tmp_path / "floppy.img"
    mtools("mformat", "-C", "-f", 360, "-i", image, "::")
    files = fill(image)
    mtools("mdel", "-i", image, "::A.RDO", "::SPOOL/00000001.RDO")
    path = tmp_path / "large"
    path.write_bytes(random.Random(2).randbytes(100_000))  # takes the freed clusters, and more after them
    mtools("mcopy", "-i", image, path, "::LARGE.RDO")
    left = {name: octets for name, octets in files.items() if name not in ("A.RDO", "SPOOL/00000001.RDO")}
    octets = image.read_bytes()
    assert path.read_bytes() not in octets, "the file is not in fragments: the test shows nothing"
    assert by_name(octets) == left | {"LARGE.RDO": path.read_bytes()}


@pytest.mark.parametrize("seed", range(30))
def test_damaged_images_never_raise_and_never_grow(tmp_path, fill, seed):
    image = tmp_path / "floppy.img"
    mtools("mformat", "-C", "-f", 160, "-i", image, "::")
    fill(image)
    octets = bytearray(image.read_bytes())
    draw = random.Random(seed)
    for _ in range(40):  # boot sector, table and folders are in the first 5 KB
        octets[draw.randrange(11, 5000)] = draw.randrange(256)
    damaged = bytes(octets[: draw.randrange(6000, len(octets))]) if seed % 2 else bytes(octets)
    if is_image(damaged):
        files = files_in_image(damaged)
        assert sum(len(each.octets) for each in files) <= 3 * len(damaged)
    assert arrivals_in(damaged, "x") is not None


def test_an_image_that_is_cut_short_gives_what_is_there_and_says_so(tmp_path, fill):
    image = tmp_path / "floppy.img"
    mtools("mformat", "-C", "-f", 160, "-i", image, "::")
    files = fill(image)
    octets = image.read_bytes()
    cut = octets.find(files["SPOOL/DEEP/X.Y"][:512]) + 1000
    found = {each.name: each for each in files_in_image(octets[:cut])}
    assert found["A.RDO"] == ImageFile("A.RDO", files["A.RDO"])
    name = "SPOOL/DEEP/X.Y"
    assert found[name].octets == files[name][:1000]
    assert found[name].problem == "1000 of 30000 octets are there: the image ends there"


def test_what_is_no_image_is_taken_as_it_is():
    for octets in (b"", b"ROf\x1a", bytes(163_840), random.Random(1).randbytes(163_840)):
        assert not is_image(octets)
        assert arrivals_in(octets, "a file") == [(octets, "a file")]
