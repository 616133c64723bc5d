"""Squeeze and settle on a film that is free to bow: the pressure that carries the resin also moves the film.

Over glass the film is as rigid as the glass and the rigid-plate law holds.  A film with air or an unconfined liquid
behind it bows away under the part, so the resin layer is thicker than commanded, thickest in the middle, and drains
under the tension of the film alone.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline
from scipy.optimize import brentq
from scipy.special import i0e, i1e, j0, j1

from vatwright.compiled import kernel
from vatwright.errors import DomainError, require_not_negative, require_positive
from vatwright.wording import to_say

Array = NDArray[np.float64]

# Cells along the radius and steps per e-fold of time: 1e-3 of the force (tests/limits/test_film_settle_limits.py), 1e-2
# where a part that fills its window (R_w / r < 1.1) comes down fast on it.
CELLS = 48
STEPS_PER_EFOLD = 12
# A descent "from wide" starts where the film would bow by less than 1e-4 of the gap.
WIDE_STARTS_AT = 10.0
# The first step after the stop, in units of the time in which the force changes as a whole: 1e-3 of the force.
EDGE_ANSWERS_IN = 0.02
# Half-time of the force after a descent from wide: half-time / decay time x (1 + B)^(3/4), B = descent speed x decay
# time / gap.  Computed once with this file's own solver (128 cells, 60 steps per e-fold) and checked between these
# places by tests/physics/test_film_settle.py.  Rows: log10 B from -3 to 7; columns: ln(R_w / r) = 0.05 x 2^0 ... 2^6.
HALF_TIME_ROWS = np.arange(-3.0, 7.5, 1.0)
HALF_TIME_SPANS = 0.05 * 2.0 ** np.arange(7)
HALF_TIMES = np.array(
    [
        [0.6565, 0.6626, 0.6709, 0.6798, 0.6866, 0.6902, 0.6916],
        [0.6520, 0.6580, 0.6661, 0.6746, 0.6807, 0.6836, 0.6845],
        [0.6307, 0.6361, 0.6429, 0.6485, 0.6506, 0.6495, 0.6472],
        [0.6971, 0.7001, 0.7014, 0.6977, 0.6880, 0.6758, 0.6653],
        [1.3239, 1.3000, 1.2636, 1.2158, 1.1632, 1.1162, 1.0818],
        [3.0322, 2.8049, 2.5588, 2.3310, 2.1435, 2.0045, 1.9127],
        [6.3468, 5.3174, 4.4396, 3.7894, 3.3435, 3.0525, 2.8735],
        [11.5614, 8.5802, 6.5238, 5.2384, 4.4602, 3.9939, 3.7215],
        [18.1692, 11.9709, 8.3940, 6.4227, 5.3263, 4.7040, 4.3521],
        [24.9169, 14.8762, 9.8201, 7.2653, 5.9194, 5.1812, 4.7721],
        [30.6233, 17.0195, 10.7885, 7.8114, 6.2943, 5.4790, 5.0327],
    ]
)
_HALF_TIME_SURFACE = RectBivariateSpline(HALF_TIME_ROWS, np.log(HALF_TIME_SPANS), np.log(HALF_TIMES))
# L-stable two-stage diagonally implicit Runge-Kutta (Alexander 1977, eq. 2.2 with the smaller root).
GAMMA = 1.0 - np.sqrt(0.5)
NEWTON_STEPS = 30
NEWTON_TOLERANCE = 1e-11


@frozen(kw_only=True, eq=False)
class FilmSettle:
    """What a film and the resin on it did while the part came down and stood still.

    Parameters
    ----------
    time_s : (n,) ndarray
        Time since the stop [s]; the descent has negative times.
    force_n : (n,) ndarray
        Force between part and film [N].
    radius_m : (m,) ndarray
        Where the profile is known, from the middle outwards, cell centres [m].
    gap_m : (m,) ndarray
        Thickness of the resin layer at the last time [m].
    edge_gap_m : float
        Thickness of the layer under the part's edge at the last time [m].
    centre_gap_m, mean_gap_m : float
        Thickness of the layer in the middle, and averaged over the part's area, at the last time [m].
    deepest_m : float
        Largest distance by which the middle of the film was pushed from its rest plane at any time [m].
    force_at_stop_n : float
        Force at the moment of the stop [N].
    force_left : float
        Force at the last time over the force at the stop [-].
    """

    time_s: Array
    force_n: Array
    radius_m: Array
    gap_m: Array
    edge_gap_m: float
    centre_gap_m: float
    mean_gap_m: float
    deepest_m: float
    force_at_stop_n: float
    force_left: float


def settled_profile(
    *,
    viscosity_pa_s: float,
    radius_m: float,
    tension_n_m: float,
    window_radius_m: float,
    gap_m: float,
    descent_m_s: float,
    time_s: float,
    descent_s: float | None = None,
    cells: int = CELLS,
    steps_per_efold: int = STEPS_PER_EFOLD,
) -> FilmSettle:
    """Return how thick the resin layer on a free film really is some time after the part has stopped, and the forces.

    Equations, axisymmetric, h = z + w: the resin, div(h^3 grad p) = 12 mu dh/dt; the film, T lap(w) = -p under the
    part and lap(w) = 0 outside it; p = 0 at the part's edge, w = 0 at the clamp.  z is the part's height over the
    film's rest plane: it falls at constant speed to `gap_m`, then stays.

    Parameters
    ----------
    viscosity_pa_s : float
        Resin viscosity mu [Pa s].
    radius_m : float
        Radius of the disc of the part's area [m].
    tension_n_m : float
        Film tension T per length [N/m].
    window_radius_m : float
        Radius at which the film is clamped [m].
    gap_m : float
        Commanded gap: the part's height over the film's rest plane once it has stopped [m].
    descent_m_s : float
        Speed of the descent [m/s].
    time_s : float
        Time since the stop [s].
    descent_s : float, optional
        How long it descended before the stop [s]; left out, it came from so high that more makes no difference.
    cells, steps_per_efold : int
        Cells along the radius (2 or more), and time steps per factor e of time; errors fall with their square [-].

    Returns
    -------
    FilmSettle
        Force history [N] and the layer's thickness [m] at `time_s`.

    Raises
    ------
    DomainError
        For numbers that are not above 0 (`time_s`: below 0), and for a part that does not fit in the window.

    Notes
    -----
    For a film with air behind it, or a liquid that is free to move away at no pressure of its own.  A film on glass
    does not bow: use the rigid-plate law with the stiffness of arm and glass.  A film held a little above the glass is
    free until `deepest_m` exceeds that clearance, rigid from then on; a thin liquid layer between film and glass has
    to be squeezed out as well, so it lies between the two.  The machine's arm is taken as stiff against the film
    (2 pi T / ln(R_w / r), some 1e3 to 1e4 N/m), which makes a free film settle later than the rigid-plate law
    with the arm's stiffness says.  Constant tension and small slope: deflection below a tenth of
    the free width ln(R_w/r) r.  The gap must be small against the radius, the resin Newtonian.
    Solved in scaled form: time in 12 mu r^4 / (T h^3), lengths in r and h; what remains are the groups R_w/r and
    12 mu V r^4 / (T h^4), and, with `descent_s`, the height of the start over h.

    Examples
    --------
    A 40 mm disc over a free film: two seconds after the stop the commanded 50 um are still far away.

    >>> layer = settled_profile(viscosity_pa_s=0.25, radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.06,
    ...                         gap_m=50e-6, descent_m_s=1e-3, time_s=2.0)
    >>> round(layer.centre_gap_m * 1e6), round(layer.edge_gap_m * 1e6), round(layer.force_left, 2)
    (260, 178, 0.49)

    References
    ----------
    O. Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, the equation of the film of liquid [reynolds:1886].
    R. Alexander, SIAM J. Numer. Anal. 14 (1977) 1006-1021, the time stepping [alexander:1977].
    """
    require_positive(
        viscosity_pa_s=viscosity_pa_s,
        radius_m=radius_m,
        tension_n_m=tension_n_m,
        window_radius_m=window_radius_m,
        gap_m=gap_m,
        descent_m_s=descent_m_s,
    )
    require_not_negative(time_s=time_s)
    span = _span(radius_m, window_radius_m)
    unit_s = film_time_unit(viscosity_pa_s=viscosity_pa_s, radius_m=radius_m, tension_n_m=tension_n_m, gap_m=gap_m)
    speed = descent_m_s * unit_s / gap_m
    if descent_s is None:
        start = 1.0 + WIDE_STARTS_AT * _bowing_height(span, speed)
    else:
        require_positive(descent_s=descent_s)
        start = 1.0 + descent_m_s * descent_s / gap_m
    times = _times(span, speed, start, time_s / unit_s, steps_per_efold)
    force, w, edge, deepest = _march(times, speed, span, cells)
    stop = int(np.searchsorted(times, 0.0))
    layer = gap_m * (1.0 + w)
    rings = 2.0 * np.arange(cells) + 1.0
    return FilmSettle(
        time_s=times * unit_s,
        force_n=force * tension_n_m * gap_m,
        radius_m=radius_m * (np.arange(cells) + 0.5) / cells,
        gap_m=layer,
        edge_gap_m=gap_m * (1.0 + edge),
        # The profile is even in r: a parabola through the two innermost cells gives the middle.
        centre_gap_m=float((9.0 * layer[0] - layer[1]) / 8.0),
        mean_gap_m=float(rings @ layer / rings.sum()),
        deepest_m=gap_m * deepest,
        force_at_stop_n=float(force[stop] * tension_n_m * gap_m),
        force_left=float(force[-1] / force[stop]),
    )


def force_left(
    *,
    viscosity_pa_s: float,
    radius_m: float,
    tension_n_m: float,
    window_radius_m: float,
    gap_m: float,
    descent_m_s: float,
    time_s: float,
    descent_s: float | None = None,
) -> float:
    """Return the part of the force at the stop that is left some time later [-].

    Parameters
    ----------
    viscosity_pa_s : float
        Resin viscosity [Pa s].
    radius_m : float
        Radius of the disc of the part's area [m].
    tension_n_m : float
        Film tension [N/m].
    window_radius_m : float
        Radius at which the film is clamped [m].
    gap_m : float
        Commanded gap [m].
    descent_m_s : float
        Speed of the descent [m/s].
    time_s : float
        Time since the stop [s].
    descent_s : float, optional
        How long it descended before the stop [s]; left out, it came from wide.

    Returns
    -------
    float
        Force left over force at the stop [-].

    Raises
    ------
    DomainError
        For numbers that are not above 0, and for a part that does not fit in the window.

    Notes
    -----
    Limits are those of :func:`settled_profile`.

    Examples
    --------
    >>> round(force_left(viscosity_pa_s=0.25, radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.06, gap_m=50e-6,
    ...                  descent_m_s=1e-3, time_s=2.0), 2)
    0.49

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13, with a membrane under the resin. [reynolds:1886]
    """
    return settled_profile(
        viscosity_pa_s=viscosity_pa_s,
        radius_m=radius_m,
        tension_n_m=tension_n_m,
        window_radius_m=window_radius_m,
        gap_m=gap_m,
        descent_m_s=descent_m_s,
        time_s=time_s,
        descent_s=descent_s,
    ).force_left


def film_time_unit(*, viscosity_pa_s: float, radius_m: float, tension_n_m: float, gap_m: float) -> float:
    """Return the time in which a film's tension moves resin across a disc [s], 12 mu r^4 / (T h^3).

    Parameters
    ----------
    viscosity_pa_s : float
        Resin viscosity [Pa s].
    radius_m : float
        Radius of the disc of the part's area [m].
    tension_n_m : float
        Film tension [N/m].
    gap_m : float
        Commanded gap [m].

    Returns
    -------
    float
        Time unit [s].

    Raises
    ------
    DomainError
        For numbers that are not above 0.

    Notes
    -----
    A scale, not a settle time: what is left of the equations of :func:`settled_profile` after scaling.

    Examples
    --------
    >>> round(film_time_unit(viscosity_pa_s=0.25, radius_m=0.02, tension_n_m=1000.0, gap_m=50e-6), 1)
    3840.0

    References
    ----------
    Worked out here and checked in the tests. [derived:vatwright]
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, radius_m=radius_m, tension_n_m=tension_n_m, gap_m=gap_m)
    return 12.0 * viscosity_pa_s * radius_m**4 / (tension_n_m * gap_m**3)


def film_stiffness(*, radius_m: float, tension_n_m: float, window_radius_m: float) -> float:
    """Return the stiffness of a round film against a rigid disc pressed into its middle [N/m], 2 pi T / ln(R_w / r).

    Parameters
    ----------
    radius_m, window_radius_m : float
        Radius of the disc, and of the clamp [m].
    tension_n_m : float
        Film tension [N/m].

    Returns
    -------
    float
        Force per deflection [N/m].

    Raises
    ------
    DomainError
        For numbers not above 0, and a disc that does not fit in the window.

    Notes
    -----
    Small slope, tension unchanged by the deflection: derived from lap(w) = 0 between two circles.

    Examples
    --------
    >>> round(film_stiffness(radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.06))
    5719

    References
    ----------
    Worked out here and checked in the tests. [derived:vatwright]
    """
    require_positive(radius_m=radius_m, tension_n_m=tension_n_m, window_radius_m=window_radius_m)
    return 2.0 * np.pi * tension_n_m / _span(radius_m, window_radius_m)


def settling_stiffness(*, radius_m: float, tension_n_m: float, window_radius_m: float) -> float:
    """Return the stiffness with which the rigid-plate law settles as a free film does in the end [N/m], pi T x^4 / 8.

    x is the root of :func:`film_decay_time`, so that 3 mu J / (k h^3), J = pi r^4 / 2, is that decay time.

    Parameters
    ----------
    radius_m : float
        Radius of the disc of the part's area [m].
    tension_n_m : float
        Film tension [N/m].
    window_radius_m : float
        Radius at which the film is clamped [m].

    Returns
    -------
    float
        Stiffness [N/m], below :func:`film_stiffness` because the film also sags under the disc.

    Raises
    ------
    DomainError
        For numbers that are not above 0, and for a part that does not fit in the window.

    Notes
    -----
    In the rigid-plate law it gives the settle time of a free film when the layer is nearly settled, and too short a
    time before: after a fast descent the half-time is short by a fifth at R_w / r = 5, by a third at 2, and by a
    factor 2.4 at 1.2 and 7 at 1.05, where the film sags under the part like a blister.

    Examples
    --------
    >>> round(settling_stiffness(radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.06))
    4021

    References
    ----------
    Worked out here and checked in the tests. [derived:vatwright]
    """
    require_positive(radius_m=radius_m, tension_n_m=tension_n_m, window_radius_m=window_radius_m)
    return np.pi * tension_n_m / 8.0 / _slowest(_span(radius_m, window_radius_m))


def film_decay_time(
    *, viscosity_pa_s: float, radius_m: float, tension_n_m: float, window_radius_m: float, gap_m: float
) -> float:
    """Return the time in which the last of the force falls by a factor e [s].

    Equation: with w = J0(x r/a) + c I0(x r/a), small against the gap, the film's equations leave
    x ln(R_w/a) [J1(x)/J0(x) - I1(x)/I0(x)] = 2, whose smallest root gives 12 mu a^4 / (T h^3 x^4).

    Parameters
    ----------
    viscosity_pa_s : float
        Resin viscosity [Pa s].
    radius_m : float
        Radius of the disc of the part's area [m].
    tension_n_m : float
        Film tension [N/m].
    window_radius_m : float
        Radius at which the film is clamped [m].
    gap_m : float
        Commanded gap [m].

    Returns
    -------
    float
        Decay time [s].

    Raises
    ------
    DomainError
        For numbers that are not above 0, and for a part that does not fit in the window.

    Notes
    -----
    For a wide window x^4 tends to 16 / ln(R_w/a): the spring law 3 mu J / (k h^3) of a rigid disc with J = pi a^4 / 2
    and k = 2 pi T / ln(R_w/a).  Holds once the film is within a few per cent of the gap of its rest plane.

    Examples
    --------
    >>> round(film_decay_time(viscosity_pa_s=0.25, radius_m=0.005, tension_n_m=1000.0, window_radius_m=0.06,
    ...                       gap_m=50e-6), 2)
    2.76

    References
    ----------
    Worked out here and checked in the tests. [derived:vatwright]
    """
    require_positive(
        viscosity_pa_s=viscosity_pa_s,
        radius_m=radius_m,
        tension_n_m=tension_n_m,
        window_radius_m=window_radius_m,
        gap_m=gap_m,
    )
    unit_s = film_time_unit(viscosity_pa_s=viscosity_pa_s, radius_m=radius_m, tension_n_m=tension_n_m, gap_m=gap_m)
    return unit_s * _slowest(_span(radius_m, window_radius_m))


def film_half_time(
    *,
    viscosity_pa_s: float,
    radius_m: float,
    tension_n_m: float,
    window_radius_m: float,
    gap_m: float,
    descent_m_s: float,
) -> float:
    """Return the time after the stop in which half the force on a free film goes, from a table [s].

    Some 30 microseconds, for use inside a planner's loop; :func:`settled_profile` is the full answer.

    Parameters
    ----------
    viscosity_pa_s : float
        Resin viscosity [Pa s].
    radius_m : float
        Radius of the disc of the part's area [m].
    tension_n_m : float
        Film tension [N/m].
    window_radius_m : float
        Radius at which the film is clamped [m].
    gap_m : float
        Commanded gap [m].
    descent_m_s : float
        Speed of the descent [m/s].

    Returns
    -------
    float
        Half-time [s].

    Raises
    ------
    DomainError
        Also for R_w / r outside 1.05 to 24, where the table ends.

    Notes
    -----
    Descent from wide, that is from well above (mu r^4 V / T)^(1/4).  Within 1 % of the solver for B = V tau / h, tau
    the decay time, from 1e-3 to 1e7.  Below, the force halves in its linear decay; above, as B^(-3/4), with up to a
    tenth (a quarter for a part that fills its window) of error per tenfold B.
    Free or liquid-backed film only, as said in :func:`settled_profile`; on glass use the rigid-plate law.

    Examples
    --------
    >>> round(film_half_time(viscosity_pa_s=0.25, radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.06, gap_m=50e-6,
    ...                      descent_m_s=1e-3), 2)
    1.91

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13, with a membrane under the resin. [reynolds:1886]
    """
    require_positive(descent_m_s=descent_m_s)
    decay_s = film_decay_time(
        viscosity_pa_s=viscosity_pa_s,
        radius_m=radius_m,
        tension_n_m=tension_n_m,
        window_radius_m=window_radius_m,
        gap_m=gap_m,
    )
    span = _span(radius_m, window_radius_m)
    if not HALF_TIME_SPANS[0] <= span <= HALF_TIME_SPANS[-1]:
        raise DomainError.one(
            "window_radius_m",
            to_say("must be 1.052 to 24.5 times radius_m, got {value:.4g} times", value=window_radius_m / radius_m),
            to_say("Use settled_profile, which has no such limit"),
        )
    descent = descent_m_s * decay_s / gap_m
    row = min(max(float(np.log10(descent)), HALF_TIME_ROWS[0]), HALF_TIME_ROWS[-1])
    scaled = float(np.exp(_HALF_TIME_SURFACE(row, np.log(span), grid=False)))
    return float(decay_s * scaled * (1.0 + descent) ** -0.75)


def _span(radius_m: float, window_radius_m: float) -> float:
    """Return ln(R_w / r), refused unless the part fits in the window."""
    if not radius_m < window_radius_m:
        raise DomainError.one(
            "radius_m",
            to_say(
                "must be below window_radius_m, {window_radius_m:g}, got {radius_m:g}",
                window_radius_m=window_radius_m,
                radius_m=radius_m,
            ),
            to_say("Take a smaller part"),
        )
    return float(np.log(window_radius_m / radius_m))


def _bowing_height(span: float, speed: float) -> float:
    """Return the height, in gaps, at which a descending disc would bow the film by about that height.

    From Stefan's force on a rigid disc, 3 pi mu a^4 V / (2 z^3), on the film's stiffness with its own sag added.
    """
    return float((speed * (span + 0.5) / 16.0) ** 0.25)


def _slowest(span: float) -> float:
    """Return 1 / x^4 for the smallest root of x span (J1/J0 - I1/I0) = 2; x lies below the first zero of J0."""

    def excess(x: float) -> float:
        return float(x * span * (j1(x) * i0e(x) - i1e(x) * j0(x)) - 2.0 * j0(x) * i0e(x))

    return float(brentq(excess, 1e-3 / (1.0 + span), 2.404825557695773, xtol=1e-13)) ** -4


def _times(span: float, speed: float, start: float, hold: float, steps_per_efold: int) -> Array:
    """Return scaled times from the start of the descent to the end of the hold, the stop being 0.

    Steps are a fixed part of the time to or since the stop, plus the time in which anything happens near it.  After the
    stop that is less: the edge, where the layer is thinnest, answers long before the rest.
    """
    quick = min(_slowest(span), (1.0 + _bowing_height(span, speed)) / speed)
    descent = (start - 1.0) / speed
    before = quick * np.expm1(_even(np.log1p(descent / quick), steps_per_efold))
    quick *= EDGE_ANSWERS_IN
    after = quick * np.expm1(_even(np.log1p(hold / quick), steps_per_efold)) if hold > 0.0 else np.zeros(1)
    before[-1] = descent
    after[-1] = hold
    return np.concatenate([-before[::-1], after[1:]])


def _even(length: float, density: int) -> Array:
    """Return points from 0 to a length, at least so many per unit."""
    return np.linspace(0.0, length, int(np.ceil(length * density)) + 1)


@kernel
def _march(times: Array, speed: float, span: float, cells: int) -> tuple[Array, Array, float, float]:
    """Return the force at each time, and at the last the deflection at cell centres and edge; and the deepest middle.

    All scaled.  The part falls at `speed` until time 0 and its gap is 1 from then on; the film starts flat.
    """
    w, base, stage = np.zeros(cells), np.empty(cells), np.empty(cells)
    work = np.empty((cells, 7))
    force = np.zeros(times.size)
    deepest = 0.0
    outer = 1.0 / (1.0 + 0.5 / (cells * span))  # edge deflection over the last cell's
    for n in range(1, times.size):
        step = times[n] - times[n - 1]
        fall = speed if times[n] <= 0.0 else 0.0
        middle = times[n - 1] + GAMMA * step
        stage[:] = w
        _implicit(stage, w, GAMMA * step, 1.0 - min(0.0, middle) * speed, fall, span, work)
        for i in range(cells):
            base[i] = w[i] + (1.0 - GAMMA) / GAMMA * (stage[i] - w[i])
        w[:] = stage
        _implicit(w, base, GAMMA * step, 1.0 - min(0.0, times[n]) * speed, fall, span, work)
        force[n] = 2.0 * np.pi * w[-1] * outer / span
        deepest = max(deepest, (9.0 * w[0] - w[1]) / 8.0)
    return force, w, w[-1] * outer, deepest


@kernel
def _implicit(w: Array, base: Array, step: float, height: float, fall: float, span: float, work: Array) -> None:
    """Solve w = base + step (div(h^3 grad p) + fall), p = -lap w, h = height + w, in place, by Newton's method."""
    for _ in range(NEWTON_STEPS):
        change = _newton(w, base, step, height, fall, span, work)
        if change <= NEWTON_TOLERANCE * height:
            break


@kernel
def _newton(w: Array, base: Array, step: float, height: float, fall: float, span: float, work: Array) -> float:
    """Take one Newton step on (w, p), a block tridiagonal system of 2 x 2 blocks, and return its size.

    Finite volumes on rings, divided by 2 pi.  `work` keeps, per ring, the pressure and what elimination leaves.
    """
    cells = w.size
    d = 1.0 / cells
    outer = 1.0 / (1.0 + 0.5 * d / span)
    slope_in = 0.0
    for i in range(cells):
        slope_out = (i + 1.0) * (w[i + 1] - w[i]) if i < cells - 1 else -w[i] * outer / span
        work[i, 6] = (slope_in - slope_out) / ((i + 0.5) * d * d)
        slope_in = slope_out
    flow_in, k_in, g_in, t_in = 0.0, 0.0, 0.0, 0.0
    for i in range(cells):
        area = (i + 0.5) * d * d
        if i < cells - 1:
            face = height + 0.5 * (w[i] + w[i + 1])
            drop, k_out, t_out = work[i + 1, 6] - work[i, 6], (i + 1.0) * face**3, i + 1.0
            g_out = (i + 1.0) * 1.5 * face**2 * drop
        else:
            face = height + outer * w[i]
            drop, k_out, t_out = -work[i, 6], 2.0 * cells * face**3, outer / span
            g_out = 2.0 * cells * 3.0 * outer * face**2 * drop
        flow_out = k_out * drop
        # Rows of this ring: (a, b; c, e) on its own (w, p), (la, lb; lc, 0) inwards, (ua, ub; uc, 0) outwards.
        la, lb, lc = step * g_in, -step * k_in, t_in
        a, b = area + step * (g_in - g_out), step * (k_in + k_out)
        c, e = -t_in - t_out, area
        ua, ub, uc = -step * g_out, -step * k_out, t_out
        f, g = step * (flow_out - flow_in + area * fall) - area * (w[i] - base[i]), 0.0
        if i > 0:
            m = work[i - 1]
            a, b, c, e = a - la * m[0] - lb * m[2], b - la * m[1] - lb * m[3], c - lc * m[0], e - lc * m[1]
            f, g = f - la * m[4] - lb * m[5], g - lc * m[4]
        det = a * e - b * c
        work[i, 0], work[i, 1] = (e * ua - b * uc) / det, e * ub / det
        work[i, 2], work[i, 3] = (a * uc - c * ua) / det, -c * ub / det
        work[i, 4], work[i, 5] = (e * f - b * g) / det, (a * g - c * f) / det
        flow_in, k_in, g_in, t_in = flow_out, k_out, g_out, t_out
    size, dw, dp = 0.0, 0.0, 0.0
    for i in range(cells - 1, -1, -1):
        m = work[i]
        last = i == cells - 1
        dw, dp = (m[4], m[5]) if last else (m[4] - m[0] * dw - m[1] * dp, m[5] - m[2] * dw - m[3] * dp)
        w[i] += dw
        size = max(size, abs(dw))
    return size
