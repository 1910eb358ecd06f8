"""Published values, an independent library, closed forms and properties of the per-path loss."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import fresnel

from siteplanner.core.constants import SPEED_OF_LIGHT_M_S
from siteplanner.core.propagation import (
    diffraction_db,
    diffraction_steps,
    free_space_db,
    fresnel_radius_m,
    knife_edge_db,
)

from .coverage_twin import delta_bullington

DATA = Path(__file__).parent / "data"
A_E_KM = 4.0 / 3.0 * 6371.0
PYCRAF_RANDOM_PROFILES = 300  # of the 1,000 that were run once; pycraf takes about 12 ms a profile
PYCRAF_REAL_PROFILES = 100


def profile(name: str) -> tuple[np.ndarray, np.ndarray]:
    with open(DATA / name, encoding="ascii", newline="") as file:
        rows = [(float(r["distance_km"]) * 1000.0, float(r["height_m"])) for r in csv.DictReader(file)]
    return np.array([r[0] for r in rows]), np.array([r[1] for r in rows])


class TestFreeSpace:
    def test_constant_of_the_exact_form(self):
        # ITU-R P.525-4: 20 log10(4 pi 1e9 / c), c = 299 792 458 m/s; 1 km and 1 MHz.
        assert free_space_db(1000.0, 1.0) == pytest.approx(32.44778, abs=1e-5)

    @pytest.mark.parametrize(
        ("mhz", "km", "rounded_db"),
        [(700, 1, 89.3020), (768, 3, 99.6496), (850, 10, 110.9884), (1900, 5, 111.9545), (2500, 0.2, 86.3794)],
    )
    def test_agrees_with_the_rounded_form(self, mhz, km, rounded_db):
        # P.525-4 rounds the constant to 32.4; the exact one is 0.0478 dB above.
        assert free_space_db(km * 1000.0, mhz) == pytest.approx(rounded_db + 0.0478, abs=1e-4)

    def test_shapes_broadcast(self):
        assert free_space_db(np.ones((3, 1)), np.ones(4)).shape == (3, 4)

    def test_unknown_stays_unknown(self):
        assert math.isnan(free_space_db(math.nan, 700.0))

    @pytest.mark.parametrize(("distance", "mhz"), [(0.0, 700.0), (-5.0, 700.0), (10.0, 0.0)])
    def test_refuses_what_is_not_a_path(self, distance, mhz):
        with pytest.raises(ValueError, match="above 0"):
            free_space_db(distance, mhz)


def knife_edge_nu(height_m, near_m, far_m, frequency_mhz):
    """nu = h sqrt(2 (1/d1 + 1/d2) / lambda), ITU-R P.526-15, section 4.1."""
    wavelength = SPEED_OF_LIGHT_M_S / (frequency_mhz * 1e6)
    return height_m * math.sqrt(2.0 / wavelength * (1.0 / near_m + 1.0 / far_m))


class TestKnifeEdge:
    NU = np.array([-0.78, -0.5, 0, 0.5, 1, 2, 2.4, 3, 5, 10])

    def test_table_of_the_approximation(self):
        # ITU-R P.526-15 equation (31). At -0.78 itself the loss is taken as 0 (the formula: 0.0040).
        expected = [0, 1.9592, 6.0329, 10.2878, 13.9257, 19.0429, 20.5393, 22.4160, 26.8136, 32.8554]
        np.testing.assert_allclose(knife_edge_db(self.NU), expected, atol=1e-4)

    def test_near_the_exact_fresnel_integral(self):
        # P.526-15 section 4.1: J = -20 log10(|1 - C - S + j(C - S)| / 2); the approximation is within 0.13 dB.
        nu = np.linspace(-0.78, 10, 500)
        s, c = fresnel(nu)
        exact = -20 * np.log10(np.sqrt((1 - c - s) ** 2 + (c - s) ** 2) / 2)
        assert np.max(np.abs(knife_edge_db(nu) - exact)) <= 0.13

    @pytest.mark.parametrize(
        ("height", "km", "mhz", "nu", "loss"),
        [
            (10, (2, 3), 700, 0.623825, 11.2640),
            (30, (5, 5), 700, 1.296597, 15.7057),
            (-5, (1, 4), 2500, -0.721938, 0.3881),
        ],
    )
    def test_edges_by_hand(self, height, km, mhz, nu, loss):
        # Closed form: nu = h sqrt(2 (1/d1 + 1/d2) / lambda), P.526-15 section 4.1.
        value = knife_edge_nu(height, km[0] * 1000, km[1] * 1000, mhz)
        assert value == pytest.approx(nu, abs=1e-5)
        assert knife_edge_db(value) == pytest.approx(loss, abs=1e-4)

    @given(st.floats(-5, 50), st.floats(0, 5))
    def test_never_falls_as_the_edge_rises(self, nu, more):
        assert knife_edge_db(nu + more) >= knife_edge_db(nu)

    def test_unknown_stays_unknown(self):
        assert math.isnan(knife_edge_db(math.nan))


class TestFresnelRadius:
    @pytest.mark.parametrize(
        ("zone", "km", "mhz", "radius"),
        [
            (1, (5, 5), 700, 32.7214),
            (1, (1, 9), 850, 17.8165),
            (1, (0.5, 0.5), 2500, 5.4753),
            (2, (5, 5), 700, 46.2750),
        ],
    )
    def test_closed_form(self, zone, km, mhz, radius):
        # sqrt(n lambda d1 d2 / d), P.526-15 section 2.
        assert fresnel_radius_m(km[0] * 1e3, km[1] * 1e3, mhz, zone) == pytest.approx(radius, abs=1e-4)

    def test_six_tenths_clear_loses_nothing(self):
        # nu = -sqrt(2) clearance / F1: 0.6 F1 is nu = -0.8485, below -0.78.
        clear = -0.6 * fresnel_radius_m(5000.0, 5000.0, 700.0)
        nu = knife_edge_nu(clear, 5000.0, 5000.0, 700.0)
        assert nu == pytest.approx(-0.8485, abs=1e-4)
        assert knife_edge_db(nu) == 0.0

    def test_refuses_no_path(self):
        with pytest.raises(ValueError, match="not both 0"):
            fresnel_radius_m(0.0, 0.0, 700.0)


# ITU-R Study Group 3, "Validation examples for the delta Bullington diffraction prediction method" (spreadsheet
# delB_valid_temp), paths 1 and 3; stored with the reference code of P.452 by eeveetza and by rkfengineering, which
# agree. a_e 8500 km, c 3e8 m/s, horizontal polarization, land.
# path, htx, hrx, MHz: h'tx, h'rx, Lbulla, Lbulls, Lsph, Ld
SG3 = [
    (1, 30, 30, 1000, 211.3366061, 30, 32.84284766, 13.74840484, 15.3485837, 34.44302652),
    (1, 50, 10, 2500, 233.4945304, 10, 37.229036, 18.5970601, 23.6973069, 42.32928281),
    (1, 20, 20, 600, 204.7165548, 20, 31.22595813, 15.79373777, 20.91384864, 36.34606901),
    (1, 40, 50, 200, 215.727222, 50, 24.87792613, 11.50981857, 14.32933641, 27.69744396),
    (1, 70, 5, 150, 252.3138569, 5, 24.78223928, 14.93033347, 33.13883693, 42.99074274),
    (3, 30, 30, 1000, 110.1894677, 30, 17.62040631, 0, 0, 17.62040631),
    (3, 50, 10, 2500, 132.6734925, 11.9416848, 25.1016907, 0, 0, 25.1016907),
    (3, 20, 20, 600, 102.8893122, 22.52524312, 20.25488733, 0, 0, 20.25488733),
    (3, 40, 50, 200, 118.7202148, 50, 10.1899085, 0, 0, 10.1899085),
    (3, 70, 5, 150, 152.2011247, 5.664441408, 16.27593106, 6.17409081, 10.63765222, 20.73949248),
]
# Same source, first term of the spherical loss, path 1: F(X), G(Y1), G(Y2).
SG3_FIRST_TERM = {
    (30, 30, 1000): (-59.40894528, 39.52373705, 4.536624536),
    (50, 10, 2500): (-85.5189285, 62.46549974, -0.643878137),
    (20, 20, 600): (-48.12283666, 30.34301718, -3.134029165),
}
SG3_TOLERANCE_DB = 0.01  # the spreadsheet takes beta as 1; the suggested tolerance is 0.1


@pytest.mark.parametrize("row", SG3, ids=lambda r: f"path{r[0]}-{r[1]}-{r[2]}-{r[3]}")
def test_study_group_3_examples(row):
    path, htx, hrx, mhz, *expected = row
    distance, height = profile(f"sg3_path{path}.csv")
    steps = diffraction_steps(
        distance, height, htx, hrx, mhz, earth_radius_m=8.5e6, polarization="horizontal", speed_of_light_m_s=3e8
    )
    found = [
        steps.tx_effective_height_m,
        steps.rx_effective_height_m,
        steps.bullington_db,
        steps.smooth_bullington_db,
        steps.spherical_db,
        steps.diffraction_db,
    ]
    np.testing.assert_allclose(found[:2], expected[:2], atol=1e-5)  # metres, as printed
    np.testing.assert_allclose(found[2:], expected[2:], atol=SG3_TOLERANCE_DB)
    if path == 1 and (htx, hrx, mhz) in SG3_FIRST_TERM:
        terms = [steps.distance_term_db, steps.tx_height_gain_db, steps.rx_height_gain_db]
        np.testing.assert_allclose(terms, SG3_FIRST_TERM[htx, hrx, mhz], atol=SG3_TOLERANCE_DB)


def test_study_group_3_profiles_are_whole():
    # Counts and lengths of the same source; sums of heights as carried over.
    for path, count, length, total in ((1, 1663, 83079.93853, 825171), (3, 349, 17396.88966, 208740)):
        distance, height = profile(f"sg3_path{path}.csv")
        assert (distance.size, height.sum()) == (count, total)
        assert distance[-1] == pytest.approx(length, abs=1e-4)


# ITU-R SG 3 P.452-18 validation examples, test_profile_flat_land_5km and _100km: 10 m antennas, vertical
# polarization, p 50 %, c = 2.998e8 m/s. GHz: Ldsph = Ld50.
FLAT_5_KM = {0.1: 20.02432081, 0.25: 12.69951778, 0.5: 7.30775532, 0.75: 4.11082622, 1: 1.75163653, 2: 0}
FLAT_100_KM = {0.1: 67.30014953, 0.25: 70.36696319, 0.5: 76.11124705, 1: 85.58724637, 2: 99.60559847, 2.5: 105.22322083}


@pytest.mark.parametrize(
    ("end_km", "step_km", "radius_km", "losses"),
    [(5, 0.01, 8738.167287, FLAT_5_KM), (100, 1, 8735.511968, FLAT_100_KM)],
    ids=["5 km", "100 km"],
)
def test_flat_land_of_p452(end_km, step_km, radius_km, losses):
    distance = np.arange(0, end_km + step_km / 2, step_km) * 1000.0
    for ghz, expected in losses.items():
        found = diffraction_db(
            distance,
            np.zeros_like(distance),
            10,
            10,
            ghz * 1000,
            earth_radius_m=radius_km * 1000,
            speed_of_light_m_s=2.998e8,
        )
        assert found == pytest.approx(expected, abs=1e-6), ghz


# Four profiles worked with pycraf 2.1.0 (P.452-16), a_e 8500 km, horizontal: Ld50, and its Bullington nu where given.
PROFILES = {
    "A": (0.5, [100.0] * 10 + [160.0] + [100.0] * 10, 20, 10, 700, 28.8526, 2.008454),
    "B": (
        0.5,
        [50, 52, 55, 60, 70, 95, 80, 65, 60, 58, 55, 54, 53, 52, 54, 58, 66, 78, 105, 84, 68, 60, 57, 55, 54],
        15,
        3,
        850,
        34.6251,
        None,
    ),
    "C": (0.5, [0.0] * 41, 30, 2, 850, 22.9621, None),
    "D": (0.5, [300, 303, 309, 312, 308, 301, 296, 290, 286, 284, 283, 282, 282], 12, 2, 2500, 22.2797, 0.900653),
}


@pytest.mark.parametrize("name", PROFILES)
def test_profiles_worked_by_pycraf(name):
    step, heights, htx, hrx, mhz, loss, nu = PROFILES[name]
    distance = np.arange(len(heights)) * step * 1000.0
    steps = diffraction_steps(distance, heights, htx, hrx, mhz, earth_radius_m=8.5e6, polarization="horizontal")
    assert steps.diffraction_db == pytest.approx(loss, abs=1e-4)
    if nu is not None:
        assert steps.nu == pytest.approx(nu, abs=1e-5)


def test_smooth_surface_of_profiles_b_and_d():
    # pycraf 2.1.0, h_std and h_srd after the obstruction correction: B 41.33284, 41.50050; D 300, 277.04167.
    for name, tx_surface, rx_surface in (("B", 41.33284, 41.50050), ("D", 300.0, 277.04167)):
        step, heights, htx, hrx, mhz, *_ = PROFILES[name]
        steps = diffraction_steps(np.arange(len(heights)) * step * 1000.0, heights, htx, hrx, mhz, earth_radius_m=8.5e6)
        assert heights[0] + htx - steps.tx_effective_height_m == pytest.approx(tx_surface, abs=1e-4)
        assert heights[-1] + hrx - steps.rx_effective_height_m == pytest.approx(rx_surface, abs=1e-4)


def pycraf_loss_db(distance_m, height_m, htx, hrx, mhz, vertical):
    from astropy import units as u
    from pycraf import pathprof

    path = pathprof.PathProp(
        mhz / 1000 * u.GHz,
        290 * u.K,
        1013 * u.hPa,
        0 * u.deg,
        0 * u.deg,
        0.1 * u.deg,
        0.1 * u.deg,
        htx * u.m,
        hrx * u.m,
        100 * u.m,
        50 * u.percent,
        version=16,
        delta_N=39.25 / u.km,  # k = 4/3
        N0=325 * u.dimensionless_unscaled,
        hprof_dists=distance_m / 1000 * u.km,
        hprof_heights=height_m * u.m,
        hprof_bearing=45 * u.deg,
        hprof_backbearing=-135 * u.deg,
        polarization=int(vertical),
    )
    return float(pathprof.loss_diffraction(path)[0].value)


def random_profile(seed: int):
    rng = np.random.default_rng([20, seed])
    count = int(rng.integers(6, 400))  # pycraf takes no fewer
    distance = np.linspace(0, rng.uniform(400, 40_000), count)
    height = 200 + np.cumsum(rng.normal(0, rng.choice([0.0, 0.3, 5.0, 20.0]), count))
    return distance, height, *rng.uniform(1, 80, 2), rng.uniform(100, 3000), bool(rng.integers(2))


def real_profile(seed: int):
    """A random line over the DEM that matplotlib carries (jacksboro_fault_dem.npz), 90 m cells."""
    rng = np.random.default_rng([21, seed])
    ground = jacksboro()
    ends = rng.uniform(0, 1, (2, 2)) * (np.array(ground.shape) - 1)
    count = int(rng.integers(20, 300))
    along = np.linspace(0, 1, count)[:, None]
    rows, cols = np.rint(ends[0] + along * (ends[1] - ends[0])).astype(int).T
    length = max(float(np.hypot(*(ends[1] - ends[0]))) * 90.0, 500.0)
    return (
        np.linspace(0, length, count),
        ground[rows, cols],
        *rng.uniform(1.5, 30, 2),
        rng.uniform(400, 2700),
        bool(rng.integers(2)),
    )


def jacksboro() -> np.ndarray:
    from matplotlib import cbook

    with np.load(cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as file:
        return file["elevation"].astype(float)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("make", "count"),
    [(random_profile, PYCRAF_RANDOM_PROFILES), (real_profile, PYCRAF_REAL_PROFILES)],
    ids=["random", "real"],
)
def test_agrees_with_pycraf(make, count):
    pytest.importorskip("pycraf")
    worst = 0.0
    for seed in range(count):
        distance, height, htx, hrx, mhz, vertical = make(seed)
        ours = diffraction_db(distance, height, htx, hrx, mhz, polarization="vertical" if vertical else "horizontal")
        worst = max(worst, abs(ours - pycraf_loss_db(distance, height, htx, hrx, mhz, vertical)))
    # 0.1 dB is the promise; the same equations in double precision should differ by rounding only.
    assert worst < 1e-6


@pytest.mark.parametrize("make", [random_profile, real_profile])
def test_twin_of_the_kernel_is_the_same_method(make):
    # The twin that the coverage kernel is held against was written apart from the product.
    out = np.empty(6)
    for seed in range(200):
        distance, height, htx, hrx, mhz, vertical = make(seed)
        profile = height.astype(float)
        delta_bullington(distance / 1000, profile, profile, htx, hrx, mhz, A_E_KM, 299792458.0, vertical, out)
        steps = diffraction_steps(
            distance, height, htx, hrx, mhz, polarization="vertical" if vertical else "horizontal"
        )
        expected = [
            steps.diffraction_db,
            steps.bullington_db,
            steps.smooth_bullington_db,
            steps.spherical_db,
            steps.nu,
            float(steps.blocked),
        ]
        np.testing.assert_allclose(out, expected, atol=1e-9)


class TestClosedForms:
    def test_one_wall_is_a_knife_edge_with_the_correction(self):
        # A wall on flat ground, both ends high enough that the smooth Earth adds nothing; k so large that the
        # Earth is flat. L = J + (1 - exp(-J/6)) (10 + 0.02 d), P.526-15 section 4.5.
        distance = np.linspace(0, 4000, 401)
        height = np.zeros(401)
        height[100] = 60.0
        steps = diffraction_steps(distance, height, 40, 40, 900, k_factor=1e6)
        nu = float(knife_edge_nu(20.0, 1000.0, 3000.0, 900.0))
        edge = float(knife_edge_db(nu))
        assert steps.nu == pytest.approx(nu, rel=1e-5)
        assert steps.bullington_db == pytest.approx(edge + (1 - math.exp(-edge / 6)) * 10.08, abs=1e-4)

    def test_two_walls_meet_at_the_bullington_point(self):
        # Walls 50 m at 1 km and 3 km of 4 km, antennas 10 m: tangents meet at 2 km, 90 m up: nu for 80 m.
        distance = np.linspace(0, 4000, 401)
        height = np.zeros(401)
        height[[100, 300]] = 50.0
        steps = diffraction_steps(distance, height, 10, 10, 900, k_factor=1e9)
        assert steps.nu == pytest.approx(float(knife_edge_nu(80.0, 2000.0, 2000.0, 900.0)), rel=1e-5)

    def test_slope_seen_by_one_end_only(self):
        # One-sided slope: swapping the ends of the path must swap the effective heights.
        distance = np.linspace(0, 5000, 251)
        height = np.linspace(0, 100, 251) ** 1.5 / 10
        there = diffraction_steps(distance, height, 20, 2, 700)
        back = diffraction_steps(distance, height[::-1], 2, 20, 700)
        assert there.tx_effective_height_m == pytest.approx(back.rx_effective_height_m, abs=1e-9)
        assert there.tx_effective_height_m != pytest.approx(there.rx_effective_height_m, abs=1.0)


profiles = st.builds(
    lambda seed, count, rough, length: (
        np.linspace(0, length, count),
        np.random.default_rng(seed).normal(0, rough, count).cumsum() + 300.0,
    ),
    st.integers(0, 10_000),
    st.integers(5, 80),
    st.floats(0.0, 20.0),
    st.floats(500.0, 30_000.0),
)
heights = st.floats(1.0, 60.0)
frequencies = st.floats(100.0, 3000.0)


class TestProperties:
    @settings(max_examples=60, deadline=None)
    @given(profiles, heights, heights, frequencies)
    def test_there_and_back_are_alike(self, path, htx, hrx, mhz):
        distance, height = path
        there = diffraction_db(distance, height, htx, hrx, mhz)
        back = diffraction_db(distance[-1] - distance[::-1], height[::-1], hrx, htx, mhz)
        assert there == pytest.approx(back, abs=1e-6)

    @settings(max_examples=60, deadline=None)
    @given(profiles, heights, heights, frequencies, st.floats(0.01, 0.99), st.floats(0.0, 200.0))
    def test_bullington_never_falls_when_an_obstacle_grows(self, path, htx, hrx, mhz, where, more):
        # Bullington part only. The whole method is not monotone: a higher obstacle lowers the smooth surface
        # under both ends (effective heights rise), and the smooth-Earth part may shrink by more; see below.
        distance, height = path
        taller = height.copy()
        at = 1 + int(where * (height.size - 2))
        taller[at] += more
        before = diffraction_steps(distance, height, htx, hrx, mhz).bullington_db
        assert diffraction_steps(distance, taller, htx, hrx, mhz).bullington_db >= before - 1e-9

    def test_whole_method_can_fall_when_an_obstacle_grows(self):
        # Flat ground in the smooth-Earth region: a bump of 8 m at half way frees the effective heights.
        distance = np.linspace(0, 5000, 501)
        flat = np.zeros(501)
        bump = flat.copy()
        bump[250] = 8.0
        assert diffraction_db(distance, bump, 10, 2, 150) < diffraction_db(distance, flat, 10, 2, 150)

    @settings(max_examples=60, deadline=None)
    @given(profiles, heights, heights, frequencies, st.floats(1.0, 3.0))
    def test_blocked_bullington_never_falls_with_frequency(self, path, htx, hrx, mhz, times):
        distance, height = path
        low = diffraction_steps(distance, height, htx, hrx, mhz)
        if low.blocked:  # nu above 0 grows with the root of frequency; below 0 it sinks
            assert diffraction_steps(distance, height, htx, hrx, mhz * times).bullington_db >= (
                low.bullington_db - 1e-9
            )

    @settings(max_examples=40, deadline=None)
    @given(profiles, heights, heights, frequencies, st.floats(-300.0, 3000.0))
    def test_raising_all_ground_changes_nothing(self, path, htx, hrx, mhz, lift):
        distance, height = path
        assert diffraction_db(distance, height + lift, htx, hrx, mhz) == pytest.approx(
            diffraction_db(distance, height, htx, hrx, mhz), abs=1e-4
        )

    @settings(max_examples=40, deadline=None)
    @given(profiles, heights, heights, frequencies)
    def test_loss_is_never_negative(self, path, htx, hrx, mhz):
        assert diffraction_db(*path, htx, hrx, mhz) >= 0.0


class TestRange:
    GOOD = (np.array([0.0, 1000.0, 2000.0]), np.zeros(3), 10.0, 2.0, 700.0)

    def test_unknown_ground_has_no_loss(self):
        assert math.isnan(diffraction_db(self.GOOD[0], [0.0, math.nan, 0.0], 10, 2, 700))

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({0: np.array([0.0, 2000.0, 1000.0])}, "must rise"),
            ({0: np.array([0.0, 1000.0])}, "equally long"),
            ({0: np.array([0.0, 1.0]), 1: np.zeros(2)}, "at least 3 points"),
            ({0: np.array([0.0, 1e6, 4e6])}, "longer than"),
            ({2: 0.0}, "above 0"),
            ({3: -1.0}, "above 0"),
            ({2: 3001.0}, "3000"),
            ({3: math.nan}, "above 0"),
            ({4: 29.0}, "frequency_mhz"),
            ({4: 60_000.0}, "frequency_mhz"),
            ({4: math.nan}, "frequency_mhz"),
        ],
    )
    def test_out_of_range_is_refused(self, change, message):
        arguments = [change.get(n, value) for n, value in enumerate(self.GOOD)]
        with pytest.raises(ValueError, match=message):
            diffraction_db(*arguments)

    def test_earth_radius_must_be_positive(self):
        with pytest.raises(ValueError, match="Earth radius"):
            diffraction_db(*self.GOOD, k_factor=0.0)
