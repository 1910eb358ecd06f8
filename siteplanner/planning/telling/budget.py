"""The link budget in words."""

from __future__ import annotations

from siteplanner.core.link import BudgetLine

DIRECTIONS = {"downlink": "Downlink", "uplink": "Uplink"}


def line_name(line: BudgetLine) -> str:
    """A line by its direction: `Downlink: path`, `Uplink: margin`, `Margin of the weaker direction`."""
    if line.direction == "weaker":
        return f"{line.item.capitalize()} of the weaker direction"
    return f"{DIRECTIONS[line.direction]}: {line.item}"


def line_item(line: BudgetLine) -> str:
    """As `line_name`, with `= ` before a sum."""
    return f"= {line_name(line)}" if line.is_sum else line_name(line)
