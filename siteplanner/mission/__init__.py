"""The mission: every parameter of a plan, read from its file; what a spot is worth by it; mistakes in plain words."""

from siteplanner.mission.criteria import Scales, Weights
from siteplanner.mission.layers import LayerKind, Layers, layer_kinds
from siteplanner.mission.leave import Leave
from siteplanner.mission.links import Backhaul, DonorLink, OpenSky, Radio, Satellite, Sky
from siteplanner.mission.parameters import Mission, PowerLines, Sheets, Site, Staging
from siteplanner.mission.reading import load_mission, mission_from_dict
from siteplanner.mission.search import Search, Times
from siteplanner.mission.trailer import Power, Rig, Speeds, Trailer, Wind
from siteplanner.mission.units import Unit

__all__ = [
    "Backhaul",
    "DonorLink",
    "LayerKind",
    "Layers",
    "Leave",
    "Mission",
    "OpenSky",
    "Power",
    "PowerLines",
    "Radio",
    "Rig",
    "Satellite",
    "Scales",
    "Search",
    "Sheets",
    "Site",
    "Sky",
    "Speeds",
    "Staging",
    "Times",
    "Trailer",
    "Unit",
    "Weights",
    "Wind",
    "layer_kinds",
    "load_mission",
    "mission_from_dict",
]
