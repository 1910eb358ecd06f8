"""Where the rig turns round: the sums of a drive may part in the last figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from siteplanner.planning.spots.turn_round import turn_round


def test_a_drive_a_hair_longer_than_its_last_mark_has_a_place_to_turn(valley_plan):
    """The length of a route and its last running mark are sums of the same parts in another order."""
    study, e = valley_plan.judge.study, valley_plan.best.evaluation
    study = replace(study, obstacles=study.elevation)  # heights above ground are known: nothing stands there
    narrow = replace(e.ground.room, state="no", free_radius_m=1.0)
    route = e.access.route
    longer = replace(route, distance_m=float(np.nextafter(route.running_m[-1], np.inf)))
    assert np.searchsorted(longer.running_m, longer.distance_m) == len(longer.running_m)
    found = turn_round(study, narrow, longer, 5.0)
    assert found.place is not None
    assert found.place.back_m <= 1000
