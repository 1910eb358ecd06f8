"""Names that the app and the command line ask for here."""

from __future__ import annotations

from siteplanner.planning.telling.aiming import POLARISATION, up_text
from siteplanner.planning.telling.backhaul_rows import backhaul_cell, backhaul_lines, donor_rows

__all__ = ["POLARISATION", "backhaul_cell", "backhaul_lines", "donor_rows", "up_text"]
