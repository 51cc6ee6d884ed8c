"""An S3 server on this machine's own address, for tests of results in a bucket: `python bucket_server.py`.

It says its address in a line, and ends when its standard input does, so that it can't outlive the test.
"""

import contextlib
import logging
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

# The server takes any; the plugin must have some.
KEYS = {"AWS_ACCESS_KEY_ID": "anybody", "AWS_SECRET_ACCESS_KEY": "anything"}


@dataclass(frozen=True)
class Bucket:
    """A bucket on a server that runs: its name, the server's address."""

    name: str
    address: str

    def _open(self):
        import boto3

        keys = {"aws_access_key_id": KEYS["AWS_ACCESS_KEY_ID"], "aws_secret_access_key": KEYS["AWS_SECRET_ACCESS_KEY"]}
        return boto3.resource("s3", endpoint_url=self.address, region_name="us-east-1", **keys).Bucket(self.name)

    def names(self):
        return [one.key for one in self._open().objects.all()]

    def put(self, name, content):
        self._open().put_object(Key=name, Body=content)

    def fetch(self, prefix, folder):
        """Copy what is below a prefix into a folder."""
        for one in self._open().objects.filter(Prefix=prefix):
            path = folder / Path(one.key).relative_to(prefix)
            path.parent.mkdir(parents=True, exist_ok=True)
            one.Object().download_file(str(path))


@contextlib.contextmanager
def served_bucket(name):
    """Start a server, and give a bucket that isn't there yet: Snakemake makes it."""
    command = [sys.executable, str(Path(__file__))]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(command, env=os.environ | KEYS, **pipes) as process:
        try:
            yield Bucket(name, process.stdout.readline().strip())
        finally:
            process.stdin.close()
            process.wait(timeout=30)


def serve():
    from moto.server import ThreadedMotoServer

    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    print("http://{}:{}".format(*server.get_host_and_port()), flush=True)
    sys.stdin.read()
    server.stop()


if __name__ == "__main__":
    serve()
