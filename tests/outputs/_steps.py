"""Turn-by-turn steps in the agreed shape, for as long as `roads.directions` is not there."""

from types import ModuleType, SimpleNamespace


def stand_in() -> ModuleType:
    def directions(network, route, grid):
        steps, running = [], 0.0
        for k, segment in enumerate(route.segments.tolist()):
            line = network.seg_geometry[segment]
            x, y = line.interpolate(float(route.start_m[k])).coords[0]
            lon, lat = grid.lonlat(x, y)
            length = abs(float(route.end_m[k] - route.start_m[k]))
            steps.append(
                SimpleNamespace(
                    text=f"Go along {network.name[segment] or 'the road'}",
                    kind="go",
                    name=network.name[segment],
                    distance_m=length,
                    running_m=running,
                    x=x,
                    y=y,
                    latitude=float(lat),
                    longitude=float(lon),
                    grid_reference="12TUQ3882545865",
                    bearing_deg=0.0,
                    hazards=network.hazards[segment],
                )
            )
            running += length
        return steps

    module = ModuleType("siteplanner.roads.directions")
    module.directions = directions
    return module
