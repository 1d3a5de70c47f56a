#!/usr/bin/python3
"""What recycle bins hold: the paper and the record against index files that are read here, by Python.

Sources: libyal's dtformats, "The Windows Recycle.Bin file formats" and "The Windows Recycler file formats", for the
reader below; the index files themselves reach it through the job, taken with --take, and the demo drives'
expected.json says which hash each must have.
"""

import datetime
import json
import pathlib
import struct

from _harness import DEMO, check, finish, load_lines, run, skip, work_folder

IMAGES = [DEMO / "old-system.img", DEMO / "old-data.img"]
EPOCH = datetime.datetime(1601, 1, 1)


def when(filetime):
    return (EPOCH + datetime.timedelta(microseconds=filetime // 10)).isoformat()


def wide(data):
    text = data.decode("utf-16le")
    return text.split("\0", 1)[0]


def read_note(data):
    version, size, filetime = struct.unpack_from("<QQQ", data)
    start = {1: 24, 2: 28}[version]
    return wide(data[start:len(data) // 2 * 2]), when(filetime), size


def read_index(data):
    """By the name of the thing, without its extension."""
    size = struct.unpack_from("<I", data, 12)[0]
    found = {}
    for at in range(20, len(data) - size + 1, size):
        number, drive, filetime, _ = struct.unpack_from("<IIQI", data, at + 260)
        found[f"D{chr(ord('a') + drive)}{number}"] = (wide(data[at + 280:at + size]), when(filetime))
    return found


def take_all(work):
    """Everything in every bin, and as little else as can be."""
    done = run("extract", "--to", work, "--name", "bins", "--format", "folder", "--person", "plots",
               "--take", r"?:\$Recycle.Bin", "--take", r"?:\RECYCLER", "--leave", r"?:\Users",
               "--leave", r"?:\Rowan", *IMAGES)
    check(done.returncode in (0, 1), "extract: status", done.returncode, done.stderr[-2000:])
    job = work / "bins"
    check(run("verify", job).returncode in (0, 1), "the job is not proven")
    return job


def check_index_files(files, things, index_files):
    """What the index files say, one by one."""
    seen = set()
    for line in index_files:
        data = (files / line["as"]).read_bytes()
        folder, _, name = line["path"].rpartition("\\")
        if name == "INFO2":
            for stem, (was, time) in read_index(data).items():
                thing = next((t for path, t in things.items()
                              if path.startswith(f"{line['volume']}{folder}\\{stem}.")), {})
                check((thing.get("was"), (thing.get("deleted") or "")[:19]) == (was, time), stem, thing)
                seen.add(thing.get("path"))
            continue
        was, time, size = read_note(data)
        thing = things.get(line["volume"] + folder + "\\$R" + name[2:])
        if thing is None:
            check("GONE" in name, "nothing goes with", line["path"])
            continue
        check((thing["was"], (thing["deleted"] or "")[:19]) == (was, time), "note", line["path"], thing)
        check(thing["bytes"] >= size, "size", line["path"], thing["bytes"], size)
        seen.add(thing["path"])
    told = {t["path"] for t in things.values() if t["was"]}
    check(seen == told, "told without an index file, or the other way round:", seen ^ told)
    check(len(told) > 12, "only", len(told), "things were told")


def main():
    if not (DEMO / "expected.json").exists():
        skip("no demo drives: make demo-drives")
    expected = json.loads((DEMO / "expected.json").read_text(encoding="utf-8"))
    rows = {row["volume"] + row["path"]: row for row in expected["streams"] if not row["stream"]}
    with work_folder() as folder:
        job = take_all(pathlib.Path(folder))
        files = job / "bins-files"
        things = {t["volume"] + t["path"]: t for t in
                  json.loads((job / "recycle-bin.json").read_text(encoding="utf-8"))}
        lines = [line for line in load_lines(job / "record.jsonl")[1:]
                 if line["kind"] == "file" and "stream" not in line and "as" in line and
                 ("ecycle" in line["path"] or "RECYCLE" in line["path"])]
        for line in lines:
            row = rows[line["volume"] + line["path"]]
            check(line["state"] in ("taken", "same") and line["sha256"] == row["sha256"], line["path"],
                  line["state"], "or another hash")
            check(line.get("was") == row.get("was"), line["path"], "was", line.get("was"))
        wanted = [path for path, row in rows.items() if row["kind"] == "file" and "ecycle" in
                  path.lower() and "size" in row]
        check(len(lines) == len(wanted), len(lines), "files of bins were taken, not", len(wanted))
        check_index_files(files, things, [line for line in lines if line["reason"] == "deleted" and
                                          (line["path"].rpartition("\\")[2].startswith("$I") or
                                           line["path"].endswith("INFO2"))])
        # Where a person looks for it: under the name and folder that it had.
        draft = files / "data/FERNHILL-PC/mara/recycle-bin/Desktop/draft 0.txt"
        check(draft.is_file(), "the first draft is not where it was")
    finish()


if __name__ == "__main__":
    main()
