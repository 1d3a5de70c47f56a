"""What the NTFS tests share: making volumes, and reading them with src/ntfs and with libntfs-3g.

Volumes are made by mkntfs and filled by the tools of the demo drives (fixtures/fill), which rest on
libntfs-3g; the same library, through fixtures/fill/look.c, ntfscat and ntfsls, says what is on them.
"""

import hashlib
import json
import os
import random
import shutil
import struct
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__)))))
BUILD = os.environ.get("COLDLIFT_BUILD", os.path.join(ROOT, "build"))
DATA = os.environ.get("COLDLIFT_DATA", os.path.join(ROOT, "..", "shared", "data"))
SKIPPED = 77


def skip(why):
    print("skipped:", why)
    sys.exit(SKIPPED)


class Bench:
    """A temporary folder with the tools built in it; counts what went wrong."""

    def __init__(self):
        for tool in ("mkntfs", "ntfscat", "ntfsls", "gcc"):
            if shutil.which(tool, path=os.environ["PATH"] + ":/usr/sbin:/sbin") is None:
                skip(f"{tool} is not installed")
        self.folder = tempfile.mkdtemp(prefix="coldlift-ntfs-")
        self.failures = 0
        self.checks = 0
        fill = os.path.join(ROOT, "fixtures", "fill")
        common = ["gcc", "-std=c17", "-D_GNU_SOURCE", "-D_FILE_OFFSET_BITS=64", "-O2"]
        self._compile(common + [os.path.join(fill, name) for name in
                                ("fill.c", "verbs.c", "scatter.c", "names.c")] + ["-lntfs-3g"], "fill")
        self._compile(common + [os.path.join(fill, name) for name in ("look.c", "names.c")] +
                      ["-lntfs-3g", "-lnettle"], "look")
        self._compile(common + ["-I" + os.path.join(ROOT, "src"), "-pthread",
                                os.path.join(ROOT, "tests", "run", "ntfs", "dump_volume.c"),
                                os.path.join(BUILD, "libcoldlift.a"), "-lnettle", "-lwim", "-lz"], "dump")

    def _compile(self, command, name):
        subprocess.run(command + ["-o", self.path(name)], check=True)

    def path(self, name):
        return os.path.join(self.folder, name)

    def check(self, truth, what):
        self.checks += 1
        if not truth:
            self.failures += 1
            print("FAILED:", what)

    def close(self):
        shutil.rmtree(self.folder)
        print(f"{self.checks} checks, {self.failures} failed")
        sys.exit(1 if self.failures else 0)

    def make(self, name, size, cluster, sector, listing):
        """A volume of `size` bytes, filled from a Listing."""
        image = self.path(name)
        with open(image, "wb") as file:
            file.truncate(size)
        environment = dict(os.environ, PATH=os.environ["PATH"] + ":/usr/sbin:/sbin")
        subprocess.run(["mkntfs", "-F", "-Q", "-q", "-L", "Fernhill \u00e9", "-c", str(cluster),
                        "-s", str(sector), image], check=True, capture_output=True, env=environment)
        listing.save(self.path("listing"), self.path("contents"))
        done = subprocess.run([self.path("fill"), image, self.path("listing"), self.path("contents")],
                              capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(done.stderr)
        return image

    def dump(self, image, script=""):
        """What src/ntfs reads, as a dictionary; None when it cannot open the volume."""
        done = subprocess.run([self.path("dump"), image, script], capture_output=True, timeout=300)
        if done.returncode == 3:
            return None
        if done.returncode:
            raise RuntimeError(f"dump_volume: status {done.returncode}: {done.stderr.decode()}")
        return json.loads(done.stdout)

    def look(self, image):
        """What libntfs-3g reads: {(kind, path, stream): (size, hash)}."""
        done = subprocess.run([self.path("look"), image], check=True, capture_output=True, text=True)
        found = {}
        for line in done.stdout.splitlines():
            kind, path, stream, size, digest = line.split("\t")
            found[kind, path, stream] = (int(size), digest)
        return found

    def cat(self, image, record, stream=""):
        """The bytes of a stream by ntfscat."""
        command = ["ntfscat", "-f", "-i", str(record)]
        if stream:
            command += ["-n", stream]
        return subprocess.run(command + [image], check=True, capture_output=True).stdout


class Listing:
    """A fill list and the contents that it refers to."""

    def __init__(self):
        self.lines = []
        self.contents = bytearray()

    def save(self, listing, contents):
        with open(listing, "w") as file:
            file.write("".join(line + "\n" for line in self.lines))
        with open(contents, "wb") as file:
            file.write(self.contents)

    def store(self, data):
        """Keeps bytes for a verb of its own; returns its fields FROM and LENGTH."""
        at = len(self.contents)
        self.contents += data
        return f"{at}\t{len(data)}"

    def add(self, *fields):
        self.lines.append("\t".join(str(field) for field in fields))

    def file(self, path, data=b"", attributes="0"):
        self.add("file", path, attributes)
        if data:
            self.write(path, "", 0, data)

    def write(self, path, stream, at, data):
        self.add("write", path, stream, at, self.store(data))

    def scatter(self, path, data):
        self.add("file", path, "0")
        self.add("scatter", path, self.store(data))

    def reparse(self, path, data):
        self.add("reparse", path, self.store(data))


def find_stream(data, name):
    """(place of the file record with the name, place of its unnamed $DATA attribute) in a volume's bytes.

    Where the fields are: linux-ntfs documentation, "File record", "Attribute header".
    """
    name = name.encode("utf-16-le")
    for record in range(0, len(data), 1024):
        if data[record:record + 4] != b"FILE" or name not in data[record:record + 1024]:
            continue
        at = record + struct.unpack_from("<H", data, record + 0x14)[0]
        while struct.unpack_from("<I", data, at)[0] < 0x80:
            at += struct.unpack_from("<I", data, at + 4)[0]
        if struct.unpack_from("<I", data, at)[0] == 0x80:  # else it is a folder with the name in it
            return record, at
    raise LookupError(name)


def as_listed(path):
    """A path of src/ntfs in the form of fixtures/fill: ASCII, all else as \\uXXXX."""
    text = ""
    for character in path.replace("\\", "/"):
        if " " <= character <= "~":
            text += character
        else:
            units = character.encode("utf-16-le")
            for i in range(0, len(units), 2):
                text += f"\\u{units[i] | units[i + 1] << 8:04x}"
    return text


def text(length, seed):
    """Words that compress well."""
    words = ["plot", "hedge", "water", "shed", "seed", "compost", "rota", "gate", "minutes", "fee"]
    dice = random.Random(seed)
    return " ".join(dice.choice(words) for _ in range(length // 4))[:length].encode()


def noise(length, seed):
    """Bytes that do not compress."""
    return random.Random(seed).randbytes(length)


def digest(data):
    return hashlib.sha256(data).hexdigest()


def streams(dump, system=False):
    """{(path, stream): stream} of a dump, with node and entry beside the stream's own keys."""
    found = {}
    for entry in dump["entries"]:
        if entry["flags"] & 8 and not system:
            continue
        for stream in entry["streams"]:
            found[entry["path"], stream["name"]] = dict(stream, entry=entry)
    return found


def codes(dump):
    return {finding["code"] for finding in dump["findings"]}
