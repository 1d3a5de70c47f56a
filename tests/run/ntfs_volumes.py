#!/usr/bin/python3
"""Volumes of every cluster size, read by src/ntfs and by libntfs-3g: names, sizes, bytes, clusters.

Sources: libntfs-3g (mkntfs, and reading through fixtures/fill/look.c, ntfscat, ntfsls and ntfsinfo) is
the independent reader; $Bitmap is the check on the account of clusters; the reparse data are laid out as in [MS-FSCC]
2.1.2.4 and 2.1.2.5, the tags of cloud files as in 2.1.2.1.
"""

import os
import re
import struct
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from bench import Bench, Listing, as_listed, digest, noise, streams, text  # noqa: E402


KEY = "$EFS:$LOGGED_UTILITY_STREAM"


def junction(target):
    substitute = ("\\??\\" + target).encode("utf-16-le")
    shown = target.encode("utf-16-le")
    paths = substitute + b"\0\0" + shown + b"\0\0"
    fields = struct.pack("<HHHH", 0, len(substitute), len(substitute) + 2, len(shown))
    return struct.pack("<IHH", 0xA0000003, len(fields + paths), 0) + fields + paths


def symlink(target, relative):
    substitute = target.encode("utf-16-le")
    fields = struct.pack("<HHHHI", 0, len(substitute), 0, len(substitute), 1 if relative else 0)
    return struct.pack("<IHH", 0xA000000C, len(fields + substitute), 0) + fields + substitute


def tagged(tag):
    return struct.pack("<IHH", tag, 8, 0) + b"\1\0\0\0\2\0\0\0"


def add_plain(listing):
    listing.add("folder", "/Fernhill")
    listing.add("folder", "/Fernhill/Minutes \\u00e4\\u4e2d\\ud83c\\udf3b")
    for size in (0, 1, 200, 700, 1000, 4095, 4096, 4097, 65536, 100001):
        listing.file(f"/Fernhill/plain-{size}.bin", noise(size, size))
    listing.file("/Fernhill/Minutes \\u00e4\\u4e2d\\ud83c\\udf3b/\\u00d6ffnung.txt", text(3000, 1))
    path = "/Fernhill"
    for level in range(30):
        path += f"/a long folder name that goes on and on, number {level}"
        listing.add("folder", path)
    listing.file(path + "/at the bottom.txt", b"deep down")
    listing.add("folder", "/Many")
    for i in range(300):
        listing.file(f"/Many/a file with a name of some length {i:04}.txt", b"%d" % i)


def add_streams(listing):
    listing.file("/Fernhill/streams.txt", b"main")
    listing.write("/Fernhill/streams.txt", "small", 0, b"a resident stream")
    listing.write("/Fernhill/streams.txt", "large", 0, noise(30000, 2))
    listing.file("/Fernhill/many streams.txt", noise(9000, 3))
    for i in range(60):
        listing.write("/Fernhill/many streams.txt", f"stream {i:02}", 0, noise(100 + 97 * i, i))
    listing.add("folder", "/Fernhill/marked")
    listing.write("/Fernhill/marked", "note", 0, b"a folder can have streams too")


def add_links(listing):
    listing.add("folder", "/Links")
    listing.file("/Fernhill/rota.txt", text(5000, 4))
    listing.add("short", "/Fernhill/rota.txt", "ROTA~1.TXT")
    for i in range(80):
        listing.add("link", f"/Links/a further name for the same rota, number {i:02}.txt",
                    "/Fernhill/rota.txt")


def add_sparse(listing, cluster):
    listing.add("file", "/Fernhill/sparse.bin", "0")
    for at in (0, 1000000, 1000000 + 10 * cluster, 3000001):
        listing.write("/Fernhill/sparse.bin", "", at, noise(5000, at))
    listing.add("size", "/Fernhill/sparse.bin", "", 5000007)
    listing.add("file", "/Fernhill/all sparse.bin", "0")
    listing.add("size", "/Fernhill/all sparse.bin", "", 777777)


def add_compressed(listing):
    listing.file("/Fernhill/text.lz", text(300001, 5), "800")
    listing.file("/Fernhill/noise.lz", noise(200000, 6), "800")
    listing.file("/Fernhill/mixed.lz", text(70000, 7) + noise(70000, 8) + bytes(150000) +
                 text(100, 9), "800")
    listing.file("/Fernhill/zeros.lz", bytes(400000), "800")
    listing.file("/Fernhill/small.lz", text(300, 10), "800")
    listing.file("/Fernhill/one unit.lz", text(65536, 11), "800")
    listing.add("file", "/Fernhill/gaps.lz", "800")
    listing.write("/Fernhill/gaps.lz", "", 0, text(20000, 12))
    listing.write("/Fernhill/gaps.lz", "", 500000, text(20000, 13))
    listing.file("/Fernhill/lzstream.txt", b"", "800")
    listing.write("/Fernhill/lzstream.txt", "more", 0, text(150000, 14))


def add_reparse(listing):
    listing.add("folder", "/Links/old documents")
    listing.reparse("/Links/old documents", junction("C:\\Fernhill"))
    listing.add("folder", "/Links/share")
    listing.reparse("/Links/share", symlink("\\??\\UNC\\shed\\seeds", False))
    listing.file("/Links/near.txt")
    listing.reparse("/Links/near.txt", symlink("..\\Fernhill\\rota.txt", True))
    for name, tag in (("cloud", 0x9000701A), ("wof", 0x80000017), ("dedup", 0x80000013),
                      ("old cloud", 0x80000021), ("unknown", 0x800000F9)):
        listing.add("file", f"/Fernhill/{name} hole.bin", "0")
        listing.add("size", f"/Fernhill/{name} hole.bin", "", 300000)
        listing.reparse(f"/Fernhill/{name} hole.bin", tagged(tag))
    listing.add("file", "/Fernhill/cloud part.bin", "0")
    listing.write("/Fernhill/cloud part.bin", "", 8 * 65536, noise(65536, 15))
    listing.add("size", "/Fernhill/cloud part.bin", "", 12 * 65536 + 5)
    listing.reparse("/Fernhill/cloud part.bin", tagged(0x9000001A))
    listing.add("attributes", "/Fernhill/cloud part.bin", "401020")
    listing.file("/Fernhill/cloud here.bin", noise(50000, 16))
    listing.reparse("/Fernhill/cloud here.bin", tagged(0x9000601A))
    listing.file("/Fernhill/cloud tiny.bin", b"resident")
    listing.reparse("/Fernhill/cloud tiny.bin", tagged(0x9000601A))


def add_encrypted(listing):
    # libntfs-3g wants whole sectors and the length of the padding behind them.
    listing.file("/Fernhill/sealed.bin", noise(40 * 512, 18) + struct.pack("<H", 480))
    listing.add("encrypt", "/Fernhill/sealed.bin", listing.store(struct.pack("<IIII", 84, 0, 2, 0) + bytes(68)))


def make_listing(cluster):
    listing = Listing()
    add_plain(listing)
    add_streams(listing)
    add_links(listing)
    add_sparse(listing, cluster)
    if cluster <= 4096:
        add_compressed(listing)
    add_reparse(listing)
    add_encrypted(listing)
    pieces = {512: 3000, 1024: 3000, 4096: 2500, 65536: 60}.get(cluster, 100)
    listing.scatter("/Fernhill/scattered.bin", noise(pieces * cluster - 17, 17))
    return listing


def compare(bench, title, image, dump):
    """Every stream, link and folder that libntfs-3g finds, and nothing more."""
    theirs = bench.look(image)
    ours = {}
    for entry in dump["entries"]:
        path = as_listed(entry["path"])
        if entry["flags"] & 8:
            continue
        bench.check(entry["found"], f"{title}: {path} is not found by its path")
        bench.check(entry["flags"] & ~2 == 1, f"{title}: flags of {path}: {entry['flags']}")
        if entry["target"] is not None:
            ours["link", path, ""] = (0, "-")
            continue
        if entry["flags"] & 2:
            ours["folder", path, ""] = (0, "-")
        for stream in entry["streams"]:
            if stream["name"] == KEY:  # no $DATA: ntfscat has it
                command = ["ntfscat", "-f", "-i", str(entry["node"]), "-a", "256", "-n", "$EFS", image]
                theirs_key = subprocess.run(command, check=True, capture_output=True).stdout
                bench.check(digest(theirs_key) == stream["sha256"] and path == "/Fernhill/sealed.bin",
                            f"{title}: {path}: ntfscat reads another key stream")
                continue
            sealed = stream["content"] == "encrypted"
            ours["file", path, as_listed(stream["name"])] = (
                stream["size"], "-" if sealed else stream["sha256"])
            bench.check(stream["holes"] == [] and stream["read"] == stream["size"],
                        f"{title}: {path} was not read in full")
    for key in sorted(set(theirs) | set(ours)):
        bench.check(theirs.get(key) == ours.get(key),
                    f"{title}: {key}: {theirs.get(key)} by libntfs-3g, {ours.get(key)} by src/ntfs")
    return ours


def check_names(bench, title, image, dump):
    """Every name with its record by ntfsls, which lists neither 8.3 names nor what is the file system's."""
    listed = subprocess.run(["ntfsls", "-R", "-i", image], check=True, capture_output=True).stdout.decode()
    theirs = sorted((int(number), name) for number, name in re.findall(r"^ *(\d+) (.+)$", listed, re.M)
                    if name not in (".", ".."))
    ours = sorted((entry["node"], entry["path"].rpartition("\\")[2]) for entry in dump["entries"]
                  if not entry["flags"] & 8)
    bench.check(theirs == ours, f"{title}: by ntfsls alone {sorted(set(theirs) - set(ours))[:5]}, "
                f"by src/ntfs alone {sorted(set(ours) - set(theirs))[:5]}")


def check_volume_facts(bench, title, image, dump):
    """What ntfsinfo says of the volume as a whole."""
    told = subprocess.run(["ntfsinfo", "-m", image], check=True, capture_output=True).stdout.decode()
    facts = {name.strip(): value.split(" (")[0].strip() for name, _, value in
             (line.partition(":") for line in told.splitlines())}
    for name, ours in (("Volume Name", dump["label"]), ("Sector Size", dump["sector_size"]),
                       ("Cluster Size", dump["cluster_size"]), ("Volume Size in Clusters", dump["clusters"]),
                       ("Free Clusters", dump["clusters_free"])):
        bench.check(facts[name] == str(ours), f"{title}: {name}: {facts[name]} by ntfsinfo, {ours} by src/ntfs")


def check_contents(bench, title, dump):
    found = streams(dump)
    for path, content in (("cloud hole.bin", "cloud-only"), ("old cloud hole.bin", "cloud-only"),
                          ("unknown hole.bin", "cloud-only"),
                          ("wof hole.bin", "system-compressed"), ("dedup hole.bin", "deduplicated"),
                          ("cloud part.bin", "cloud-part"), ("cloud here.bin", "readable"),
                          ("cloud tiny.bin", "readable"), ("all sparse.bin", "readable"),
                          ("sparse.bin", "readable"), ("rota.txt", "readable"),
                          ("sealed.bin", "encrypted")):
        stream = found["\\Fernhill\\" + path, ""]
        bench.check(stream["content"] == content, f"{title}: {path} is {stream['content']}")
    part = found["\\Fernhill\\cloud part.bin", ""]
    # Written were the bytes from 8 to 9 times 65,536, a multiple of every cluster size used here.
    bench.check(part["missing"] == [[0, 524288], [589824, 196613]],
                f"{title}: missing parts {part['missing']}")
    targets = {entry["path"]: entry["target"] for entry in dump["entries"] if entry["target"]}
    bench.check(targets == {"\\Links\\old documents": "C:\\Fernhill",
                            "\\Links\\share": "\\\\shed\\seeds",
                            "\\Links\\near.txt": "..\\Fernhill\\rota.txt"},
                f"{title}: targets {targets}")
    shorts = {entry["path"]: entry["short"] for entry in dump["entries"] if "short" in entry}
    bench.check(shorts == {"\\Fernhill\\rota.txt": "ROTA~1.TXT"}, f"{title}: 8.3 names {shorts}")


def check_volume(bench, cluster, sector, size):
    title = f"cluster {cluster}, sector {sector}"
    image = bench.make("volume.img", size, cluster, sector, make_listing(cluster))
    before = digest(open(image, "rb").read())
    dump = bench.dump(image)
    bench.check(dump is not None, f"{title}: cannot be opened")
    if dump is None:
        return
    bench.check(dump["label"] == "Fernhill \u00e9", f"{title}: label {dump['label']}")
    bench.check((dump["cluster_size"], dump["sector_size"]) == (cluster, sector), f"{title}: sizes")
    bench.check(dump["findings"] == [], f"{title}: findings {dump['findings']}")
    bench.check(not dump["dirty"] and not dump["log_pending"] and not dump["hibernated"],
                f"{title}: state")
    bench.check(dump["clusters_used"] + dump["clusters_free"] == dump["clusters"],
                f"{title}: {dump['clusters_used']} used + {dump['clusters_free']} free clusters "
                f"are not {dump['clusters']}")
    ours = compare(bench, title, image, dump)
    bench.check(len(ours) > 500, f"{title}: only {len(ours)} things compared")
    check_contents(bench, title, dump)
    check_names(bench, title, image, dump)
    check_volume_facts(bench, title, image, dump)
    for stream in streams(dump).values():
        if stream["entry"]["path"].endswith("scattered.bin") and not stream["name"]:
            data = bench.cat(image, stream["entry"]["node"])
            bench.check(digest(data) == stream["sha256"], f"{title}: ntfscat differs")
    bench.check(digest(open(image, "rb").read()) == before, f"{title}: the image was changed")
    os.unlink(image)


def main():
    bench = Bench()
    megabyte = 1 << 20
    for cluster, sector, size in ((512, 512, 32), (1024, 512, 32), (2048, 512, 32), (4096, 512, 48),
                                  (8192, 512, 64), (16384, 512, 64), (32768, 512, 96), (65536, 512, 128),
                                  (4096, 4096, 48), (65536, 4096, 128)):
        check_volume(bench, cluster, sector, size * megabyte)
    bench.close()


main()
