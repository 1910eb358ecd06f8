"""`siteplanner handover DIR`: one page for the next shift from the last plan, report, readings and log."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from siteplanner.cli.log import moment_of
from siteplanner.cli.screen import print_json, safe, stderr, stdout


def make_hand_over(
    folder: Annotated[
        Path, typer.Argument(readable=False, metavar="DIR", help="Folder of a plan; those just below count too.")
    ],
    out: Annotated[Path, typer.Option("--out", help="Folder to write into; made if missing.")] = Path(
        "siteplanner_out/handover"
    ),
    incident: Annotated[
        Path | None, typer.Option("--incident", readable=False, help="Incident file; DIR/incident.toml if left out.")
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", help="When it is handed over, with its offset; now if left out.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON on stdout.")] = False,
) -> None:
    """Write the page for the next shift (PDF, text) and the log (text, table)."""
    from siteplanner.outputs.hand_over import write_hand_over
    from siteplanner.planning.plan.hand_over import hand_over
    from siteplanner.planning.plan.papers import papers_of
    from siteplanner.planning.plan.records import of, text
    from siteplanner.planning.telling.compare import units_of
    from siteplanner.planning.telling.hand_over import form_lines, hand_over_record
    from siteplanner.planning.telling.terminal import wrote_words

    when = datetime.now().astimezone().replace(microsecond=0) if at is None else moment_of(at, "--at")
    papers = papers_of(folder, incident)
    found = hand_over(papers, when)
    units = units_of(papers.plan).first
    files = write_hand_over(found, out, units, text(of(papers.plan, "mission", "sheets", "paper")))
    if as_json:
        print_json(hand_over_record(found, units))
    else:
        for line in form_lines(found, units):
            stdout.print(safe(line), highlight=False, soft_wrap=True)
    stderr.print(safe(wrote_words(len(files), str(out.resolve()))), soft_wrap=True, highlight=False)
    print(f"Page: {(out / 'handover.pdf').resolve()}", file=sys.stderr if as_json else sys.stdout)
