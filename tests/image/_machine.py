"""A PC in QEMU that starts from the live stick and is driven over its serial line.

QEMU runs without hardware help (-accel tcg): slow, but the same everywhere. The stick is chosen in GRUB's
menu with the key for the serial line; from then on everything goes over the serial line as a person would
type it. QMP plugs drives in and out.

    with Machine(folder, firmware="uefi", drives=[Drive(path, "nvme")]) as pc:
        pc.start()                      # up to the start screen
        pc.shell()                      # the technicians' shell
        print(pc.command("dmesg"))

A start screen with other words only needs START_SCREEN, MORE and shell() changed.
"""

import dataclasses
import json
import os
import pathlib
import re
import shutil
import socket
import subprocess
import time

IMAGE = pathlib.Path(os.environ.get("COLDLIFT_IMAGE", "build/coldlift.iso")).resolve()

# What the start screen shows when it waits for a person.
START_SCREEN = r"coldlift> $"
MORE = r"-- Enter for more -- $"  # and when it has more than a screen full
SHELL_PROMPT = "technician# "

FIRMWARE_FOLDER = pathlib.Path("/usr/share/OVMF")
# Firmware: QEMU's machine type, code file and variables file of OVMF. "secure" enforces Secure Boot: its
# variables hold the keys that PCs are sold with.
FIRMWARE = {
    "bios": ("pc", None, None),
    "uefi": ("q35", "OVMF_CODE_4M.fd", "OVMF_VARS_4M.fd"),
    "secure": ("q35,smm=on", "OVMF_CODE_4M.secboot.fd", "OVMF_VARS_4M.ms.fd"),
    "uefi32": ("q35,smm=on", "OVMF32_CODE_4M.secboot.fd", "OVMF32_VARS_4M.fd"),
}

# How a drive can hang on the PC: SATA, old IDE, NVMe, USB in its two ways, SD card, virtio, and two SAS controllers.
BUSES = ("ahci", "ide", "nvme", "usb", "uas", "sd", "virtio", "sas", "raid")


@dataclasses.dataclass
class Drive:
    """A drive of the PC. It is attached writable: that nothing writes is what is tested."""

    path: pathlib.Path
    bus: str  # one of BUSES
    serial: str = "FERNHILL"
    blkdebug: pathlib.Path | None = None  # a blkdebug configuration: read errors
    bytes_per_second: int | None = None  # a drive that hardly answers
    forgetful: object = None  # a _forgetful.Forgetful: it has a cache, which is lost when the power is cut


class Timeout(Exception):
    pass


class Machine:
    def __init__(self, folder, firmware="bios", drives=(), boot="usb", memory=512, extra=()):
        self.folder = pathlib.Path(folder)
        self.firmware = firmware
        self.boot = boot
        self.drives = list(drives)
        self.memory = memory
        self.extra = list(extra)
        self.raw = b""  # all that came over the serial line
        self.read = 0  # characters of it that were looked at
        self.text = ""  # and the rest
        self.seconds = None  # from power-on to the start screen
        self.log = open(self.folder / f"serial-{firmware}.log", "ab")
        self.process = self.serial = self.qmp_file = None

    # --- the machine -------------------------------------------------------------------------

    def _arguments(self):
        machine, code, variables = FIRMWARE[self.firmware]
        arguments = ["nice", "qemu-system-x86_64", "-accel", "tcg", "-machine", machine, "-cpu", "max",
                     "-m", str(self.memory), "-nodefaults", "-display", "none", "-vga", "std",
                     "-no-reboot", "-rtc", "base=2026-03-01T12:00:00",
                     "-chardev", f"socket,id=serial,path={self.folder}/serial,server=on,wait=off",
                     "-serial", "chardev:serial",
                     "-qmp", f"unix:{self.folder}/qmp,server=on,wait=off",
                     "-device", "qemu-xhci,id=xhci"]
        if code:
            own = self.folder / variables
            shutil.copy(FIRMWARE_FOLDER / variables, own)
            arguments += ["-global", "driver=cfi.pflash01,property=secure,value=on",
                          "-drive", f"if=pflash,unit=0,format=raw,readonly=on,"
                                    f"file={FIRMWARE_FOLDER / code}",
                          "-drive", f"if=pflash,unit=1,format=raw,file={own}"]
            if "smm" not in machine:
                arguments[arguments.index("-global") + 1] = \
                    "driver=cfi.pflash01,property=secure,value=off"
        arguments += self._stick()
        for number, drive in enumerate(self.drives):
            arguments += self._drive(number, drive)
        return arguments + self.extra

    def _stick(self):
        if self.boot == "disc":
            return ["-drive", f"if=none,id=stick,format=raw,readonly=on,media=cdrom,file={IMAGE}",
                    "-device", "ide-cd,drive=stick,bootindex=0"]
        return ["-drive", f"if=none,id=stick,format=raw,readonly=on,file={IMAGE}",
                "-device", "usb-storage,id=stick-usb,bus=xhci.0,drive=stick,bootindex=0,removable=on"]

    def _drive(self, number, drive):
        name = f"drive{number}"
        file = f"{drive.path}"
        if drive.blkdebug:
            file = f"blkdebug:{drive.blkdebug}:{drive.path}"
        cache = "writethrough"
        if drive.forgetful:
            file, cache = drive.forgetful.url(), "writeback"
        arguments = ["-drive", f"if=none,id={name},format=raw,cache={cache},file={file}"]
        if drive.bytes_per_second:
            arguments[1] += f",throttling.bps-total={drive.bytes_per_second}"
        serial = f"{drive.serial}{number}"
        if drive.bus == "ahci":
            if self.firmware == "bios":  # its machine type has no AHCI controller of its own
                arguments += ["-device", f"ahci,id=ahci{number}"]
                bus = f"ahci{number}.0"
            else:
                bus = f"ide.{number + 1}"
            arguments += ["-device", f"ide-hd,drive={name},bus={bus},serial={serial}"]
        elif drive.bus == "ide":
            bus = "ide.1"
            if self.firmware != "bios":  # only the machine type "pc" has it by itself
                arguments += ["-device", "piix3-ide,id=old-ide"]
                bus = "old-ide.1"
            arguments += ["-device", f"ide-hd,drive={name},bus={bus},serial={serial}"]
        elif drive.bus == "nvme":
            arguments += ["-device", f"nvme,drive={name},serial={serial}"]
        elif drive.bus == "usb":
            arguments += ["-device", f"usb-storage,id=usb-{name},bus=xhci.0,drive={name},serial={serial}"]
        elif drive.bus == "virtio":
            arguments += ["-device", f"virtio-blk-pci,drive={name},serial={serial}"]
        elif drive.bus == "sd":
            arguments += ["-device", "sdhci-pci", "-device", f"sd-card,drive={name}"]
        elif drive.bus in ("uas", "sas", "raid"):
            controller = {"uas": "usb-uas,bus=xhci.0", "sas": "mptsas1068", "raid": "megasas"}[drive.bus]
            arguments += ["-device", f"{controller},id={drive.bus}{number}",
                          "-device", f"scsi-hd,drive={name},bus={drive.bus}{number}.0,serial={serial},wwn=0x5000c50015ea71ac"]
        else:
            raise ValueError(drive.bus)
        return arguments

    def __enter__(self):
        self.began = time.monotonic()
        errors = open(self.folder / "qemu.log", "ab")
        self.process = subprocess.Popen(self._arguments(), stdin=subprocess.DEVNULL,
                                        stdout=errors, stderr=errors)
        self.serial = self._connect("serial")
        self.qmp_file = self._connect("qmp").makefile("rw")
        json.loads(self.qmp_file.readline())
        self.qmp("qmp_capabilities")
        return self

    def __exit__(self, *_):
        self.process.terminate()
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.log.close()
        for name in ("serial", "qmp"):
            (self.folder / name).unlink(missing_ok=True)

    def _connect(self, name):
        for _ in range(200):
            if self.process.poll() is not None:
                break
            connection = socket.socket(socket.AF_UNIX)
            try:
                connection.connect(str(self.folder / name))
                return connection
            except OSError:
                connection.close()
                time.sleep(0.05)
        raise RuntimeError("QEMU did not start: " + (self.folder / "qemu.log").read_text())

    def qmp(self, command, **arguments):
        self.qmp_file.write(json.dumps({"execute": command, "arguments": arguments}) + "\n")
        self.qmp_file.flush()
        while True:
            answer = json.loads(self.qmp_file.readline())
            if "error" in answer:
                raise RuntimeError(f"{command}: {answer['error']}")
            if "return" in answer:
                return answer["return"]

    def press(self, key):
        self.qmp("send-key", keys=[{"type": "qcode", "data": key}])

    def cut_power(self):
        """As if the plug had been pulled: nothing is said to anybody."""
        self.process.kill()
        self.process.wait()

    def wait_off(self, seconds=60):
        """Waits until the PC has switched itself off."""
        self.process.wait(seconds)

    # --- the serial line ---------------------------------------------------------------------

    def _receive(self, seconds):
        self.serial.settimeout(max(seconds, 0.01))
        try:
            data = self.serial.recv(65536)
        except TimeoutError:
            return
        self.log.write(data)
        self.log.flush()
        self.raw += data
        text = self.raw.decode("utf-8", "ignore").replace("\r", "")
        self.text = re.sub(r"\x1b\[[=0-9;?]*[A-Za-z]", "", text)[self.read:]

    def expect(self, pattern, seconds=60):
        """Waits for the pattern; returns the match. The text up to its end counts as read."""
        until = time.monotonic() + seconds
        while True:
            found = re.search(pattern, self.text)
            if found:
                self.before = self.text[: found.start()]
                self.text = self.text[found.end():]
                self.read += found.end()
                return found
            left = until - time.monotonic()
            if left <= 0 or self.process.poll() is not None:
                raise Timeout(f"waited for {pattern!r}, last seen: {self.text[-1500:]!r}")
            self._receive(min(left, 0.5))

    def send(self, text):
        self.serial.sendall(text.encode())

    def start(self, seconds=240):
        """From power-on to the start screen. The key is pressed until GRUB's menu has taken it."""
        while not re.search(r"coldlift is starting", self.text):
            if time.monotonic() - self.began > seconds:
                raise Timeout(f"no start: {self.text[-1500:]!r}")
            self.press("s")
            self._receive(0.7)
            if self.process.poll() is not None:
                raise RuntimeError("QEMU ended: " + (self.folder / "qemu.log").read_text())
        self.screen = self.menu(seconds)
        self.seconds = time.monotonic() - self.began

    def menu(self, seconds=60, question=START_SCREEN):
        """Waits until the start screen asks for a letter, or something else, and turns the pages; the text up to there."""
        text = ""
        while True:
            found = self.expect(f"(?P<more>{MORE})|{question}", seconds)
            text += self.before
            if not found.group("more"):
                return text
            self.send("\n")

    def shell(self):
        self.send("s\n")
        self.expect(r"# $")
        self.send(f"PS1='{SHELL_PROMPT}'; stty -echo\n")
        self.expect(rf"\n{SHELL_PROMPT}$")

    def command(self, command, seconds=60):
        """What a command in the shell prints; it must succeed."""
        self.send(f"{command}; echo status $?\n")
        status = self.expect(rf"status (\d+)\n{SHELL_PROMPT}$", seconds).group(1)
        if status != "0":
            raise RuntimeError(f"on the stick, status {status}: {command}\n{self.before}")
        return self.before

    def plug_in(self, drive, name):
        """Plugs a drive into USB while the PC runs."""
        self.qmp("blockdev-add", **{"node-name": name, "driver": "raw",
                                    "file": {"driver": "file", "filename": str(drive.path)}})
        self.qmp("device_add", driver="usb-storage", id=f"usb-{name}", bus="xhci.0", drive=name,
                 serial=drive.serial)

    def pull_out(self, name):
        self.qmp("device_del", id=f"usb-{name}" if name != "stick" else "stick-usb")
