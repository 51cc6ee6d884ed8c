"""Keys of studies that tests make."""

from pipeline.collect.key import SECRET_MARK


def own_key(study):
    """Give a study a secret key in place of the demo's, which serves the demo's own logs alone; the same each time."""
    key = study / "private/pseudonym.key"
    key.parent.mkdir(exist_ok=True)
    key.unlink(missing_ok=True)
    key.touch(mode=0o600)
    key.write_text(f"{SECRET_MARK}\n{'5a' * 32}\n", encoding="utf-8")
