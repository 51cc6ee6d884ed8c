"""A study with pages, and `yardband serve` as a real process on a loopback address."""

import os
import re
import signal
import socket
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[1]
SECRET = "only-the-academy-may-read-this"
ACADEMY = "<!DOCTYPE html><title>Academy</title><p>the director's page"
LOOKUP = "<!DOCTYPE html><title>Lookup</title><p>the coach's page"
PHONE = "127.0.0.2"  # stands for the machine's address in a local network
READY = "Press Ctrl+C to stop."
PATIENCE_S = 60


def make_study(folder, lookup=LOOKUP):
    """Make a study, its pages, and files beside and in their folder that nobody may see; give the report folder."""
    study, report = folder / "study", folder / "results/hill-school/report"
    study.mkdir()
    report.mkdir(parents=True)
    (study / "study.yaml").write_text("study: hill-school\nlogs:\n  - {files: logs/*.csv}\n", encoding="utf-8")
    (study / "names.csv").write_text(SECRET, encoding="utf-8")
    (report / "academy.html").write_text(ACADEMY, encoding="utf-8")
    (report / "lookup.html").write_text(lookup, encoding="utf-8")
    for name in (".hidden.html", "data.csv", "sub/page.html", "../outside.html", "../../outside.html"):
        (report / name).parent.mkdir(exist_ok=True)
        (report / name).write_text(SECRET, encoding="utf-8")
    (report / "link.html").symlink_to("../outside.html")
    (report / "linked").symlink_to("..", target_is_directory=True)
    os.mkfifo(report / "pipe.html")
    return report


@dataclass
class Served:
    """A running server."""

    process: subprocess.Popen
    said: list[str] = field(default_factory=list)

    @property
    def addresses(self):
        return re.findall(r"http://\S+", "".join(self.said))

    def stop(self, number=signal.SIGINT):
        """Send a signal; give the exit status, and what was printed since it was ready."""
        self.process.send_signal(number)
        out, err = self.process.communicate(timeout=PATIENCE_S)
        return self.process.returncode, out, err


def command(*arguments):
    return [sys.executable, "-m", "pipeline", *arguments]


def environment():
    return os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}


@contextmanager
def served(folder, *arguments, study="study"):
    """Run `yardband serve` in a folder until the block ends."""
    process = subprocess.Popen(
        command("serve", study, *arguments), cwd=folder, env=environment(),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8",
    )  # fmt: skip
    try:
        server = Served(process)
        while READY not in "".join(server.said):
            line = process.stdout.readline()
            assert line, process.stderr.read()
            server.said.append(line)
        yield server
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def sent(address, request):
    """Send raw bytes to an address's host and port; give all that comes back."""
    host, port = re.match(r"http://([\d.]+):(\d+)", address).groups()
    with socket.create_connection((host, int(port)), timeout=PATIENCE_S) as connection:
        connection.sendall(request)
        parts = []
        while part := connection.recv(65536):
            parts.append(part)
    return b"".join(parts)


def asked(address, target, *, method="GET", host=None, more=""):
    """Ask for a target as it is written; give the status, the headers in lower case, and the body."""
    own = re.match(r"http://([\d.]+:\d+)", address).group(1)
    head = f"{method} {target} HTTP/1.1\r\nHost: {own if host is None else host}\r\nConnection: close\r\n{more}\r\n"
    answered = sent(address, head.encode("latin-1"))
    head, _, body = answered.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    headers = {name.lower(): value for name, value in (line.split(": ", 1) for line in lines)}
    return int(first.split()[1]), headers, body
