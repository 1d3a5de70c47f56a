"""Makes whole jobs without any code of src/: an independent reading of the job's format.

The job layout is the project's own; what it is made of are standards: RFC 8493 (BagIt), sha256sum's lists
(GNU coreutils manual), zip and tar as Python's zipfile and tarfile write them.
"""

import hashlib
import io
import json
import os
import tarfile
import zipfile

NAME = "FERNHILL-PC-2026-07-01"
PC = "data/FERNHILL-PC"

# (group, archive path below data/FERNHILL-PC, old path, content); None: a folder.
FILES = [
    ("mara-documents", "mara/Documents", r"\Users\mara\Documents", None),
    ("mara-documents", "mara/Documents/plots.txt", r"\Users\mara\Documents\plots.txt",
     b"Plot 7: beans, marigolds, one leaking butt.\n"),
    ("mara-documents", "mara/Documents/50% off.txt", r"\Users\mara\Documents\50% off.txt",
     b"Seed potatoes at half price on Saturday.\n"),
    ("mara-documents", "mara/Documents/empty", r"\Users\mara\Documents\empty", None),
    ("mara-documents", "mara/Documents/minutes/2019-03.txt",
     r"\Users\mara\Documents\minutes\2019-03.txt", b"Present: nine. Apologies: the rain.\n" * 900),
    ("mara-documents", "mara/Documents/nothing.txt", r"\Users\mara\Documents\nothing.txt", b""),
    ("mara-pictures", "mara/Pictures/Äpfel 🍎.jpg", r"\Fotos\Äpfel 🍎.jpg",
     b"\xff\xd8\xff\xe0" + bytes(range(256)) * 300 + b"\xff\xd9"),
    ("mara-pictures", "mara/Pictures/shed.jpg", r"\Fotos\shed.jpg",
     b"\xff\xd8\xff\xe0" + bytes(reversed(range(256))) * 300 + b"\xff\xd9"),
    # Names that differ only in how the accent is written (Unicode forms C and D) are two names.
    ("mara-pictures", "mara/Pictures/caf\u00e9.txt", "\\Fotos\\caf\u00e9.txt", b"composed"),
    ("mara-pictures", "mara/Pictures/cafe\u0301.txt", "\\Fotos\\cafe\u0301.txt", b"decomposed"),
]


def sha256(data):
    return hashlib.sha256(data).hexdigest()


def bag_name(path):
    """RFC 8493, 2.1.3."""
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def sum_line(digest, path):
    """GNU coreutils manual, "md5sum invocation"."""
    if any(c in path for c in "\\\n\r"):
        escaped = path.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
        return f"\\{digest}  {escaped}\n"
    return f"{digest}  {path}\n"


class Job:
    """A job in memory; write() puts it into a folder. Tests change it before, or the folder after."""

    def __init__(self, format="zip", losses=False, links=False, pieces=False):
        self.format = format
        self.members = {}    # part name -> [(path, bytes | None | ("link", target))]
        self.record = [{"record": 1, "program": "coldlift 0.1.0", "job": NAME,
                        "started": "2026-07-01T09:30:00.0000000Z"}]
        self.payload = {}    # path -> bytes
        self.findings = []
        for group, path, old, content in FILES:
            self.add(group, f"{PC}/{path}", old, content)
        self._others()
        if losses:
            self._losses()
        if links:
            self._links()
        if pieces:
            self._pieces()

    def part(self, group):
        if self.format == "folder":
            return f"{NAME}-files"
        return f"{NAME}-{group}.{self.format}"

    def line(self, old, kind, state, reason, **more):
        line = {"volume": "C:", "path": old, "kind": kind}
        if kind == "file":
            line["size"] = more.pop("size")
        line.update(state=state, reason=reason, pc="FERNHILL-PC", **more)
        self.record.append(line)
        return line

    def add(self, group, path, old, content):
        part = self.part(group)
        self.members.setdefault(part, []).append((path, content))
        if content is None:
            return self.line(old, "folder", "taken", "place", part=part, **{"as": path})
        self.payload[path] = content
        return self.line(old, "file", "taken", "place", size=len(content), part=part,
                         **{"as": path, "sha256": sha256(content)})

    def _others(self):
        self.line(r"\Windows\notepad.exe", "file", "left", "system", size=1234)
        self.line(r"\Windows", "folder", "left", "system")
        self.line(r"\Users\mara\Documents\My Music", "link", "left", "link",
                  target=r"C:\Users\mara\Music")
        self.line(r"\Users\mara\OneDrive\far.txt", "file", "absent", "cloud-only", size=77)

    def _losses(self):
        """A partial file, and files that did not arrive."""
        content = b"A" * 512 + bytes(512) + b"C" * 100
        line = self.add("mara-documents", f"{PC}/mara/Documents/scratched.doc",
                        r"\Users\mara\Documents\scratched.doc", content)
        line.update(state="partial", reason="read-error", holes=[[512, 512]])
        self.line(r"\Users\mara\Documents\secret.txt", "file", "locked", "encrypted", size=50)
        self._other_forms()
        self.line(r"\Users\mara\Documents\lzx.dll", "file", "unreadable", "system-compressed",
                  size=60)
        self.findings.append({"code": "share-not-there", "weight": "loss", "subject": "mara",
                              "sentence": "The videos lie on a share.", "advice": ""})

    def _other_forms(self):
        """Files whose bytes as such are not in the archive: encrypted, or mostly nothing."""
        content = bytes(i * 11 % 253 for i in range(1024))
        line = self.add("mara-sealed",
                        f"{PC}/mara/sealed/C/Users/mara/Documents/gate.txt.encrypted-data",
                        r"\Users\mara\Documents\gate.txt", content)
        line.update(state="locked", reason="encrypted", size=700, form="encrypted-data", stored=1024,
                    holes=[[512, 512]])
        content = bytes(i * 13 % 255 for i in range(600))
        line = self.add("mara-documents", f"{PC}/mara/Documents/huge.bin.data-ranges",
                        r"\Users\mara\Documents\huge.bin", content)
        line.update(size=1 << 40, form="data-ranges", stored=600, ranges=[[0, 100], [1 << 39, 500]])

    def _links(self):
        """A second name: a hard link where the format has them, else only a line in the record."""
        first = f"{PC}/mara/Pictures/shed.jpg"
        content = self.payload[first]
        if self.format == "zip":
            self.line(r"\Fotos\hut.jpg", "file", "same", "place", size=len(content),
                      sha256=sha256(content), same_as=first)
            return
        path = f"{PC}/mara/Pictures/hut.jpg"
        line = self.add("mara-pictures", path, r"\Fotos\hut.jpg", content)
        line.update(state="same", same_as=first)
        self.members[self.part("mara-pictures")][-1] = (path, ("link", first))

    def _pieces(self):
        """A file larger than a part may be."""
        content = bytes(i * 7 % 251 for i in range(5000))
        path = f"{PC}/mara/Pictures/rain.iso"
        parts = []
        for number in range(3):
            piece = content[number * 2000:(number + 1) * 2000]
            name = f"{path}.piece-{number + 1:02}-of-03"
            part = self.part(f"mara-pictures-{number + 2}")
            self.members.setdefault(part, []).append((name, piece))
            self.payload[name] = piece
            parts.append(part)
        self.line(r"\Fotos\rain.iso", "file", "taken", "place", size=len(content), parts=parts,
                  **{"as": path, "sha256": sha256(content)})

    # --- writing ---

    def account(self):
        streams = {state: {"count": 0, "bytes": 0} for state in (
            "taken", "partial", "unreadable", "absent", "incomplete", "locked", "left", "same")}
        for line in self.record[1:]:
            if line["kind"] == "file":
                streams[line["state"]]["count"] += 1
                streams[line["state"]]["bytes"] += line["size"]
        return {"streams": streams, "volumes": [
            {"volume": "C:", "clusters": 1000, "cluster_size": 4096,
             "by_owner": {"taken": 300, "left": 200, "file-system": 90, "folder-indexes": 10,
                          "unaccounted": 0},
             "free": 400, "sum": 1000}]}

    def _write_zip(self, path, members):
        with zipfile.ZipFile(path, "w") as out:
            for name, content in members:
                info = zipfile.ZipInfo(name + ("/" if content is None else ""), (2019, 7, 1, 9, 30, 0))
                packed = content is not None and len(content) > 10000 and "jpg" not in name
                info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
                out.writestr(info, b"" if content is None else content)

    def _write_tar(self, path, members):
        with tarfile.open(path, "w", format=tarfile.PAX_FORMAT) as out:
            for name, content in members:
                info = tarfile.TarInfo(name)
                if content is None:
                    info.type = tarfile.DIRTYPE
                    out.addfile(info)
                elif isinstance(content, tuple):
                    info.type, info.linkname = tarfile.LNKTYPE, content[1]
                    out.addfile(info)
                else:
                    info.size = len(content)
                    out.addfile(info, io.BytesIO(content))

    def _write_folder(self, path, members):
        for name, content in members:
            target = path / name
            if content is None:
                target.mkdir(parents=True, exist_ok=True)
                continue
            target.parent.mkdir(parents=True, exist_ok=True)
            if isinstance(content, tuple):
                os.link(path / content[1], target)
            else:
                target.write_bytes(content)

    def write(self, folder):
        folder.mkdir(mode=0o700)
        sums = []
        for part, members in self.members.items():
            getattr(self, f"_write_{self.format}")(folder / part, members)
            if self.format != "folder":
                sums.append(sum_line(sha256((folder / part).read_bytes()), part))
        text = {
            "bagit.txt": "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
            "bag-info.txt": "Bagging-Date: 2026-07-01\nPayload-Oxum: "
                            f"{sum(map(len, self.payload.values()))}.{len(self.payload)}\n",
            "manifest-sha256.txt": "".join(
                f"{sha256(c)}  {bag_name(p)}\n" for p, c in self.payload.items()),
            "SHA256SUMS": "".join(sum_line(sha256(c), p) for p, c in self.payload.items()),
            "PARTS.SHA256SUMS": "".join(sums),
            "record.jsonl": "".join(json.dumps(line, ensure_ascii=False) + "\n"
                                    for line in self.record),
            "account.json": json.dumps(self.account(), indent=1),
            "findings.json": json.dumps(self.findings),
            "where.json": "{}", "programs.json": "[]",
        }
        for name, content in text.items():
            (folder / name).write_text(content, encoding="utf-8")
        seal(folder)


def seal(folder):
    """Writes the tag manifest and the proof archive over what is in the folder now."""
    tags = sorted(p.name for p in folder.iterdir()
                  if p.suffix in (".txt", ".json", ".jsonl") or p.name.endswith("SHA256SUMS"))
    tags = [name for name in tags if not name.startswith("tagmanifest")]
    (folder / "tagmanifest-sha256.txt").write_text("".join(
        f"{sha256((folder / name).read_bytes())}  {name}\n" for name in tags), encoding="utf-8")
    with zipfile.ZipFile(folder / f"{NAME}-proof.zip", "w") as out:
        for name in ("bagit.txt", "bag-info.txt", "manifest-sha256.txt",
                     "tagmanifest-sha256.txt", "SHA256SUMS"):
            out.write(folder / name, name)
