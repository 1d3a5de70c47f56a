"""The volumes that are measured: made once, by libntfs-3g (lay.c), in a folder of their own."""

import json
import os
import pathlib
import subprocess
import sys

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "fixtures"))
from maker import jumplist, runtrace  # noqa: E402
from maker.shortcut import shortcut  # noqa: E402

# Name, files, bytes, size of the volume. Of "aged" about a third is taken away again.
VOLUMES = {
    "fresh": (100_000, 3_300_000_000, 6 << 30),
    "plain": (100_000, 3_300_000_000, 6 << 30),
    "aged": (140_000, 3_900_000_000, 6 << 30),
    "many": (1_000_000, 0, 4 << 30),
    # As many files as an old PC has, and as many traces of programs as its old system keeps at most.
    "traces": (100_000, 0, 1 << 30),
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


def write(root, path, data):
    path = root / path
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def add_traces(folder, image):
    """1,024 run traces, 150 recent documents, 300 shortcuts in the menu, 60 jump lists of 20 entries."""
    mount = folder / "mount"
    mount.mkdir(exist_ok=True)
    run("ntfs-3g", image, mount)
    try:
        recent = mount / "Users/mara/AppData/Roaming/Microsoft/Windows/Recent"
        volume = ("\\VOLUME{01d1adc7f5c1a580-5eed0016}", 0x5EED0016, "2016-05-14T10:00:00")
        for number in range(1024):
            name = f"tool{number}.exe"
            files = ["\\WINDOWS\\SYSTEM32\\NTDLL.DLL", f"\\PROGRAM FILES\\TOOLS\\{name.upper()}"]
            files += [f"\\WINDOWS\\SYSTEM32\\PART{part}.DLL" for part in range(60)]
            write(mount, "Windows/Prefetch/" + runtrace.file_name(name),
                  runtrace.trace(name, files, ["2023-10-01T10:00:00"], 7, volume))
        documents = [shortcut(f"D:\\Plans\\bed {number}.plan", "", "") for number in range(150)]
        for number, link in enumerate(documents):
            write(recent, f"bed {number}.lnk", link)
        for number in range(300):
            write(mount, f"ProgramData/Microsoft/Windows/Start Menu/Programs/Tool {number}.lnk",
                  shortcut(f"C:\\Program Files\\Tools\\tool{number}.exe", "", ""))
        for number in range(60):
            name = jumplist.number(f"C:\\Program Files\\Tools\\tool{number}.exe")
            write(recent, f"AutomaticDestinations/{name}.automaticDestinations-ms",
                  jumplist.automatic([(f"D:\\Plans\\bed {n}.plan", "2023-10-01T10:00:00", False, documents[n])
                                      for n in range(20)]))
    finally:
        run("umount", mount)


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
    run(lay, "many" if size == 0 else name, part, int(files * share), int(size * share))
    add_hives(demo, folder, part)
    if name == "traces":
        add_traces(folder, part)
    os.rename(part, image)
    return image
