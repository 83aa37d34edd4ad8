"""A reciprocity law that is least at one intensity and grows to either side of it, as a hanging chain does.

I·t = (I·t)_min · ½[(I/I₀)^a + (I/I₀)^-a] = (I·t)_min · cosh(a·ln(I/I₀)) for one density, after E. Kron (1913) and
J. Halm (1915) [form recalled from memory]. An indicated time T takes no failure into account: it goes by 1/I, and at
I₀ it is T₀ = (I·t)_min/I₀, so I/I₀ = T₀/T, and the law is closed in T: t = T·cosh(a·ln(T/T₀)).

It rises while a < 1, with an exponent of 1 + a far on the slow side.
"""

import numpy as np


class Catenary:
    """The law with its least failure at `best_time_s`, steepness a in [0, 1)."""

    def __init__(self, *, best_time_s: float, steepness: float) -> None:
        self.best_time_s, self.steepness = best_time_s, steepness

    def correct(self, time_s):  # type: ignore[no-untyped-def]  # scalars in, scalars out; arrays in, arrays out
        """The exposure time for an indicated time, both in s, shaped like the input."""
        time = np.asarray(time_s, dtype=float)
        return (time * np.cosh(self.steepness * np.log(time / self.best_time_s)))[()]
