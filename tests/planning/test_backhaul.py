"""Other backhauls in a canyon made by hand: which works where, what is unknown, and what the plan says of it."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from siteplanner import explain, load_mission, plan
from siteplanner.core.constants import SPEED_OF_LIGHT_M_S
from siteplanner.errors import InputError
from siteplanner.planning.choose.scoring import score
from siteplanner.planning.spots.backhaul import MOST_DONORS, by_donor
from siteplanner.planning.spots.backhaul_ground import first_working
from siteplanner.planning.spots.candidates import choose_cells, spot_at
from siteplanner.planning.spots.evaluate import evaluate
from siteplanner.planning.study.inputs import backhaul_inputs, donor_inputs
from siteplanner.planning.telling.backhaul import backhaul_reason, backhaul_sentence, clause, donor_reason
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.words import because, recommendation
from tests.planning.canyon import DONOR, SPOTS, at, ground, write_canyon
from tests.planning.reasons import reasons_of

A_E = 4 / 3 * 6_371_000.0  # ITU-R P.526-15 section 2


@pytest.fixture(scope="module")
def canyon_plan(tmp_path_factory):
    return plan(load_mission(write_canyon(tmp_path_factory.mktemp("canyon") / "m")))


def judged(made, name):
    for e in (*(r.evaluation for r in made.judged), *made.rejected):
        if e.spot.name == name:
            return e
    raise AssertionError(name)


def only(made, name, kind):
    (found,) = [b for b in judged(made, name).backhauls if b.kind == kind]
    return found


class TestWhichWorksWhere:
    @pytest.mark.parametrize(
        ("name", "used"),
        [
            ("on the plain", "geostationary"),
            ("behind the butte", "open_sky"),
            ("canyon floor", "donor_link"),
            ("behind the dam", None),
        ],
    )
    def test_the_first_that_works_is_used(self, canyon_plan, name, used):
        e = judged(canyon_plan, name)
        assert [b.kind for b in e.backhauls] == ["geostationary", "open_sky", "donor_link"]
        assert (e.backhaul.kind if e.backhaul else None) == used
        assert ("no_backhaul" in {b.code for b in e.failed}) == (used is None)

    def test_the_ranking_holds_spots_with_every_one(self, canyon_plan):
        assert {r.evaluation.backhaul.kind for r in canyon_plan.spots} == {"geostationary", "open_sky", "donor_link"}
        searched = [r for r in canyon_plan.spots if r.spot.origin == "search"]
        assert "donor_link" in {r.evaluation.backhaul.kind for r in searched}  # the canyon is searched, not ruled out

    def test_no_ground_is_ruled_out_for_the_satellite_while_others_could_work(self, canyon_plan):
        assert not {r.code for r in canyon_plan.rulings} & {"sky_blocked", "sky_unknown"}

    def test_a_spot_without_any_says_why_in_one_sentence(self, canyon_plan):
        reason = reasons_of(judged(canyon_plan, "behind the dam"))["no_backhaul"]
        assert reason.startswith("No backhaul works here: dish to south: blocked, margin -")
        assert "donor link to Ridge tower: blocked at 0.15 km" in reason  # the dam: x 300..340, the spot at 155
        assert reason.count(".  ") == 0
        assert reason.endswith(".")

    def test_a_less_preferred_one_is_said_and_the_donor_cautioned(self, canyon_plan):
        codes = {name: [f.code for f in judged(canyon_plan, name).findings] for name in SPOTS}
        assert "backhaul_not_first_choice" not in codes["on the plain"]
        assert "backhaul_not_first_choice" in codes["behind the butte"]
        assert "open_sky_bare_ground" in codes["behind the butte"]
        assert {"backhaul_not_first_choice", "donor_agreement"} <= set(codes["canyon floor"])
        (agree,) = [f for f in judged(canyon_plan, "canyon floor").findings if f.code == "donor_agreement"]
        assert agree.severity == "check"
        assert "owner has to agree" in said(agree).remedy

    def test_explain_says_the_same(self, canyon_plan):
        spot = judged(canyon_plan, "canyon floor").spot
        found = explain(canyon_plan, spot.latitude, spot.longitude)
        assert found.passes
        assert backhaul_sentence(found.evaluation) == backhaul_sentence(judged(canyon_plan, "canyon floor"))


class TestFigures:
    def test_the_link_along_the_floor_by_hand(self, canyon_plan):
        path = judged(canyon_plan, "canyon floor").donor
        x, y = SPOTS["canyon floor"]
        east, north = DONOR[0] - x, DONOR[1] - y
        # UTM shortens by 0.9996 on its central meridian, here 500 km east
        assert path.distance_m == pytest.approx(math.hypot(east, north) / 0.9996, rel=2e-5)
        assert path.bearing_deg == pytest.approx(math.degrees(math.atan2(east, north)), abs=0.05)
        # flat floor: free space alone (P.525-4), plus 23 dBm and twice 23 dBi, less 2 dB
        free = 20 * math.log10(4 * math.pi * path.distance_m * 5.8e9 / SPEED_OF_LIGHT_M_S)
        assert path.loss_db == pytest.approx(free, abs=0.01)
        assert path.level_dbm == pytest.approx(23 + 23 + 23 - 2 - free, abs=0.01)
        assert path.margin_db == pytest.approx(path.level_dbm + 75 - 10)
        # level ground: from the mast up to 30 m, less half the arc
        rise = 30 - path.antenna_height_m
        assert path.elevation_deg == pytest.approx(
            math.degrees(rise / path.distance_m - path.distance_m / (2 * A_E)), abs=1e-3
        )
        assert path.bearing_magnetic_deg is not None

    def test_the_clearance_is_that_of_a_plain_loop(self, canyon_plan):
        """Twin: every half cell looked at, bilinear by hand, no shared code but the raster."""
        path = judged(canyon_plan, "canyon floor").donor
        z, (x0, y0), (x1, y1) = ground().astype(float), SPOTS["canyon floor"], DONOR
        n = math.ceil(2 * math.hypot(x1 - x0, y1 - y0) / 10)
        length = path.distance_m
        tx, rx = 1500 + path.antenna_height_m, 1500 + 30.0
        worst = (math.inf, 0.0)
        for i in range(1, n):
            s = i / n
            col, row = (x0 + s * (x1 - x0)) / 10 - 0.5, (2000 - y0 - s * (y1 - y0)) / 10 - 0.5
            r, c = int(row), int(col)
            fr, fc = row - r, col - c
            h = (1 - fr) * ((1 - fc) * z[r, c] + fc * z[r, c + 1]) + fr * (
                (1 - fc) * z[r + 1, c] + fc * z[r + 1, c + 1]
            )
            near, far = s * length, (1 - s) * length
            room = tx + s * (rx - tx) - near * far / (2 * A_E) - h
            radius = math.sqrt(SPEED_OF_LIGHT_M_S / 5.8e9 * near * far / length)
            worst = min(worst, (room / radius, near))
        assert path.clearance_share == pytest.approx(worst[0], rel=1e-6)
        assert path.tightest_at_m == pytest.approx(worst[1], abs=6)

    def test_the_open_sky_of_a_long_canyon(self, canyon_plan):
        """In the middle of an endless canyon with a sky that opens between a and b above both walls, the horizon at
        bearing t from the wall's normal is atan(tan(a) cos t)."""
        dome = only(canyon_plan, "canyon floor", "open_sky").dome
        _, y = SPOTS["canyon floor"]
        bearings = np.radians(np.arange(360))
        north, south = 1300 - y, y - 700  # to where each wall is 400 m high; the eye stands 2 m above the floor
        rise = np.where(np.cos(bearings) > 0, np.cos(bearings) / north, -np.cos(bearings) / south) * 398
        horizon = np.maximum(np.arctan(rise), math.radians(25))
        endless = float(np.mean((1 - np.sin(horizon)) / (1 - math.sin(math.radians(25)))))
        assert dome.high == pytest.approx(endless, abs=0.02)
        assert dome.worst.highest_deg == pytest.approx(math.degrees(math.atan(398 / south)), abs=0.6)

    def test_the_score_keeps_the_order_of_preference(self, canyon_plan):
        by_kind = {}
        for r in canyon_plan.spots:
            (line,) = [c for c in r.criteria if c.name == "backhaul"]
            place = ["geostationary", "open_sky", "donor_link"].index(r.evaluation.backhaul.kind) + 1
            assert f"choice {place} of 3" in line.label
            assert (3 - place) / 3 <= line.utility <= (4 - place) / 3
            by_kind[place] = line
        used = judged(canyon_plan, "canyon floor").backhaul
        (line,) = [
            c for r in canyon_plan.spots if r.spot.name == "canyon floor" for c in r.criteria if c.name == "backhaul"
        ]
        assert line.value == pytest.approx(used.margin)
        assert line.utility == pytest.approx(used.margin / 20 / 3)  # link_full_margin_db, last of three
        assert line.unit == "dB"

    def test_plan_json_holds_every_wanted_one(self, canyon_plan):
        from siteplanner.outputs.write import json_text

        record = json.loads(json_text(plan_record(canyon_plan)))
        spot = next(s for s in record["spots"] if s["name"] == "canyon floor")
        assert spot["backhaul"]["used"] == "donor_link"
        kinds = [(b["choice"], b["kind"], b["verdict"]) for b in spot["backhaul"]["wanted"]]
        assert kinds == [(1, "geostationary", "fails"), (2, "open_sky", "fails"), (3, "donor_link", "works")]
        assert spot["backhaul"]["wanted"][2]["donors"][0]["name"] == "Ridge tower"
        assert 0 < spot["backhaul"]["wanted"][1]["dome"]["high"] < 0.95

    def test_words_for_the_radio(self, canyon_plan):
        by_name = {r.spot.name: r for r in canyon_plan.spots}
        assert "links to Ridge tower 2.9 km away" in because(by_name["canyon floor"])
        assert "% of open sky" in because(by_name["behind the butte"])
        assert "to spare over the skyline" in because(by_name["on the plain"])
        assert clause(by_name["on the plain"].evaluation.backhauls[0]).startswith("dish to south, clear by ")


class TestMastStops:
    """A bank across the canyon 500 m ahead of the spot, 2.9 km from the donor at 30 m. By hand, from 8, 12 and 15 m of
    mast the ray is 11.8, 15.1 and 17.6 m up there (less 0.07 m of bulge); 0.6 of the first Fresnel radius is 2.8 m."""

    def banked(self, canyon_plan, height_m):
        judge = canyon_plan.judge
        grid = judge.study.elevation
        x, _ = grid.xy(0, np.arange(grid.shape[1]))
        values = grid.values.copy()
        values[:, abs(x - at(1505, 0)[0]) < 16] += height_m
        spot = judged(canyon_plan, "canyon floor").spot
        return replace(judge, study=_with_ground(judge.study, values)), spot, grid.cell(spot.x, spot.y)

    @pytest.mark.parametrize(
        ("height_m", "stop", "not_at", "words"),
        [
            (5.0, 8.0, (), "to spare"),
            (12.0, 12.0, (8.0,), "to spare (at 12 m of mast, not at 8 m)"),
            (14.0, 15.0, (8.0, 12.0), "to spare (at 15 m of mast, not at 12 m)"),
            (16.0, 15.0, (8.0, 12.0), "0.60 needed (even at 15 m of mast)"),
            (25.0, 15.0, (8.0, 12.0), "blocked at 0.49 km (even at 15 m of mast)"),
        ],
    )
    def test_the_lowest_stop_that_clears(self, canyon_plan, height_m, stop, not_at, words):
        judge, spot, cell = self.banked(canyon_plan, height_m)
        link = by_donor(donor_inputs(judge.study), spot, cell, None, (8.0, 12.0, 15.0))
        assert link.verdict == ("works" if height_m < 15 else "fails")
        assert (link.donors[0].antenna_height_m, link.donors[0].not_at_m) == (stop, not_at)
        assert backhaul_reason(link).endswith(words)
        for alone in (8.0, 12.0, 15.0):  # twin: each stop by itself
            works = by_donor(donor_inputs(judge.study), spot, cell, None, (alone,)).verdict == "works"
            assert works == (link.verdict == "works" and alone >= stop)

    def test_an_antenna_of_its_own_height_has_no_stops(self, canyon_plan):
        judge, spot, cell = self.banked(canyon_plan, 12.0)
        link = judge.study.mission.backhaul.donor_link.model_copy(update={"antenna_height_m": 6.0})
        found = by_donor(donor_inputs(_with_link(judge.study, link)), spot, cell, None, (8.0, 12.0, 15.0))
        assert (found.verdict, backhaul_reason(found)) == ("fails", "blocked at 0.49 km")
        assert found.donors[0].not_at_m == ()

    def test_the_mast_of_the_spot_is_raised_for_the_link_that_it_uses(self, canyon_plan):
        judge, spot, _ = self.banked(canyon_plan, 12.0)
        trailer = judge.study.mission.trailer.model_copy(update={"mast_stop_tolerance": 1.0})  # coverage: any stop does
        mission = judge.study.mission.model_copy(update={"trailer": trailer})
        # where it is not known what stands at the mast, coverage alone would take the highest stop
        cover = replace(judge.study.cover, known=np.ones(judge.study.elevation.shape, bool))
        judge = replace(judge, study=replace(judge.study, mission=mission, cover=cover), reuse=None)
        e = evaluate(judge, spot)
        assert e.donor is not None
        assert e.coverage.mast_height_m == e.donor.antenna_height_m == 12.0
        assert dict(e.coverage.share_by_stop)[12.0] == pytest.approx(e.coverage.share)
        assert "(at 12 m of mast, not at 8 m)" in backhaul_sentence(e)
        (told,) = [f for f in e.findings if f.code == "mast_raised_for_link"]
        assert "12 m, not at 8 m" in said(told).message
        assert "8 m would be enough" in said(told).message


class TestChosenGround:
    def test_the_best_ground_of_every_backhaul_is_among_the_candidates(self, canyon_plan):
        """Twin: a part of the ground, cell by cell with the judge of spots; what ranks first under each backhaul."""
        judge = canyon_plan.judge
        study, grid = judge.study, judge.study.elevation
        rows, cols = np.nonzero(judge.ruling.feasible)
        x, _ = grid.xy(rows, cols)
        part = (x > at(2100, 0)[0]) & (x < at(2460, 0)[0]) & (rows % 3 == 0) & (cols % 3 == 0)
        rows, cols = rows[part], cols[part]
        scores, kinds = {}, np.full(grid.shape, -1)
        value, feasible = np.zeros(grid.shape), np.zeros(grid.shape, bool)
        for row, col in zip(rows.tolist(), cols.tolist(), strict=True):
            e = evaluate(judge, spot_at(grid, row, col, ""))
            feasible[row, col] = True
            if e.backhaul is not None:
                kinds[row, col] = study.mission.backhaul.wanted.index(e.backhaul.kind)
                scores[row, col] = sum(c.contribution for c in score(e, study.mission))
                value[row, col] = scores[row, col]
        assert first_working(backhaul_inputs(study), rows, cols).tolist() == kinds[rows, cols].tolist()
        assert set(kinds[rows, cols].tolist()) >= {0, 2}
        chosen = choose_cells(feasible, value, 10.0, 100.0, 8, lambda r, c: first_working(backhaul_inputs(study), r, c))
        kept = set(zip(chosen[0].tolist(), chosen[1].tolist(), strict=True))
        for kind in set(kinds[kinds >= 0].tolist()):
            first = max((cell for cell in scores if kinds[cell] == kind), key=lambda cell: scores[cell])
            # blocks of 2 x 2 cells: a lone best cell of its kind may stand back for its block's best
            assert any(max(abs(first[0] - r), abs(first[1] - c)) < 2 and kinds[r, c] == kind for r, c in kept)
        assert max(scores, key=lambda cell: scores[cell]) in kept

    def test_ground_of_no_use_takes_no_place_from_ground_of_use(self, canyon_plan):
        searched = [e for e in (r.evaluation for r in canyon_plan.judged) if e.spot.origin == "search"]
        assert len(searched) == canyon_plan.search.candidates  # all candidates have a backhaul
        assert {e.backhaul.kind for e in searched} >= {"geostationary", "donor_link"}


class TestOrderAndChoice:
    def test_another_order_uses_another_backhaul(self, tmp_path):
        made = plan(load_mission(write_canyon(tmp_path / "m", backhaul='wanted = ["donor_link", "geostationary"]')))
        assert judged(made, "on the plain").backhaul.kind == "donor_link"
        assert "backhaul_not_first_choice" not in {f.code for f in judged(made, "on the plain").findings}

    def test_the_dish_alone_is_judged_as_ever(self, tmp_path):
        made = plan(load_mission(write_canyon(tmp_path / "m", backhaul='wanted = "geostationary"')))
        assert {"sky_blocked", "sky_unknown"} <= {r.code for r in made.rulings}
        floor = judged(made, "canyon floor")
        assert "sky_blocked" in {b.code for b in floor.failed}
        assert {f.code for f in made.findings} >= {"donor_sites_unused"}
        assert all(
            c.label == "Sky margin of the clearest satellite" for c in made.best.criteria if c.name == "backhaul"
        )

    def test_where_no_donor_is_in_reach_the_satellite_rules_the_ground(self, tmp_path):
        far = {"name": ["far"], "height_m": [30.0], "at": [(90_000.0, 1000.0)]}
        made = plan(
            load_mission(write_canyon(tmp_path / "m", far, backhaul='wanted = ["geostationary", "donor_link"]'))
        )
        assert "sky_blocked" in {r.code for r in made.rulings}
        reason = reasons_of(judged(made, "canyon floor"))["no_backhaul"]
        assert "no donor site within 30 km" in reason


class TestBadAndUnknown:
    def test_donor_links_wanted_without_donors(self, tmp_path):
        path = write_canyon(tmp_path / "m")
        text = (tmp_path / "m" / "mission.toml").read_text(encoding="utf-8")
        (tmp_path / "m" / "mission.toml").write_text(text.replace('donor_sites = "donors.gpkg"', ""), encoding="utf-8")
        with pytest.raises(InputError, match="no layer of donor sites") as caught:
            plan(load_mission(path))
        assert caught.value.field == "backhaul.wanted"
        assert "layers.donor_sites" in caught.value.remedy

    def test_a_backhaul_named_twice_or_unknown(self, tmp_path):
        for wanted in ('["geostationary", "geostationary"]', '["pigeon"]', "[]"):
            with pytest.raises(InputError) as caught:
                load_mission(write_canyon(tmp_path / "m", backhaul=f"wanted = {wanted}"))
            assert caught.value.field.startswith("backhaul.wanted")

    def test_sites_that_lack_heights_or_ground(self, tmp_path):
        donors = {
            "name": ["no height", "off the map", "nonsense"],
            "height_m": [None, "40", "tall"],
            "frequency_mhz": [11000.0, None, 5.8],
            "at": [DONOR, (9000.0, 1000.0), (3800.0, 1010.0)],
        }
        made = plan(load_mission(write_canyon(tmp_path / "m", donors, backhaul='wanted = ["donor_link", "open_sky"]')))
        found = {f.code: f for f in made.findings}
        assert "2 of 3 donor sites" in said(found["donor_height_assumed"]).message
        assert "no height, nonsense" in said(found["donor_height_assumed"]).message
        assert "tall" in said(found["height_m_doubtful"]).message
        assert "5.8" in said(found["frequency_mhz_doubtful"]).message
        paths = {p.name: p for p in only(made, "canyon floor", "donor_link").donors}
        assert paths["no height"].donor_height_m == 10  # the mission's default
        assert not paths["no height"].donor_height_stated
        assert paths["no height"].frequency_mhz == 11000
        assert paths["nonsense"].frequency_mhz == 5800
        off = paths["off the map"]
        assert off.verdict == "unknown"
        assert "outside the known elevation" in donor_reason(off)
        assert math.isnan(off.margin_db)

    def test_a_hole_in_the_ground_is_not_known_and_a_blocked_path_stays_blocked(self, canyon_plan):
        judge = canyon_plan.judge
        grid = judge.study.elevation
        x, _ = grid.xy(0, np.arange(grid.shape[1]))
        holed = grid.values.copy()
        holed[:, (x > at(2500, 0)[0]) & (x < at(2540, 0)[0])] = np.nan  # across every path
        study = _with_ground(judge.study, holed)
        for name, verdict, words in (
            ("canyon floor", "unknown", "the ground is not known beyond 1.5 km"),
            ("behind the dam", "fails", "blocked at 0.15 km"),
        ):
            spot = judged(canyon_plan, name).spot
            link = by_donor(donor_inputs(study), spot, study.elevation.cell(spot.x, spot.y), None, (12.0,))
            assert (link.verdict, backhaul_reason(link)) == (verdict, words)

    def test_too_far_and_too_weak_are_told_apart(self, canyon_plan):
        judge = canyon_plan.judge
        spot = judged(canyon_plan, "canyon floor").spot
        cell = judge.study.elevation.cell(spot.x, spot.y)
        for change, words in (
            ({"max_distance_m": 2000.0}, "too far, 2.9 km away, the limit is 2.0 km"),
            ({"tx_power_dbm": 0.0}, "8 dB too weak over 2.9 km"),
            ({"antenna_height_m": 3.0, "min_clearance": 2.9}, "of the first Fresnel radius is clear, 2.90 needed"),
        ):
            link = judge.study.mission.backhaul.donor_link.model_copy(update=change)
            found = by_donor(donor_inputs(_with_link(judge.study, link)), spot, cell, None, (12.0,))
            assert found.verdict == "fails"
            assert words in backhaul_reason(found)

    def test_many_donors_are_cut_to_the_nearest(self, canyon_plan):
        study = canyon_plan.judge.study
        (donor,) = study.donors
        many = tuple(replace(donor, name=f"{n:02d}", x=donor.x - 10 * n) for n in range(MOST_DONORS + 15))
        spot = judged(canyon_plan, "canyon floor").spot
        inputs = donor_inputs(replace(study, donors=many))
        link = by_donor(inputs, spot, study.elevation.cell(spot.x, spot.y), None, (12.0,))
        assert {p.name for p in link.donors} <= {f"{n:02d}" for n in range(15, 25)}  # the nearest ten
        assert link.donors[0].margin_db == max(p.margin_db for p in link.donors)


def _with_ground(study, values):
    return replace(study, elevation=study.elevation.with_values(values))


def _with_link(study, link):
    backhaul = study.mission.backhaul.model_copy(update={"donor_link": link})
    return replace(study, mission=study.mission.model_copy(update={"backhaul": backhaul}))


def test_nothing_passes_is_told_with_the_backhaul(tmp_path):
    made = plan(
        load_mission(write_canyon(tmp_path / "m", backhaul='wanted = "open_sky"\nopen_sky = {min_clear_share = 1.0}'))
    )
    if made.best is None:
        assert "No requested backhaul works at" in recommendation(made)
    else:
        assert all(r.evaluation.backhaul.margin == 1.0 for r in made.spots)


class TestLowK:
    """A ridge that leaves exactly 0.6 of the first Fresnel radius at k 4/3, over a plain (P.530 section 2.2.2)."""

    @staticmethod
    def link(km: float, share: float = 0.62):
        """A path of so many kilometres over a plain with a ridge half way, judged from a mast of 60 m."""
        from siteplanner.mission import DonorLink
        from siteplanner.planning.spots.backhaul import donor_path
        from siteplanner.planning.study.donors import Donor
        from siteplanner.planning.study.inputs import DonorInputs
        from tests.planning.open_ground import spot_in, study_on

        cell, half = 100.0, km * 1000 / 2
        cols = int(km * 10) + 21
        middle = cols // 2
        radius = math.sqrt(SPEED_OF_LIGHT_M_S / 5.8e9 * half / 2)
        ground = np.zeros((5, cols))
        ground[:, middle] = 200 - half**2 / (2 * A_E) - share * radius
        study = study_on(ground, cell)
        spot = spot_in(study, 2, middle - int(km * 5))
        end = spot_in(study, 2, middle + int(km * 5))
        donor = Donor("far", end.x, end.y, end.latitude, end.longitude, 200.0, True, 5800.0)
        link = DonorLink(max_distance_m=60_000, min_level_dbm=-110)
        inputs = DonorInputs(study.relief, link, (donor,), (200.0,))
        return donor_path(inputs, spot, spot.cell, donor, None, 200.0)

    def test_a_long_path_fails_at_the_low_k(self):
        """At k 2/3 such a ridge leaves 0.47, 0.23, -0.07 over 10, 20, 30 km: it was told to work."""
        shares = {km: self.link(km) for km in (10, 20, 30)}
        assert all(path.clearance_share >= 0.6 for path in shares.values())
        assert [path.why for path in shares.values()] == ["clear", "near_ground_low_k", "near_ground_low_k"]
        assert shares[30].low_k_share < 0.05
        assert shares[30].needed == 0.3
        assert "when the air bends the ray least (k 0.68" in donor_reason(shares[30])

    def test_the_clearance_at_the_low_k_by_hand(self):
        path = self.link(20)
        # the bulge grows from d1 d2 / 2 (4/3) a to d1 d2 / 2 (0.6) a
        more = 10_000**2 / (2 * 6_371_000) * (1 / 0.6 - 3 / 4)
        radius = math.sqrt(SPEED_OF_LIGHT_M_S / 5.8e9 * 5_000)
        assert path.low_k_factor == pytest.approx(0.6, abs=2e-3)
        assert path.low_k_share == pytest.approx(path.clearance_share - more / radius, abs=0.02)

    def test_what_multipath_takes_is_told(self):
        path = self.link(20, share=2.0)
        assert path.why == "clear"
        assert 0 < path.faded_pct < 0.1
        assert "lost to multipath for" in donor_reason(path)
        near = self.link(4, share=2.0)
        assert (near.faded_pct, "multipath" in donor_reason(near)) == (0.0, False)

    def test_rain_is_said_where_it_counts(self, canyon_plan):
        from siteplanner.errors import Finding

        (agree,) = [f for f in judged(canyon_plan, "canyon floor").findings if f.code == "donor_agreement"]
        assert "Rain is not included in the received level: at 5.8 GHz it takes its share." in said(agree).message
        high = Finding("donor_agreement", "warning", facts={"name": "x", "frequency_mhz": 13_000.0})
        assert "at 13.0 GHz it takes its share and decides how often the link is lost." in said(high).message
        low = Finding("donor_agreement", "warning", facts={"name": "x", "frequency_mhz": 2400.0})
        assert "Rain" not in said(low).message
