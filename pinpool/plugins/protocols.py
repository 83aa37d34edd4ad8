"""What the functions of contributions return, by shape: whatever has these attributes will do.

`Profile`, `Law` and `Receptor` of optics.core have them. Arrays are of float64; lengths in mm, times in s, wavelengths
in nm. What these types cannot say is checked on return, and by `pinpool.testing`.
"""

from collections.abc import Callable, Mapping
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: A section of a printed sheet: `{"title": text, "blocks": [block, …]}`; `clubs.sheets.blocks` lists the blocks.
Section = Mapping[str, Any]


class Profile(Protocol):
    """A film plane's curve in the horizontal section; see `optics.core.profiles.Profile`."""

    @property
    def length_mm(self) -> float: ...

    @property
    def at(self) -> Callable[[Floats], tuple[Floats, Floats, Floats, Floats]]:
        """Of s, -length/2 to +length/2: x, z, and the unit normal's nx, nz, each shaped like s, which is read-only."""
        ...

    @property
    def breaks_mm(self) -> tuple[float, ...]:
        """The s where the curvature or direction jumps."""
        ...

    @property
    def shape(self) -> str:
        """How the film lies, in a word, or ""."""
        ...


class Law(Protocol):
    """A reciprocity law; it may also have `flags`, a tuple of `optics.core.faults.Flag`."""

    def correct(self, time_s: Any) -> Any:
        """The exposure time for an indicated time; a float for a float, an array for an array of its shape."""
        ...


class Receptor(Protocol):
    """What the light falls on: `wavelength_nm` stands for the band it sees."""

    @property
    def wavelength_nm(self) -> float: ...

    @property
    def band_nm(self) -> tuple[float, float]: ...
