"""Compressed resources out of a WIM file: the streams of system-compressed files are laid out like them.

Source: "Windows Imaging File Format (WIM)" white paper (header, resource headers, lookup table). The files are
made by wimcapture (wimtools) and checked by 7-Zip, which has decoders of its own.
"""

import hashlib
import os
import struct
import subprocess

COMPRESSED = 4  # flag of a resource


def resources(path):
    """{SHA-1 of the content: (compressed bytes, size of the content)} of every compressed resource."""
    with open(path, "rb") as file:
        data = file.read()
    assert data[:8] == b"MSWIM\0\0\0"

    def header(at):
        size, offset, original = struct.unpack_from("<QQQ", data, at)
        return size & ((1 << 56) - 1), size >> 56, offset, original

    size, _, offset, _ = header(48)
    found = {}
    for at in range(offset, offset + size, 50):
        length, flags, start, original = header(at)
        if flags & COMPRESSED:
            found[data[at + 30:at + 50]] = (data[start:start + length], original)
    return found


def compress(folder, contents, method, chunk):
    """The compressed resource of each content, by wimcapture; None where it did not shrink."""
    os.makedirs(os.path.join(folder, "in"))
    for name, content in contents.items():
        with open(os.path.join(folder, "in", name), "wb") as file:
            file.write(content)
    image = os.path.join(folder, "made.wim")
    subprocess.run(["wimcapture", os.path.join(folder, "in"), image, f"--compress={method}",
                    f"--chunk-size={chunk}", "--no-acls"], check=True, capture_output=True)
    out = os.path.join(folder, "out")
    subprocess.run(["7zz", "x", "-y", f"-o{out}", image], check=True, capture_output=True)
    for name, content in contents.items():
        with open(os.path.join(out, name), "rb") as file:
            assert file.read() == content, f"7-Zip reads {name} in {method} otherwise"
    made = resources(image)
    packed = {}
    for name, content in contents.items():
        packed[name], size = made.get(hashlib.sha1(content).digest(), (None, len(content)))
        assert size == len(content)
    return packed
