"""An independent walk over an NTFS volume held in memory: records, names, runs and where each lies.

It knows nothing of src/: written from the linux-ntfs documentation ("$Boot", "File record", "Attribute
header", "$ATTRIBUTE_LIST", "$FILE_NAME", data runs). It expects a sound volume as mkntfs and libntfs-3g make
it, and is checked against ntfscat by the tests that use it.
"""

import struct

STANDARD, LIST, NAME, DATA, INDEX, END = 0x10, 0x20, 0x30, 0x80, 0xA0, 0xFFFFFFFF


class Attribute:
    """One attribute of one record: resident bytes, or runs as (first cluster or None, clusters)."""

    def __init__(self, raw, at):
        head = struct.unpack_from("<IIBBHHH", raw, at)
        self.type, self.length, resident, units, name_at = head[:5]
        self.flags = head[5]
        self.name = raw[at + name_at:at + name_at + 2 * units].decode("utf-16-le", "surrogatepass")
        self.resident = not resident
        self.runs, self.value, self.lowest, self.size, self.initialized = [], b"", 0, 0, 0
        if self.resident:
            self.size, start = struct.unpack_from("<IH", raw, at + 0x10)
            self.value = bytes(raw[at + start:at + start + self.size])
            return
        self.lowest, highest, start = struct.unpack_from("<QQH", raw, at + 0x10)
        if self.lowest == 0:
            self.size, self.initialized = struct.unpack_from("<QQ", raw, at + 0x30)
        self.runs = decode_runs(raw, at + start)


def decode_runs(raw, at):
    runs, lcn = [], 0
    while raw[at]:
        n_length, n_offset = raw[at] & 15, raw[at] >> 4
        length = int.from_bytes(raw[at + 1:at + 1 + n_length], "little")
        offset = int.from_bytes(raw[at + 1 + n_length:at + 1 + n_length + n_offset], "little",
                                signed=True)
        lcn += offset
        runs.append((lcn if n_offset else None, length))
        at += 1 + n_length + n_offset
    return runs


class Record:
    """A file record in use: its attributes, and where its bytes lie on the volume."""

    def __init__(self, number, raw, places):
        self.number, self.places = number, places
        self.sequence, = struct.unpack_from("<H", raw, 0x10)
        self.is_folder = raw[0x16] & 2 != 0
        self.base = struct.unpack_from("<Q", raw, 0x20)[0] & 0xFFFFFFFFFFFF
        self.is_extension = struct.unpack_from("<Q", raw, 0x20)[0] != 0
        self.attributes = []
        at = struct.unpack_from("<H", raw, 0x14)[0]
        while struct.unpack_from("<I", raw, at)[0] != END:
            self.attributes.append(Attribute(raw, at))
            at += self.attributes[-1].length


class Stream:
    def __init__(self, name):
        self.name, self.size, self.initialized = name, 0, 0
        self.flags = 0
        self.value = None  # bytes of a resident one
        self.runs = []
        self.records = set()  # numbers of the records that describe it


class File:
    def __init__(self, base):
        self.base, self.number, self.is_folder = base, base.number, base.is_folder
        self.records = [base]
        self.names = []     # (parent, name, record)
        self.streams = {}
        self.list_runs = []  # of the attribute list, when it is not resident
        self.index_runs = []


class Walk:
    def __init__(self, data):
        self.data = data
        self.sector, = struct.unpack_from("<H", data, 11)
        per_cluster, record = data[13], data[0x40]
        self.cluster = self.sector * (per_cluster if per_cluster <= 128 else 1 << 256 - per_cluster)
        self.record_size = record * self.cluster if record < 128 else 1 << 256 - record
        self.sectors, self.table, self.mirror = struct.unpack_from("<QQQ", data, 0x28)
        self.table_runs = self._find_table()
        self.records = {}
        for number in range(self.table_size // self.record_size):
            raw, places = self._raw(number)
            if raw is not None:
                self.records[number] = Record(number, raw, places)
        self.files = {number: File(record) for number, record in self.records.items()
                      if not record.is_extension}
        for record in self.records.values():
            if record.is_extension:
                self.files[record.base].records.append(record)
        for file in self.files.values():
            self._join(file)

    # --- bytes ---------------------------------------------------------------------------------

    def places(self, runs, offset, length):
        """[(offset on the volume, length)] of a range of a stream; sparse clusters left out."""
        found, start = [], 0
        for lcn, clusters in runs:
            end = start + clusters * self.cluster
            first, last = max(start, offset), min(end, offset + length)
            if first < last and lcn is not None:
                found.append((lcn * self.cluster + first - start, last - first))
            start = end
        return found

    def read(self, runs, offset, length):
        out, start = bytearray(length), 0
        for lcn, clusters in runs:
            end = start + clusters * self.cluster
            first, last = max(start, offset), min(end, offset + length)
            if first < last and lcn is not None:
                at = lcn * self.cluster + first - start
                out[first - offset:last - offset] = self.data[at:at + last - first]
            start = end
        return out

    def _fix(self, raw):
        """Puts the last two bytes of each stride of 512 bytes back; None when it is no record in use."""
        if raw[:4] != b"FILE" or not raw[0x16] & 1:
            return None
        at, count = struct.unpack_from("<HH", raw, 4)
        for i in range(1, count):
            end = 512 * i - 2
            if raw[end:end + 2] != raw[at:at + 2]:
                return None
            raw[end:end + 2] = raw[at + 2 * i:at + 2 * i + 2]
        return raw

    def _raw(self, number):
        offset = number * self.record_size
        raw = self._fix(self.read(self.table_runs, offset, self.record_size))
        return raw, self.places(self.table_runs, offset, self.record_size)

    def _find_table(self):
        """The table's runs: record 0, and the records that its attribute list names, in their order."""
        at = self.table * self.cluster
        record = Record(0, self._fix(bytearray(self.data[at:at + self.record_size])), [])
        data = [a for a in record.attributes if a.type == DATA and not a.name][0]
        runs, self.table_size = list(data.runs), data.size
        listed = [a for a in record.attributes if a.type == LIST]
        self.table_runs = runs
        for number, lowest in self._listed(listed[0]) if listed else []:
            more = Record(number, self._raw(number)[0], [])
            runs += [a for a in more.attributes if a.type == DATA and a.lowest == lowest][0].runs
        return runs

    def _listed(self, attribute):
        """(record, first cluster) of the further pieces of $DATA that an attribute list names."""
        raw = attribute.value if attribute.resident else self.read(attribute.runs, 0, attribute.size)
        at, found = 0, []
        while at + 0x1A <= len(raw):
            kind, length = struct.unpack_from("<IH", raw, at)
            lowest, reference = struct.unpack_from("<QQ", raw, at + 8)
            if kind == DATA and raw[at + 6] == 0 and lowest:
                found.append((reference & 0xFFFFFFFFFFFF, lowest))
            at += length
        return sorted(found, key=lambda item: item[1])

    # --- files ---------------------------------------------------------------------------------

    def _join(self, file):
        pieces = {}
        for record in file.records:
            for attribute in record.attributes:
                if attribute.type == LIST and not attribute.resident:
                    file.list_runs = attribute.runs
                elif attribute.type == INDEX:
                    file.index_runs += attribute.runs
                elif attribute.type == NAME:
                    parent, = struct.unpack_from("<Q", attribute.value)
                    units, space = attribute.value[0x40:0x42]
                    name = attribute.value[0x42:0x42 + 2 * units].decode("utf-16-le", "surrogatepass")
                    if space != 2:  # not an 8.3 name
                        file.names.append((parent & 0xFFFFFFFFFFFF, name, record.number))
                elif attribute.type == DATA:
                    pieces.setdefault(attribute.name, []).append((attribute.lowest, record.number,
                                                                  attribute))
        for name, parts in pieces.items():
            stream = file.streams[name] = Stream(name)
            for lowest, number, attribute in sorted(parts, key=lambda part: part[0]):
                stream.records.add(number)
                stream.runs += attribute.runs
                if lowest == 0:
                    stream.size, stream.initialized = attribute.size, attribute.initialized
                    stream.value = attribute.value if attribute.resident else None
                    stream.flags = attribute.flags

    def bytes_of(self, stream):
        """Of a stream that is neither compressed nor encrypted."""
        if stream.value is not None:
            return stream.value
        data = self.read(stream.runs, 0, stream.size)
        data[stream.initialized:] = bytes(len(data) - min(stream.initialized, len(data)))
        return bytes(data)
