"""Sharing the coach's page with a phone: at which address, as which picture, with which words."""

from ipaddress import AddressValueError, IPv4Address, IPv4Network

import segno

from pipeline.errors import UserError

SECRET_BYTES = 16  # 128 bits: not found by trying, however long the page is shared
# Addresses of local networks (RFC 1918) and those that machines give themselves there (RFC 3927). Any other can be
# reached from elsewhere.
LOCAL = tuple(IPv4Network(one) for one in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16"))
QUIET_ZONE = 4  # modules of margin round a QR code (ISO/IEC 18004)
# Dark on light whatever the terminal's colors, since some cameras can't read the inverse.
DARK_ON_LIGHT, AS_BEFORE = "\033[38;5;16;48;5;231m", "\033[0m"
HALVES = {(0, 0): " ", (1, 0): "\u2580", (0, 1): "\u2584", (1, 1): "\u2588"}


def local_addresses(addresses: list[str]) -> list[str]:
    """Keep the addresses of local networks, in their order."""
    return [one for one in addresses if any(IPv4Address(one) in network for network in LOCAL)]


def address_to_share(addresses: list[str], page: str) -> str:
    """Choose the address to share the page at: the first in a local network.

    Parameters
    ----------
    addresses : list of str
        This machine's.
    page : str
        Path of the page, to send by hand instead.

    Raises
    ------
    UserError
        If there is none.
    """
    local = local_addresses(addresses)
    if not local:
        raise UserError(
            "This computer has no address in a local network, so a phone can't reach it. Join the phone's Wi-Fi and "
            f"start again, or send the phone the file: {page}"
        )
    return local[0]


def checked_address(given: str) -> str:
    """Give an address that was asked for, if it is one that the page may be shared at.

    Raises
    ------
    UserError
        If it is no single IPv4 address, or one that can be reached from beyond a local network.
    """
    try:
        address = IPv4Address(given)
    except AddressValueError:
        raise UserError(f"--address {given}: isn't an IPv4 address such as 192.168.1.20.") from None
    if not (address.is_loopback or local_addresses([given])):
        raise UserError(f"--address {given}: isn't in a local network, so the page isn't shared there.")
    return given


def qr_text(address: str) -> str:
    """Draw an address as a QR code for a terminal, two rows of modules in a line of text."""
    rows = [list(row) for row in segno.make(address, error="m", micro=False).matrix_iter(border=QUIET_ZONE)]
    rows += [[0] * len(rows[0])] * (len(rows) % 2)
    pairs = zip(rows[::2], rows[1::2], strict=True)
    lines = ("".join(HALVES[(int(a), int(b))] for a, b in zip(*pair, strict=True)) for pair in pairs)
    return "\n".join(f"{DARK_ON_LIGHT}{line}{AS_BEFORE}" for line in lines)


def phone_text(study: str, address: str, *, others: list[str], page: str, code: str | None) -> str:
    """Say where the shared page is and who can see it.

    Parameters
    ----------
    study : str
    address : str
    others : list of str
        Addresses of this machine in other local networks.
    page : str
        Path of the page.
    code : str or None
        From `qr_text`; None where the terminal can't show it.
    """
    lines = [f"{study}, coach's page: {address}"]
    lines += ["", code, ""] if code else ["This terminal can't show a QR code. Type the address into the phone."]
    lines += [
        "Scan the code or open the address on a phone in the same network.",
        "Until you stop it, anyone on this network who has the address can see the benchmarks. No golfer is in them.",
        'To keep the page on the phone, tap "Save this page". A phone installs pages from secure addresses only, and '
        "this one isn't.",
        "If the phone can't open it, this may be a guest network that keeps devices apart, or a firewall may block it. "
        f"Send the phone the file instead: {page}",
    ]
    if others:
        lines.append(
            f"This computer is in other networks too. To share there, add --address and one of: {', '.join(others)}"
        )
    return "\n".join([*lines, "Press Ctrl+C to stop."])
