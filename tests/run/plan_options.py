#!/usr/bin/python3
"""--person, --take and --leave on the demo drives: whole jobs, read back from record.jsonl.

Reference: expected.json, which the builder of the drives writes without any code of src/.
"""

import json
import pathlib

from _harness import DEMO, check, finish, load_lines, run, skip, work_folder

IMAGES = [DEMO / "old-system.img", DEMO / "old-data.img"]


def extract(work, name, *options):
    done = run("extract", "--to", work, "--name", name, "--format", "folder", *options, *IMAGES)
    check(done.returncode in (0, 1), name, done.returncode, done.stderr[-500:])
    return load_lines(work / name / "record.jsonl")[1:]


def expected_rows():
    expected = json.loads((DEMO / "expected.json").read_text(encoding="utf-8"))
    return {(row["volume"].casefold(), row["path"], row["stream"], row["kind"],
             row.get("name_utf16", "")): row for row in expected["streams"]}


def row_of(rows, line):
    return rows.get((line["volume"].casefold(), line["path"], line.get("stream", ""),
                     line["kind"], line.get("name_utf16", "")))


def one_person(work, rows, name, options):
    """Only what is that person's; everything else that would be taken is left as not asked for."""
    taken = 0
    for line in extract(work, name, *options):
        row = row_of(rows, line)
        if row is None or line["kind"] == "folder":
            continue
        wanted = (row["state"], row["reason"])
        if row.get("person") != "Zoë" and row["state"] != "left":
            wanted = ("left", "not-asked")
        check((line["state"], line["reason"]) == wanted, name, line["volume"], line["path"],
              line["state"], line["reason"], "not", *wanted)
        taken += line["state"] == "taken"
    check(taken > 50, name, "took", taken)


def take_and_leave(work, rows):
    changed = {}
    for line in extract(work, "choice", "--person", "Zoë", "--take", r"d:\committee\20*\**",
                        "--take", "Login Data", "--take", r"C:\$Recycle.Bin",
                        "--leave", r"**\Pictures\**", "--leave", r"D:\Committee\2015"):
        row = row_of(rows, line)
        if row is not None and line["kind"] == "file":
            changed[line["volume"] + line["path"]] = (line["state"], line["reason"], line.get("as"))
    zoe = r"D:\Profiles\Zoë"
    for path, wanted in {
            zoe + r"\AppData\Local\Meadow Browser\User Data\Default\Login Data":
                ("taken", "settings", "data/FERNHILL-PC/Zoë/settings/AppData/Local/Meadow Browser/"
                                      "User Data/Default/Login Data"),
            r"C:\Users\mara\AppData\Local\Meadow Browser\User Data\Default\Login Data":
                ("taken", "settings", "data/FERNHILL-PC/mara/settings/AppData/Local/Meadow Browser/"
                                      "User Data/Default/Login Data"),
            zoe + r"\Pictures\Newsletter\photo 01.jpg": ("left", "not-asked", None),
            zoe + r"\Desktop\printers.txt":
                ("taken", "place", "data/FERNHILL-PC/Zoë/Desktop/printers.txt"),
            r"D:\Committee\2016\minutes 2016.txt":
                ("taken", "outside", "data/drives/D/Committee/2016/minutes 2016.txt"),
            r"D:\Committee\2015\minutes 2015.txt": ("left", "not-asked", None),
            r"D:\Committee\letters.txt": ("left", "not-asked", None),
            r"D:\Pictures\cut off.jpg": ("left", "not-asked", None),
            r"C:\pagefile.sys": ("left", "page-file", None)}.items():
        check(changed.get(path) == wanted, path, changed.get(path), "not", wanted)
    check(any(path.startswith("C:\\$Recycle.Bin\\") and state[0] == "taken"
              for path, state in changed.items()), "nothing of the recycle bin was taken")


def nobody(work):
    done = run("extract", "--to", work, "--name", "none", "--person", "zed", *IMAGES)
    check(done.returncode == 2, "unknown person: status", done.returncode)
    text = " ".join(done.stderr.split())
    for name in ("mara (Mara Quill)", "Zoë (Zoë Haddow)", "plots (Rowan Teasel)", "hut"):
        check(name in text, "unknown person:", name, "is not offered in", text)
    check("SeedLedgerSync" not in text, "a service is offered as a person")
    check(not (work / "none").exists(), "unknown person: something was written")


def main():
    if not (DEMO / "expected.json").exists():
        skip("no demo drives: make demo-drives")
    rows = expected_rows()
    with work_folder() as folder:
        work = pathlib.Path(folder)
        # By account in another case, and by full name.
        one_person(work, rows, "by-account", ["--person", "zoË"])
        one_person(work, rows, "by-full-name", ["--person", "Zoë Haddow"])
        take_and_leave(work, rows)
        nobody(work)
    finish()


if __name__ == "__main__":
    main()
