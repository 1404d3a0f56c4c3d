"""What the service stands in: a small disk, meters on serial lines, somebody who is told by webhook."""

import asyncio
import base64
import contextlib
import hmac
import json
import os
import resource
import sqlite3
import shutil
import subprocess
import tempfile
import tty
from collections import Counter
from pathlib import Path


class Disk:
    """A file system in memory where this process may mount, else a folder."""

    def __init__(self, folder, megabytes):
        self.folder = folder
        folder.mkdir()
        size = f"size={megabytes}m"
        mounting = subprocess.run(["mount", "-t", "tmpfs", "-o", size, "tmpfs", str(folder)], capture_output=True, text=True)
        self.mounted = mounting.returncode == 0
        self.what = f"a tmpfs of {megabytes} MiB" if self.mounted else f"RLIMIT_FSIZE ({mounting.stderr.strip()})"
        self.ballast = folder / "ballast"

    def fill(self):
        """Takes what room there is, to the last byte; of the small disk alone, never of the machine's."""
        if not self.mounted:
            raise RuntimeError("there is no small disk to fill")
        with self.ballast.open("ab", buffering=0) as ballast:
            for size in (1 << 22, 1 << 16, 1 << 12, 1):
                with contextlib.suppress(OSError):
                    while True:
                        ballast.write(bytes(size))

    def free(self):
        self.ballast.unlink(missing_ok=True)

    def used(self):
        """Of a hundred."""
        total = shutil.disk_usage(self.folder)
        return round(100 * total.used / total.total)

    def unmount(self):
        if self.mounted:
            subprocess.run(["umount", "-l", str(self.folder)], capture_output=True)


def limit_files(process, journal):
    """No file of a process may grow beyond what its log of changes has now; None takes the limit away."""
    if journal is None:
        resource.prlimit(process, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        return
    sizes = [part.stat().st_size for part in (journal, Path(f"{journal}-wal")) if part.exists()]
    resource.prlimit(process, resource.RLIMIT_FSIZE, (max(sizes), resource.RLIM_INFINITY))


def integrity(journal):
    """SQLite's own check of a copy, so that what a kill left is not touched."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.db"
        shutil.copy(journal, copy)
        changes = Path(f"{journal}-wal")
        if changes.exists():
            shutil.copy(changes, f"{copy}-wal")
        with contextlib.closing(sqlite3.connect(copy)) as database:
            return [row[0] for row in database.execute("PRAGMA integrity_check")] + database.execute("PRAGMA foreign_key_check").fetchall()


class Meter:
    """A multimeter that speaks FS9922 on a pseudo-terminal: 12.50 V and thereabouts, five times a second."""

    def __init__(self, link):
        self.name, self.own, self.other = link, None, None
        self.plug()

    def plug(self):
        self.own, self.other = os.openpty()
        tty.setraw(self.other)
        os.set_blocking(self.own, False)
        new = self.name.with_suffix(".new")
        new.unlink(missing_ok=True)
        new.symlink_to(os.ttyname(self.other))
        new.rename(self.name)

    def unplug(self):
        self.name.unlink()
        os.close(self.own)
        os.close(self.other)
        self.own = None

    async def run(self):
        count = 0
        while True:
            await asyncio.sleep(0.2)
            count += 1
            if self.own is not None:
                with contextlib.suppress(BlockingIOError):
                    os.write(self.own, b"+%04d 2" % (1250 + count % 10) + b"\x31\x00\x00\x80\x0c\r\n")
                # Nobody asks it anything: what comes is let go.
                with contextlib.suppress(OSError):
                    os.read(self.own, 4096)


class Webhook:
    """Who is told of jobs: verifies each signature and notes each event."""

    def __init__(self, folder):
        self.secret = os.urandom(32)
        self.secret_file = folder / "soak.whsec"
        self.secret_file.write_text("whsec_" + base64.b64encode(self.secret).decode())
        self.secret_file.chmod(0o600)
        self.seen, self.order, self.problem = Counter(), {}, None

    async def start(self):
        self.server = await asyncio.start_server(self.take, "127.0.0.1", 0)
        self.url = f"http://127.0.0.1:{self.server.sockets[0].getsockname()[1]}/told"

    async def take(self, reader, writer):
        try:
            while head := await reader.readuntil(b"\r\n\r\n"):
                rows = dict(row.split(": ", 1) for row in head.decode().lower().split("\r\n")[1:] if ": " in row)
                body = await reader.readexactly(int(rows["content-length"]))
                signed = [row for row in head.decode().split("\r\n") if row.lower().startswith("webhook-signature: ")][0]
                told = f"{rows['webhook-id']}.{rows['webhook-timestamp']}.".encode() + body
                digest = base64.b64encode(hmac.digest(self.secret, told, "sha256")).decode()
                event = json.loads(body)
                if f"v1,{digest}" not in signed.split(": ", 1)[1].split():
                    # Names in the head are written in any case; so is the id.
                    self.problem = f"an event is not signed: {body[:200]}"
                if self.seen[event["id"]] == 0:
                    job = event["data"].get("job")
                    job = job["job"] if isinstance(job, dict) else job or event.get("subject", "").split("/")[-1]
                    self.order.setdefault(job, []).append(event["type"])
                self.seen[event["id"]] += 1
                writer.write(b"HTTP/1.1 204 No Content\r\n\r\n")
                await writer.drain()
        except (asyncio.IncompleteReadError, OSError):
            pass
        finally:
            writer.close()


