#!/usr/bin/python3
"""What drives say of their own health, from the question to the job.

Loop devices stand for drives, and a script called smartctl, first in PATH, for the program that asks
them. Its documents are our own, with the keys that smartctl 7 writes (its manual page, --json); what
they mean is in src/disk/faults.h. Needs root and loop devices. No limit of time is measured: a program
that hangs would hang for hours.
"""

import json
import os
import pathlib
import stat
import subprocess
import sys

sys.dont_write_bytecode = True
import _harness as h  # noqa: E402

os.environ["PATH"] += ":/usr/sbin:/sbin"
# Notes what it is asked, then says what lies ready for the drive: a document, or a script.
FAKE = """#!/bin/sh
for last; do :; done
echo "$*" >>"$FAKE/asked"
answer=$FAKE/${last##*/}
[ ! -e "$answer.sh" ] || . "$answer.sh"
cat "$answer.json"
"""
HEAD = {"json_format_version": [1, 0], "smartctl": {"version": [7, 3], "exit_status": 0}}
HEALTHY = HEAD | {"smart_status": {"passed": True}, "power_on_time": {"hours": 4210},
                  "temperature": {"current": 33}}
attached = []


def row(number, name, count, failed="", prefailure=True):
    return {"id": number, "name": name, "value": 90, "worst": 90, "thresh": 10, "when_failed": failed,
            "flags": {"prefailure": prefailure}, "raw": {"value": count, "string": str(count)}}


def table(*rows):
    return {"ata_smart_attributes": {"revision": 10, "table": list(rows)}}


WEARING = HEALTHY | table(row(5, "Reallocated_Sector_Ct", 12),
                          row(197, "Current_Pending_Sector", 2, prefailure=False),
                          row(199, "UDMA_CRC_Error_Count", 44, prefailure=False))
FAILING = HEALTHY | {"smart_status": {"passed": False}}
LOCKED = HEALTHY | {"ata_security": {"state": 7, "string": "locked", "enabled": True}}


def attach(image, *options):
    attached.append(h.attach_loop(image, *options))
    return attached[-1]


def answer(loop, document=None, script=None):
    base = folder / "fake" / pathlib.Path(loop).name
    base.with_suffix(".json").write_text(
        document if isinstance(document, str) else json.dumps(document or {}))
    base.with_suffix(".sh").write_text(script or "")


def asked():
    path = folder / "fake/asked"
    lines = path.read_text().splitlines() if path.exists() else []
    path.unlink(missing_ok=True)
    return lines


def drives(*paths, status=0):
    done = h.run("drives", "--json", *paths)
    h.check(done.returncode == status, paths, "status", done.returncode, done.stderr)
    for line in done.stderr.splitlines():
        h.check(len(line) < 80, "too wide:", line)
    text = " ".join(done.stderr.split())
    return {drive["path"]: drive for drive in json.loads(done.stdout)["drives"]}, text


def codes(findings):
    return [finding["code"] for finding in findings]


def check_verdicts(sound, wearing, failing):
    answer(sound, HEALTHY)
    answer(wearing, WEARING)
    answer(failing, FAILING)
    asked()
    seen, text = drives(sound, wearing, failing)
    lines = asked()
    h.check(len(lines) == 3 and all("--json=c" in line.split() for line in lines), lines)
    for path, verdict in ((sound, "none-reported"), (wearing, "wearing"), (failing, "failing")):
        h.check(seen[path]["faults"]["verdict"] == verdict, path, seen[path]["faults"])
        h.check(seen[path]["readable"] and seen[path]["link"] is None, path, seen[path])
    h.check(seen[sound]["faults"] == {
        "verdict": "none-reported", "sentence": "No fault reported.",
        "figures": [{"name": "says-healthy", "value": 1}, {"name": "power-on-hours", "value": 4210},
                    {"name": "temperature-celsius", "value": 33}]}, seen[sound]["faults"])
    h.check("No fault reported." in text, text)
    h.check("drive-wearing" in codes(seen[wearing]["findings"]), seen[wearing]["findings"])
    h.check("transfer-errors" in codes(seen[wearing]["findings"]), seen[wearing]["findings"])
    h.check("Wearing: 2 sectors that cannot be read, 12 sectors replaced (after 4,210 hours of use)."
            in text, text)
    h.check("drive-failing" in codes(seen[failing]["findings"]), seen[failing]["findings"])
    h.check("most precious files first" in text and "recovery laboratory" in text, text)


def check_no_answer(loop):
    """Programs that hang, flood, lie or are not there: unknown, with the reason."""
    cases = [(None, "exec sleep 100000", "in time"),
             (None, "exec cat /dev/zero", "cannot be read"),
             (None, "kill -9 $$", "cannot be read"),
             ("[" * 100000, None, "cannot be read"),
             ('{"smart_status":{"passed":"\\ud800"}}', None, "cannot be read"),
             ({"smart_status": "passed", "temperature": []}, None, "said nothing"),
             # What it started goes on without it.
             (None, "sleep 100000 & exit 0", "cannot be read")]
    for document, script, words in cases:
        answer(loop, document, script)
        seen, text = drives(loop)
        faults = seen[loop]["faults"]
        h.check(faults["verdict"] == "unknown" and words in faults["why_unknown"], script, faults)
        h.check(faults["why_unknown"] in text, text)
        h.check(seen[loop]["readable"], "the drive itself is read all the same")


def check_missing(loop):
    path = os.environ["PATH"]
    os.environ["PATH"] = str(folder / "empty")
    seen, _ = drives(loop)
    h.check(seen[loop]["faults"]["verdict"] == "unknown", seen[loop])
    h.check("smartmontools" in seen[loop]["faults"]["why_unknown"], seen[loop]["faults"])
    os.environ["PATH"] = path


def check_locked(locked, sound):
    """A locked drive is not even read."""
    answer(locked, LOCKED)
    answer(sound, HEALTHY)
    trace = folder / "trace"
    h.tool("sh", "-c", 'strace -f -o "$0" -e trace=openat "$@" || [ $? = 3 ]', trace, h.COLDLIFT,
           "drives", locked)
    h.check(not any(f'"{locked}"' in line for line in trace.read_text().splitlines()),
            "a locked drive was opened")
    seen, text = drives(locked, sound, status=3)
    h.check(seen[locked]["faults"]["verdict"] == "locked" and not seen[locked]["readable"],
            seen[locked])
    h.check(codes(seen[locked]["findings"]) == ["drive-locked"], seen[locked]["findings"])
    h.check("locked by a password" in seen[locked]["problem"], seen[locked])
    h.check("Locked by a password" in text, text)
    done = h.run("survey", locked)
    h.check(done.returncode == 3 and "locked by a password" in done.stderr, done)
    h.check("drive-locked" not in done.stdout and "This is no fault." in
            " ".join(done.stdout.split()), done.stdout)


def check_encrypted(loop):
    """Nothing but chance on a drive that says it is healthy: encrypted as a whole, not failing."""
    answer(loop, HEALTHY)
    seen, text = drives(loop, status=3)
    h.check(seen[loop]["faults"]["verdict"] == "locked", seen[loop])
    h.check(codes(seen[loop]["findings"]) == ["drive-sealed"], seen[loop]["findings"])
    h.check("looks encrypted as a whole" in text, text)


def check_image(image):
    asked()
    seen, _ = drives(image)
    h.check(seen[str(image)]["faults"] is None and asked() == [], "an image was asked")


def check_partition():
    """A partition is asked about its whole drive."""
    image = folder / "parts.img"
    with open(image, "wb") as file:
        file.truncate(8 << 20)
    h.tool("sfdisk", "--quiet", "--no-reread", image, input="label: dos\nsize=8192,type=7\n")
    loop = attach(image, "--partscan")
    part = h.first_partition(loop)
    if part is None:
        return
    answer(loop, WEARING)
    asked()
    seen, _ = drives(part, status=3)
    h.check(seen[str(part)]["faults"]["verdict"] == "wearing", seen)
    h.check([line.split()[-1] for line in asked()] == [loop], "the partition was asked")


def check_job(loop):
    """What was known of the drive stays with what came from it."""
    answer(loop, FAILING)
    done = h.run("survey", "--json", loop)
    seen = json.loads(done.stdout)
    h.check(done.returncode == 0, done.stderr)
    h.check(seen["drives"][0]["faults"]["verdict"] == "failing", seen["drives"])
    h.check("drive-failing" in codes(seen["findings"]), seen["findings"])
    h.check("Failing: its own check says" in " ".join(done.stderr.split()), done.stderr)
    done = h.run("extract", "--to", folder, "--name", "job", "--leave", "\\Survey\\**", loop)
    # One file of the demo drives cannot be decoded.
    h.check(done.returncode == 1, done.returncode, done.stderr)
    h.check("Failing: its own check says" in " ".join(done.stdout.split()), done.stdout)
    job = folder / "job"
    kept = json.loads((job / "account.json").read_text())["drives"]
    h.check(len(kept) == 1 and kept[0]["path"] == loop and kept[0]["bus"] == "loop device", kept)
    h.check(kept[0]["faults"] == seen["drives"][0]["faults"], kept)
    h.check(set(kept[0]) >= {"model", "serial", "size"} and kept[0]["size"] > 0, kept)
    h.check("drive-failing" in codes(json.loads((job / "findings.json").read_text())), "the job")
    done = h.run("verify", job)
    h.check(done.returncode == 1 and "Proven: every byte" in done.stdout, done.stdout, done.stderr)


if os.geteuid() != 0:
    h.skip("needs root")
data = h.DEMO / "old-data.img"
if not data.exists():
    h.skip("needs the demo drives")
with h.work_folder() as name:
    folder = pathlib.Path(name)
    (folder / "fake").mkdir()
    (folder / "empty").mkdir()
    (folder / "bin").mkdir()
    fake = folder / "bin/smartctl"
    fake.write_text(FAKE)
    fake.chmod(fake.stat().st_mode | stat.S_IXUSR)
    os.environ["FAKE"] = str(folder / "fake")
    os.environ["PATH"] = f"{folder / 'bin'}:{os.environ['PATH']}"
    chance = folder / "chance.img"
    chance.write_bytes(os.urandom(2 << 20))
    try:
        loops = [attach(data, "--read-only") for _ in range(3)]
        check_verdicts(*loops)
        check_no_answer(loops[0])
        check_missing(loops[0])
        check_locked(loops[1], loops[0])
        check_encrypted(attach(chance))
        check_image(data)
        check_partition()
        check_job(loops[2])
    finally:
        for device in reversed(attached):
            subprocess.run(["losetup", "--detach", device], check=False)
h.finish()
