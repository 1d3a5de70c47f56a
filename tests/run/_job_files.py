"""Files of a job, off its parts, by Python's own readers."""

import os
import tarfile
import zipfile


def entry_in(part, path):
    """The bytes of one entry; a part is a zip file, a tar file, or a folder."""
    if os.path.isdir(part):
        with open(os.path.join(part, path), "rb") as file:
            return file.read()
    if part.endswith(".zip"):
        with zipfile.ZipFile(part) as archive:
            return archive.read(path)
    with tarfile.open(part) as archive:
        return archive.extractfile(path).read()


def bytes_of(job, line):
    """The bytes of the file of a line of the record; one that was cut into pieces is joined."""
    if "part" in line:
        return entry_in(os.path.join(job, line["part"]), line["as"])
    count = len(line["parts"])
    return b"".join(entry_in(os.path.join(job, part), f"{line['as']}.piece-{i + 1:02}-of-{count:02}")
                    for i, part in enumerate(line["parts"]))
