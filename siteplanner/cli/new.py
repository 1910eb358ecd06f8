"""`siteplanner new`: a first mission file for the layers in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from siteplanner.cli.screen import bar_of, print_json, safe, stderr, stdout


def start_mission(
    folder: Annotated[Path, typer.Argument(readable=False, help="The folder that your layers are in.")],
    force: Annotated[bool, typer.Option("--force", help="Write over a mission.toml that is there.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Look at the files in a folder, say how each is used and why, and write a commented mission.toml there."""
    from siteplanner.app.first_mission import MISSION, left_out, look_over, text_of, write_new
    from siteplanner.app.intake import NEEDED, ROLES
    from siteplanner.planning.telling.first_mission import clue_words

    with bar_of(quiet) as progress:
        brought = look_over(folder, progress)
    used = [item for item in brought if item.usable and item.role in ROLES]
    others = left_out(brought)
    place = folder / MISSION
    write_new(place, text_of(folder.resolve().name, brought), force)
    given = {item.role for item in used}
    missing = [f"layers.{role}" for role in NEEDED if role not in given] + ["staging"] * ("staging" not in given)
    if as_json:
        print_json(
            {
                "mission": str(place.resolve()),
                "layers": [{"layer": i.role, "file": i.path, "why": clue_words(i.clue)} for i in used],
                "not_used": [{"file": file, "why": why} for file, why in others],
                "fill_in": missing,
            }
        )
    else:
        for item in used:
            stdout.print(safe(f"{item.role}: {item.path} ({clue_words(item.clue)})"), highlight=False)
        for file, why in others:
            stdout.print(safe(f"not used: {file} ({why})"), highlight=False)
        stdout.print(safe(f"Mission: {place.resolve()}"), highlight=False)
    if missing:
        stderr.print(safe(f"Fill in: {', '.join(missing)}. The file says how."), style="yellow", highlight=False)
    stderr.print(safe(f"Next: read it through, then siteplanner check {place}"), highlight=False, soft_wrap=True)
