"""Programs run as by `python -m`, quickly: forked from a process that has imported their libraries already.

Most of what a short command or a dry run of the workflow takes is imports and digests of code. What is forked has its
own arguments, folder, environment and streams, and ends as any process does. Tests of how a program starts, is killed
or runs short of something start it themselves.
"""

import atexit
import gc
import importlib
import json
import os
import runpy
import signal
import subprocess
import sys
import tempfile
import threading
from functools import cache
from pathlib import Path

from pipeline.running.forked_steps import WITHOUT_THREADS, threads_at_work

ROOT = Path(__file__).parents[1]
PROGRAMS = ("pipeline", "snakemake")
# What the programs import, as they begin or for what is asked of them most; whatever else they need they import then.
IMPORTED = (
    "pipeline.cli",
    "pipeline.benchmark.lookup_command",
    "pipeline.collect.check_command",
    "pipeline.coach.goals.goal_command",
    "snakemake.cli",
    "pipeline.edge.run_logs",
    "pipeline.running.start",
)


def run(arguments, folder, environment, timeout_s=600):
    """Run Python with arguments that begin with `-m` and one of `PROGRAMS`; give what `subprocess.run` would.

    Its modules are those of this working copy, which must be the environment's PYTHONPATH.
    """
    dash, program, *_ = arguments
    assert (dash, program in PROGRAMS) == ("-m", True), arguments
    assert environment["PYTHONPATH"] == str(ROOT)
    if sys.platform != "linux" or not _server()[1]:  # elsewhere libraries aren't safe to fork
        return subprocess.run(
            [sys.executable, *arguments],
            cwd=folder,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=timeout_s,
        )
    with tempfile.TemporaryDirectory() as place:
        streams = [f"{place}/out", f"{place}/err"]
        status = _ask(
            {
                "program": program,
                "arguments": arguments[2:],
                "folder": str(folder),
                "environment": dict(environment),
                "streams": streams,
                "timeout_s": timeout_s,
            }
        )
        out, err = (Path(path).read_text(encoding="utf-8") for path in streams)
    return subprocess.CompletedProcess([sys.executable, *arguments], status, out, err)


def _ask(request):
    server, _ = _server()
    server.stdin.write(json.dumps(request) + "\n")
    server.stdin.flush()
    answer = server.stdout.readline()
    assert answer, "the process from which programs are forked has ended"
    return json.loads(answer)


@cache
def _server():
    """Give the process that forks, and whether it can: with threads of libraries at work it can't."""
    paths = os.pathsep.join((str(ROOT), str(ROOT / "tests")))
    environment = os.environ | WITHOUT_THREADS | {"PYTHONPATH": paths}
    command = [sys.executable, "-P", "-c", "import forked; forked.serve()"]
    server = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, cwd=ROOT, text=True
    )
    atexit.register(server.wait)
    atexit.register(server.stdin.close)
    return server, json.loads(server.stdout.readline())


def serve():
    """Fork a process for every request that comes in, one after another, and answer with its exit status."""
    asked, answers = (os.fdopen(os.dup(number), mode) for number, mode in ((0, "r"), (1, "w")))
    os.dup2(2, 1)  # nothing but answers goes there
    _prepare()
    print(json.dumps(not threads_at_work()), file=answers, flush=True)
    for line in asked:
        request = json.loads(line)
        process = os.fork()
        if process == 0:
            for stream in (asked, answers):
                stream.close()
            _become(request)
            return
        late = threading.Timer(request["timeout_s"], os.kill, (process, signal.SIGKILL))
        late.start()
        status = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
        late.cancel()
        late.join()  # no thread lives when the next one is forked
        print(json.dumps(status), file=answers, flush=True)


def _prepare():
    """Import what programs import, and remember what they would make of the code."""
    for module in IMPORTED:
        importlib.import_module(module)
    from snakemake.cli import get_argument_parser  # in this process alone
    from steps import steps

    from pipeline.workflow import code_of

    get_argument_parser()  # which imports Snakemake's plugins
    for name in steps():
        code_of(name)
    gc.freeze()


def _become(request):
    """Turn this process into the one that is asked for."""
    os.chdir(request["folder"])
    os.environ.clear()
    os.environ.update(request["environment"])
    for number, (path, mode) in enumerate(
        [(os.devnull, os.O_RDONLY), *((path, os.O_WRONLY | os.O_CREAT | os.O_APPEND) for path in request["streams"])]
    ):
        opened = os.open(path, mode)
        os.dup2(opened, number)
        os.close(opened)
    tempfile.tempdir = None  # the environment may name another
    ours = {str(ROOT), str(ROOT / "tests")}
    sys.path[:] = [request["folder"], str(ROOT), *(path for path in sys.path if path not in ours)]
    sys.argv[:] = ["-m", *request["arguments"]]
    runpy.run_module(request["program"], run_name="__main__", alter_sys=True)
