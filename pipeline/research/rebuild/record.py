"""What a run's record says, and what a study must be like to give the same figures again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class RunRecord:
    """run.json: everything that a run's figures follow from, and digests of what it made.

    Attributes
    ----------
    folder : str
        The study folder, seen from the working folder of the run.
    config : dict of str to str
        What `--config` gave beside the study, such as model or trial.
    configuration : dict
        study.yaml with every default filled in.
    layouts : list of dict
        From `layouts_used`.
    inputs : dict of str to str
        Other files of the study folder that the run read, such as candidates of one's own: SHA-256.
    key : str
        Fingerprint of the secret key; see `pipeline.collect.key.fingerprint_of`.
    sources, speed_sources : list of dict
        Rows of the table `Sources`.
    code : str
        Commit or release.
    versions : dict of str to str
        Of Python and of every package installed.
    kept : list of str
        Ids of the models that were kept when the run ended.
    model, calibration : dict
    made : dict of str to str
        SHA-256 of the files of the results, by their path in the folder of results.
    """

    folder: str
    config: dict[str, str]
    configuration: dict[str, Any]
    layouts: list[dict[str, Any]]
    inputs: dict[str, str]
    key: str
    sources: list[dict[str, Any]]
    speed_sources: list[dict[str, Any]]
    code: str
    versions: dict[str, str]
    kept: list[str]
    model: dict[str, Any]
    calibration: dict[str, Any]
    made: dict[str, str]

    @property
    def digests(self) -> dict[str, str]:
        """SHA-256 of every file of the study folder that was read, by its path there."""
        logs = {row["source"]: row["sha256"] for row in (*self.sources, *self.speed_sources) if row["sha256"]}
        return logs | self.inputs

    @property
    def study(self) -> str:
        """The study's name."""
        return str(self.configuration["study"])


@dataclass(frozen=True)
class Present:
    """The same of a study and a machine as they are now; see `RunRecord`.

    Attributes
    ----------
    digests : dict of str to str or None
        Of the files that the record names; None where there is no such file.
    more : tuple of str
        Logs that the study's patterns match now and the run hadn't.
    layouts, key, code, versions, kept
        As in `RunRecord`; `key` is None where there is no key.
    """

    digests: Mapping[str, str | None]
    more: tuple[str, ...]
    layouts: Sequence[Mapping[str, Any]]
    key: str | None
    code: str
    versions: Mapping[str, str]
    kept: Sequence[str]


def problems_of(record: RunRecord, now: Present) -> list[str]:
    """List what keeps a run from being made again, a sentence each; none if nothing does."""
    found = []
    for name, digest in sorted(record.digests.items()):
        there = now.digests.get(name)
        if there is None:
            found.append(f"{name}: isn't there any more. Put it back as it was.")
        elif there != digest:
            found.append(f"{name}: has other content than in the run. Put back the file of then.")
    if now.key is None:
        found.append("The key is missing. Put it back: with another key pseudonyms are others.")
    elif now.key != record.key:
        found.append("The key is another than in the run, so pseudonyms can't be the same. Put back the key of then.")
    if list(now.layouts) != record.layouts:
        found.append("The layouts of the logs have changed. Put back the layout files of then.")
    gone = [one for one in record.kept if one not in now.kept and one != record.model["id"]]
    found += [f"The kept model {one} is gone from the results, and the run read it." for one in gone]
    return found


def changes_since(record: RunRecord, now: Present) -> list[str]:
    """List what has changed since a run and may move figures, or is left out; a sentence each."""
    found = []
    if now.code != record.code:
        found.append(f"The code is another: it was {record.code}, is {now.code}.")
    names = sorted({*record.versions, *now.versions})
    moved = [
        f"{name} {record.versions.get(name, 'none')} (now {now.versions.get(name, 'none')})"
        for name in names
        if record.versions.get(name) != now.versions.get(name)
    ]
    if moved:
        found.append(f"Packages of the run have other versions now: {', '.join(moved)}.")
    if now.more:
        found.append(f"New logs are left out: {', '.join(now.more)}.")
    return found
