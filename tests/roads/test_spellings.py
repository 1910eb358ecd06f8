"""What each spelling of a road's tags must do to the rig: a table, with the page of the OpenStreetMap wiki it is from.

The rig is the default one: 5 t (2.5 t on an axle), 3.2 m high, 2.5 m wide, 13 m long, not said to be a heavy goods
vehicle. `shut`: no drive. `told K`: open, and the driver is warned of kind K (caution or warning). `open`: open, with
nothing to warn of. `forward`, `backward`: open that way only. A spelling against the rules of the page (`3.5t`, `9'6`)
shuts the road where the largest figure it can mean is below the rig, and is told as unreadable otherwise.
"""

from __future__ import annotations

import numpy as np
import pytest

from siteplanner.mission import Rig
from siteplanner.roads.hazards import Warned
from tests.roads.drawn import network, post, road

WEIGHT, HEIGHT = "Key:maxweight", "Key:maxheight"
ON_LINES = [
    # --- weight; units after a space, decimal dot (Key:maxweight, Units)
    ("maxweight", "3.5", "shut", WEIGHT),
    ("maxweight", "3.5 t", "shut", WEIGHT),
    ("maxweight", "3.5t", "shut", WEIGHT),
    ("maxweight", "3,5", "shut", WEIGHT),
    ("maxweight", "3,5 t", "shut", WEIGHT),
    ("maxweight", "4st", "shut", WEIGHT),
    ("maxweight", "4 st", "shut", WEIGHT),
    ("maxweight", "8000lbs", "shut", WEIGHT),
    ("maxweight", "8000 lbs", "shut", WEIGHT),
    ("maxweight", "8,000 lbs", "shut", WEIGHT),
    ("maxweight", "3500", "shut", WEIGHT),  # kilograms or pounds: no sign says 3,500 t
    ("maxweight", "3500kg", "shut", WEIGHT),
    ("maxweight", "3.5;conditional", "shut", WEIGHT),
    ("maxweight", "2.5;3.5", "shut", WEIGHT),
    ("maxweight", "3 tons", "shut", WEIGHT),  # 3.05 t at most
    ("maxweight", "4 tonnes", "shut", WEIGHT),
    ("maxweight", "4 T", "shut", WEIGHT),
    ("maxweight", "5", "open", WEIGHT),
    ("maxweight", "7.5 st", "open", WEIGHT),  # 6.8 t
    ("maxweight", "12t", "told unreadable", WEIGHT),
    ("maxweight", "3.5;7.5", "told unreadable", WEIGHT),
    ("maxweight", "3.5;none", "told unreadable", WEIGHT),
    ("maxweight", "0", "told unreadable", WEIGHT),
    ("maxweight", "about 3", "told unreadable", WEIGHT),
    ("maxweight", "8000", "told unreadable", WEIGHT),  # 8 t or 3.6 t
    ("maxweight", "none", "open", WEIGHT),
    ("maxweight", "unsigned", "open", WEIGHT),
    ("maxweightrating", "3.5", "shut", "Key:maxweightrating"),
    ("maxweightrating", "7.5", "open", "Key:maxweightrating"),
    ("maxgcweight", "4", "shut", "Key:maxgcweight"),
    ("maxaxleload", "2", "shut", "Key:maxaxleload"),
    ("maxaxleload", "8", "open", "Key:maxaxleload"),
    ("maxaxleload", "2t", "shut", "Key:maxaxleload"),
    ("maxbogieweight", "4", "shut", "Key:maxbogieweight"),
    ("maxbogieweight", "11", "open", "Key:maxbogieweight"),
    ("maxweight:forward", "3", "shut", WEIGHT),
    ("maxweight:lanes", "3|3", "shut", "Lanes"),
    ("maxweight:lanes", "3|12", "told unreadable", "Lanes"),
    ("maxweight:hgv", "3.5", "told heavy vehicles", "Key:maxweight"),  # whether it is one, its papers say
    ("maxweight:hgv", "7.5", "open", "Key:maxweight"),
    ("maxweight:hgv_articulated", "3.5", "told heavy vehicles", "Key:maxweight"),
    ("maxlength:hgv", "10", "told heavy vehicles", "Key:maxlength"),
    ("maxweight", "8000 lbs GVW", "shut", WEIGHT),
    ("maxweight", "3.5 metric tons", "shut", WEIGHT),
    ("maxweight", "3500 kilos", "shut", WEIGHT),
    ("maxweight", "< 3.5 t", "shut", WEIGHT),
    ("maxweight", "3.5 t (residents free)", "shut", WEIGHT),
    ("maxweight", "8000 st", "told unreadable", WEIGHT),  # pounds, in a column that is said to be of tons
    ("maxweight:motorcar", "3.5", "shut", WEIGHT),
    ("maxweight:vehicle", "3.5", "shut", WEIGHT),
    ("maxweight:lanes:forward", "3|3", "shut", "Lanes"),
    ("maxunladenweight", "2", "shut", "Key:maxunladenweight"),
    ("maxunladenweight:hgv", "2", "told heavy vehicles", "Key:maxunladenweight"),
    ("maxaxleload:trailer", "2", "shut", "Key:maxaxleload"),
    ("maxaxleload:conditional", "2 @ (Jan-Mar)", "told season or hours", "Conditional restrictions"),
    ("maxweight:hgv:conditional", "3.5 @ (22:00-06:00)", "told season or hours", "Conditional restrictions"),
    ("maxweight:forward:conditional", "3.5 @ (22:00-06:00)", "told season or hours", "Conditional restrictions"),
    ("maxweight:conditional", "none @ destination", "open", "Conditional restrictions"),
    ("maxweight:conditional", "3.5 @ (24/7)", "shut", "Conditional restrictions"),
    ("maxweight:conditional", "3.5 @ (Nov-Apr)", "told season or hours", "Conditional restrictions"),
    ("maxweight:conditional", "7.5 @ (Nov-Apr)", "open", "Conditional restrictions"),
    # --- height
    ("maxheight", "2.5", "shut", HEIGHT),
    ("maxheight", "2.5m", "shut", HEIGHT),
    ("maxheight", "2.5 m", "shut", HEIGHT),
    ("maxheight", "2,5", "shut", HEIGHT),
    ("maxheight", "9'6\"", "shut", HEIGHT),
    ("maxheight", "9'6", "shut", HEIGHT),
    ("maxheight", "9’6”", "shut", HEIGHT),
    ("maxheight", "9-6", "shut", HEIGHT),
    ("maxheight", "9 ft 6 in", "shut", HEIGHT),
    ("maxheight", "9ft6", "shut", HEIGHT),
    ("maxheight", "9 feet", "shut", HEIGHT),
    ("maxheight", "10'", "shut", HEIGHT),
    ("maxheight", "2.5 m; 2.8 m", "shut", HEIGHT),
    ("maxheight", "250", "told unreadable", HEIGHT),  # 2.5 m in centimetres, 6.35 m in inches
    ("maxheight", "250 cm", "shut", HEIGHT),
    ("maxheight", "9'-10\"", "shut", HEIGHT),  # 3.0 m, as engineers write it
    ("maxheight", "9' 10\"", "shut", HEIGHT),
    ("maxheight", "9ft-10in", "shut", HEIGHT),
    ("maxheight", "9'10 1/2\"", "shut", HEIGHT),
    ("maxheight", "9'10½\"", "shut", HEIGHT),
    ("maxheight", "13'-6\"", "open", HEIGHT),
    ("maxheight", "2m50", "shut", HEIGHT),
    ("maxheight", "2500 mm", "shut", HEIGHT),
    ("maxheight", "2.5 м", "shut", HEIGHT),
    ("maxheight", "<3", "shut", HEIGHT),
    ("maxheight", "max. 3", "shut", HEIGHT),
    ("maxheight", "3.0 (signed)", "shut", HEIGHT),
    ("maxheight", "2.5-3.0", "shut", HEIGHT),
    ("maxheight", "ca. 3", "told unreadable", HEIGHT),
    ("maxheight", "8", "told unreadable", HEIGHT),  # metres, or 2.4 m in feet
    ("maxheight", "250 ft", "told unreadable", HEIGHT),  # centimetres, in a column that is said to be of feet
    ("maxheight:hgv", "3", "shut", HEIGHT),  # as low for whatever else is as high
    ("maxheight:trailer", "3", "shut", HEIGHT),
    ("maxheight:forward:conditional", "2 @ (Jan-Mar)", "told season or hours", "Conditional restrictions"),
    ("maxheight:physical:conditional", "2 @ (Jan-Mar)", "told season or hours", "Conditional restrictions"),
    ("maxheight", "3.3", "shut", HEIGHT),  # nothing to spare (rig.height_allowance_m)
    ("maxheight", "3.4", "open", HEIGHT),
    ("maxheight", "13'6\"", "open", HEIGHT),
    ("maxheight", "13'6", "told unreadable", HEIGHT),
    ("maxheight", "3.5m", "told unreadable", HEIGHT),
    ("maxheight", "13", "told unreadable", HEIGHT),  # metres by the rule, feet by the sign
    ("maxheight", "2.8;4.0", "told unreadable", HEIGHT),
    ("maxheight", "low", "told unreadable", HEIGHT),
    ("maxheight", "default", "open", HEIGHT),
    ("maxheight", "none", "open", HEIGHT),
    ("maxheight", "below_default", "told no figure", HEIGHT),
    ("maxheight:physical", "3.0", "shut", "Key:maxheight:physical"),
    ("maxheight:legal", "3.0", "shut", HEIGHT),
    ("maxheight:forward", "2.8", "shut", HEIGHT),
    ("maxheight:lanes", "2.5|2.8", "shut", "Lanes"),
    ("maxheight:lanes", "2.5|4.5", "told unreadable", "Lanes"),
    ("maxheight:conditional", "2.0 @ (Oct-Mar)", "told season or hours", "Conditional restrictions"),
    ("covered", "yes", "told covered", "Key:covered"),
    # --- width, length
    ("maxwidth", "2.2", "shut", "Key:maxwidth"),
    ("maxwidth", "2.2m", "shut", "Key:maxwidth"),
    ("maxwidth", "8'", "shut", "Key:maxwidth"),
    ("maxwidth:physical", "2.0", "shut", "Key:maxwidth:physical"),
    ("maxwidth", "2.5", "told narrow", "Key:maxwidth"),
    ("maxwidth", "7'-6\"", "shut", "Key:maxwidth"),
    ("maxwidth", "2m20", "shut", "Key:maxwidth"),
    ("maxwidth", "250", "told unreadable", "Key:maxwidth"),  # centimetres, or inches
    ("maxwidth:hgv", "2", "shut", "Key:maxwidth"),
    ("width", "300", "told unreadable", "Key:width"),
    ("width", "66", "told unreadable", "Key:width"),  # feet of a right of way: no carriageway has 66 m
    ("width", "2,0", "shut", "Key:width"),
    ("width", "6", "open", "Key:width"),
    ("est_width", "2", "told narrow", "Key:est_width"),
    ("lanes", "1.5", "told? narrow", "Key:lanes"),
    ("maxlength", "40 ft", "shut", "Key:maxlength"),
    ("maxlength", "12m", "shut", "Key:maxlength"),
    ("maxlength", "18.75", "open", "Key:maxlength"),
    ("maxlength", "10.0 m (trailers)", "shut", "Key:maxlength"),
    ("maxlength", "1200", "told unreadable", "Key:maxlength"),  # 12 m in centimetres, 30.5 m in inches
    ("maxlength:trailer", "8", "shut", "Key:maxlength"),
    ("maxlength:conditional", "10 @ (Sa,Su)", "told season or hours", "Conditional restrictions"),
    # --- grade
    ("incline", "18%", "shut", "Key:incline"),
    ("incline", "-18 %", "shut", "Key:incline"),
    ("incline", "10°", "shut", "Key:incline"),
    ("incline", "1:5", "shut", "Key:incline"),
    ("incline", "0.18", "told unreadable", "Key:incline"),  # 0.18 % or 18 %
    ("incline", "up", "open", "Key:incline"),
    # --- access, from general to special
    ("access", "no", "shut", "Key:access"),
    ("vehicle", "no", "shut", "Key:access"),
    ("motor_vehicle", "no", "shut", "Key:motor vehicle"),
    ("motorcar", "no", "shut", "Key:motorcar"),
    ("motor_vehicle", "agricultural", "told access", "Key:access"),
    ("access", "forestry", "told access", "Key:access"),
    ("motor_vehicle", "agricultural;forestry", "told access", "Key:access"),
    ("vehicle", "emergency", "told access", "Key:access"),
    ("access", "customers", "told access", "Key:access"),
    ("access", "delivery", "told access", "Key:access"),
    ("motor_vehicle", "official", "told access", "Key:access"),
    ("motor_vehicle", "no;destination", "told access", "Key:access"),
    ("access", "gobbledygook", "told access", "Key:access"),
    ("access", "private", "told private", "Key:access"),
    ("access", "permit", "told private", "Tag:access=permit"),
    ("access", "military", "shut", "Key:access"),
    ("access", "permissive", "open", "Key:access"),
    ("access", "destination", "open", "Key:access"),  # to what lies on it; through it: test_destination_*
    ("double_tracked_motor_vehicle", "no", "shut", "Key:access"),
    ("motor_vehicle", "prohibited", "shut", "Key:access"),  # an agency's word for `no`
    ("access", "closed", "shut", "Key:access"),
    ("access", "discouraged", "told access", "Key:access"),
    ("access", "private;customers", "told access", "Key:access"),
    ("service", "emergency_access", "told access", "Tag:service=emergency_access"),
    ("hgv", "no", "told heavy vehicles", "Key:hgv"),
    ("hgv", "discouraged", "told heavy vehicles", "Key:access"),
    ("hgv_articulated", "no", "told trailers", "Key:access"),
    ("motorcar:trailer", "no", "told trailers", "Key:trailer"),
    ("trailer:forward", "no", "told trailers", "Forward & backward, left & right"),
    ("trailer", "prohibited", "shut", "Key:trailer"),
    ("caravan:conditional", "no @ (Nov-Apr)", "told trailers", "Conditional restrictions"),
    ("motor_vehicle:conditional", "delivery @ (06:00-11:00)", "told season or hours", "Conditional restrictions"),
    ("motor_vehicle:conditional", "no @ high_water", "told season or hours", "Conditional restrictions"),
    ("motor_vehicle:conditional", "no @ (length>10)", "shut", "Conditional restrictions"),
    ("motor_vehicle:conditional", "no @ (trailer)", "told season or hours", "Conditional restrictions"),
    ("motor_vehicle:forward:conditional", "no @ (07:00-09:00)", "told season or hours", "Conditional restrictions"),
    ("motor_vehicle:forward:conditional", "yes @ (07:00-09:00)", "open", "Conditional restrictions"),
    ("oneway:motor_vehicle:conditional", "yes @ (07:00-09:00)", "told season or hours", "Conditional restrictions"),
    ("opening_hours", "Apr-Oct", "told season or hours", "Key:opening_hours"),
    ("opening_hours", "24/7", "open", "Key:opening_hours"),
    ("goods", "no", "told heavy vehicles", "Key:goods"),
    ("hgv", "designated", "open", "Key:hgv"),
    ("hgv:conditional", "no @ (19:00-06:00)", "told heavy vehicles", "Conditional restrictions"),
    ("trailer", "no", "shut", "Key:trailer"),
    ("trailer", "private", "told trailers", "Key:trailer"),
    ("caravan", "no", "told trailers", "Key:caravan"),
    ("vehicle:backward", "no", "forward", "Forward & backward, left & right"),
    ("access:forward", "no", "backward", "Forward & backward, left & right"),
    ("motor_vehicle:forward", "no", "backward", "Forward & backward, left & right"),
    ("motor_vehicle:backward", "private", "told private", "Forward & backward, left & right"),
    ("oneway:motor_vehicle", "yes", "forward", "Key:oneway"),
    ("oneway:conditional", "yes @ (Mo-Fr 07:00-09:00)", "unknown direction", "Conditional restrictions"),
    ("oneway", "yes;no", "unknown direction", "Key:oneway"),
    ("oneway", "-1", "backward", "Key:oneway"),
    ("motorcar:conditional", "no @ (Nov-Apr)", "told season or hours", "Conditional restrictions"),
    ("motor_vehicle:conditional", "no @ (weight>3.5)", "shut", "Conditional restrictions"),
    # --- classes, works, age
    ("highway", "busway", "shut", "Tag:highway=busway"),
    ("highway", "bus_guideway", "shut", "Tag:highway=bus_guideway"),
    ("highway", "construction", "shut", "Tag:highway=construction"),
    ("highway", "ford", "told ford", "Tag:highway=ford"),  # the old way to write ford=yes
    ("highway", "cycleway;footway", "shut", "Semi-colon value separator"),
    ("highway", "stepping_stones", "shut", "Tag:ford=stepping_stones"),
    ("highway", "removed", "shut", "Lifecycle prefix"),
    ("construction", "minor", "told works", "Key:construction"),
    ("construction", "yes", "told works", "Key:construction"),
    ("abandoned", "yes", "told out of use", "Key:abandoned"),
    ("disused", "yes", "told out of use", "Key:disused"),
    ("status", "closed", "told out of use", "Key:status"),
    ("4wd_only", "yes", "told four wheels", "Key:4wd only"),
    # --- water, danger
    ("flood_prone", "yes", "told flooding", "Key:flood prone"),
    ("bridge", "low_water_crossing", "told flooding", "Key:bridge"),
    ("ford", "yes", "told ford", "Key:ford"),
    ("ford", "stepping_stones", "told ford", "Key:ford"),
    ("hazard", "rock_slide", "told danger", "Key:hazard"),
    ("obstacle", "fallen_tree", "told danger", "Key:obstacle"),
    ("obstacle", "no", "open", "Key:obstacle"),
    ("tidal", "yes", "told flooding", "Key:tidal"),
    ("flooded", "yes", "told flooding", "Humanitarian OSM Tags"),
    ("impassable", "yes", "told out of use", "Humanitarian OSM Tags"),
    ("passable", "no", "told out of use", "Humanitarian OSM Tags"),
    ("passable", "yes", "open", "Humanitarian OSM Tags"),
    ("blocked", "yes", "told out of use", "Humanitarian OSM Tags"),
    ("damage", "severe", "told out of use", "Humanitarian OSM Tags"),
    ("bridge", "collapsed", "told out of use", "Key:bridge"),
    ("smoothness", "impassable", "shut", "Key:smoothness"),
    # --- barriers drawn as lines
    ("barrier", "gate", "told gate", "Key:barrier"),
    ("barrier", "yes", "shut", "Key:barrier"),
    ("barrier", "block", "shut", "Key:barrier"),
]  # fmt: skip
ON_POINTS = [
    ({"barrier": "height_restrictor", "maxheight": "2.1"}, "shut", "Tag:barrier=height_restrictor"),
    ({"barrier": "height_restrictor", "maxheight": "4"}, "told gate", "Tag:barrier=height_restrictor"),
    ({"barrier": "gate", "maxwidth": "2.0"}, "shut", "Key:maxwidth"),
    ({"barrier": "gate", "width": "2.0"}, "shut", "Key:width"),
    ({"barrier": "gate", "width": "4"}, "told gate", "Key:width"),
    ({"barrier": "height_restrictor", "maxheight": "9'-10\""}, "shut", "Tag:barrier=height_restrictor"),
    ({"barrier": "gate", "trailer": "no"}, "shut", "Key:trailer"),
    ({"barrier": "gate", "hgv": "no"}, "told heavy vehicles", "Key:hgv"),
    ({"barrier": "gate", "motor_vehicle:conditional": "no @ (Nov-Apr)"}, "told season or hours", "Key:access"),
    ({"access:conditional": "no @ (Nov-Apr)"}, "told season or hours", "Conditional restrictions"),
    ({"double_tracked_motor_vehicle": "no"}, "shut", "Key:access"),
    ({"traffic_calming": "dip"}, "told danger", "Key:traffic_calming"),
    ({"traffic_calming": "choker"}, "told danger", "Tag:traffic_calming=choker"),
    ({"traffic_calming": "hump"}, "open", "Key:traffic_calming"),
    ({"obstacle": "fallen_tree"}, "told danger", "Key:obstacle"),
    ({"barrier": "width_restrictor", "maxwidth": "2,1"}, "shut", "Key:barrier"),
    ({"barrier": "cattle_grid", "maxweight": "2"}, "shut", "Tag:barrier=cattle_grid"),
    ({"barrier": "cattle_grid", "maxaxleload": "2 t"}, "shut", "Key:maxaxleload"),
    ({"traffic_calming": "choker", "maxwidth": "2"}, "shut", "Tag:traffic_calming=choker"),
    ({"maxheight": "2.8"}, "shut", HEIGHT),
    ({"maxheight": "9'6"}, "shut", HEIGHT),
    ({"maxheight": "below_default"}, "told no figure", HEIGHT),
    ({"maxweight": "3.5t"}, "shut", WEIGHT),
    *(({"barrier": kind}, "shut", "Key:barrier") for kind in (
        "yes", "planter", "chicane", "spikes", "tank_trap", "wicket_gate", "turnstile", "rope", "guard_rail",
        "concrete", "bollard",
        "block", "jersey_barrier", "cycle_barrier", "sump_buster", "debris", "log", "something_new",
    )),
    *(({"barrier": kind}, "told gate", "Key:barrier") for kind in (
        "gate", "lift_gate", "swing_gate", "sliding_gate", "hampshire_gate", "bump_gate", "toll_booth", "chain",
        "cattle_grid", "border_control",
    )),
    ({"barrier": "kerb"}, "open", "Tag:barrier=kerb"),
    ({"barrier": "entrance"}, "open", "Tag:barrier=entrance"),
    ({"barrier": "bollard", "motor_vehicle": "yes"}, "told gate", "Key:barrier"),
    ({"barrier": "block", "access": "yes"}, "told gate", "Key:barrier"),
    ({"barrier": "bollard", "bollard": "removable"}, "shut", "Key:bollard"),
    ({"barrier": "bollard", "access": "private"}, "shut", "Key:barrier"),
    ({"access": "no"}, "shut", "Key:access"),
    ({"motorcar": "no"}, "shut", "Key:access"),
    ({"motor_vehicle": "private"}, "told access", "Key:access"),
    ({"ford": "yes"}, "told ford", "Key:ford"),
    ({"railway": "level_crossing"}, "told level crossing", "Tag:railway=level_crossing"),
    ({"hazard": "dip"}, "told danger", "Key:hazard"),
]  # fmt: skip


def told_of(net) -> set[str]:
    return {h.kind for hazards in net.hazards for h in hazards if h.severity != "note"}


def check(net, expected: str) -> None:
    parted = len(net) > 1  # a point that the rig does not pass
    if expected == "shut":
        assert parted or not net.judged.drivable.any()
        assert net.stops if parted else net.judged.reasons[0]
        return
    assert net.judged.drivable.all()
    assert not parted
    ahead, back = np.isfinite(net.times.forward_s[0]), np.isfinite(net.times.backward_s[0])
    what, _, kind = expected.partition(" ")
    assert (ahead, back) == {"forward": (True, False), "backward": (False, True)}.get(what, (True, True))
    if what == "told":
        assert kind in told_of(net)
    elif what == "told?":  # a note is enough
        assert kind in {h.kind for hazards in net.hazards for h in hazards}
    elif what == "unknown":
        assert kind in {u.kind for u in net.judged.unknown[0]}
    elif what == "open":
        assert not told_of(net)


@pytest.mark.parametrize(("key", "value", "expected", "page"), ON_LINES)
def test_on_a_line(key, value, expected, page):
    check(network(road((0, 0), (500, 0), surface="asphalt", **{key: value})), expected)


@pytest.mark.parametrize(("tags", "expected", "page"), ON_POINTS)
def test_on_a_point(tags, expected, page):
    check(network(road((0, 0), (500, 0), surface="asphalt"), post(200, 0, **tags)), expected)


def test_the_table_is_long_enough_and_each_row_names_its_page():
    rows = [*ON_LINES, *ON_POINTS]
    assert len(rows) >= 280
    assert all(row[-1] for row in rows)


# a rig that is said to be a heavy goods vehicle, or not to be one (Key:hgv: above 3.5 t)
@pytest.mark.parametrize(
    ("heavy", "mass_kg", "tags", "expected"),
    [
        ("yes", 5000, {"hgv": "no"}, "shut"),
        ("yes", 5000, {"motorcar": "no", "hgv": "yes"}, "open"),
        ("yes", 5000, {"maxweight:hgv": "3.5"}, "shut"),
        ("yes", 5000, {"maxlength:hgv": "10"}, "shut"),
        ("no", 5000, {"hgv": "no"}, "open"),
        ("by mass", 5000, {"hgv": "no"}, "told heavy vehicles"),
        ("by mass", 3400, {"hgv": "no"}, "open"),
        ("by mass", 5000, {"motor_vehicle": "no", "motorcar": "yes"}, "open"),
    ],
)
def test_whether_the_rig_counts_as_a_heavy_goods_vehicle(heavy, mass_kg, tags, expected):
    rig = Rig(heavy_goods=heavy, mass_kg=mass_kg)
    check(network(road((0, 0), (500, 0), surface="asphalt", **tags), rig=rig), expected)


def test_a_slip_is_told_with_what_stands_in_the_data():
    (reason,) = network(road((0, 0), (500, 0), maxweight="3.5t")).judged.reasons[0]
    assert (reason.kind, reason.figure, reason.written) == ("weight limit", 3.5, "3.5t")
    hazards = network(road((0, 0), (500, 0), maxweight="12t")).hazards[0]
    assert Warned(kind="unreadable", severity="warning", what="maxweight", written="12t") in [h.warned for h in hazards]


def test_a_ford_is_told_with_its_depth():
    (told,) = [h for h in network(road((0, 0), (500, 0), ford="yes", depth="0.8")).hazards[0] if h.kind == "ford"]
    assert told.value == pytest.approx(0.8)


def test_a_closed_road_that_emergency_vehicles_may_use_says_so():
    (reason,) = network(road((0, 0), (500, 0), motor_vehicle="no", emergency="yes")).judged.reasons[0]
    assert (reason.kind, reason.allowed) == ("access", "emergency")


def test_the_axle_load_is_the_missions_or_half_the_rig():
    tags = {"maxaxleload": "2"}
    assert not network(road((0, 0), (500, 0), **tags)).judged.drivable[0]
    assert network(road((0, 0), (500, 0), **tags), rig=Rig(axle_load_kg=1900)).judged.drivable[0]
