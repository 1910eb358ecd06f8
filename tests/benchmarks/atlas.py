"""What an atlas costs: places, cells and bytes a place, workers; the plan from it against the plan; a state by the law.

`python -m tests.benchmarks.atlas [--sample real_hills|dunmarrow_county] [--spacing M] [--workers 1 2]`. Ratios within
one run: absolute figures hang on the machine and on what else it does.
"""

from __future__ import annotations

import argparse
import math
import os
import shutil
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from siteplanner.mission import Weights
from siteplanner.planning.atlas.answer import open_atlas, quick_answer
from siteplanner.planning.atlas.folder import FACTS, HEAD, MARGINS, TILE, put_json, put_rows, read_json, tile_folder
from siteplanner.planning.atlas.place import place_of, record_of
from siteplanner.planning.atlas.screen import SCREEN, write_screen


def region_of(sample: str, folder: Path, spacing_m: float, tile_m: float) -> Path:
    """A sample as a region: its incident area and the ground around it that a mission would search."""
    import geopandas as gpd

    from siteplanner import load_mission
    from siteplanner.demo import sample_mission
    from siteplanner.planning.study.load import read_area

    mission = sample_mission(sample)
    shutil.copytree(mission.parent, folder, dirs_exist_ok=True)
    place = read_area(load_mission(mission)).value
    gpd.GeoDataFrame(geometry=[place.search.envelope], crs=place.crs).to_file(folder / "outline.gpkg", driver="GPKG")
    text = (folder / "mission.toml").read_text(encoding="utf-8")
    own = ("incident_area", "must_serve", "spots")
    lines = [line for line in text.splitlines() if line.split("=")[0].strip() not in own]
    lines = [f"spacing_m = {spacing_m:g}" if line.startswith("spacing_m") else line for line in lines]
    if not any(line.startswith("spacing_m") for line in lines):
        lines.insert(lines.index("[search]") + 1, f"spacing_m = {spacing_m:g}")
    region = folder / "region.toml"
    region.write_text("\n".join([*lines, "[region]", 'outline = "outline.gpkg"', f"tile_m = {tile_m:g}"]), "utf-8")
    return region


def multiplied(atlas: Path, out: Path, count: int, seed: int = 1) -> int:
    """The same atlas with about `count` places: each stands there many times, moved by up to 60 cells with its way; how
    many there are. What a place knows of the ground and serves stays that of the one it is taken from."""
    shutil.copytree(atlas, out, copy_function=os.link)
    (out / HEAD).unlink()
    head, lattice, mission = read_json(atlas / HEAD), open_atlas(atlas).lattice, open_atlas(atlas).mission
    times, rng, placed = math.ceil(count / head["places"]), np.random.default_rng(seed), 0
    for tile in head["tiles"]:
        folder, records = tile_folder(out, tile), []
        places = [place_of(record) for record in read_json(folder / FACTS)]
        taken = {place.cell for place in places}
        for place in places:
            for turn in range(times):
                down, right = (0, 0) if turn == 0 else rng.integers(-60, 61, 2).tolist()
                cell = place.cell[0] + down, place.cell[1] + right
                if turn and cell in taken:
                    continue
                taken.add(cell)
                spot, size = place.evaluation.spot, lattice.cell_m
                x, y = spot.x + right * size, spot.y - down * size
                longitude, latitude = (float(v) for v in lattice.cells.lonlat(x, y))
                moved = replace(spot, x=x, y=y, longitude=longitude, latitude=latitude, cell=cell)
                way = (*place.way, cell) if turn else place.way
                own = replace(place, evaluation=replace(place.evaluation, spot=moved), way=way)
                if turn:
                    os.link(folder / MARGINS / f"{place.name}.tif", folder / MARGINS / f"{own.name}.tif")
                records.append(record_of(own))
        for name in (FACTS, SCREEN, TILE):
            (folder / name).unlink()
        put_rows(folder / FACTS, records)
        write_screen(folder, records, mission, lattice)
        put_json(folder / TILE, {**read_json(tile_folder(atlas, tile) / TILE), "places": len(records)})
        placed += len(records)
    put_json(out / HEAD, {**head, "places": placed})
    return placed


def agreement(quick: Any, crs: Any, mission: Any, folder: Path) -> None:
    """The answer from the atlas against a plan whose own spots are all its places, and the exact pass against that."""
    import geopandas as gpd
    from shapely.geometry import Point

    from siteplanner import plan
    from siteplanner.planning.atlas.answer import exact_plan

    spots = [r.spot for r in quick.ranked]
    names = [f"place {n}" for n in range(len(spots))]
    at = [Point(s.x, s.y) for s in spots]
    gpd.GeoDataFrame({"name": names}, geometry=at, crs=crs).to_file(folder / "places.gpkg", driver="GPKG")
    layers = mission.layers.model_copy(update={"spots": str(folder / "places.gpkg")})
    alone = plan(mission.model_copy(update={"layers": layers}), places=[])
    exact = exact_plan(quick, mission)
    theirs = {r.spot.name: r for r in alone.judged}
    failed = {e.spot.name: e for e in alone.rejected}
    shares, points, order = [], [], []
    for name, r in zip(names, quick.ranked, strict=True):
        if name not in theirs:
            print(f"{name}: passes in the atlas only: {[f.code for f in failed[name].rulings if not f.passed]}")
            continue
        own, other = r.evaluation.coverage, theirs[name].evaluation.coverage
        shares.append(abs(own.share - other.share))
        points += [abs(a.probability - b.probability) for a, b in zip(own.must_serve, other.must_serve, strict=True)]
        order.append((theirs[name].rank, theirs[name].score, r.score))
    order = [(1 + sum(rank < own for rank, *_ in order), *scores) for own, *scores in order]
    ranks, scores = [rank for rank, *_ in order], [abs(one - other) for _, one, other in order]
    print(
        f"{len(shares)} places; share off by {max(shares):.4f} at most, {np.mean(shares):.4f} in the mean; named "
        f"points by {max(points, default=0):.3f}; scores by {max(scores):.3f}; the atlas's first ten have in the plan "
        f"the ranks {ranks[:10]}; places out of order in all {sum(a != b for a, b in enumerate(ranks, 1))}"
    )
    keyed = {r.spot.key: r.evaluation for r in alone.judged}
    same = other = 0
    for r in exact.judged:
        twin = keyed.get(r.spot.key)
        if twin is not None:
            own = r.evaluation
            alike = [
                own.coverage.share == twin.coverage.share,
                np.array_equal(own.coverage.probability, twin.coverage.probability),
                own.access.drive_time_s == twin.access.drive_time_s,
                repr((own.ground, own.sky, own.backhauls)) == repr((twin.ground, twin.sky, twin.backhauls)),
            ]
            same, other = same + all(alike), other + (not all(alike))
            if not all(alike):
                print(f"{r.spot.name}: exact pass and plan differ (share, cells, drive, place): {alike}")
    print(f"exact pass: {same} places as the plan's own to the bit, {other} not")


def answered(atlas: Path, mission: Any, what: str) -> None:
    """From the opening of the atlas to places and sets: processor and clock, and a change of weights after it."""
    for turn in ("first", "again"):
        own, start = time.process_time(), time.perf_counter()
        quick = quick_answer(open_atlas(atlas), mission)
        spent, clock = time.process_time() - own, time.perf_counter() - start
        own = time.process_time()
        quick.weighed(Weights(coverage=1, must_serve=1, backhaul=1, ground=1, access=5), at_once=True)
        print(
            f"{what}, {turn}: {quick.in_reach} places in reach, {len(quick.ranked)} in full, {len(quick.sets)} sets: "
            f"processor {spent:.2f} s, clock {clock:.2f} s; other weights {time.process_time() - own:.3f} s",
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sample", default="real_hills")
    parser.add_argument("--spacing", type=float, default=300.0)
    parser.add_argument("--tile", type=float, default=5000.0)
    parser.add_argument("--workers", type=int, nargs="*", default=[1, 2, 4])
    parser.add_argument("--places", type=int, default=5000, help="of the atlas that is made of the built one")
    parser.add_argument("--agree", action="store_true", help="only whether the answers are the plan's")
    asked = parser.parse_args()
    from siteplanner import load_mission, plan
    from siteplanner.planning.atlas.answer import exact_plan
    from siteplanner.planning.atlas.build import build_atlas

    with tempfile.TemporaryDirectory() as held:
        folder = Path(held) / "region"
        region = region_of(asked.sample, folder, asked.spacing, asked.tile)
        first = None
        for workers in asked.workers:
            start, own = time.perf_counter(), time.process_time()
            made = build_atlas(region, Path(held) / f"atlas_{workers}", workers=workers)
            spent, processor = time.perf_counter() - start, time.process_time() - own
            first = first or spent
            print(
                f"build, workers {workers}: {made.places} places in {made.tiles} tiles, {spent:.1f} s "
                f"({processor:.1f} s of this process), {made.places / spent:.2f} places/s, "
                f"{made.bytes / max(made.places, 1) / 1024:.0f} kB/place, ratio to the first {first / spent:.2f}",
                flush=True,
            )
        atlas = open_atlas(Path(held) / f"atlas_{asked.workers[0]}")
        if asked.agree:
            day = load_mission(folder / "mission.toml")
            agreement(quick_answer(atlas, day), atlas.lattice.crs, day, folder)
            return
        cells = math.pi * (atlas.mission.radio.max_radius_m / atlas.lattice.size_m) ** 2
        print(f"cells of {atlas.lattice.size_m:g} m a place: {cells:,.0f} x {len(atlas.mission.trailer.mast_stops_m)}")
        mission = load_mission(folder / "mission.toml")
        quick_answer(atlas, mission)
        own = time.process_time()
        quick = quick_answer(atlas, mission)
        answer_s = time.process_time() - own
        own = time.process_time()
        exact_plan(quick, mission)
        exact_s = time.process_time() - own
        own = time.process_time()
        plan(mission)
        plan_s = time.process_time() - own
        print(
            f"atlas plan: {quick.in_reach} places in reach answered in {answer_s:.2f} s of processor "
            f"({1000 * answer_s / max(quick.in_reach, 1):.1f} ms a place), exact pass {exact_s:.1f} s, "
            f"plan {plan_s:.1f} s; "
            f"plan / answer {plan_s / answer_s:.0f}, plan / exact {plan_s / exact_s:.2f}"
        )
        many = Path(held) / "many"
        answered(many, mission, f"{multiplied(atlas.folder, many, asked.places)} places")


if __name__ == "__main__":
    main()
