"""Answers of packages that nobody here wrote: `reference.py WHAT` reads JSON on standard input and prints JSON.

  tilt          ahrs: accelerations [x, y, z] to roll and pitch, degrees
  well          wellpathpy: stations [depth, inclination, azimuth] (m, degrees) to offsets by the tangential method that
                takes each interval's lower station [[north, east], ...]
  propagate     uncertainties: the stick's toe from values and standard uncertainties, to [value, standard uncertainty]
  spread        scipy and numpy: half-width that holds 95 % of a sum of errors, by Monte Carlo
  student       scipy: degrees of freedom to [half-width of the 95 % interval, radius of the 95 % circle], in standard
                deviations that were estimated with so many
  region        scipy and numpy: radius that holds 95 % of a pair of sums, by Monte Carlo
"""

import json
import sys

import numpy as np
from scipy import stats

DRAWS = 4_000_000


def tilt(accelerations):
    from ahrs.filters import Tilt

    angles = Tilt(acc=np.array(accelerations), representation="angles").Q
    return [[float(np.degrees(roll)), float(np.degrees(pitch))] for roll, pitch, _ in angles]


def well(stations):
    import wellpathpy

    depth, inclination, azimuth = map(list, zip(*stations))
    path = wellpathpy.deviation(md=depth, inc=inclination, azi=azimuth).tan_method(choice="high")
    return [[float(n), float(e)] for n, e in zip(path.northing, path.easting)]


def propagate(problem):
    from uncertainties import ufloat

    guide, ground, depth = problem["guide"], problem["ground"], problem["depth"]
    common = ufloat(0, problem["common"])
    start = ufloat(problem["start"], problem["noise_start"]) + common
    now = ufloat(problem["now"], problem["noise_now"]) + common
    toe = (guide + depth) * now - (guide + ground) * start
    return [toe.nominal_value, toe.std_dev]


def draws(errors, generator):
    total = np.zeros(DRAWS)
    for shape, size in errors:
        if shape == "normal":
            total += stats.norm.rvs(scale=size, size=DRAWS, random_state=generator)
        elif shape == "disc":
            total += within_disc(size, generator)[0]
        else:
            total += stats.uniform.rvs(loc=-size, scale=2 * size, size=DRAWS, random_state=generator)
    return total


def within_disc(radius, generator):
    """Places within a disc, no place likelier than another: x and y."""
    away, angle = radius * np.sqrt(generator.random(DRAWS)), 2 * np.pi * generator.random(DRAWS)
    return away * np.cos(angle), away * np.sin(angle)


def spread(errors):
    return float(np.quantile(np.abs(draws(errors, np.random.default_rng(1))), 0.95))


def student(freedom):
    return [float(stats.t.ppf(0.975, freedom)), float(np.sqrt(2 * stats.f.ppf(0.95, 2, freedom)))]


def region(pair):
    generator = np.random.default_rng(2)
    place = within_disc(pair[2], generator)
    return float(np.quantile(np.hypot(draws(pair[0], generator) + place[0], draws(pair[1], generator) + place[1]), 0.95))


if __name__ == "__main__":
    what = {"tilt": tilt, "well": well, "propagate": propagate, "spread": spread, "student": student, "region": region}[sys.argv[1]]
    print(json.dumps([what(problem) for problem in json.load(sys.stdin)]))
