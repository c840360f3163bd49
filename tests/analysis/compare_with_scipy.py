#!/usr/bin/env python3
"""Compares the tests of src/analysis/comparing with SciPy's on random inputs: compare_with_scipy.py PROGRAM

PROGRAM answers one line of inputs with one line of numbers. What SciPy does not have is computed here from its
definition with SciPy's distributions. Exit codes: 0 all agree, 1 some differ, 77 no scipy module here (package
python3-scipy).
"""

import functools
import random
import subprocess
import sys
import warnings

try:
    import numpy as np
    from scipy import special, stats
except ImportError:
    print("skipped: no Python module scipy here (package python3-scipy)")
    sys.exit(77)

INPUTS = 1000
ALTERNATIVES = ("two-sided", "greater", "less")
NAN = float("nan")


class Difference(Exception):
    """Two numbers that should agree do not."""


def agree(what, ours, theirs, relative=1e-8, absolute=1e-12):
    if ours == theirs or (ours != ours and theirs != theirs):
        return
    if not abs(ours - theirs) <= max(absolute, relative * abs(theirs)):
        raise Difference(f"{what}: {ours!r} here, {theirs!r} by SciPy")


def proportion(draw, most):
    n = draw.randint(1, most)
    rate = draw.choice([0.02, 0.3, 0.5, 0.8, 0.97])
    return sum(draw.random() < rate for _ in range(n)), n


def tail_point(confidence):
    return stats.norm.isf((1 - confidence) / 2)


# ----- two proportions -----

def draw_difference_of_rates(draw):
    return *proportion(draw, 200), *proportion(draw, 200), draw.choice([0.8, 0.9, 0.95, 0.99])


def likelihood_slope(x1, n1, x2, n2, d):
    """Coefficients in p2 of the score equation of two binomials that differ by d, its denominators multiplied out."""
    p = np.polynomial.Polynomial([0, 1])
    p1, q1, q2 = p + d, 1 - d - p, 1 - p
    return x1 * q1 * p * q2 - (n1 - x1) * p1 * p * q2 + x2 * p1 * q1 * q2 - (n2 - x2) * p1 * q1 * p


def score(x1, n1, x2, n2, d):
    """Miettinen and Nurminen's, by all roots of the score equation: the one of the largest likelihood."""
    low, high = max(0, -d), min(1, 1 - d)
    roots = likelihood_slope(x1, n1, x2, n2, d).roots()
    real = np.clip(roots.real[np.abs(roots.imag) < 1e-3], low, high)
    candidates = np.append(real, [low, high])
    logs = sum(special.xlogy(x, p) + special.xlogy(n - x, 1 - p)
               for x, n, p in ((x1, n1, np.clip(candidates + d, 0, 1)), (x2, n2, candidates)))
    p2 = candidates[np.argmax(logs)]
    p1 = min(1, max(0, p2 + d))
    variance = (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2) * (n1 + n2) / (n1 + n2 - 1)
    return (x1 / n1 - x2 / n2 - d) / variance ** 0.5


def check_difference_of_rates(ours, x1, n1, x2, n2, confidence):
    a = stats.binomtest(x1, n1).proportion_ci(confidence, "wilson")
    b = stats.binomtest(x2, n2).proportion_ci(confidence, "wilson")
    p1, p2 = x1 / n1, x2 / n2
    agree("Newcombe lower", ours[0], p1 - p2 - np.hypot(p1 - a.low, b.high - p2), absolute=1e-10)
    agree("Newcombe upper", ours[1], p1 - p2 + np.hypot(a.high - p1, p2 - b.low), absolute=1e-10)
    z = tail_point(confidence)
    if ours[2] > -1:
        agree("score at the lower end", score(x1, n1, x2, n2, ours[2]), z, relative=1e-4)
    if ours[3] < 1:
        agree("score at the upper end", score(x1, n1, x2, n2, ours[3]), -z, relative=1e-4)


def draw_exact_tests(draw):
    return *proportion(draw, 25), *proportion(draw, 25)


ANGLES = np.linspace(0, np.pi / 2, 2001)
RATES = np.sin(ANGLES) ** 2


@functools.lru_cache(maxsize=None)
def binomial_masses(n):
    return stats.binom.pmf(np.arange(n + 1)[:, None], n, RATES)


def largest_probability(extreme, n1, n2):
    """Over the common rate, of the tables marked; and how much more it may be between the rates tried."""
    at_each = (binomial_masses(n1) * (extreme.astype(float) @ binomial_masses(n2))).sum(0)
    return at_each.max(), 2 * (n1 + n2) * (ANGLES[1] / 2) ** 2


def barnard_statistic(n1, n2):
    x1, x2 = np.arange(n1 + 1)[:, None], np.arange(n2 + 1)[None, :]
    pooled = (x1 + x2) / (n1 + n2)
    variance = pooled * (1 - pooled) * (1 / n1 + 1 / n2)
    return np.where(variance > 0, (x1 / n1 - x2 / n2) / np.sqrt(np.where(variance > 0, variance, 1)), 0)


def check_exact_tests(ours, x1, n1, x2, n2):
    table = [[x1, x2], [n1 - x1, n2 - x2]]
    for k, alternative in enumerate(ALTERNATIVES):
        agree("Fisher " + alternative, ours[k], stats.fisher_exact(table, alternative)[1])
    statistic = barnard_statistic(n1, n2)
    i, j = np.arange(n1 + 1)[:, None], np.arange(n2 + 1)[None, :]
    greater = stats.hypergeom.sf(i - 1, n1 + n2, i + j, n1)
    less = stats.hypergeom.cdf(i, n1 + n2, i + j, n1)
    for what, p, extremeness in (("Barnard two-sided", ours[3], -abs(statistic)), ("Barnard greater", ours[4], -statistic),
                                 ("Barnard less", ours[5], statistic), ("Boschloo greater", ours[7], greater),
                                 ("Boschloo less", ours[8], less)):
        found, more = largest_probability(extremeness <= extremeness[x1, x2] + 1e-9, n1, n2)
        if not found - 3e-7 <= p <= found + more + 1e-9:
            raise Difference(f"{what}: {p!r} here, {found!r} to {found + more!r} by a grid of rates")
    agree("Boschloo two-sided", ours[6], min(1, 2 * min(ours[7], ours[8])))


def draw_boschloo(draw):
    return draw_exact_tests(draw)


def check_boschloo(ours, x1, n1, x2, n2):
    """SciPy's own search for the largest probability, slow and sometimes short of it."""
    table = [[x1, x2], [n1 - x1, n2 - x2]]
    theirs = stats.boschloo_exact(table, "greater", n=32).pvalue
    if not theirs - 1e-6 <= ours[7] <= theirs + 0.002:
        raise Difference(f"Boschloo greater: {ours[7]!r} here, {theirs!r} by SciPy")


# ----- pairs and rates -----

def draw_pairs(draw):
    most = draw.choice([3, 20, 200])
    counts = [draw.randint(0, most) for _ in range(4)]
    counts[draw.randrange(4)] += 1
    return *counts, draw.choice([0.8, 0.9, 0.95, 0.99])


def tango_score(a, b, c, d, difference):
    """By the likelihood of all shares on ever finer grids."""
    low, high = max(0, -difference), (1 - difference) / 2
    for _ in range(12):
        shares = np.linspace(low, high, 41)
        logs = (special.xlogy(c, np.clip(shares, 0, 1)) + special.xlogy(b, np.clip(shares + difference, 0, 1)) +
                special.xlogy(a + d, np.clip(1 - 2 * shares - difference, 0, 1)))
        best = int(np.argmax(logs))
        low, high = shares[max(0, best - 1)], shares[min(40, best + 1)]
    n = a + b + c + d
    variance = n * (low + high + difference * (1 - difference))
    return (b - c - n * difference) / variance ** 0.5


def check_pairs(ours, a, b, c, d, confidence):
    z = tail_point(confidence)
    if ours[0] > -1:
        agree("Tango's score at the lower end", tango_score(a, b, c, d, ours[0]), z, relative=1e-4)
    if ours[1] < 1:
        agree("Tango's score at the upper end", tango_score(a, b, c, d, ours[1]), -z, relative=1e-4)
    for k, alternative in enumerate(ALTERNATIVES):
        p = stats.binomtest(b, b + c, 0.5, alternative).pvalue if b + c else 1.0
        agree("McNemar " + alternative, ours[2 + k], p)


def draw_rates(draw):
    most = draw.choice([2, 30, 3000])
    return (draw.randint(0, most), draw.choice([0.5, 7.0, 168.0]), draw.randint(0, most), draw.choice([0.3, 24.0, 100.0]),
            draw.choice([0.8, 0.95]), draw.choice([0.5, 1.0, 3.0]))


def check_rates(ours, x1, t1, x2, t2, confidence, ratio):
    tail = (1 - confidence) / 2
    low = stats.beta.ppf(tail, x1, x2 + 1) if x1 else 0.0
    high_other = stats.beta.ppf(tail, x2, x1 + 1) if x2 else 0.0  # the second's share at the upper end
    agree("ratio lower", ours[0], low / (1 - low) * t2 / t1 if x1 else 0.0)
    agree("ratio upper", ours[1], (1 - high_other) / high_other * t2 / t1 if x2 else float("inf"))
    for k, alternative in enumerate(ALTERNATIVES):
        p = stats.binomtest(x1, x1 + x2, t1 * ratio / (t1 * ratio + t2), alternative).pvalue if x1 + x2 else 1.0
        agree("rate ratio " + alternative, ours[2 + k], p)


# ----- samples -----

def sample(draw, size, tied):
    values = (float(draw.randint(0, 12)) if tied else draw.gauss(0, 1) for _ in range(size))
    return np.array(sorted(values))


def draw_samples(draw, least=1):
    tied = draw.random() < 0.4
    return sample(draw, draw.randint(least, 25), tied), sample(draw, draw.randint(least, 25), tied)


draw_ranks = draw_samples


def check_ranks(ours, x, y):
    n, m = len(x), len(y)
    ties = len(np.unique(np.concatenate((x, y)))) < n + m
    equal = len(np.unique(np.concatenate((x, y)))) == 1
    for k, alternative in enumerate(ALTERNATIVES):
        exact = NAN if ties else stats.mannwhitneyu(x, y, method="exact", alternative=alternative).pvalue
        agree("exact " + alternative, ours[1 + k], exact)
        for column, continuity in ((4, True), (7, False)):
            normal = stats.mannwhitneyu(x, y, use_continuity=continuity, method="asymptotic", alternative=alternative)
            agree("U", ours[0], normal.statistic)
            agree("normal " + alternative, ours[column + k], NAN if equal else min(1.0, normal.pvalue))
    differences = np.sort((x[:, None] - y[None, :]).ravel())
    agree("shift", ours[10], np.median(differences), absolute=1e-9)
    cumulated = np.cumsum(rank_sum_masses(n, m))
    rank = max(1, int(np.argmax(cumulated >= 0.05 * (1 - 1e-12))))
    agree("shift lower", ours[11], differences[rank - 1])
    agree("shift upper", ours[12], differences[n * m - rank])


@functools.lru_cache(maxsize=None)
def rank_sum_masses(n, m):
    """P(U = u): the largest value belongs to the first sample, and exceeds m, or to the second."""
    if n == 0 or m == 0:
        return np.ones(1)
    masses = np.zeros(n * m + 1)
    masses[m:] += n / (n + m) * rank_sum_masses(n - 1, m)
    masses[:n * (m - 1) + 1] += m / (n + m) * rank_sum_masses(n, m - 1)
    return masses


def draw_distances(draw):
    return draw_samples(draw, least=2)


def check_distances(ours, x, y):
    n, m = len(x), len(y)
    theirs = stats.ks_2samp(x, y, method="exact")
    agree("KS distance", ours[0], theirs.statistic)
    pool = np.unique(np.concatenate((x, y)))
    if len(pool) == n + m:  # SciPy's exact p is not conditional on ties
        agree("KS exact", ours[1], theirs.pvalue, absolute=1e-10)
    agree("KS limit", ours[2], special.kolmogorov((n * m / (n + m)) ** 0.5 * theirs.statistic), absolute=1e-10)
    if len(pool) > 1:
        agree("Anderson-Darling", ours[3], stats.anderson_ksamp([x, y], midrank=False).statistic, absolute=1e-9)
    agree("quantiles", ours[4], np.quantile(x, 0.9) - np.quantile(y, 0.9), absolute=1e-9)


def draw_dispersion(draw):
    return (np.array([proportion(draw, 40) for _ in range(draw.randint(2, 6))]),)


def check_dispersion(ours, units):
    successes, failures = units[:, 0], units[:, 1] - units[:, 0]
    none = successes.sum() == 0 or failures.sum() == 0
    chi_square = 0.0 if none else stats.chi2_contingency([successes, failures], correction=False)[0]
    agree("chi-square", ours[0], chi_square, absolute=1e-9)


# ----- all of them -----

# Function drawn for, line asked, how many inputs.
COMPARISONS = (("difference_of_rates", "difference_of_rates", INPUTS), ("exact_tests", "exact_tests", INPUTS),
               ("boschloo", "exact_tests", 50), ("pairs", "pairs", INPUTS), ("rates", "rates", INPUTS),
               ("ranks", "ranks", INPUTS), ("distances", "distances", INPUTS), ("dispersion", "dispersion", INPUTS))


def as_text(value):
    if isinstance(value, np.ndarray):
        return " ".join([str(len(value)), *(repr(v.item()) for v in value.ravel())])
    return repr(value)


def main():
    warnings.simplefilter("ignore")  # SciPy's remarks on ties and on p-values beyond its tables
    draw = random.Random(20240917)
    asked, lines = [], []
    for name, line, count in COMPARISONS:
        for _ in range(count):
            inputs = globals()["draw_" + name](draw)
            asked.append((name, inputs))
            lines.append(" ".join([line, *map(as_text, inputs)]))
    answers = subprocess.run([sys.argv[1]], input="\n".join(lines), capture_output=True, text=True, check=True)
    answers = answers.stdout.splitlines()
    if len(answers) != len(lines):
        sys.exit(f"{len(lines)} lines asked, {len(answers)} answered")
    differ = 0
    for (name, inputs), line, answer in zip(asked, lines, answers):
        try:
            globals()["check_" + name]([float(number) for number in answer.split()], *inputs)
        except Difference as difference:
            differ += 1
            if differ <= 20:
                print(f"{line}\n  {difference}")
    print(f"{len(lines) - differ} of {len(lines)} random inputs agree with SciPy")
    sys.exit(1 if differ else 0)


if __name__ == "__main__":
    main()
