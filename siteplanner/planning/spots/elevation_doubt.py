"""What the elevation's own error does to a share or a chance, as a value; worked out in `service_error`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ElevationDoubt:
    """A share or a probability: what the true ground is expected to add to the told figure, and how far that is known.

    `low`, `high`: the figure in nine cases of ten, for the elevation's own error alone. `hidden`: the part of the bias
    that is guessed, for ground that wide cells do not show.
    """

    bias: float
    spread: float  # one standard deviation
    low: float
    high: float
    hidden: float = 0.0
