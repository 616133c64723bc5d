"""Resin before the print and what comes after it, in sentences."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from vatwright.answers.numbers import celsius, duration, fixed, one_line, plural, resin_volume, significant

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vatwright.records.after import AfterPlan, AirLimit, AirPlan, BathPlan, BottlePlan, CureDose, PieceFit, Span
    from vatwright.records.plan import CarrySheet


def bottle_sentences(plan: BottlePlan) -> tuple[str, ...]:
    """Return what there is to say about the resin, a sentence or two each."""
    return tuple(_bottle(plan))


def _bottle(plan: BottlePlan) -> Iterator[str]:
    yield (
        f"Pour {resin_volume(plan.pour_m3)} for the fullest plate; {resin_volume(plan.pool_m3)} of it is the pool that must "
        f"stay for resin to flow back in time. The order uses up {resin_volume(plan.wanted_m3)}."
    )
    if plan.left_m3 is None:
        yield f"The shop's stock names no lot of {one_line(plan.resin)}, so nothing is said about what is left."
    else:
        word = "enough for the order and the pool" if plan.enough else "not enough for the order and the pool"
        yield f"All lots of {one_line(plan.resin)} together hold {resin_volume(plan.left_m3)}: {word}."
    for name, left, fills in plan.lots:
        does = "fills" if fills else "too little to fill"
        yield f"{one_line(name)}: {resin_volume(left)} left, {does} the vat for the first plate."
    if plan.warm_bottle_s is not None and plan.warm_vat_s is not None:
        yield (
            f"A litre bottle from the store, left alone, takes {times(plan.warm_bottle_s)} to come within one degree of the "
            f"room; resin in the vat {times(plan.warm_vat_s)}. Shaking it gently helps."
        )
    yield (
        f"Pigment sinks through a tenth of the pool in {times(plan.stir_s)}: stir before each run, and after a rest of more "
        f"than {_rough(plan.stir_s.low)}. Resins made to hold their pigment take longer."
    )


def times(span: Span) -> str:
    """Return a rough time with its range."""
    return f"{_rough(span.value)} ({_rough(span.low)} to {_rough(span.high)})"


_ROUGH_S = ((5 * 3600.0, 1800.0), (3600.0, 300.0), (300.0, 60.0), (0.0, 1.0))
"""From which time on it is rounded to how much [s]: an order of magnitude has no minutes in its hours."""


def _rough(seconds: float) -> str:
    step = next(to for least, to in _ROUGH_S if seconds >= least)
    return duration(round(seconds / step) * step)


def after_sentences(plan: AfterPlan) -> tuple[str, ...]:
    """Return what there is to say about washing, curing and the air, a sentence or two each."""
    found = [fit_sentence(fit) for fit in plan.fits]
    found += [s for bath in plan.baths for s in _bath(bath)]
    found += [s for air in plan.air for s in _air(air)]
    found += [_dose(c) for c in plan.cure]
    return (*found, *plan.notes)


def resin_lines(sheet: CarrySheet) -> tuple[str, ...]:
    """Return what a carry sheet says about the resin beyond what to pour: whether it is there, warm and stirred."""
    return tuple(_bottle(sheet.around.bottle))[1:] if sheet.around else ()


def after_lines(sheet: CarrySheet) -> tuple[str, ...]:
    """Return what a carry sheet says about washing, curing and the air; nothing where there is no station."""
    return short_after_sentences(sheet.around.after) if sheet.around else ()


def short_after_sentences(plan: AfterPlan) -> tuple[str, ...]:
    """Return what a carry sheet says about washing, curing and the air: what fits, how many plates a bath takes, cautions."""
    found = [_station(list(fits)) for _, fits in itertools.groupby(plan.fits, key=lambda f: f.station)]
    found += [
        f"{one_line(b.station)}: fresh {one_line(b.solvent)}, {resin_volume(b.bath_m3)}, takes about "
        f"{plural(round(b.batches.value), 'plate')} like these ({significant(b.batches.low, 2)} to "
        f"{significant(b.batches.high, 2)}) before it is changed."
        for b in plan.baths
    ]
    found += [s for air in plan.air for s in _short_air(air)]
    found += [_dose(c) for c in plan.cure]
    return (*found, *plan.notes)


def _station(fits: list[PieceFit]) -> str:
    """Return what of a job goes into one station: what does not comes first."""
    station = one_line(fits[0].station)
    bad = [f for f in fits if not f.fits or f.covered is False]
    if bad:
        return " ".join(fit_sentence(f) for f in bad)
    most = [f.at_once for f in fits]
    many = f"{min(most)} to {max(most)}" if min(most) < max(most) else f"{most[0]}"
    covered = " and stays covered" if all(f.covered for f in fits) else ""
    return f"Every kind of piece goes into {station}{covered}, {many} of a kind at once."


def _short_air(air: AirPlan) -> Iterator[str]:
    if air.steady is not None and air.steady.value > air.limit.fraction:
        ppm = significant(air.steady.value * 1e6, 2)
        yield (
            f"With the lid off all day the air would hold about {ppm} ppm of {one_line(air.solvent)}, above "
            f"{_limit(air.limit)}: keep the lid on, and air the room."
        )
    yield _flammable(air)


def _dose(c: CureDose) -> str:
    return (
        f"{one_line(c.station)}: {duration(c.time_s)} at {fixed(c.irradiance_w_m2 / 10.0, 1)} mW/cm² gives a face turned to "
        f"the lamp {significant(c.dose_j_m2 / 1e4, 2)} J/cm². It says how to repeat a cure, not that it is enough; faces in "
        "shadow get less, so turn the piece."
    )


def fit_sentence(fit: PieceFit) -> str:
    """Return whether a piece goes into a station.

    Examples
    --------
    >>> from vatwright.records.after import PieceFit
    >>> fit_sentence(
    ...     PieceFit(piece="post", station="tub", kind="wash", fits=False, how="", covered=None, at_once=0)
    ... )
    'post does not fit into tub, however it is laid.'
    """
    piece, station = one_line(fit.piece), one_line(fit.station)
    if not fit.fits:
        return f"{piece} does not fit into {station}, however it is laid."
    said = f"{piece} goes into {station} {fit.how}, {fit.at_once} at once"
    if fit.covered is None:
        return f"{said}."
    if fit.covered:
        return f"{said}, and stays covered."
    return f"{said}, but the bath does not cover it: that takes {resin_volume(fit.need_m3)} of solvent, or two turns."


def _bath(bath: BathPlan) -> Iterator[str]:
    limit = bath.limit
    if bath.limit_said:
        share = f"{significant(100 * limit.value, 2)} % (your limit)"
    else:
        share = f"{fixed(100 * limit.low, 0)} to {fixed(100 * limit.high, 0)} % (common practice, no source)"
    low, mid, high = (
        significant(v * 1e6, 2) for v in (bath.carried_m3.low, bath.carried_m3.value, bath.carried_m3.high)
    )
    yield (
        f"{one_line(bath.station)}: a plate carries in {mid} ml of resin ({low} to {high} ml with full pockets). "
        f"Fresh solvent of {resin_volume(bath.bath_m3)} is at {significant(100 * bath.after_job.value, 2)} % after this job, "
        f"and is changed at {share} after {plural(round(bath.batches.value), 'plate')} like these "
        f"({significant(bath.batches.low, 2)} to {significant(bath.batches.high, 2)})."
    )
    yield (
        f"A hydrometer then shows about {fixed(bath.density_spent_kg_m3 / 1e3, 3)} g/cm³; fresh solvent shows "
        f"{fixed(bath.density_new_kg_m3 / 1e3, 3)}. Water in it shifts both."
    )
    if bath.second_share is not None:
        yield (
            f"A second bath of the same size would then hold about {significant(100 * bath.second_share, 1)} % of resin: "
            "wash in the old one first, finish in the clean one, and when the first is spent let the second take its place."
        )


def _air(air: AirPlan) -> Iterator[str]:
    flow = air.evaporation_kg_s
    low, mid, high = (significant(v * 3.6e6, 1) for v in (flow.low, flow.value, flow.high))
    if air.read:
        rate = f"{significant(flow.value * 3.6e6, 2)} g/h, which you weighed"
    else:
        rate = f"about {mid} g/h ({low} to {high}), an order of magnitude: weigh it"
    yield f"While the tub stands open {air.solvent} evaporates at {rate}."
    if air.steady is not None:
        ppm = [significant(v * 1e6, 2) for v in (air.steady.value, air.steady.low, air.steady.high)]
        over = "above" if air.steady.value > air.limit.fraction else "below"
        yield (
            f"If it stood open all day, the air at the tub would reach {ppm[0]} ppm ({ppm[1]} to {ppm[2]}): {over} "
            f"{_limit(air.limit)}. A lid is the cure."
        )
    fresh = [
        significant(v * 3600.0, 2) for v in (air.fresh_air_m3_s.value, air.fresh_air_m3_s.low, air.fresh_air_m3_s.high)
    ]
    yield f"To stay below {_limit(air.limit)} with the lid off takes {fresh[0]} m³/h of fresh air ({fresh[1]} to {fresh[2]})."
    yield f"Published limits: {'; '.join(_limit(x) for x in air.limits)}. Those of your country may be lower: set your own."
    yield _flammable(air)
    if air.spill is not None:
        word = "above" if air.spill > min(x.fraction for x in air.flammable) else "below"
        yield (
            f"All of it spilled and evaporated in the closed room: {significant(100 * air.spill, 2)} %, {word} the lower "
            f"flammable limit, and many times that along the floor."
        )


def _limit(limit: AirLimit) -> str:
    own = limit.source == "user:statement"
    return f"{significant(limit.fraction * 1e6, 3)} ppm, {limit.what}" + ("" if own else f" [{limit.source}]")


def _flammable(air: AirPlan) -> str:
    limits = ", ".join(f"{significant(100 * x.fraction, 2)} % [{x.source}]" for x in air.flammable)
    flashes = ", ".join(f"{celsius(k)} [{key}]" for k, key in air.flash_k)
    burns = "can burn" if air.headspace > min(x.fraction for x in air.flammable) else "is too thin to burn"
    warm = "warmer" if air.room_k >= min(k for k, _ in air.flash_k) else "colder"
    return (
        f"Right over the liquid the vapour {burns}: {significant(100 * air.headspace, 2)} % of the air, where {limits} is the "
        f"lower limit. The room is {warm} than the flash point, {flashes}."
    )
