r"""How thick every layer of a print really is: the squeeze and settle of one layer after another.

The machine is a spring with a force ceiling; the resin under the cured face and under the bare platform is a squeeze
film.  While layer n is made the gap x under the face obeys

.. math:: \dot x = -\frac{f}{3 \mu\,[J / x^3 + P / (x + b)^3]}, \qquad f = \min(k\,(x - z), F)

with z the gap the drive commands: it falls at the speed V to the rest gap ``a = h - d`` and stays there for the settle.
``d`` is how far the platform was still held above its commanded height when the layer before was lit; the new one is
``x - a``.  So a print is one recurrence, and the printed height is the commanded height plus the last ``d``, exactly: so far
the bare platform stands off beside the face, and ``b`` has a share of ``d`` in it.

Over a film that gives, pieces and the bare platform around them have a gap each, x and y, and both press on the film:

.. math:: 3 \mu C_i \kappa_i J_i \dot g_i / g_i^3 = -f_i, \qquad
    x = z - d + w_1, \quad y = z + b + w_2, \qquad w = M f

with d how deep the pieces found the film, b what was commanded so far, kappa the force of a blister over that of its
spring.  So the bow that is printed holds the bare platform off, and pieces that hang where the film last was press it down
by themselves.

How it is solved, and why it is quick:

- holding still is a closed form in x, ``t = (3 mu / k) {J H(x; a) + P H(x + b; a + b)}``, solved by Newton's rule; over one
  face it is one curve for every machine, ``-ln(1 - r) - r - r^2 / 2 = p^3 / 3`` with ``r = a / x``, turned round by its
  power series in p and, where the gap is nearly its rest gap, by Halley's rule;
- descending over one face has a single curve for every machine: with ``L = (3 mu J V / k)^(1/4)``, ``X = x / L`` and
  ``Z = z / L`` it is ``dX/dZ = (X - Z) X^3`` from ``Z = inf``.  The curve is tabulated once;
- descending over face and platform together is integrated, from where the lag still follows the speed, with a
  sixth-order two-point formula. The rest gap is only where the descent stops, so where the platform's gap is given each
  layer's descent is followed once, and read off wherever else it stops;
- two gaps over one film are followed in their logarithms by a Rosenbrock formula of second order, whatever the Jacobian;
- a pushed-to-the-ceiling stretch is a closed form;
- a layer whose settle is many relaxation times long ends at its rest gap, and costs next to nothing;
- a layer that finds the deflection it found last time, and gets the same settle, ends as it did.
"""

from __future__ import annotations

import functools
import math
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import field, fields, frozen

from vatwright.compiled import kernel, side_by_side
from vatwright.errors import DomainError
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]
    Marks = NDArray[np.bool_]

SMALLEST_TORSION_M4 = 1e-24
"""Anything less counts as this [m4]: about a disc of 1 um radius, smaller than any voxel. An engineering choice."""

_NEAR = 0.2  # |a / x| below which the logarithm is replaced by its series, to keep 13 digits
# r / p in powers of p along that one curve, exact fractions from r^2 dr/dp = p^2 (1 - r) term by term
_INVERSE = (
    1.0, -0.25, -0.0125, 0.0010416666666666667,
    0.0009970238095238096, 0.00037388392857142856, 0.00010106646825396826, 1.8205915178571427e-05,
    -7.481241786487322e-08, -1.8912432166942956e-06, -1.046059231687487e-06, -3.8616599798894374e-07,
    -1.045639308673913e-07, -1.6521367065740802e-08, 2.506403619511445e-09, 3.4428291049962084e-09,
    1.7526592103569773e-09, 6.339844639628928e-10, 1.677783722694827e-10, 2.338971985740311e-11,
)  # fmt: skip
_INVERSE_TO = 0.8  # |p| up to which so many terms leave 1e-13 of r
_FAR = 7.0  # Z above which the descent curve is its asymptotic series (5 terms leave 4e-15 of x)
_LOW = -1000.0  # Z below which it is its other asymptote (leaves 1e-11 of x)
_NODES = 1025  # of the table between; quintic Hermite in asinh Z leaves 1e-12
_UNMOVED = 1e-9  # a layer this close to its commanded thickness leaves the deflection it found; below the results' 1e-8
_RESTED = (
    45.0  # relaxation times after which nothing is left in double precision, with room for the platform's logarithm
)
_STEP_TOLERANCE = 5e-7  # of x, on the fourth-order estimate of one step; the sixth-order result is 1e3 times better
_FINEST_M = 1e-9  # gaps below this count as this in that tolerance, and as closed: a nanometre is no layer
_TOP = math.asinh(_FAR)
_ROW = (math.asinh(_LOW) - _TOP) / (_NODES - 1)  # from one row of the table to the next
_SMOOTH = 60.0  # how often the lag goes into the command where the descent's integration starts
_RUN_IN = 12.0  # and the least length of it, in lags: an error of the start dies away by e with each
_ROUGH_TOLERANCE, _ROUGH_SMOOTH, _ROUGH_RUN_IN = 1e-4, 10.0, 4.0  # the same where few rest gaps share a descent: 1e-5
_APART = (
    0.03  # between the platform's gaps (log) for which descents are followed; those between are some thousandths off
)
_SNUG = 1e-9  # a thickness this much over its limit still meets it: rounding, not resin
_LONGEST_PATH = 32  # nodes kept of one descent: 15 to 25 are common, and what is longer starts again from its last
_MOST_BYTES = 48_000_000  # kept of the descents, and again of the layers, of one stack
_HARDLY_BENT = 0.1  # a gap that its bow slows by less is taken as even, its spring weakened by the mean of that
_HALF_BENT = 0.5  # the power of it that counts: e (1 + 3 e) / 4 at e = 0.67, where layers over a giving film are lit
_FLOW_BEYOND, _BOW_BEYOND = 0.40, 0.52  # how far flow and worst place follow the unevenness beyond a blister's; fitted
_FILM_DONE = 1e-12  # of the gap: nothing is left below it
_FILM_STEP = 0.3  # of ln gap, for Simpson's rule over a giving film: 1e-5 of the gap (measured in the tests)
_SHELF_ROOM = 3  # stacks kept from call to call
_WIDEST_STRIDE = (
    0.125  # of a trial settle: wide strides step over good settles, and what is asked then jumps with the load
)

_TWO_GAMMA = 1.0 - math.sqrt(0.5)  # of the Rosenbrock formula: with this root it is L-stable
_TWO_TOLERANCE = (
    4e-3  # of a gap, on the first-order estimate of one step; the result is some thousandths (measured in the tests)
)
_TWO_HIGH = 3.0  # lengths above the film at which the descent is taken up: the lag is a hundredth of the gap there
_TWO_FIRST = 0.05  # of the gap: the first step of a descent and of a hold
_TWO_WIDEST = 0.7  # of ln gap: no step moves a gap further
_TWO_LONGEST = 1e6  # seconds after which nothing is waited for any more
_TWO_OWN = 0.05  # share of their deflection that pieces spread over all the platform keep to themselves
_TWO_CLOSED = 1e-10  # gap that counts as closed [m]
_TWO_HALVINGS = 20
_TWO_STEPS = 5000  # of one descent or hold: some tens are common


class _Face(NamedTuple):
    """What squeezes: torsion constants of the face and of the bare platform [m4], and the platform's extra gap [m]."""

    torsion: float
    platform: float
    extra: float


class _Press(NamedTuple):
    """What pushes: three times the viscosity [Pa s], the spring [N/m], the force ceiling [N], a film's tension [N/m]."""

    three_mu: float
    stiffness: float
    ceiling: float
    tension: float


class _Film(NamedTuple):
    """A giving film under a layer: spring of film and arm [N/m], log of how much a bow slows the flow, share of the film."""

    stiffness: float
    log_slows: float
    share: float


@kernel
def _face(layer: Floats, held: float) -> _Face:
    """Squeezing part of a layer's row, with what was found printed beyond what was commanded."""
    return _Face(layer[0], layer[1], layer[2] + layer[19] * held)


# --- holding still -------------------------------------------------------------------------------------------------


@kernel
def _span(x: float, lag: float, rest: float) -> float:
    """Integral of 1 / (x^3 (x - rest)) from x to infinity [1/m3]; lag = x - rest, handed in to keep its digits."""
    r = rest / x
    if abs(r) > _NEAR:
        return -(math.log(lag / x) + r * (1.0 + 0.5 * r)) / (rest * rest * rest)
    total = 0.0
    for power in range(18, -1, -1):
        total = total * r + 1.0 / (power + 3.0)
    return total / (x * x * x)


@kernel
def _spans(x: float, lag: float, rest: float, face: _Face) -> float:
    """Time from a wide gap to x under the spring, times k / 3 mu [m]."""
    total = face.torsion * _span(x, lag, rest)
    if face.platform > 0.0:
        total += face.platform * _span(x + face.extra, lag, rest + face.extra)
    return total


@kernel
def _drag(x: float, face: _Face) -> float:
    """Squeeze resistance over 3 mu [m]."""
    total = face.torsion / (x * x * x)
    if face.platform > 0.0:
        y = x + face.extra
        total += face.platform / (y * y * y)
    return total


@kernel
def _push(x: float, face: _Face) -> float:
    """Time from a wide gap to x under a constant force, times force / 3 mu [m2]."""
    total = 0.5 * face.torsion / (x * x)
    if face.platform > 0.0:
        y = x + face.extra
        total += 0.5 * face.platform / (y * y)
    return total


@kernel
def _pushed_to(target: float, face: _Face) -> float:
    """Gap at which `_push` is the target: Newton from a bound below only climbs (it is convex)."""
    x = math.sqrt(0.5 * face.torsion / target)
    if face.platform <= 0.0:
        return x
    x = max(x, math.sqrt(0.5 * face.platform / target) - face.extra)
    for _ in range(60):
        step = (_push(x, face) - target) / _drag(x, face)
        x += step
        if step <= 1e-14 * x:
            break
    return x


@kernel
def _sprung_over_one(target: float, rest: float, torsion: float) -> tuple[float, float]:
    """Gap and lag over one face at which `_spans` is the target; 0 where the face is pressed far below the film."""
    turned = math.pow(3.0 * target / torsion, 1.0 / 3.0)
    p = rest * turned
    if abs(p) <= _INVERSE_TO:
        total = 0.0
        for power in range(len(_INVERSE) - 1, -1, -1):
            total = total * p + _INVERSE[power]
        x = 1.0 / (turned * total)
        return x, x - rest
    if p < 0.0:
        return 0.0, 0.0
    q = p * p * p / 3.0
    v = -q - 1.5  # ln(1 - r), the share of the gap that is lag: its first guess is right for a gap at rest
    v += 2.0 * math.exp(v + math.exp(v))
    for _ in range(20):
        s = math.exp(v)
        step = (v + q + 1.5 - s * (2.0 - 0.5 * s)) / ((1.0 - s) * (1.0 - s))
        step /= 1.0 + step * s / (1.0 - s)
        v -= step
        if abs(step) < 1e-5:  # the next error is of the order of its cube
            break
    s = math.exp(v)
    x = rest / (1.0 - s)
    return x, x * s


@kernel
def _sprung_to(target: float, x: float, lag: float, rest: float, face: _Face) -> tuple[float, float]:
    """Gap and lag at which `_spans` is the target, below the given gap.

    Newton on the logarithms of both, where the curve is nearly straight; the unknown is the lag when the rest gap lies
    above the film, else the gap itself, so neither loses digits. A bracket catches what Newton throws wide.
    """
    if face.platform <= 0.0:
        found = _sprung_over_one(target, rest, face.torsion)
        if found[0] > 0.0:
            return found
    floor, lift = max(rest, 0.0), max(-rest, 0.0)
    alike = face.torsion + face.platform * (x / (x + face.extra)) ** 3
    if rest > 0.0:  # first guess: one face of the same resistance, then its own two asymptotes
        q = target * rest**3 / alike
        left = math.exp(-q - 1.5) if q > 0.5 else max(1.0 - (3.0 * q) ** (1.0 / 3.0) * (1.0 - 0.2 * q), 0.2)
        unknown = min(rest * left / (1.0 - left), lag)
    else:
        unknown = min((alike / (3.0 * target)) ** (1.0 / 3.0), x)
    v, low, high = math.log(max(unknown, 1e-300)), -700.0, math.log(x - floor if rest <= 0.0 else lag)
    for _ in range(80):
        unknown = math.exp(v)
        x, lag = floor + unknown, lift + unknown
        total = _spans(x, lag, rest, face)
        if total < target:
            high = v
        else:
            low = v
        step = math.log(total / target) * total * lag / (_drag(x, face) * unknown)
        if not low <= v + step <= high:
            step = 0.5 * (low + high) - v
        v += step
        if abs(step) < 1e-6:  # the next error is of the order of its square
            break
    unknown = math.exp(v)
    return floor + unknown, lift + unknown


@kernel
def _hold(
    x: float,
    lag: float,
    rest: float,
    settle: float,
    face: _Face,
    press: _Press,
) -> tuple[float, float]:
    """Gap and lag after holding still for the settle, from the given ones: ceiling first, then spring."""
    if settle <= 0.0:
        return x, lag
    if press.stiffness * lag > press.ceiling:
        meeting = rest + press.ceiling / press.stiffness
        pushed = _push(x, face)
        reached = pushed + settle * press.ceiling / press.three_mu
        wanted = _push(meeting, face) if meeting > 0.0 else math.inf
        if reached <= wanted:
            x = _pushed_to(reached, face)
            return x, x - rest
        settle -= (wanted - pushed) * press.three_mu / press.ceiling
        x, lag = meeting, press.ceiling / press.stiffness
    target = _spans(x, lag, rest, face) + settle * press.stiffness / press.three_mu
    return _sprung_to(target, x, lag, rest, face)


@kernel
def _wait(
    x: float,
    lag: float,
    rest: float,
    limit: float,
    face: _Face,
    press: _Press,
) -> float:
    """Time of holding still from the gap x down to the limit [s]; infinite when the limit is not above the rest gap."""
    if x <= limit * (1.0 + _SNUG):
        return 0.0
    if limit <= rest:
        return math.inf
    taken = 0.0
    if press.stiffness * lag > press.ceiling:
        meeting = max(limit, rest + press.ceiling / press.stiffness)
        pushed = _push(meeting, face) - _push(x, face)
        taken = pushed * press.three_mu / press.ceiling
        if meeting <= limit:
            return taken
        x, lag = meeting, press.ceiling / press.stiffness
    end = _spans(limit, limit - rest, rest, face)
    return taken + (end - _spans(x, lag, rest, face)) * press.three_mu / press.stiffness


# --- descending over one face: one curve for all -------------------------------------------------------------------


@kernel
def _far_lag(z: float) -> float:
    """Scaled lag X - Z far out: Z^-3 s(Z^-4), s from s (1 + q s)^3 = 1 - q (3 s + 4 q s') term by term."""
    q = 1.0 / (z * z * z * z)
    return (1.0 + q * (-6.0 + q * (75.0 + q * (-1330.0 + q * (29655.0 - q * 785928.0))))) / (z * z * z)


@kernel
def _slope(t: float, x: float) -> float:
    """Slope of X against t = asinh Z."""
    return (x - math.sinh(t)) * x * x * x * math.cosh(t)


@kernel
def _tabulate() -> Floats:
    """Rows t = asinh Z from far out downwards: ln X, its two derivatives in t, Z, X - Z; 64 Runge-Kutta steps a row."""
    table = np.empty((_NODES, 5))
    x, h = _FAR + _far_lag(_FAR), _ROW / 64
    for row in range(_NODES):
        t = _TOP + row * _ROW
        z, c = math.sinh(t), math.cosh(t)
        lag = x - z
        first = lag * x * x  # d ln X / dZ
        second = (lag * x * x * x - 1.0) * x * x + 2.0 * lag * x * lag * x * x * x
        table[row, 0], table[row, 1] = math.log(x), first * c
        table[row, 2], table[row, 3], table[row, 4] = second * c * c + first * z, z, lag
        for sub in range(64):
            s = t + sub * h
            k1 = _slope(s, x)
            k2 = _slope(s + 0.5 * h, x + 0.5 * h * k1)
            k3 = _slope(s + 0.5 * h, x + 0.5 * h * k2)
            k4 = _slope(s + h, x + h * k3)
            x += h * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0
    return table


@functools.cache
def _curve() -> Floats:
    """Return the table of the descent curve, made once a process (a few milliseconds)."""
    table = _tabulate()
    table.setflags(write=False)
    return table


@kernel
def _low_asymptote(s: float, constant: float) -> float:
    """1 / X^2 at Z = -s: s^2 + 2 ln s + C and the next term, from d(1/X^2)/ds = 2 s + 2 X."""
    inner = 2.0 * math.log(s) + constant
    return s * s + inner + 0.5 * (inner + 1.0) / (s * s)


@kernel
def _scaled(z: float, table: Floats) -> float:
    """Scaled gap X on the descent curve where the scaled command is Z."""
    if z >= _FAR:
        return z + _far_lag(z)
    if z <= _LOW:
        end = math.exp(-2.0 * table[-1, 0])
        constant = end - _LOW * _LOW - 2.0 * math.log(-_LOW)
        return 1.0 / math.sqrt(_low_asymptote(-z, constant))
    gap = _ROW
    place = (math.asinh(z) - _TOP) / gap
    row = min(int(place), _NODES - 2)
    u = place - row
    w = 1.0 - u
    p0, p1, p2 = table[row, 0], table[row, 1] * gap, table[row, 2] * gap * gap
    q0, q1, q2 = table[row + 1, 0], table[row + 1, 1] * gap, table[row + 1, 2] * gap * gap
    left = p0 * (1.0 + 3.0 * u + 6.0 * u * u) + p1 * u * (1.0 + 3.0 * u) + 0.5 * p2 * u * u
    right = q0 * (1.0 + 3.0 * w + 6.0 * w * w) - q1 * w * (1.0 + 3.0 * w) + 0.5 * q2 * w * w
    return math.exp(left * w * w * w + right * u * u * u)


@kernel
def _meets_at(cap: float, table: Floats) -> float:
    """Scaled command Z at which the scaled lag X - Z reaches the cap: table search, then Newton."""
    if cap <= table[0, 4]:
        z = math.pow(cap, -1.0 / 3.0)
        for _ in range(20):
            z *= math.pow(_far_lag(z) / cap, 1.0 / 3.0)
        return z
    if cap >= table[-1, 4]:
        return -cap + 1.0 / cap
    low, high = 0, _NODES - 1
    while high - low > 1:
        mid = (low + high) // 2
        if table[mid, 4] <= cap:
            low = mid
        else:
            high = mid
    z = float(table[high, 3])
    for _ in range(6):
        x = _scaled(z, table)
        step = (x - z - cap) / ((x - z) * x * x * x - 1.0)
        z -= step
        if abs(step) < 1e-13 * (1.0 + abs(z)):
            break
    return z


@kernel
def _arrive_one(rest: float, torsion: float, drive: float, cap: float, table: Floats) -> tuple[float, float]:
    """Gap and lag on arrival over one face; drive = 3 mu V / k, cap = F / k [m]."""
    length = math.sqrt(math.sqrt(torsion * drive))
    z = rest / length
    x = _scaled(z, table)
    lag = _far_lag(z) if z >= _FAR else x - z
    if lag * length > cap:
        meeting = length * _meets_at(cap / length, table)
        return _pushed_down(meeting, rest, _Face(torsion, 0.0, 0.0), drive, cap)
    return length * x, length * lag


@kernel
def _pushed_down(meeting: float, rest: float, face: _Face, drive: float, cap: float) -> tuple[float, float]:
    """Gap and lag on arrival when the lag met the cap at the command `meeting`; it only grows from there."""
    reached = _push(meeting + cap, face) + (meeting - rest) * cap / drive
    x = _pushed_to(reached, face)
    return x, x - rest


# --- descending over face and platform -----------------------------------------------------------------------------


@kernel
def _jet(z: float, lag: float, face: _Face, drive: float) -> tuple[float, float, float, float]:
    """Three derivatives of the lag as the command goes down, of 1 - lag w with w = 1 / (drive drag), and its pull."""
    i, r = 1.0 / (z + lag), 1.0 / (z + lag + face.extra)
    j, p = drive * face.torsion * i * i * i, drive * face.platform * r * r * r
    w = 1.0 / (j + p)
    rise, bend = 3.0 * (j * i + p * r), 12.0 * (j * i * i + p * r * r)
    w1, w2 = rise * w * w, (2.0 * rise * rise * w - bend) * w * w  # of w along the gap
    one = 1.0 - lag * w
    x1 = one - 1.0
    two = -(one * w + lag * w1 * x1)
    three = -(two * w + 2.0 * one * w1 * x1 + lag * (w2 * x1 * x1 + w1 * two))
    return one, two, three, w + lag * w1


@kernel
def _lag_step(
    z: float, lag: float, jet: tuple[float, float, float, float], h: float, face: _Face, drive: float
) -> tuple[float, tuple[float, float, float, float], float]:
    """Lag, its jet and an error estimate after the command went down by h.

    Hermite's two-point formula of sixth order, stable at any h; the estimate is its distance to the fourth-order one.
    """
    one, two, three, _ = jet
    least, most = max(lag, h - z + 0.2 * (z + lag)), lag + h
    new = min(max(lag + h * (one + h * (0.5 * two + h * three / 6.0)), least), most)
    end = jet
    for _ in range(12):
        end = _jet(z - h, new, face, drive)
        miss = (
            new - lag - 0.5 * h * (one + end[0]) - 0.1 * h * h * (two - end[1]) - h * h * h * (three + end[2]) / 120.0
        )  # fmt: skip
        g = h * end[3]
        change = miss / (1.0 + g * (0.5 + g * (0.1 + g / 120.0)))
        new = min(max(new - change, least), most)
        if abs(change) <= 1e-12 * (z - h + new) + 1e-15 * new:  # no finer than the lag itself is held
            return new, end, h * h * abs((two - end[1]) / 60.0 + h * (three + end[2]) / 120.0)
    return new, end, math.inf


@kernel
def _following(z: float, face: _Face, drive: float) -> float:
    """Lag where it follows the speed, from lag (1 - d lag / d gap) = drive drag, three rounds from the speed alone."""
    lag = drive * _drag(z, face)
    for _ in range(3):
        i, r = 1.0 / (z + lag), 1.0 / (z + lag + face.extra)
        j, p = drive * face.torsion * i * i * i, drive * face.platform * r * r * r
        first, second = -3.0 * (j * i + p * r), 12.0 * (j * i * i + p * r * r)
        inner = 1.0 - first
        lag = (j + p) / (1.0 - first / inner - (j + p) * second / (inner * inner))
    return lag


@kernel
def _path_start(top: float, rough: bool, face: _Face, drive: float, cap: float, nodes: Floats, state: Floats) -> None:
    """Lay the first node of a descent, high enough for every rest gap up to `top`."""
    z = max(top, 2.5 * math.sqrt(math.sqrt(face.torsion * drive)))
    follow = drive * _drag(z, face)
    smooth, run_in = (_ROUGH_SMOOTH, _ROUGH_RUN_IN) if rough else (_SMOOTH, _RUN_IN)
    while follow > z / smooth or follow > 0.5 * cap:
        z *= 1.1
        follow = drive * _drag(z, face)
    z = max(z, top + run_in * follow)
    lag = _following(z, face, drive)
    one, two, three, _ = _jet(z, lag, face, drive)
    nodes[0, 0], nodes[0, 1], nodes[0, 2], nodes[0, 3], nodes[0, 4] = z, lag, one, two, three
    state[0], state[1], state[2], state[3] = 1.0, 4.0 * lag, -math.inf, -math.inf
    state[4], state[5] = face.extra, _ROUGH_TOLERANCE if rough else _STEP_TOLERANCE


@kernel
def _path_on(rest: float, face: _Face, drive: float, cap: float, nodes: Floats, state: Floats) -> None:
    """Follow a descent down to the command `rest`, or to where the lag meets the cap or the gap is as good as closed."""
    last = int(state[0]) - 1
    z, lag, h = nodes[last, 0], nodes[last, 1], state[1]
    jet = _jet(z, lag, face, drive)
    while z > rest:
        new, end, error = _lag_step(z, lag, jet, h, face, drive)
        scale = state[5] * max(z - h + new, _FINEST_M)
        if error <= scale:
            met = new > cap
            if met:
                for _ in range(30):  # Newton on the step's length, to where the lag meets the cap
                    h -= (new - cap) / end[0]
                    new, end, error = _lag_step(z, lag, jet, h, face, drive)
                    if abs(new - cap) <= 1e-13 * cap:
                        break
            z, lag, jet = z - h, new, end
            last += 1
            if last == nodes.shape[0]:
                nodes[0] = nodes[last - 1]
                last = 1
            nodes[last, 0], nodes[last, 1], nodes[last, 2], nodes[last, 3], nodes[last, 4] = (
                z,
                lag,
                end[0],
                end[1],
                end[2],
            )
            if met:
                state[2] = z
                break
            if z + lag < _FINEST_M:
                state[3] = z
                break
        h *= min(max(0.8 * (scale / max(error, 1e-4 * scale)) ** 0.2, 0.2), 4.0)
    state[0], state[1] = last + 1.0, h


@kernel
def _path_at(rest: float, nodes: Floats, count: int) -> float:
    """Lag where the command is `rest`, between two nodes: the one polynomial with their values and derivatives."""
    low, high = 0, count - 1
    while high - low > 1:
        middle = (low + high) // 2
        if nodes[middle, 0] > rest:
            low = middle
        else:
            high = middle
    h = nodes[low, 0] - nodes[high, 0]
    u = (nodes[low, 0] - rest) / h
    w = 1.0 - u
    p1, p2, p3 = nodes[low, 2] * h, nodes[low, 3] * h * h / 2.0, nodes[low, 4] * h * h * h / 6.0
    q1, q2, q3 = nodes[high, 2] * h, nodes[high, 3] * h * h / 2.0, nodes[high, 4] * h * h * h / 6.0
    above = nodes[low, 1] * (1.0 + u * (4.0 + u * (10.0 + 20.0 * u)))
    above += u * (p1 * (1.0 + u * (4.0 + 10.0 * u)) + u * (p2 * (1.0 + 4.0 * u) + u * p3))
    below = nodes[high, 1] * (1.0 + w * (4.0 + w * (10.0 + 20.0 * w)))
    below -= w * (q1 * (1.0 + w * (4.0 + 10.0 * w)) - w * (q2 * (1.0 + 4.0 * w) - w * q3))
    lag: float = above * w * w * w * w + below * u * u * u * u
    return lag


@kernel
def _closed(node: Floats, rest: float, face: _Face, drive: float, cap: float) -> tuple[float, float]:
    """Gap and lag on arrival below a node where the gap is closed to a nanometre: the lag is the command, turned round."""
    sprung = min(-rest, cap)
    reached = _push(node[0] + node[1], face) + (sprung * sprung - node[1] * node[1]) / (2.0 * drive)
    x = _pushed_to(reached + (-rest - sprung) * cap / drive if sprung == cap else reached, face)
    return x, x - rest


@kernel
def _arrive_two(
    rest: float, top: float, rough: bool, face: _Face, drive: float, cap: float, nodes: Floats, state: Floats
) -> tuple[float, float]:
    """Gap and lag on arrival over face and platform, where the rest gap is `top` at most, followed more roughly or not."""
    if state[0] == 0.0 or state[4] != face.extra or rest > nodes[0, 0]:
        _path_start(top, rough, face, drive, cap, nodes, state)
    if rest < nodes[int(state[0]) - 1, 0] and max(state[2], state[3]) == -math.inf:
        _path_on(rest, face, drive, cap, nodes, state)
    if rest < state[2]:
        return _pushed_down(state[2], rest, face, drive, cap)
    if rest < state[3]:
        return _closed(nodes[int(state[0]) - 1], rest, face, drive, cap)
    lag = _path_at(rest, nodes, int(state[0]))
    return rest + lag, lag


@kernel
def _arrive_beside(
    rest: float, top: float, face: _Face, drive: float, cap: float, nodes: Floats, state: Floats
) -> tuple[float, float]:
    """Gap and lag on arrival where the platform's gap goes with what was found: each rest gap has a descent of its own.

    Followed for the nearest of a few platform's gaps, and from there to first order: over one face the lag is
    L g(rest / L) with L ~ drag^(1/4), so a little more drag changes it by a power that the slope of the descent tells.
    """
    near = _Face(face.torsion, face.platform, math.exp(_APART * round(math.log(face.extra) / _APART)))
    x, lag = _arrive_two(rest, top, True, near, drive, cap, nodes, state)
    if rest < state[2]:
        return _pushed_down(state[2], rest, face, drive, cap)
    if rest < state[3]:
        return x, lag
    drag = _drag(x, near)
    power = min(max(0.25 * (1.0 + rest / lag * (1.0 - lag / (drive * drag))), 0.0), 1.0)
    more = math.log(_drag(x, face) / drag)
    if rest > 0.0:
        lag *= math.exp(power * more)
        return rest + lag, lag
    x *= math.exp(power * more * lag / x)
    return x, x - rest


# --- over a film that gives ------------------------------------------------------------------------------------------


@kernel
def _film(layer: Floats, press: _Press) -> _Film:
    """Film and arm as one spring; the arm gives evenly, so only the film's share of the give bends the gap."""
    own = layer[5] * press.tension
    share = press.stiffness / (press.stiffness + layer[7] * own)
    return _Film(own * share, math.log1p(layer[6] * share), share)


@kernel
def _rest_gap(layer: Floats, held: float, press: _Press) -> float:
    """Gap at which nothing pushes: the thickness commanded less what the layer before left, as far as this face feels it."""
    if layer[5] <= 0.0:
        return float(layer[3] - held)
    return float(layer[3] - held * (1.0 + (layer[8] - 1.0) * _film(layer, press).share))


@kernel
def _as_spring(layer: Floats, press: _Press) -> _Press:
    """What pushes, where a spring does: the arm over glass, and film and arm where the gap stays nearly even."""
    if layer[5] <= 0.0:
        return press
    film = _film(layer, press)
    return _Press(press.three_mu, film.stiffness * math.exp(-_HALF_BENT * film.log_slows), math.inf, 0.0)


@kernel
def _bends(layer: Floats) -> bool:
    """Whether a giving film bends the gap enough to follow it step by step."""
    return bool(layer[5] > 0.0 and (layer[6] > _HARDLY_BENT or layer[9] != 0.0))


@kernel
def _near(layer: Floats) -> bool:
    """Whether the bare platform presses on a giving film beside the layer."""
    return bool(layer[5] > 0.0 and layer[1] > 0.0)


@kernel
def _two(layer: Floats, held: float, press: _Press) -> _TwoFaces:
    """Pieces and bare platform over one film, on one arm."""
    arm, tension = 1.0 / press.stiffness, press.tension
    bare = 1.0 / (layer[13] * layer[15] * tension)
    other = layer[16] * bare
    own = max(1.0 / (layer[5] * layer[7] * tension), _least_own(other, bare))
    stiff, cross, bare_stiff = _joined_stiffness(own + arm, other + arm, bare + arm)
    share = own / (own + arm)
    return _TwoFaces(
        drag=press.three_mu * layer[0] * layer[7],
        bare_drag=press.three_mu * layer[1] * layer[15],
        stiff=stiff,
        cross=cross,
        bare_stiff=bare_stiff,
        own=own,
        other=other,
        bends=math.log1p(layer[6] * share),
        bare_bends=math.log1p(layer[14] * bare / (bare + arm)),
        found=held * (1.0 + (layer[8] - 1.0) * share),
        level=layer[9] * held * share,
        printed=layer[2],
        layer=layer[3],
        worst=layer[10] - 1.0,
        rises=(layer[17] - 1.0) * other / (other + arm),
        falls=(layer[18] - 1.0) * other / (other + arm),
    )


@kernel
def _level(layer: Floats, held: float, press: _Press) -> float:
    """Height that an evenly bowed film would have to be commanded to for the gap to be as uneven as it is."""
    if layer[5] <= 0.0:
        return float(layer[3])
    return float(layer[3] - layer[9] * held * _film(layer, press).share)


@kernel
def _bent(x: float, level: float, film: _Film) -> float:
    """By how much the flow is slower than under an even gap: a gap wide in its middle has narrow edges."""
    uneven = 1.0 - level / x
    if uneven <= 0.0:
        return 1.0
    if uneven > 1.0:
        uneven = 1.0 + _FLOW_BEYOND * (uneven - 1.0)
    return math.exp(film.log_slows * uneven * (0.25 + 0.75 * uneven))


@kernel
def _worst(x: float, level: float, layer: Floats, press: _Press) -> float:
    """Gap at the worst place under a layer's outlines."""
    if layer[5] <= 0.0:
        return x
    uneven = 1.0 - level / x
    if uneven <= 0.0:
        return x
    late = max(1.0 - uneven, 0.0)
    most = layer[10] + (layer[11] - layer[10]) * 0.5 * late * (1.0 + late)
    if uneven > 1.0:
        uneven = 1.0 + _BOW_BEYOND * (uneven - 1.0)
    more: float = (most - 1.0) * _film(layer, press).share * (uneven + layer[12])
    return x * (1.0 + more)


@kernel
def _mean_at(limit: float, level: float, layer: Floats, press: _Press) -> float:
    """Mean gap at which the worst place is at a limit: the factor between them changes slowly, so it is taken again."""
    x = limit
    if layer[5] <= 0.0 or not limit < math.inf:
        return x
    for _ in range(60):
        following = limit * x / _worst(x, level, layer, press)
        if abs(following - x) <= _FILM_DONE * x:
            break
        x = following
    return following


@kernel
def _film_arrive(
    rest: float, level: float, speed: float, face: _Face, film: _Film, press: _Press
) -> tuple[float, float]:
    """Gap and lag on arrival: Runge-Kutta in the command, from where the lag follows the speed."""
    drive = press.three_mu * speed / film.stiffness
    length = math.sqrt(math.sqrt((face.torsion + face.platform) * drive))
    for _ in range(12):  # where the lag is as large as the gap
        length = math.sqrt(math.sqrt(drive * _drag(length, face) * length * length * length))
    if rest >= 2.5 * length:
        lag = _following(rest, face, drive)
        return rest + lag, lag
    ahead = max(2.5 * length - rest, 0.0)
    lag = _following(rest + ahead, face, drive)
    while ahead > 0.0:
        x = rest + ahead + lag
        stiff = (1.0 + 3.0 * lag / x) / (drive * _drag(x, face))
        h = min(ahead, 0.2 * length + 0.1 * max(lag - length, 0.0))
        if stiff * min(h, 0.03 * length) > 1.2:
            ahead -= h
            lag = _followed_lag(rest + ahead, lag, level + ahead, h, drive, face, film)
            continue
        h = min(h, 1.2 / stiff)
        k1 = _lag_slope(rest + ahead, lag, level + ahead, drive, face, film)
        k2 = _lag_slope(rest + ahead - 0.5 * h, lag + 0.5 * h * k1, level + ahead - 0.5 * h, drive, face, film)
        k3 = _lag_slope(rest + ahead - 0.5 * h, lag + 0.5 * h * k2, level + ahead - 0.5 * h, drive, face, film)
        k4 = _lag_slope(rest + ahead - h, lag + h * k3, level + ahead - h, drive, face, film)
        lag += h * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0
        ahead -= h
    return rest + lag, lag


@kernel
def _followed_lag(z: float, lag: float, level: float, h: float, drive: float, face: _Face, film: _Film) -> float:
    """Lag a step h further down, by the implicit Euler rule: the face is small and keeps up with the command."""
    low, high = max(-z, 0.0), lag + h
    for _ in range(60):
        middle = 0.5 * (low + high)
        if middle - lag - h * _lag_slope(z, middle, level, drive, face, film) > 0.0:
            high = middle
        else:
            low = middle
        if high - low <= _SNUG * (z + high):
            break
    return 0.5 * (low + high)


@kernel
def _lag_slope(z: float, lag: float, level: float, drive: float, face: _Face, film: _Film) -> float:
    """How the lag grows as the command goes down."""
    x = z + lag
    return 1.0 - lag / (drive * _drag(x, face) * _bent(x, level, film))


@kernel
def _film_pace(over: float, floor: float, rest: float, level: float, face: _Face, film: _Film) -> float:
    """Time per step of ln(gap above the floor), times spring / 3 mu [m-2]."""
    x = floor + over
    return _drag(x, face) * _bent(x, level, film) * over / (x - rest)


@kernel
def _film_wait(v: float, w: float, floor: float, rest: float, level: float, face: _Face, film: _Film) -> float:
    """Time from a gap exp(v) above the floor to exp(w), times spring / 3 mu [m-2]: Simpson's rule."""
    steps = int((v - w) / _FILM_STEP) + 1
    half = math.exp(-0.5 * (v - w) / steps)
    over, total = math.exp(v), 0.0
    pace = _film_pace(over, floor, rest, level, face, film)
    for _ in range(steps):
        middle = _film_pace(over * half, floor, rest, level, face, film)
        over *= half * half
        end = _film_pace(over, floor, rest, level, face, film)
        total += pace + 4.0 * middle + end
        pace = end
    return total * (v - w) / steps / 6.0


@kernel
def _film_hold(
    x: float, rest: float, level: float, settle: float, face: _Face, film: _Film, press: _Press
) -> tuple[float, float]:
    """Gap and lag after holding still for the settle: Simpson's rule step by step, the last one by its cubic."""
    floor = max(rest, 0.0)
    left = settle * film.stiffness / press.three_mu
    over, half = x - floor, math.exp(-0.5 * _FILM_STEP)
    pace, part = _film_pace(over, floor, rest, level, face, film), 0.0
    while over > _FILM_DONE * x:
        middle = _film_pace(over * half, floor, rest, level, face, film)
        end = _film_pace(over * half * half, floor, rest, level, face, film)
        taken = (pace + 4.0 * middle + end) * _FILM_STEP / 6.0
        if taken >= left:
            part = _share_of_step(left / _FILM_STEP, pace, middle, end)
            break
        left -= taken
        over *= half * half
        pace = end
    over *= math.exp(-part * _FILM_STEP)
    return floor + over, over + floor - rest


@kernel
def _share_of_step(target: float, pace: float, middle: float, end: float) -> float:
    """Share u of a step at which the integral of the parabola through three paces is the target: Newton, all rising."""
    b, c = 4.0 * middle - 3.0 * pace - end, 2.0 * (pace + end) - 4.0 * middle
    u = min(target / pace, 1.0)
    for _ in range(12):
        step = (u * (pace + u * (0.5 * b + u * c / 3.0)) - target) / (pace + u * (b + u * c))
        u -= step
        if abs(step) < 1e-9:
            break
    return min(max(u, 0.0), 1.0)


# --- pieces and bare platform over one film that gives --------------------------------------------------------------


class _TwoFaces(NamedTuple):
    """One layer in one world: what pieces and platform are to resin and film.

    `drag`, `bare_drag`: 3 mu J kappa [N s m2]; `stiff`, `cross`, `bare_stiff`: force on either for deflections [N/m];
    `own`, `other`: deflection under the pieces by a newton on them and on the platform [m/N]; `bends`, `bare_bends`: log
    of how much a blister slows either's flow [-]; `found`: deflection that the pieces found [m]; `level`: how much less
    bent than their own bow it was [m]; `printed`: b [m]; `layer`: commanded thickness [m]; `worst`: bow
    at the worst place over the mean, less 1, by their own force; `rises`, `falls`: the same of the platform's, where it is
    deepest and where their own is [-].
    """

    drag: float
    bare_drag: float
    stiff: float
    cross: float
    bare_stiff: float
    own: float
    other: float
    bends: float
    bare_bends: float
    found: float
    level: float
    printed: float
    layer: float
    worst: float
    rises: float
    falls: float


@kernel
def _least_own(shared: float, bare: float) -> float:
    """The least compliance that pieces can have, where they feel the platform's share of the film [m/N]."""
    return (1.0 + _TWO_OWN) * shared * shared / bare


@kernel
def _joined_stiffness(own: float, shared: float, bare: float) -> tuple[float, float, float]:
    """The inverse of the compliances [[own, shared], [shared, bare]]."""
    det = own * bare - shared * shared
    return bare / det, -shared / det, own / det


@kernel
def _forces(x: float, y: float, z: float, two: _TwoFaces) -> tuple[float, float]:
    """The forces on pieces and bare platform [N] at their gaps and a commanded height [m]."""
    w, v = x - z + two.found, y - z - two.printed
    return two.stiff * w + two.cross * v, two.cross * w + two.bare_stiff * v


@kernel
def _two_step(u: float, v: float, z: float, speed: float, dt: float, two: _TwoFaces) -> tuple[float, float, float]:
    """Logarithms of both gaps after a step, and how far the first-order formula is off."""
    x, y = math.exp(u), math.exp(v)
    f, g = _forces(x, y, z, two)
    a = x * x / (two.drag * _bent(x, z - two.level, _Film(0.0, two.bends, 1.0)))
    b = y * y / (two.bare_drag * _bent(y, z + two.printed, _Film(0.0, two.bare_bends, 1.0)))
    c = _TWO_GAMMA * dt
    j11, j12 = 1.0 + c * a * max(two.stiff * x + 2.0 * f, 0.0), c * a * two.cross * y
    j21, j22 = c * b * two.cross * x, 1.0 + c * b * max(two.bare_stiff * y + 2.0 * g, 0.0)
    det = j11 * j22 - j12 * j21
    drift_u, drift_v = -c * speed * a * (two.stiff + two.cross), -c * speed * b * (two.cross + two.bare_stiff)
    r, s = -a * f + drift_u, -b * g + drift_v
    k1, l1 = (j22 * r - j12 * s) / det, (j11 * s - j21 * r) / det
    xx = math.exp(min(max(u + dt * k1, u - 2.0), u + 2.0))
    yy = math.exp(min(max(v + dt * l1, v - 2.0), v + 2.0))
    low = z - speed * dt
    f, g = _forces(xx, yy, low, two)
    r = -f * xx * xx / (two.drag * _bent(xx, low - two.level, _Film(0.0, two.bends, 1.0))) - 2.0 * k1 - drift_u
    s = (
        -g * yy * yy / (two.bare_drag * _bent(yy, low + two.printed, _Film(0.0, two.bare_bends, 1.0)))
        - 2.0 * l1
        - drift_v
    )
    k2, l2 = (j22 * r - j12 * s) / det, (j11 * s - j21 * r) / det
    error = 0.5 * dt * max(abs(k1 + k2), abs(l1 + l2))
    du, dv = dt * (1.5 * k1 + 0.5 * k2), dt * (1.5 * l1 + 0.5 * l2)
    if not max(abs(du), abs(dv)) < _TWO_WIDEST:
        error = math.inf
    return max(u + du, math.log(_TWO_CLOSED)), v + dv, error


@kernel
def _two_next(dt: float, error: float) -> float:
    """How long to try the next step, or this one again."""
    if not error < math.inf:
        return 0.3 * dt
    return dt * min(max(0.85 * math.sqrt(_TWO_TOLERANCE / max(error, 1e-12)), 0.2), 4.0)


@kernel
def _two_arrive(speed: float, two: _TwoFaces) -> tuple[float, float]:
    """The gaps under pieces and bare platform [m] when the drive has come down to the layer."""
    drag, least = two.drag + two.bare_drag, min(1.0 / two.own, two.bare_stiff)
    length = math.sqrt(math.sqrt(drag * speed / least))
    z = max(two.layer, max(two.found, 0.0) + _TWO_HIGH * length)
    x, y = z - two.found, z + two.printed
    f, g = two.drag * speed / (x * x * x), two.bare_drag * speed / (y * y * y)
    u = math.log(x + two.own * f + two.other * g)
    v = math.log(y + g * two.stiff / (two.stiff * two.bare_stiff - two.cross * two.cross))
    dt = _TWO_FIRST * length / speed
    for _ in range(_TWO_STEPS):
        if z <= two.layer:
            break
        step = min(dt, (z - two.layer) / speed)
        uu, vv, error = _two_step(u, v, z, speed, step, two)
        if error <= _TWO_TOLERANCE:
            u, v, z = uu, vv, z - speed * step
            if step < dt:
                break
        dt = _two_next(step, error)
    return math.exp(u), math.exp(v)


@kernel
def _two_hold(x: float, y: float, settle: float, two: _TwoFaces) -> tuple[float, float]:
    """Return both gaps [m] after holding still for a settle [s]."""
    u, v, t, dt = math.log(x), math.log(y), 0.0, _two_first(x, y, two)
    for _ in range(_TWO_STEPS):
        if t >= settle:
            break
        step = min(dt, settle - t)
        uu, vv, error = _two_step(u, v, two.layer, 0.0, step, two)
        if error <= _TWO_TOLERANCE:
            u, v, t = uu, vv, t + step
            if step < dt:
                break
        dt = _two_next(step, error)
    return math.exp(u), math.exp(v)


@kernel
def _two_first(x: float, y: float, two: _TwoFaces) -> float:
    """A twentieth of the time that the faster of both gaps would take to close."""
    f, g = _forces(x, y, two.layer, two)
    pace = max(abs(f) * x * x / two.drag, abs(g) * y * y / two.bare_drag)
    return _TWO_FIRST / max(pace, 1.0 / _TWO_LONGEST)


@kernel
def _two_worst(x: float, y: float, before: float, two: _TwoFaces) -> tuple[float, float]:
    """The gap at the worst place under the pieces and the bow there by their own force [m].

    `before` is that bow in the layer before: what has grown since is spread like a blister of theirs, the rest like the
    bare platform's, and falls less at the pieces' own worst place than it rises at its own.
    """
    own = two.own * _forces(x, y, two.layer, two)[0]
    grown = own - before
    other = x - two.layer - grown
    return max(x + two.worst * grown + (two.rises if other > 0.0 else two.falls) * other, x), own


@kernel
def _two_wait(x: float, y: float, before: float, limit: float, two: _TwoFaces) -> float:
    """How long to hold still until the worst place is at a limit [s]; infinite where it never is."""
    if _two_worst(x, y, before, two)[0] <= limit:
        return 0.0
    u, v, t, dt = math.log(x), math.log(y), 0.0, _two_first(x, y, two)
    for _ in range(_TWO_STEPS):
        if t >= _TWO_LONGEST:
            break
        uu, vv, error = _two_step(u, v, two.layer, 0.0, dt, two)
        if error <= _TWO_TOLERANCE:
            if _two_worst(math.exp(uu), math.exp(vv), before, two)[0] <= limit:
                return t + _two_share(u, v, before, limit, dt, two)
            u, v, t = uu, vv, t + dt
        dt = _two_next(dt, error)
    return math.inf


@kernel
def _two_share(u: float, v: float, before: float, limit: float, dt: float, two: _TwoFaces) -> float:
    """How much of a step it takes until the worst place is at the limit."""
    low, high = 0.0, dt
    for _ in range(_TWO_HALVINGS):
        middle = 0.5 * (low + high)
        uu, vv, _ = _two_step(u, v, two.layer, 0.0, middle, two)
        if _two_worst(math.exp(uu), math.exp(vv), before, two)[0] <= limit:
            high = middle
        else:
            low = middle
    return high


# --- one layer, one stack ------------------------------------------------------------------------------------------


@kernel
def _rested(rest: float, settle: float, face: _Face, press: _Press) -> bool:
    """Whether nothing but the rest gap is left after the settle, wherever the layer started from."""
    if rest <= 0.0:
        return False
    spare = settle - _RESTED * press.three_mu * _drag(rest, face) / press.stiffness
    if spare <= 0.0:
        return False
    return spare * press.ceiling > press.three_mu * _push(rest + press.ceiling / press.stiffness, face)


class _Kept(NamedTuple):
    """What one sample keeps of the layers it has done: memory of its own, so samples may run side by side."""

    slot: Counts  # (N,) row of `nodes` and `state` for layers with a platform; the last row serves all that have none
    nodes: Floats  # (M, _LONGEST_PATH, 5) command, lag and its three derivatives along a descent
    state: Floats  # (M, 6) nodes so far, next step, command where the lag met the ceiling, where the gap closed, b, tolerance
    done: Floats  # (N, 10) what was found, gap and lag on arrival, settle, and what the layer came to; or (0, 10)


class _Found(NamedTuple):
    """What a layer finds: the deflection, and what of a giving film's the pieces themselves have made [m]."""

    held: float
    own: float


class _Ended(NamedTuple):
    """What a layer came to: thickness, what the next one finds, the gap at the worst place [m], force on the screen [N]."""

    thickness: float
    held: float
    own: float
    worst: float
    force: float


@kernel
def _before(found: _Found, two: _TwoFaces) -> float:
    """What of the deflection found the pieces had made, as far as this layer's outlines feel it."""
    return found.own * two.found / found.held if found.held > 0.0 else 0.0


@kernel
def _arrive(held: float, n: int, layer: Floats, press: _Press, table: Floats, kept: _Kept) -> tuple[float, float]:
    """Gap and lag on arrival at layer n; for the lag the bare platform's gap where it presses on a film beside it."""
    keeps = kept.done.shape[0] > 0
    if keeps and kept.done[n, 0] == held and kept.done[n, 1] > 0.0:
        return kept.done[n, 1], kept.done[n, 2]
    rest, face = _rest_gap(layer, held, press), _face(layer, held)
    spring = _as_spring(layer, press)
    drive, cap = press.three_mu * layer[4] / spring.stiffness, spring.ceiling / spring.stiffness
    if _near(layer):
        x, lag = _two_arrive(layer[4], _two(layer, held, press))
    elif _bends(layer):
        x, lag = _film_arrive(rest, _level(layer, held, press), layer[4], face, _film(layer, press), press)
    elif face.platform > 0.0:
        m = kept.slot[n]
        if m == kept.state.shape[0] - 1:
            kept.state[m, 0] = 0.0
        if layer[19] > 0.0:
            x, lag = _arrive_beside(rest, layer[3], face, drive, cap, kept.nodes[m], kept.state[m])
        else:
            x, lag = _arrive_two(rest, layer[3], False, face, drive, cap, kept.nodes[m], kept.state[m])
    else:
        x, lag = _arrive_one(rest, face.torsion, drive, cap, table)
    if keeps:
        if kept.done[n, 0] != held:
            kept.done[n, 3] = math.nan
        kept.done[n, 0], kept.done[n, 1], kept.done[n, 2] = held, x, lag
    return x, lag


@kernel
def _next(found: _Found, n: int, layer: Floats, settle: float, press: _Press, table: Floats, kept: _Kept) -> _Ended:
    """What layer n comes to, from what it found."""
    keeps, held = kept.done.shape[0] > 0, found.held
    if keeps and kept.done[n, 0] == held and kept.done[n, 3] == settle and kept.done[n, 7] == found.own:
        row = kept.done[n]
        return _Ended(row[4], row[5], row[6], row[8], row[9])
    end = (
        _near_end(found, n, layer, settle, press, table, kept)
        if _near(layer)
        else _end(held, n, layer, settle, press, table, kept)
    )
    if keeps:
        if kept.done[n, 0] != held:
            kept.done[n, 1] = 0.0
        row = kept.done[n]
        row[0], row[3], row[7] = held, settle, found.own
        row[4], row[5], row[6], row[8], row[9] = end.thickness, end.held, end.own, end.worst, end.force
    return end


@kernel
def _end(held: float, n: int, layer: Floats, settle: float, press: _Press, table: Floats, kept: _Kept) -> _Ended:
    """What a layer comes to of which nothing but itself presses on a giving film, or that lies over glass."""
    rest, face = _rest_gap(layer, held, press), _face(layer, held)
    x, left = rest, 0.0
    spring = _as_spring(layer, press)
    if not _rested(rest, settle, face, spring):
        begun, lag = _arrive(held, n, layer, press, table, kept)
        if not _bends(layer):
            x, left = _hold(begun, lag, rest, settle, face, spring)
        elif settle > 0.0:
            x, left = _film_hold(begun, rest, _level(layer, held, press), settle, face, _film(layer, press), press)
        else:
            x, left = begun, lag
    worst = _worst(x, _level(layer, held, press), layer, press)
    return _Ended(x, left, left, worst, min(_spring(layer, press) * left, press.ceiling))


@kernel
def _near_end(found: _Found, n: int, layer: Floats, settle: float, press: _Press, table: Floats, kept: _Kept) -> _Ended:
    """What a layer comes to beside which the bare platform presses on the film."""
    two = _two(layer, found.held, press)
    x, y = _arrive(found.held, n, layer, press, table, kept)
    x, y = _two_hold(x, y, settle, two)
    worst, own = _two_worst(x, y, _before(found, two), two)
    return _Ended(x, x - two.layer + two.found, own, worst, _push_on(layer, found, x, y, press))


@kernel
def _asked(layer: Floats, found: _Found, x: float, lag: float, limit: float, press: _Press) -> float:
    """Settle a layer asks to come from its gap on arrival down to a limit at its worst place [s]."""
    if _near(layer):
        two = _two(layer, found.held, press)
        return _two_wait(x, lag, _before(found, two), limit * (1.0 + _SNUG), two)
    rest, level = _rest_gap(layer, found.held, press), _level(layer, found.held, press)
    limit = _mean_at(limit, level, layer, press)
    if not _bends(layer):
        return _wait(x, lag, rest, limit, _face(layer, found.held), _as_spring(layer, press))
    if x <= limit * (1.0 + _SNUG):
        return 0.0
    if limit <= rest:
        return math.inf
    film, floor = _film(layer, press), max(rest, 0.0)
    taken = _film_wait(math.log(x - floor), math.log(limit - floor), floor, rest, level, _face(layer, found.held), film)
    return taken * press.three_mu / film.stiffness


@kernel
def _spring(layer: Floats, press: _Press) -> float:
    """Force per lag [N/m]: a bowed film carries more than the spring that its flow feels."""
    if layer[5] <= 0.0:
        return press.stiffness
    return float(_film(layer, press).stiffness * layer[7])


@kernel
def _push_on(layer: Floats, found: _Found, x: float, lag: float, press: _Press) -> float:
    """Force on the screen [N] at a gap and lag, as :func:`_arrive` has them."""
    if _near(layer):
        two = _two(layer, found.held, press)
        f, g = _forces(x, lag, two.layer, two)
        return f + g
    return min(_spring(layer, press) * lag, press.ceiling)


@kernel
def _repeats(layers: Floats, alike: Marks, n: int, x: float) -> bool:
    """Whether a layer equals the one before, which came out (x) just as commanded: then nothing changes any more."""
    return bool(alike[n]) and abs(x - layers[n, 3]) <= _UNMOVED * layers[n, 3]


@kernel
def _run(
    layers: Floats,
    alike: Marks,
    settle: Floats,
    press: _Press,
    start: float,
    forces: bool,
    table: Floats,
    kept: _Kept,
    out: Floats,
) -> None:
    """Fill out (6, N): thickness, deflection, gap at the worst place, force, and if wanted gap and force on arrival."""
    found = _Found(start, 0.0)
    for n in range(layers.shape[0]):
        row = layers[n]
        if n > 0 and settle[n] == settle[n - 1] and _repeats(layers, alike, n, out[0, n - 1]):
            out[:, n] = out[:, n - 1]
            continue
        if forces:
            x, lag = _arrive(found.held, n, row, press, table, kept)
            out[4, n], out[5, n] = x, _push_on(row, found, x, lag, press)
        end = _next(found, n, row, settle[n], press, table, kept)
        found = _Found(end.held, end.own)
        out[0, n], out[1, n], out[2, n], out[3, n] = end.thickness, end.held, end.worst, end.force


@kernel
def _run_some(
    begin: int,
    end: int,
    layers: Floats,
    alike: Marks,
    settle: Floats,
    press: Floats,
    start: float,
    forces: bool,
    table: Floats,
    kept: _Kept,
    out: Floats,
) -> None:
    """Fill out (S, 6, N) for the samples [begin, end), a sample a row."""
    for s in range(begin, end):
        mine = _Kept(kept.slot, kept.nodes[s], kept.state[s], kept.done[s])
        one = _Press(press[s, 0], press[s, 1], press[s, 2], press[s, 3])
        _run(layers, alike, settle[s], one, start, forces, table, mine, out[s])


@kernel
def _demands(
    layers: Floats,
    alike: Marks,
    settle: Floats,
    limit: Floats,
    press: _Press,
    start: float,
    obeyed: bool,
    table: Floats,
    kept: _Kept,
    need: Floats,
) -> None:
    """Fill need (N,) with the least settles [s] in a run of the given settles, or of those and the demands so far."""
    found, done = _Found(start, 0.0), 0.0
    for n in range(layers.shape[0]):
        row = layers[n]
        same = n > 0 and settle[n] == settle[n - 1] and limit[n] == limit[n - 1]
        if same and _repeats(layers, alike, n, done):
            need[n] = need[n - 1]
            continue
        x, lag = _arrive(found.held, n, row, press, table, kept)
        need[n] = _asked(row, found, x, lag, limit[n], press)
        taken = max(settle[n], need[n]) if obeyed and need[n] < math.inf else settle[n]
        end = _next(found, n, row, taken, press, table, kept)
        done, found = end.thickness, _Found(end.held, end.own)


@kernel
def _demands_some(
    begin: int,
    end: int,
    layers: Floats,
    alike: Marks,
    settle: Floats,
    limit: Floats,
    press: Floats,
    start: float,
    obeyed: bool,
    table: Floats,
    kept: _Kept,
    out: Floats,
) -> None:
    """Fill out (S, N) for the samples [begin, end)."""
    for s in range(begin, end):
        mine = _Kept(kept.slot, kept.nodes[s], kept.state[s], kept.done[s])
        one = _Press(press[s, 0], press[s, 1], press[s, 2], press[s, 3])
        _demands(layers, alike, settle[s], limit[s], one, start, obeyed, table, mine, out[s])


# --- least settle over a stretch of layers -------------------------------------------------------------------------


@kernel
def _judge(
    settle: float,
    found: _Found,
    first: int,
    last: int,
    layers: Floats,
    alike: Marks,
    hard: Floats,
    factor: float,
    low: Floats,
    high: Floats,
    allowed: int,
    press: _Press,
    table: Floats,
    kept: _Kept,
) -> float:
    """0: the settle will do; else what it must at least be, -1 where that is not known: too many layers leave the band.

    The first layer above its hard limit has to come down to it; of as many above the band as may not all be, at least the one
    that asks least.
    """
    outside, x, worst, least = 0, 0.0, 0.0, math.inf
    for n in range(first, last):
        row = layers[n]
        limit = hard[n] * factor
        before = found
        if n == first or not _repeats(layers, alike, n, x):
            end = _next(found, n, row, settle, press, table, kept)
            x, worst, found = end.thickness, end.worst, _Found(end.held, end.own)
        if worst > limit * (1.0 + _SNUG):
            begun, lag = _arrive(before.held, n, row, press, table, kept)
            return _asked(row, before, begun, lag, limit, press)
        thick = x > high[n] * (1.0 + _SNUG)
        if thick or x < low[n] * (1.0 - _SNUG):
            outside += 1
            if thick and row[5] <= 0.0 and least > 0.0:
                begun, lag = _arrive(before.held, n, row, press, table, kept)
                least = min(least, _asked(row, before, begun, lag, high[n], press))
            else:  # more settle does not thicken a layer; and a band is of the mean, what a layer asks of its worst place
                least = -1.0
            if outside > allowed:
                return least
    return 0.0


@kernel
def _least(
    found: _Found,
    first: int,
    last: int,
    layers: Floats,
    alike: Marks,
    hard: Floats,
    factor: float,
    low: Floats,
    high: Floats,
    allowed: int,
    longest: float,
    precision: float,
    press: _Press,
    table: Floats,
    kept: _Kept,
) -> float:
    """Least uniform settle of the layers [first, last), or infinity.

    A layer's demand rises with the settle of those before it (they leave less deflection, so less force), so the first
    demand missed is a bound below and is tried next: it never jumps over the answer. Where that creeps, or the band is
    what fails, the trial grows by growing shares and the last stretch is halved.
    """
    trial, bad, share = 0.0, 0.0, precision
    for turn in range(200):
        need = _judge(
            trial, found, first, last, layers, alike, hard, factor, low, high, allowed, press, table, kept
        )  # fmt: skip
        if need == 0.0:
            break
        if trial >= longest or need > longest:
            return math.inf
        bad = max(trial, need * (1.0 - _SNUG))
        if turn > 3 or need < 0.0:
            share = min(2.0 * share, _WIDEST_STRIDE)
        trial = min(max(need, trial * (1.0 + share), precision * precision * longest), longest)
    good = trial
    while good - bad > precision * good and good > precision * precision * longest:
        middle = 0.5 * (good + bad)
        need = _judge(
            middle, found, first, last, layers, alike, hard, factor, low, high, allowed, press, table, kept
        )  # fmt: skip
        if need == 0.0:
            good = middle
        else:
            bad = middle
    return good


@kernel
def _least_some(
    begin: int,
    end: int,
    layers: Floats,
    alike: Marks,
    settle: Floats,
    first: int,
    last: int,
    hard: Floats,
    factor: Floats,
    low: Floats,
    high: Floats,
    allowed: int,
    longest: float,
    precision: float,
    press: Floats,
    start: float,
    table: Floats,
    kept: _Kept,
    out: Floats,
) -> None:
    """Fill out (S,) for the samples [begin, end): the layers before the stretch are run once, then the search."""
    for s in range(begin, end):
        # Trials differ in every layer: what the layers came to is not worth keeping, the descents are.
        mine = _Kept(kept.slot, kept.nodes[s], kept.state[s], kept.done[s, :0])
        one = _Press(press[s, 0], press[s, 1], press[s, 2], press[s, 3])
        found = _Found(start, 0.0)
        for n in range(first):
            came = _next(found, n, layers[n], settle[s, n], one, table, mine)
            found = _Found(came.held, came.own)
        out[s] = _least(
            found, first, last, layers, alike, hard[s], factor[s], low[s], high[s], allowed, longest, precision,
            one, table, mine,
        )  # fmt: skip


# --- what others call ----------------------------------------------------------------------------------------------


@frozen(kw_only=True, eq=False)
class GivingFaces:
    """How a film that nothing firm backs bows under each layer; :func:`vatwright.geometry.film_law.film_law` works it out.

    Parameters
    ----------
    stiffness : (N,) array_like
        Stiffness with which an even gap settles in the end, over the film's tension; 0 for a layer on firm glass [-].
    slows : (N,) array_like
        By how much a gap as bowed as a blister settles slower than an even one [-].
    force : (N,) array_like
        Force on the bowed film over that of the stiffness at the mean deflection [-].
    handed : (N,) array_like
        Mean deflection under this layer's outlines over that under the outlines of the layer before, of the film that
        layer left [-].
    uneven : (N,) array_like
        How much less bent than a film under this layer's own outlines that film is, over its mean deflection; below 0
        where it is more bent [-].
    worst_early, worst_late : (N,) array_like
        Deflection at the worst place over the mean, bowed as a blister and when nearly even [-].
    lasting : (N,) array_like
        What is left of the unevenness that a change of outlines some layers before has made, over the mean gap [-].
    bare_stiffness, bare_slows, bare_force : (N,) array_like
        The first three for the bare platform beside the layer; 0 where it presses no more [-].
    under : (N,) array_like
        Mean deflection under the layer's outlines over that under the platform, where the platform presses [-].
    worst_under, deepest_under : (N,) array_like
        Then the deflection at the worst place under the outlines, and where they bow the film most themselves, over the
        mean under them [-].
    """

    stiffness: Floats
    slows: Floats
    force: Floats
    handed: Floats
    uneven: Floats
    worst_early: Floats
    worst_late: Floats
    lasting: Floats
    bare_stiffness: Floats = field(factory=lambda: np.zeros(1))
    bare_slows: Floats = field(factory=lambda: np.zeros(1))
    bare_force: Floats = field(factory=lambda: np.zeros(1))
    under: Floats = field(factory=lambda: np.zeros(1))
    worst_under: Floats = field(factory=lambda: np.ones(1))
    deepest_under: Floats = field(factory=lambda: np.ones(1))


@frozen(kw_only=True, eq=False)
class StackResult:
    """What one run, or many samples of it, comes to; shape (N,) each, or (S, N).

    Parameters
    ----------
    thickness_m : ndarray
        Gap under the cured face when the light comes on [m].
    deflection_m : ndarray
        How far the platform is then still held above its commanded height [m].
    worst_m : ndarray
        Gap at the worst place under the face, the thickness itself over firm glass [m].
    arrival_gap_m : ndarray
        Gap when the drive has arrived, before the settle [m]; of length 0 when forces were not asked for.
    peak_force_n : ndarray
        Force on the screen at that moment, the largest of the layer [N]; likewise.
    end_force_n : ndarray
        Force on the screen when the light comes on [N].
    """

    thickness_m: Floats
    deflection_m: Floats
    worst_m: Floats
    arrival_gap_m: Floats
    peak_force_n: Floats
    end_force_n: Floats


def run_stack(
    *,
    torsion_m4: ArrayLike,
    platform_torsion_m4: ArrayLike,
    platform_extra_gap_m: ArrayLike,
    layer_m: ArrayLike,
    settle_s: ArrayLike,
    descent_m_s: ArrayLike,
    viscosity_pa_s: float,
    stiffness_n_m: float,
    force_ceiling_n: float,
    platform_follows: ArrayLike = 0.0,
    giving: GivingFaces | None = None,
    tension_n_m: float = 0.0,
    start_deflection_m: float = 0.0,
) -> StackResult:
    r"""Return thickness, deflection and screen force of every layer of a run.

    .. math:: \dot x = -\frac{\min(k (x - z), F)}{3 \mu\,[J_n / x^3 + P_n / (x + b_n + c_n d_{n-1})^3]},
        \qquad a_n = h_n - d_{n-1}, \qquad d_n = x_n - a_n

    Parameters
    ----------
    torsion_m4 : (N,) array_like
        Torsion constant J of the layer's own face [m4]; below 1e-24 counts as 1e-24.
    platform_torsion_m4 : (N,) array_like
        Torsion constant P of the bare platform around it [m4]; 0 for the face alone. Here and below a single number
        serves all layers.
    platform_extra_gap_m : (N,) array_like
        How much wider the gap under the bare platform is by what was commanded so far, b [m].
    layer_m : (N,) array_like
        Commanded thickness h [m].
    settle_s : (N,) array_like
        Dark wait between arriving and light [s].
    descent_m_s : (N,) array_like
        Speed V of the last stretch of the return [m/s].
    viscosity_pa_s : float
        Viscosity of the resin at its temperature [Pa s].
    stiffness_n_m : float
        Arm, platform and glass in series, k [N/m].
    force_ceiling_n : float
        What the drive can push at most, F [N]; may be infinite.
    platform_follows : (N,) array_like
        Share c of the deflection found that widens the gap under the bare platform too: 1 where the print that came out
        taller than commanded holds it off as it is, 0 where it is as far off as was commanded [-].  Over a giving film the bare
        platform has a gap of its own and this is not looked at.
    giving : GivingFaces or None
        How the film bows under each layer, where nothing firm backs it.
    tension_n_m : float
        Tension T of a film that gives [N/m].
    start_deflection_m : float
        Deflection carried into the first layer [m].

    Returns
    -------
    StackResult
        Arrays of shape (N,) [m, N].

    Raises
    ------
    DomainError
        When a value lies outside its range or an array has another length.

    Notes
    -----
    Holds for a rigid face parallel to a film that is pressed on its glass, a Newtonian resin, gaps small against the
    face, and a descent that starts where the resin does not yet resist.
    The results carry about 1e-8 of the gap; where `platform_follows`, 5e-3 with no settle and 1e-4 after a long one
    (measured in the tests).
    With `giving` the mean gap obeys the same law with the film's stiffness K over a factor C of how uneven the gap is,
    dx/dt = -K (x - a) x^3 / (3 mu J C), ln C = e (1 + 3 e) / 4 ln(1 + slows), e = 1 - z / x within 0 and 1, with
    1 + 0.40 (e - 1) for an e beyond 1, which a film bowed by other outlines makes.  The worst place has the gap
    x [1 + (q - 1) e], q between `worst_late` and `worst_early`, with 1 + 0.52 (e - 1) beyond 1.  The arm gives evenly and so
    shares in all of them.  What lies between the ends is fitted to the coupled equations (tests/geometry/test_film_law.py
    has how near); where `slows` is below 0.1 the gap is taken as even for the flow, C = (1 + slows)^(1/2).
    The force ceiling is not looked at: a film gives long before.
    Where the rest gap is below 0 the thickness tends to 0 with a long settle: the face is pushed onto the film.

    Examples
    --------
    A wide section on a narrow one: the first wide layers come out too thick.

    >>> run = run_stack(
    ...     torsion_m4=[1e-10, 1e-6, 1e-6], platform_torsion_m4=0.0, platform_extra_gap_m=0.0, layer_m=50e-6,
    ...     settle_s=2.0, descent_m_s=1e-3, viscosity_pa_s=0.25, stiffness_n_m=2.5e5, force_ceiling_n=300.0)
    >>> (run.thickness_m * 1e6).round(2).tolist()
    [50.0, 92.96, 79.18]

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13. [reynolds:1886]
    Stefan, Sitzungsber. Akad. Wiss. Wien 69 (1874) 713-735, the disc. [stefan:1874]
    Hairer and Wanner, Solving ODEs II (1996), section V.8: two-point formulas on the Pade diagonal. [hairer:1996]
    """
    many = run_stacks(
        torsion_m4=torsion_m4,
        platform_torsion_m4=platform_torsion_m4,
        platform_extra_gap_m=platform_extra_gap_m,
        layer_m=layer_m,
        settle_s=settle_s,
        descent_m_s=descent_m_s,
        viscosity_pa_s=viscosity_pa_s,
        stiffness_n_m=stiffness_n_m,
        force_ceiling_n=force_ceiling_n,
        platform_follows=platform_follows,
        giving=giving,
        tension_n_m=tension_n_m,
        start_deflection_m=start_deflection_m,
        forces=True,
    )
    return StackResult(
        thickness_m=many.thickness_m[0],
        deflection_m=many.deflection_m[0],
        worst_m=many.worst_m[0],
        arrival_gap_m=many.arrival_gap_m[0],
        peak_force_n=many.peak_force_n[0],
        end_force_n=many.end_force_n[0],
    )


def run_stacks(
    *,
    torsion_m4: ArrayLike,
    platform_torsion_m4: ArrayLike,
    platform_extra_gap_m: ArrayLike,
    layer_m: ArrayLike,
    settle_s: ArrayLike,
    descent_m_s: ArrayLike,
    viscosity_pa_s: ArrayLike,
    stiffness_n_m: ArrayLike,
    force_ceiling_n: ArrayLike,
    platform_follows: ArrayLike = 0.0,
    giving: GivingFaces | None = None,
    tension_n_m: ArrayLike = 0.0,
    start_deflection_m: float = 0.0,
    forces: bool = False,
) -> StackResult:
    """Return what :func:`run_stack` does for many samples of resin and machine at once, spread over the cores.

    Parameters
    ----------
    torsion_m4, platform_torsion_m4, platform_extra_gap_m, platform_follows, layer_m, descent_m_s : (N,) array_like
        As in :func:`run_stack` [m4, m4, m, -, m, m/s].
    settle_s : (N,) or (S, N) array_like
        Dark wait, one run for all samples or one for each [s].
    viscosity_pa_s, stiffness_n_m, force_ceiling_n : (S,) array_like
        One value a sample, or one for all [Pa s, N/m, N].
    giving, tension_n_m : GivingFaces or None, (S,) array_like
        As in :func:`run_stack` [-, N/m].
    start_deflection_m : float
        Deflection carried into the first layer [m].
    forces : bool
        Whether gap and force on arrival are wanted too; without them rested layers cost next to nothing.

    Returns
    -------
    StackResult
        Arrays of shape (S, N) [m, N].

    Raises
    ------
    DomainError
        When a value lies outside its range or an array has another length.

    Notes
    -----
    As for :func:`run_stack`. The same input gives the same bits, on however many cores.

    Examples
    --------
    >>> many = run_stacks(
    ...     torsion_m4=[1e-10, 1e-6, 1e-6], platform_torsion_m4=0.0, platform_extra_gap_m=0.0, layer_m=50e-6,
    ...     settle_s=2.0, descent_m_s=1e-3, viscosity_pa_s=[0.25, 0.5], stiffness_n_m=2.5e5, force_ceiling_n=300.0)
    >>> (many.thickness_m * 1e6).round(2).tolist()
    [[50.0, 92.96, 79.18], [50.0, 111.97, 94.04]]

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13. [reynolds:1886]
    """
    layers = _layers(
        torsion_m4,
        platform_torsion_m4,
        platform_extra_gap_m,
        layer_m,
        descent_m_s,
        settle_s,
        follows=platform_follows,
        giving=giving,
    )
    press = _presses(viscosity_pa_s, stiffness_n_m, force_ceiling_n, tension_n_m, samples=_samples(settle_s))
    settle = _settles(settle_s, len(press), len(layers))
    _check("start_deflection_m", np.asarray(start_deflection_m, dtype=float), above=0.0, touching=True)
    out = np.empty((len(press), 6 if forces else 4, len(layers)))
    with _keeping(layers, press) as (alike, kept):
        side_by_side(
            _run_some, len(press), layers, alike, settle, press, float(start_deflection_m), forces, _curve(), kept, out
        )
    none = np.empty((len(press), 0))
    return StackResult(
        thickness_m=out[:, 0],
        deflection_m=out[:, 1],
        worst_m=out[:, 2],
        arrival_gap_m=out[:, 4] if forces else none,
        peak_force_n=out[:, 5] if forces else none,
        end_force_n=out[:, 3],
    )


def settle_demand(
    *,
    limit_m: ArrayLike,
    torsion_m4: ArrayLike,
    platform_torsion_m4: ArrayLike,
    platform_extra_gap_m: ArrayLike,
    layer_m: ArrayLike,
    settle_s: ArrayLike,
    descent_m_s: ArrayLike,
    viscosity_pa_s: float,
    stiffness_n_m: float,
    force_ceiling_n: float,
    platform_follows: ArrayLike = 0.0,
    giving: GivingFaces | None = None,
    tension_n_m: float = 0.0,
    start_deflection_m: float = 0.0,
    obeyed: bool = False,
) -> Floats:
    r"""Return the least settle of every layer that brings its thickness down to a limit.

    .. math:: t_n = \frac{3 \mu}{k}\left[\ldots\right]_{x_\mathrm{arrival}}^{x_\mathrm{limit}}

    the closed form of holding still, from the gap on arrival, with the deflection that the run has carried so far.

    Parameters
    ----------
    limit_m : (N,) array_like
        Largest thickness allowed [m].
    torsion_m4, platform_torsion_m4, platform_extra_gap_m, platform_follows, layer_m, descent_m_s : (N,) array_like
        As in :func:`run_stack` [m4, m4, m, -, m, m/s].
    settle_s : (N,) array_like
        Settles of the run [s].
    viscosity_pa_s, stiffness_n_m, force_ceiling_n, start_deflection_m : float
        As in :func:`run_stack` [Pa s, N/m, N, m].
    giving, tension_n_m : GivingFaces or None, float
        As in :func:`run_stack` [-, N/m].
    obeyed : bool
        Whether each layer of the run waits for its demand too, when that is longer than its settle.

    Returns
    -------
    (N,) ndarray
        Least settles [s]: 0 where the layer arrives thin enough, infinite where no wait will do because the rest gap is
        not below the limit.

    Raises
    ------
    DomainError
        When a value lies outside its range or an array has another length.

    Notes
    -----
    As for :func:`run_stack`. A thickness within 1e-9 of its limit meets it. With ``obeyed`` an unreachable demand
    counts as the settle given.

    Examples
    --------
    >>> need = settle_demand(limit_m=55e-6, torsion_m4=[1e-10, 1e-7, 1e-7], platform_torsion_m4=0.0,
    ...     platform_extra_gap_m=0.0, layer_m=50e-6, settle_s=0.0, descent_m_s=1e-3, viscosity_pa_s=0.25,
    ...     stiffness_n_m=2.5e5, force_ceiling_n=300.0, obeyed=True)
    >>> need.round(3).tolist()
    [0.0, 2.125, 1.569]

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13. [reynolds:1886]
    """
    many = settle_demands(
        limit_m=limit_m,
        torsion_m4=torsion_m4,
        platform_torsion_m4=platform_torsion_m4,
        platform_extra_gap_m=platform_extra_gap_m,
        layer_m=layer_m,
        settle_s=settle_s,
        descent_m_s=descent_m_s,
        viscosity_pa_s=viscosity_pa_s,
        stiffness_n_m=stiffness_n_m,
        force_ceiling_n=force_ceiling_n,
        platform_follows=platform_follows,
        giving=giving,
        tension_n_m=tension_n_m,
        start_deflection_m=start_deflection_m,
        obeyed=obeyed,
    )
    return np.asarray(many[0])


def settle_demands(
    *,
    limit_m: ArrayLike,
    torsion_m4: ArrayLike,
    platform_torsion_m4: ArrayLike,
    platform_extra_gap_m: ArrayLike,
    layer_m: ArrayLike,
    settle_s: ArrayLike,
    descent_m_s: ArrayLike,
    viscosity_pa_s: ArrayLike,
    stiffness_n_m: ArrayLike,
    force_ceiling_n: ArrayLike,
    platform_follows: ArrayLike = 0.0,
    giving: GivingFaces | None = None,
    tension_n_m: ArrayLike = 0.0,
    start_deflection_m: float = 0.0,
    obeyed: bool = False,
) -> Floats:
    """Return what :func:`settle_demand` does for many samples of resin and machine at once, spread over the cores.

    Parameters
    ----------
    limit_m : (N,) or (S, N) array_like
        Largest thickness allowed [m].
    torsion_m4, platform_torsion_m4, platform_extra_gap_m, platform_follows, layer_m, descent_m_s : (N,) array_like
        As in :func:`run_stack` [m4, m4, m, -, m, m/s].
    settle_s : (N,) or (S, N) array_like
        Settles of the run [s].
    viscosity_pa_s, stiffness_n_m, force_ceiling_n : (S,) array_like
        One value a sample, or one for all [Pa s, N/m, N].
    giving, tension_n_m : GivingFaces or None, (S,) array_like
        As in :func:`run_stack` [-, N/m].
    start_deflection_m : float
        Deflection carried into the first layer [m].
    obeyed : bool
        As in :func:`settle_demand`.

    Returns
    -------
    (S, N) ndarray
        Least settles [s].

    Raises
    ------
    DomainError
        When a value lies outside its range or an array has another length.

    Notes
    -----
    As for :func:`settle_demand`.

    Examples
    --------
    >>> settle_demands(limit_m=55e-6, torsion_m4=[1e-10, 1e-7, 1e-7], platform_torsion_m4=0.0, platform_extra_gap_m=0.0,
    ...     layer_m=50e-6, settle_s=0.0, descent_m_s=1e-3, viscosity_pa_s=[0.25, 0.5], stiffness_n_m=2.5e5,
    ...     force_ceiling_n=300.0, obeyed=True).round(3).tolist()
    [[0.0, 2.125, 1.569], [0.0, 3.899, 2.988]]

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13. [reynolds:1886]
    """
    layers = _layers(
        torsion_m4,
        platform_torsion_m4,
        platform_extra_gap_m,
        layer_m,
        descent_m_s,
        settle_s,
        limit_m,
        follows=platform_follows,
        giving=giving,
    )
    samples = max(_samples(settle_s), _samples(limit_m))
    press = _presses(viscosity_pa_s, stiffness_n_m, force_ceiling_n, tension_n_m, samples=samples)
    _check("start_deflection_m", np.asarray(start_deflection_m, dtype=float), above=0.0, touching=True)
    settle = _settles(settle_s, len(press), len(layers))
    limit = _spread("limit_m", limit_m, len(press), len(layers), endless=True)
    need = np.empty((len(press), len(layers)))
    with _keeping(layers, press) as (alike, kept):
        side_by_side(
            _demands_some,
            len(press),
            layers,
            alike,
            settle,
            limit,
            press,
            float(start_deflection_m),
            obeyed,
            _curve(),
            kept,
            need,
        )
    return need


def least_settle(
    *,
    first: int,
    last: int,
    hard_limit_m: ArrayLike,
    soft_low_m: ArrayLike,
    soft_high_m: ArrayLike,
    soft_allowed: int,
    longest_s: float,
    torsion_m4: ArrayLike,
    platform_torsion_m4: ArrayLike,
    platform_extra_gap_m: ArrayLike,
    layer_m: ArrayLike,
    settle_s: ArrayLike,
    descent_m_s: ArrayLike,
    viscosity_pa_s: ArrayLike,
    stiffness_n_m: ArrayLike,
    force_ceiling_n: ArrayLike,
    platform_follows: ArrayLike = 0.0,
    giving: GivingFaces | None = None,
    tension_n_m: ArrayLike = 0.0,
    hard_factor: ArrayLike = 1.0,
    start_deflection_m: float = 0.0,
    precision: float = 1e-3,
) -> Floats:
    """Return the least settle, the same for a stretch of layers, with which the stretch comes out well; one a sample.

    Well means: every layer of the stretch is at most its hard limit times the sample's factor thick, and no more than
    ``soft_allowed`` of them lie outside ``[soft_low_m, soft_high_m]``.

    Parameters
    ----------
    first, last : int
        The stretch, layers first to last - 1, counted from 0.
    hard_limit_m : (N,) or (S, N) array_like
        Thickness no layer may exceed [m].
    soft_low_m, soft_high_m : (N,) or (S, N) array_like
        Band that nearly all should keep [m]; 0 and infinity for none.
    soft_allowed : int
        How many may leave the band.
    longest_s : float
        Longest settle tried [s].
    torsion_m4, platform_torsion_m4, platform_extra_gap_m, platform_follows, layer_m, descent_m_s : (N,) array_like
        As in :func:`run_stack` [m4, m4, m, -, m, m/s].
    settle_s : (N,) or (S, N) array_like
        Settles of the layers before the stretch; the rest of it is not looked at [s].
    viscosity_pa_s, stiffness_n_m, force_ceiling_n : (S,) array_like
        One value a sample, or one for all [Pa s, N/m, N].
    giving, tension_n_m : GivingFaces or None, (S,) array_like
        As in :func:`run_stack` [-, N/m].
    hard_factor : (S,) array_like
        Multiplies the hard limit of a sample [-].
    start_deflection_m : float
        Deflection carried into the first layer [m].
    precision : float
        Relative precision of the answer; absolute below its square times the longest [-].

    Returns
    -------
    (S,) ndarray
        Least settles [s]; infinite where even the longest does not do.

    Raises
    ------
    DomainError
        When a value lies outside its range, an array has another length, or the stretch lies outside the layers.

    Notes
    -----
    For the hard limits alone it is the least there is: a longer settle leaves less deflection and so asks more of the
    next layer, which makes the set of good settles an interval upwards. How many layers leave the band need not fall
    steadily, so with it the answer is the lower edge of an interval of good settles, the first one met by a search
    whose strides grow from a thousandth to an eighth: a good interval shorter than that may be stepped over.

    Examples
    --------
    >>> least_settle(
    ...     first=1, last=3, hard_limit_m=55e-6, soft_low_m=0.0, soft_high_m=1.0, soft_allowed=0, longest_s=60.0,
    ...     torsion_m4=[1e-10, 1e-7, 1e-7], platform_torsion_m4=0.0, platform_extra_gap_m=0.0, layer_m=50e-6,
    ...     settle_s=0.0, descent_m_s=1e-3, viscosity_pa_s=[0.25, 0.5], stiffness_n_m=2.5e5,
    ...     force_ceiling_n=300.0).round(3).tolist()
    [2.125, 3.899]

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13. [reynolds:1886]
    Tarski, Pacific J. Math. 5 (1955) 285-309, theorem 1: least fixed point of a rising function. [tarski:1955]
    """
    layers = _layers(
        torsion_m4,
        platform_torsion_m4,
        platform_extra_gap_m,
        layer_m,
        descent_m_s,
        settle_s,
        hard_limit_m,
        follows=platform_follows,
        giving=giving,
    )
    factor = np.atleast_1d(np.asarray(hard_factor, dtype=float))
    samples = max(factor.size, *(_samples(v) for v in (settle_s, hard_limit_m, soft_low_m, soft_high_m)))
    press = _presses(viscosity_pa_s, stiffness_n_m, force_ceiling_n, tension_n_m, samples=samples)
    count, many = len(layers), len(press)
    settle = _settles(settle_s, many, count)
    if not 0 <= first <= last <= count or soft_allowed < 0:
        raise DomainError.one(
            "first, last, soft_allowed",
            to_say(
                "must be 0 <= first <= last <= {count} and soft_allowed >= 0, got {first}, {last}, {soft_allowed}",
                count=count,
                first=first,
                last=last,
                soft_allowed=soft_allowed,
            ),
            to_say("Give the stretch as counts of layers from 0"),
        )
    for name, value in (("longest_s", longest_s), ("precision", precision)):
        _check(name, np.asarray(value, dtype=float), above=0.0)
    _check("start_deflection_m", np.asarray(start_deflection_m, dtype=float), above=0.0, touching=True)
    out = np.empty(many)
    hard = _spread("hard_limit_m", hard_limit_m, many, count, endless=True)
    low, high = (
        _spread("soft_low_m", soft_low_m, many, count),
        _spread("soft_high_m", soft_high_m, many, count, endless=True),
    )
    factors = _row("hard_factor", factor, many, above=0.0)
    with _keeping(layers, press) as (alike, kept):
        side_by_side(
            _least_some, many, layers, alike, settle, first, last, hard, factors, low, high, soft_allowed, float(longest_s),
            float(precision), press, float(start_deflection_m), _curve(), kept, out,
        )  # fmt: skip
    return out


# --- kept from call to call ------------------------------------------------------------------------------------------

_shelf: dict[tuple[bytes, bytes], tuple[Marks, _Kept]] = {}
_shelf_lock = threading.Lock()


@contextmanager
def _keeping(layers: Floats, press: Floats) -> Iterator[tuple[Marks, _Kept]]:
    """Lend which layers equal the one before (N,), and what the samples keep, (S, ...) each, to one call at a time.

    A planner asks the same stack again and again with other settles: it finds its descents followed already.  What is
    kept is what would be worked out again, to the bit, so no answer depends on what was asked before.
    """
    key = (layers.tobytes(), press.tobytes())
    with _shelf_lock:
        lent = _shelf.pop(key, None)
    if lent is None:
        lent = _nothing_kept(layers, len(press))
    yield lent
    with _shelf_lock:
        _shelf[key] = lent
        while len(_shelf) > _SHELF_ROOM:
            del _shelf[next(iter(_shelf))]


def _nothing_kept(layers: Floats, samples: int) -> tuple[Marks, _Kept]:
    count = len(layers)
    alike = np.concatenate(([False], (layers[1:] == layers[:-1]).all(axis=1)))
    platform = layers[:, 1] > 0.0
    room = min(int(platform.sum()), _MOST_BYTES // (samples * _LONGEST_PATH * 40))
    done = count if samples * count * 80 <= _MOST_BYTES else 0
    kept = _Kept(
        slot=np.where(platform, np.minimum(np.cumsum(platform) - 1, room), room),
        nodes=np.empty((samples, room + 1, _LONGEST_PATH, 5)),
        state=np.zeros((samples, room + 1, 6)),
        done=np.full((samples, done, 10), np.nan),
    )
    return alike, kept


# --- checking what comes in ------------------------------------------------------------------------------------------


def _check(name: str, values: Floats, *, above: float, touching: bool = False, endless: bool = False) -> None:
    """Raise when a value is not above (or at) the bound, or not a number, or infinite where that has no meaning."""
    good = (values >= above) if touching else (values > above)
    if not endless:
        good &= np.isfinite(values)
    if not np.all(good):
        worst = float(np.atleast_1d(values)[~np.atleast_1d(good)][0])
        rule = (
            f"must be {'at least' if touching else 'above'} {above:g}{'' if endless else ' and finite'}, got {worst:g}"
        )
        raise DomainError.one(name, rule, to_say("Check the value and its unit"))


def _row(
    name: str, values: ArrayLike, count: int, *, above: float, touching: bool = False, endless: bool = False
) -> Floats:
    """Return the values checked and spread to (count,)."""
    row = np.atleast_1d(np.asarray(values, dtype=float))
    if row.ndim != 1 or row.size not in {1, count}:
        raise DomainError.one(
            name,
            to_say("has shape {shape}, not ({count},)", shape=row.shape, count=count),
            to_say("Give one value, or one for each"),
        )
    _check(name, row, above=above, touching=touching, endless=endless)
    return _full(row, (count,))


_GIVEN = tuple(a.name for a in fields(GivingFaces))


def _layers(
    torsion: ArrayLike,
    platform: ArrayLike,
    extra: ArrayLike,
    layer: ArrayLike,
    descent: ArrayLike,
    *others: ArrayLike,
    follows: ArrayLike,
    giving: GivingFaces | None,
) -> Floats:
    """Return the rows (N, 20) that the kernels read: J, P, b, h, V, film, c. A platform without extra gap joins the face."""
    given = (torsion, platform, extra, layer, descent, follows, *others)
    count = max(int(np.shape(v)[-1]) if np.ndim(v) else 1 for v in given)
    rows = np.zeros((count, 20))
    rows[:, 0] = _row("torsion_m4", torsion, count, above=0.0, touching=True)
    rows[:, 1] = _row("platform_torsion_m4", platform, count, above=0.0, touching=True)
    rows[:, 2] = _row("platform_extra_gap_m", extra, count, above=0.0, touching=True)
    rows[:, 3] = _row("layer_m", layer, count, above=0.0)
    rows[:, 4] = _row("descent_m_s", descent, count, above=0.0)
    for column, name in enumerate(_GIVEN, 5):
        if giving is not None:
            least = -math.inf if name == "uneven" else 0.0
            rows[:, column] = _row(f"giving.{name}", getattr(giving, name), count, above=least, touching=True)
    rows[:, 19] = _row("platform_follows", follows, count, above=0.0, touching=True)
    joined = (rows[:, 2] == 0.0) & (rows[:, 19] == 0.0) & (rows[:, 13] == 0.0)
    rows[joined, 0] += rows[joined, 1]
    rows[joined, 1] = 0.0
    rows[:, 0] = np.maximum(rows[:, 0], SMALLEST_TORSION_M4)
    return rows


def _samples(settle: ArrayLike) -> int:
    return int(np.shape(settle)[0]) if np.ndim(settle) > 1 else 1


def _presses(
    viscosity: ArrayLike, stiffness: ArrayLike, ceiling: ArrayLike, tension: ArrayLike, *, samples: int
) -> Floats:
    """Return the rows (S, 4) that the kernels read: 3 mu, k, F, T."""
    count = max(samples, *(np.size(v) for v in (viscosity, stiffness, ceiling, tension)))
    rows = np.empty((count, 4))
    rows[:, 3] = _row("tension_n_m", tension, count, above=0.0, touching=True)
    rows[:, 0] = 3.0 * _row("viscosity_pa_s", viscosity, count, above=0.0)
    rows[:, 1] = _row("stiffness_n_m", stiffness, count, above=0.0)
    rows[:, 2] = _row("force_ceiling_n", ceiling, count, above=0.0, endless=True)
    return rows


def _settles(settle: ArrayLike, samples: int, count: int) -> Floats:
    """Return the settles checked and spread to (S, N)."""
    return _spread("settle_s", settle, samples, count)


def _spread(name: str, given: ArrayLike, samples: int, count: int, *, endless: bool = False) -> Floats:
    """Return values for every layer, or for every sample and layer, checked and spread to (S, N)."""
    values = np.asarray(given, dtype=float)
    if values.ndim > 2 or (values.ndim == 2 and values.shape != (samples, count)):
        raise DomainError.one(
            name,
            to_say("has shape {shape}, not ({samples}, {count})", shape=values.shape, samples=samples, count=count),
            to_say("Give (N,) or (S, N)"),
        )
    if values.ndim < 2:
        values = _row(name, values, count, above=0.0, touching=True, endless=endless)
    _check(name, values, above=0.0, touching=True, endless=endless)
    return _full(values, (samples, count))


def _full(values: Floats, shape: tuple[int, ...]) -> Floats:
    """Return the values in one block that may be written: a kernel is compiled anew for one that may not."""
    return np.require(np.broadcast_to(values, shape), requirements=("C", "W"))
