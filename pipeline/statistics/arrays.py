"""The array of floats that computing takes and returns."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
