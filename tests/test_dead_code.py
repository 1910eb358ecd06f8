"""No code that nothing calls: vulture over the product, and why each name that it still finds may stay."""

from __future__ import annotations

from pathlib import Path

from vulture import Vulture

PACKAGE = Path(__file__).parents[1] / "siteplanner"
BY_DECORATOR = [
    "@app.command",
    "@field_validator",
    "@model_validator",
    "@st.fragment",
    "@st.dialog",
    "@atexit.register",
]
BY_NAME = ["cls", "model_config"]  # what pydantic looks for
MAY_STAY = {
    # read or called by a library, by name
    "__getattr__": "the package's lazy names (PEP 562)",
    "_get_self_bounds": "folium asks each layer for its bounds",
    "compress_type": "zipfile reads it off the entry",
    "StartDoctypeDeclHandler": "expat calls it",
    "StartElementHandler": "expat calls it",
    "EndElementHandler": "expat calls it",
    "CharacterDataHandler": "expat calls it",
    "buffer_text": "expat reads it",
    "compile_coverage": "run by a child process, named in its command line",
    # physics with published values in its tests, to be taken by the mission's radio part
    "statistical_clutter_db": "ITU-R P.2108-1 section 3.2",
    "woodland_db": "ITU-R P.833-9",
    "building_entry_db": "ITU-R P.2109-1",
    # the steps of a Recommendation, kept so that a difference from another program can be traced
    **dict.fromkeys(
        (
            "bullington_db", "smooth_bullington_db", "spherical_db", "tx_effective_height_m", "rx_effective_height_m",
            "tx_surface_height_m", "rx_surface_height_m", "distance_term_db", "tx_height_gain_db", "rx_height_gain_db",
        ),
        "core.propagation.DiffractionSteps",
    ),
    # parameters of the mission file that code reaches through the model, not by name
    **dict.fromkeys(
        ("extra_tracks", "keep_out", "structures", "soft_ground"), "layers read by their names in the table of layers"
    ),
    **dict.fromkeys(
        ("motorway", "trunk", "secondary", "tertiary", "unclassified", "residential"),
        "RoadSpeeds, read by the class of a road",
    ),
    # figures of a frozen fact: written into the record or read by tests; the fact would be less without them
    **dict.fromkeys(
        (
            "lost_share", "ground_share_at_m", "averaging_min", "forecast_peak_mast_m_s", "at_first_service",
            "fuel_high_h", "outrigger_differences_m", "donor_height_stated", "line_m", "snapped_x",
            "snapped_y", "maxlength_m", "ceiling_from", "up_pct", "down_pct", "search_ground_km2", "feasible_km2",
        ),
        "a figure of a frozen fact",
    ),
    "sky_state": "the raster question for one direction: what the benchmark and the tests hold against the walk",
    "line_state": "the exact walk of one line: the tests' twin of the sweep",
    "sheet_png": "a sheet as a picture: what the tests of the sheets look at",
}  # fmt: skip
OPEN = {  # known, to be wired in or taken out
    **dict.fromkeys(("driving", "BOTH", "US"), "units of a reader: what app and sheets will pass on"),
    "matrix": "roads.arcs.Arcs",
    "users": "radio.users is reported nowhere",
    "handset_noise_figure_db": "the budget takes the least RSRP; radio.handset_noise_figure_db changes nothing",
}


def unused() -> dict[str, str]:
    """Name -> where vulture finds it without a use in the product."""
    finder = Vulture(ignore_decorators=BY_DECORATOR, ignore_names=BY_NAME)
    finder.scavenge([str(PACKAGE)], exclude=["*browser_files*"])
    items = finder.get_unused_code(min_confidence=60)
    return {i.name: f"{Path(i.filename).relative_to(PACKAGE)}:{i.first_lineno} {i.typ}" for i in items}


def test_nothing_is_dead_but_what_has_a_reason():
    dead = {name: where for name, where in unused().items() if name not in {*MAY_STAY, *OPEN}}
    assert not dead


def test_no_reason_outlives_its_name():
    assert {*MAY_STAY, *OPEN} <= set(unused())
