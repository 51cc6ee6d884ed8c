"""Serving a study's pages, on this machine or the coach's page to a phone, until it is stopped (an edge module)."""

import secrets
import sys
from pathlib import Path

import click

from pipeline.errors import UserError
from pipeline.serve.answers import Share, application
from pipeline.serve.network import LOOPBACK, PORT, listening, own_addresses, serve
from pipeline.serve.phone import SECRET_BYTES, address_to_share, checked_address, local_addresses, phone_text, qr_text
from pipeline.serve.report_files import Report, content_of, find_report
from pipeline.serve.shell import ACADEMY, LOOKUP


def serve_pages(study: Path, port: int | None, phone: bool, address: str | None, results: Path | None = None) -> None:
    """Serve a study's pages until Ctrl+C.

    Parameters
    ----------
    study : Path
        The study folder, or the `study.yaml` in it.
    port : int or None
        None takes the usual one, or a free one.
    phone : bool
        Whether to share the coach's page alone, on the local network.
    address : str or None
        With `phone`: which of this machine's addresses to share at.
    results : Path or None
        A folder of results other than the study's own.

    Raises
    ------
    UserError
        If there are no pages yet, or the address or port can't be had.
    """
    if address is not None and not phone:
        raise UserError("--address goes with --phone; without it, the pages are served on this computer alone.")
    if phone:
        _serve_phone(find_report(study, LOOKUP, results), port, address)
    else:
        _serve_here(find_report(study, ACADEMY, results), port)
    click.echo("Stopped.")


def _serve_here(report: Report, port: int | None) -> None:
    bound = listening(LOOPBACK, port)
    taken = bound.getsockname()[1]
    hosts = frozenset(_host(name, taken) for name in (LOOPBACK, "localhost"))
    place = f"http://{_host(LOOPBACK, taken)}/{report.study}"

    def started() -> None:
        click.echo(f"{report.title}, academy's page: {place}/{ACADEMY}")
        if (report.folder / LOOKUP).is_file():  # results by hand have none
            click.echo(f"{report.title}, coach's page: {place}/{LOOKUP}")
        if port is None and taken != PORT:
            click.echo(f"Port {PORT} is in use, so this is another. A page installed from {PORT} doesn't change by it.")
        click.echo(
            "Only this computer can open them, but so can anyone else who is logged in to it. Press Ctrl+C to stop."
        )

    serve(application(Share(hosts, report.study, content_of(report))), bound, started)


def _serve_phone(report: Report, port: int | None, given: str | None) -> None:
    page = str((report.folder / LOOKUP).absolute())
    own = own_addresses()
    shared = address_to_share(own, page) if given is None else checked_address(given)
    bound = listening(shared, port)
    host = _host(shared, bound.getsockname()[1])
    secret = secrets.token_urlsafe(SECRET_BYTES)
    address = f"http://{host}/{secret}/{LOOKUP}"

    def started() -> None:
        others = [one for one in local_addresses(own) if one != shared]
        code = qr_text(address)
        click.echo(phone_text(report.title, address, others=others, page=page, code=code if _can_show(code) else None))

    share = Share(frozenset({host}), secret, content_of(report), phone=True)
    serve(application(share), bound, started)


def _host(name: str, port: int) -> str:
    return name if port == 80 else f"{name}:{port}"  # browsers leave the usual port out


def _can_show(text: str) -> bool:
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True
