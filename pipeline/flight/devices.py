"""What devices' readings need to be comparable: devices.json, and how it is applied."""

from dataclasses import dataclass

import numpy as np

# In this order everywhere: speeds and spin differ by a share (in logs), launch by degrees.
READINGS = ("club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm")

# Column: device: factor and addition.
ReadingChanges = dict[str, dict[str, tuple[float, float]]]


@dataclass(frozen=True)
class DeviceReadings:
    """What was found of one device.

    Attributes
    ----------
    device : str
    compared_by : str
        same golfers, population, none, or reference.
    correction : list of float
        What is added to its readings, in the order of `READINGS`: logs of factors, and deg for launch. 0 where nothing
        is corrected.
    doubt : list of list of float
        Second moments of what is still misread, in the units of `correction`, shape (4, 4).
    freedom : float
        Degrees of freedom of the doubt.
    note : str
        What is said of the device beside its logs.
    golfer_note : str or None
        What its golfers should know; None where nothing worth telling was found.
    """

    device: str
    compared_by: str
    correction: list[float]
    doubt: list[list[float]]
    freedom: float
    note: str
    golfer_note: str | None


@dataclass(frozen=True)
class StudyDevices:
    """devices.json: the reference device and, in a study with several, all devices.

    The reference's readings are taken as they are. Without drives there is none.
    """

    reference: str | None
    devices: list[DeviceReadings]

    @property
    def changes(self) -> ReadingChanges:
        """Give what drives' readings are multiplied with and what is added; empty where nothing is corrected."""
        found: ReadingChanges = {}
        for one in self.devices:
            for reading, value in zip(READINGS, one.correction, strict=True):
                if value != 0:
                    added = reading == "launch_deg"
                    change = (1.0, value) if added else (float(np.exp(value)), 0.0)
                    found.setdefault(reading, {})[one.device] = change
        return found


NO_DEVICES = StudyDevices(None, [])
