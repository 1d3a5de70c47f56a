"""What the tests of surveys of small drives share: making the drives and their hives, and looking at them.

The volumes come from mkntfs and the builder of the demo drives, the hives from hivex; both are
independent of src/.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
sys.path.insert(0, os.path.join(ROOT, "fixtures"))

try:
    from maker import drives, hives, listing, run
    from maker.tree import Volume
except ImportError as missing:
    print(f"skipped: {missing}")
    sys.exit(77)

COLDLIFT = os.environ["COLDLIFT"]
FIRST = 2048        # sector of the first partition
MACHINE = "S-1-5-21-11-22-33"
SHELL = "Software\\Microsoft\\Windows\\CurrentVersion\\Explorer\\User Shell Folders"
NT = "Microsoft\\Windows NT\\CurrentVersion"
problems = []


def check(condition, *words):
    if not condition:
        problems.append(" ".join(str(word) for word in words)[:600])


# --- making drives ------------------------------------------------------------------------------


class Bench:
    def __init__(self, folder):
        self.folder = folder
        self.tools = run.Tools(os.path.join(ROOT, "fixtures", "fill"), folder)
        self.maker = hives.HiveMaker(folder, folder, {})

    def hive(self, text):
        with open(os.path.join(self.folder, "text"), "w", encoding="utf-8") as out:
            out.write(text)
        return self.maker.make(["text"], "hive")

    def volume(self, name, volume, mib, first=0):
        image = os.path.join(self.folder, name)
        drives.make_ntfs(self.tools, image, mib << 20, volume.label, 4096, first)
        lines, contents = listing.Listing(volume, 4096).make()
        paths = os.path.join(self.folder, "list"), os.path.join(self.folder, "contents")
        with open(paths[0], "w", encoding="ascii") as out:
            out.write(lines)
        with open(paths[1], "wb") as out:
            out.write(contents)
        self.tools.fill(image, *paths)
        return image

    def drive(self, name, signature, volumes, mib=12):
        """A drive with an MBR and these volumes side by side."""
        image = os.path.join(self.folder, name)
        drives.new_image(image, (mib * len(volumes) + 2) << 20)
        script = f"label: dos\nlabel-id: {signature:#x}\n"
        for i in range(len(volumes)):
            script += f"start={FIRST + i * (mib << 11)}, size={mib << 11}, type=7\n"
        drives.partition(self.tools, image, script)
        for i, volume in enumerate(volumes):
            first = FIRST + i * (mib << 11)
            part = self.volume("part", volume, mib, first)
            drives.copy_into(image, part, first * 512)
        return image


def survey(*images):
    done = subprocess.run([COLDLIFT, "survey", "--json", *images], capture_output=True, check=False)
    text = done.stderr.decode("utf-8")
    check(all(c == "\n" or c.isprintable() for c in text), "text that harms a terminal:", repr(text))
    if done.returncode:
        return done.returncode, text
    return json.loads(done.stdout), text


def finding(document, code):
    return [row for row in document["findings"] if row["code"] == code]


def person(system, key):
    for row in system["persons"]:
        if row["key"] == key:
            return row
    check(False, "no person", key, "in", [row["key"] for row in system["persons"]])
    sys.exit("\n".join(problems))


def place(row, name):
    return next(place for place in row["places"] if place["place"] == name)


# --- hives of a plain old PC ----------------------------------------------------------------------


def system_hive(computer="HUT-PC", mounted="", more=""):
    return f"""
[Select]
Current = number 2
Default = number 1
LastKnownGood = number 1
[ControlSet001\\Control\\ComputerName\\ComputerName]
ComputerName = text NOT-THIS
[ControlSet002\\Control\\ComputerName\\ComputerName]
ComputerName = text {computer}
[ControlSet002\\Control\\Windows]
ShutdownTime = time 2012-03-04T05:06:07
[MountedDevices]
{mounted}
{more}
"""


def software_hive(profiles, version="6.1", more=""):
    text = f"""
[{NT}]
ProductName = text Old Windows
CurrentVersion = text {version}
CurrentBuildNumber = text 7601
SystemRoot = text C:\\Windows
[{NT}\\ProfileList]
ProfilesDirectory = expand %SystemDrive%\\Users
{more}
"""
    for sid, path in profiles.items():
        text += f"[{NT}\\ProfileList\\{sid}]\nProfileImagePath = expand {path}\nState = number 0\n"
    return text


def accounts_hive(names):
    text = f"[SAM\\Domains\\Account]\nV = sid-tail {MACHINE}\n"
    for rid, (name, full) in names.items():
        text += f"[SAM\\Domains\\Account\\Users\\{rid:08X}]\nV = account {name} | {full} | x\n"
    return text


def put_windows(bench, volume, system, software, accounts, folder="Windows"):
    config = f"{folder}/System32/config/"
    for name, text in (("SYSTEM", system), ("SOFTWARE", software), ("SAM", accounts)):
        if text is not None:
            volume.file(config + name, text if isinstance(text, bytes) else bench.hive(text))
    volume.file(f"{folder}/System32/ntoskrnl.exe", b"MZ")


# --- running -------------------------------------------------------------------------------------


def run_cases(cases):
    """Calls every function of a module's globals() that is called case_..., and ends the program."""
    if shutil.which("mkntfs") is None or shutil.which("sfdisk", path="/usr/sbin:/sbin") is None:
        print("skipped: mkntfs or sfdisk is missing")
        sys.exit(77)
    with tempfile.TemporaryDirectory(prefix="coldlift-variants-") as folder:
        bench = Bench(folder)
        for name, case in sorted(cases.items()):
            if name.startswith("case_"):
                before = len(problems)
                case(bench)
                problems[before:] = [f"{name}: {problem}" for problem in problems[before:]]
    for problem in problems:
        print(problem)
    sys.exit(1 if problems else 0)
