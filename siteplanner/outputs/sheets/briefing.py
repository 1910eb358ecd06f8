"""The sheets as short plain text for a weak link: each fits 2 kB, figures as on the printed sheet.

Lines are put in by importance until the next one would not fit; what had to go is said at the end. The place and
what is of this very plan come first, what holds for every plan last.
"""

from __future__ import annotations

from typing import Any

from siteplanner.outputs.sheets.commander import arrival_words
from siteplanner.outputs.sheets.crew import arrival_rows
from siteplanner.outputs.sheets.fonts import BREAK, ISOLATE, POP, short
from siteplanner.outputs.sheets.printing import sheet_content
from siteplanner.outputs.sheets.sheet_words import NO_BREAK, named
from siteplanner.outputs.words.text import clean
from siteplanner.planning.choose.ranked import RankedSpot
from siteplanner.planning.plan.model import Plan
from siteplanner.planning.spots.evaluation import told_of
from siteplanner.planning.telling.aiming import dish_line
from siteplanner.planning.telling.backhaul_rows import link_line
from siteplanner.planning.telling.commander import ruling_line
from siteplanner.planning.telling.exposure import exposure_line
from siteplanner.planning.telling.radio import part_head, radio_lines
from siteplanner.planning.telling.units import reader_units

MOST_BYTES = 2000
CUT = "(cut to 2 kB: the sheet has more)"
MORE = "(more in the next message)"
BETWEEN = "-" * 20 + "\n"
LONGEST_LINE, LONGEST_SPOKEN = 420, 900


def briefing(plan: Plan, kind: str, ranked: RankedSpot | None = None) -> str | None:
    """A sheet (`commander`, `driver`, `crew`) as UTF-8 text of at most 2,000 bytes; None where there is none.

    A drive whose steps need more is told in several messages of that size: steps are never cut off.
    """
    content = sheet_content(plan, kind, ranked)
    if content is None:
        return None
    lines = {"commander": _commander, "driver": _driver, "crew": _crew}[kind](content, plan, ranked or plan.best)
    lines = [content["as_built"], *lines]
    kept = len(_drive_lines(content)) if kind == "driver" else 0
    return _fit([_plain(line) for line in lines if line], kept)


def briefing_text(plan: Plan) -> str:
    """All three, one after the other, each to be sent by itself."""
    made = [briefing(plan, kind) for kind in ("commander", "driver", "crew")]
    return f"\n{BETWEEN}".join(text for text in (*made, *radio_texts(plan)) if text)


def radio_texts(plan: Plan, ranked: RankedSpot | None = None) -> list[str]:
    """The drive to a spot (the best by default) and the other way there, to be read over a radio; each at most 2 kB.

    A drive that needs more is told in parts that say so: turns are never cut off.
    """
    units = reader_units(plan.mission)
    ranked = ranked or plan.best
    access = ranked.evaluation.access if ranked is not None else None
    if ranked is None or access is None:
        return []
    told = told_of(access)
    drives = [radio_lines(ranked.spot, access, told, units=units.aloud)]
    if told.alternative.route is not None:
        drives.append(
            radio_lines(ranked.spot, access, told, told.alternative_steps, alternative=True, units=units.aloud)
        )
    out = []
    for lines in drives:
        parts: list[list[str]] = [[]]
        for line in (_plain(clean(line), LONGEST_SPOKEN) for line in lines):
            used = sum(len(held.encode()) + 1 for held in parts[-1])
            if parts[-1] and used + len(line.encode()) > MOST_BYTES - 40:
                parts.append([])
            parts[-1].append(line)
        for number, part in enumerate(parts, 1):
            out.append("\n".join([part_head(number, len(parts)), *part]) + "\n")
    return out


def _plain(line: str, longest: int = LONGEST_LINE) -> str:
    for mark in (BREAK, ISOLATE, POP):
        line = line.replace(mark, "")
    line = line.replace(NO_BREAK, " ")
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def _fit(lines: list[str], kept: int = 0) -> str:
    """Lines until the next would not fit. The first `kept` are never left out: where they need more than one message,
    there are several, which say so."""
    room = MOST_BYTES - len(CUT.encode()) - 1
    parts, out, used = [], list[str](), 0
    for number, line in enumerate(lines):
        size = len(line.encode()) + 1
        if used + size > room:
            out.append(CUT if number >= kept else MORE)
            if number >= kept:
                break
            parts.append(out)
            out, used = [], 0
        out.append(line)
        used += size
    return f"{BETWEEN}".join("\n".join(part) + "\n" for part in (*parts, out))


def _where(content: dict[str, Any]) -> str:
    return "Where: " + "; ".join(value for _, value in content["where"]) if content["where"] else ""


def _pairs(rows: list[list[str]]) -> str:
    return ". ".join(f"{label}: {value}" for label, value in rows)


def _commander(c: dict[str, Any], plan: Plan, ranked: RankedSpot | None) -> list[str]:
    units = reader_units(plan.mission)
    return [
        f"{c['title']}: {c['mission'][:60]}",
        f"{c['park']} {c['worst']}".strip(),
        _where(c),
        "; ".join(f"{figure} {what}" for figure, what in c["figures"]),
        "Named points: " + "; ".join(f"{name} {chance}" for _, name, chance in c["points"]) if c["points"] else "",
        c["scout"],
        *(f"{word}: {text}" for word, text in c["dangers"]),
        _pairs(c["go"]),
        c["runner"],
        c["firm"],
        *c["missed"],
        _pairs([*c["meaning"], *c["drive"]]),
        *c["wind"],
        *(ruling_line(r.share, short(r.label, 60), units) for r in (plan.rulings[:4] if c["rulings"] else ())),
        "Check: " + " ".join(arrival_words(plan, ranked)),
        c["aid"],
        *c["assumptions"],
    ]


def _driver(c: dict[str, Any], plan: Plan, ranked: RankedSpot | None) -> list[str]:
    """What is of this drive first, what holds for every drive last: a short message is cut from its end."""
    lines = [*_drive_lines(c), f"Turn: {c['turning']}"]
    lines += [f"Not these ways: {c['not_these_ways']}"] if c["not_these_ways"] else []
    lines += [f"{word}: {text}" for word, text in c["warnings"]]
    lines += [_pairs([row for row in c["summary"] if row[0]])]
    lines += [" ".join(c["home"]), *c["cannot"], c["follow"]]
    return [*lines, _pairs(c["rig"]), "Before you move: " + "; ".join(c["hitch"]), c["aid"]]


def _drive_lines(c: dict[str, Any]) -> list[str]:
    """What is never cut: what a driver needs most in one text message, the place, and each step with its hazards."""
    lines = [c["first_line"], c["heading"], _where(c)]
    for step in c["steps"]:
        lines.append(f"{step['n']}. {step['at_words']} {step['text']}")
        lines += [f" - at {h['at_words']} {h['mark']}: {h['text']}" for h in step["hazards"] if h["mark"]]
    return lines


def _crew(c: dict[str, Any], plan: Plan, ranked: RankedSpot | None) -> list[str]:
    units = reader_units(plan.mission)
    assert ranked is not None  # without a spot there is no crew's sheet
    e = ranked.evaluation
    looks = e.sky[:2] if e.dish_wanted else ()
    links = [path for b in e.backhauls for path in b.donors][:2]
    return [
        c["heading"],
        _where(c),
        *(f"{word}: {text}" for word, text in c["warnings"][:3]),
        f"Tongue {c['stand'][0][1]}",
        "Jacks: " + ", ".join(f"{corner} {lift}" for corner, lift in c["jacks"]) if c["jacks"] else "",
        *(dish_line(look, units, named(24)) for look in looks),
        *(link_line(path, units, named(30)) for path in links),
        c["terminal"],
        c["search"],
        _pairs(c["mast"]) + ". " + "; ".join(f"{n} {t} true ({m} magnetic)" for n, t, m, *_ in c["sectors"]),
        *c["wind"][:2],
        exposure_line(ranked.on_site.antennas, units),
        f"Fuel: {c['fuel']}",
        # owners and their phones stay on paper: this text goes over open links
        "Check on arrival: "
        + " ".join(f"[ ] {what}" for what, _, _ in arrival_rows(plan, ranked, units, owners=False)),
        *(f"{word}: {text}" for word, text in (*c["warnings"][3:], *c["ways"])),
        *c["wind"][2:],
        c["light"],
        *(f"{n}. {text} ({who}; {two} min, alone {one})" for n, text, who, two, one in c["steps"]),
        c["aid"],
    ]
