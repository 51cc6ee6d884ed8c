"""The forms that a candidate's surface of carry may have."""

from pipeline.fit.flight_surface import FlightSurface
from pipeline.fit.surface import Surface
from pipeline.fit.tabulated import TabulatedSurface

Form = Surface | FlightSurface | TabulatedSurface
