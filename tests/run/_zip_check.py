"""A strict reader of zip files, by the letter of PKWARE APPNOTE 6.3.9; the sections stand beside the checks.

It reads every record and compares what is said twice, but unpacks nothing. Readers that people use are lenient
where this one is not.
"""

import struct

LARGE, MANY = 0xFFFFFFFF, 0xFFFF
EXTRA_ZIP64, EXTRA_NTFS, EXTRA_TIMESTAMP = 0x0001, 0x000A, 0x5455


class NotAsItShould(Exception):
    pass


def need(condition, *what):
    if not condition:
        raise NotAsItShould(" ".join(map(str, what)))


def extra_fields(data, name):
    """4.5.1"""
    fields, at = {}, 0
    while at < len(data):
        need(at + 4 <= len(data), name, "extra fields are cut off")
        tag, size = struct.unpack_from("<HH", data, at)
        need(at + 4 + size <= len(data), name, f"extra field {tag:04x} is cut off")
        need(tag not in fields, name, f"extra field {tag:04x} is there twice")
        fields[tag] = data[at + 4:at + 4 + size]
        at += 4 + size
    return fields


class Entry:
    """One entry of the central directory: 4.3.12."""

    def __init__(self, file):
        data = file.read(46)
        (signature, self.made_by, self.version, self.flags, self.method, self.time, self.date, self.crc,
         self.packed, self.size, name, extra, comment, disk, internal, self.attributes,
         self.offset) = struct.unpack("<IHHHHHHIIIHHHHHII", data)
        need(signature == 0x02014B50, "no entry of the directory")
        self.raw_name = file.read(name)
        self.name = self.raw_name.decode("utf-8")
        self.fields = extra_fields(file.read(extra), self.name)
        need(comment == 0 and disk == 0 and internal == 0, self.name, comment, disk, internal)
        self.length = 46 + name + extra
        self.read_large()
        self.read_times()
        need(not self.flags & ~(1 << 11), self.name, f"flags {self.flags:04x}")  # 4.4.4: also no bit 3
        need(bool(self.flags) == (not self.name.isascii()), self.name, "bit 11")  # appendix D
        need(self.method in (0, 8), self.name, "method", self.method)
        if self.name.endswith("/"):
            need(self.attributes & 0x10, self.name, "is not marked as a folder")
            need(self.size == self.packed == self.method == 0, self.name, "folder with content")

    def read_large(self):
        """4.5.3: exactly the fields that are all ones in the header, in this order."""
        field, at, any_large = self.fields.get(EXTRA_ZIP64), 0, False
        for attribute in ("size", "packed", "offset"):
            if getattr(self, attribute) == LARGE:
                need(field is not None and at + 8 <= len(field), self.name, "no Zip64", attribute)
                value = struct.unpack_from("<Q", field, at)[0]
                need(value >= LARGE, self.name, attribute, value, "needs no Zip64")
                setattr(self, attribute, value)
                at, any_large = at + 8, True
        need((field is not None) == any_large, self.name, "Zip64 field without need")
        need(field is None or at == len(field), self.name, "Zip64 field has more than is needed")
        self.is_large = any_large

    def read_times(self):
        """4.5.5, and Info-ZIP's extrafld.txt for 0x5455"""
        self.filetimes = self.unix = None
        field = self.fields.get(EXTRA_NTFS)
        if field is not None:
            reserved, tag, size, *self.filetimes = struct.unpack("<IHHQQQ", field)
            need((reserved, tag, size) == (0, 1, 24), self.name, "NTFS field", field)
        field = self.fields.get(EXTRA_TIMESTAMP)
        if field is not None:
            self.unix_flags = field[0]
            need(len(field) == 1 + 4 * (field[0] & 1), self.name, "timestamp", field)
            if field[0] & 1:
                self.unix = struct.unpack_from("<i", field, 1)[0]

    def check_local(self, file):
        """4.3.7: what the local header says is the same. Returns where the next one must begin."""
        file.seek(self.offset)
        (signature, version, flags, method, time, date, crc, packed, size, name,
         extra) = struct.unpack("<IHHHHHIIIHH", file.read(30))
        need(signature == 0x04034B50, self.name, "no local header")
        need(file.read(name) == self.raw_name, self.name, "another name in the local header")
        fields = extra_fields(file.read(extra), self.name)
        need((version, flags, method, time, date, crc) == (self.version, self.flags, self.method, self.time,
             self.date, self.crc), self.name, "local and central header differ")
        large = fields.get(EXTRA_ZIP64)
        if large is not None:  # 4.5.3: both sizes
            need((packed, size) == (LARGE, LARGE) and len(large) == 16, self.name, "local Zip64")
            size, packed = struct.unpack("<QQ", large)
        need((packed, size) == (self.packed, self.size), self.name, "sizes differ", packed, size)
        # Only where stored blocks could still have made it larger than that, it may be there without need.
        need((large is not None) == (size >= LARGE) or size > LARGE - LARGE // 8192, self.name, "Zip64")
        needed = 45 if large or self.is_large else 20 if method == 8 or self.name.endswith("/") else 10
        need(version == needed, self.name, "version", version)  # 4.4.3.2
        need(fields.get(EXTRA_NTFS) == self.fields.get(EXTRA_NTFS), self.name, "NTFS fields differ")
        stamp = fields.get(EXTRA_TIMESTAMP)
        need((stamp is None) == (EXTRA_TIMESTAMP not in self.fields), self.name, "timestamps differ")
        if stamp is not None:
            need(stamp[0] == self.unix_flags and len(stamp) == 1 + 4 * stamp[0].bit_count(), self.name, stamp)
            need(not stamp[0] & 1 or struct.unpack_from("<i", stamp, 1)[0] == self.unix, self.name, stamp)
        need(method == 8 or packed == size, self.name, "stored, but sizes differ")
        return self.offset + 30 + name + extra + packed


def read_end(file):
    """4.3.14 to 4.3.16: number of entries, size and offset of the directory."""
    total = file.seek(0, 2)
    file.seek(total - 22)
    (signature, disk, first_disk, here, count, size, offset,
     comment) = struct.unpack("<IHHHHIIH", file.read(22))
    need(signature == 0x06054B50 and comment == 0, "no end record at the end")
    need(disk == first_disk == 0 and here == count, "end record", disk, first_disk, here, count)
    end = total - 22
    if count == MANY or LARGE in (size, offset):
        file.seek(end - 20)
        signature, disk, at, disks = struct.unpack("<IIQI", file.read(20))
        need(signature == 0x07064B50 and disk == 0 and disks == 1, "Zip64 locator")
        need(at == end - 20 - 56, "Zip64 end record is at", at)
        file.seek(at)
        (signature, rest, _, version, disk, first_disk, here, true_count, true_size,
         true_offset) = struct.unpack("<IQHHIIQQQQ", file.read(56))
        need(signature == 0x06064B50 and rest == 44 and version == 45, "Zip64 end record")
        need(disk == first_disk == 0 and here == true_count, "Zip64 end record")
        for small, true, most in ((count, true_count, MANY), (size, true_size, LARGE),
                                  (offset, true_offset, LARGE)):
            need(small == min(true, most), "end records differ", small, true)
        need(true_count >= MANY or true_size >= LARGE or true_offset >= LARGE, "Zip64 end without need")
        count, size, offset, end = true_count, true_size, true_offset, at
    need(offset + size == end, "the directory does not lie before its end")
    return count, size, offset


def read_zip(path):
    """All entries, after every check; NotAsItShould says what is wrong."""
    entries = []
    with open(path, "rb") as file:
        count, size, offset = read_end(file)
        file.seek(offset)
        for _ in range(count):
            entries.append(Entry(file))
        need(sum(entry.length for entry in entries) == size, "size of the directory")
        at = 0
        for entry in entries:
            need(entry.offset == at, entry.name, "begins at", entry.offset, "not", at)
            at = entry.check_local(file)
        need(at == offset, "something lies before the directory")
    return entries
