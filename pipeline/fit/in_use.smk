"""Which model golfers are measured with: functions that inputs and params of rules call."""

from pipeline.fit.kept import choose_in_use, kept_files, model_id, parent_files
from pipeline.fit.verdict import ASKED, TRIAL, Choice


def choice(wildcards):
    """Choose the model in use."""
    if ASKED_FOR:
        return Choice(str(config["model"]), ASKED)
    if OWN:
        verdict = checkpoints.keep_model.get().output.verdict
        return choose_in_use(KEPT, DECISIONS, verdict, SETTINGS["air"])
    checkpoints.fit_model.get()
    return Choice(model_id(FIT), TRIAL, trial=config["trial"])


def in_use(name):
    """Give the function of wildcards that finds a file of the model in use: one of `FILES`, drives or tables.

    Carry belongs to a calibration of flight: with a kept model, drives are moved by its own.
    """

    def found(wildcards):
        used = choice(wildcards)
        if not used.kept:
            return {**FIT, **FLIGHT}[name]
        moved = {
            "drives": f"{OUT}/collected/in_use/drives.parquet",
            "tables": local(f"{OUT}/flight/in_use/tables.npz"),
        }
        kept = {key: local(path) for key, path in kept_files(KEPT, used.id).items()}
        return {**kept, **moved}[name]

    return found


def held_out_in_use(wildcards):
    """Give the newest fit's predictions of golfers held out if it is the model in use; no kept model has any."""
    if ASKED_FOR or not (FIRST_FIT or not OWN) and choice(wildcards).kept:
        return []
    return rules.fit_model.output.held_out


def parent(wildcards):
    """Give the files of the kept model that the newest fit is compared with; none for a first fit."""
    fit = FIT | dict(checkpoints.fit_model.get().output.items())
    return [local(path) for path in parent_files(KEPT, DECISIONS, fit)]
