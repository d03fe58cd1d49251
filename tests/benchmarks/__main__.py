"""The benchmark of the engine: `python -m tests.benchmarks [--json] [--heads N]`."""

import argparse
import json
import sys

from . import knees, likeness, promises, runs, speed

HEADS = 60


def measure(heads):
    """Measure everything once, telling what is being done on the error stream."""
    parts = {
        "runs": lambda: runs.by_the_engine(heads),
        "hand": lambda: runs.by_hand(heads),
        "learned": lambda: {"type learned from ten units": runs.with_a_learned_type(max(2, heads // 4))},
        "coverage": lambda: runs.coverage(heads),
        "promises": lambda: promises.measure(heads),
        "ranking": speed.ranking,
        "calibrating": speed.calibrating,
        "knees": knees.measure,
        "likeness": likeness.measure,
    }
    result = {"heads": heads}
    for name, work in parts.items():
        print(f"... {name}", file=sys.stderr, flush=True)
        result[name] = work()
    return result


def as_text(result):
    """Put the figures into a table that a person reads."""
    lines = [f"Runs needed after the as-received run, {result['heads']} invented heads"]
    lines.append(f"  {'':52} median  90th pct.  most  done in 2, 4, 6 runs   wanted")
    for name, row in {**result["runs"], **result["learned"], **result["hand"]}.items():
        wanted = runs.LIMITS.get(name)
        wanted = "at most " + ", ".join(f"{value:g}" for value in wanted.values()) if wanted else ""
        more = f"   ({row['heads']} of {row['of']} heads have such a pair)" if "of" in row else ""
        if "said" in row:
            more += f"   (mean chance said {row['said']:.0%}, came true {row['came']:.0%})"
        lines.append(
            f"  {name:52} {row['median']:6g}  {row['p90']:9g}  {row['most']:4g}  "
            f"{row['in_2']:9d}, {row['in_4']:2d}, {row['in_6']:2d}        {wanted}{more}".rstrip()
        )
    shares = ", ".join(f"{name} {share:.1%}" for name, share in result["coverage"].items())
    lines += ["", f"Truth inside the 90 % interval: {shares} (wanted 85 to 95 %)", ""]
    lines += [*promises.as_text(result["promises"]), ""]
    rank, fit = result["ranking"], result["calibrating"]
    lines.append(
        f"Rank 40 x 40 pairs over 128 draws: {rank['seconds']:.3f} s (at most 0.3), with bends "
        f"{rank['seconds_with_bends']:.3f} s, {rank['peak_mb']:.0f} MB at most (300); "
        f"loop of brentq {rank['brentq_seconds']:.0f} s, ratio {rank['ratio']:.0f} (at least 200)"
    )
    lines.append(
        f"Calibrate 5 runs of 12 readings: {fit['seconds'] * 1e3:.0f} ms (at most 60), "
        f"cost {fit['cost']:.2f}; lmfit {fit['lmfit_seconds'] * 1e3:.0f} ms, cost {fit['lmfit_cost']:.2f}, "
        f"ratio {fit['ratio']:.1f} (at least 5)"
    )
    lines += [*knees.as_text(result["knees"]), *likeness.as_text(result["likeness"])]
    return "\n".join(lines)


def main():
    """Read the command line and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument("--heads", type=int, default=HEADS, metavar="N", help="invented heads (default 60)")
    arguments = parser.parse_args()
    result = measure(max(2, arguments.heads))
    print(json.dumps(result, indent=2) if arguments.json else as_text(result))


if __name__ == "__main__":
    main()
