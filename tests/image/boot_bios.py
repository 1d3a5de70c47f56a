#!/usr/bin/python3
"""The stick starts under legacy BIOS (SeaBIOS), sees drives on every bus, and does a job to an NTFS volume, in tar files."""

from _sources import check, finish
from _pairs import pair_test

log = pair_test("bios", "ide", "nvme", "ntfs", extra="format = tar\n")
check("efi: EFI v" not in log, "this was not legacy BIOS")
finish()
