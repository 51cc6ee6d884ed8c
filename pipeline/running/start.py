"""What is read and checked before anything of a study runs (an edge module)."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.collect.key import fingerprint_of, read_key, refuse_other_logs
from pipeline.collect.read import marked_by_hand
from pipeline.configuration.layouts import LogFile, SpeedFile
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs, find_speed_logs
from pipeline.configuration.study import Study
from pipeline.edge.files import check_alone, check_room
from pipeline.edge.sums import FileSums, sums_of
from pipeline.errors import UserError
from pipeline.fit.kept import check_kept, check_pinned, choose_kept, find_kept, read_decisions
from pipeline.fit.lineage import Decisions
from pipeline.fit.own_files import find_own
from pipeline.workflow import check_config, folder_of

DEMO = "data_demo"  # the study of a run that names none


@dataclass(frozen=True)
class Start:
    """A study as a run finds it; see `read_start`. Folders are relative to the working folder."""

    folder: Path
    study: Study
    logs: list[LogFile]
    speed_logs: list[SpeedFile]
    own_files: list[str]
    key: Path
    key_sum: str
    by_hand: bool
    """Whether all logs are results by hand: the run is a shorter one."""
    sums: FileSums
    """Of what files hold: a restored file has an older time, so times alone don't show it."""
    home: str
    """What was collected, and the kept models."""
    out: str
    """Everything else that is made."""
    logs_of: str
    """What each step printed, and how long it took."""
    settings: dict[str, Any]
    kept: Path
    decisions: Decisions
    asked_for: dict[str, str]
    """In a look by a kept model: its files, which stand in for a fit and its calibration of flight."""
    own: bool
    """Whether this run makes the study's own results; only its fit is judged and kept."""
    first_fit: bool


def read_start(config: Mapping[str, Any]) -> Start:
    """Read a study and check what a run needs, so that nothing runs which can't end.

    Parameters
    ----------
    config : mapping
        What Snakemake's --config names: study, and model or trial.

    Raises
    ------
    UserError
        At the first trouble.
    """
    check_config(config)
    folder, study = load_study(Path(str(config.get("study", DEMO))))
    logs, speed_logs = marked_by_hand(folder, find_logs(folder, study)), find_speed_logs(folder, study)
    by_hand = all(log.by_hand for log in logs)
    if by_hand and (chosen := {"model", "trial"} & set(config)):
        raise UserError(f"--config {min(chosen)}=...: results by hand have no launch and spin, so no model is fitted.")
    own_files = find_own(folder, study)
    key = folder / study.privacy.key_file
    key_sum = fingerprint_of(read_key(key, study.study))
    sums = FileSums(sums_of(study.study))
    paths = [folder / source for source in (*(log.source for log in logs), *(log.source for log in speed_logs))]
    refuse_other_logs(key, lambda: {path: sums.of(path) for path in paths})
    home, out = f"results/{study.study}", f"results/{folder_of(study.study, config)}"
    check_room(Path(out))
    check_alone(Path(home))
    check_alone(Path(out))
    check_room(Path(".snakemake"))  # where Snakemake keeps count of what was made
    settings = study.model_dump(mode="json", by_alias=True)
    kept = Path(f"{home}/model/kept")
    check_kept(kept)
    decisions = read_decisions(kept)  # as they are when the run starts
    asked_for = choose_kept(kept, str(config["model"]), settings["air"]) if "model" in config else {}
    own = not {"model", "trial"} & set(config)
    if own:
        check_pinned(kept, decisions, settings["air"])
    return Start(
        folder=folder,
        study=study,
        logs=logs,
        speed_logs=speed_logs,
        own_files=own_files,
        key=key,
        key_sum=key_sum,
        sums=sums,
        by_hand=by_hand,
        home=home,
        out=out,
        logs_of=f"logs/{folder_of(study.study, config)}",
        settings=settings,
        kept=kept,
        decisions=decisions,
        asked_for=asked_for,
        own=own,
        first_fit=own and not find_kept(kept),
    )
