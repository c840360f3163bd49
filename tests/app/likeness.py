"""Whether two runs of one scenario, given differently often, can be two samples of the same rig."""
import csv
import itertools
import math

ERROR = 1e-4  # of each comparison: that it tells two samples of the same rig apart
QUANTILES = (0.25, 0.5, 0.75, 0.95)
# Voids that only the machine is to blame for, on which the run goes on.
MACHINES_VOIDS = ("late-pulse", "wrong-pulse")


def share_of_arrangements(x, n, others_x, others_n):
    """Two-sided exact test (Fisher): how likely x of n, or what is less likely, is if both have one share."""
    hits, total = x + others_x, n + others_n

    def arrangements(k):
        return math.comb(n, k) * math.comb(others_n, hits - k)

    possible = range(max(0, hits - others_n), min(n, hits) + 1)
    return sum(count for count in map(arrangements, possible) if count <= arrangements(x)) / math.comb(total, hits)


def fewer_below(n, q):
    """For each rank from 1 to n: how likely fewer than so many of n values lie below the quantile q."""
    def exactly(k):
        return math.exp(math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
                        + k * math.log(q) + (n - k) * math.log1p(-q))

    return itertools.accumulate(map(exactly, range(n)))


def quantile_interval(values, q, error):
    """By order statistics, two-sided; an end that so few values cannot give is infinite."""
    low, high = -math.inf, math.inf
    for value, fewer in zip(sorted(values), fewer_below(len(values), q)):
        if fewer <= error / 2:
            low = value
        if 1 - fewer <= error / 2:
            high = min(high, value)
    return low, high


class Sample:
    """What trials.csv says of runs with one device."""

    def __init__(self, *files):
        self.given = []
        for file in files:
            with open(file, newline="") as text:
                self.given += [row for row in csv.DictReader(text) if row["kind"] == "rhythm"]
        self.valid = [row for row in self.given if not row["void"]]
        self.latencies_ms = [float(row["latency_ms"]) for row in self.valid if row["outcome"] == "hit"]

    def shares(self):
        """Name of the figure: (x, n)."""
        rigs = [row for row in self.given if row["void"] not in MACHINES_VOIDS]
        figures = {"presentations void": (sum(bool(row["void"]) for row in rigs), len(rigs))}
        for block in sorted({row["block"] for row in self.valid}):
            rows = [row for row in self.valid if row["block"] == block]
            for outcome in ("hit", "confusion", "miss", "false-response"):
                figures[f"block {block}, {outcome}"] = (sum(row["outcome"] == outcome for row in rows), len(rows))
        return figures


def differences(one, other, tolerance_ms):
    """Each figure in which two samples differ by more than chance, in words; latencies may differ by the tolerance."""
    found = []
    others = other.shares()
    for name, (x, n) in one.shares().items():
        others_x, others_n = others[name]
        if share_of_arrangements(x, n, others_x, others_n) <= ERROR:
            found.append(f"{name}: {x} of {n}, and {others_x} of {others_n}")
    for q in QUANTILES:
        low, high = quantile_interval(one.latencies_ms, q, ERROR / 2)
        others_low, others_high = quantile_interval(other.latencies_ms, q, ERROR / 2)
        if low > others_high + tolerance_ms or others_low > high + tolerance_ms:
            found.append(f"latency p{100 * q:g}: {low} to {high} ms, and {others_low} to {others_high} ms")
    return found
