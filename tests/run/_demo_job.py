"""A whole job on the demo drives, checked against expected.json and by programs that are not ours.

References: expected.json, which the builder of the drives writes without any code of src/; unzip (Info-ZIP), 7zz
(7-Zip), PKWARE APPNOTE through _zip_check.py, GNU tar, bsdtar (libarchive), Python's zipfile and tarfile for the
parts; sha256sum (GNU coreutils); RFC 8493 for the bag; ntfsinfo (ntfs-3g) for the size of volumes.
"""

import hashlib
import json
import os
import pathlib
import re
import resource
import shutil
import tarfile
import zipfile

import _accounts
import _bookmarks
import _zip_check
from _harness import COLDLIFT, DEMO, check, finish, load_lines, run, skip, tool, work_folder

IMAGES = [DEMO / "old-system.img", DEMO / "old-data.img"]
NAME = "fernhill"
ARRIVED = {"taken", "partial", "incomplete", "same"}
MEMORY = 96 << 10  # KiB: what a job may need, with so few files
LARGE = 64 << 20  # bytes: bigger files are hashed by sha256sum alone


def hash_file(path):
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def key_of(row):
    """A volume without a letter goes by its label, whose case does not matter here."""
    return (row["volume"].casefold(), row["path"], row.get("stream", ""), row["kind"],
            row.get("name_utf16", ""))


class DemoJob:
    def __init__(self, format, work):
        self.format = format
        self.work = work
        self.folder = work / NAME
        self.unpacked = work / "unpacked"
        self.expected = json.loads((DEMO / "expected.json").read_text(encoding="utf-8"))

    # --- making ---

    def extract(self):
        before = [hash_file(image) for image in IMAGES]
        done = run("extract", "--to", self.work, "--name", NAME, "--format", self.format, *IMAGES)
        check(done.returncode == 1, "extract: status", done.returncode, done.stderr[-2000:])
        self.said = done.stdout + done.stderr
        check([hash_file(image) for image in IMAGES] == before, "an image has changed")
        # Until here no other program was run; the sanitizers need more for themselves.
        used = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        check(used < MEMORY or "sanitize" in str(COLDLIFT), "memory:", used, "KiB")
        if not (self.folder / "record.jsonl").exists():
            print(done.stdout[-3000:], done.stderr[-3000:])
            return False
        check(not list(self.folder.rglob("*.unfinished")), "something is unfinished")
        check(not (self.folder / "journal").exists(), "the journal is still there")
        for path in [self.folder, *self.folder.rglob("*")]:
            check(path.is_symlink() or path.stat().st_mode & 0o077 == 0, path, "is open to others")
        # A path without a blank cannot be wrapped.
        long = [line for line in done.stdout.splitlines() if len(line) > 80 and " " in line.strip()]
        check(not long, "too wide:", long[:3])
        return True

    # --- the record ---

    def check_record(self):
        lines = load_lines(self.folder / "record.jsonl")
        self.head, self.record = lines[0], lines[1:]
        check(self.head.get("record") == 1 and self.head.get("job") == NAME, "head", self.head)
        by_key = {}
        for line in self.record:
            check(key_of(line) not in by_key, "two lines for", key_of(line))
            by_key[key_of(line)] = line
        self.by_as = {line["as"]: line for line in self.record if "as" in line}
        wanted = {key_of(row): row for row in self.expected["streams"]}
        for key, row in wanted.items():
            line = by_key.get(key)
            if line is None:
                check(False, "no line for", key, row["state"], row["reason"])
            else:
                self.check_line(key, row, line)
        for key, line in by_key.items():
            check(key in wanted or line["reason"] == "file-system", "not expected:", key,
                  line["state"], line["reason"])

    def is_expected_state(self, row, line):
        if line["state"] == row["state"]:
            return True
        # Equal content is stored once in a tar file: the same, found by its bytes.
        return (self.format == "tar" and row["state"] == "taken" and line["state"] == "same" and
                self.by_as[line["same_as"]]["sha256"] == row["sha256"])

    def check_line(self, key, row, line):
        check(self.is_expected_state(row, line) and line["reason"] == row["reason"], key,
              "is", line["state"], line["reason"], "not", row["state"], row["reason"])
        if row["kind"] == "file":
            check(line["size"] == row["size"], key, "size", line["size"], "not", row["size"])
        if row["kind"] == "file" and row["state"] in ("taken", "same") and "sha256" in row:
            check(line.get("sha256", row["sha256"] if row["state"] == "same" else "") ==
                  row["sha256"], key, "has another hash")
            check("as" in line or line["state"] == "same", key, "has no archive path")
        if "stored" in row:
            check((line.get("stored"), line.get("sha256"), line.get("place")) ==
                  (row["stored"], row["sha256"], row["place"]), key, "is kept as", line)
            check(line.get("as", "").endswith({"locked": ".encrypted-data",
                                               "taken": ".encrypted-key"}[row["state"]]), key,
                  "is at", line.get("as"))
        elif row["state"] not in ARRIVED:
            check("as" not in line and "part" not in line, key, "is in the archive all the same")
        # The rows say so only of what lies in a person's part of a bin.
        if "was" in row:
            check(line.get("was") == row["was"], key, "was", line.get("was"), "not", row["was"])
        if "as" in row and row["state"] == "taken":
            check(line.get("as") == row["as"], key, "is at", line.get("as"), "not", row["as"])
        if row["state"] == "taken":
            check(line.get("place", "") == row.get("place", line.get("place", "")), key, "place",
                  line.get("place"), "not", row.get("place"))
        if row["state"] == "taken" and row["kind"] == "file":
            check(line.get("person") == self.person_keys.get(row.get("person")), key, "belongs to",
                  line.get("person"), "not", row.get("person"))

    # --- the parts ---

    def parts(self):
        names = [line.split("  ", 1)[1] for line in
                 (self.folder / "PARTS.SHA256SUMS").read_text(encoding="utf-8").splitlines()]
        return [self.folder / name for name in names]

    def unpack_zip(self, part):
        tool("unzip", "-tqq", part)
        try:
            _zip_check.read_zip(part)
        except _zip_check.NotAsItShould as error:
            check(False, part.name, error)
        with zipfile.ZipFile(part) as archive:
            infos = archive.infolist()
            large = [info.filename for info in infos if info.file_size >= LARGE]
            for info in infos:
                check(info.filename.isascii() or info.flag_bits & 0x800, part.name, "no UTF-8 flag",
                      info.filename)
        tool("7zz", "t", part, *(f"-x!{name}" for name in large))
        # Info-ZIP would write gigabytes of zeros; bsdtar leaves them out.
        if len(large) < len(infos):
            tool("unzip", "-q", part, "-d", self.unpacked, *(["-x", *large] if large else []))
        if large:
            tool("bsdtar", "-xSf", part, "-C", self.unpacked, *large)
        check(len(tool("bsdtar", "-tf", part).splitlines()) == len(infos), part.name, "bsdtar")

    def unpack_tar(self, part):
        with tarfile.open(part) as archive:
            names = archive.getnames()
        check(len(tool("bsdtar", "-tf", part).splitlines()) == len(names), part.name, "bsdtar")
        # Not bsdtar: it composes accents, so that two names that differ only in that become one.
        tool("tar", "-xpf", part, "-C", self.unpacked)

    def unpack(self):
        self.unpacked.mkdir()
        if self.format == "folder":
            tool("cp", "-a", "--sparse=always", f"{self.folder / NAME}-files/.", self.unpacked)
        else:
            on_disk = {p for p in self.folder.glob(f"*.{self.format}")
                       if not p.name.endswith("-proof.zip")}
            check(set(self.parts()) == on_disk, "PARTS.SHA256SUMS", self.parts(), on_disk)
            tool("sha256sum", "--strict", "--quiet", "-c", "PARTS.SHA256SUMS", cwd=self.folder)
            for part in self.parts():
                getattr(self, f"unpack_{self.format}")(part)
        for tag in self.folder.iterdir():
            if tag.is_file() and tag.suffix not in (".zip", ".tar"):
                shutil.copy(tag, self.unpacked)
        shutil.copytree(self.folder / "bookmarks", self.unpacked / "bookmarks")
        with zipfile.ZipFile(self.folder / f"{NAME}-proof.zip") as proof:
            check(sorted(proof.namelist()) == ["SHA256SUMS", "bag-info.txt", "bagit.txt",
                                               "manifest-sha256.txt", "tagmanifest-sha256.txt"],
                  "proof", proof.namelist())
            for name in proof.namelist():
                check(proof.read(name) == (self.folder / name).read_bytes(), "proof", name)

    def check_sums(self):
        tool("sha256sum", "--strict", "--quiet", "-c", "SHA256SUMS", cwd=self.unpacked)

    def check_bag(self):
        """RFC 8493: 2.1.1, 2.1.3, 2.2.1, 2.2.2 and 3 (complete and valid)."""
        check((self.unpacked / "bagit.txt").read_bytes() ==
              b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", "bagit.txt")
        undo = {"%0A": "\n", "%0D": "\r", "%25": "%"}
        self.manifest = {}
        text = (self.unpacked / "manifest-sha256.txt").read_bytes().decode("utf-8")
        for line in text.split("\n")[:-1]:
            match = re.fullmatch(r"([0-9a-f]{64})[ \t]+(data/[^\r\n]+)", line)
            check(match, "manifest:", line)
            check(re.fullmatch(r"(?:[^%]|%0A|%0D|%25)*", match[2]), "encoding:", line)
            path = re.sub("%0A|%0D|%25", lambda code: undo[code[0]], match[2])
            check(path not in self.manifest, "twice in the manifest:", path)
            self.manifest[path] = match[1]
        there, total = set(), 0
        for folder, _, names in os.walk(self.unpacked / "data"):
            for name in names:
                path = os.path.join(folder, name)
                there.add(os.path.relpath(path, self.unpacked))
                total += os.lstat(path).st_size
                if os.lstat(path).st_size < LARGE:
                    check(hash_file(path) == self.manifest.get(os.path.relpath(path, self.unpacked)),
                          "hash of", path)
        check(there == set(self.manifest), "payload and manifest:",
              sorted(there ^ set(self.manifest))[:5])
        info = (self.unpacked / "bag-info.txt").read_text(encoding="utf-8")
        check(f"\nPayload-Oxum: {total}.{len(there)}\n" in "\n" + info, info, total, len(there))
        tags = {}
        for line in (self.unpacked / "tagmanifest-sha256.txt").read_text("utf-8").splitlines():
            digest, _, name = line.partition("  ")
            tags[name] = digest
            check(hash_file(self.unpacked / name) == digest, "tag file", name)
        check({"bagit.txt", "bag-info.txt", "manifest-sha256.txt", "record.jsonl"} <= set(tags), tags)

    def check_bytes(self):
        """Every byte that expected.json promises is in the archive, under the path of the record."""
        wanted = {key_of(row): row for row in self.expected["streams"]}
        for line in self.record:
            row = wanted.get(key_of(line))
            if (row is None or row["kind"] != "file" or
                    row["state"] not in ("taken", "same", "locked")):
                continue
            path = line.get("as", line.get("same_as"))
            check(self.manifest.get(path) == row.get("sha256"), key_of(line), "is not what",
                  path, "holds")
        for line in self.record:
            if line["kind"] == "folder" and "as" in line:
                check((self.unpacked / line["as"]).is_dir(), "no folder", line["as"])

    def check_sealed(self):
        """Keys and encrypted files of a person stand in one part, and nothing else does."""
        for line in self.record:
            kept = "as" in line and line["kind"] == "file"
            sealed = line["reason"] in ("keys", "encrypted")
            check(not kept or sealed == (line.get("place") == "sealed"), "sealed:", line)
            check(not kept or self.format == "folder" or
                  sealed == line["part"].endswith(f"-sealed.{self.format}"), "sealed:", line)
        findings = json.loads((self.folder / "findings.json").read_text(encoding="utf-8"))
        told = {f["subject"]: f["weight"] for f in findings if f["code"] == "sealed-part"}
        check(told == {"Mara Quill": "note", "Rowan Teasel": "caution"}, "sealed-part", told)
        check([f["subject"] for f in findings if f["code"] == "files-encrypted"] ==
              ["Rowan Teasel"], "files-encrypted")

    def check_incomplete(self):
        """Of a file that is partly in the cloud the half that is there: bytes, then listed zeros."""
        lines = [line for line in self.record if line["state"] == "incomplete"]
        check(len(lines) == 1, "incomplete", lines)
        for line in lines:
            data = (self.unpacked / line["as"]).read_bytes()
            check(len(data) == line["size"], line["as"], "has", len(data), "bytes")
            check(line["missing"] == [[131072, 131072]], line["as"], line["missing"])
            # The builder puts a film of 131,028 bytes there, which begins like any MP4 (ISO 14496-12).
            check(data[4:8] == b"ftyp" and data[100:131000].strip(b"\0"), line["as"], "has no film")
            check(not data[131072:].strip(b"\0"), line["as"], "has something where nothing was")

    # --- account, findings, special places ---

    def volumes(self):
        """Name of the volume in the record -> clusters, by ntfsinfo."""
        sizes = {}
        for image in IMAGES:
            table = json.loads(tool("sfdisk", "-J", image))["partitiontable"]
            for part in table["partitions"]:
                file = self.work / "volume.img"
                with open(image, "rb") as whole:
                    whole.seek(part["start"] * 512)
                    start = whole.read(512)
                if start[3:7] != b"NTFS":
                    continue
                tool("dd", f"if={image}", f"of={file}", "bs=512", f"skip={part['start']}",
                     f"count={part['size']}", "conv=sparse", "status=none")
                text = tool("ntfsinfo", "-m", "-f", file)
                sizes[int(re.search(r"Volume Size in Clusters: (\d+)", text)[1])] = (
                    int(re.search(r"Cluster Size: (\d+)", text)[1]))
                file.unlink()
        return sizes

    def check_account(self):
        account = json.loads((self.folder / "account.json").read_text(encoding="utf-8"))
        tally = {}
        for line in self.record:
            if line["kind"] == "file":
                count, size = tally.get(line["state"], (0, 0))
                tally[line["state"]] = count + 1, size + line["size"]
        for state, sums in account["streams"].items():
            check((sums["count"], sums["bytes"]) == tally.get(state, (0, 0)), "account", state, sums,
                  tally.get(state))
        sizes = self.volumes()
        check({v["clusters"]: v["cluster_size"] for v in account["volumes"]} == sizes, "volumes",
              account["volumes"], sizes)
        for volume in account["volumes"]:
            owners = {k: v for k, v in volume["by_owner"].items() if k not in ("free", "unaccounted")}
            check(volume["by_owner"].get("unaccounted", 0) == 0, "unaccounted", volume)
            check(sum(owners.values()) + volume["free"] == volume["clusters"], "sum", volume)

    def check_findings(self):
        findings = json.loads((self.folder / "findings.json").read_text(encoding="utf-8"))
        if isinstance(findings, dict):
            findings = findings["findings"]
        for place in self.expected["places"]:
            if place["status"] in ("drive-missing", "share"):
                told = [f for f in findings if f["weight"] != "note" and (
                    place["location"] in f["sentence"] or
                    place["person"] in f["sentence"] and f" {place['location'][:2]}," in f["sentence"])]
                check(told, "no finding for", place["location"], [f["code"] for f in findings])

        elsewhere = [f["sentence"] for f in findings if f["code"] == "settings-point-elsewhere"]
        # Of mara two; the browsers of mara and Zoë have the same preferences.
        check(len(elsewhere) == 3, "settings that point elsewhere", elsewhere)
        check(any("E:\\Papers & Plans" in text for text in elsewhere) and
              any("\\\\HUT-SERVER\\minutes" in text for text in elsewhere), elsewhere)

    def check_places(self):
        """Redirected, cloud and log-only places are in the archive under their person and place."""
        status = {(p["person"], p["place"]): p for p in self.expected["places"]}
        for person, place, folder in (("mara", "pictures", "mara/Pictures/"),
                                      ("mara", "documents", "mara/Documents/"),
                                      ("plots", "desktop", "/Desktop/")):
            check(status[person, place]["status"] in ("redirected", "other-volume"), place)
            rows = [row for row in self.expected["streams"] if row.get("person") == person and
                    row.get("place") == place and row["kind"] == "file" and row["state"] == "taken"]
            where = status[person, place]["lies"]
            check(any((row["volume"] + row["path"]).startswith(where) for row in rows), where,
                  "holds nothing")
            by_key = {key_of(line): line for line in self.record}
            for row in rows:
                path = by_key.get(key_of(row), {}).get("as", "")
                check(folder in path, key_of(row), "is at", path)
        hives = [line for line in self.record if "as" in line and
                 line["path"].lower().endswith(("\\ntuser.dat", "\\usrclass.dat"))]
        check(len(hives) == 7 and all("/registry/" in line["as"] for line in hives), "hives are at",
              [line["as"] for line in hives])
        leftovers = [row for row in self.expected["streams"] if row["kind"] == "file" and
                     row["path"].startswith("\\Users\\mara\\Pictures\\") and row["state"] == "taken"]
        check(leftovers, "no leftovers in the default location")

    def check_bookmarks(self):
        """Titles, addresses, folders and moments of every bookmark, as Python's HTML parser reads them."""
        found, tags = {}, (self.folder / "tagmanifest-sha256.txt").read_text("utf-8")
        for path in (self.folder / "bookmarks").glob("*.html"):
            page = _bookmarks.Page(path)
            found[page.place] = page
            check(f"  bookmarks/{path.name}\n" in tags, path.name, "is not in the tag manifest")
        wanted = {row["profile"]: row for row in self.expected["bookmarks"]}
        check(set(found) == set(wanted), "bookmarks of", sorted(set(found) ^ set(wanted)))
        for place in set(found) & set(wanted):
            check(found[place].links == wanted[place]["links"], "bookmarks of", place,
                  found[place].links, "not", wanted[place]["links"])
            person = self.person_keys[wanted[place]["person"]]
            check(found[place].name.startswith(person + "-"), found[place].name, person)
        check("  bookmarks/read-me.txt\n" in tags, "no text about bookmarks")

    def check_belongings(self):
        """Files and bytes of every kind of belongings, by whoever owns them."""
        wanted, found = {}, {}
        for row in self.expected["streams"]:
            open_left = row["state"] == "left" and row["reason"] in ("offered", "passwords")
            if "belonging" in row and (row["state"] != "left" or open_left):
                sums = wanted.setdefault((self.person_keys.get(row.get("person")), row["belonging"]),
                                         [0, 0, 0, 0])
                sums[2 * open_left] += 1
                sums[2 * open_left + 1] += row["size"]
        for row in json.loads((self.folder / "belongings.json").read_text(encoding="utf-8")):
            found[row.get("person"), row["kind"]] = [row["files"], row["bytes"], row["left_files"],
                                                     row["left_bytes"]]
        for key in set(wanted) | set(found):
            check(wanted.get(key) == found.get(key), "belongings", key, found.get(key), "not",
                  wanted.get(key))

    def check_accounts(self):
        _accounts.check_papers(self.folder, self.expected, self.record, self.said)

    def check_devices(self):
        """devices.json says the same as the survey, which survey_demo.py compares with the truth."""
        papers = json.loads((self.folder / "devices.json").read_text(encoding="utf-8"))
        check(len(papers) == 1 and papers[0]["pc"] == self.expected["pc"], "devices.json", papers[:1])
        check(papers[0]["things"] == self.system["devices"], "devices.json is not what the survey says")

    def check_found_files(self):
        """What a file check set aside is listed; what was opened and is left is told."""
        rows = json.loads((self.folder / "found-files.json").read_text(encoding="utf-8"))
        wanted = sorted(self.expected["found_files"], key=lambda row: row["path"])
        check(sorted(rows, key=lambda row: row["path"]) == wanted, "found files", rows, "not", wanted)
        told = [row["sentence"] for row in
                json.loads((self.folder / "findings.json").read_text(encoding="utf-8"))
                if row["code"] == "used-not-taken"]
        check(len(told) == 1 and "Temp\\Show schedule.txt" in told[0], "opened and left:", told)
        told = [row["sentence"] for row in
                json.loads((self.folder / "findings.json").read_text(encoding="utf-8"))
                if row["code"] == "opened-nowhere"]
        check(len(told) == 1 and told[0].startswith("1 document that mara ") and
              "Hut insurance.pdf" in told[0], "opened and nowhere:", told)

    def check_recycle_bin(self):
        """The paper on what was deleted, and that all of it has a way to be taken."""
        rows = json.loads((self.folder / "recycle-bin.json").read_text(encoding="utf-8"))
        found = {row["volume"] + row["path"]: row for row in rows}
        wanted = {row["volume"] + row["path"]: row for row in self.expected["recycle_bin"]}
        check(set(found) == set(wanted) and len(found) == len(rows), "recycle bin", sorted(found))
        for path, row in wanted.items():
            thing = found.get(path, {})
            mine = [thing.get(key) for key in ("was", "recent", "kind", "files", "bytes", "person")]
            check(mine == [row["was"], row["recent"], row["kind"], row["files"], row["bytes"],
                           self.person_keys.get(row["person"])], "deleted", path, mine, row)
            check((thing.get("deleted") or "")[:19] == (row["when"] or ""), "deleted", path, thing)

    def survey(self):
        done = run("survey", "--json", *IMAGES)
        check(done.returncode == 0, "survey: status", done.returncode, done.stderr[-1000:])
        self.system = json.loads(done.stdout)["systems"][0]
        self.person_keys = {p["account"] or p["folder"]: p["key"] for p in self.system["persons"]}

    def check_survey(self):
        system = self.system
        wanted = self.expected["system"]
        check(system["computer"] == self.expected["pc"], system["computer"])
        for key in ("product", "edition", "version", "volume"):
            check(system[key] == wanted[key], "system", key, system[key], wanted[key])
        check(system["build"].split(".")[0] == wanted["build"], "build", system["build"])
        check(system["last_shutdown"][:19] == wanted["last_shutdown"][:19], system["last_shutdown"])

        persons = {p["account"] or p["folder"]: p for p in system["persons"] if not p["service"]}
        check(set(persons) == {p["account"] or p["folder"] for p in self.expected["persons"]},
              "persons", sorted(persons))
        for row in self.expected["persons"]:
            person = persons.get(row["account"] or row["folder"])
            if person is None:
                continue
            for key in ("account", "full_name", "folder", "sid"):
                check(person[key] == row[key], "person", row["folder"], key, person[key], row[key])
            profile = person["profile"] or {"volume": "", "path": ""}
            check(profile["volume"] + profile["path"] == row["lies"], "profile", profile, row["lies"])
        self.check_survey_places(persons)
        letters = {entry["letter"]: entry["attached"] for entry in system["letters"]}
        for row in self.expected["letters"]:
            check(letters.get(row["letter"]) == (row["status"] == "attached"), "letter", row, letters)

    def check_survey_places(self, persons):
        for row in self.expected["places"]:
            person = persons.get(row["person"])
            places = {p["place"]: p for p in person["places"]} if person else {}
            place = places.get(row["place"])
            label = f"place {row['person']} {row['place']}:"
            if place is None:
                check(False, label, "is not in the survey")
                continue
            check(place["status"] == row["status"], label, place["status"], "not", row["status"])
            check(place["path"] == row["location"], label, place["path"], "not", row["location"])
            check(place["cloud"] == row.get("cloud", False), label, "cloud", place["cloud"])

    def check_verify(self):
        done = run("verify", self.folder)
        check(done.returncode == 1, "verify: status", done.returncode, done.stdout[-3000:],
              done.stderr)
        check("Proven:" in done.stdout, "verify", done.stdout[-500:])


def main(format):
    for need in [*IMAGES, DEMO / "expected.json"]:
        if not need.exists():
            skip(f"{need.name} is not there: make demo-drives")
    os.environ["LC_ALL"] = "C.UTF-8"
    with work_folder() as work:
        job = DemoJob(format, pathlib.Path(work))
        job.survey()
        if not job.extract():
            finish()
        job.check_record()
        job.check_verify()
        job.unpack()
        job.check_sums()
        job.check_bag()
        job.check_bytes()
        job.check_incomplete()
        job.check_sealed()
        job.check_account()
        job.check_findings()
        job.check_places()
        job.check_bookmarks()
        job.check_belongings()
        job.check_accounts()
        job.check_devices()
        job.check_recycle_bin()
        job.check_found_files()
        if format == "zip":
            job.check_survey()
    finish()
