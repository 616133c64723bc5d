"""What an order costs on one machine: every kind of cost, retries at the predicted chance, and what moves it most.

Every input has a 90 % range.  The cost is worked out at all medians, then with one input at a time at either end; what
these ends differ by is added up as for independent inputs.  Money is in the shop's own currency.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from attrs import frozen

from vatwright.planning.cost.failures import attempts, expected_cost
from vatwright.records.after import Span
from vatwright.records.cost import Costing, CostLine, FailureCost, Missing, Swing
from vatwright.records.plan import CarrySheet
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.stock import Price
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

_HOUR_S = 3600.0
_KWH_J = 3.6e6
_LITRE_M3 = 1e-3

MINUTES_S: Mapping[str, float] = {
    "set up": 600.0, "take off": 600.0, "wash": 600.0, "cure": 300.0, "visit": 180.0, "finish": 300.0,
    "clear a failure": 1800.0,
}  # fmt: skip
"""Work by step where the shop has not said [s]; engineering estimates, no source."""

MINUTES_FACTOR = 2.0
"""Factor either way on them [-]."""

RUN_TIME_FACTOR = 1.05
"""Factor either way on the run's computed time [-]; engineering estimate, no source."""

CLINGING_FACTOR = 2.0
"""Factor either way on the resin that clings [-]; engineering estimate: an order of magnitude."""

NOTICED_AT = (0.1, 0.25, 0.5, 0.75, 1.0)
"""Shares of a run at which a failure's cost is told."""

_CHANCE = to_say("chance that a plate holds")

Values = dict[str, float]


@frozen(kw_only=True, eq=False)
class CostCase:
    """What one order on one machine uses.

    Parameters
    ----------
    sheet : CarrySheet
        The carry: time, chance, visits.
    plates : tuple of int
        Layers of each plate.
    volume_m3 : float
        Of all pieces [m3].
    clinging_m3 : float
        Resin that leaves with pieces and platform, all plates [m3].
    density_kg_m3 : float
        Of the resin [kg/m3].
    resin_per_kg : float or None
        Its price a kilogram.
    solvent : str
        What it is washed in; empty where nobody said.
    bath_m3 : float
        Solvent in the bath [m3]; 0 where there is none.
    bath_batches : Span or None
        Plates that a bath takes.
    prices : tuple of Price
        The shop's.
    costing : Costing
        Lives, minutes, margin.
    """

    sheet: CarrySheet
    plates: tuple[int, ...]
    volume_m3: float
    clinging_m3: float
    density_kg_m3: float
    resin_per_kg: float | None
    solvent: str
    bath_m3: float
    bath_batches: Span | None
    prices: tuple[Price, ...]
    costing: Costing


@frozen(kw_only=True)
class BareCost:
    """Cost of a piece without the machine's own price: at all medians, and with one input at either end, by its name."""

    value: float
    ends: dict[str, tuple[float, float]]


@frozen(kw_only=True)
class CostFigures:
    """The numbers of a cost sheet.

    `turnaround_s` is a person's time at the machine between two plates [s]; `bare` leaves out the machine's own
    price; the rest is as in the sheet.
    """

    per_piece: Span
    total: Span
    attempts: Span
    lines: tuple[CostLine, ...]
    failures: tuple[FailureCost, ...]
    swings: tuple[Swing, ...]
    missing: tuple[Missing, ...]
    hands_s: float
    turnaround_s: float
    bare: BareCost
    assumed: tuple[str, ...]


@frozen(kw_only=True)
class _Part:
    """One kind of cost of one plate that runs to its end, as a function of the inputs.

    `early` says whether a failure that is noticed early saves its share of it; `failing` whether a failed plate has it.
    """

    label: str
    what: str
    of: Callable[[Values], float]
    early: bool = True
    failing: bool = True


# --- inputs ------------------------------------------------------------------------------------------------------------


class _Inputs:
    """Collects inputs with their ranges, and the names of what is missing."""

    def __init__(self, case: CostCase) -> None:
        self.case = case
        self.found: dict[str, tuple[Sourced, str, float]] = {}
        self.missing: list[Missing] = []
        self.assumed: list[str] = []

    def put(self, name: str, value: Sourced, unit: str = "", per: float = 1.0) -> None:
        """Keep an input; `per` is one of `unit` in SI."""
        self.found[name] = (value, unit, per)

    def price(self, name: str, wanted: str) -> float | None:
        """Return a price per `wanted` unit, None (and its name kept as missing) where the shop has none."""
        found = price_of(self.case.prices, name, wanted)
        if found is None:
            self.missing.append(Missing(field="price", of=name, per=(wanted,)))
        return found

    def life(self, name: str, value: Sourced | None, said: Missing, unit: str, per: float = 1.0) -> bool:
        """Keep how long something lasts; False where nobody said."""
        if value is None:
            self.missing.append(said)
            return False
        self.put(name, value, unit, per)
        return True

    def step(self, step: str) -> str:
        """Keep the time of one step of work, and return the name of the input."""
        said = self.case.costing.minutes.get(step)
        if said is None:
            said = Sourced.about(
                MINUTES_S[step], factor=MINUTES_FACTOR, source="estimate:vatwright", kind=Kind.ESTIMATE
            )
            self.assumed.append(
                to_say(
                    "{step}: {value:.0f} min, a factor of two either way", step=to_say(step), value=said.value / 60.0
                )
            )
        name = to_say("work: {step}", step=to_say(step))
        self.put(name, said, "min", 60.0)
        return name


_WORDS = {"l": ("l", "litre", "liter"), "kg": ("kg", "kilogram"), "h": ("h", "hour"), "kWh": ("kWh", "kwh"),
          "piece": ("piece", "pc", "each"), "m2 month": ("m2 month",)}  # fmt: skip


def price_of(prices: Sequence[Price], name: str, per: str) -> float | None:
    """Return a price by its name and what it is for; None where there is none.

    Examples
    --------
    >>> from vatwright.records.stock import Price
    >>> price_of([Price(name="Work", amount=28.0, per="hour")], "work", "h")
    28.0
    """
    for price in prices:
        if price.name.strip().lower() == name.lower() and price.per.strip() in _WORDS[per]:
            return price.amount
    return None


# --- the cost of one plate ----------------------------------------------------------------------------------------------


def _parts(case: CostCase, put: _Inputs) -> Iterator[_Part]:
    runs, sheet = len(case.plates), case.sheet
    put.put(to_say("run time"), Sourced.about(sheet.time.to_s / runs, factor=RUN_TIME_FACTOR, source="derived:vatwright",
                                      kind=Kind.DERIVED), "h", _HOUR_S)  # fmt: skip
    yield from _material(case, put, runs)
    yield from _wear(case, put, runs)
    use = case.costing.machine(sheet.target)
    if (tariff := put.price("electricity", "kWh")) is not None and put.life(
        "power", use.power_w, Missing(field="power_W", of=sheet.target), "W"
    ):
        yield _Part(
            label=to_say("energy"),
            what=to_say("power x run time"),
            of=lambda v: v["power"] * v["run time"] / _KWH_J * tariff,
        )
    yield from _labour(case, put, runs)


def _material(case: CostCase, put: _Inputs, runs: int) -> Iterator[_Part]:
    per_kg = case.resin_per_kg
    if per_kg is None:
        per_kg = price_of(case.prices, case.sheet.resin, "kg")
    per_l = price_of(case.prices, case.sheet.resin, "l")
    if per_kg is None and per_l is None:
        put.missing.append(Missing(field="price", of=case.sheet.resin, per=("kg", "l")))
    else:
        per_m3 = per_l / _LITRE_M3 if per_kg is None and per_l is not None else (per_kg or 0.0) * case.density_kg_m3
        clings = Sourced.about(
            case.clinging_m3 / runs, factor=CLINGING_FACTOR, source="estimate:vatwright", kind=Kind.ESTIMATE
        )
        put.put(to_say("resin that clings"), clings, "ml", 1e-6)
        yield _Part(
            label=to_say("resin in the pieces"),
            what=to_say("volume x price"),
            of=lambda _v: case.volume_m3 / runs * per_m3,
        )
        yield _Part(
            label=to_say("resin that clings"), what=to_say("film x surface x price"), early=False,
            of=lambda v: v["resin that clings"] * per_m3,
        )  # fmt: skip
    if case.bath_batches is None:
        put.missing.append(Missing(field="bath_ml"))
    elif (per_l_solvent := put.price(case.solvent or "solvent", "l")) is not None:
        batches = case.bath_batches
        put.put(to_say("plates a bath takes"), Sourced(value=batches.value, low=batches.low, high=batches.high,
                                               source="estimate:vatwright", kind=Kind.ESTIMATE))  # fmt: skip
        yield _Part(
            label=to_say("solvent"), what=to_say("bath / plates it takes x price"), early=False,
            of=lambda v: case.bath_m3 / _LITRE_M3 * per_l_solvent / v["plates a bath takes"],
        )  # fmt: skip


def _wear(case: CostCase, put: _Inputs, runs: int) -> Iterator[_Part]:
    machine = case.sheet.target
    use = case.costing.machine(machine)
    layers = sum(case.plates) / runs
    film = put.price(to_say("film, {machine}", machine=machine), "piece")
    if film is not None and put.life(
        to_say("film life"), use.film_layers, Missing(field="film_layers", of=machine), "layers"
    ):
        yield _Part(
            label=to_say("film"), what=to_say("layers / its life x price"), of=lambda v: layers / v["film life"] * film
        )
    for label, life, key in (("screen", use.screen_s, "screen_h"), ("platform", use.platform_s, "platform_h"),
                             ("machine", use.life_s, "life_h")):  # fmt: skip
        price = put.price(f"{label}, {machine}", "piece")
        if price is not None and put.life(
            to_say("{label} life", label=to_say(label)), life, Missing(field=key, of=machine), "h", _HOUR_S
        ):
            yield _Part(
                label=to_say(label),
                what=to_say("run time / its life x price"),
                of=_worn(to_say("{label} life", label=to_say(label)), price),
            )


def _worn(life: str, price: float) -> Callable[[Values], float]:
    return lambda v: v["run time"] / v[life] * price


def _labour(case: CostCase, put: _Inputs, runs: int) -> Iterator[_Part]:
    hour = put.price("work", "h")
    pieces = case.sheet.pieces / runs
    visits = len(case.sheet.hand.visits) if case.sheet.hand else 0
    times = {"set up": 1.0, "take off": 1.0, "wash": 1.0, "cure": 1.0, "visit": visits, "finish": pieces}
    for step, count in times.items():
        name = put.step(step)
        if hour is not None and count:
            yield _Part(
                label=to_say("work: {step}", step=to_say(step)), what=to_say("time x wage"), of=_worked(name, count * hour),
                early=step == "visit", failing=step in {"set up", "visit"},
            )  # fmt: skip
    put.step(to_say("clear a failure"))


def _worked(name: str, wage: float) -> Callable[[Values], float]:
    return lambda v: v[name] / _HOUR_S * wage


# --- putting it together ------------------------------------------------------------------------------------------------


class _Model:
    """The cost of the whole order as a function of the inputs."""

    def __init__(self, case: CostCase, *, machine: bool = True) -> None:
        self.case, self.inputs = case, _Inputs(case)
        parts = list(_parts(case, self.inputs))
        self.parts = parts if machine else [p for p in parts if p.label != "machine"]
        self.hour = price_of(case.prices, "work", "h") or 0.0
        self.noticed = 1.0 if case.costing.noticed is None else case.costing.noticed
        self.runs = len(case.plates)
        s = case.sheet.success
        low = max(s.low, 1e-3)
        self.inputs.put(_CHANCE, Sourced(
            value=min(max(s.mean, low), 1.0), low=low, high=max(s.high, s.mean, low),
            source="derived:vatwright", kind=Kind.DERIVED))  # fmt: skip

    def values(self) -> Values:
        return {name: found.value for name, (found, _, _) in self.inputs.found.items()}

    def failed(self, v: Values, share: float) -> float:
        """Cost of one failed plate that is noticed after a share of its run."""
        spent = sum(p.of(v) * (share if p.early else 1.0) for p in self.parts if p.failing)
        return spent + v["work: clear a failure"] / _HOUR_S * self.hour

    def retries(self, v: Values) -> float:
        """Failed plates for one that holds."""
        return attempts(v[_CHANCE]) - 1.0

    def total(self, v: Values) -> float:
        good = sum(p.of(v) for p in self.parts)
        chance = v[_CHANCE]
        return self.runs * expected_cost(good=good, failed=self.failed(v, self.noticed), chance=chance)


def cost_figures(case: CostCase) -> CostFigures:
    """Return what an order costs on one machine.

    Parameters
    ----------
    case : CostCase
        What it uses, prices, lives, minutes.

    Returns
    -------
    CostFigures
        A piece, the order, its kinds of cost, failures by layer, what moves it most, and what nobody has priced.

    Notes
    -----
    Every plate is taken to hold with the chance of the fullest one.  Costs without a price are left out and named.
    """
    model = _Model(case)
    v = model.values()
    total, swings = _ranged(model, case.sheet.pieces)
    chance = model.inputs.found[_CHANCE][0]
    return CostFigures(
        per_piece=_each(total, case.sheet.pieces),
        total=total,
        attempts=Span(low=attempts(chance.high), value=attempts(chance.value), high=attempts(chance.low)),
        lines=_lines(model, v),
        failures=_failures(model, v),
        swings=swings,
        missing=tuple(dict.fromkeys(model.inputs.missing)),
        hands_s=_hands(model, v),
        turnaround_s=v["work: set up"] + v["work: take off"],
        bare=_bare(case),
        assumed=tuple(model.inputs.assumed),
    )


def _bare(case: CostCase) -> BareCost:
    model, pieces = _Model(case, machine=False), case.sheet.pieces
    v = model.values()
    ends = {
        name: (model.total({**v, name: found.low}) / pieces, model.total({**v, name: found.high}) / pieces)
        for name, (found, _, _) in model.inputs.found.items()
    }
    return BareCost(value=model.total(v) / pieces, ends=ends)


def _each(total: Span, pieces: int) -> Span:
    return Span(low=total.low / pieces, value=total.value / pieces, high=total.high / pieces)


def _ranged(model: _Model, pieces: int) -> tuple[Span, tuple[Swing, ...]]:
    """Return the cost with its range, and what each input moves, most first."""
    v = model.values()
    middle = model.total(v)
    below = above = 0.0
    swings = []
    for name, (found, unit, per) in model.inputs.found.items():
        ends = [model.total({**v, name: end}) for end in (found.low, found.high)]
        below += (middle - min(*ends, middle)) ** 2
        above += (max(*ends, middle) - middle) ** 2
        swings.append(
            Swing(name=name, unit=unit, low=found.low / per, high=found.high / per, cost_low=ends[0] / pieces,
                  cost_high=ends[1] / pieces)
        )  # fmt: skip
    found_swings = sorted((s for s in swings if s.width > 1e-9 * max(middle, 1e-9)), key=lambda s: -s.width)
    low = max(middle - math.sqrt(below), 0.0)
    return Span(low=low, value=middle, high=middle + math.sqrt(above)), tuple(found_swings)


def _lines(model: _Model, v: Values) -> tuple[CostLine, ...]:
    """Kinds of cost for the order; what failures cost is a line of its own."""
    kinds = []
    for part in model.parts:
        names = [n for n in model.inputs.found if n != _CHANCE]
        middle = model.runs * part.of(v)
        deviations = [
            [
                model.runs * part.of({**v, n: end}) - middle
                for end in (model.inputs.found[n][0].low, model.inputs.found[n][0].high)
            ]
            for n in names
        ]
        below = math.sqrt(sum(min(*d, 0.0) ** 2 for d in deviations))
        above = math.sqrt(sum(max(*d, 0.0) ** 2 for d in deviations))
        amount = Span(low=max(middle - below, 0.0), value=middle, high=middle + above)
        kinds.append(CostLine(label=part.label, what=part.what, amount=amount))
    chance = model.inputs.found[_CHANCE][0]
    failing = [
        model.runs * model.retries({**v, _CHANCE: p}) * model.failed(v, model.noticed)
        for p in (chance.high, chance.value, chance.low)
    ]
    retries = CostLine(
        label=to_say("failures"), what=to_say("failed plates before one holds"),
        amount=Span(low=failing[0], value=failing[1], high=failing[2]),
    )  # fmt: skip
    return tuple(sorted((*kinds, retries), key=lambda k: -k.amount.value))


def _failures(model: _Model, v: Values) -> tuple[FailureCost, ...]:
    """What a failure costs when it is noticed at the end of the base and at shares of the run."""
    table = model.case.sheet.layers
    layers = len(table.clock_s)
    run_s = v["run time"]
    end_s = float(table.clock_s[-1]) + (float(table.clock_s[-1] - table.clock_s[-2]) if layers > 1 else run_s)
    base = next((round(a.to_value) for a in model.case.sheet.settings if a.name == "base.layers"), 1)
    at = sorted({min(base, layers - 1), *(min(int(share * layers), layers - 1) for share in NOTICED_AT)})
    found = []
    for layer in at:
        last = layer == layers - 1
        share = 1.0 if last else float(table.clock_s[layer]) / end_s
        found.append(FailureCost(layer=layer, share=share, at_s=share * end_s, amount=model.failed(v, share)))
    return tuple(found)


def _hands(model: _Model, v: Values) -> float:
    """A person's time for the order, failed plates included [s]."""
    visits = len(model.case.sheet.hand.visits) if model.case.sheet.hand else 0
    plate = (
        sum(v[f"work: {step}"] for step in (to_say("set up"), to_say("take off"), to_say("wash"), to_say("cure")))
        + visits * v["work: visit"]
    )
    failed = v["work: set up"] + visits * v["work: visit"] * model.noticed + v["work: clear a failure"]
    return model.runs * (plate + model.retries(v) * failed) + model.case.sheet.pieces * v["work: finish"]
