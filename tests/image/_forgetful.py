"""A drive with a cache of its own, which loses what was not flushed when the power is cut.

It is a block device for QEMU, served from this process over NBD. Whatever the PC writes is in the drive's cache until
the PC sends a flush (SCSI SYNCHRONIZE CACHE, as every file system does for fsync and for its own barriers) or writes
with "force unit access". cut() loses of the rest, by a seeded choice, either everything, or everything behind some
write, or any of the writes, and tears one of them between two sectors: all this drives may do, in whatever order they
please. So a cut loses what was only in the PC's memory (QEMU is killed) and what was only in the drive's.

Plain USB sticks (bulk-only) are not modelled: Linux takes their cache for none and sends them no flush.

Source: the Network Block Device protocol (the project's doc/proto.md: fixed newstyle negotiation, simple replies), of
which this is as much as QEMU's client needs."""

import random
import socket
import struct
import threading

OPTION_REPLY = 0x3E889045565A9
UNSUPPORTED, ACKNOWLEDGED, INFORMATION = 0x80000001, 1, 3
ABORT, GO = 2, 7
READ, WRITE, LEAVE, FLUSH = 0, 1, 2, 3
HAS_FLAGS, CAN_FLUSH, CAN_FORCE = 1, 4, 8
SECTOR = 512


class Forgetful:
    """`path` is the drive's image: it holds what the PC sees, and after cut() what is left of that."""

    def __init__(self, path, seed):
        self.path, self.random = path, random.Random(seed)
        self.file = open(path, "r+b", buffering=0)
        self.size = path.stat().st_size
        self.cached = []  # writes since the last flush: offset, bytes before, bytes after, forced
        self.written = self.flushes = 0  # since the power was switched on
        self.limit = None  # written bytes at which nothing is answered any more
        self.reached = threading.Event()
        self.socket_path = path.with_suffix(".socket")
        self.listener = socket.socket(socket.AF_UNIX)
        self.listener.bind(str(self.socket_path))
        self.listener.listen(1)
        self.lock = threading.Lock()
        threading.Thread(target=self._serve, daemon=True).start()

    def url(self):
        return f"nbd:unix:{self.socket_path}"

    def stop_after(self, size):
        """From now on so many bytes may be written; then the drive answers no more, and `reached` is set."""
        with self.lock:
            self.limit = None if size is None else self.written + size
            self.reached.clear()

    def cut(self):
        """The power is gone (QEMU was killed). Returns how many writes were lost, of how many."""
        with self.lock:
            for offset, before, _, _ in reversed(self.cached):
                self._put(offset, before)
            kept = self._choose()
            for offset, after in kept:
                self._put(offset, after)
            lost, count = len(self.cached) - len(kept), len(self.cached)
            self.cached, self.limit, self.written, self.flushes = [], None, 0, 0
        return lost, count

    def _choose(self):
        """What the drive had written before the power was gone, in the order of the PC."""
        how = self.random.choice(("none", "first", "any"))
        end = self.random.randint(0, len(self.cached))
        kept = []
        for number, (offset, _, after, forced) in enumerate(self.cached):
            if how == "first" and number == end and not forced:
                after = after[: self.random.randint(0, len(after) // SECTOR) * SECTOR]
                forced = len(after) > 0
            if forced or (how == "first" and number < end) or (how == "any" and self.random.random() < 0.5):
                kept.append((offset, after))
        return kept

    def close(self):
        self.listener.close()
        self.file.close()
        self.socket_path.unlink()

    # --- the file ------------------------------------------------------------------------------

    def _put(self, offset, data):
        self.file.seek(offset)
        self.file.write(data)

    def _get(self, offset, length):
        self.file.seek(offset)
        return self.file.read(length)

    # --- the protocol --------------------------------------------------------------------------

    def _serve(self):
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            with connection:
                try:
                    if self._negotiate(connection):
                        self._transmit(connection)
                except OSError:
                    pass  # QEMU was killed

    @staticmethod
    def _receive(connection, length):
        data = bytearray()
        while len(data) < length:
            piece = connection.recv(length - len(data))
            if not piece:
                raise OSError("the connection has ended")
            data += piece
        return bytes(data)

    def _negotiate(self, connection):
        connection.sendall(b"NBDMAGICIHAVEOPT" + struct.pack(">H", 3))
        self._receive(connection, 4)
        while True:
            _, option, length = struct.unpack(">8sII", self._receive(connection, 16))
            self._receive(connection, length)

            def reply(kind, data=b"", option=option):
                connection.sendall(struct.pack(">QIII", OPTION_REPLY, option, kind, len(data)) + data)

            if option == GO:
                reply(INFORMATION, struct.pack(">HQH", 0, self.size, HAS_FLAGS | CAN_FLUSH | CAN_FORCE))
                reply(ACKNOWLEDGED)
                return True
            reply(ACKNOWLEDGED if option == ABORT else UNSUPPORTED)
            if option == ABORT:
                return False

    def _transmit(self, connection):
        while True:
            _, force, command, handle, offset, length = struct.unpack(">IHHQQI", self._receive(connection, 28))
            if command == LEAVE:
                return
            data = self._receive(connection, length) if command == WRITE else b""
            with self.lock:
                if self.limit is not None and self.written >= self.limit:
                    self.reached.set()
                    return  # the connection ends, and with it every answer
                answer = self._do(command, offset, length, data, bool(force & 1))
            connection.sendall(struct.pack(">IIQ", 0x67446698, 0, handle) + answer)

    def _do(self, command, offset, length, data, forced):
        if command == READ:
            return self._get(offset, length)
        if command == WRITE:
            self.cached.append((offset, self._get(offset, length), data, forced))
            self._put(offset, data)
            self.written += length
        elif command == FLUSH:
            self.cached = []
            self.flushes += 1
        return b""
