"""How long numpy and scipy take to judge holes: `judged_speed.py` reads holes as JSON on standard input and prints seconds.

Each hole: its axis by both models from its increments, its five budgets propagated as distributions (JCGM 101) and expanded, its verdicts;
each two of them: the place of their frame with the most room, by SLSQP as in `reference.py`, from one start. The same grids, strips and
tolerances as ours, as arrays. Reading the JSON is not counted.
"""

import json
import sys
import time

import numpy as np
from scipy import optimize

from reference import most_room, stations


def axis(hole):
    depth, *leans = np.array(hole["increments"]).T
    guide = hole["guide"]
    ends = []
    for lean in leans:
        window = np.convolve(lean, np.ones(4) / 4, mode="same")
        stick = (guide + depth) * window - guide * window[:4].mean()
        wall = np.cumsum(np.diff(depth, prepend=0.0) * lean)
        ends.append((stick + wall) / 2)
    return depth, np.array(ends)


CELLS, STRIPS, STRIP_CELLS = 512, 8, 96


def spread(normal, ends):
    """The distribution of normal and rectangular errors together: step and P(|error| <= n steps), by convolution on a grid."""
    step = (5 * normal + sum(ends)) / CELLS
    at = (np.arange(2 * CELLS) - CELLS + 0.5) * step
    density = np.exp(-0.5 * np.square(at / max(normal, 0.5 * step)))
    places = np.arange(2 * CELLS + 1)
    for end in ends:
        integral = np.concatenate([[0.0], np.cumsum(density)])
        centre, wide = places[:-1] + 0.5, end / step
        density = (np.interp(centre + wide, places, integral) - np.interp(centre - wide, places, integral)) / (2 * wide)
    density /= density.sum()
    return step, np.concatenate([[0.0], np.cumsum(density[CELLS:] + density[CELLS - 1 :: -1])])


def below(distribution, at):
    step, within = distribution
    return np.sign(at) * np.interp(np.abs(at), step * np.arange(CELLS + 1), within)


def interval(distribution):
    step, within = distribution
    return float(np.interp(0.95, within, step * np.arange(CELLS + 1)))


def pair(distribution, disc, measured):
    """Half-width about a distance, and the guard: two such errors at right angles and a place within a disc, strip by strip."""
    furthest = 2 * distribution[0] * CELLS + disc
    angle = np.pi * np.arange(1, STRIPS + 1) / (2 * STRIPS)
    share = np.square(np.sin(angle)) / STRIPS * np.where(np.arange(1, STRIPS + 1) == STRIPS, 1, 2)
    wide, aside = (disc * np.sin(angle))[:, None], (disc * np.cos(angle))[:, None]
    at = (np.arange(STRIP_CELLS) + 0.5) * (distribution[0] * CELLS + wide) / STRIP_CELLS
    weight = below(distribution, at + wide) - below(distribution, at - wide)
    weight *= share[:, None] / (2 * weight.sum(axis=1, keepdims=True))

    def no_larger(distance):
        if distance <= 0:
            return 0.0
        total = 0.0
        for signed in (at, -at):
            left = np.sqrt(np.maximum(distance**2 - np.square(measured + signed), 0))
            here = (below(distribution, left - aside) + below(distribution, left + aside)) / 2
            total += float(np.sum(weight * np.where(left > 0, here, 0)))
        return total

    half = optimize.brentq(lambda reach: no_larger(measured + reach) - no_larger(measured - reach) - 0.95, 0, furthest, xtol=1e-6 * furthest)
    guard = optimize.brentq(lambda reach: no_larger(measured + reach) - 0.975, 0, furthest, xtol=1e-6 * furthest)
    return half, max(guard, half)


def judged(hole):
    depth, offsets = axis(hole)
    toe = float(np.hypot(*offsets[:, -1]))
    expanded = []
    for budget in hole["budgets"]:
        distribution = spread(budget["normal"], budget["ends"])
        if budget["disc"] is None:
            expanded.append(interval(distribution))
        else:
            expanded.append(pair(distribution, budget["disc"], toe if budget["of_distance"] else 0.0)[0])
    return [abs(depth[-1] - hole["planned"]) + expanded[0] < 0.05, (toe + expanded[2]) / depth[-1] < hole["limit"]]


def fit(legs):
    centres, gaps = stations(legs)
    return most_room(centres, gaps, (centres.mean(axis=0),))


def main():
    holes = json.load(sys.stdin)
    since = time.process_time()
    for hole in holes:
        judged(hole)
    for two in zip(holes[::2], holes[1::2]):
        fit([hole["leg"] for hole in two])
    print(time.process_time() - since)


if __name__ == "__main__":
    main()
