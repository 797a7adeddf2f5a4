"""Makes hit_miss.json, poisson.json and order_statistics.json beside this file.

Needs numpy 2.4.6, scipy 1.17.1 and statsmodels 0.15.0. The hit/miss sets come from a seed; every figure comes from
these libraries or from the formula at its place, none from the crate.
"""

import json
import math
import pathlib

import numpy as np
import scipy
import statsmodels
import statsmodels.api as sm
from scipy import optimize, stats

HERE = pathlib.Path(__file__).parent
VERSIONS = {"numpy": np.__version__, "scipy": scipy.__version__, "statsmodels": statsmodels.__version__}
LOGIT_90 = math.log(0.9 / 0.1)
Z_95 = stats.norm.ppf(0.95)


def log_likelihood(b0, b1, g, hit):
    eta = b0 + b1 * g
    return float(np.sum(hit * eta - np.logaddexp(0.0, eta)))


def profile(a, level, g, hit, start):
    """Greatest log likelihood of the curves that pass through `level` (logits) at transformed size `a`."""
    f = lambda b1: -log_likelihood(level - b1 * a, b1, g, hit)
    found = optimize.minimize_scalar(f, bracket=(start * 0.8, start * 1.2), tol=1e-14)
    return -found.fun


def lr_bound(g, hit, b0, b1):
    """One-sided 95 % upper bound of a90: where the signed root of the likelihood ratio is 1.645."""
    best = log_likelihood(b0, b1, g, hit)
    a90 = (LOGIT_90 - b0) / b1
    short = lambda a: 2.0 * (best - profile(a, LOGIT_90, g, hit, b1)) - Z_95**2
    step = a90 + 1e-3
    while short(step) < 0.0:
        step += 0.1 * (1.0 / b1)
    return optimize.brentq(short, a90, step, xtol=1e-13)


def lr_level(a, side, g, hit, b0, b1):
    """One-sided 95 % bound of the curve at transformed size `a`; side -1 below, +1 above."""
    best = log_likelihood(b0, b1, g, hit)
    eta = b0 + b1 * a
    short = lambda level: 2.0 * (best - profile(a, level, g, hit, b1)) - Z_95**2
    step = eta + side * 1e-3
    while short(step) < 0.0:
        step += side * 0.1
    level = optimize.brentq(short, min(eta, step), max(eta, step), xtol=1e-13)
    return 1.0 / (1.0 + math.exp(-level))


def hosmer_lemeshow(p, hit, groups):
    """Hosmer and Lemeshow: groups of nearly equal count in order of fitted chance (all sizes are distinct here)."""
    order = np.argsort(p, kind="stable")
    n = len(p)
    statistic = 0.0
    for k in range(groups):
        part = order[k * n // groups : (k + 1) * n // groups]
        mean = p[part].mean()
        statistic += (hit[part].sum() - p[part].sum()) ** 2 / (len(part) * mean * (1.0 - mean))
    return statistic, float(stats.chi2.sf(statistic, groups - 2))


def hit_miss(name, scale, seed, n, low, high, b0, b1):
    rng = np.random.default_rng(seed)
    if scale == "log":
        size = np.exp(rng.uniform(math.log(low), math.log(high), n))
    else:
        size = rng.uniform(low, high, n)
    size = np.round(size, 6)
    assert len(set(size)) == n
    g = np.log(size) if scale == "log" else size
    hit = (rng.uniform(size=n) < 1.0 / (1.0 + np.exp(-(b0 + b1 * g)))).astype(float)
    fit = sm.GLM(hit, sm.add_constant(g), family=sm.families.Binomial()).fit(tol=1e-14, maxiter=200)
    second = sm.Logit(hit, sm.add_constant(g)).fit(disp=False, tol=1e-14, maxiter=200)
    assert np.allclose(fit.params, second.params, rtol=1e-9)
    c0, c1 = (float(v) for v in fit.params)
    cov = fit.cov_params()
    back = math.exp if scale == "log" else float
    a50, a90 = -c0 / c1, (LOGIT_90 - c0) / c1
    # Delta method: d a90 / d b0 = -1/b1, d a90 / d b1 = -a90/b1, on the transformed scale.
    gradient = np.array([-1.0 / c1, -a90 / c1])
    wald = a90 + Z_95 * math.sqrt(gradient @ cov @ gradient)
    groups = min(10, max(4, n // 10))
    statistic, p_value = hosmer_lemeshow(np.asarray(fit.fittedvalues), hit, groups)
    at = [float(v) for v in np.quantile(size, [0.1, 0.4, 0.7, 0.95]).round(4)]
    band = []
    for a in at:
        t = math.log(a) if scale == "log" else a
        band.append({"size": a, "probability": 1.0 / (1.0 + math.exp(-(c0 + c1 * t))),
                     "lower": lr_level(t, -1, g, hit, c0, c1), "upper": lr_level(t, 1, g, hit, c0, c1)})
    return {
        "name": name, "scale": scale, "seed": seed, "size": size.tolist(), "hit": [int(v) for v in hit],
        "intercept": c0, "slope": c1, "covariance": [[float(v) for v in row] for row in cov],
        "log_likelihood": float(fit.llf), "deviance": float(fit.deviance), "null_deviance": float(fit.null_deviance),
        "pearson": float(fit.pearson_chi2),
        "a50": back(a50), "a90": back(a90), "a90_95_wald": back(wald),
        "a90_95_likelihood_ratio": back(lr_bound(g, hit, c0, c1)),
        "hosmer_lemeshow": {"groups": groups, "statistic": float(statistic), "p_value": p_value}, "band": band,
    }


def write(name, what):
    (HERE / name).write_text(json.dumps(what, indent=1) + "\n")


write("hit_miss.json", {
    "source": "logistic regression of hit/miss data as in MIL-HDBK-1823A, appendix G; Hosmer and Lemeshow 1980, Comm. Stat. A9 1043-1069",
    "versions": VERSIONS,
    "how": "statsmodels GLM (binomial) equal to its Logit (1e-9); a90 and its delta-method bound by formula; likelihood-ratio bounds by scipy minimisation and root finding; see make_statistics.py",
    "cases": [
        hit_miss("log sizes", "log", 20261, 60, 0.1, 20.0, -1.0, 2.2),
        hit_miss("plain sizes", "linear", 20262, 60, 0.0, 10.0, -4.5, 1.1),
        hit_miss("many trials", "log", 20263, 400, 0.2, 8.0, 0.3, 1.7),
    ],
})

poisson = []
for events in [0, 1, 2, 3, 10, 25, 100, 1000, 20000]:
    for hours in [0.5, 10.0, 5000.0]:
        two = [0.0 if events == 0 else stats.chi2.ppf(0.025, 2 * events) / 2 / hours,
               stats.chi2.ppf(0.975, 2 * events + 2) / 2 / hours]
        one = [0.0 if events == 0 else stats.chi2.ppf(0.05, 2 * events) / 2 / hours,
               stats.chi2.ppf(0.95, 2 * events + 2) / 2 / hours]
        assert math.isclose(stats.poisson.cdf(events, two[1] * hours), 0.025, rel_tol=1e-6)
        poisson.append({"events": events, "hours": hours,
                        "lower_two_sided_95": float(two[0]), "upper_two_sided_95": float(two[1]),
                        "lower_one_sided_95": float(one[0]), "upper_one_sided_95": float(one[1])})
write("poisson.json", {
    "source": "Garwood 1936, Biometrika 28 437-442: exact bounds of a Poisson mean; for 0 events ln 40 = 3.689, for 10 events 4.795 and 18.390",
    "versions": VERSIONS,
    "how": "chi-square quantiles over twice the hours, checked back through the Poisson distribution",
    "cases": poisson,
})

ranks = []
for n in [1, 5, 19, 20, 58, 59, 60, 100, 298, 299, 500, 1000]:
    for share in [0.5, 0.95, 0.99]:
        # X(r) lies at or above the percentile with chance P(Bin(n, share) <= r - 1).
        upper = [r for r in range(1, n + 1) if stats.binom.cdf(r - 1, n, share) >= 0.95]
        lower = [r for r in range(1, n + 1) if stats.binom.sf(r - 1, n, share) >= 0.95]
        ranks.append({"n": n, "share": share,
                      "upper_rank": upper[0] if upper else None, "lower_rank": lower[-1] if lower else None})
write("order_statistics.json", {
    "source": "distribution-free bounds of a percentile by order statistics: Conover, Practical Nonparametric Statistics, section 3.2; 59 and 299 values are the least for a 95 % upper bound of the 95th and 99th percentile (Wilks 1941, Ann. Math. Stat. 12 91-96)",
    "versions": VERSIONS,
    "how": "scipy's binomial distribution; one-sided, 95 %; ranks count from 1 in rising order",
    "cases": ranks,
})
