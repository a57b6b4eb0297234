"""Holds our Sobol' points, indices and summaries against scipy, SALib and numpy on the same points.

First let the tests write our values, then compare:
  RAILRISE_STUDY_VALUES=study_values.json cargo test --release --no-default-features --test tests values_for_the_outside
  python tests/outside/study_stats.py study_values.json
Leaves with 1 when a value is outside its tolerance.
"""

import json
import sys

import numpy as np
from SALib.analyze import sobol
from scipy.stats import binomtest, qmc


def main(path):
    with open(path) as f:
        ours = json.load(f)
    bad = []

    def hold(what, got, want, tol):
        off = float(np.max(np.abs(np.asarray(got) - np.asarray(want))))
        print(f"{what}: largest difference {off:.2e} (allowed {tol:.0e})")
        if not off <= tol:
            bad.append(what)

    points = np.array(ours["sobol"])
    hold("Sobol' points, 1000 in 20 dimensions", points, qmc.Sobol(20, scramble=False, bits=53).random(1000), 0.0)
    for study in ours["indices"]:
        names = study["inputs"]
        problem = {"num_vars": len(names), "names": names, "bounds": [[0, 1]] * len(names)}
        y = np.array(study["answers"])
        theirs = sobol.analyze(problem, y, calc_second_order=False, num_resamples=10, seed=1)
        hold(f"{study['name']}: first-order indices of {len(names)} inputs", study["first"], theirs["S1"], 1e-9)
        hold(f"{study['name']}: total indices", study["total"], theirs["ST"], 1e-9)
    for study in ours["convergence"]:
        y = np.array(study["answers"])
        for n, mean, sd, quantile in study["found"]:
            part = y[:n]
            scale = abs(part.mean()) + part.std()
            hold(
                f"{study['name']}: mean, sd and 5 % point of {n} scrambled points",
                np.array([mean, sd, quantile]) / scale,
                np.array([part.mean(), part.std(ddof=1), np.quantile(part, 0.05, method="median_unbiased")]) / scale,
                1e-9,
            )
    for k, n, wilson, exact in ours["intervals"]:
        test = binomtest(k, n)
        hold(f"Wilson {k} of {n}", wilson, list(test.proportion_ci(method="wilson")), 1e-8)
        hold(f"Clopper-Pearson {k} of {n}", exact, list(test.proportion_ci(method="exact")), 1e-8)
    if bad:
        print(f"{len(bad)} do not hold: {', '.join(bad)}")
        sys.exit(1)


main(sys.argv[1])
