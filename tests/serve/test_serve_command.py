"""`yardband serve` and `yardband open` as processes, asked over loopback addresses alone."""

import contextlib
import os
import re
import signal
import socket
import stat
import subprocess

import pytest
from served import ACADEMY, LOOKUP, PHONE, SECRET, asked, command, environment, make_study, sent, served


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("served")
    make_study(folder)
    return folder


@pytest.fixture(scope="module")
def here(folder):
    with served(folder) as server:
        yield server


@pytest.fixture(scope="module")
def phone(folder):
    with served(folder, "--phone", "--address", PHONE) as server:
        yield server


def run(folder, *arguments, **changed):
    return subprocess.run(
        command(*arguments),
        cwd=folder,
        env=environment() | changed,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def test_both_pages_are_served_on_this_machine(here):
    academy, lookup = here.addresses
    assert re.fullmatch(r"http://127\.0\.0\.1:\d+/hill-school/academy\.html", academy)
    assert "Only this computer can open them, but so can anyone else who is logged in to it." in here.said[-1]
    for address, page in ((academy, ACADEMY), (lookup, LOOKUP)):
        status, headers, body = asked(address, re.sub(r"http://[^/]+", "", address))
        assert (status, body.decode(), headers["content-type"]) == (200, page, "text/html; charset=utf-8")
        assert {"server", "via", "set-cookie"} & set(headers) == set()
        status, headers, body = asked(address, re.sub(r"http://[^/]+", "", address), method="HEAD")
        assert (status, headers["content-length"], body) == (200, str(len(page)), b"")


def test_it_listens_on_the_loopback_address_alone(here):
    port = int(re.search(r":(\d+)/", here.addresses[0]).group(1))
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((PHONE, port), timeout=5)


ATTACKS = [
    "/hill-school/../outside.html", "/hill-school/%2e%2e/outside.html", "/hill-school/..%2foutside.html",
    "/hill-school/%252e%252e%252foutside.html", "/hill-school/..\\outside.html", "/hill-school/..%5coutside.html",
    "/hill-school/%c0%ae%c0%ae/outside.html", "/hill-school/....//outside.html", "/../../../../../../etc/passwd",
    "//etc/passwd", "/etc/passwd", "/hill-school//etc/passwd", "/hill-school/%2fetc%2fpasswd",
    "file:///etc/passwd", "/hill-school/link.html", "/hill-school/linked/outside.html", "/hill-school/.hidden.html",
    "/hill-school/%2ehidden.html", "/hill-school/data.csv", "/hill-school/sub/page.html", "/hill-school/sub",
    "/hill-school/pipe.html", "/hill-school/academy.html%00.html", "/hill-school/academy.html::$DATA",
    "/hill-school/con", "/hill-school/nul.html", "/dev/stdin", "/hill-school/academy.html/..%2f..%2foutside.html",
    "/study/names.csv", "/hill-school/~", "/hill-school/*", "/hill-school/" + "a" * 8000,
]  # fmt: skip


@pytest.mark.parametrize("target", ATTACKS)
def test_nothing_outside_the_pages_is_read(here, phone, target):
    for server in (here, phone):
        prefix = re.sub(r"http://[^/]+/|/[^/]+$", "", server.addresses[0])
        status, headers, body = asked(server.addresses[0], target.replace("/hill-school/", f"/{prefix}/"))
        assert status == 404
        assert headers["x-content-type-options"] == "nosniff"
        assert SECRET.encode() not in body
        assert b"root:" not in body


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND"])
def test_other_methods_change_and_give_nothing(here, folder, method):
    more = "Content-Length: 4\r\n"
    status, headers, body = asked(here.addresses[0], "/hill-school/academy.html", method=method, more=f"{more}\r\nabcd")
    assert (status, headers["allow"], ACADEMY.encode() in body) == (405, "GET, HEAD", False)
    assert (folder / "results/hill-school/report/academy.html").read_text(encoding="utf-8") == ACADEMY


def test_another_host_is_not_answered(here):
    for host in ("evil.example", "evil.example:8417", "127.0.0.1", ""):
        assert asked(here.addresses[0], "/hill-school/academy.html", host=host)[0] == 404
    port = re.search(r":(\d+)/", here.addresses[0]).group(1)
    assert asked(here.addresses[0], "/hill-school/academy.html", host=f"localhost:{port}")[0] == 200
    twice = f"Host: 127.0.0.1:{port}\r\n"
    assert asked(here.addresses[0], "/hill-school/academy.html", host="evil.example", more=twice)[0] in (400, 404)


NO_REQUESTS = [
    b"\r\n\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\x00\xff\x16\x03\r\n\r\n",
    b"GET /hill-school/\xff\xfe HTTP/1.1\r\n\r\n",
    b"GET / HTTP/1.1\r\nA: " + b"a" * 20000 + b"\r\n\r\n", b"GET / HTTP/1.1\r\nTransfer-Encoding: x\r\n\r\n",
]  # fmt: skip


@pytest.mark.parametrize("request_", NO_REQUESTS)
def test_what_is_no_request_does_no_harm(here, phone, request_):
    for server in (here, phone):
        with socket.create_connection(
            re.match(r"http://([\d.]+):(\d+)", server.addresses[0]).groups(), timeout=60
        ) as one:
            one.sendall(request_)
            with contextlib.suppress(OSError):  # the server may have hung up already
                one.shutdown(socket.SHUT_WR)
            answered = one.recv(65536)
        assert b"hill-school" not in answered
        assert b"aitress" not in answered
        assert b"ardband" not in answered
        assert server.process.poll() is None
    assert asked(here.addresses[0], "/hill-school/academy.html")[0] == 200


def test_a_phone_gets_the_coachs_page_alone(phone):
    [address] = phone.addresses
    path = re.sub(r"http://[^/]+", "", address)
    folder = path.rpartition("/")[0]
    assert len(folder) == 1 + 22  # 128 bits in base64
    assert asked(address, path)[::2] == (200, LOOKUP.encode())
    lost = asked(address, "/")[::2]
    assert lost == (404, b"Not found.\n")
    for target in (f"{folder}/academy.html", "/hill-school/lookup.html", "/lookup.html", f"{folder[:-1]}/lookup.html",
                   "/academy.html", f"{folder}x/lookup.html", f"{folder}/outside.html", f"{folder}"):  # fmt: skip
        assert asked(address, target)[::2] == lost
    assert asked(address, path, host="evil.example")[::2] == lost
    assert asked(address, path, host="127.0.0.1:8417")[::2] == lost
    for name in ("lookup.webmanifest", "lookup_worker.js", "icon.svg", "icon-192.png", "icon-512.png"):
        assert asked(address, f"{folder}/{name}")[0] == 200
    assert asked(address, f"{folder}/lookup.html", method="POST")[0] == 405


def test_a_phones_address_is_new_each_time_and_drawn(folder, phone):
    with served(folder, "--phone", "--address", PHONE) as other:
        assert other.addresses[0].split("/")[3] != phone.addresses[0].split("/")[3]
        # A fallback port where the first has the usual one.
        text = "".join(other.said)
    assert text.count("\u2588") > 50
    assert "anyone on this network who has the address can see the benchmarks" in text


def test_a_terminal_without_blocks_gets_the_address_alone(folder):
    environ = environment() | {"PYTHONIOENCODING": "ascii"}
    process = subprocess.Popen(
        command("serve", "study", "--phone", "--address", PHONE),
        cwd=folder,
        env=environ,
        stdout=subprocess.PIPE,
        text=True,
    )
    said = ""
    while "Press Ctrl+C" not in said:
        said += process.stdout.readline()
        assert process.poll() is None
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=60)
    assert "This terminal can't show a QR code." in said
    assert process.returncode == 0


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("arguments", [(), ("--phone", "--address", PHONE)])
def test_it_ends_plainly(folder, number, arguments):
    with served(folder, *arguments) as server:
        host, port = re.match(r"http://([\d.]+):(\d+)", server.addresses[0]).groups()
        with socket.create_connection((host, int(port)), timeout=10) as idle:  # a browser keeps its connection
            idle.sendall(b"GET / HTTP/1.1\r\n")
            assert server.stop(number) == (0, "Stopped.\n", "")
        with pytest.raises(ConnectionRefusedError):
            sent(server.addresses[0], b"GET / HTTP/1.1\r\n\r\n")


def test_a_busy_port_gives_one_sentence(folder):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = run(folder, "serve", "study", "--port", str(port))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"Port {port} is in use; stop the program that uses it, or give another port after --port.\n"


def test_where_the_usual_port_is_busy_another_is_named(folder, here):
    # Whoever has the usual port by now, this server or another program, it isn't free.
    with served(folder) as other:
        said = "".join(other.said)
    assert other.addresses[0] != here.addresses[0]
    assert "Port 8417 is in use, so this is another." in said


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("serve", "study", "--address", PHONE), "--address goes with --phone"),
        (("serve", "study", "--phone", "--address", "0.0.0.0"), "isn't in a local network"),
        (("serve", "study", "--phone", "--address", "192.168.255.254"), "isn't an address of this computer"),
        (("serve", "study", "--port", "0"), "--port"),
        (("serve", "nowhere"), "nowhere/study.yaml"),
        (("open", "nowhere"), "nowhere/study.yaml"),
    ],
)
def test_what_cannot_be_served_is_told_in_a_line(folder, arguments, told):
    done = run(folder, *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert told in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("name", ["open", "serve"])
def test_without_results_it_says_what_to_run(folder, tmp_path, name):
    done = run(tmp_path, name, str(folder / "study"))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "results/hill-school/report/academy.html: not made yet; run snakemake --cores 2 --config "
        f"study={folder}/study first.\n"
    )


def test_open_gives_the_file_to_the_browser(folder, tmp_path):
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > {tmp_path}/asked\n', encoding="utf-8")
    browser.chmod(browser.stat().st_mode | stat.S_IXUSR)
    done = run(folder, "open", "study", BROWSER=str(browser))
    page = folder / "results/hill-school/report/academy.html"
    assert (done.returncode, done.stdout, done.stderr) == (0, f"{page}\n", "")
    assert (tmp_path / "asked").read_text(encoding="utf-8") == f"{page.as_uri()}\n"


def test_open_without_a_browser_still_names_the_page(folder, tmp_path):
    done = run(folder, "open", "study", BROWSER="", PATH=os.fspath(tmp_path), DISPLAY="", WAYLAND_DISPLAY="")
    assert done.returncode == 0
    assert done.stdout == f"{folder}/results/hill-school/report/academy.html\n"
    assert done.stderr == "No browser could be started here. Open the file yourself.\n"
