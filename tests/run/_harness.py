"""What the whole-run tests in Python share: where things are, running the program, checks that tell."""

import json
import os
import pathlib
import subprocess
import sys
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
BUILD = pathlib.Path(os.environ.get("COLDLIFT_BUILD", ROOT / "build"))
COLDLIFT = os.path.abspath(os.environ.get("COLDLIFT", BUILD / "coldlift"))
DEMO = pathlib.Path(os.environ.get("COLDLIFT_DEMO", ROOT / "build/demo"))

_failures = []


def work_folder():
    """A fresh folder that is removed when the object goes."""
    return tempfile.TemporaryDirectory(prefix="coldlift-run-")


def run(*args, **options):
    """Runs the program; the result has returncode, stdout and stderr as text."""
    return subprocess.run([COLDLIFT, *map(str, args)], capture_output=True, text=True,
                          errors="replace", check=False, **options)


def tool(*args, **options):
    """Runs another program that must succeed; its output as text."""
    done = subprocess.run(list(map(str, args)), capture_output=True, text=True,
                          errors="surrogateescape", check=False, **options)
    if done.returncode != 0:
        raise SystemExit(f"{args[0]} failed ({done.returncode}): {done.stderr[-2000:]}")
    return done.stdout


def attach_loop(image, *options):
    """A loop device over the image; the caller detaches it. Skips the test where there are none."""
    done = subprocess.run(["losetup", "--find", "--show", *options, image], capture_output=True,
                          text=True, check=False)
    if done.returncode != 0:
        skip("no loop device can be had: " + done.stderr.strip())
    loop = done.stdout.strip()
    # A program that was killed may have left the device read-only.
    subprocess.run(["blockdev", "--setrw", loop], check=False)
    return loop


def first_partition(loop):
    """Its device node, or None where no nodes are made."""
    part = pathlib.Path(loop + "p1")
    for _ in range(40):
        if part.exists():
            return part
        time.sleep(0.05)
    return None


def check(condition, *what):
    """Notes a failure and goes on, so that one run tells everything that is wrong."""
    if not condition:
        _failures.append(" ".join(map(str, what)))
        if len(_failures) <= 40:
            print("FAILED:", _failures[-1])
    return bool(condition)


def finish():
    if _failures:
        print(f"{len(_failures)} checks failed")
    sys.exit(1 if _failures else 0)


def skip(why):
    print(why)
    sys.exit(77)


def load_lines(path):
    with open(path, encoding="utf-8") as lines:
        return [json.loads(line) for line in lines]
