"""Settings that differ between two kept models' records, in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

# Told elsewhere, in words of their own.
APART = ("air", "readings")


@dataclass(frozen=True)
class SettingChanges:
    """What differs between two records.

    Attributes
    ----------
    changed : tuple of (str, str, str)
        Key, such as efficient.strike, what it was and what it is.
    old_lacks, new_lacks : tuple of str
        Keys that one record alone has: it was made by a version of Yardband that stored more.
    """

    changed: tuple[tuple[str, str, str], ...] = ()
    old_lacks: tuple[str, ...] = ()
    new_lacks: tuple[str, ...] = ()

    @property
    def sentences(self) -> list[str]:
        """Say what differs; nothing where nothing does."""
        said = []
        if self.changed:
            parts = [f"{key} was {was}, is {now}" for key, was, now in self.changed]
            said.append(f"Settings differ: {'; '.join(parts)}.")
        for who, keys in (("old", self.old_lacks), ("new", self.new_lacks)):
            if keys:
                said.append(f"The {who} model's record doesn't have {', '.join(keys)}.")
        return said


NO_CHANGES = SettingChanges()


def setting_changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> SettingChanges:
    """Compare the settings of two records.

    Parameters
    ----------
    old, new : mapping
        As in record.json: keys to values, which may be mappings again. Those of `APART` are left out.

    Returns
    -------
    SettingChanges
        Keys in order.
    """
    was, now = (_flat(each) for each in (old, new))
    both = sorted(set(was) & set(now))
    return SettingChanges(
        tuple((key, _words(was[key]), _words(now[key])) for key in both if was[key] != now[key]),
        tuple(sorted(set(now) - set(was))),
        tuple(sorted(set(was) - set(now))),
    )


def _flat(settings: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    """Name every value by the way to it: efficient.strike."""
    found: dict[str, Any] = {}
    for key, value in settings.items():
        if not before and key in APART:
            continue
        if isinstance(value, Mapping) and value:
            found |= _flat(value, f"{before}{key}.")
        else:
            found[f"{before}{key}"] = _plain(value)
    return found


def _plain(value: Any) -> Any:
    """Give lists and tuples as one kind, and nothing in them as nothing: JSON keeps lists alone."""
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(one) for one in value] or None
    return None if isinstance(value, Mapping) else value


def _words(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_words(one) for one in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
