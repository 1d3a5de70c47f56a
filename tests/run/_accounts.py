"""Accounts, the list for before the old PC is wiped, and what is likely forgotten, checked on the demo drives.

References: expected.json, which the builder of the drives writes without any code of src/; for what is likely
forgotten a computation of its own over record.jsonl.
"""

import datetime
import json

from _harness import check

# What people make or collect, as far as the demo drives have it: common practice, no source.
DOCUMENTS = {"doc", "docx", "xls", "xlsx", "ppt", "pptx", "odt", "ods", "pdf", "csv", "zip", "mbox", "eml"}
MEDIA = {"png", "jpg", "gif", "bmp", "tif", "mp3", "mp4"}
DECIDED = {"offered", "passwords", "recycle-bin", "not-asked"}


def check_survey(expected, system, check=check):
    """The survey's accounts are those of the story."""
    wanted, found = expected["accounts"], system["accounts"]
    check(found["managed"] is False and found["managed_by"] == [], "managed", found["managed_by"])
    rows = sorted([row["person"], row["address"], row["to"]] for row in found["sign_ins"])
    check(rows == sorted(wanted["sign_ins"]), "sign-ins", rows)
    rows = [[row["person"], row["address"], row["path"], row["attached"]]
            for row in found["cloud_folders"]]
    check(rows == wanted["cloud_folders"], "folders in the cloud", rows)
    rows = [[row["person"], row["path"], row["files"]] for row in found["cloud_drive_caches"]]
    check(rows == wanted["cloud_drive_caches"], "caches of drives in the cloud", rows)
    rows = sorted(([row["person"], row["kind"], row["path"]] for row in found["bound_to_pc"]), key=str)
    check(rows == sorted(wanted["bound_to_pc"], key=str), "bound to the PC", rows)
    _check_cloud(expected, found["cloud_folders"][0], check)


def _check_cloud(expected, row, check):
    """Files and bytes of the folder in the cloud by what expected.json says of each."""
    sums = {"taken": [0, 0], "cloud-part": [0, 0], "cloud-only": [0, 0]}
    for stream in expected["streams"]:
        if (stream["volume"] + stream["path"]).startswith(row["path"] + "\\") and stream["kind"] == "file":
            key = stream["reason"] if stream["reason"] in sums else "taken"
            sums[key][0] += not stream["stream"]
            sums[key][1] += stream["size"]
    found = {"taken": [row["here_files"], row["here_bytes"]],
             "cloud-part": [row["partly_files"], row["partly_bytes"]],
             "cloud-only": [row["cloud_only_files"], row["cloud_only_bytes"]]}
    check(found == sums and sums["cloud-only"][0] > 0, "folder in the cloud", found, sums)


# --- what is likely forgotten ---


def _moment(text):
    return datetime.datetime.fromisoformat(text[:19])


def _is_worth_a_thought(line):
    name = line["path"].rpartition("\\")[2]
    kind = name.rpartition(".")[2].lower()
    if line["kind"] != "file" or line["state"] != "left" or name.startswith("~$"):
        return False
    if line["reason"] == "program":
        later = _moment(line["modified"]) - _moment(line["created"]) > datetime.timedelta(days=1)
        return kind in DOCUMENTS | MEDIA and later
    if line["reason"] in ("temporary", "cache"):
        return kind in DOCUMENTS
    if line["reason"] == "installer-leftover":
        return kind in ("exe", "msi", "iso") and line["size"] >= 1 << 20
    return line["reason"] in DECIDED


def _folders_above(line):
    """Of a file: its folder, and those above, with the volume; the root is not among them."""
    names = line["path"].split("\\")[1:-1]
    return ["\\".join([line["volume"], *names[:count]]) for count in range(len(names), 0, -1)]


def forgotten(record):
    """[folder, reason, files, bytes, newest], largest first."""
    touched = {folder for line in record if line["kind"] == "file" and line["state"] != "left"
               for folder in _folders_above(line)}
    rows = {}
    for line in filter(_is_worth_a_thought, record):
        above = _folders_above(line)
        folder = above[0] if above else line["volume"] + "\\"
        if folder not in touched:
            # The uppermost of which nothing is taken, but none directly below the root.
            for other in above:
                if other in touched or other.count("\\") < 2:
                    break
                folder = other
        row = rows.setdefault((folder, line["reason"]), [0, 0, ""])
        row[0] += 1
        row[1] += line["size"]
        row[2] = max(row[2], line["modified"])
    listed = [[*key, *row] for key, row in rows.items()]
    listed.sort(key=lambda row: (len(str(row[3])), row[4], row[3]), reverse=True)
    return listed


# --- the papers ---


def check_papers(folder, expected, record, said):
    """`said`: what the commands printed."""
    accounts = json.loads((folder / "accounts.json").read_text(encoding="utf-8"))
    check([row["pc"] for row in accounts] == [expected["pc"]], "accounts.json", accounts)
    check_survey(expected, {"accounts": accounts[0]})
    wipe = json.loads((folder / "before-you-wipe.json").read_text(encoding="utf-8"))
    wanted = forgotten(record)
    found = [[row["folder"], row["reason"], row["files"], row["bytes"], row["newest"]]
             for row in wipe["forgotten"]]
    check(found == wanted, "likely forgotten", [row for row in found if row not in wanted], "not",
          [row for row in wanted if row not in found], "order", found[:3])
    reasons = {row[1] for row in wanted}
    check({"offered", "recycle-bin", "passwords", "program", "temporary"} <= reasons, reasons)
    text = (folder / "before-you-wipe.txt").read_bytes().decode("utf-8")
    _check_items(wipe, text)
    flat = "".join(text.split())
    for row in wanted[:25]:
        # What lies in the recycle bin is shown by the path that it had.
        check(row[1] == "recycle-bin" or "".join(row[0].split()) in flat, row[0],
              "is not in the text")
    _check_secrets(folder, expected, said)


def _check_items(wipe, text):
    codes = [item["code"] for item in wipe["items"]]
    check(codes == ["second-copy", "losses", "cloud-only", "not-uploaded", "sign-ins",
                    "one-time-codes", "bound-to-the-pc", "certificates-and-keys", "saved-passwords",
                    "conversations", "licences", "encrypted-files", "phone-backups", "mail",
                    "elsewhere", "wipe"], "items", codes)
    facts = {item["code"]: " | ".join(item["facts"]) for item in wipe["items"]}
    for code, words in (("cloud-only", "mara@fernhill.example: 11 files"),
                        ("not-uploaded", "the last of 2023-11-04"),
                        ("sign-ins", "treasurer@fernhill.example: a mail program"),
                        ("one-time-codes", "Code Authenticator"), ("bound-to-the-pc", "Ngc"),
                        ("certificates-and-keys", "SystemCertificates"), ("saved-passwords", "Login Data"),
                        ("conversations", "Chatter"), ("licences", "activation.dat"),
                        ("encrypted-files", "Rowan Teasel"), ("phone-backups", "MobileSync"),
                        ("mail", "Mail"), ("elsewhere", "E:\\Music")):
        check(words in facts.get(code, ""), code, "does not say", words, facts.get(code))
    lines = text.splitlines()
    boxes = [line for line in lines if line.startswith("[ ]   ")]
    check(len(boxes) == len(codes) + min(25, len(wipe["forgotten"])), "boxes", len(boxes))
    wide = [line for line in lines if len(line) > 80 and " " in line.strip(" -")]
    check(not wide, "too wide:", wide)
    check(all(char == "\n" or char.isprintable() for char in text), "control characters")


def _check_secrets(folder, expected, said):
    """In no paper; what was taken holds them, of course: archives, or the folder with the plain files."""
    papers = {path.name: path.read_bytes() for path in folder.rglob("*")
              if path.is_file() and path.suffix not in (".zip", ".tar") and
              not path.relative_to(folder).parts[0].endswith("-files")}
    check("before-you-wipe.txt" in papers, "papers", list(papers))
    papers["what was printed"] = said.encode("utf-8")
    for name, data in papers.items():
        for secret in expected["accounts"]["secrets"]:
            for form in (secret.encode("ascii"), secret.encode("utf-16le")):
                check(form not in data, name, "tells a secret")
