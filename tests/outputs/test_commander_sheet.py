"""The commander's sheet: of any spot, one page, the worst thing plainly, nothing that only a specialist reads."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace

import pytest
from pypdf import PdfReader

from siteplanner.outputs.sheets.commander import commander_content
from siteplanner.outputs.sheets.printing import sheet_content, sheet_pdf
from siteplanner.planning.limits.overhead_lines import KeepAway
from siteplanner.planning.site.on_site import HazardNear
from siteplanner.planning.telling.answer import worst_words
from siteplanner.planning.telling.commander import far_from_wires, firm_words, near_hazards
from siteplanner.planning.telling.service import chance_words, without_words
from tests.outputs.factory import make_plan, waiting

KINDS = ("commander", "driver", "crew")
SPECIALIST = re.compile(r"\bdBm?\b|\bpoints behind\b|\bscore\b|[a-z]+_[a-z]+|\bσ\b|\bless likely\b")


@pytest.fixture(scope="module")
def plan():
    return waiting(make_plan())


def words_of(content) -> str:
    return " ".join(
        str(value) for key, value in content.items() if not key.endswith(("_svg", "_alt")) and key != "made"
    ).replace("\u200b", "")


@pytest.mark.parametrize("kind", KINDS)
def test_every_sheet_of_a_spot_names_that_spot_in_its_head_and_no_other(plan, kind):
    listed = {r.spot.name for r in plan.spots}
    for ranked in plan.spots:
        content = sheet_content(plan, kind, ranked)
        head = f"{content['title']} {content.get('heading', '')}"
        assert set(re.findall(r"\bspot ([A-Z]{1,2})\b", head)) == {ranked.spot.name}, (kind, head)
        text = PdfReader(io.BytesIO(sheet_pdf(plan, kind, ranked))).pages[0].extract_text()
        top = " ".join(text.split("\n")[:6])
        assert not [n for n in listed - {ranked.spot.name} if f"spot {n} " in top.split("Park")[0]]


def test_it_keeps_to_one_page_for_each_spot(plan):
    for ranked in plan.spots:
        assert len(PdfReader(io.BytesIO(sheet_pdf(plan, "commander", ranked))).pages) == 1


def test_nothing_on_it_is_for_a_specialist(plan):
    for ranked in (None, *plan.spots):
        assert not SPECIALIST.findall(words_of(commander_content(plan, ranked)))


def test_it_says_for_how_much_of_the_time_service_is_predicted(plan):
    text = PdfReader(io.BytesIO(sheet_pdf(plan, "commander"))).pages[0].extract_text()
    assert "predicted for half of the time, not measured" in " ".join(text.split())


def test_the_figures_come_first_then_the_worst_then_the_runner_up(plan):
    text = PdfReader(io.BytesIO(sheet_pdf(plan, "commander"))).pages[0].extract_text()
    content = commander_content(plan)
    order = [text.index(" ".join(str(w).split(" ")[:2])) for w in ("Park at", "Runner-up:", "Without service")]
    assert order == sorted(order)
    assert content["figures"][0][0].endswith("%")
    labels = [label for label, _ in content["decide"]]
    assert labels == ["Spot A accepted", "Change to spot B if", "Changed"]


def with_point(plan, chance, name="Search base"):
    best = plan.best
    coverage = best.evaluation.coverage
    points = (replace(coverage.must_serve[0], name=name, probability=chance),)
    quiet = replace(best.on_site, hazards=())  # a hazard area on the drive would be worse
    evaluation = replace(best.evaluation, coverage=replace(coverage, must_serve=points), on_site=quiet)
    return replace(best, evaluation=evaluation)


def test_what_is_none_is_told_as_none(plan):
    assert worst_words(plan, with_point(plan, 0.004)) == "No service expected at Search base (below 1 %)."
    assert worst_words(plan, with_point(plan, 0.3)) == "Service unlikely at Search base (30 %)."
    assert [chance_words(p) for p in (0.05, 0.1, 0.49, 0.5, float("nan"))] == [
        "none expected", "unlikely", "unlikely", "likely", "not known",
    ]  # fmt: skip
    assert without_words([("a", 0.6)]) == ""
    assert without_words([("a", 0.4), ("b", 0.02), ("c", 0.01), ("d", 0.0)]) == (
        "no service expected at d (0 %), c (1 %) and 1 more; service unlikely at a (40 %)"
    )


def test_a_hazard_area_far_from_spot_and_drive_is_not_told(plan):
    far, near, through = (
        HazardNear("far", 3400.0, False), HazardNear("near", 480.0, False), HazardNear("on it", 3400.0, True),
    )  # fmt: skip
    assert near_hazards([far, near, through]) == [near, through]


def test_how_firm_it_is_takes_one_sentence(plan):
    told = firm_words(plan)
    assert told.startswith(f"Spot {plan.best.spot.name} ")
    assert told.count(". ") == 0
    assert len(told) < 200


def test_its_letters_can_be_read_and_the_answer_is_the_largest(plan):
    """Size of letters on the page, in points: nothing of the answer is as small as the notes below it."""
    sizes: dict[str, float] = {}

    def keep(text, _cm, tm, _font, size):
        for word in ("Park", "No", "Without"):
            if text.strip().startswith(word):
                sizes.setdefault(word, abs(size * tm[3]))

    PdfReader(io.BytesIO(sheet_pdf(plan, "commander"))).pages[0].extract_text(visitor_text=keep)
    assert sizes["Park"] > 1.5 * sizes["Without"]


def test_a_line_that_is_far_is_no_matter_of_today(plan):
    """What is kept is 62.9 m: a line at 130 m is told, one at 340 m and one that nobody knows of are not alike."""
    line = KeepAway("feeder", 62.9, 340.0, 33.0, "line", 15.0, 2.0, 25.0, 20.9, 62.9)
    assert far_from_wires(line)
    assert not far_from_wires(replace(line, distance_m=130.0))
    assert not far_from_wires(replace(line, needed_m=math.nan))  # only its owner can say what is kept
    assert not far_from_wires(None)
    for told, wanted in ((line, False), (replace(line, distance_m=130.0), True), (None, True)):
        best = replace(plan.best, evaluation=replace(plan.best.evaluation, line=told))
        words = " ".join(text for _, text in commander_content(plan, best)["dangers"])
        assert ("line" in words) == wanted
