"""Makes the descriptions that drives of a set carry, byte by byte after the published layouts.

RST: the Linux md tools' description of the format (mdadm 4.2, super-intel.c: imsm_super and what
follows it). DDF: SNIA, Common RAID Disk Data Format Specification 2.0. Dynamic disks: the Linux-NTFS
project's "LDM documentation" (PRIVHEAD, TOCBLOCK, VMDB, VBLK). Others: marks that libblkid knows.
"""

import struct
import uuid
import zlib

SECTOR = 512


def rst(serials, volumes, family=0x1A2B3C4D, generation=12, sector=SECTOR):
    """volumes: (name, level, first sector, sectors of the volume, members)."""
    disks = b""
    for index, serial in enumerate(serials):
        disks += serial.encode().ljust(16, b"\0")
        disks += struct.pack("<8I", 1 << 18, index << 16, 0x0A, 0, 0, 0, 0, 0)
    described = b""
    for name, level, start, size, members in volumes:
        described += name.encode().ljust(16, b"\0") + struct.pack("<Q", size) + bytes(56)
        described += bytes(32)  # no change under way
        described += struct.pack("<IIIHBBBBBB", start, size, size // 256, 128, 0, level, members,
                                 2 if level == 1 else 1, 0xFF, 1)
        described += bytes(12 + 16) + struct.pack(f"<{members}I", *range(members))
    length = 0xD8 + len(disks) + len(described)
    head = b"Intel Raid ISM Cfg Sig. 1.1.00".ljust(32, b"\0")
    head += struct.pack("<6I", 0, length, family, generation, 0, 0x80000000)
    head += bytes([len(serials), len(volumes), 0, 0]) + struct.pack("<II", 0, family)
    block = bytearray(head.ljust(0xD8, b"\0") + disks + described)
    struct.pack_into("<I", block, 0x20,
                     sum(struct.unpack(f"<{len(block) // 4}I", block)) & 0xFFFFFFFF)
    return bytes(block), sector


def put_rst(path, block_and_sector):
    """The first sector is the last but one of the drive; the others stand in front of it."""
    block, sector = block_and_sector
    more = block[sector:]
    count = -(-len(more) // sector)
    with open(path, "r+b") as drive:
        sectors = drive.seek(0, 2) // sector
        drive.seek((sectors - 2) * sector)
        drive.write(block[:sector].ljust(sector, b"\0"))
        drive.seek((sectors - 2 - count) * sector)
        drive.write(more.ljust(count * sector, b"\0"))


def ddf_block(magic, body, length=SECTOR):
    """A block with its signature and checksum."""
    block = bytearray(struct.pack(">I", magic) + b"\xff" * 4 + body)
    block = block.ljust(length, b"\xff")
    # Begun with zero and not inverted, which is zlib's the other way round.
    struct.pack_into(">I", block, 4, zlib.crc32(block, 0xFFFFFFFF) ^ 0xFFFFFFFF)
    return bytes(block)


def put_ddf(path, name, level, members, own, secondary=1):
    """Anchor in the last sector; the header that it points to and the sections 64 sectors earlier."""
    with open(path, "r+b") as drive:
        last = drive.seek(0, 2) // SECTOR - 1
        first = last - 64
        guid = b"Fernhill drives         "
        volume = b"Fernhill volume         "
        header = guid + b"01.02.00" + struct.pack(">II", 1, 0) + bytes([0, 0xFF, 0]) + b"\xff" * 13
        header += b"\xff" * 32 + struct.pack(">QQ", first, 0xFFFFFFFFFFFFFFFF)
        header += bytes([0]) + b"\xff" * 3 + struct.pack(">IQ", 0, first)
        header += struct.pack(">5H", 15, 15, 4, 3, 16) + b"\xff" * 54
        header += struct.pack(">8I", 1, 1, 2, 2, 4, 2, 6, 12) + struct.pack(">2I", 18, 1)
        header += b"\xff" * 24
        for sector, kind in ((last, 0), (first, 1)):
            body = bytearray(header)
            body[112 - 8] = kind
            drive.seek(sector * SECTOR)
            drive.write(ddf_block(0xDE11DE11, bytes(body)))
        entry = volume + struct.pack(">HHI", 0, 0xFFFF, 0) + bytes(16) + name.encode().ljust(16)
        drive.seek((first + 4) * SECTOR)
        drive.write(ddf_block(0xDDDDDDDD, struct.pack(">HH", 1, 15) + b"\xff" * 52 + entry, 1024))
        record = volume + struct.pack(">II", 0, 7) + b"\xff" * 24
        record += struct.pack(">HBBBBBB", members, 7, level, 0, secondary, 0, 0)
        record += struct.pack(">QQ", 4096, 4096)
        record = record.ljust(SECTOR - 8, b"\xff")
        record += struct.pack(f">{members}I", *range(101, 101 + members)).ljust(64, b"\xff")
        record += struct.pack(f">{members}Q", *([0] * members))
        drive.seek((first + 6) * SECTOR)
        drive.write(ddf_block(0xEEEEEEEE, record, 3 * SECTOR))
        drive.seek((first + 18) * SECTOR)
        drive.write(ddf_block(0x33333333, guid + struct.pack(">I", 101 + own)))


MARKS = {
    # kind: (type in libblkid, sector from the end, bytes)
    "nvidia-raid": ("nvidia_raid_member", 2, b"NVIDIA  "),
    "promise-raid": ("promise_fasttrack_raid_member", 63, b"Promise Technology, Inc."),
    "jmicron-raid": ("jmicron_raid_member", 1, b"JM\0\1"),
    "lsi-raid": ("lsi_mega_raid_member", 1, b"$XIDE$"),
    "highpoint-raid": ("hpt45x_raid_member", 11, b"\xf3\x16\x78\x5a"),
    "adaptec-raid": ("adaptec_raid_member", 1,
                     b"\x37\xfc\x4d\x1e".ljust(256, b"\0") + b"\x44\x50\x54\x4d"),
}


def silicon():
    """The last sector of a Silicon Image set's member; its words add up to nothing."""
    block = bytearray(SECTOR)
    struct.pack_into("<I", block, 0x60, 0x2F000000)
    struct.pack_into("<HH", block, 0x108, 1, 6)
    words = struct.unpack("<159H", block[:0x13E])
    struct.pack_into("<H", block, 0x13E, -sum(words) & 0xFFFF)
    return bytes(block)


def via():
    """The last sector of a VIA set's member, with the sum of its first 50 bytes."""
    block = bytearray(b"\x55\xaa\x01".ljust(SECTOR, b"\0"))
    block[5] = 3
    block[50] = sum(block[:50]) & 0xFF
    return bytes(block)




def put_linux_raid(path, level, drives, name):
    """Version 1.0: it stands near the end, and the data begins at the drive's start."""
    with open(path, "r+b") as drive:
        sectors = drive.seek(0, 2) // SECTOR
        offset = (sectors - 16) // 8 * 8
        block = bytearray(256 + 2 * drives)
        struct.pack_into("<III", block, 0, 0xA92B4EFC, 1, 0)
        block[16:32] = uuid.UUID(int=0xFE12).bytes
        block[32:32 + len(name)] = name.encode()
        struct.pack_into("<iIQII", block, 72, level, 0, 4096, 0, drives)
        struct.pack_into("<QQQQ", block, 128, 0, 4096, offset, 0)
        struct.pack_into("<Q", block, 200, 9)
        struct.pack_into("<I", block, 220, drives)
        total = sum(struct.unpack(f"<{len(block) // 4}I", block[:len(block) // 4 * 4]))
        if len(block) % 4:
            total += struct.unpack("<H", block[-2:])[0]
        struct.pack_into("<I", block, 216, ((total & 0xFFFFFFFF) + (total >> 32)) & 0xFFFFFFFF)
        drive.seek(offset * SECTOR)
        drive.write(block)


# --- dynamic disks --------------------------------------------------------------------------------

GROUP_ID = "7c1f9a52-0d3e-4b6a-9d0b-1f2e3d4c5b6a"


def disk_id(index):
    return f"3a5c7e90-1b2d-4f60-8a9b-{index:012x}"


def number(value):
    raw = value.to_bytes(max(1, (value.bit_length() + 7) // 8), "big")
    return bytes([len(raw)]) + raw


def text(value):
    return bytes([len(value)]) + value.encode()


def vblk(kind, body, flags=0):
    return struct.pack(">HBBI", 0, flags, kind, len(body)) + body


def database(disks, volumes):
    """
    disks: how many. volumes: (name, size, components); a component is (layout, pieces), a piece
    (disk, first sector, sectors); layout 1 stripe, 2 pieces in a row, 3 parity.
    """
    records = []
    for index in range(disks):
        records.append(vblk(0x34, number(10 + index) + text(f"Disk{index + 1}") +
                            text(disk_id(index)) + bytes([0]) + bytes(12)))
    records.append(vblk(0x35, number(5) + text("FernhillDg0") + text(GROUP_ID) + bytes(16)))
    objects = 100
    for index, (name, size, components) in enumerate(volumes):
        volume, objects = objects, objects + 1
        parity = components[0][0] == 3
        records.append(vblk(0x51, number(volume) + text(name) + text("raid5" if parity else "gen") +
                            text("") + b"ACTIVE".ljust(14, b"\0") +
                            bytes([4 if parity else 3, 0, 0, 0, 0, 0, 0]) +
                            number(len(components)) + bytes(16) + number(size) + bytes(4) +
                            bytes([7]) + uuid.UUID(int=0xF00 + index).bytes))
        for layout, pieces in components:
            component, objects = objects, objects + 1
            body = number(component) + text(f"{name}-{component}") + text("ACTIVE")
            body += bytes([layout]) + bytes(4) + number(len(pieces)) + bytes(16) + number(volume)
            body += bytes(1)
            if layout != 2:
                body += number(128) + number(len(pieces))
            records.append(vblk(0x32, body, 0x10 if layout != 2 else 0))
            behind = 0
            for column, (disk, start, sectors) in enumerate(pieces):
                body = number(objects) + text(f"Disk{disk + 1}-{objects}") + bytes(12)
                body += struct.pack(">QQ", start, behind) + number(sectors)
                body += number(component) + number(10 + disk)
                body += number(column)
                records.append(vblk(0x33, body, 0x08))
                objects += 1
                behind += sectors if layout == 2 else 0
    return records


def put_dynamic(path, disk, disks, volumes, privhead_sector=6, data_start=63):
    """Puts the database in the last 2,048 sectors, and PRIVHEAD in its sector."""
    records = database(disks, volumes)
    blocks = []
    for group, record in enumerate(records, 1):
        parts = [record[i:i + 112] for i in range(0, len(record), 112)]
        for index, part in enumerate(parts):
            blocks.append(b"VBLK" + struct.pack(">IIHH", 4 + len(blocks), group, index,
                                                len(parts)) + part.ljust(112, b"\0"))
    vmdb = bytearray(b"VMDB" + struct.pack(">IIIHHH", 4 + len(blocks), 128, 512, 1, 4, 10))
    vmdb += b"FernhillDg0".ljust(31, b"\0") + GROUP_ID.encode().ljust(64, b"\0")
    counts = [sum(r[3] == kind for r in records) for kind in (0x51, 0x32, 0x33, 0x34)]
    vmdb += struct.pack(">QQ", 9, 9) + struct.pack(">4I", *counts) + bytes(12 + 16 + 12 + 8)
    config = bytes(vmdb).ljust(512, b"\0") + b"".join(blocks)
    toc = bytearray(512)
    toc[0:8] = b"TOCBLOCK"
    struct.pack_into(">I4xI", toc, 8, 1, 1)
    toc[0x24:0x24 + 6] = b"config"
    struct.pack_into(">HQQH", toc, 0x2C, 0, 17, 1400, 6)
    toc[0x46:0x46 + 3] = b"log"
    struct.pack_into(">HQQH", toc, 0x4E, 0, 1417, 224, 6)
    with open(path, "r+b") as drive:
        sectors = drive.seek(0, 2) // SECTOR
        start = sectors - 2048
        head = bytearray(512)
        head[0:8] = b"PRIVHEAD"
        struct.pack_into(">IHH", head, 8, 1, 2, 12)
        head[0x30:0x30 + 36] = disk_id(disk).encode()
        head[0x70:0x70 + 36] = disk_id(99).encode()
        head[0xB0:0xB0 + 36] = GROUP_ID.encode()
        head[0xF0:0xF0 + 11] = b"FernhillDg0"
        struct.pack_into(">QQQQ", head, 0x11B, data_start, start - data_start, start, 2048)
        drive.seek(privhead_sector * SECTOR)
        drive.write(head)
        for sector in (1, 2):
            drive.seek((start + sector) * SECTOR)
            drive.write(toc)
        drive.seek((start + 17) * SECTOR)
        drive.write(config)
