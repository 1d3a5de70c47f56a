#!/usr/bin/python3
"""The survey of the demo drives says what expected.json says, and changes no byte of them.

Source: expected.json, which the builder of the demo drives writes without any code of src/; Python's
own JSON reader; sha256 of the images before and after.
"""

import hashlib
import json
import os
import re
import subprocess
import sys

import _accounts

COLDLIFT = os.environ["COLDLIFT"]
DEMO = os.environ["COLDLIFT_DEMO"]
IMAGES = [os.path.join(DEMO, name) for name in ("old-system.img", "old-data.img")]
problems = []


def check(condition, *words):
    if not condition:
        problems.append(" ".join(str(word) for word in words)[:600])


def digest(path):
    with open(path, "rb") as image:
        return hashlib.file_digest(image, "sha256").hexdigest()


def survey(*arguments):
    done = subprocess.run([COLDLIFT, "survey", *arguments], capture_output=True, check=False)
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def shown(location):
    """Where coldlift found something, as "D:\\Photos"."""
    return location and location["volume"] + location["path"]


def check_places(expected, person):
    key = person["account"] or person["folder"]
    rows = {row["place"]: row for row in expected["places"] if row["person"] == key}
    for place in person["places"]:
        name = place["place"]
        row = rows.pop(name, None)
        if row is None:
            check(place["from"] == "default", key, name, "is not in expected.json", place)
            continue
        check(place["status"] == row["status"], key, name, place["status"], "not", row["status"])
        check(place["path"] == row["location"], key, name, place["path"], "not", row["location"])
        check(place["cloud"] == row.get("cloud", False), key, name, "cloud", place["cloud"])
        if row["status"] in ("here", "redirected", "other-volume"):
            check(shown(place["at"]) == row["lies"], key, name, "at", shown(place["at"]), row["lies"])
        else:
            check(place["at"] is None, key, name, "at", place["at"])
    check(not rows, key, "lacks", list(rows))


def check_persons(expected, system):
    found = {(p["account"] or p["folder"]): p for p in system["persons"] if not p["service"]}
    check(len(found) == len(expected["persons"]), "persons", list(found))
    for row in expected["persons"]:
        person = found.get(row["account"] or row["folder"])
        if person is None:
            check(False, "person missing:", row)
            continue
        for name in ("account", "full_name", "folder", "sid"):
            check(person[name] == (row[name] or ""), row["folder"], name, person[name])
        check(person["path"] == row["profile"], row["folder"], person["path"])
        check(shown(person["profile"]) == row["lies"], row["folder"], shown(person["profile"]))
        check_places(expected, person)
    mara = found["mara"]
    left = {p["place"]: shown(p["leftover"]) for p in mara["places"] if p["leftover"]}
    check(left.get("pictures") == "C:\\Users\\mara\\Pictures", "leftovers of pictures", left)
    videos = next(p for p in mara["places"] if p["place"] == "videos")
    check(videos["offline"], "offline copies of the share", videos)
    services = [p for p in system["persons"] if p["service"]]
    check(len(services) == 4, "service accounts", len(services))


def check_letters(expected, system):
    found = {row["letter"]: row for row in system["letters"]}
    check(sorted(found) == sorted(row["letter"] for row in expected["letters"]), "letters", list(found))
    for row in expected["letters"]:
        letter = found[row["letter"]]
        check(letter["attached"] == (row["status"] == "attached"), letter)
        check(letter["removable"] == (row["how"] == "device-path"), letter)
        if letter["attached"]:
            check(letter["volume"] == row["letter"] and letter["confidence"] == "certain", letter)


def check_programs(expected, system):
    found = {program["key"]: program for program in system["programs"]}
    names = sorted(row["name"] for row in expected["programs"])
    check(sorted(p["name"] for p in found.values()) == names, "programs", sorted(found), names)
    by_name = {program["name"]: program for program in found.values()}
    for row in expected["programs"]:
        program = by_name.get(row["name"], {})
        mine = (program.get("kind"), (program.get("last_seen") or "")[:19] or None,
                program.get("starts"), program.get("origin"), program.get("seen_by"),
                program.get("installer"))
        check(mine == (row["kind"], row["last_seen"], row["starts"], row["origin"], row["seen_by"],
                       row["installer"]),
              "use of", row["name"], mine, row)
        check(program.get("why"), "no reason for", row["name"])
        traces = {trace["source"]: [trace["last"][:19], trace["count"]]
                  for trace in program.get("traces", [])}
        check(traces == row["traces"], "traces of", row["name"], traces, row["traces"])
        check(not row["named"] or row["named"] == [program.get("name_from"), program.get("publisher")],
              "name of", row["name"], program)
        check(program.get("shortcuts") == row["shortcuts"], "shortcuts of", row["name"],
              program.get("shortcuts"), row["shortcuts"])
    licences = [(program["name"], row["person"], row["kind"], row["where"])
                for program in [*system["programs"], {"name": None, "licence": system["other_licences"]}]
                for row in program["licence"]]
    wanted = [(row["program"], row["person"], row["kind"], row["where"]) for row in expected["licences"]]
    check(sorted(map(str, licences)) == sorted(map(str, wanted)), "licences", licences, wanted)
    offers = [{"program": program["name"], **program["offer"]} for program in system["programs"]
              if program["offer"]]
    offers += [{"program": None, **library["offer"]} for library in system["game_libraries"]]
    check(offers == expected["bulk"], "bulk data", offers, expected["bulk"])
    check(by_name["Snail Rally"]["bytes_on_drive"] == offers[0]["bytes"], "size", by_name["Snail Rally"])
    check([row["games"] for row in system["game_libraries"]] == [1], system["game_libraries"])
    check(system["driver_packages"] == expected["drivers"], "drivers", system["driver_packages"])
    part = next(p for p in found.values() if p["name"] == "Plot Planner Runtime Parts")
    check(part["component"] and not part["update"], part)
    update = next(p for p in found.values() if p["name"] == "Update 7 for Seed Ledger")
    check(update["update"] and update["is_32_bit"], update)
    rain = next(p for p in found.values() if p["name"] == "Rain Notes")
    check(rain["person"] == "mara" and rain["installed"] == "2022-01-18", rain)
    check(rain["size"] == 420 * 1024, rain)


def check_devices(expected, system):
    found = {(row["kind"], row["person"], row["name"]): row for row in system["devices"]}
    check(len(found) == len(system["devices"]), "a device is told twice")
    wanted = {(row["kind"], row["person"], row["name"]): row for row in expected["devices"]}
    check(set(found) == set(wanted), "devices:", sorted(map(str, set(found) ^ set(wanted))))
    for key in set(found) & set(wanted):
        row, mine = wanted[key], found[key]
        check(mine["comes_with_windows"] == row["comes_with_windows"], key, mine)
        check(row["details"].items() <= mine["details"].items(), key, mine["details"], "not", row["details"])
        check(mine["advice"].endswith("."), key, "advice:", mine["advice"])
    check("5eed-5eed" not in json.dumps(system), "the value of a secret variable is shown")


def check_findings(document):
    codes = {(row["code"], row["weight"]) for row in document["findings"]}
    for wanted in (("place-drive-missing", "caution"), ("place-share", "caution"),
                   ("profile-unlisted", "caution"), ("profile-backup-twin", "note"),
                   ("hive-log-applied", "note"), ("letter-missing", "note"),
                   ("used-on-missing-drive", "caution"), ("used-on-share", "caution"),
                   ("cloud-drive-cache", "caution"), ("cloud-folder-away", "caution"),
                   ("cloud-files", "caution"), ("printer-address", "note"),
                   ("wireless-keys", "caution"), ("mapped-drive-own-user", "caution")):
        check(wanted in codes, "finding", wanted, "not in", sorted(codes))
    for code, words in (("used-on-missing-drive", "3 things of mara .* lie on E:, which is not attached; "
                         r"the last, used on 2023-11-04: E:\\Seeds\\Lists"),
                        ("used-on-share", r"2 things of mara .* \\\\HUT-SERVER\\papers, a network share; the last, used on "
                         r"2023-10-31: \\\\HUT-SERVER\\papers\\vote.odt")):
        row = next((row for row in document["findings"] if row["code"] == code), {"sentence": ""})
        check(re.search(words, row["sentence"]), code, row["sentence"])
    for row in document["findings"]:
        check(row["sentence"].endswith("."), "finding without a full stop:", row)


def check_text():
    status, text, trouble = survey(*IMAGES)
    check(status == 0 and trouble == "", "exit status", status, trouble)
    wide = [line for line in text.splitlines() if len(line) > 80 and " " in line.strip()]
    check(not wide, "lines wider than 80 columns:", wide)
    flat = re.sub(r"\s+", " ", text)
    check(re.search(r"C:\\Users\\Zoë, which lies on D:\\[^:]*, \d+ files", flat), "Zoë's junction is not shown")
    check("which lies on C:" not in flat, "a folder that is no junction")
    check(re.search(r"empty: +[A-Z]", text) and " 0 files" not in text, "empty places")
    for words in ("Zoë Haddow", "Old system FERNHILL-PC", "E:\\Music", "Plot Planner 3.2.1, Fernhill"):
        check(words in text, repr(words), "is not in the text")
    for words in ("used, last seen 2023-10-28, 41 starts counted", "no trace of recent use",
                  "never installed, in D:\\Tools\\Bee Calendar", "opens 4 recent documents",
                  "with a shortcut on a desktop"):
        check(words in flat, repr(words), "is not in the text")
    check("unused" not in text, "the text calls something unused")
    check(not re.search(r"[\x00-\x09\x0b-\x1f\x7f]", text), "control characters in the text")
    # What cannot be written is no success.
    with open("/dev/full", "wb") as full:
        done = subprocess.run([COLDLIFT, "survey", *IMAGES], stdout=full, stderr=subprocess.PIPE,
                              check=False)
    check(done.returncode == 5 and b"cannot be written" in done.stderr, "full:", done)
    # In JSON mode the text goes to standard error, and not even there when it is unwanted.
    status, _, trouble = survey("--json", *IMAGES)
    check(status == 0 and trouble == text, "text beside JSON differs")


def check_drives(expected):
    """The list of drives shows the letters, once the drive with the old system is named too."""
    attached = {row["letter"] for row in expected["letters"] if row["status"] == "attached"}
    for images, wanted in ((IMAGES, attached), (IMAGES[::-1], attached), (IMAGES[1:], set())):
        done = subprocess.run([COLDLIFT, "drives", "--json", *images], capture_output=True,
                              text=True, check=False)
        drives = json.loads(done.stdout)["drives"]
        check([drive["path"] for drive in drives] == images, "drives:", done.stdout)
        found = {volume["label"]: volume["letter"] for drive in drives
                 for volume in drive["volumes"] if volume["letter"]}
        check(set(found.values()) == wanted, "letters of the list of drives:", found)
        check(not wanted or found.get("Fernhill data") == "D:", "letter of the data drive:", found)
        check((" D:  " in done.stderr) == bool(wanted), "letters in the text:", done.stderr)


def main():
    if not os.path.exists(os.path.join(DEMO, "expected.json")):
        print("the demo drives are not there")
        sys.exit(77)
    before = [digest(image) for image in IMAGES]
    with open(os.path.join(DEMO, "expected.json"), encoding="utf-8") as file:
        expected = json.load(file)
    status, text, trouble = survey("--json", "--quiet", *IMAGES)
    check(status == 0 and trouble == "", "exit status", status, trouble)
    document = json.loads(text)
    check(len(document["systems"]) == 1, "old systems:", len(document["systems"]))
    system = document["systems"][0]
    check(system["computer"] == expected["pc"] == system["key"], system["computer"])
    check(system["product"] == "Windows 10 Pro" and system["build"] == "19045.3570", system["build"])
    check(system["posix_zone"] == "<+00>0<+01>-1,M3.5.0/1,M10.5.0/2", system["posix_zone"])
    check(system["last_shutdown"] == "2023-11-04T18:22:09.0000000Z", system["last_shutdown"])
    check_persons(expected, system)
    check_letters(expected, system)
    check(not [row for row in expected["licences"] if row["text"] and row["text"] in text],
          "the survey tells a serial number")
    check_programs(expected, system)
    _accounts.check_survey(expected, system, check)
    check_devices(expected, system)
    check_findings(document)
    check_text()
    check_drives(expected)
    check([digest(image) for image in IMAGES] == before, "an image was changed")
    for problem in problems:
        print(problem)
    sys.exit(1 if problems else 0)


main()
