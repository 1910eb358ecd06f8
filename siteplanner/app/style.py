"""Looks of the pages, and small pieces of HTML. Every string in them passes through `text.shown`."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.outputs.text import named, shown

CRITERION_COLOURS = {  # Okabe and Ito, Color Universal Design (2008); words always stand beside them
    "coverage": "#0072B2", "must_serve": "#E69F00", "sky": "#56B4E9", "ground": "#009E73", "access": "#CC79A7",
}

CSS = """<style>
.stMainBlockContainer { padding-top: 4rem; padding-bottom: 2rem; max-width: 1500px; }
.sp-answer { border-left: 8px solid #0B4F82; padding: 2px 0 2px 16px; margin: 0; }
.sp-answer.none { border-color: #A3123F; }
.sp-answer .over { font-size: 15px; opacity: .75; margin: 0; }
.sp-answer .say { font-size: 32px; line-height: 1.2; font-weight: 700; margin: 2px 0 4px; }
.sp-answer .say span { font-size: 22px; font-weight: 600; margin-left: 14px; white-space: nowrap; }
.sp-answer .why { font-size: 18px; line-height: 1.35; margin: 0 0 3px; }
.sp-answer .firm { font-size: 15px; line-height: 1.4; margin: 0; opacity: .85; }
.sp-table { border-collapse: collapse; width: 100%; font-size: 15px; font-variant-numeric: tabular-nums; }
.sp-table th, .sp-table td { text-align: left; padding: 5px 10px 5px 0; vertical-align: top; border-bottom: 1px solid
  color-mix(in srgb, currentColor 18%, transparent); }
.sp-table thead th { font-weight: 600; opacity: .75; font-size: 13px; }
.sp-table tbody th { font-weight: 400; opacity: .75; }
.sp-table .num { text-align: right; }
.sp-table tfoot td, .sp-table tfoot th { font-weight: 700; border-bottom: 0;
  border-top: 2px solid color-mix(in srgb, currentColor 60%, transparent); opacity: 1; }
.sp-scroll { overflow-x: auto; }
.sp-head { font-size: 18px; font-weight: 700; margin: 10px 0 4px; }
.sp-big { font-size: 26px; font-weight: 700; line-height: 1.25; font-variant-numeric: tabular-nums; }
.sp-small { font-size: 13px; opacity: .75; margin: 4px 0 0; }
.sp-legend { display: flex; flex-wrap: wrap; gap: 2px 16px; font-size: 14px; }
.sp-legend span { white-space: nowrap; }
.sp-legend i, .sp-swatch { display: inline-block; width: 14px; height: 14px; margin-right: 6px; vertical-align: -2px;
  border: 1px solid rgba(0, 0, 0, .35); }
.sp-note { border-left: 5px solid #5A6472; padding: 3px 0 3px 12px; margin: 0 0 8px; font-size: 15px;
  line-height: 1.4; }
.sp-note.caution { border-color: #B84A00; } .sp-note.warning { border-color: #E69F00; }
.sp-note.out { border-color: #A3123F; } .sp-note.in { border-color: #007A59; }
.sp-note b { margin-right: 6px; }
.sp-note .remedy { opacity: .8; }
.st-key-two-sides [data-testid="stColumn"] { min-width: 400px; }
.st-key-two-sides [data-testid="stColumn"] [data-testid="stColumn"] { min-width: 0; }
button[kind="primary"], button[kind="secondary"] { min-height: 44px; }
iframe[title*="folium"] { border: 1px solid color-mix(in srgb, currentColor 25%, transparent); border-radius: 4px; }
</style>"""


def table(rows: Sequence[Sequence[str]], head: Sequence[str] = (), *, figures: Sequence[int] = (),
          foot: Sequence[str] = ()) -> str:
    """A table of plain texts; the first column heads its row, `figures` are columns set to the right."""

    def cells(row: Sequence[str], kind: str) -> str:
        out = []
        for number, cell in enumerate(row):
            tag = "th" if number == 0 or kind == "th" else "td"
            mark = ' class="num"' if number in figures else ""
            out.append(f"<{tag}{mark}>{named(cell)}</{tag}>")
        return f"<tr>{''.join(out)}</tr>"

    top = f"<thead>{cells(head, 'th')}</thead>" if head else ""
    end = f"<tfoot>{cells(foot, 'td')}</tfoot>" if foot else ""
    body = "".join(cells(row, "td") for row in rows)
    return f'<div class="sp-scroll"><table class="sp-table">{top}<tbody>{body}</tbody>{end}</table></div>'


def head(text: str) -> str:
    """A heading within a page."""
    return f'<h3 class="sp-head">{named(text)}</h3>'


def note(kind: str, word: str, text: str, remedy: str = "") -> str:
    """One finding or verdict: a word that says how grave, the sentence, the remedy."""
    more = f' <span class="remedy">{named(remedy)}</span>' if remedy else ""
    return f'<p class="sp-note {shown(kind)}"><b>{shown(word)}</b>{named(text)}{more}</p>'


def legend(rows: Sequence[tuple[str, str]]) -> str:
    """Colours with their words."""
    items = "".join(f'<span><i style="background:{shown_colour(c)}"></i>{named(w)}</span>' for c, w in rows)
    return f'<div class="sp-legend">{items}</div>'


def shown_colour(colour: str) -> str:
    """A `#RRGGBB` colour for a style attribute; anything else is grey."""
    return colour if len(colour) == 7 and colour[0] == "#" and colour[1:].isalnum() else "#777777"
