"""What stands on the ground in a plan: from a surface, from land cover, from both, or assumed and said so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import rasterio
from affine import Affine

from siteplanner import load_mission, plan
from siteplanner.core.clutter import height_gain_db, woodland_db
from siteplanner.core.coverage import path_loss_stops_db
from siteplanner.core.ground_cover import KINDS, TREES
from siteplanner.core.link import service_probability
from siteplanner.errors import InputError
from siteplanner.mission import Radio, mission_from_dict
from siteplanner.outputs.sheets.commander import commander_content
from siteplanner.planning.spots.service import area_loss_db, choose_stop, predict_coverage
from siteplanner.planning.study.inputs import coverage_inputs
from siteplanner.planning.study.load import load_study
from siteplanner.planning.study.progress import Stages
from siteplanner.planning.telling.findings import said
from siteplanner.planning.telling.prediction import cover_sentence
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.units import METRIC
from tests.planning.conftest import ORIGIN_X, ORIGIN_Y, at, valley, write_mission

COVER = 'land_cover = "cover.tif"\nland_cover_classes = {"1" = "open", "2" = "suburban", "3" = "trees"}'
SURFACE = 'surface = "surface.tif"'


def write_raster(folder, name, values, nodata=None):
    with rasterio.open(
        folder / name,
        "w",
        driver="GTiff",
        height=200,
        width=300,
        count=1,
        dtype=values.dtype,
        crs="EPSG:32612",
        transform=Affine(10, 0, ORIGIN_X, 0, -10, ORIGIN_Y + 2000),
        nodata=nodata,
    ) as dst:
        dst.write(values, 1)
        dst.units = ("m",)


def write_cover(folder, east_class=2, dtype="uint8", west_class=1, nodata=None):
    values = np.full((200, 300), west_class, dtype)
    values[:, 180:] = east_class  # x >= 1800
    write_raster(folder, "cover.tif", values, nodata)


def write_surface(folder, trees_m=0.0, unknown_east_of_m=3000):
    """The ground with trees over x >= 1800, unknown beyond some x."""
    surface = valley()
    surface[:, 180:] += np.float32(trees_m)
    surface[:, unknown_east_of_m // 10 :] = -9999
    write_raster(folder, "surface.tif", surface, -9999)


def study_of(path):
    return load_study(load_mission(path), Stages())


def loss_of(study, stops=(8.0, 15.0)):
    return area_loss_db(coverage_inputs(study), study.elevation.cell(*at(1700, 930)), np.array(stops))


def plain_loss(study, height_m=1.5, stops=(8.0, 15.0)):
    grid, cells = study.elevation, study.area_cells
    cell = grid.cell(*at(1700, 930))
    return path_loss_stops_db(grid.values, grid.cell_size_m, *cell, stops, height_m, 763.0, cells.rows, cells.cols)


def found(study, code):
    return next((f for f in study.findings if f.code == code), None)


def test_suburban_cells_are_worked_out_to_the_roofs_and_down_by_the_height_gain(tmp_path):
    path = write_mission(tmp_path / "m", layers=COVER)
    write_cover(tmp_path / "m")
    study = study_of(path)
    grid, cells = study.elevation, study.area_cells
    loss = loss_of(study)
    x, y = grid.xy(cells.rows, cells.cols)
    east, north = x - at(1700, 0)[0], y - at(0, 930)[1]
    among_m = np.hypot(east, north) * (x - at(1800, 0)[0]) / east  # of the path, from the first house on
    built = cells.cols >= grid.cell(*at(1805, 930))[1]
    assert 0 < built.sum() < len(built)
    np.testing.assert_allclose(loss[:, ~built], plain_loss(study)[:, ~built], atol=0.05)  # no house in the way
    # ITU-R P.2108-1 section 3.1 and Table 3 (suburban: R = 10 m); about 18 dB at 763 MHz
    gain = float(height_gain_db(763.0, 1.5, "suburban"))
    assert gain == pytest.approx(17.9, abs=0.3)
    # within 50 m of the edge of the houses none of them is left on the profile (P.452-18)
    first = built & (among_m < 35)
    assert first.sum() > 20
    np.testing.assert_allclose(loss[:, first], plain_loss(study, 10.0)[:, first] + gain, atol=0.05)
    # farther in, the path from 8 m grazes their roofs
    deep = built & (among_m > 100)
    assert np.all(loss[0, deep] > plain_loss(study, 10.0)[0, deep] + gain + 5.0)


@pytest.mark.parametrize("way", ["surface", "land cover", "both", "default"])
def test_a_wood_told_any_way_has_one_loss(tmp_path, way):
    folder = tmp_path / "m"
    layers = {"surface": SURFACE, "land cover": COVER, "both": f"{SURFACE}\n{COVER}", "default": ""}[way]
    path = write_mission(folder, 'default_clutter = "trees"', layers=layers)
    write_cover(folder, east_class=3, west_class=3)
    everywhere = valley() + np.float32(15.0)
    write_raster(folder, "surface.tif", everywhere, -9999)
    study = study_of(path)
    assert (study.cover.cover.kinds == TREES).all()
    loss = loss_of(study)
    # the default is the yardstick: trees of 15 m, P.2108-1 Table 3
    reference = replace(study, cover=study_of(write_mission(tmp_path / "d", 'default_clutter = "trees"')).cover)
    np.testing.assert_allclose(loss, loss_of(reference), atol=0.01)
    assert np.all(loss - plain_loss(study) > float(woodland_db(300.0, 763.0)))


class TestNothingKnown:
    @pytest.fixture(scope="class")
    def bare(self, tmp_path_factory):
        return plan(load_mission(write_mission(tmp_path_factory.mktemp("bare"), "")))

    def test_a_warning_says_what_was_assumed(self, bare):
        finding = next(f for f in bare.findings if f.code == "clutter_assumed")
        assert finding.severity == "check"
        assert "not known" in said(finding).message
        assert "suburban ground with houses and trees of 10 m" in said(finding).message
        assert "default_clutter" in said(finding).remedy

    def test_it_reaches_the_commanders_sheet(self, bare):
        content = commander_content(bare)
        assert any("not known: service is that of suburban" in text for text in content["assumptions"])
        assert not any("Bare ground" in text for text in content["assumptions"])

    def test_the_loss_is_not_that_of_open_ground(self, bare):
        study = bare.judge.study
        assert study.mission.layers.default_clutter == "suburban"
        assert np.median(loss_of(study) - plain_loss(study)) > 15.0

    def test_the_mast_goes_to_the_highest_stop(self, bare):
        # nobody knows whether houses or trees stand around the mast: at 8 m they would cost most
        assert {r.evaluation.coverage.mast_height_m for r in bare.judged} == {15.0}

    def test_open_ground_can_be_stated_and_is_told(self, tmp_path):
        study = study_of(write_mission(tmp_path / "m"))
        np.testing.assert_array_equal(loss_of(study), plain_loss(study))
        assert "open ground with nothing on it" in said(found(study, "clutter_assumed")).message


class TestMastStop:
    def inputs(self, tmp_path, **changes):
        path = write_mission(tmp_path / "m", "", layers=SURFACE)
        write_surface(tmp_path / "m", **changes)
        return coverage_inputs(study_of(path))

    def test_where_it_is_known_what_stands_there_the_lowest_that_is_good_enough(self, tmp_path):
        inputs = self.inputs(tmp_path, unknown_east_of_m=2000)
        cell = inputs.elevation.cell(*at(1700, 930))
        assert choose_stop(inputs, cell, np.array([0.80, 0.81, 0.82])) == 0
        assert choose_stop(inputs, cell, np.array([0.60, 0.81, 0.82])) == 1

    def test_where_it_is_not_the_highest(self, tmp_path):
        inputs = self.inputs(tmp_path, unknown_east_of_m=2000)
        cell = inputs.elevation.cell(*at(2500, 930))
        assert choose_stop(inputs, cell, np.array([0.80, 0.81, 0.82])) == 2

    def test_never_higher_than_the_wind_allows(self, tmp_path):
        inputs = self.inputs(tmp_path, unknown_east_of_m=2000)
        known, unknown = (inputs.elevation.cell(*at(x, 930)) for x in (1700, 2500))
        assert choose_stop(inputs, unknown, np.array([0.80, 0.81, 0.82]), 12.0) == 1
        assert choose_stop(inputs, known, np.array([0.60, 0.81, 0.92]), 12.0) == 1

    def test_the_forecast_lowers_the_stop(self, tmp_path):
        # gusts of 20 m/s at 10 m: more at the top; the mast stands 30 m/s at 8 and 12 m, 15 at its highest stop
        limits = "mast_limit_unguyed_m_s = [30.0, 30.0, 15.0]"
        path = write_mission(tmp_path / "m", "", layers='wind_forecast = "wind.csv"', wind=limits)
        rows = [f"2026-06-01T{hour:02d}:00:00-06:00,14,20,225" for hour in range(4)]
        (tmp_path / "m" / "wind.csv").write_text("\n".join(["time,speed,gust,direction_deg", *rows]))
        stops = {r.evaluation.coverage.mast_height_m for r in plan(load_mission(path)).judged}
        assert stops == {12.0}

    def test_trees_around_the_mast_raise_it(self, tmp_path):
        # 15 m trees over x >= 1800; the spot stands in a gap of three cells among them
        path = write_mission(tmp_path / "m", "", layers=SURFACE)
        write_surface(tmp_path / "m", trees_m=15.0)
        with rasterio.open(tmp_path / "m" / "surface.tif", "r+") as file:
            values = file.read(1)
            values[:, :] = valley()
            row, col = 107, 250
            values[row - 8 : row + 9, col - 8 : col + 9] += 15.0
            values[row - 1 : row + 2, col - 1 : col + 2] -= 15.0
            file.write(values, 1)
        study = study_of(path)
        cell = study.elevation.cell(*at(2505, 925))
        lost = area_loss_db(coverage_inputs(study), cell, np.array([8.0, 12.0, 20.0]))
        lost -= path_loss_stops_db(
            study.elevation.values,
            10.0,
            *cell,
            [8.0, 12.0, 20.0],
            1.5,
            763.0,
            study.area_cells.rows,
            study.area_cells.cols,
        )
        np.testing.assert_allclose(np.median(lost[:2], axis=1), float(woodland_db(70.0, 763.0)), atol=2.0)
        assert np.median(lost[2]) < 1.0


class TestGaps:
    @pytest.fixture(scope="class")
    def study(self, tmp_path_factory):
        folder = tmp_path_factory.mktemp("gaps") / "m"
        path = write_mission(folder, "", layers=SURFACE)
        write_surface(folder, trees_m=12.0, unknown_east_of_m=2000)
        return study_of(path)

    def test_the_share_that_the_surface_does_not_tell_is_a_finding(self, study):
        finding = found(study, "surface_gaps")
        assert finding.severity == "check"
        east = study.elevation.xy(0, np.arange(study.elevation.shape[1]))[0] > at(2000, 0)[0]
        known = np.isfinite(study.elevation.values) & study.search_ground
        assert finding.facts["share"] == pytest.approx((known & east).sum() / known.sum(), abs=0.01)
        assert 0.2 < finding.facts["share"] < 0.6
        assert "not known" in said(finding).message

    def test_the_study_keeps_where_it_is_known(self, study):
        x, _ = study.elevation.xy(*np.indices(study.elevation.shape))
        inside = np.isfinite(study.elevation.values)
        np.testing.assert_array_equal(study.surface_known[inside], (x < at(2000, 0)[0])[inside])

    def test_the_radio_takes_the_default_there_not_bare_ground(self, study):
        kinds = study.cover.cover.kinds
        grid = study.elevation
        assert kinds[grid.cell(*at(1900, 1000))] == TREES  # told by the surface
        assert kinds[grid.cell(*at(1700, 1000))] == 0
        assert kinds[grid.cell(*at(2200, 1000))] == KINDS.index("suburban")

    def test_the_sheet_says_so(self, study):
        words = cover_sentence(study.mission, study.findings, METRIC)
        assert words.startswith("Trees and roofs from the surface layer")
        assert "suburban ground with houses and trees of 10 m is assumed there" in words

    def test_land_cover_fills_what_the_surface_leaves(self, tmp_path):
        folder = tmp_path / "m"
        path = write_mission(folder, "", layers=f"{SURFACE}\n{COVER}")
        write_surface(folder, unknown_east_of_m=2000)
        write_cover(folder, east_class=3)
        study = study_of(path)
        assert study.cover.cover.kinds[study.elevation.cell(*at(2200, 1000))] == TREES
        assert study.cover.cover.kinds[study.elevation.cell(*at(1900, 1000))] == 0  # a gap, known by its height
        assert "land cover is taken" in said(found(study, "surface_gaps")).message

    def test_land_cover_without_a_class_is_the_default(self, tmp_path):
        folder = tmp_path / "m"
        path = write_mission(folder, "", layers=COVER)
        write_cover(folder, east_class=255, nodata=255)
        study = study_of(path)
        assert study.cover.cover.kinds[study.elevation.cell(*at(2200, 1000))] == KINDS.index("suburban")
        assert not study.cover.known[study.elevation.cell(*at(2200, 1000))]
        assert found(study, "land_cover_gaps").facts["share"] > 0.2


class TestProbabilityAtAPoint:
    def test_no_margin_makes_a_point_certain(self, valley_plan):
        # 24.6 dB of margin was told as above 99 %: 8 dB of spread leave no room for what the model does not know
        points = [p for r in valley_plan.judged for p in r.evaluation.coverage.must_serve]
        assert max(p.margin_db for p in points) > 20.0
        assert max(p.probability for p in points) == 0.95
        radio = Radio()
        for p in points:
            expected = min(float(service_probability(p.margin_db, np.hypot(5.0, 6.2))), 0.95)
            assert p.probability == pytest.approx(expected, abs=1e-6)
        assert radio.sigma_db == pytest.approx(8.0, abs=0.05)

    def test_the_expectation_over_the_area_is_over_both_errors(self, valley_plan):
        # The share is the mean over the model's error of the share at each error: Gauss-Hermite over seven of them.
        inputs = coverage_inputs(valley_plan.judge.study)
        best = valley_plan.best
        nodes, weights = np.polynomial.hermite_e.hermegauss(7)

        def share_at(error_db):
            radio = inputs.radio.model_copy(
                update={"model_sigma_db": 0.0, "interference_margin_db": 0.0, "body_loss_db": 3.0 + error_db * 6.2}
            )
            cover = predict_coverage(replace(inputs, radio=radio, mast_stops_m=(15.0,)), best.spot, best.spot.cell)
            return cover.share

        mean = float(weights @ [share_at(error) for error in nodes] / weights.sum())
        assert best.evaluation.coverage.share == pytest.approx(mean, abs=0.01)

    def test_the_model_s_own_error_moves_the_whole_share(self, valley_plan):
        inputs, best = coverage_inputs(valley_plan.judge.study), valley_plan.best
        weak = inputs.radio.model_copy(update={"tx_power_dbm": inputs.radio.tx_power_dbm - 40})
        coverage = predict_coverage(replace(inputs, radio=weak), best.spot, best.spot.cell)
        assert coverage.share_low < coverage.share < coverage.share_high
        # closed form for one margin m: Phi((m -+ 6.2) / 5); the area has many, so it is only bounded
        assert 0.1 < coverage.share_high - coverage.share_low < 0.8
        sure = best.evaluation.coverage
        assert sure.share_low <= sure.share <= sure.share_high  # also where nearly all is served

    @pytest.fixture(scope="class")
    def weak_share(self, valley_plan):
        """The share at an area's edge of service, for a radio that is otherwise the mission's."""
        inputs, best = coverage_inputs(valley_plan.judge.study), valley_plan.best

        def told(**off):
            radio = inputs.radio
            radio = radio.model_copy(update={"tx_power_dbm": radio.tx_power_dbm - 40} | off)
            return predict_coverage(replace(inputs, radio=radio, mast_stops_m=(15.0,)), best.spot, best.spot.cell)

        return told

    def test_what_is_in_no_doubt_is_small_beside_the_model_s_own_error(self, weak_share):
        """Tolerances of an antenna's data sheet (0.5 dB, a tenth of each beam, 3 dB of side lobes; common practice, no
        source): each moves the share by less than a tenth of what the model's own error does."""
        base, radio = weak_share(), Radio()
        by_model = (base.share_high - base.share_low) / 2
        assert by_model > 0.05
        tolerances = [
            {"antenna_gain_dbi": radio.antenna_gain_dbi - 0.5},
            {"beamwidth_deg": 0.9 * radio.beamwidth_deg},
            {"vertical_beamwidth_deg": 0.9 * radio.vertical_beamwidth_deg},
            {"vertical_side_lobe_db": radio.vertical_side_lobe_db - 3},
        ]
        moved = [abs(weak_share(**off).share - base.share) for off in tolerances]
        assert max(moved) > 0
        assert max(moved) < by_model / 10, moved

    def test_how_high_a_handset_is_held_is_in_the_handsets_doubt(self, weak_share, valley_plan):
        """Over flat open ground the field grows with the height: 3.5 dB less at 1 m than at 1.5 m, 2.5 dB more at 2 m
        (two-ray, closed form), 13 points of share here. Nine in ten of what is drawn of handsets hold it."""
        drawn_db = 1.645 * valley_plan.mission.doubts.handset_db
        body = Radio().body_loss_db
        least, most = (weak_share(body_loss_db=body + off).share for off in (drawn_db, -drawn_db))
        assert weak_share(handset_height_m=1.5).share - weak_share(handset_height_m=1.0).share > 0.1
        assert least <= weak_share(handset_height_m=1.0).share < weak_share(handset_height_m=2.0).share <= most
        assert 20 * np.log10(1.5) > 1.645 * np.hypot(1.7, 0.6)  # of hand, body and turn alone: it was not held

    def test_plan_json_says_what_it_is(self, valley_plan):
        record = plan_record(valley_plan)
        meaning = record["service"]["probability_at_points"]
        for words in ("5.0 dB from place to place", "6.2 dB of the model's own error", "95 %", "half of the time"):
            assert words in meaning
        for words in ("half of the time (median refraction, k = 4/3)", "from 250 m off the mast on (ITU-R P.1812)"):
            assert words in record["service"]["predicted_for"]
        assert record["service"]["over"].startswith("What stands on the ground is not known")
        assert {"share_low", "share_high"} <= set(record["spots"][0]["coverage"])


def test_codes_without_a_kind_are_told(tmp_path):
    path = write_mission(tmp_path / "m", layers=COVER)
    write_cover(tmp_path / "m", east_class=7)
    assert "7" in said(found(study_of(path), "land_cover_unmapped")).message


def test_outside_the_recommendations_range_the_nearest_figure_is_taken_and_it_is_said(tmp_path):
    # It was left out altogether: open ground, the most hopeful of all answers.
    path = write_mission(tmp_path / "m", layers=COVER, radio="frequency_mhz = 3500")
    write_cover(tmp_path / "m")
    study = study_of(path)
    assert "too little" in said(found(study, "clutter_out_of_range")).message
    built = study.area_cells.cols >= study.elevation.cell(*at(1805, 930))[1]
    plain = path_loss_stops_db(
        study.elevation.values,
        10.0,
        *study.elevation.cell(*at(1700, 930)),
        [15.0],
        10.0,
        3500.0,
        study.area_cells.rows,
        study.area_cells.cols,
    )
    gain = float(height_gain_db(3000.0, 1.5, "suburban"))
    assert np.all(loss_of(study, (15.0,))[:, built] > plain[:, built] + gain - 0.1)


def test_heights_are_not_classes(tmp_path):
    path = write_mission(tmp_path / "m", layers=COVER)
    write_cover(tmp_path / "m", dtype="float32")
    with pytest.raises(InputError, match="whole numbers"):
        study_of(path)


def test_class_codes_must_be_whole_numbers():
    with pytest.raises(InputError, match="whole numbers"):
        mission_from_dict(
            {
                "layers": {"elevation": "e", "incident_area": "a", "roads": "r", "land_cover_classes": {"x": "urban"}},
                "staging": {"latitude": 45, "longitude": -113},
            }
        )
