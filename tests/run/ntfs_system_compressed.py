#!/usr/bin/python3
"""System-compressed files, every method: bytes, what damage costs, and a whole job.

Sources: the compressed streams are resources of WIM files made by wimcapture (libwim's compressors), which 7-Zip
decodes to the same bytes with decoders of its own; that the stream of such a file is laid out like them: common
practice, no source. Reparse data: WOF_EXTERNAL_INFO and FILE_PROVIDER_EXTERNAL_INFO_V1 (Windows driver
documentation). Offsets of 64 bits: the white paper on the WIM format, chunk tables.
"""

import json
import os
import shutil
import struct
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "ntfs"))
from bench import Bench, Listing, digest, noise, skip, streams, text  # noqa: E402
import wim  # noqa: E402

COLDLIFT = os.environ.get("COLDLIFT")
METHODS = (("XPRESS", 4096, 0), ("LZX", 32768, 1), ("XPRESS", 8192, 2), ("XPRESS", 16384, 3))
STREAM = "WofCompressedData"


def reparse(algorithm, provider=2, version=1):
    return struct.pack("<IHHIIII", 0x80000017, 16, 0, version, provider, 1, algorithm)


def add(listing, path, size, packed, data):
    """A file of `size` bytes without clusters, its compressed stream, its reparse point."""
    listing.add("file", path, "0")
    listing.add("size", path, "", size)
    if packed is not None:
        listing.write(path, STREAM, 0, packed)
    listing.reparse(path, data)


def contents(chunk):
    return {
        "one chunk.txt": text(chunk - 96, 1), "exact.txt": text(4 * chunk, 2),
        "rota.txt": text(300001, 3), "just over.txt": text(2 * chunk + 1, 4),
        "mixed.bin": text(3 * chunk, 5) + noise(2 * chunk, 6) + bytes(3 * chunk) + text(77, 7),
        # A table of more than one window, and chunks of many.
        "long.txt": text(1 << 20, 8) * (36 if chunk == 4096 else 3),
    }


def stored(content, chunk):
    """All chunks as they are."""
    count = -(-len(content) // chunk)
    return b"".join(struct.pack("<I", chunk * i) for i in range(1, count)) + content


def check_bytes(bench):
    listing = Listing()
    truth = {}
    for method, chunk, number in METHODS:
        folder = f"/{method} {chunk}"
        listing.add("folder", folder)
        made = contents(chunk)
        packed = wim.compress(bench.path(f"wim{number}"), made, method, chunk)
        for name, content in made.items():
            bench.check(packed[name] is not None, f"{name} did not shrink")
            add(listing, f"{folder}/{name}", len(content), packed[name], reparse(number))
            truth[f"\\{method} {chunk}\\{name}"] = content
        content = noise(5 * chunk + 123, 9)
        add(listing, f"{folder}/stored.bin", len(content), stored(content, chunk), reparse(number))
        truth[f"\\{method} {chunk}\\stored.bin"] = content
        shutil.rmtree(bench.path(f"wim{number}"))
    listing.add("link", "/another name.txt", "/LZX 32768/rota.txt")
    truth["\\another name.txt"] = truth["\\LZX 32768\\rota.txt"]
    # Written anew, with clusters of its own: the old compressed bytes mean nothing any more.
    listing.file("/anew.bin", noise(60000, 10))
    listing.write("/anew.bin", STREAM, 0, text(9000, 11))
    listing.reparse("/anew.bin", reparse(1))
    truth["\\anew.bin"] = noise(60000, 10)
    listing.write("/XPRESS 4096/rota.txt", "note", 0, b"a stream beside it")
    image = bench.make("volume.img", 64 << 20, 4096, 512, listing)
    dump = bench.dump(image)
    bench.check(dump["findings"] == [], f"findings {dump['findings']}")
    bench.check(dump["clusters_used"] + dump["clusters_free"] == dump["clusters"], "clusters")
    found = streams(dump)
    for path, content in truth.items():
        stream = found[path, ""]
        bench.check(stream["content"] == "readable" and stream["holes"] == [] and
                    stream["missing"] == [], f"{path}: {stream['content']} {stream['holes']}")
        bench.check(stream["sha256"] == digest(content), f"{path}: other bytes")
    return image, truth


def check_unknown(bench):
    """What cannot be decoded is named as such, never read as zeros."""
    listing = Listing()
    packed = stored(noise(20000, 1), 4096)
    for name, size, data, carrier in (
            ("in an image file.txt", 20000, reparse(0, provider=1), packed),
            ("newer.txt", 20000, reparse(0, version=2), packed),
            ("unknown algorithm.txt", 20000, reparse(4), packed),
            ("without its bytes.txt", 20000, reparse(0), None),
            ("too short a stream.txt", 2000000, reparse(0), packed[:1000]),
            ("cut reparse data.txt", 20000, struct.pack("<IHHI", 0x80000017, 4, 0, 1), packed)):
        add(listing, "/" + name, size, carrier, data)
    found = streams(bench.dump(bench.make("unknown.img", 16 << 20, 4096, 512, listing)))
    names = {path for path, _ in found}
    bench.check(len(names) == 6, f"unknown: {names}")
    for (path, stream), about in found.items():
        if not stream:
            bench.check(about["content"] == "system-compressed", f"{path}: {about['content']}")


def entry(found, path):
    """Where a stream's carrier lies on the volume: its first run."""
    carrier = found[path, STREAM]
    return carrier["runs"][0][1] * 4096, carrier["size"]


def check_damage(bench, image, truth):
    """Damage costs the chunks that it lies in."""
    found = streams(bench.dump(image))
    for method, chunk, _ in METHODS:
        path = f"\\{method} {chunk}\\stored.bin"
        content = truth[path]
        at, size = entry(found, path)
        table = 4 * 5
        # A sector in the third chunk; the table's third entry (of chunk 3: where chunk 2 ends).
        for title, script, holes in (
                ("sector", f"fail {at + table + 2 * chunk + 600} 1\n", None),
                ("entry", f"flip {at + 4 * 2 + 3} 255\n", [[2 * chunk, 2 * chunk]]),
                ("tail", f"fail {at + (size - 1) // 512 * 512} 512\n", [[5 * chunk, 123]])):
            stream = streams(bench.dump(image, script))[path, ""]
            if holes is None:
                # The sector may reach into a neighbour: whole chunks all the same.
                first = (table + 2 * chunk + 600) // 512 * 512 - table
                start, end = first // chunk * chunk, -(-(first + 512) // chunk) * chunk
                holes = [[start, end - start]]
            if title == "tail":
                first = (size - 1) // 512 * 512 - table
                start = first // chunk * chunk
                holes = [[start, len(content) - start]]
            bench.check(stream["holes"] == holes, f"{path}: {title}: {stream['holes']} not {holes}")
            zeroed = bytearray(content)
            for offset, length in holes:
                zeroed[offset:offset + length] = bytes(length)
            bench.check(stream["sha256"] == digest(zeroed), f"{path}: {title}: other bytes")
        path = f"\\{method} {chunk}\\rota.txt"
        at, _ = entry(found, path)
        count = -(-300001 // chunk)
        stream = streams(bench.dump(image, f"fail {at} 512\n"))[path, ""]
        lost = min(count, 512 // 4 + 1) * chunk
        bench.check(stream["holes"] == [[0, min(lost, 300001)]],
                    f"{path}: table lost: {stream['holes']}")
    # Nonsense in place of codes: no crash, and nothing but whole chunks is lost.
    path = "\\LZX 32768\\long.txt"
    at, size = entry(found, path)
    script = "".join(f"flip {at + place} 165\n" for place in range(4 * 96, size, 997))
    stream = streams(bench.dump(image, script))[path, ""]
    bench.check(all(offset % 32768 == 0 for offset, _ in stream["holes"]) and
                stream["read"] == len(truth[path]), f"{path}: {stream['holes']}")


def check_large(bench):
    """Beyond 4 GiB the table has entries of 64 bits."""
    size = (4 << 30) + 50000
    zero = bytes(32768)
    last = text(50000, 20)
    folder = bench.path("wim-large")
    packed = wim.compress(folder, {"a": zero * 2 + last}, "LZX", 32768)["a"]
    table = struct.unpack_from("<3I", packed, 0)
    data = packed[12:]
    first, tail = data[:table[0]], data[table[1]:]
    count = -(-size // 32768)
    whole = count - 2
    places = [len(first) * i for i in range(1, whole + 1)] + [len(first) * whole + table[2] - table[1]]
    carrier = struct.pack(f"<{count - 1}Q", *places) + first * whole + tail
    listing = Listing()
    add(listing, "/large.bin", size, carrier, reparse(1))
    image = bench.make("large.img", 32 << 20, 4096, 512, listing)
    stream = streams(bench.dump(image))["\\large.bin", ""]
    bench.check(stream["content"] == "readable" and stream["size"] == size, f"large: {stream}")
    job, record = extract(bench, image, "large-job", 0)
    line, = [line for line in record if line["path"] == "\\large.bin"]
    with open(os.path.join(job, "job-files", line["as"]), "rb") as file:
        file.seek(size - 50010)
        bench.check(file.read() == bytes(10) + last, "large: other bytes at the end")
    shutil.rmtree(job)
    os.unlink(image)


def extract(bench, image, name, status, *options):
    to = bench.path(name)
    os.mkdir(to)
    done = subprocess.run([COLDLIFT, "extract", "--quiet", "--to", to, "--name", "job", "--format",
                           "folder", *options, image], capture_output=True, text=True)
    bench.check(done.returncode == status, f"{name}: status {done.returncode}: {done.stderr}")
    job = os.path.join(to, "job")
    with open(os.path.join(job, "record.jsonl"), encoding="utf-8") as file:
        return job, [json.loads(line) for line in file][1:]


def check_job(bench, image, truth):
    """Taken; its clusters are the file's; and no line of the record for the stream beneath."""
    job, record = extract(bench, image, "job", 0)
    files = {line["path"]: line for line in record if line["kind"] == "file" and
             line["reason"] != "file-system" and "stream" not in line}
    bench.check(set(files) == set(truth), f"job: {set(files) ^ set(truth)}")
    for path, content in truth.items():
        line = files.get(path, {})
        bench.check(line.get("state") in ("taken", "same") and line.get("sha256") == digest(content)
                    and line.get("size") == len(content), f"job: {path}: {line}")
    named = [line["path"] for line in record if line.get("stream") == STREAM]
    bench.check(named == ["\\anew.bin"], f"job: streams {named}")
    with open(os.path.join(job, "account.json"), encoding="utf-8") as file:
        volume, = json.load(file)["volumes"]
    owners = volume["by_owner"]
    bench.check(owners["unaccounted"] == 0 and owners["unlisted"] == 0 and owners["taken"] > 300,
                f"job: account {volume}")
    done = subprocess.run([COLDLIFT, "verify", job], capture_output=True, text=True)
    bench.check(done.returncode == 0, f"verify: {done.returncode}: {done.stdout}")


def main():
    for tool in ("wimcapture", "7zz"):
        if shutil.which(tool) is None:
            skip(f"{tool} is not installed")
    bench = Bench()
    image, truth = check_bytes(bench)
    check_unknown(bench)
    check_damage(bench, image, truth)
    check_job(bench, image, truth)
    check_large(bench)
    bench.close()


main()
