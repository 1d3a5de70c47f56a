#!/usr/bin/python3
"""The stick starts under legacy BIOS (SeaBIOS) and sees an IDE, an AHCI and an SD card's volume."""

from _sources import boot_test, check, finish

log = boot_test("bios", ["ide", "ahci", "sd"])
check("efi: EFI v" not in log, "this was not legacy BIOS")
finish()
