"""Invented things to keep in a notebook."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

from vatwright.files.documents import job_page, run_page
from vatwright.files.read import read_job
from vatwright.files.stock_file import read_stock
from vatwright.records.notebook import TablePage
from vatwright.records.run import Event, Prediction, Quantity, Reading, RunOutcome, Seen
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station, StationKind

DEMO = Path(__file__).parents[2] / "demo"
SUMMER = timezone(timedelta(hours=2))

WREN = TablePage(
    kind="machine",
    name="Wren",
    document='[[machine]]\nname = "Wren"\nheight_mm = 165\n\n[machine.platform]\nwidth_mm = 150\ndepth_mm = 92\n',
)
SLATE = TablePage(kind="resin", name="slate", document='[[resin]]\nname = "slate"\n')
STOCK = (
    FittedFilm(name="film 1", machine="Wren", material="FEP", fitted=date(2026, 1, 2), layers=12, used_s=1.0 / 3.0),
    Screen(name="screen 1", machine="Wren", fitted=date(2025, 1, 2), removed=date(2026, 1, 2), used_s=1e-9),
    Lot(name="lot 1", resin="slate", left_m3=1e-3 / 7.0, opened=date(2026, 2, 3)),
    Station(
        name="tub", kind=StationKind.WASH, width_m=0.2, depth_m=0.21, height_m=0.3, bath_m3=8e-3, solvent="alcohol"
    ),
    Price(name="film", amount=12.1),
)


def shop_pages():
    """The demo workshop, as it goes into a notebook."""
    return read_stock(DEMO / "shop.toml", {})


def demo_job(to="Heron"):
    """The demo's main job."""
    return read_job(DEMO / "harbour-lanterns.toml", to=to)


def recipe_page(settle_s):
    """A recipe of which one setting differs."""
    text = (
        '[[recipe]]\nname = "slate on Wren"\nmachine = "Wren"\nresin = "slate"\nlayer_mm = 0.05\nbase_layers = 4\n\n'
        f"[recipe.base]\nexposure_s = 30\n\n[recipe.body]\nexposure_s = 2.6\nsettle_s = {settle_s}\npeel_lift_mm = 2\n"
        "peel_speed_mm_s = 1\nclear_speed_mm_s = 3\nreturn_speed_mm_s = 3\n"
    )
    return TablePage(kind="recipe", name="slate on Wren", document=text, machine="Wren", resin="slate")


def outcome(name="run 1", **changes):
    """A run with something of everything."""
    said = {
        "run": name, "at": datetime(2026, 5, 4, 9, 30, 15, 250_000, tzinfo=SUMMER), "job": "harbour lanterns, spring order",
        "recipe": "slate on Wren", "machine": "Heron", "resin": "slate", "room_k": 291.15, "held": False,
        "settings": {"body.settle_s": 4.5, "base.layers": 5.0, "body.peel_lift_mm": 0.0031},
        "events": (Event(what=Seen.LAYER_SPLIT, layer=412), Event(what=Seen.LINES, x_m=-0.1, y_m=1.0 / 30.0)),
        "readings": (
            Reading(quantity=Quantity.VISCOSITY, value=0.31, sigma=0.02, at={"temperature_C": 291.25}),
            Reading(quantity=Quantity.CURE_DEPTH, value=1.4e-4 / 3.0, sigma=1e-5, at={"dose_mJ_cm2": 200.0 / 3.0}),
            Reading(quantity=Quantity.RESIN_TEMPERATURE, value=291.65, sigma=0.5),
        ),
        "prediction": Prediction(
            chance_low=0.61, chance=0.7, chance_high=1.0 / 1.3, run_time_s=26000.5, first_layer_m=7e-5 / 9.0, release="0.1"
        ),
        "film": "film 1", "screen": "screen 1", "lot": "lot 1", "photos": ("a.jpg", "b ü.jpg"), "note": "cold\nmorning ☃",
    }  # fmt: skip
    return RunOutcome(**{**said, **changes})


def noted_job(to="Heron"):
    """The demo's main job as it goes into a notebook."""
    return job_page(demo_job(to), noted=datetime(2026, 5, 4, tzinfo=UTC))


def noted_run(name="run 1", job=None, **changes):
    """A run as it goes into a notebook."""
    return run_page(outcome(name, **changes), job)
