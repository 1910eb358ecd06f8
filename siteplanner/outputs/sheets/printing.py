"""The printed sheets as accessible PDF (PDF/UA-1): one for the commander, one for the driver, one for the crew.

Layout is in `*.typ`; the words and figures come from `commander`, `driver` and `crew`
as plain data, so no text from a file is ever read as markup. The letters are made smaller step by step, never below
LEAST_PT, until the sheet keeps to its pages. One that cannot (sixteen satellites, forty staging points, a long log)
runs on in letters that can be read; its foot counts the pages.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any, Literal

from siteplanner.errors import OutputError
from siteplanner.outputs.sheets.commander import commander_content
from siteplanner.outputs.sheets.crew import crew_content
from siteplanner.outputs.sheets.driver import driver_content
from siteplanner.outputs.sheets.fonts import FONT_FOLDER, Printer, extra_fonts, held, name_in_text, unbroken
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.choose.sets import TrailerAt
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.plan.sets_of import plan_of_unit
from siteplanner.planning.telling.as_built import MARK, banner_words
from siteplanner.planning.telling.units import reader_units

FOLDER = Path(__file__).parent
SIZES_PT = (10.5, 10.0, 9.5, 9.0, 8.5, 8.0, 7.5)
LEAST_PT = SIZES_PT[-1]  # read by torch in the rain, or in thirty seconds: no text below, drawings and foot included
PAGES = {"commander": 1, "driver": 2, "crew": 2, "measured": 1, "ready": 1, "hand_over": 1, "again": 1, "staged": 1}
RUN_ON_PT, MOST_PAGES = 8.0, 60  # a sheet that cannot keep to its pages: letters that can be read, and an end
MISSING_NOTE = (
    "▯ stands for a letter that is missing from this font: name a font in sheets.extra_fonts, or see plan.json."
)


def sheet_content(plan: Plan, kind: str, ranked: RankedSpot | None = None) -> dict[str, Any] | None:
    """Words and drawings of a sheet (`commander`, `driver`, `crew`) for a spot, by default the best.

    None where there is nothing to say: no spot passes, or no road leads there. The commander's sheet always is.
    """
    if kind == "commander":
        content: dict[str, Any] | None = commander_content(plan, ranked)
    else:
        ranked = ranked or plan.best
        if ranked is None:
            return None
        content = driver_content(plan, ranked) if kind == "driver" else crew_content(plan, ranked)
    if content is None:
        return None
    printer = Printer(held(extra_fonts(plan.mission)))
    made = printer.all(content)
    made["missing"] = MISSING_NOTE if printer.missing else ""
    made["made"] = made_words(plan)
    made["as_built"] = ""
    if plan.as_built is not None:
        made["as_built"] = name_in_text(banner_words(plan.as_built, reader_units(plan.mission)), 400)
        made["title"] = f"{MARK}. {made['title']}"
    return made


def made_words(plan: Plan) -> str:
    """What made the plan, and when."""
    when = str(plan.software.get("created", "no date")).replace("T", " ")
    return f"{plan.software.get('name', 'siteplanner')} {plan.software.get('version', '')}, {when}"


def sheet_pdf(plan: Plan, kind: str, ranked: RankedSpot | None = None) -> bytes | None:
    """One sheet as PDF/UA-1 with its fonts inside; None where there is nothing to say.

    Raises OutputError when it would take more than MOST_PAGES.
    """
    compiler = _compiler(plan, kind, ranked)
    if compiler is None:
        return None
    return b"".join(_pages(compiler.compile(format="pdf", pdf_standards=["ua-1"], timestamp=made_at(plan))))


def sheet_png(plan: Plan, kind: str, ranked: RankedSpot | None = None, ppi: float = 100.0) -> list[bytes]:
    """The same pages as pictures, one a page; empty where there is nothing to say."""
    compiler = _compiler(plan, kind, ranked)
    return [] if compiler is None else _pages(compiler.compile(format="png", ppi=ppi))


def _pages(made: Any) -> list[bytes]:
    return [bytes(page) for page in made] if isinstance(made, list) else [bytes(made)]


def made_at(plan: Plan) -> int:
    """Seconds since 1970 at which the plan was made; 0 where it does not say, so that no clock gets in."""
    from datetime import datetime

    try:
        return int(datetime.fromisoformat(str(plan.software.get("created"))).timestamp())
    except ValueError:
        return 0


def _compiler(plan: Plan, kind: str, ranked: RankedSpot | None) -> Any:
    """A compiler at the largest size of letters that keeps to the pages; None where there is nothing to say."""
    content = sheet_content(plan, kind, ranked)
    if content is None:
        return None
    return _fitted(content, kind, plan.mission.sheets.paper, extra_fonts(plan.mission))


def content_pdf(
    content: dict[str, Any], kind: str, *, paper: Literal["letter", "a4"], extra: tuple[Path, ...] = (), at: int = 0
) -> bytes:
    """A page of plain data by the layout of its kind (`measured`, `ready`, `hand_over`), as PDF/UA-1. `at`: seconds
    since 1970 that stand in it.

    Raises OutputError when it would take more than MOST_PAGES.
    """
    printer = Printer(held(extra))
    made = printer.all(content)
    made["missing"] = MISSING_NOTE if printer.missing else ""
    compiler = _fitted(made, kind, paper, extra)
    return b"".join(_pages(compiler.compile(format="pdf", pdf_standards=["ua-1"], timestamp=at)))


def _fitted(content: dict[str, Any], kind: str, paper: Literal["letter", "a4"], extra: tuple[Path, ...]) -> Any:
    import typst

    inputs = {
        "data": json.dumps(unbroken(content), ensure_ascii=False),
        "fonts": json.dumps(["DejaVu Sans", *families(extra)]),
        "paper": {"letter": "us-letter", "a4": "a4"}[paper],
    }
    places = [FONT_FOLDER, *sorted({path.parent for path in extra})]

    def at(size: float, most: int = PAGES[kind], layout: str = "plain") -> Any:
        compiler = typst.Compiler(
            input=str(FOLDER / f"{kind}.typ"),
            root=str(FOLDER),
            font_paths=[str(place) for place in places],
            ignore_system_fonts=True,
            sys_inputs={**inputs, "size": f"{size:g}", "least": f"{LEAST_PT:g}", "layout": layout},
        )
        fits = int(json.loads(compiler.query("<pages>", field="value", one=True))) <= most
        return compiler if fits else None

    # smaller letters never need more pages, so halving finds the largest that fit
    best, low, high = None, 0, len(SIZES_PT)
    while low < high:
        middle = (low + high) // 2
        made = at(SIZES_PT[middle])
        best, low, high = (made, low, middle) if made is not None else (best, middle + 1, high)
    if kind == "crew" and best is not None:  # the set-up in one piece, where the next smaller letters do it
        pieces = (at(size, layout="whole") for size in SIZES_PT[low : low + 2])
        best = next((made for made in pieces if made is not None), best)
    if (
        kind == "driver" and best is None
    ):  # thirty turns: the drawing of the heights goes first, the list has the climbs
        best = at(LEAST_PT, layout="short")
    if kind == "commander" and best is None:  # closer lines, then without the table of the other spots
        tighter = (at(LEAST_PT, layout=layout) for layout in ("tight", "short"))
        best = next((made for made in tighter if made is not None), None)
    best = best if best is not None else at(RUN_ON_PT, MOST_PAGES)
    if best is not None:
        return best
    raise OutputError(
        f"The {kind} sheet would have more than {MOST_PAGES} pages.",
        remedy="Shorten names or notes in the mission; plan.json and the briefing hold everything.",
    )


def families(paths: tuple[Path, ...]) -> list[str]:
    """The names by which a page asks for fonts."""
    from PIL import ImageFont

    return [str(ImageFont.truetype(str(path)).getname()[0]) for path in paths]


def write_sheet(plan: Plan, path: Path, kind: str) -> None:
    """Write a sheet of the best spot; no file where there is nothing to say."""
    made = sheet_pdf(plan, kind)
    if made is not None:
        Path(path).write_bytes(made)


def other_trailers(plan: Plan) -> list[tuple[str, TrailerAt]]:
    """(name for its files, trailer) of the trailers that the sheets of the best spot are not for.

    With units named, each of the largest set; otherwise the second trailer beside the first at the best spot.
    """
    if plan.mission.units:
        trailers = plan.sets[max(plan.sets)].trailers if plan.sets else ()
    else:
        trailers = () if plan.beside_first is None else plan.beside_first.trailers[1:]
    out: list[tuple[str, TrailerAt]] = []
    for number, trailer in enumerate(trailers, 1):
        called = re.sub(r"[^0-9a-z]+", "_", trailer.unit.lower()).strip("_") if trailer.unit else "second_trailer"
        called = called if called and called not in {c for c, _ in out} else f"{called or 'unit'}_{number}"
        out.append((called, trailer))
    return out


def write_unit_sheets(plan: Plan, folder: Path) -> None:
    """Driver's and crew's sheets of `other_trailers`: `driver_<unit>.pdf`."""
    for called, trailer in other_trailers(plan):
        theirs, ranked = plan_of_unit(plan, trailer)
        for kind in ("driver", "crew"):
            made = sheet_pdf(theirs, kind, ranked)
            if made is not None:
                (folder / f"{kind}_{called}.pdf").write_bytes(made)
