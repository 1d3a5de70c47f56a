"""Volumes that were not taken out of use properly: with a journal to replay, a log that is not closed, a mark that says
"dirty". Each function takes the file of a whole volume that is fine, and leaves one that is not.

Sources: ext4: e2fsprogs' own debugfs (jo, jw) writes a journal transaction that was not played yet. NTFS: the Linux-NTFS
documentation, $LogFile (restart page, restart area, client record) and $Volume (volume flags); that it is right is said
by ntfs-3g.probe(8): 15, "not cleanly unmounted", and 14, "hibernated". FAT: Microsoft FAT specification (2004), the
highest bits of FAT[1]. exFAT: Microsoft exFAT specification, 3.1.13.3 VolumeFlags, VolumeDirty."""

import struct
import subprocess

from _harness import check, tool


def unclean_ext4(path):
    """A transaction in the journal that is yet to be played: it would write block 1000."""
    block = path.with_suffix(".block")
    block.write_bytes(b"beans " * 682 + b"peas")
    subprocess.run(["debugfs", "-w", "-f", "/dev/stdin", path], text=True, check=True, capture_output=True,
                   input=f"jo\njw -b 1000 {block}\njc\n")
    block.unlink()
    check("needs_recovery" in tool("dumpe2fs", "-h", path), "ext4: there is no journal to play")


def _record(volume, number):
    """Where an NTFS record begins (512-byte fixups do not matter for what is read here)."""
    sector, = struct.unpack_from("<H", volume, 11)
    cluster = sector * volume[13]
    mft, = struct.unpack_from("<Q", volume, 48)
    return mft * cluster + number * 1024, cluster


def _attribute(volume, record, wanted):
    at = record + struct.unpack_from("<H", volume, record + 20)[0]
    while struct.unpack_from("<I", volume, at)[0] != 0xFFFFFFFF:
        kind, length = struct.unpack_from("<II", volume, at)
        if kind == wanted:
            return at
        at += length
    raise SystemExit(f"no attribute {wanted:#x}")


def _log_offset(volume):
    record, cluster = _record(volume, 2)
    data = _attribute(volume, record, 0x80)
    runs = data + struct.unpack_from("<H", volume, data + 32)[0]
    lengths, offsets = volume[runs] & 15, volume[runs] >> 4
    first = int.from_bytes(volume[runs + 1 + lengths:runs + 1 + lengths + offsets], "little", signed=True)
    return first * cluster, struct.unpack_from("<Q", volume, data + 48)[0]


def _restart_page(log_size):
    """A restart page with one client at work, and no mark that the volume is clean."""
    page = bytearray(4096)
    struct.pack_into("<4sHHQIIHHHH", page, 0, b"RSTR", 30, 9, 0, 4096, 4096, 0x30, 1, 1, 1)
    area = 0x30
    bits = 67 - log_size.bit_length()
    struct.pack_into("<QHHHHIHHQIHHII", page, area, 0x1000, 1, 0xFFFF, 0, 0, bits, 0xD0, 0x30, log_size, 0, 0x30, 0x40,
                     7, 0)
    client = area + 0x30
    struct.pack_into("<QQHHH6xI", page, client, 0x1000, 0x1000, 0xFFFF, 0xFFFF, 0, 8)
    page[client + 32:client + 40] = "NTFS".encode("utf-16-le")
    for sector in range(8):
        end = 512 * sector + 510
        struct.pack_into("<H", page, 32 + 2 * sector, struct.unpack_from("<H", page, end)[0])
        struct.pack_into("<H", page, end, 1)
    return page


def unclean_ntfs(path):
    volume = bytearray(path.read_bytes())
    offset, size = _log_offset(volume)
    page = _restart_page(size)
    volume[offset:offset + 8192] = page + page
    record, cluster = _record(volume, 3)
    mirror = struct.unpack_from("<Q", volume, 56)[0] * cluster + 3 * 1024
    about = _attribute(volume, record, 0x70)
    for flags in (about + 20, about - record + mirror + 20):
        flags = flags - 20 + struct.unpack_from("<H", volume, flags)[0] + 10
        struct.pack_into("<H", volume, flags, struct.unpack_from("<H", volume, flags)[0] | 1)
    path.write_bytes(volume)
    probe = subprocess.run(["ntfs-3g.probe", "--readwrite", path], check=False, capture_output=True).returncode
    check(probe == 15, "NTFS: the log is clean for ntfs-3g.probe:", probe)


def hibernated_ntfs(path):
    image = path.with_suffix(".hibernated")
    image.write_bytes(b"hibr" + bytes(8188))
    tool("ntfscp", "-f", path, image, "/hiberfil.sys")
    image.unlink()
    probe = subprocess.run(["ntfs-3g.probe", "--readwrite", path], check=False, capture_output=True).returncode
    check(probe == 14, "NTFS: no Windows sleeps on it for ntfs-3g.probe:", probe)


def unclean_fat(path):
    volume = bytearray(path.read_bytes())
    reserved, = struct.unpack_from("<H", volume, 14)
    sector, = struct.unpack_from("<H", volume, 11)
    second = reserved * sector + 4
    struct.pack_into("<I", volume, second, struct.unpack_from("<I", volume, second)[0] & ~0x08000000)
    volume[0x41] |= 1  # Linux' mark for the same
    path.write_bytes(volume)


def unclean_exfat(path):
    volume = bytearray(path.read_bytes())
    struct.pack_into("<H", volume, 106, struct.unpack_from("<H", volume, 106)[0] | 2)
    path.write_bytes(volume)
