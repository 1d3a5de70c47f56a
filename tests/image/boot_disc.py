#!/usr/bin/python3
"""The same image starts from an optical disc, under legacy BIOS and under UEFI."""

from _sources import boot_test, finish

boot_test("bios", ["ide"], boot="disc")
boot_test("uefi", ["nvme"], boot="disc")
finish()
