"""The two levels of power of an appliance that runs and rests, where it has them."""

from __future__ import annotations

import numpy as np

CLEAR_SPLIT = 0.85  # share of the variance of log power that two levels explain; one hump gives 0.64, a ramp 0.75
CLEAR_STEP = 2.5  # running takes at least this many times the power of standing still
STEADY_SPEED = 0.25  # quartile range of log running power: more, and the compressor varies its speed
SLOWEST_STEP_S = 300.0  # a record sampled more slowly cannot show cycles


def on_level(duration_s: np.ndarray, power_w: np.ndarray) -> float | None:
    """Return the power from which the appliance runs [W], or None where it has no two clear levels.

    Otsu's threshold on the logarithm of power: of all splits, the one that explains most of the
    variance. On plain power it would fall among the start spikes and defrosts. The level is then half
    the median power above the split, so that a lamp is not taken for a compressor.

    Notes
    -----
    None for a steady load, for a variable-speed compressor and for a record sampled in slow steps.

    References
    ----------
    N. Otsu, "A threshold selection method from gray-level histograms", IEEE Trans. Syst. Man Cybern. 9
    (1979) 62, from memory.
    """
    short, long = np.quantile(duration_s, [0.1, 0.9])
    top = np.quantile(power_w, 0.99)
    if not top > 0 or (short > SLOWEST_STEP_S and long < 1.5 * short):
        return None
    logs = np.log(np.maximum(power_w, 0.01 * top))
    split = _otsu(logs, duration_s)
    high = logs > (np.inf if split is None else split)
    if split is None or not high.any():
        return None
    low_w, high_w = (weighted_median(power_w[side], duration_s[side]) for side in (~high, high))
    spread = np.subtract(*np.quantile(logs[high], [0.75, 0.25]))
    if high_w < CLEAR_STEP * low_w or spread > STEADY_SPEED:
        return None
    return max(float(np.exp(split)), high_w / 2)


def _otsu(values: np.ndarray, weights: np.ndarray) -> float | None:
    """Return the split of ``values`` that explains most of their variance, or None where it explains too little."""
    share, edges = np.histogram(values, bins=128, weights=weights)
    share, middle = share / share.sum(), (edges[1:] + edges[:-1]) / 2
    below, part, mean = np.cumsum(share)[:-1], np.cumsum(share * middle)[:-1], np.dot(share, middle)
    shares = below * (1 - below)
    between = np.divide((mean * below - part) ** 2, shares, out=np.zeros(below.size), where=shares > 0)
    best = int(np.argmax(between))
    return float(edges[best + 1]) if between[best] > CLEAR_SPLIT * np.dot(share, (middle - mean) ** 2) else None


def weighted_median(values: np.ndarray, weights: np.ndarray) -> float:
    """Return the value with half the weight below it."""
    return float(np.quantile(values, 0.5, weights=weights, method="inverted_cdf"))
