"""The volumes that are measured: made once, by libntfs-3g (lay.c), in a folder of their own."""

import json
import os
import pathlib
import subprocess

HERE = pathlib.Path(__file__).resolve().parent

# Name, files, bytes, size of the volume. Of "aged" about a third is taken away again.
VOLUMES = {
    "fresh": (100_000, 3_300_000_000, 6 << 30),
    "plain": (100_000, 3_300_000_000, 6 << 30),
    "aged": (140_000, 3_900_000_000, 6 << 30),
    "many": (1_000_000, 0, 4 << 30),
}
# The old system's hives, out of the demo drives: with them a survey has persons and places to find.
HIVES = {f"/Windows/System32/config/{name}": None for name in ("SYSTEM", "SOFTWARE", "SAM")}
HIVES["/Users/mara/NTUSER.DAT"] = None


def run(*command, **more):
    return subprocess.run([str(word) for word in command], check=True, capture_output=True, **more)


def system_volume(demo, folder):
    """The demo drive's Windows volume, cut out of the drive."""
    image = demo / "old-system.img"
    table = json.loads(run("sfdisk", "--json", image).stdout)["partitiontable"]
    largest = max(table["partitions"], key=lambda part: part["size"])
    with open(image, "rb") as drive, open(folder / "windows.img", "wb") as volume:
        drive.seek(largest["start"] * 512)
        volume.write(drive.read(largest["size"] * 512))
    return folder / "windows.img"


def add_hives(demo, folder, image):
    windows = system_volume(demo, folder)
    for path in HIVES:
        hive = folder / "hive"
        hive.write_bytes(run("ntfscat", "-f", windows, path).stdout)
        run("ntfscp", "-f", image, hive, path)
        hive.unlink()
    windows.unlink()


def make(demo, folder, name, share):
    """The image of a volume with `share` (0 to 1) of its usual files; made when it is not there."""
    files, size, room = VOLUMES[name]
    image = folder / f"{name}-{share:g}.img"
    if image.exists():
        return image
    part = folder / "volume.part"
    part.unlink(missing_ok=True)
    lay = folder / "lay"
    run("gcc", "-D_GNU_SOURCE", "-O2", "-Wall", "-Wextra", "-Werror", "-o", lay, HERE / "lay.c", "-lntfs-3g")
    with open(part, "wb") as file:
        file.truncate(int(room * max(share, 0.05)))
    run("mkntfs", "-F", "-q", "-Q", "-s", "512", "-p", "2048", "-H", "255", "-S", "63", part)
    run(lay, name, part, int(files * share), int(size * share))
    add_hives(demo, folder, part)
    os.rename(part, image)
    return image
