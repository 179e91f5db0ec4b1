"""Answers of packages that nobody here wrote: `reference.py WHAT` reads JSON on standard input and prints JSON.

  tilt          ahrs: accelerations [x, y, z] to roll and pitch, degrees
  well          wellpathpy: stations [depth, inclination, azimuth] (m, degrees) to offsets by the tangential method that
                takes each interval's lower station [[north, east], ...]
  propagate     uncertainties: the stick's toe from values and standard uncertainties, to [value, standard uncertainty]
  spread        scipy and numpy: half-width that holds 95 % of a sum of errors, by Monte Carlo
  student       scipy: degrees of freedom to [half-width of the 95 % interval, radius of the 95 % circle], in standard
                deviations that were estimated with so many
  fit           scipy's SLSQP: holes and poles of a frame, and a place, to [room at that place, most room anywhere], metres
  region        scipy and numpy: radius that holds 95 % of a pair of sums, by Monte Carlo
  schema        jsonschema: [schema, object, strict] to what is wrong, JSON Schema 2020-12, formats checked; a strict one takes no name
                that the schema does not have
  on_map        geojson: a collection to [what is wrong, [[longitude, latitude] or null, ...]], by the rules of RFC 7946 that it knows
  table         Python's own csv: a text to its rows, a dictionary each, and whether every line ends in CR LF
"""

import json
import sys

import numpy as np
from scipy import optimize, stats

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


def only_known(schema):
    if isinstance(schema, list):
        return [only_known(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    strict = {name: only_known(part) for name, part in schema.items()}
    return {**strict, "additionalProperties": False} if "properties" in strict else strict


def schema(problem):
    from jsonschema import Draft202012Validator as Validator

    wanted, found, strict = problem
    Validator.check_schema(wanted)
    validator = Validator(only_known(wanted) if strict else wanted, format_checker=Validator.FORMAT_CHECKER)
    return [f"{list(error.absolute_path)}: {error.message[:200]}" for error in validator.iter_errors(found)]


def on_map(collection):
    import geojson

    read = geojson.loads(json.dumps(collection))
    wrong = [] if isinstance(read, geojson.FeatureCollection) and read.is_valid else [str(read.errors())]
    points = [list(feature.geometry.coordinates) if feature.geometry else None for feature in read.features]
    wrong += [str(f.geometry.errors()) for f in read.features if f.geometry and not f.geometry.is_valid]
    return [wrong, points]


def table(text):
    import csv
    import io

    ends = text.endswith("\r\n") and len(text.splitlines()) == text.count("\r\n")
    return [list(csv.DictReader(io.StringIO(text, newline=""), strict=True)), ends]


def distance(problem):
    """How far the distance from a centre may be off a measured one: either way in 95 of 100 cases, above it in 1 of 40."""
    generator = np.random.default_rng(3)
    place = within_disc(problem[2], generator)
    along = problem[3] + draws(problem[0], generator) + place[0]
    off = np.hypot(along, draws(problem[1], generator) + place[1]) - problem[3]
    return [float(np.quantile(np.abs(off), 0.95)), float(np.quantile(off, 0.975))]


def stations(legs):
    """All stations of all legs where the frame stands, and by how much each radius is over its pole's; millimetres."""
    centres, gaps = [], []
    for leg in legs:
        depth, ahead, right, radius = 1e3 * np.array(leg["stations"]).T
        offset = 1e3 * (np.array(leg["stake"]) - np.array(leg["framed"]))
        rake = np.array(leg["rake"])
        centres += [np.column_stack([ahead, right]) + offset - np.outer(depth, rake)]
        gaps += [radius - (1e3 * leg["butt"] - leg["narrows"] * (depth[-1] - depth))]
    return np.vstack(centres), np.concatenate(gaps)


def most_room(centres, gaps, starts):
    """Maximises m over p and m so that R - r - |c - p - k z| >= m at every station of every leg, by SLSQP from each start."""

    def rooms(place):
        return gaps - np.hypot(*(centres - place).T)

    def slopes(x):
        away = centres - x[:2]
        return np.column_stack([away / np.maximum(np.hypot(*away.T), 1e-9)[:, None], -np.ones(len(gaps))])

    limits = {"type": "ineq", "fun": lambda x: rooms(x[:2]) - x[2], "jac": slopes}
    best = -np.inf
    for start in starts:
        found = optimize.minimize(
            lambda x: -x[2], [*start, rooms(start).min()], jac=lambda x: np.array([0.0, 0.0, -1.0]),
            constraints=limits, method="SLSQP", options={"maxiter": 200, "ftol": 1e-9},
        )
        best = max(best, rooms(found.x[:2]).min())
    return best


def fit(frame):
    centres, gaps = stations(frame["legs"])
    there = (gaps - np.hypot(*(centres - 1e3 * np.array(frame["place"])).T)).min()
    best = most_room(centres, gaps, (centres.mean(axis=0), centres[np.argmin(gaps)] + 1.0))
    return [float(there) / 1e3, float(best) / 1e3]


if __name__ == "__main__":
    known = [tilt, well, propagate, spread, student, region, distance, fit, schema, on_map, table]
    what = {function.__name__: function for function in known}[sys.argv[1]]
    print(json.dumps([what(problem) for problem in json.load(sys.stdin)]))
