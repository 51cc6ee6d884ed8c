"""A Slurm of one node on this machine, for tests: Debian's packages slurm-wlm and munge, no systemd, no accounting.

Needs root, and `/etc/slurm/slurm.conf` to be free: the executor plugin clears SLURM_CONF before a job's own srun, which
then looks there.
"""

import contextlib
import os
import re
import secrets
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path

LINK = Path("/etc/slurm/slurm.conf")
COMMANDS = ("munged", "munge", "slurmctld", "slurmd", "sbatch", "srun", "squeue", "scancel", "scontrol", "sinfo")
CPUS = 8  # more than the machine may have: jobs queue by what they ask, not by what they use
MEMORY_MB = 64_000  # likewise
LIMIT_S = 30

CONF = """
ClusterName=single
SlurmctldHost={node}({address})
SlurmctldPort={port}
SlurmdPort={slurmd_port}
# Bind the node's own address, not every one of the machine.
CommunicationParameters=NoCtldInAddrAny,NoInAddrAny
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket={folder}/munge.socket
CredType=cred/munge
StateSaveLocation={folder}/state
SlurmdSpoolDir={folder}/spool
SlurmctldPidFile={folder}/slurmctld.pid
SlurmdPidFile={folder}/slurmd.pid
SlurmctldLogFile={folder}/slurmctld.log
SlurmdLogFile={folder}/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
MpiDefault=none
SwitchType=switch/none
ReturnToService=2
SelectType=select/cons_tres
SelectTypeParameters=CR_Core_Memory
SchedulerType=sched/backfill
SchedulerParameters=batch_sched_delay=0,bf_interval=1,sched_interval=1
# squeue goes on telling of ended jobs for this long, in seconds.
MinJobAge=3600
SlurmdParameters=config_overrides
NodeName={node} NodeAddr={address} CPUs={cpus} RealMemory={memory_mb} State=UNKNOWN
PartitionName=single Nodes={node} Default=YES MaxTime=INFINITE State=UP
"""


def why_not():
    """Say why a Slurm can't be started here; empty if it can."""
    missing = [name for name in COMMANDS if shutil.which(name) is None]
    if missing:
        return f"Slurm is not installed ({', '.join(missing)} missing): apt-get install slurm-wlm munge"
    if os.geteuid() != 0:
        return "Slurm's daemons need root here"
    if LINK.exists() or LINK.is_symlink():
        return f"{LINK} exists: this machine has a Slurm of its own, or a killed run of the tests left it"
    try:
        socket.gethostbyname(_node())
    except OSError:
        return f"the host's name is not known: add '127.0.0.1 {_node()}' to /etc/hosts"
    return ""


@contextlib.contextmanager
def single_slurm():
    """Start munged, slurmctld and slurmd, wait until the node is idle, and end them afterwards, jobs and all."""
    with contextlib.ExitStack() as stack:
        # A short path: that of a socket must stay under 108 characters.
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="slurm-")))
        folder.chmod(0o755)  # munged insists on a way to its socket
        _configure(folder)
        LINK.parent.mkdir(parents=True, exist_ok=True)
        LINK.symlink_to(folder / "slurm.conf")
        stack.callback(LINK.unlink)
        munged = ["munged", "--foreground", f"--key-file={folder}/munge.key", f"--socket={folder}/munge.socket"]
        munged += [f"--{name}-file={folder}/munged.{name}" for name in ("pid", "seed", "log")]
        stack.enter_context(_daemon(folder, munged))
        _wait(folder, ["munge", "--no-input", f"--socket={folder}/munge.socket"])
        stack.enter_context(_daemon(folder, ["slurmctld", "-D"]))
        _wait(folder, ["scontrol", "ping"])
        stack.enter_context(_daemon(folder, ["slurmd", "-D", "-N", _node()]))
        _wait(folder, ["sinfo", "--noheader", "--format=%t"], "idle")
        stack.callback(_cancel)
        yield


def finished_jobs():
    """Give the comments of the jobs that Slurm completed; the executor plugin writes rule and wildcards there."""
    listed = _asked("squeue", "--states=all", "--noheader", "--format=%T %k").splitlines()
    return [line.removeprefix("COMPLETED ") for line in listed if line.startswith("COMPLETED ")]


def _node():
    return socket.gethostname().split(".")[0]


def _configure(folder):
    for name in ("state", "spool"):
        (folder / name).mkdir()
    key = folder / "munge.key"
    key.touch(mode=0o600)
    key.write_bytes(secrets.token_bytes(1024))
    port, slurmd_port = _free_ports(2)
    values = {"folder": folder, "node": _node(), "address": socket.gethostbyname(_node()), "port": port}
    values |= {"slurmd_port": slurmd_port, "cpus": CPUS, "memory_mb": MEMORY_MB}
    (folder / "slurm.conf").write_text(CONF.format(**values), encoding="utf-8")


def _free_ports(count):
    with contextlib.ExitStack() as stack:
        taken = [stack.enter_context(socket.create_server(("", 0))) for _ in range(count)]
        return [one.getsockname()[1] for one in taken]


@contextlib.contextmanager
def _daemon(folder, command):
    with (folder / f"{command[0]}.out").open("wb") as said:
        process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=said, stderr=said, start_new_session=True)
    try:
        yield
    finally:
        process.terminate()
        try:
            process.wait(timeout=LIMIT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _asked(*command):
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=LIMIT_S).stdout


def _wait(folder, command, wanted=None):
    """Ask until the command succeeds, with the wanted word in its answer."""
    until = time.monotonic() + LIMIT_S
    while time.monotonic() < until:
        asked = subprocess.run(command, capture_output=True, text=True, check=False, timeout=LIMIT_S)
        if asked.returncode == 0 and (wanted is None or re.search(rf"\b{wanted}\b", asked.stdout)):
            return
        time.sleep(0.1)
    told = "".join(path.read_text(errors="replace")[-2000:] for path in sorted(folder.glob("*.[lo][ou][gt]")))
    raise TimeoutError(f"{' '.join(command)} gave no good answer in {LIMIT_S} s:\n{told}")


def _cancel():
    # A job's own processes would outlive slurmd.
    _asked("scancel", "--state=PENDING")
    _asked("scancel", "--state=RUNNING")
    until = time.monotonic() + LIMIT_S
    while _asked("squeue", "--noheader") and time.monotonic() < until:
        time.sleep(0.1)
