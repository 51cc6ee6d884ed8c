"""The command line: `yardband`, also `python -m pipeline`.

Commands import what they need when they run, so that `--help` is quick.
"""

import json
import os
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.ending import BAD_INPUT, outliving, told
from pipeline.errors import UserError
from pipeline.lean import left_out, start_quickly

if TYPE_CHECKING:
    from pipeline.benchmark.lookup_command import Answered

# A check of so many logs tells how far it is, this often.
_MANY_LOGS, _PROGRESS_S = 500, 2.0

STUDY = click.argument("study", type=click.Path(path_type=Path))
RESULTS = click.option(
    "--results", type=click.Path(path_type=Path), help="A folder of results. Default: the study's, or the newest."
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
        with told("in this command") as outcome, left_out():
            try:
                result = super().invoke(ctx)
            except (click.ClickException, click.exceptions.Exit, click.Abort) as own:
                kept = own
        if kept is not None:
            raise kept
        if outcome.status:
            ctx.exit(outcome.status)
        return result


class _Whole(click.IntRange):
    """A whole number within limits, which click would call an integer range."""

    name = "whole number"


class _Typed(click.Command):
    """A command whose arguments are numbers: -5 is one, and no option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the true minus sign, which `pipeline.typed` knows, where a text begins with a single hyphen."""
        return super().parse_args(ctx, [re.sub("^-(?!-|h$)", "\u2212", one) for one in args])


def _place_and_units(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options of conditions, as `pipeline.benchmark.typed_question.read_place` names them, and of units."""
    options: list[tuple[tuple[str, ...], dict[str, Any]]] = [
        (("--altitude-m", "altitude"), {"metavar": "NUMBER", "help": "Height above sea level, m."}),
        (
            ("--pressure-hpa", "pressure"),
            {"metavar": "NUMBER", "help": "Air pressure at the place, hPa, instead of altitude."},
        ),
        (("--temp-c", "temperature"), {"metavar": "NUMBER", "help": "Air temperature, deg C."}),
        (
            ("--wind-mph", "wind"),
            {"metavar": "NUMBER", "help": "Wind along the shot, mph; tail wind positive. With --metric in km/h."},
        ),
        (("--turf",), {"metavar": "WORD", "help": "Firmness of the fairway: soft, normal or firm."}),
        (
            ("--metric/--yards",),
            {
                "default": None,
                "help": "Type and print speeds in km/h and distances in m, or mph and yd. Default: the study's.",
            },
        ),
    ]
    for names, settings in reversed(options):
        command = click.option(*names, **settings)(command)
    return command


@click.group(cls=_Plain, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="yardband", message="yardband %(version)s")
def cli() -> None:
    """Show how far a golf academy's drives go at each club speed, and who is losing yards.

    STUDY is a study folder or its study.yaml. To run the whole study: yardband run STUDY
    """


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("logs", metavar="LOG...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Ask nothing; leave what isn't sure as comments.")
def new(folder: Path, logs: tuple[Path, ...], yes: bool) -> None:
    """Make a study of the logs in a folder: draft study.yaml and layouts, create the key, check.

    FOLDER holds the logs; a LOG may be a folder of logs too. Logs stay as they are.
    """
    from pipeline.collect.new_command import Terminal, new_study

    asker = None if yes or not sys.stdin.isatty() else Terminal()
    todo = new_study(folder, logs, asker, click.echo)
    for line in todo:
        click.echo(line, err=True)
    if todo:
        sys.exit(BAD_INPUT)


@cli.command()
@STUDY
def check(study: Path) -> None:
    """Check a study and list every problem. Nothing is written."""
    from pipeline.collect.check_command import survey
    from pipeline.fit.own_files import survey_written

    findings = survey(study, lambda folder, configured: survey_written(folder, configured)[1], _progress())
    for line in findings.told:
        click.echo(line)
    for line in findings.problems:
        click.echo(line, err=True)
    if findings.problems:
        sys.exit(BAD_INPUT)


def _progress() -> Callable[[int, int], None]:
    """Give what tells how many logs of many are checked, on the screen's side of the output, now and then."""
    told = time.monotonic()

    def tell(done: int, total: int) -> None:
        nonlocal told
        if total >= _MANY_LOGS and (done == total or time.monotonic() - told >= _PROGRESS_S):
            told = time.monotonic()
            click.echo(f"{done:,} of {total:,} logs checked ...", err=True)

    return tell


@cli.command()
@STUDY
@click.option("--cores", type=click.IntRange(1), help="Cores to use. Default: all of this machine.")
@click.option("--trial", metavar="NAME", help="Make a fit that enters no lineage, in results/STUDY/trials/NAME.")
@click.option("--model", metavar="ID", help="Look at the study by a kept model, in results/STUDY/by-model/ID.")
def run(study: Path, cores: int | None, trial: str | None, model: str | None) -> None:
    """Run a study: everything that its logs and settings have changed is made again.

    The same as: snakemake --cores N --config study=STUDY
    """
    from pipeline.running.run_command import run_study

    choices = {name: value for name, value in (("trial", trial), ("model", model)) if value is not None}
    sys.exit(run_study(study, cores, choices, sys.stdout, sys.stderr))


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
    if os.name != "posix":
        click.echo("Yardband can't keep others from reading the key here: put it in a folder that only you can open.")


@cli.command()
@STUDY
def names(study: Path) -> None:
    """Write the list of pseudonyms and names, beside the key."""
    from pipeline.collect.names_command import write_names

    path, count = write_names(study)
    click.echo(f"{path}: {count} golfers. It names people: keep it as safe as the key, and delete it after use.")


@cli.command(cls=_Typed)
@click.argument("club_speed")
@click.option("--launch", metavar="NUMBER", help="Launch angle, deg.")
@click.option("--spin", metavar="NUMBER", help="Backspin, rpm.")
@click.option("--ball-speed", metavar="NUMBER", help="Ball speed, mph.")
@click.option("--distance", metavar="NUMBER", help="Also show the share of drives that reach this distance, yd.")
@click.option("--carry", is_flag=True, help="The distance is carry alone. Default: carry and roll together.")
@_place_and_units
@RESULTS
@AS_JSON
def lookup(
    club_speed: str,
    launch: str | None,
    spin: str | None,
    ball_speed: str | None,
    distance: str | None,
    carry: bool,
    metric: bool | None,
    results: Path | None,
    as_json: bool,
    **place: str | None,
) -> None:
    """Show how far a drive should carry at a club speed.

    CLUB_SPEED is in mph, or in km/h with --metric. Anything you leave out is set to what is typical at that speed, and
    conditions to the study's standard ones.
    """
    from pipeline.benchmark.lookup_command import answer_lookup, find_results

    drive = {"club_speed": club_speed, "launch": launch, "spin": spin, "ball_speed": ball_speed}
    _say(answer_lookup(find_results(results), drive, place, metric, distance, carry=carry), as_json)


@cli.command(cls=_Typed)
@click.argument("distance")
@click.option("--speed", metavar="NUMBER", help="Club speed now, mph.")
@click.option("--launch", metavar="NUMBER", help="Launch angle now, deg.")
@click.option("--spin", metavar="NUMBER", help="Backspin now, rpm.")
@click.option("--ball-speed", metavar="NUMBER", help="Ball speed now, mph.")
@click.option(
    "--golfer",
    metavar="CODE",
    help="A pseudonym from golfers.csv, or its beginning. Its newest quarter stands for today's drive.",
)
@click.option("--carry", is_flag=True, help="DISTANCE is carry alone. Default: carry and roll together.")
@_place_and_units
@RESULTS
@AS_JSON
def goal(
    distance: str,
    speed: str | None,
    launch: str | None,
    spin: str | None,
    ball_speed: str | None,
    golfer: str | None,
    carry: bool,
    metric: bool | None,
    results: Path | None,
    as_json: bool,
    **place: str | None,
) -> None:
    """Show what club speed a drive of DISTANCE yards takes.

    It answers for an efficient delivery and for today's, and splits the gap into delivery and speed. With --metric
    DISTANCE is in meters and speeds are in km/h.
    """
    from pipeline.benchmark.lookup_command import find_results
    from pipeline.coach.goals.goal_command import answer_goal

    drive = {"club_speed": speed, "launch": launch, "spin": spin, "ball_speed": ball_speed}
    _say(answer_goal(find_results(results), distance, drive, place, metric, golfer=golfer, carry=carry), as_json)


def _say(answered: "Answered", as_json: bool) -> None:
    """Print an answer; one without figures as JSON alone, and its sentence as an error."""
    if as_json:
        click.echo(json.dumps(answered.answer))
    elif answered.refusal is None:
        click.echo(answered.text)
    if answered.refusal is not None:
        raise UserError(answered.refusal)


@cli.group()
@STUDY
@click.pass_context
def models(ctx: click.Context, study: Path) -> None:
    """List, show and compare a study's kept models, and decide which is used.

    ID is any beginning of a model's id that no other one has.
    """
    ctx.obj = study


ID = click.argument("given", metavar="ID")
BECAUSE = click.option("--because", metavar="TEXT", help="The reason, one line that summaries repeat.")


@models.command(name="list")
@RESULTS
@AS_JSON
@click.pass_obj
def list_(study: Path, results: Path | None, as_json: bool) -> None:
    """List the kept models, oldest first."""
    from pipeline.research.models_command import list_models

    found, text = list_models(study, results)
    click.echo(json.dumps(found) if as_json else text)


@models.command()
@ID
@RESULTS
@AS_JSON
@click.pass_obj
def show(study: Path, given: str, results: Path | None, as_json: bool) -> None:
    """Show one model: its record, score, settings, and what has changed since."""
    from pipeline.research.models_command import show_model

    found, text = show_model(study, results, given)
    click.echo(json.dumps(found) if as_json else text)


@models.command()
@click.argument("old", metavar="A")
@click.argument("new", metavar="B")
@RESULTS
@click.pass_obj
def compare(study: Path, old: str, new: str, results: Path | None) -> None:
    """Compare model B with model A on today's drives, A being the old one."""
    from pipeline.research.models_command import compare_two

    click.echo(compare_two(study, results, old, new), nl=False)


@models.command()
@ID
@BECAUSE
@RESULTS
@click.pass_obj
def adopt(study: Path, given: str, because: str | None, results: Path | None) -> None:
    """Adopt a refused model. Later fits may be compared with it."""
    from pipeline.research.models_command import decide_model

    click.echo(decide_model(study, results, given, "adopt", because))


@models.command()
@ID
@BECAUSE
@RESULTS
@click.pass_obj
def refuse(study: Path, given: str, because: str | None, results: Path | None) -> None:
    """Refuse an adopted model. It is used no more, and later fits aren't compared with it."""
    from pipeline.research.models_command import decide_model

    click.echo(decide_model(study, results, given, "refuse", because))


@models.command()
@ID
@BECAUSE
@RESULTS
@click.pass_obj
def use(study: Path, given: str, because: str | None, results: Path | None) -> None:
    """Pin a model: golfers are measured with it, whatever the newest fit. ID newest unpins it."""
    from pipeline.research.models_command import use_model

    click.echo(use_model(study, results, given, because))


@cli.command(name="open")
@STUDY
@RESULTS
def open_(study: Path, results: Path | None) -> None:
    """Open the academy's page in the browser, as a file."""
    from pipeline.serve.open_command import open_page

    page, opened = open_page(study, results)
    click.echo(page)
    if not opened:
        click.echo("No browser could be started here. Open the file yourself.", err=True)


@cli.command()
@STUDY
@click.option("--port", type=_Whole(1, 65535), help="Port to use. Default: 8417, or a free one.")
@click.option("--phone", is_flag=True, help="Share the coach's page alone, on the local network.")
@click.option("--address", help="With --phone: which of this computer's addresses to share at.")
@RESULTS
def serve(study: Path, port: int | None, phone: bool, address: str | None, results: Path | None) -> None:
    """Serve the pages on this computer alone, or the coach's page to a phone, until Ctrl+C."""
    from pipeline.serve.serve_command import serve_pages

    serve_pages(study, port, phone, address, results)


@cli.command()
@click.argument("record", metavar="RUN.json", type=click.Path(path_type=Path))
@click.option("--study", type=click.Path(path_type=Path), help="The study folder. Default: where the run had it.")
@click.option("--keep", type=click.Path(path_type=Path), help="New folder in which the results stay.")
@click.option("--check", "only_check", is_flag=True, help="Check logs, settings and versions; run nothing.")
@click.option("--cores", type=_Whole(1), default=2, show_default=True, help="Cores to use.")
def rebuild(record: Path, study: Path | None, keep: Path | None, only_check: bool, cores: int) -> None:
    """Run a study again from the record of a run, and compare the figures.

    The results of the run stay as they are. The exit status is 1 if any figure differs.
    """
    from pipeline.research.rebuild.rebuild_command import rebuild as again

    if not again(record, study, keep, cores, only_check, click.echo):
        sys.exit(1)


def main() -> None:
    """Run the command line."""
    start_quickly()
    sys.exit(outliving(_ended, "in this command"))


def _ended() -> int:
    try:
        cli(prog_name="yardband")
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    return 0
