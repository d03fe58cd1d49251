"""Runs needed: the engine with and without bends, hand searches beside it, and with a learned type."""

from dataclasses import replace

import numpy as np

from curves.engine import calibrate, learn_head
from curves.practice.simulated import MEASURED, ROUGH, Errors, make_drawer, make_kind

from . import hand
from .workshop import Job, summary

EXACT = {"scatter_deg": 0.05, "scale_deg": 0.05, "tachometer": 0.0, "jitter_rpm": 0.0}
TIERS = {"springs measured": MEASURED, "rough labels": ROUGH}
EARLIER_UNITS = 10
# What keeps rough labels from better figures: the hand, the eye, and how often it looks. The engine is told
# of the finer reading alone.
LIMITING = {
    "posts bent exactly": {"bench_errors": Errors(bend_mm=0.0)},
    "read to 0.05 degree": {"bench_errors": Errors(**EXACT)},
    "read to 0.05 degree, bent exactly": {"bench_errors": Errors(**EXACT, bend_mm=0.0)},
    "read at 48 speeds": {"speeds": 48},
}


def by_the_engine(heads):
    """Give the runs the engine needs in each tier, with bends and without, and how much depends on what."""
    table = {}
    for tier, errors in TIERS.items():
        jobs = [Job.invent(seed, errors) for seed in range(heads)]
        table[f"{tier}, bends"] = summary([job.tune()[0] for job in jobs]) | honesty(jobs)
        possible = [job for job in jobs if job.reachable()]
        counts = [job.tune(bend_limit_mm=0.0)[0] for job in possible]
        table[f"{tier}, no bends"] = summary(counts) | {"heads": len(possible), "of": heads}
    upwards = [replace(Job.invent(seed, MEASURED), both_ways=False) for seed in range(heads)]
    table["springs measured, bends, read only upwards"] = summary([job.tune()[0] for job in upwards])
    coarse = [replace(Job.invent(seed, MEASURED), step_deg=0.5) for seed in range(heads)]
    table["springs measured, bends, curve to half degrees"] = summary([job.tune()[0] for job in coarse])
    for name, changes in LIMITING.items():
        jobs = [replace(Job.invent(seed, ROUGH), **changes) for seed in range(heads)]
        table[f"rough labels, {name}"] = summary([job.tune()[0] for job in jobs])
    unknown = [Job.invent(seed, MEASURED, received="unknown") for seed in range(heads)]
    table["springs measured, bends, received pair unknown"] = summary([job.tune()[0] for job in unknown])
    return table


def honesty(jobs):
    """Give the mean chance of what was proposed, and the share of it that came true."""
    said, came = np.mean([pair for job in jobs for pair in job.said], axis=0)
    return {"said": float(said), "came": float(came)}


def by_hand(heads):
    """Give the runs a careful person needs, bends included, and one who picks at random."""
    jobs = [Job.invent(seed, MEASURED) for seed in range(heads)]
    return {
        "careful hand search, bends": summary([hand.careful(job) for job in jobs]),
        "random pairs, no bends": summary([hand.at_random(job) for job in jobs]),
    }


def with_a_learned_type(kinds):
    """Give the runs a unit needs after ten of its type, the drawer corrected by every run of them."""
    counts = []
    for seed in range(kinds):
        kind, known, calibrations = make_kind((seed, 6)), {}, []
        drawer = make_drawer(kind, (seed, 7), errors=MEASURED)
        for number in range(EARLIER_UNITS):
            job = Job.of_kind(kind, drawer, (seed, 8, number), MEASURED, known=known)
            _, runs = job.tune(give_up=4)
            calibrations.append(calibrate(job.head, runs))
            known |= corrected(calibrations[-1])
        learned = learn_head(calibrations)
        job = Job.of_kind(kind, drawer, (seed, 9), MEASURED, known=known)
        head = replace(
            learned,
            post_gap_mm=job.head.post_gap_mm,
            stretch_mm_per_deg=job.head.stretch_mm_per_deg,
            travel_deg=job.head.travel_deg,
        )
        counts.append(replace(job, head=head).tune()[0])
    return summary(counts)


def corrected(calibration):
    """Give the drawer's springs as a calibration found them, by key."""
    springs = {spring for run in calibration.runs for spring in (run.primary, run.secondary)}
    return {
        spring.key: calibration.corrected(spring)
        for spring in springs
        if not str(spring.key).startswith("received")
    }


def coverage(heads):
    """Give how often the truth lies in the 90 % interval, of pairs that were run and of others."""
    inside = {"pairs run": [], "pairs not run": []}
    for seed in range(heads):
        errors = list(TIERS.values())[seed % 2]
        job = Job.invent(seed, errors, received=("weighed", "unknown")[seed // 2 % 2])
        rng = np.random.default_rng((seed, 10))
        runs = [job.run(*job.unit.received, 0)[0]]
        for number in range(1, 4):
            pairs = [(rng.choice(job.drawer.primaries), rng.choice(job.drawer.secondaries)) for _ in range(2)]
            runs.append(job.run(*pairs[0], number)[0])
            calibration = calibrate(job.head, runs)
            for kind, pair in zip(inside, pairs, strict=True):
                inside[kind].extend(_inside(job, calibration, pair))
    return {kind: float(np.mean(values)) for kind, values in inside.items()}


def _inside(job, calibration, pair):
    """Mark the target speeds at which the true curve of a pair lies in the 90 % interval."""
    speeds, _ = job.unit.target()
    mean, sd = calibration.curve(*(job.known[spring.key] for spring in pair), speeds)
    return np.abs(job.unit.advance(*pair, speeds) - mean) <= 1.645 * sd


LIMITS = {
    "springs measured, bends": {"median": 2, "p90": 3, "most": 5},
    "rough labels, bends": {"median": 2, "p90": 4, "most": 6},
    "type learned from ten units": {"median": 1},
}
