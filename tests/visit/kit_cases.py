"""Sites and kits of every sort: the demo's, and each answer of each question that steps hang on."""

from collections.abc import Iterator
from itertools import product

from forecaster.demo import demo_folder
from forecaster.season.sheet import read_sites
from forecaster.season.sites import Site
from forecaster.visit.kit import Device, Kit, kits_of

ANSWERS = (Device(), Device(False), Device(True, 120.0))
PARTS = (None, frozenset(), frozenset({"pump"}), frozenset({"fall", "uv"}))


def demo_cases() -> list[tuple[Site, Kit]]:
    sites, _ = read_sites(demo_folder(), crew_names=["Heron", "Otter"])
    kits = kits_of(sites)
    return [(site, kits[site.site_id]) for site in sites]


def site_of(kind: str = "pond", winter: str = "close", *, fish: bool = True, **more) -> Site:
    depth = 0.6 if kind == "pond" else None
    return Site("S1", "Reedwick", 43.2, -89.4, depth, kind=kind, winter=winter, fish=fish, **more)


def every_case() -> Iterator[tuple[Site, Kit]]:
    """17,496 cases: kind, winter, fish; four devices; the rest of the kit all unknown, no or yes."""
    kinds = ("pond", "fall without pond", "fountain")
    for kind, winter, fish in product(kinds, ("close", "partly", "runs"), (True, False)):
        for aerator, deicer, uv, pump in product(ANSWERS, repeat=4):
            for rest, kept in product((None, False, True), PARTS):
                kit = Kit(
                    "S1",
                    pump=pump,
                    uv=uv,
                    aerator=aerator,
                    deicer=deicer,
                    kept_running=kept,
                    line_length_m=9.0 if rest else None,
                    line_diameter_m=0.05 if rest else None,
                    pump_weight_kg=14.0 if rest else None,
                    circuits=1 if rest else None,
                    dosing=rest,
                    check_valve=rest,
                    filter_housing=rest,
                    skimmer=rest,
                    line_drains=rest,
                    deicer_near_bubbles=rest,
                    net=rest,
                    frost_free=rest,
                )
                yield site_of(kind, winter, fish=fish), kit
