import socket
from ipaddress import IPv4Address

import pytest

from pipeline.errors import UserError
from pipeline.serve import network
from pipeline.serve.network import listening, own_addresses


@pytest.fixture
def taken():
    """A port that something else listens at."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        yield other.getsockname()[1]


def test_it_listens_at_one_address_alone(taken):
    with listening("127.0.0.2", taken) as bound:
        assert bound.getsockname() == ("127.0.0.2", taken)


def test_a_busy_port_that_was_asked_for_is_told(taken):
    with pytest.raises(UserError, match=f"^Port {taken} is in use; stop the program that uses it, or give another"):
        listening("127.0.0.1", taken)


def test_the_usual_port_gives_way_to_a_free_one(taken, monkeypatch):
    monkeypatch.setattr(network, "PORT", taken)
    with listening("127.0.0.1", None) as bound:
        assert bound.getsockname()[1] not in (taken, 0)


def test_the_usual_port_is_taken_where_it_is_free(monkeypatch):
    with socket.create_server(("127.0.0.1", 0)) as other:
        free = other.getsockname()[1]
    monkeypatch.setattr(network, "PORT", free)
    with listening("127.0.0.1", None) as bound:
        assert bound.getsockname()[1] == free


def test_another_machines_address_is_told():
    with pytest.raises(UserError, match=r"^198\.51\.100\.7 isn't an address of this computer"):
        listening("198.51.100.7", None)


def test_a_port_of_the_systems_is_told(monkeypatch):
    def bound(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(network, "_bound", bound)
    with pytest.raises(UserError, match=r"^Port 80 is reserved by the system; give one from 1024 to 65535"):
        listening("127.0.0.1", 80)


def test_own_addresses_are_found_and_nothing_is_sent(monkeypatch):
    def refused(*_, **__):
        raise AssertionError("sent or looked up")

    for name in ("send", "sendto", "sendall", "sendmsg"):
        monkeypatch.setattr(socket.socket, name, refused, raising=False)
    for name in ("getaddrinfo", "gethostbyname", "gethostbyname_ex", "getfqdn"):
        monkeypatch.setattr(socket, name, refused)
    kinds = []
    made = socket.socket.__init__

    def noted(self, family=-1, type=-1, *more, **others):
        kinds.append(type)
        made(self, family, type, *more, **others)

    monkeypatch.setattr(socket.socket, "__init__", noted)
    found = own_addresses()
    assert set(kinds) == {socket.SOCK_DGRAM}  # only a stream's connect sends something
    assert "127.0.0.1" in found
    assert len(found) == len(set(found))
    assert all(IPv4Address(one) for one in found)


def test_without_a_network_there_is_no_address(monkeypatch):
    def unreachable(*_):
        raise OSError(101, "Network is unreachable")

    monkeypatch.setattr(socket.socket, "connect", unreachable)
    monkeypatch.setattr(socket, "if_nameindex", list)
    assert own_addresses() == []
