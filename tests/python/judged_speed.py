"""How long numpy and scipy take to judge holes: `judged_speed.py` reads holes as JSON on standard input and prints seconds.

Each hole: its axis by both models from its increments, its five budgets combined and expanded, its verdicts; each two of them: the place
of their frame with the most room, by SLSQP as in `reference.py`, from one start. Reading the JSON is not counted.
"""

import json
import sys
import time

import numpy as np
from scipy import optimize, stats


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


def judged(hole):
    depth, offsets = axis(hole)
    expanded = []
    for terms in hole["budgets"]:
        standard = np.sqrt(np.sum(np.square(terms)))
        expanded.append(stats.norm.ppf(0.975) * standard)
    lean = np.hypot(*offsets[:, -1]) / depth[-1]
    return [abs(depth[-1] - hole["planned"]) + expanded[0] < 0.05, lean + expanded[2] / depth[-1] < hole["limit"]]


def fit(legs):
    centres, gaps = [], []
    for leg in legs:
        depth, ahead, right, radius = 1e3 * np.array(leg["stations"]).T
        offset = 1e3 * (np.array(leg["stake"]) - np.array(leg["framed"]))
        centres.append(np.column_stack([ahead, right]) + offset - np.outer(depth, leg["rake"]))
        gaps.append(radius - (1e3 * leg["butt"] - leg["narrows"] * (depth[-1] - depth)))
    centres, gaps = np.vstack(centres), np.concatenate(gaps)

    def rooms(place):
        return gaps - np.hypot(*(centres - place).T)

    def slopes(x):
        away = centres - x[:2]
        return np.column_stack([away / np.maximum(np.hypot(*away.T), 1e-9)[:, None], -np.ones(len(gaps))])

    start = centres.mean(axis=0)
    found = optimize.minimize(
        lambda x: -x[2], [*start, rooms(start).min()], jac=lambda x: np.array([0.0, 0.0, -1.0]),
        constraints={"type": "ineq", "fun": lambda x: rooms(x[:2]) - x[2], "jac": slopes},
        method="SLSQP", options={"maxiter": 200, "ftol": 1e-9},
    )
    return rooms(found.x[:2]).min()


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
