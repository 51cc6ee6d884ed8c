"""Carry by hand: from the texts of card.md and coefficients.csv alone, with plain arithmetic."""

import csv
import re
from math import prod

import numpy as np
from scipy.interpolate import make_interp_spline

from pipeline.physics import trajectory
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch


def tables(card):
    """Give the card's tables, each a list of rows of cells, by their first heading."""
    found = re.findall(r"(?:^\|.*\|\n)+", card, flags=re.MULTILINE)
    rows = [
        [[cell.strip() for cell in row.strip("|").split("|")] for row in table.split("\n") if row] for table in found
    ]
    return {table[0][0]: table[2:] for table in rows}


def figure(card, what):
    return float(re.search(rf"{what}:? (-?[\d.e-]+)", card).group(1))


def estimates(card, coefficients):
    """Give the rows of coefficients.csv that the card names: term to estimate, and the shares apart."""
    name = re.search(r"rows of coefficients\.csv whose model is (\S+?)\.", card).group(1)
    rows = [row for row in csv.DictReader(coefficients.splitlines()) if row["model"] == name]
    found = {row["term"]: float(row["estimate"]) for row in rows}
    shares = {term: found.pop(term) for term in list(found) if term.startswith(("device:", "ball:"))}
    return found, shares


def parts(card, drive):
    """Give what every part of a term's name is for a drive: speed, launch, spin."""
    said = tables(card)
    meaning, knots = dict(said["part"]), {row[0]: row[1:] for row in said.get("knots of", [])}
    found = {"intercept": 1.0}
    for (name, center, scale), value in zip(said["input"], drive, strict=True):
        z = (value - float(center)) / float(scale)
        t = [float(knot) for knot in knots.get(name, [])]

        def c(knot, z=z):
            return max(z - knot, 0.0) ** 3

        def d(k, t=t, c=c):
            return (c(t[k - 1]) - c(t[-1])) / ((t[-1] - t[k - 1]) * (t[-1] - t[0]) ** 2)

        for part, what in meaning.items():
            if re.fullmatch(rf"{name}(_\d)?", part):
                found[part] = eval(what.replace("^", "**"), {"z": z, "d": d})
    return found


def carry_by_hand(card, coefficients, drive, reads=(), flown=None):
    """Give the carry of a drive.

    `reads` names the devices and balls, as in coefficients.csv, that it was read with; `flown` gives carry and its
    slopes with drag and lift where the model has flight: `fly_itself` or a `Splined`.
    """
    terms, shares = estimates(card, coefficients)
    known = parts(card, drive)
    carry = 0.0
    if "drag_multiplier" in terms:
        own, drag, lift = flown(card, drive)
        carry += own + terms.pop("drag_multiplier") * drag + terms.pop("lift_multiplier") * lift
    carry += sum(estimate * prod(known[part] for part in term.split("*")) for term, estimate in terms.items())
    return carry * (1 + sum(shares[name] for name in reads))


def fly(card, speed, launch, spin):
    """Fly the card's ball: carry, and its slopes with drag and lift, yd, each of shape (n,)."""
    name = re.search(r"drag and lift coefficients: (\S+)", card).group(1)
    drag, lift = figure(card, "drag multiplier"), figure(card, "lift multiplier")
    air = Air(figure(card, "density"), figure(card, "viscosity"))
    shots = Launch.straight(np.asarray(speed) * 0.44704, launch, spin)

    def carry(more_drag=1.0, more_lift=1.0):
        return trajectory.fly(shots, Ball(name, drag * more_drag, lift * more_lift), air).carry_m / 0.9144

    more, less = (float(one) for one in re.search(r"carry with (\S+) x drag - carry with (\S+) x drag", card).groups())
    return carry(), (carry(more) - carry(less)) / (more - less), (carry(1, more) - carry(1, less)) / (more - less)


def fly_itself(card, drive):
    return [float(one[0]) for one in fly(card, *drive)]


class Splined:
    """Flight by splines through the points that a card gives, as scipy has them."""

    def __init__(self, card):
        rows = tables(card)["flights at"]
        self.points = [np.linspace(float(first), float(last), int(count)) for _, first, last, count in rows]
        grid = [part.ravel() for part in np.meshgrid(*self.points, indexing="ij")]
        self.values = [one.reshape([len(part) for part in self.points]) for one in fly(card, *grid)]

    def __call__(self, _, drive):
        speeds, launches, spins = self.points
        found = []
        for values in self.values:
            at_spin = make_interp_spline(spins, values, axis=2, bc_type="natural")(drive[2])
            at_launch = make_interp_spline(launches, at_spin, axis=1, bc_type="natural")(drive[1])
            found.append(float(make_interp_spline(speeds, at_launch, bc_type="natural")(drive[0])))
        return found
