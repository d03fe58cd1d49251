"""Whether what is said comes true: chances of proposals against the verdicts on their runs, in the loop."""

from dataclasses import replace

import numpy as np

from curves.practice.simulated import MEASURED

from .workshop import Job

MAX_RUNS = 4
TOLERANCES_DEG = (0.75, 1.25, 2.0)  # distributor degrees; 1.25 is what the practice bench asks for
# How far apart the sweeps lie [distributor degree], and what share of the friction is shaken loose at times.
HEADS = {"sound": None, "sticking, sweeps 1.0 apart": (1.0, 0.0), "sticking unevenly, 1.5 apart": (1.5, 1.0)}
BINS = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0)


def measure(heads):
    """Give a row for each kind of head: Brier score, and what was said against what came true, by bins."""
    return {name: table(promises(heads, sticks)) for name, sticks in HEADS.items()}


def promises(heads, sticks, tolerances_deg=TOLERANCES_DEG, most_runs=MAX_RUNS, **how):
    """Follow the first proposals on so many heads; give pairs of chance said and whether it came true."""
    said = []
    for seed in range(heads):
        job = Job.invent(seed, MEASURED, received="unknown", **how)
        job = replace(job, as_read=True, tolerance_deg=tolerances_deg[seed % len(tolerances_deg)])
        job = job.stuck(*sticks) if sticks else job
        job.tune(give_up=most_runs)
        said += job.said
    return said


def table(said):
    """Give how honest pairs of chance and outcome are."""
    chance, came = np.array(said, dtype=float).T
    place = np.digitize(chance, BINS[1:-1])
    rows = [
        {
            "from": BINS[one],
            "to": BINS[one + 1],
            "runs": int((place == one).sum()),
            "said": float(chance[place == one].mean()),
            "came": float(came[place == one].mean()),
        }
        for one in np.unique(place)
    ]
    return {
        "runs": len(said),
        "said": float(chance.mean()),
        "came": float(came.mean()),
        "brier": float(np.mean((chance - came) ** 2)),
        "bins": rows,
    }


def as_text(result):
    """Put the tables into lines."""
    lines = ["Chances that a run will be judged in the band as it is read, said and come true"]
    for name, found in result.items():
        lines.append(
            f"  {name:30} {found['runs']:4d} runs: said {found['said']:4.0%}, "
            f"came true {found['came']:4.0%}, Brier score {found['brier']:.3f}"
        )
        lines += [
            f"    {row['from']:4.0%} to {row['to']:4.0%}  {row['runs']:4d} runs: said {row['said']:4.0%}, "
            f"came true {row['came']:4.0%}"
            for row in found["bins"]
        ]
    return lines
