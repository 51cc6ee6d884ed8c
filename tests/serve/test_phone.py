import re

import pytest
import segno

from pipeline.errors import UserError
from pipeline.serve.phone import (
    HALVES,
    QUIET_ZONE,
    address_to_share,
    checked_address,
    local_addresses,
    phone_text,
    qr_text,
)

ADDRESS = "http://192.168.1.5:8417/qcSDHB6KEbhKezRRoAGQGQ/lookup.html"


def test_addresses_of_local_networks_alone_are_kept():
    found = [
        "203.0.113.7",
        "192.168.1.5",
        "127.0.0.1",
        "10.1.2.3",
        "172.31.0.1",
        "172.32.0.1",
        "169.254.3.4",
        "8.8.8.8",
    ]
    assert local_addresses(found) == ["192.168.1.5", "10.1.2.3", "172.31.0.1", "169.254.3.4"]


def test_the_first_local_address_is_shared():
    assert address_to_share(["203.0.113.7", "10.1.2.3", "192.168.1.5"], "a") == "10.1.2.3"


@pytest.mark.parametrize("found", [[], ["127.0.0.1"], ["203.0.113.7", "127.0.0.1"]])
def test_without_a_local_network_the_file_is_named(found):
    with pytest.raises(UserError, match=r"no address in a local network.*or send the phone the file: /a/lookup\.html$"):
        address_to_share(found, "/a/lookup.html")


@pytest.mark.parametrize("given", ["192.168.1.5", "127.0.0.2"])
def test_an_address_may_be_given(given):
    assert checked_address(given) == given


@pytest.mark.parametrize("given", ["0.0.0.0", "8.8.8.8", "203.0.113.7", "255.255.255.255", "224.0.0.1"])
def test_an_address_beyond_local_networks_is_refused(given):
    with pytest.raises(UserError, match=f"^--address {given}: isn't in a local network"):
        checked_address(given)


@pytest.mark.parametrize("given", ["", "range.example", "192.168.1", "::1", "192.168.1.5:80", "fe80::1", "010.1.1.1"])
def test_what_is_no_address_is_refused(given):
    with pytest.raises(UserError, match=f"^--address {given}: isn't an IPv4 address"):
        checked_address(given)


@pytest.mark.parametrize("address", [ADDRESS, ADDRESS[:-20], "http://10.0.0.1:80/x"])
def test_the_code_in_the_terminal_is_the_addresss(address):
    modules = {character: pair for pair, character in HALVES.items()}
    lines = [re.sub(r"\033\[[\d;]*m", "", line) for line in qr_text(address).split("\n")]
    rows = [[modules[c][half] for c in line] for line in lines for half in (0, 1)]
    right = segno.make(address, error="m", micro=False)
    size = right.symbol_size(border=QUIET_ZONE)[0]
    assert rows[:size] == [list(row) for row in right.matrix_iter(border=QUIET_ZONE)]
    assert [sum(row) for row in rows[size:]] == [0] * (len(rows) - size)
    # Finder patterns tell a reader which way round it is; they are dark on light.
    assert rows[QUIET_ZONE][QUIET_ZONE : QUIET_ZONE + 7] == [1] * 7
    assert all(
        line.startswith("\033[38;5;16;48;5;231m") and line.endswith("\033[0m") for line in qr_text(address).split("\n")
    )


def said(**changed):
    given = {"others": [], "page": "/a/lookup.html", "code": "CODE"} | changed
    return phone_text("hill-school", ADDRESS, **given)


def test_the_text_says_who_can_see_it_and_what_a_phone_can_do():
    text = said()
    assert text.startswith(f"hill-school, coach's page: {ADDRESS}\n\nCODE\n\n")
    assert "anyone on this network who has the address can see the benchmarks. No golfer is in them." in text
    assert 'tap "Save this page"' in text
    assert "secure addresses only" in text
    assert "guest network" in text
    assert "Send the phone the file instead: /a/lookup.html" in text
    assert text.endswith("Press Ctrl+C to stop.")
    assert "--address" not in text


def test_several_networks_have_their_own_words():
    assert "To share there, add --address and one of: 10.1.2.3, 172.16.0.9" in said(others=["10.1.2.3", "172.16.0.9"])


def test_a_terminal_without_blocks_is_told():
    assert "This terminal can't show a QR code. Type the address into the phone." in said(code=None)
