#!/usr/bin/python3
"""The start screen's dialogue on a terminal of 80 x 25, as a person has it before them.

The commands behind it are the real ones on the demo drives, beside which a forged USB drive is listed; or stand-ins
that hang, die, or tell nonsense. Sources: expected.json, which the builder of the demo drives writes without any code
of src/; POSIX, general terminal interface (11.1.9: Ctrl-C, Ctrl-D; controlling terminal); ECMA-48, 5.3 and 5.4 (escape
sequences begin with C0 or C1 bytes)."""

import fcntl
import json
import os
import pty
import re
import select
import signal
import struct
import termios
import time

from _harness import BUILD, COLDLIFT, DEMO, check, finish, skip, work_folder
import pathlib

PROGRAM = BUILD / "tests/run/console_dialogue"
MORE, MENU = "-- Enter for more -- ", "coldlift> "
IMAGES = [DEMO / "old-system.img", DEMO / "old-data.img"]

if not PROGRAM.exists():
    skip("tests/run/console_dialogue is not built (make units)")
if not (DEMO / "expected.json").exists():
    skip("there are no demo drives (make demo-drives)")

USB = {"path": "/dev/sdy", "model": "Portable", "serial": "", "bus": "USB", "size": 64 * 10**9, "removable": True,
       "readable": True, "problem": None, "findings": [],
       "volumes": [{"number": 1, "filesystem": "exFAT", "label": "NEWHOME", "size": 63 * 10**9, "free": 62 * 10**9,
                    "device": "/dev/sdy1", "system": False}]}
REAL = f"""#!/usr/bin/python3
import json, os, subprocess, sys
wanted = [word for word in sys.argv[1:] if word not in ("--not", "/dev/sdy")]
if wanted[0] == "extract":
    print(*sys.argv[1:], file=open(os.environ["LOG"], "a"))
command = [{COLDLIFT!r}, *wanted, {str(IMAGES[0])!r}, {str(IMAGES[1])!r}]
if wanted[0] != "drives":
    os.execv(command[0], command)
seen = json.loads(subprocess.run(command, stdout=subprocess.PIPE).stdout)
seen["drives"].append({USB!r})
print(json.dumps(seen))
"""


# With one more new drive.
USB_TOO = {**USB, "path": "/dev/sdx", "volumes": [{**USB["volumes"][0], "label": "SECOND", "device": "/dev/sdx1"}]}
REAL_TOO = REAL.replace('"/dev/sdy")', '"/dev/sdy", "/dev/sdx")').replace(f"append({USB!r})", f"extend({[USB, USB_TOO]!r})")


class Screen:
    def __init__(self, folder, stand_in, rows=25, begun=""):
        self.folder = folder
        (folder / "root/run/coldlift").mkdir(parents=True, exist_ok=True)
        (folder / "root/run/coldlift/stick").write_text("sdz\n")
        (folder / "root/usr/share/keymaps").mkdir(parents=True, exist_ok=True)
        (folder / "root/usr/share/keymaps/list").write_text("us English\nde German\n")
        (folder / "bin").mkdir(exist_ok=True)
        for name in ("keyboard", "font", "poweroff", "reboot"):
            self.program(folder / "bin" / name, f'#!/bin/sh\necho "{name} $*" >>"$LOG"\n')
        self.program(folder / "stand-in", stand_in)
        self.log = folder / "log"
        self.log.write_text("")
        self.text, self.all = "", ""
        environment = {"STAND_IN": str(folder / "stand-in"), "LOG": str(self.log), "TERM": "linux",
                       "PATH": f"{folder}/bin:/usr/bin:/bin", "PS1": "shell$ ", "ENV": "", "BEGUN": begun}
        self.child, self.terminal = pty.fork()
        if self.child == 0:
            os.execve(PROGRAM, [str(PROGRAM), str(folder / "root")], environment)
        fcntl.ioctl(self.terminal, termios.TIOCSWINSZ, struct.pack("HHHH", rows, 80, 0, 0))

    @staticmethod
    def program(path, text):
        path.write_text(text)
        path.chmod(0o755)

    def wait(self, *patterns, seconds=60):
        """Waits for one of the texts at the end of what was said; says which, and keeps what came before it."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            for pattern in patterns:
                if self.text.endswith(pattern):
                    self.page, self.text = self.text, ""
                    return pattern
            if select.select([self.terminal], [], [], 0.2)[0]:
                try:
                    data = os.read(self.terminal, 65536)
                except OSError:
                    break
                said = data.decode("utf-8", "replace").replace("\r\n", "\n")
                self.text += said
                self.all += said
        check(False, f"waited for {patterns}, last seen: {self.text[-600:]!r}")
        self.page = self.text
        return None

    def type(self, text):
        os.write(self.terminal, text.encode())

    def menu(self, seconds=60, end=MENU):
        """Turns the pages up to the menu; no page is higher than the terminal."""
        said = ""
        while True:
            got = self.wait(MORE, end, seconds=seconds)
            # What the stand-in for the job says is no page.
            check(re.sub("JOB.*\n", "", self.page).count("\n") <= 25, "a page is higher than the terminal:", self.page)
            said += self.page.removesuffix(MORE)
            if got != MORE:
                return said
            self.type("\n")

    def alive(self):
        return os.waitpid(self.child, os.WNOHANG) == (0, 0)

    def close(self):
        check(self.alive(), "the start screen has ended:", self.all[-500:])
        os.kill(self.child, signal.SIGKILL)
        os.waitpid(self.child, 0)
        os.close(self.terminal)


def check_lines(text):
    """Nothing that a terminal obeys, but the progress line; no line wider than the terminal."""
    text = re.sub(r"\r\x1b\[K[^\n\r]*", "", text).replace("\r", "")
    check(not re.search(r"[\x00-\x08\x0b-\x1f\x7f\x80-\x9f\u202a-\u202e]", text), "control characters:", ascii(text))
    for line in text.split("\n"):
        check(len(line) <= 80, "a line is too wide:", line)


def whole_way(folder):
    expected = json.loads((DEMO / "expected.json").read_text())
    screen = Screen(folder, REAL)
    said = screen.menu(120)
    check(said.index("nothing will be") < said.index("Reading the drives"), "the promise comes late:", said)
    check("This stick is sdz; it can be pulled out now." in said, "no word of the stick:", said)
    check(f"{expected['pc']}, Windows 10 Pro, on C:" in said, "the old system is missing:", said)
    flat = re.sub(r"\s+", " ", said)
    for person in expected["persons"]:
        name = person["full_name"] or person["folder"]
        check(name in flat, f"{name} is missing:", said)
    check("only in the cloud" in flat, "what is wrong is missing:", said)
    check("All is ready. Press j" in flat, "another next step:", said)
    check("not read yet" not in flat, "the new drive counts as an old one:", said)
    check_lines(screen.all)

    screen.type("f\n")
    said = re.sub(r"\s+", " ", screen.menu())
    check("Everything that was found" in said and "hut" in said, "the findings are missing:", said)
    screen.type("h\n")
    said = re.sub(r"\s+", " ", screen.menu())
    for words in ("third-party", "SBAT", "recovery key", "ARM", "32-bit", "storage mode", "RAID"):
        check(words in said, f"help says nothing of {words}:", said)
    screen.type("\n")
    check("Drives of this PC" in screen.menu(), "Enter does not show everything again:", screen.page)
    screen.type("nonsense\x1b[2J\n")
    check("There is no 'nonsense" in screen.menu(), "unknown input is passed over:", screen.page)
    screen.type("Q\n")
    check("There is no 'Q' here." in screen.menu(), "an unknown letter is passed over:", screen.page)
    screen.close()


def keys_and_programs(folder):
    screen = Screen(folder, "#!/bin/sh\necho '{}'\n")
    said = screen.menu()
    check("None shows up" in said and "Press h" in said, "an empty list is passed over:", said)
    screen.type("\x03")
    screen.menu()
    screen.type("\x03\x03\x03")
    screen.menu()
    time.sleep(0.5)  # they may count as one
    screen.type("\x1c\x1a\n")
    screen.menu()
    time.sleep(0.5)
    screen.type("\x04")
    screen.menu()
    time.sleep(0.5)
    screen.type("k\n")
    screen.menu(end="keyboard> ")
    check("de German" in screen.page, "no keyboards:", screen.page)
    screen.type("de\n")
    check("The keyboard is now de." in screen.menu(), "no keyboard chosen:", screen.page)
    screen.type("k\n")
    screen.menu(end="keyboard> ")
    screen.type("\x03")
    screen.menu()
    screen.type("g\n")
    screen.menu()
    screen.type("g\n")
    screen.menu()
    # The shell has the terminal for itself, Ctrl-C too, and gives it back.
    screen.type("s\n")
    screen.wait("shell$ ", "# ", "$ ")
    screen.type("sleep 60\n")
    time.sleep(0.5)
    screen.type("\x03")
    screen.wait("shell$ ", "# ", "$ ", seconds=20)
    screen.type("exit\n")
    screen.menu()
    screen.type("p\n")
    screen.menu()
    screen.type("r\n")
    screen.menu()
    check(screen.log.read_text() == "keyboard de\nfont large\nfont normal\npoweroff \nreboot \n",
          "other programs than expected:", screen.log.read_text())
    screen.close()


def trouble(folder):
    """Commands that die, tell nonsense, or do not end: one sentence, and the menu stays."""
    cases = {
        "kill -SEGV $$": "ended in the middle",
        "exit 5": "nothing came of it",
        "echo 'no JSON'": "could not be understood",
        "head -c 200000000 /dev/zero": "too much to tell",
    }
    for number, (what, words) in enumerate(cases.items()):
        (folder / str(number)).mkdir()
        screen = Screen(folder / str(number), f"#!/bin/sh\n{what}\n")
        check(words in re.sub(r"\s+", " ", screen.menu()), f"{what}: not said:", screen.all)
        screen.close()
    old = dict(USB, path="/dev/sda", bus="ATA", removable=False, volumes=[dict(USB["volumes"][0], filesystem="NTFS")])
    drives = json.dumps({"drives": [old, USB]}, indent=1)
    (folder / "slow").mkdir()
    # It does not end by Ctrl-C: it is killed some seconds later.
    slow = f"#!/bin/sh\ncase $1 in drives) echo '{drives}' ;; *) trap '' INT; exec sleep 300 ;; esac\n"
    screen = Screen(folder / "slow", slow)
    screen.wait("Ctrl-C stops it ...\n")
    time.sleep(0.5)
    screen.type("\x03")
    said = screen.menu(40)
    check("The file tables were not read: it was stopped." in said, "Ctrl-C is passed over:", said)
    check("Press o" in said, "another next step:", said)
    screen.close()
    # All was said, but a part of it does not end and keeps the pipe: nobody waits.
    (folder / "stays").mkdir()
    screen = Screen(folder / "stays", f"#!/bin/sh\necho '{drives}'\nexec sleep 300\n")
    check("sda" in screen.menu(20), "what was said is not shown:", screen.all)
    screen.close()


def hostile(folder):
    name = "\x1b]0;x\x07\x1b[2J\x9b\u202e" + "w" * 300
    drive = dict(USB, model=name, serial=name, path="/dev/sd\x1b[1m", problem=name,
                 volumes=[dict(USB["volumes"][0], label=name, filesystem=name)],
                 findings=[{"code": "x", "weight": "loss", "subject": name, "sentence": name, "advice": name}])
    person = {"key": name, "account": name, "full_name": name, "folder": name, "files": 1, "bytes": 10**30}
    (folder / "drives.json").write_text(json.dumps({"drives": [drive, USB]}))
    (folder / "survey.json").write_text(json.dumps({
        "volumes": [], "systems": [{"computer": name, "product": name, "volume": name, "persons": [person]}],
        "findings": [{"code": "x", "weight": "loss", "subject": name, "sentence": name, "advice": name}]}))
    screen = Screen(folder, f'#!/bin/sh\ncat "{folder}/$1.json"\n')
    screen.menu()
    screen.type("f\n")
    screen.menu()
    check_lines(screen.all)
    check("<U+001B>" in screen.all, "names are not escaped:", screen.all)
    screen.close()


def answer(screen, *answers):
    """Types each answer and waits for the question after it; returns what was said before the last."""
    for typed, prompt in answers:
        screen.type(typed + "\n")
        said = screen.menu(end=prompt)
    return re.sub(r"\s+", " ", said)


TO, WHO, FORM = ("j", "number> "), ("1", "everybody> "), ("", "zip> ")
DECIDE, CONFIRM = "leaves them> ", "to leave it: "


def job(folder):
    """The questions before a job. Only the new drive is offered; Enter and Ctrl-C leave every question."""
    screen = Screen(folder, REAL)
    screen.menu(120)
    said = answer(screen, TO)
    check("1 NEWHOME: exFAT, 63 GB, 62 GB free, on drive sdy (64 GB, Portable)" in said, "no destination:", said)
    check(said.count("It belongs to the old PC, and nothing is ever written there.") == 2, "old drives:", said)
    for number in ("2", "0", "1 1", "99999999999999999999999", "x"):
        check("is not understood" in answer(screen, (number, "number> ")), "taken as a destination:", number)
    check("Nothing was written." in answer(screen, ("", MENU)), "Enter does not leave it:", screen.page)
    ways = [(TO,), (TO, WHO), (TO, WHO, FORM), (TO, WHO, FORM, ("", DECIDE)),
            (TO, WHO, FORM, ("", DECIDE), ("", DECIDE), ("", DECIDE), ("", CONFIRM))]
    for way in ways:
        answer(screen, *way)
        screen.type("\x03")
        check("Nothing was written." in screen.menu(), "Ctrl-C does not leave it:", way, screen.page)
    for word in ("", "yes", "Begin", "begin it"):
        answer(screen, *ways[-1])
        check("Nothing was written." in answer(screen, (word, MENU)), "it begins with", word)
    check("JOB" not in screen.all, "a job has begun:", screen.all)

    # Everybody: the recycle bin and passwords are left, what is offered is taken.
    said = answer(screen, TO, WHO, FORM, ("", DECIDE))
    check("In the recycle bin" in said and "C:\\Users\\mara\\Downloads\\planner-setup.exe" in said,
          "no word of what was deleted:", said)
    said = answer(screen, ("", DECIDE))
    check("Saved passwords" in said and "C:\\Users\\mara" in said, "no word of passwords:", said)
    check("ledger 98.vdi" in answer(screen, ("", DECIDE)), "no word of what is offered:", screen.page)
    check("everybody's files" in answer(screen, ("t", CONFIRM)), "another sentence:", screen.page)
    said = answer(screen, ("begin", MENU))
    check("JOB to /dev/sdy1 on /dev/sdy JOB format - JOB take" in said and "JOB take D:\\VMs\\ledger 98.vdi" in said, "another job:", said)
    check("The job would be complete." in said and "Loss: mara: A file has a hole. Look." in said, "no result:", said)
    check("Press p to switch off" in said, "another next step:", said)

    # Two persons, as folders, with their passwords: nothing of anybody else.
    said = answer(screen, TO, WHO, ("1,3", "zip> "), ("f", DECIDE), ("", DECIDE))
    check("3 files" in said and "Zo" not in said, "passwords of other people:", said)
    said = answer(screen, ("t", CONFIRM), ("begin", MENU))
    check("JOB format folder JOB person mara JOB person" in said and said.count("JOB take") == 3, "another job:", said)
    check(screen.log.read_text().count("--not /dev/sdy") == 8, "the new drive counts as a source:",
          screen.log.read_text())
    check_lines(re.sub("JOB.*", "", screen.all))
    screen.close()


AGAIN = "number, or n> "


def unfinished(folder):
    """A job that was cut off: it goes on with none of the questions, or a new one is begun."""
    screen = Screen(folder, REAL, begun="jobs")
    screen.menu(120)
    said = answer(screen, TO, ("1", AGAIN))
    check("Unfinished on that volume" in said and "1 'FERNHILL-PC-2026-11-25', begun 2026-11-25 14:02, 12 GB had arrived" in
          said, "the job is not shown:", said)
    check("2 'fernhill-2'" in said and "The drives that it was begun with are not here" in said, "the other one:", said)
    check("Not 'older': the job was begun by another version" in said, "the one that cannot go on:", said)
    for wrong in ("3", "0", "1 2", "j"):
        check("is not understood" in answer(screen, (wrong, AGAIN)), "taken as an answer:", wrong)
    check("Nothing was written." in answer(screen, ("", MENU)), "Enter does not leave it:", screen.page)
    for way in ((TO, ("1", AGAIN)), (TO, ("1", AGAIN), ("1", CONFIRM))):
        answer(screen, *way)
        screen.type("\x03")
        check("Nothing was written." in screen.menu(), "Ctrl-C does not leave it:", way, screen.page)
    check("JOB" not in screen.all, "a job has begun:", screen.all)
    said = answer(screen, TO, ("1", AGAIN), ("1", CONFIRM))
    check("'FERNHILL-PC-2026-11-25' goes on as it was begun" in said and "same old drives" in said, "no promise:", said)
    said = answer(screen, ("begin", MENU))
    check("JOB to /dev/sdy1 on /dev/sdy goes on: FERNHILL-PC-2026-11-25" in said and "The job went on." in said and
          "JOB format" not in said, "another job:", said)
    said = answer(screen, TO, ("1", AGAIN), ("n", "everybody> "), FORM, ("", DECIDE), ("", DECIDE), ("", DECIDE), ("", CONFIRM),
                  ("begin", MENU))
    check("JOB to /dev/sdy1 on /dev/sdy JOB format -" in said, "no new job:", said)
    check_lines(re.sub("JOB.*", "", screen.all))
    screen.close()

    # Hidden by the file system's own journal at first; and then it is refused.
    (folder / "stale").mkdir()
    screen = Screen(folder / "stale", REAL, begun="jobs stale refused")
    screen.menu(120)
    said = answer(screen, TO, ("1", CONFIRM))
    check("was not taken out of use properly" in said and "writes to it" in said, "it is not said:", said)
    check("Nothing was written." in answer(screen, ("", MENU)) and "JOB" not in screen.all, "opened unasked:", screen.all)
    said = answer(screen, TO, ("1", CONFIRM), ("begin", AGAIN))
    check("JOB opened /dev/sdy1" in said and "fernhill-2" in said, "not looked at again:", said)
    refused = "leaves it> "
    said = answer(screen, ("2", CONFIRM), ("begin", refused), ("", MENU))
    check("JOB format" not in said, "a new job nobody asked for:", said)
    answer(screen, TO, ("1", AGAIN), ("2", CONFIRM), ("begin", refused), ("n", "everybody> "))
    check("Nothing was written." in answer(screen, FORM, ("", DECIDE), ("", DECIDE), ("", DECIDE), ("", CONFIRM), ("", MENU)),
          "the new job cannot be left:", screen.page)
    screen.close()

    # The rest goes to another drive, when there is one.
    (folder / "onward").mkdir()
    screen = Screen(folder / "onward", REAL_TOO, begun="jobs")
    screen.menu(120)
    where = "there> "
    said = answer(screen, TO, ("1", AGAIN), ("1", where))
    check("2 SECOND: exFAT" in said and "NEWHOME" not in said, "where the rest may go:", said)
    check("is not understood" in answer(screen, ("1", where)), "the same drive was taken:", screen.page)
    check("From" not in answer(screen, ("", CONFIRM)), "it goes elsewhere unasked:", screen.page)
    said = answer(screen, ("", MENU), TO, ("1", AGAIN), ("1", where), ("2", CONFIRM))
    check("From /dev/sdy1 it goes on to /dev/sdx1." in said, "not said:", said)
    said = answer(screen, ("begin", MENU))
    check("JOB to /dev/sdx1 on /dev/sdx goes on: FERNHILL-PC-2026-11-25 from /dev/sdy1" in said, "another job:", said)
    check_lines(re.sub("JOB.*", "", screen.all))
    screen.close()

    # What cannot be seen keeps nobody from a new job.
    (folder / "unreadable").mkdir()
    screen = Screen(folder / "unreadable", REAL, begun="unreadable")
    screen.menu(120)
    said = answer(screen, TO, WHO)
    check("could not be seen" in said and "the file system is damaged" in said, "it is not said:", said)
    screen.close()


with work_folder() as work:
    for test in (whole_way, job, unfinished, keys_and_programs, trouble, hostile):
        place = pathlib.Path(work) / test.__name__
        place.mkdir()
        began = time.monotonic()
        test(place)
        print(f"{test.__name__}: {time.monotonic() - began:.1f} s")
finish()
