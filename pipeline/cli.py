"""The command line: `yardband`, also `python -m pipeline`.

Commands import what they need when they run, so that `--help` is quick.
"""

import sys
from pathlib import Path

import click

from pipeline.ending import BAD_INPUT, told

STUDY = click.argument("study", type=click.Path(path_type=Path))
RESULTS = click.option(
    "--results", type=click.Path(path_type=Path), help="A study's results. Default: the newest below results/."
)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Answer in JSON.")

ROTATED = """\
Pseudonyms in earlier results don't match the new ones, so run the study again before you compare golfers or quarters.
The list of names belongs to the old key: delete it and write it again with yardband names. Kept models still work, but
every golfer is new to them. Anyone with the old key and the old results can still see who is who: delete both once
you don't need them."""


class _Plain(click.Group):
    """A group whose commands never end in a traceback."""

    def invoke(self, ctx: click.Context) -> object:
        # click's own errors already are sentences and keep its statuses (wrong usage is 2).
        kept: click.ClickException | click.exceptions.Exit | click.Abort | None = None
        result: object = None
        with told("in this command") as outcome:
            try:
                result = super().invoke(ctx)
            except (click.ClickException, click.exceptions.Exit, click.Abort) as own:
                kept = own
        if kept is not None:
            raise kept
        if outcome.status:
            ctx.exit(outcome.status)
        return result


@click.group(cls=_Plain, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="yardband", message="yardband %(version)s")
def cli() -> None:
    """Show how far a golf academy's drives go at each club speed, and who is losing yards.

    STUDY is a study folder or its study.yaml. To run the whole study: snakemake --cores N --config study=STUDY
    """


@cli.command()
@STUDY
def check(study: Path) -> None:
    """Check a study and list every problem. Nothing is written."""
    from pipeline.collect.check_command import survey

    findings = survey(study)
    for line in findings.told:
        click.echo(line)
    for line in findings.problems:
        click.echo(line, err=True)
    if findings.problems:
        sys.exit(BAD_INPUT)


@cli.command()
@STUDY
@click.option("--rotate", is_flag=True, help="Put a new key in place of the old one, and keep the old one beside it.")
def key(study: Path, rotate: bool) -> None:
    """Create a study's secret key."""
    from pipeline.collect.key import make_key, rotate_key
    from pipeline.configuration.load import load_study

    folder, configured = load_study(study)
    path = folder / configured.privacy.key_file
    if rotate:
        old = rotate_key(path, configured.study)
        click.echo(f"{path}: a new key is in place; the old one is {old.name} beside it.\n{ROTATED}")
        return
    make_key(path)
    click.echo(f"{path}: created. Keep a copy in a safe place: without it, the same pseudonyms can't be made again.")


@cli.command()
@STUDY
def names(study: Path) -> None:
    """Write the list of pseudonyms and names, beside the key."""
    from pipeline.collect.names_command import write_names

    path, count = write_names(study)
    click.echo(f"{path}: {count} golfers. It names people: keep it as safe as the key, and delete it after use.")


@cli.command()
@click.argument("club_speed", type=click.FloatRange(0, 250))
@click.option("--launch", type=click.FloatRange(-20, 60), help="Launch angle, deg.")
@click.option("--spin", type=click.FloatRange(0, 20000), help="Backspin, rpm.")
@click.option("--ball-speed", type=click.FloatRange(0, 300), help="Ball speed, mph.")
@click.option("--altitude-m", type=click.FloatRange(-500, 5000), help="Height above sea level, m.")
@click.option("--temp-c", type=click.FloatRange(-30, 55), help="Air temperature, deg C.")
@click.option("--wind-mph", type=click.FloatRange(-55, 55), help="Wind along the shot, mph; tail wind positive.")
@click.option("--turf", type=click.Choice(["soft", "normal", "firm"]), help="Firmness of the fairway.")
@RESULTS
@AS_JSON
def lookup(
    club_speed: float,
    launch: float | None,
    spin: float | None,
    ball_speed: float | None,
    altitude_m: float | None,
    temp_c: float | None,
    wind_mph: float | None,
    turf: str | None,
    results: Path | None,
    as_json: bool,
) -> None:
    """Show how far a drive should carry at a club speed.

    CLUB_SPEED is in mph. Anything you leave out is set to what is typical at that speed, and conditions to the
    study's standard ones.
    """
    import json

    from pipeline.benchmark.lookup import look_up
    from pipeline.benchmark.lookup_command import Asked, answer_table, find_results, read_results

    asked = Asked(altitude_m, temp_c, wind_mph, turf)
    found = read_results(find_results(results), asked)
    answer = look_up(found.model, found.frontier, found.place, club_speed, launch, spin, ball_speed)
    if as_json:
        click.echo(json.dumps(answer))
        return
    given = {
        "launch": (launch, "deg"),
        "spin": (spin, "rpm"),
        "ball speed": (ball_speed, "mph"),
        "altitude": (altitude_m, "m"),
        "temperature": (temp_c, "deg C"),
        "wind": (wind_mph, "mph"),
    }
    click.echo(answer_table(found.frontier.study, answer, given, turf))


@cli.command()
@click.argument("distance", type=click.FloatRange(20, 450))
@click.option("--speed", type=click.FloatRange(30, 250), help="Club speed now, mph.")
@click.option("--launch", type=click.FloatRange(-20, 60), help="Launch angle now, deg.")
@click.option("--spin", type=click.FloatRange(0, 20000), help="Backspin now, rpm.")
@click.option("--ball-speed", type=click.FloatRange(20, 300), help="Ball speed now, mph.")
@click.option("--golfer", help="A pseudonym from golfers.csv. Its newest quarter stands for today's drive.")
@click.option("--carry", is_flag=True, help="DISTANCE is carry alone. Default: carry and roll together.")
@RESULTS
@AS_JSON
def goal(
    distance: float,
    speed: float | None,
    launch: float | None,
    spin: float | None,
    ball_speed: float | None,
    golfer: str | None,
    carry: bool,
    results: Path | None,
    as_json: bool,
) -> None:
    """Show what club speed a drive of DISTANCE yards takes.

    It answers for an efficient delivery and for today's, and splits the gap into delivery and speed.
    """
    import json

    from pipeline.benchmark.lookup_command import find_results
    from pipeline.coach.goals.goal_command import answer_goal, goal_text
    from pipeline.coach.goals.one_goal import Wish

    wish = Wish(distance, carry, speed, launch, spin, ball_speed, golfer)
    study, answer = answer_goal(find_results(results), wish)
    click.echo(json.dumps(answer) if as_json else goal_text(study, answer))


@cli.command(name="open")
@STUDY
def open_(study: Path) -> None:
    """Open the academy's page in the browser, as a file."""
    from pipeline.serve.open_command import open_page

    page, opened = open_page(study)
    click.echo(page)
    if not opened:
        click.echo("No browser could be started here. Open the file yourself.", err=True)


@cli.command()
@STUDY
@click.option("--port", type=click.IntRange(1, 65535), help="Port to use. Default: 8417, or a free one.")
@click.option("--phone", is_flag=True, help="Share the coach's page alone, on the local network.")
@click.option("--address", help="With --phone: which of this computer's addresses to share at.")
def serve(study: Path, port: int | None, phone: bool, address: str | None) -> None:
    """Serve the pages on this computer alone, or the coach's page to a phone, until Ctrl+C."""
    from pipeline.serve.serve_command import serve_pages

    serve_pages(study, port, phone, address)


def main() -> None:
    """Run the command line."""
    cli(prog_name="yardband")
