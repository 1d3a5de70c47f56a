"""A file table in pieces: $MFT with an attribute list of its own, as on volumes that grew for years.

libntfs-3g keeps the table of a small volume in one piece, so it is taken apart here, after the linux-ntfs
documentation ("$MFT", "Attribute header", "$ATTRIBUTE_LIST", "Fixup"): for volumes with records of 1 KiB.
"""

import struct

RECORD = 1024


def pairs(runs):
    """Mapping pairs of [lcn, length]."""
    packed, last = b"", 0
    for lcn, length in runs:
        packed += b"\x44" + struct.pack("<ii", length, lcn - last)
        last = lcn
    return packed + b"\0"


def data_attribute(number, lowest, runs, size, cluster):
    """A $DATA attribute of $MFT, made anew."""
    packed = pairs(runs)
    packed += bytes(-len(packed) % 8)
    clusters = sum(length for lcn, length in runs)
    return struct.pack("<IIBBHHHQQHHIQQQ", 0x80, 0x40 + len(packed), 1, 0, 0x40, 0, number, lowest,
                       lowest + clusters - 1, 0x40, 0, 0, clusters * cluster if not lowest else 0,
                       size, size) + packed


def make_record(image, at, base, attributes):
    """A record at `at` of the image with these attributes, its head taken from what was there."""
    raw = bytearray(RECORD)
    raw[:0x38] = image[at:at + 0x38]
    struct.pack_into("<HH", raw, 4, 0x30, 3)
    struct.pack_into("<HH", raw, 0x14, 0x38, 1)
    struct.pack_into("<Q", raw, 0x20, base)
    body = b"".join(attributes) + b"\xff\xff\xff\xff\0\0\0\0"
    raw[0x38:0x38 + len(body)] = body
    struct.pack_into("<I", raw, 0x18, 0x38 + len(body))
    raw[0x30:0x32] = b"\7\7"
    for sector in (1, 2):
        end = 512 * sector - 2
        raw[0x30 + 2 * sector:0x32 + 2 * sector] = raw[end:end + 2]
        raw[end:end + 2] = b"\7\7"
    image[at:at + RECORD] = raw


def attributes_of(record):
    """{type: bytes} of a record without fixups in its attributes."""
    at, found = struct.unpack_from("<H", record, 0x14)[0], {}
    while (kind := struct.unpack_from("<I", record, at)[0]) != 0xFFFFFFFF:
        length = struct.unpack_from("<I", record, at + 4)[0]
        found[kind] = bytes(record[at:at + length])
        at += length
    return found


def take_apart(image, cluster, runs, size, first, moved=()):
    """Describes the table by two records: `first` clusters in record 0, the others in record 15.

    `runs` are those of $MFT as [lcn, clusters]. `moved`: free clusters [lcn, clusters] that take the others, in
    their order; where they were, there is rubbish then. Returns the place of record 15.
    """
    table = runs[0][0] * cluster
    extension = table + 15 * RECORD
    assert runs[0][1] >= first and first * cluster >= 16 * RECORD, runs
    rest = [run for run in [[runs[0][0] + first, runs[0][1] - first]] + runs[1:] if run[1]]
    if moved:
        data = b"".join(bytes(image[lcn * cluster:(lcn + length) * cluster]) for lcn, length in rest)
        for lcn, length in rest:
            image[lcn * cluster:(lcn + length) * cluster] = b"\xa5" * (length * cluster)
        rest = [list(run) for run in moved]
        for lcn, length in rest:
            image[lcn * cluster:(lcn + length) * cluster] = data[:length * cluster]
            data = data[length * cluster:]
        assert not data, "not enough free clusters"
    old = attributes_of(image[table:table + 510])
    items = b""
    for kind, lowest, record in ((0x10, 0, 0), (0x30, 0, 0), (0x80, 0, 0), (0x80, first, 15), (0xB0, 0, 0)):
        sequence = 15 if record else 1
        items += struct.pack("<IHBBQQH6x", kind, 0x20, 0, 0x1A, lowest, record | sequence << 48, 0)
    listed = struct.pack("<IIBBHHHIHH", 0x20, 0x18 + len(items), 0, 0, 0x18, 0, 9, len(items), 0x18, 0) + items
    make_record(image, table, 0, [old[0x10], listed, old[0x30],
                data_attribute(1, 0, [[runs[0][0], first]], size, cluster), old[0xB0]])
    make_record(image, extension, 1 << 48, [data_attribute(2, first, rest, 0, cluster)])
    image[extension + 0x10:extension + 0x12] = struct.pack("<H", 15)
    return extension


def mark_used(image, walk):
    """Notes in $Bitmap that the table's clusters are in use; `walk` is that of the image as it is now."""
    (bitmap, _), = walk.files[6].streams[""].runs
    for lcn, length in walk.table_runs:
        for i in range(lcn, lcn + length):
            image[bitmap * walk.cluster + i // 8] |= 1 << i % 8
