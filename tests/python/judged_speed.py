"""How long numpy and scipy take to judge holes: `judged_speed.py grids` or `series` reads holes as JSON on standard input and prints seconds.

Each hole: its axis by both models from its increments, its five budgets propagated as distributions (JCGM 101) and expanded, its verdicts;
each two of them: the place of their frame with the most room, by SLSQP as in `reference.py`, from one start. On grids errors are convolved,
as JCGM 101 has it; by series it is the same as ours, its harmonics, chords and tolerances, as arrays. Reading the JSON is not counted.
"""

import json
import sys
import time

import numpy as np
from scipy import interpolate, optimize

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


class Grids:
    """By convolution on a grid, and the disc in strips."""

    CELLS, STRIPS, STRIP_CELLS = 512, 8, 96

    @staticmethod
    def spread(normal, ends):
        """The distribution of normal and rectangular errors together: step and P(|error| <= n steps), by convolution on a grid."""
        step = (5 * normal + sum(ends)) / Grids.CELLS
        at = (np.arange(2 * Grids.CELLS) - Grids.CELLS + 0.5) * step
        density = np.exp(-0.5 * np.square(at / max(normal, 0.5 * step)))
        places = np.arange(2 * Grids.CELLS + 1)
        for end in ends:
            integral = np.concatenate([[0.0], np.cumsum(density)])
            centre, wide = places[:-1] + 0.5, end / step
            density = (np.interp(centre + wide, places, integral) - np.interp(centre - wide, places, integral)) / (2 * wide)
        density /= density.sum()
        return step, np.concatenate([[0.0], np.cumsum(density[Grids.CELLS:] + density[Grids.CELLS - 1 :: -1])])

    @staticmethod
    def below(distribution, at):
        step, within = distribution
        return np.sign(at) * np.interp(np.abs(at), step * np.arange(Grids.CELLS + 1), within)

    @staticmethod
    def interval(distribution):
        step, within = distribution
        return float(np.interp(0.95, within, step * np.arange(Grids.CELLS + 1)))

    @staticmethod
    def pair(distribution, disc, measured):
        """Half-width about a distance, and the guard: two such errors at right angles and a place within a disc, strip by strip."""
        furthest = 2 * distribution[0] * Grids.CELLS + disc
        angle = np.pi * np.arange(1, Grids.STRIPS + 1) / (2 * Grids.STRIPS)
        share = np.square(np.sin(angle)) / Grids.STRIPS * np.where(np.arange(1, Grids.STRIPS + 1) == Grids.STRIPS, 1, 2)
        wide, aside = (disc * np.sin(angle))[:, None], (disc * np.cos(angle))[:, None]
        at = (np.arange(Grids.STRIP_CELLS) + 0.5) * (distribution[0] * Grids.CELLS + wide) / Grids.STRIP_CELLS
        weight = Grids.below(distribution, at + wide) - Grids.below(distribution, at - wide)
        weight *= share[:, None] / (2 * weight.sum(axis=1, keepdims=True))

        def no_larger(distance):
            if distance <= 0:
                return 0.0
            total = 0.0
            for signed in (at, -at):
                left = np.sqrt(np.maximum(distance**2 - np.square(measured + signed), 0))
                here = (Grids.below(distribution, left - aside) + Grids.below(distribution, left + aside)) / 2
                total += float(np.sum(weight * np.where(left > 0, here, 0)))
            return total

        half = optimize.brentq(lambda reach: no_larger(measured + reach) - no_larger(measured - reach) - 0.95, 0, furthest, xtol=1e-6 * furthest)
        guard = optimize.brentq(lambda reach: no_larger(measured + reach) - 0.975, 0, furthest, xtol=1e-6 * furthest)
        return half, max(guard, half)


class Series:
    """By characteristic functions, and the disc by the chords that it has in common with a circle."""

    STEPS, ONE, PARTS = 48, 32, 48

    @staticmethod
    def spread(normal, ends):
        """The distribution of normal and rectangular errors together: how far it reaches and its harmonics."""
        ends = np.array(ends)[:, None]
        standard = np.hypot(normal, np.sqrt(np.square(ends).sum() / 3))
        normal = max(normal, 0.005 * ends.sum())
        reach = min(5 * normal + ends.sum(), 5 * np.hypot(standard, 0.005 * ends.sum()))
        order = np.arange(1, 400)
        frequency = np.pi * order / reach
        gauss = np.exp(-0.5 * np.square(normal * frequency)) / order
        bound = gauss * np.minimum(1 / (ends * frequency), 1).prod(axis=0)
        many = int(np.argmax(bound < 1e-6))
        turns = ends * frequency[:many]
        return reach, 2 / np.pi * gauss[:many] * (np.sin(turns) / turns).prod(axis=0)

    @staticmethod
    def within(distribution, at):
        reach, harmonics = distribution
        at = np.minimum(at, reach)
        return at / reach + np.sin(np.multiply.outer(at, np.pi / reach * np.arange(1, len(harmonics) + 1))) @ harmonics

    @staticmethod
    def interval(distribution):
        return optimize.brentq(lambda at: Series.within(distribution, at) - 0.95, 0, distribution[0], xtol=1e-6 * distribution[0])

    @staticmethod
    def pair(distribution, disc, measured):
        """Half-width about a distance, and the guard: two such errors at right angles and a place within a disc."""
        reach = distribution[0]
        places = np.linspace(0, reach, 8 * Series.ONE + 1)
        one = Series.within(distribution, places)
        distance = np.linspace(max(measured - reach, 0), np.hypot(measured + reach, reach), Series.STEPS + 1)[:, None]
        start, end = (np.arcsin(np.clip((measured + way * reach) / np.maximum(distance, 1e-12), -1, 1)) for way in (-1, 1))
        angle = start + (end - start) * np.arange(2 * Series.PARTS + 1) / (2 * Series.PARTS)
        along = distance * np.sin(angle[:, ::2]) - measured
        below = np.sign(along) * np.interp(np.abs(along), places, one)
        across = np.interp(distance * np.cos(angle[:, 1::2]), places, one)
        without_disc = interpolate.CubicSpline(distance[:, 0], 0.5 * np.sum(np.diff(below) * across, axis=1))
        least, most = distance[0, 0], distance[-1, 0]
        standard = reach / 5
        turns = int(8 + 4 * disc / standard)
        turn = np.pi * np.arange(1, turns + 1) / (turns + 1)
        sin, cos = np.square(np.sin(turn)), np.cos(turn)

        def no_larger(distance):
            if distance <= 0:
                return 0.0
            square = distance * distance + disc * disc - 2 * distance * disc * cos
            return 2 * distance**2 / (turns + 1) * float(np.sum(sin * without_disc(np.clip(np.sqrt(square), least, most)) / square))

        furthest = 2 * reach + disc
        half = optimize.brentq(lambda out: no_larger(measured + out) - no_larger(measured - out) - 0.95, 0, furthest, xtol=1e-6 * furthest)
        guard = optimize.brentq(lambda out: no_larger(measured + out) - 0.975, 0, furthest, xtol=1e-6 * furthest)
        return half, max(guard, half)


def judged(by, hole):
    depth, offsets = axis(hole)
    toe = float(np.hypot(*offsets[:, -1]))
    expanded = []
    for budget in hole["budgets"]:
        distribution = by.spread(budget["normal"], budget["ends"])
        if budget["disc"] is None:
            expanded.append(by.interval(distribution))
        else:
            expanded.append(by.pair(distribution, budget["disc"], toe if budget["of_distance"] else 0.0)[0])
    return [abs(depth[-1] - hole["planned"]) + expanded[0] < 0.05, (toe + expanded[2]) / depth[-1] < hole["limit"]]


def fit(legs):
    centres, gaps = stations(legs)
    return most_room(centres, gaps, (centres.mean(axis=0),))


def main():
    by = {"grids": Grids, "series": Series}[sys.argv[1]]
    holes = json.load(sys.stdin)
    since = time.process_time()
    for hole in holes:
        judged(by, hole)
    for two in zip(holes[::2], holes[1::2]):
        fit([hole["leg"] for hole in two])
    print(time.process_time() - since)


if __name__ == "__main__":
    main()
