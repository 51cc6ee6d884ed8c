"""The public demo key serves the demo's own logs, and no others: a run of a copy with another log is refused."""

import shutil


def test_a_copied_demo_with_another_log_is_not_run_under_the_public_key(tmp_path, snakemake, root, keyed):
    study = tmp_path / "study"
    shutil.copytree(root / "data_demo", study)
    same = snakemake(tmp_path, "--dry-run", study="study")
    log = study / "logs/bay_2026q3.csv"
    log.write_bytes(log.read_bytes()[:-20])

    other = snakemake(tmp_path, "--dry-run", study="study")
    keyed(study)
    own = snakemake(tmp_path, "--dry-run", study="study")

    assert (same.returncode, own.returncode) == (0, 0), same.stderr + own.stderr
    assert other.returncode != 0
    assert (
        "study/private/pseudonym.key: this is the public demo key, and study/logs/bay_2026q3.csv is not the demo's; "
        "remove the key file and make a key of your own with: yardband key STUDY"
    ) in " ".join((other.stdout + other.stderr).split())
    assert "Traceback" not in other.stdout + other.stderr
