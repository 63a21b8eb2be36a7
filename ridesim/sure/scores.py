"""Normal scores of many shares at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

AT_ONCE = 2**16
"""Shares that are worked on together: columns of millions would take ten times their own memory."""
NEAR, NEAR_SQUARED, TAIL_ENDS = 0.425, 0.180625, 5.0
_MIDDLE = (
    2.5090809287301226727e+3, 3.3430575583588128105e+4, 6.7265770927008700853e+4, 4.5921953931549871457e+4,
    1.3731693765509461125e+4, 1.9715909503065514427e+3, 1.3314166789178437745e+2, 3.3871328727963666080e+0,
), (
    5.2264952788528545610e+3, 2.8729085735721942674e+4, 3.9307895800092710610e+4, 2.1213794301586595867e+4,
    5.3941960214247511077e+3, 6.8718700749205790830e+2, 4.2313330701600911252e+1, 1.0,
)  # fmt: skip
_TAIL = (
    7.74545014278341407640e-4, 2.27238449892691845833e-2, 2.41780725177450611770e-1, 1.27045825245236838258e+0,
    3.64784832476320460504e+0, 5.76949722146069140550e+0, 4.63033784615654529590e+0, 1.42343711074968357734e+0,
), (
    1.05075007164441684324e-9, 5.47593808499534494600e-4, 1.51986665636164571966e-2, 1.48103976427480074590e-1,
    6.89767334985100004550e-1, 1.67638483018380384940e+0, 2.05319162663775882187e+0, 1.0,
)  # fmt: skip
_FAR = (
    2.01033439929228813265e-7, 2.71155556874348757815e-5, 1.24266094738807843860e-3, 2.65321895265761230930e-2,
    2.96560571828504891230e-1, 1.78482653991729133580e+0, 5.46378491116411436990e+0, 6.65790464350110377720e+0,
), (
    2.04426310338993978564e-15, 1.42151175831644588870e-7, 1.84631831751005468180e-5, 7.86869131145613259100e-4,
    1.48753612908506148525e-2, 1.36929880922735805310e-1, 5.99832206555887937690e-1, 1.0,
)  # fmt: skip
"""Polynomials above and under the line, the highest power first: of the middle, of the tails, of what lies far out."""


def normal_score(shares: Array) -> Array:
    """Return the standard normal scores below which these shares, inside 0 and 1, lie.

    Source: Wichura (1988), algorithm AS 241, Appl. Stat. 37:477-484, double precision. The standard library has it
    for one number at a time; scipy's takes longer to import than a ride's draws take here.
    """
    found = np.empty(shares.size)
    flat = shares.ravel()
    for at in range(0, flat.size, AT_ONCE):
        found[at : at + AT_ONCE] = _scores(flat[at : at + AT_ONCE])
    return found.reshape(shares.shape)


def _scores(shares: Array) -> Array:
    off = shares - 0.5
    near = np.abs(off) <= NEAR
    above, under = _polynomials(_MIDDLE, NEAR_SQUARED - off * off)
    found = above * off / under
    if near.all():
        return np.asarray(found)
    out = off[~near]
    r = np.sqrt(-np.log(np.where(out <= 0.0, shares[~near], 1.0 - shares[~near])))
    in_tail, far = _polynomials(_TAIL, r - 1.6), _polynomials(_FAR, r - TAIL_ENDS)
    found[~near] = np.copysign(np.where(r <= TAIL_ENDS, in_tail[0] / in_tail[1], far[0] / far[1]), out)
    return np.asarray(found)


def _polynomials(of: tuple[Sequence[float], Sequence[float]], r: Array) -> tuple[Array, Array]:
    above, under = (np.polynomial.polynomial.polyval(r, coefficients[::-1]) for coefficients in of)
    return np.asarray(above, dtype=np.float64), np.asarray(under, dtype=np.float64)
