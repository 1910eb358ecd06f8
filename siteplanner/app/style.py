"""Looks of the pages, and small pieces of HTML. Every string in them passes through `text.shown`."""

from __future__ import annotations

from collections.abc import Sequence

from siteplanner.app.labels import plain
from siteplanner.outputs.map.styles import key_class, line_css
from siteplanner.outputs.words.palettes import drawn
from siteplanner.outputs.words.text import clean, named, shown

CSS = """<style>
.stMainBlockContainer { padding-top: 4rem; padding-bottom: 2rem; max-width: 1500px; }
/* the kit's own: "Stop" would be used as the plan's, its menu holds nothing for a user */
[data-testid="stStatusWidget"], [data-testid="stMainMenu"], .stAppDeployButton { display: none !important; }
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p {
  color: light-dark(#49505B, #BDB5A8) !important; opacity: 1 !important; }
input::placeholder, textarea::placeholder { color: light-dark(#49505B, #BDB5A8) !important; opacity: 1 !important; }
[class*="st-key-units_system"] .stRadio { display: flex; flex-flow: row wrap; align-items: center; gap: 4px 16px; }
[class*="st-key-units_system"] .stRadio > label { margin: 0; min-height: 0; }
.sp-answer { border-left: 8px solid #0B4F82; border-left-color: light-dark(#0B4F82, #8FBBDD);
  padding: 2px 0 2px 16px; margin: 0; }
.sp-answer.none { border-color: #A3123F; border-color: light-dark(#A3123F, #FF7A9A); }
.sp-answer .over { font-size: 15px; opacity: .75; margin: 0; }
.sp-answer .say { font-size: 32px; line-height: 1.2; font-weight: 700; margin: 2px 0 4px; }
.sp-answer .say span { font-size: 22px; font-weight: 600; margin-left: 14px; white-space: nowrap; }
.sp-answer .why { font-size: 18px; line-height: 1.35; margin: 0 0 3px; }
.sp-answer .watch { font-size: 18px; line-height: 1.35; margin: 0 0 3px; }
.sp-answer .watch b { color: #A3123F; color: light-dark(#A3123F, #FF8A3D); }
.sp-answer .firm { font-size: 15px; line-height: 1.4; margin: 0; opacity: .85; }
.sp-answer .sp-tiles { display: flex; flex-wrap: wrap; gap: 4px 26px; margin: 4px 0 6px; }
.sp-answer .sp-tiles div { font-size: 14px; line-height: 1.25; display: grid;
  grid-template-columns: fit-content(150px); align-content: start; }
.sp-answer .sp-tiles b { display: block; font-size: 24px; line-height: 1.15; white-space: nowrap;
  font-variant-numeric: tabular-nums; }
.sp-table { border-collapse: collapse; width: 100%; font-size: 15px; font-variant-numeric: tabular-nums; }
.sp-table th, .sp-table td { text-align: left; padding: 5px 10px 5px 0; vertical-align: top; border-bottom: 1px solid
  color-mix(in srgb, currentColor 18%, transparent); }
.sp-table thead th { font-weight: 600; opacity: .75; font-size: 13px; }
.sp-table tbody th { font-weight: 400; opacity: .75; }
.st-key-hours .sp-table tbody th { white-space: nowrap; }
.st-key-more .stCheckbox label p { white-space: normal !important; overflow: visible !important; }
.sp-table .num { text-align: right; white-space: nowrap; } .sp-table thead .num { white-space: normal; }
@media (max-width: 900px) { .sp-table .num:last-child { white-space: normal; } }
.sp-table tfoot td, .sp-table tfoot th { font-weight: 700; border-bottom: 0;
  border-top: 2px solid color-mix(in srgb, currentColor 60%, transparent); opacity: 1; }
.sp-table tr.sum td, .sp-table tr.sum th { font-weight: 700; opacity: 1; }
.sp-scroll { overflow-x: auto; }
.sp-head { font-size: 18px; font-weight: 700; margin: 10px 0 4px; }
.sp-head.large { font-size: 24px; margin: 18px 0 2px; }
.sp-over { font-size: 17px; line-height: 1.4; margin: 0 0 6px; }
.sp-compare { font-size: 16px; } .sp-compare thead th { font-size: 17px; opacity: 1; font-weight: 700; }
.sp-compare .sp-place { display: block; font-size: 13px; font-weight: 400; opacity: .8; }
.sp-compare .differs td { font-weight: 600; } .sp-compare .alike { opacity: .75; }
.sp-compare td.better { background: light-dark(#E3F1EC, #12352B); padding-left: 8px; }
.sp-compare td { padding-left: 8px; } .sp-compare thead th { padding-left: 8px; }
.sp-tag { font-size: 12px; font-weight: 700; margin-left: 8px; color: light-dark(#00644A, #2FCFA0);
  white-space: nowrap; }
.sp-big { font-size: 26px; font-weight: 700; line-height: 1.25; font-variant-numeric: tabular-nums; }
.sp-small { font-size: 13px; opacity: .75; margin: 4px 0 0; }
.sp-legend { display: flex; flex-wrap: wrap; gap: 2px 14px; font-size: 14px; align-items: center; }
.sp-legend span { white-space: nowrap; }
.sp-legend b { font-weight: 600; flex-basis: 100%; }
.sp-legend .sp-line { width: 26px; height: 0; border: 0 solid light-dark(var(--c), var(--n)); vertical-align: 4px; }
.sp-legend .sp-filled { height: 13px; box-sizing: border-box; vertical-align: -2px;
  background: color-mix(in srgb, light-dark(var(--c), var(--n)) calc(100% * var(--f)), transparent); }
.sp-legend .sp-gaps { height: 5px; vertical-align: 2px; background:
  repeating-linear-gradient(90deg, light-dark(var(--c), var(--n)) 0 6px, transparent 6px 11px) 0 0 / 100% 5px,
  linear-gradient(light-dark(var(--c), var(--n)) 0 1px, light-dark(var(--g), var(--m)) 1px 4px,
  light-dark(var(--c), var(--n)) 4px 5px); }
.sp-legend .sp-key { width: 20px; height: 20px; box-sizing: border-box; text-align: center;
  font: 700 12px/17px var(--st-font, sans-serif); vertical-align: -5px; border: 2px solid #fff; border-radius: 10px;
  background: #1C2430; color: #fff; }
.sp-legend .sp-key-out { background: #fff; color: #8A1C3B; border-color: #8A1C3B; }
.sp-legend .sp-key-must { width: 12px; height: 12px; border-radius: 0; background: #E69F00; border-color: #1C2430;
  transform: rotate(45deg); vertical-align: -1px; margin: 0 9px 0 4px; }
.sp-legend .sp-key-missed { width: 12px; height: 12px; border-radius: 0; background: #fff;
  border: 3px solid #A3123F; transform: rotate(45deg); vertical-align: -1px; margin: 0 9px 0 4px; }
.sp-legend .sp-key-pair { box-shadow: 0 0 0 2px #1C2430; width: 17px; height: 17px; line-height: 13px;
  margin: 0 8px 0 3px; vertical-align: -3px; }
.sp-legend .sp-key-step { border-radius: 3px; border: 1px solid #1C2430; background: #fff; color: #1C2430; width: 16px;
  height: 16px; line-height: 14px; vertical-align: -3px; }
.sp-legend .sp-key-minor { background: #4D5561; width: 16px; height: 16px; font-size: 10px; line-height: 13px;
  border-width: 1px; vertical-align: -3px; }
.sp-legend .sp-key-donor { background: none; color: #007A59; border-color: transparent; }
.sp-legend .sp-key-staging { border-radius: 0; background: #fff; color: #1C2430; border-color: #1C2430; }
.sp-legend i, .sp-swatch { display: inline-block; width: 14px; height: 14px; margin-right: 6px; vertical-align: -2px;
  border: 1px solid rgba(0, 0, 0, .35); }
.sp-note { border-left: 5px solid #5A6472; padding: 3px 0 3px 12px; margin: 0 0 8px; font-size: 15px;
  line-height: 1.4; }
.sp-note.warning { border-color: light-dark(#B84A00, #FF8A3D); }
.sp-note:is(.notice, .check, .unknown) { border-color: #E69F00; }
.sp-note.out { border-color: light-dark(#A3123F, #FF7A9A); }
.sp-note.in { border-color: light-dark(#007A59, #2FCFA0); }
.sp-note.danger { border-color: light-dark(#A3123F, #FF7A9A); border-left-width: 9px; }
.sp-note.hurts { border-color: light-dark(#B84A00, #FF8A3D); }
.sp-note b { margin-right: 6px; }
.sp-note .remedy { opacity: .8; }
.st-key-two-sides [data-testid="stColumn"], .st-key-more [data-testid="stColumn"],
.st-key-hours [data-testid="stColumn"], .st-key-points [data-testid="stColumn"] { min-width: min(400px, 100%); }
:is(.st-key-two-sides, .st-key-more) [data-testid="stColumn"] [data-testid="stColumn"] { min-width: 0; }
button[kind="primary"], button[kind="secondary"], [role="tab"] { min-height: 44px; }
[role="tab"] p { font-size: 17px !important; font-weight: 600; }
button[kind="primary"] p { color: light-dark(#FFFFFF, #15171B); }
iframe[title*="folium"] { border: 1px solid color-mix(in srgb, currentColor 25%, transparent); border-radius: 4px; }
@page { margin: 12mm; }
@media print {
  .stApp header, .stSidebar, [data-testid="stSidebar"], .stAppToolbar, .stButton, .stDownloadButton, .stPopover,
  [role="tablist"], .stForm, .stSelectbox, .stMultiSelect,
  .stButtonGroup, .stTextInput, .stElementToolbar { display: none !important; }
  html, body, .stApp { color-scheme: light !important; background: #fff !important; }
  .stApp, .stMain, .stAppViewContainer, [data-testid="stAppViewContainer"], [data-testid="stMain"], #root, body, html {
    height: auto !important; overflow: visible !important; position: static !important; }
  .stMainBlockContainer { padding: 0 !important; max-width: none; }
  .stApp :is(p, td, th, h1, h2, h3, b, li, bdi, code, pre, .sp-legend span):not(.sp-key) { color: #000 !important; }
  .stCode pre, .stCode { background: #fff !important; }
  .stHorizontalBlock { display: block !important; }
  .stColumn { width: 100% !important; min-width: 0 !important; }
  iframe { max-width: 100% !important; }
  [role="tabpanel"] { display: block !important; visibility: visible !important; height: auto !important; }
  .sp-head, h3 { break-after: avoid; }
  tr, .sp-note, .sp-answer, figure, iframe { break-inside: avoid; }
}
</style>"""


def table(
    rows: Sequence[Sequence[str]], head: Sequence[str] = (), *, figures: Sequence[int] = (), foot: Sequence[str] = ()
) -> str:
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


def head(text: str, *, large: bool = False) -> str:
    """A heading within a page; `large` opens a part of the page."""
    return f'<h3 class="sp-head{" large" if large else ""}">{named(text)}</h3>'


def bullets(kind: str, texts: Sequence[str]) -> str:
    """Sentences one below the other, each with a rule on its left in the colour of `kind` (see `note`)."""
    return "".join(f'<p class="sp-note {shown(kind)}">{named(text)}</p>' for text in texts)


def button_text(text: str, most: int = 24) -> str:
    """A name on a button: one line, cut when long, with nothing that Markdown would read."""
    line = clean(text)
    return plain(line if len(line) <= most else line[: most - 1] + "…")


def note(kind: str, word: str, text: str, remedy: str = "") -> str:
    """One finding or verdict: a word that says how grave, the sentence, the remedy."""
    more = f' <span class="remedy">{named(remedy)}</span>' if remedy else ""
    return f'<p class="sp-note {shown(kind)}"><b>{shown(word)}</b>{named(text)}{more}</p>'


def legend(rows: Sequence[tuple[str, str]], word: str = "") -> str:
    """Colours with their words, and before them what they say."""
    both = [(*drawn(shown_colour(c)), w) for c, w in rows]  # as they lie over the relief
    items = "".join(f'<span><i style="background:light-dark({d},{n})"></i>{named(w)}</span>' for d, n, w in both)
    first = f"<b>{named(word)}</b>" if word else ""
    return f'<div class="sp-legend">{first}{items}</div>'


def line_legend(lines: Sequence[tuple[str, str]], marks: Sequence[tuple[str, str, str]]) -> str:
    """Lines (kind, words) as drawn by day and by night, and marks (class, letter, words)."""
    out = "".join(
        f'<span><i class="{key_class(kind)}" style="{line_css(kind)}"></i>{named(words)}</span>'
        for kind, words in lines
    )
    out += "".join(
        f'<span><i class="sp-key {shown(name)}">{shown(letter)}</i>{named(words)}</span>'
        for name, letter, words in marks
    )
    return f'<div class="sp-legend lines">{out}</div>'


def shown_colour(colour: str) -> str:
    """A `#RRGGBB` colour for a style attribute; anything else is grey."""
    return colour if len(colour) == 7 and colour[0] == "#" and colour[1:].isalnum() else "#777777"
