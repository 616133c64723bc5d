"""Resin before the print and what comes after it, in sentences."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from vatwright.answers.numbers import celsius, duration, fixed, one_line, resin_volume, significant
from vatwright.wording import say, say_many

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vatwright.records.after import AfterPlan, AirLimit, AirPlan, BathPlan, BottlePlan, CureDose, PieceFit, Span
    from vatwright.records.plan import CarrySheet


def bottle_sentences(plan: BottlePlan) -> tuple[str, ...]:
    """Return what there is to say about the resin, a sentence or two each."""
    return tuple(_bottle(plan))


def _bottle(plan: BottlePlan) -> Iterator[str]:
    yield (
        say(
            "Pour {pour} for the fullest plate; {pool} of it is the pool that must stay for "
            "resin to flow back in time. The order uses up {wanted}.",
            pour=resin_volume(plan.pour_m3),
            pool=resin_volume(plan.pool_m3),
            wanted=resin_volume(plan.wanted_m3),
        )
    )
    if plan.left_m3 is None:
        yield say(
            "The shop's stock names no lot of {resin}, so nothing is said about what is left.",
            resin=one_line(plan.resin),
        )
    else:
        word = say("enough for the order and the pool") if plan.enough else say("not enough for the order and the pool")
        yield say(
            "All lots of {resin} together hold {left}: {word}.",
            resin=one_line(plan.resin),
            left=resin_volume(plan.left_m3),
            word=word,
        )
    for name, left, fills in plan.lots:
        lot = {"name": one_line(name), "left": resin_volume(left)}
        yield (
            say("{name}: {left} left, fills the vat for the first plate.", **lot)
            if fills
            else say("{name}: {left} left, too little to fill the vat for the first plate.", **lot)
        )
    if plan.warm_bottle_s is not None and plan.warm_vat_s is not None:
        yield (
            say(
                "A litre bottle from the store, left alone, takes {times} to come within one degree "
                "of the room; resin in the vat {times_2}. Shaking it gently helps.",
                times=times(plan.warm_bottle_s),
                times_2=times(plan.warm_vat_s),
            )
        )
    yield (
        say(
            "Pigment sinks through a tenth of the pool in {times}: stir before each run, and "
            "after a rest of more than {rough}. Resins made to hold their pigment take longer.",
            times=times(plan.stir_s),
            rough=_rough(plan.stir_s.low),
        )
    )


def times(span: Span) -> str:
    """Return a rough time with its range."""
    return say(
        "{rough} ({rough_2} to {rough_3})",
        rough=_rough(span.value),
        rough_2=_rough(span.low),
        rough_3=_rough(span.high),
    )


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
        say(
            "{station}: fresh {solvent}, {bath}, takes about {value} like these ({low} to "
            "{high}) before it is changed.",
            station=one_line(b.station),
            solvent=one_line(b.solvent),
            bath=resin_volume(b.bath_m3),
            value=say_many(round(b.batches.value), "{n} plate", "{n} plates"),
            low=significant(b.batches.low, 2),
            high=significant(b.batches.high, 2),
        )
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
    many = say("{most} to {most_2}", most=min(most), most_2=max(most)) if min(most) < max(most) else f"{most[0]}"
    covered = say(" and stays covered") if all(f.covered for f in fits) else ""
    return say(
        "Every kind of piece goes into {station}{covered}, {many} of a kind at once.",
        station=station,
        covered=covered,
        many=many,
    )


def _short_air(air: AirPlan) -> Iterator[str]:
    if air.steady is not None and air.steady.value > air.limit.fraction:
        ppm = significant(air.steady.value * 1e6, 2)
        yield (
            say(
                "With the lid off all day the air would hold about {ppm} ppm of {solvent}, above "
                "{limit}: keep the lid on, and air the room.",
                ppm=ppm,
                solvent=one_line(air.solvent),
                limit=_limit(air.limit),
            )
        )
    yield _flammable(air)


def _dose(c: CureDose) -> str:
    return say(
        "{station}: {time} at {irradiance_w} mW/cm² gives a face turned to the lamp {dose} "
        "J/cm². It says how to repeat a cure, not that it is enough; faces in shadow get "
        "less, so turn the piece.",
        station=one_line(c.station),
        time=duration(c.time_s),
        irradiance_w=fixed(c.irradiance_w_m2 / 10.0, 1),
        dose=significant(c.dose_j_m2 / 1e4, 2),
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
        return say("{piece} does not fit into {station}, however it is laid.", piece=piece, station=station)
    said = say(
        "{piece} goes into {station} {how}, {at_once} at once",
        piece=piece,
        station=station,
        how=fit.how,
        at_once=fit.at_once,
    )
    if fit.covered is None:
        return f"{said}."
    if fit.covered:
        return say("{said}, and stays covered.", said=said)
    return say(
        "{said}, but the bath does not cover it: that takes {need} of solvent, or two turns.",
        said=said,
        need=resin_volume(fit.need_m3),
    )


def _bath(bath: BathPlan) -> Iterator[str]:
    limit = bath.limit
    if bath.limit_said:
        share = say("{value} % (your limit)", value=significant(100 * limit.value, 2))
    else:
        share = say(
            "{low} to {high} % (common practice, no source)",
            low=fixed(100 * limit.low, 0),
            high=fixed(100 * limit.high, 0),
        )
    low, mid, high = (
        significant(v * 1e6, 2) for v in (bath.carried_m3.low, bath.carried_m3.value, bath.carried_m3.high)
    )
    yield (
        say(
            "{station}: a plate carries in {mid} ml of resin ({low} to {high} ml with full "
            "pockets). Fresh solvent of {bath} is at {value} % after this job, and is changed at "
            "{share} after {value_2} like these ({low_2} to {high_2}).",
            station=one_line(bath.station),
            mid=mid,
            low=low,
            high=high,
            bath=resin_volume(bath.bath_m3),
            value=significant(100 * bath.after_job.value, 2),
            share=share,
            value_2=say_many(round(bath.batches.value), "{n} plate", "{n} plates"),
            low_2=significant(bath.batches.low, 2),
            high_2=significant(bath.batches.high, 2),
        )
    )
    yield (
        say(
            "A hydrometer then shows about {density_spent_kg} g/cm³; fresh solvent shows "
            "{density_new_kg}. Water in it shifts both.",
            density_spent_kg=fixed(bath.density_spent_kg_m3 / 1e3, 3),
            density_new_kg=fixed(bath.density_new_kg_m3 / 1e3, 3),
        )
    )
    if bath.second_share is not None:
        yield (
            say(
                "A second bath of the same size would then hold about {second_share} % of resin: "
                "wash in the old one first, finish in the clean one, and when the first is spent let "
                "the second take its place.",
                second_share=significant(100 * bath.second_share, 1),
            )
        )


def _air(air: AirPlan) -> Iterator[str]:
    flow = air.evaporation_kg_s
    low, mid, high = (significant(v * 3.6e6, 1) for v in (flow.low, flow.value, flow.high))
    if air.read:
        rate = say("{value} g/h, which you weighed", value=significant(flow.value * 3.6e6, 2))
    else:
        rate = say("about {mid} g/h ({low} to {high}), an order of magnitude: weigh it", mid=mid, low=low, high=high)
    yield say("While the tub stands open {solvent} evaporates at {rate}.", solvent=air.solvent, rate=rate)
    if air.steady is not None:
        ppm = [significant(v * 1e6, 2) for v in (air.steady.value, air.steady.low, air.steady.high)]
        over = say("above") if air.steady.value > air.limit.fraction else say("below")
        yield (
            say(
                "If it stood open all day, the air at the tub would reach {ppm} ppm ({ppm_2} to "
                "{ppm_3}): {over} {limit}. A lid is the cure.",
                ppm=ppm[0],
                ppm_2=ppm[1],
                ppm_3=ppm[2],
                over=over,
                limit=_limit(air.limit),
            )
        )
    fresh = [
        significant(v * 3600.0, 2) for v in (air.fresh_air_m3_s.value, air.fresh_air_m3_s.low, air.fresh_air_m3_s.high)
    ]
    yield say(
        "To stay below {limit} with the lid off takes {fresh} m³/h of fresh air ({fresh_2} to {fresh_3}).",
        limit=_limit(air.limit),
        fresh=fresh[0],
        fresh_2=fresh[1],
        fresh_3=fresh[2],
    )
    yield say(
        "Published limits: {limit}. Those of your country may be lower: set your own.",
        limit="; ".join(_limit(x) for x in air.limits),
    )
    yield _flammable(air)
    if air.spill is not None:
        word = say("above") if air.spill > min(x.fraction for x in air.flammable) else say("below")
        yield (
            say(
                "All of it spilled and evaporated in the closed room: {spill} %, {word} the lower "
                "flammable limit, and many times that along the floor.",
                spill=significant(100 * air.spill, 2),
                word=word,
            )
        )


def _limit(limit: AirLimit) -> str:
    own = limit.source == "user:statement"
    return say("{fraction} ppm, {what}", fraction=significant(limit.fraction * 1e6, 3), what=limit.what) + (
        "" if own else f" [{limit.source}]"
    )


def _flammable(air: AirPlan) -> str:
    limits = ", ".join(f"{significant(100 * x.fraction, 2)} % [{x.source}]" for x in air.flammable)
    flashes = ", ".join(f"{celsius(k)} [{key}]" for k, key in air.flash_k)
    burns = say("can burn") if air.headspace > min(x.fraction for x in air.flammable) else say("is too thin to burn")
    warm = say("warmer") if air.room_k >= min(k for k, _ in air.flash_k) else say("colder")
    return say(
        "Right over the liquid the vapour {burns}: {headspace} % of the air, where {limits} "
        "is the lower limit. The room is {warm} than the flash point, {flashes}.",
        burns=burns,
        headspace=significant(100 * air.headspace, 2),
        limits=limits,
        warm=warm,
        flashes=flashes,
    )
