import pytest

from pipeline.serve.answers import HEADERS, Share, answer, application

HOST = "127.0.0.1:8417"
NAMES = {"academy.html": b"director", "lookup.html": b"coach", "lookup.webmanifest": b"{}", "icon.svg": b"<svg/>"}
NAMES |= {"icon-192.png": b"1", "icon-512.png": b"5", "lookup_worker.js": b"worker"}
SECRET = "s3cretS3CRETs3cretS3C_"
HERE = Share(frozenset({HOST, "localhost:8417"}), "hill-school", NAMES.get)
PHONE = Share(frozenset({"192.168.1.5:8417"}), SECRET, NAMES.get, phone=True)


def here(target, method="GET", host=HOST):
    return answer(HERE, method, target, host)


def phone(target, method="GET", host="192.168.1.5:8417"):
    return answer(PHONE, method, target, host)


@pytest.mark.parametrize("name", NAMES)
def test_every_name_is_found_in_the_studys_folder(name):
    found = here(f"/hill-school/{name}")
    assert (found.status, found.body) == ("200 OK", NAMES[name])
    assert found.headers["Content-Length"] == str(len(NAMES[name]))


@pytest.mark.parametrize("target", ["/", "/hill-school/", "/hill-school/?a=1"])
def test_a_folder_leads_to_its_front_page(target):
    found = here(target)
    assert (found.status, found.headers["Location"]) == ("302 Found", "/hill-school/academy.html")
    found = phone(f"/{SECRET}/")
    assert (found.status, found.headers["Location"]) == ("302 Found", f"/{SECRET}/lookup.html")


def test_a_browser_gets_its_icon_where_it_looks():
    assert here("/favicon.ico").body == NAMES["icon.svg"]
    assert here("/favicon.ico").headers["Content-Type"] == "image/svg+xml"
    assert phone("/favicon.ico").status == "404 Not Found"


OTHER_WAYS = [
    "", "*", "hill-school/academy.html", "//hill-school/academy.html", "/hill-school//academy.html",
    "/./hill-school/academy.html", "/hill-school/../hill-school/academy.html", "/hill-school/academy.html/",
    "/hill-school/%61cademy.html", "/hill-school%2facademy.html", "/hill-school/..", "/hill-school/%2e%2e/x",
    "/hill-school\\academy.html", "/hill-school/academy.html%00", "/hill-school/academy.html;a", "/hill-school",
    "/HILL-SCHOOL/academy.html", "/hill-school/ACADEMY.html", "/academy.html", "/hill-school/academy.html#a",
    f"http://{HOST}/hill-school/academy.html", "/hill-school/\u00e9.html", "/\ud800/academy.html",
]  # fmt: skip


@pytest.mark.parametrize("target", OTHER_WAYS)
def test_an_address_written_in_another_way_is_not_found(target):
    found = here(target)
    assert found.status == "404 Not Found"
    assert b"yardband open STUDY" in found.body


@pytest.mark.parametrize(
    "host", ["", "evil.example", "127.0.0.1", "127.0.0.1:80", "localhost", f"{HOST}, {HOST}", "[::1]:8417"]
)
def test_another_host_is_not_answered(host):
    for target in ("/hill-school/academy.html", "/"):
        found = here(target, host=host)
        assert (found.status, found.body) == ("404 Not Found", b"Not found.\n")


def test_localhost_is_answered_however_it_is_written():
    assert here("/hill-school/academy.html", host="LocalHost:8417").status == "200 OK"


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "get", "X"])
def test_it_is_read_only(method):
    found = here("/hill-school/academy.html", method)
    assert (found.status, found.headers["Allow"]) == ("405 Method Not Allowed", "GET, HEAD")
    assert NAMES["academy.html"] not in found.body
    # With the wrong address nothing is learnt from it either.
    assert phone("/wrong/lookup.html", method) == phone("/wrong/lookup.html")


def test_every_answer_has_the_headers_of_safety():
    answers = [here(f"/hill-school/{name}") for name in NAMES]
    answers += [here("/"), here("/no"), here("/hill-school/lookup.html", "POST"), phone("/no")]
    for found in answers:
        assert found.headers.items() >= HEADERS.items()
        assert found.headers["X-Content-Type-Options"] == "nosniff"
        assert found.headers["Referrer-Policy"] == "no-referrer"
        assert "frame-ancestors 'none'" in found.headers["Content-Security-Policy"]
    for name in NAMES:
        kept = "no-store" if name == "academy.html" else "no-cache"
        assert here(f"/hill-school/{name}").headers["Cache-Control"] == kept
    assert {found.headers["Cache-Control"] for found in answers[len(NAMES) :]} == {"no-store"}


def test_the_worker_may_fetch_from_here_alone():
    policy = here("/hill-school/lookup_worker.js").headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; connect-src 'self'; ")


def test_a_phone_gets_the_coachs_page_and_its_shell_alone():
    assert {name for name in NAMES if phone(f"/{SECRET}/{name}").status == "200 OK"} == set(NAMES) - {"academy.html"}


WRONG_SECRETS = ["", "hill-school", SECRET[:-1], f"{SECRET}x", SECRET.lower(), f"{SECRET}%00", f".{SECRET}", "\ud800"]


@pytest.mark.parametrize("folder", WRONG_SECRETS)
def test_without_the_secret_nothing_is_found_and_nothing_said(folder):
    lost = phone("/any")
    assert (lost.status, lost.body) == ("404 Not Found", b"Not found.\n")
    for target in (f"/{folder}/lookup.html", f"/{folder}/", f"/{folder}", "/", f"/{SECRET}", f"/{SECRET}/academy.html"):
        assert phone(target) == lost
    assert phone(f"/{SECRET}/lookup.html", host="evil.example:8417") == lost
    assert phone(f"/{SECRET}/lookup.html", host=HOST) == lost


def test_the_secret_is_compared_in_constant_time(monkeypatch):
    compared = []

    def compare(a, b):
        compared.append((a, b))
        return a == b

    monkeypatch.setattr("pipeline.serve.answers.hmac.compare_digest", compare)
    assert phone("/wrong/lookup.html").status == "404 Not Found"
    assert phone(f"/{SECRET}/lookup.html").status == "200 OK"
    assert compared == [(b"wrong", SECRET.encode()), (SECRET.encode(), SECRET.encode())]


@pytest.mark.parametrize(("method", "body"), [("GET", b"coach"), ("HEAD", b"")])
def test_the_application_answers_as_it_should(method, body):
    told = []
    environ = {"REQUEST_METHOD": method, "REQUEST_URI": "/hill-school/lookup.html?a=1", "HTTP_HOST": HOST}
    found = list(application(HERE)(environ, lambda status, headers: told.append((status, dict(headers)))))
    [(status, headers)] = told
    assert (b"".join(found), status, headers["Content-Length"]) == (body, "200 OK", "5")


def test_a_request_without_a_host_is_not_answered():
    told = []
    list(application(HERE)({"REQUEST_METHOD": "GET", "REQUEST_URI": "/"}, lambda status, _: told.append(status)))
    assert told == ["404 Not Found"]
