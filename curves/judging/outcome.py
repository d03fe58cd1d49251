"""What the runs of a build come to: in the band or not, and all that a card and a sheet say of them."""

from __future__ import annotations

from dataclasses import dataclass

from curves import engine
from curves.judging import proof, timing
from curves.judging import verdicts as judging
from curves.models import Build
from curves.rows import convert, queries
from curves.rows.results import CurveSummary


@dataclass(frozen=True)
class Verdicts:
    """Whether the springs are found, and what the final run is."""

    springs: proof.Springs
    final: proof.Proof | None = None  # None: no final run was read

    @property
    def latest_in_band(self) -> bool | None:
        """Whether what hangs in the unit was read inside the band; None: not to be told yet."""
        return self.springs.in_band

    @property
    def is_proved(self) -> bool:
        return self.final is not None and self.final.is_proved


def verdicts(build: Build, *, cylinders: int | None = None) -> Verdicts:
    """Whether the springs are found, and what the final run comes to, without the fits."""
    return Verdicts(proof.springs_of(build), proof.final_of(build, cylinders=cylinders))


def summary(
    build: Build,
    *,
    idle_crank_rpm: float | None = None,
    top_crank_rpm: float | None = None,
    margin_crank_rpm: float = 150,
) -> CurveSummary:
    """What the runs of a build come to: verdicts, knees, begin of advance, setting card and warnings.

    Asks the database nothing when the build comes from ``build_for``. Some 10 ms for each run it looks at.
    """
    drive = convert.drive_of(build)
    row = getattr(build, "target", None)
    band = convert.target_of(row, drive)
    runs = _read(build, drive)
    warnings = judging.build_warnings(build)
    if not runs:
        return CurveSummary(warnings=tuple(warnings))
    knees = {role: judging.knees_of(readings) for role, (_, readings) in runs.items()}
    said = {role: judging.run_summary(*read, knees[role], band, drive) for role, read in runs.items()}
    is_final = "final" in said and said["final"].in_band is not None
    earlier = []
    for role, (run, readings) in runs.items():
        told = judging.run_warnings(run, readings, said[role], drive)
        if is_final and role != "final":
            earlier += [(run, warning) for warning in told]
        else:
            warnings += told
    judged = next(role for role in ("final", "latest", "as_received") if role in runs)
    set_up = timing.Engine(idle_crank_rpm, top_crank_rpm, margin_crank_rpm)
    found = timing.timing_of(runs[judged][1], knees[judged], band, row, set_up, drive)
    return CurveSummary(
        **said,
        begin=found.begin,
        idle_slope_crank_deg_per_100_rpm=found.idle_slope,
        initial_crank_deg=found.initial_crank_deg,
        setting_card=found.setting_card,
        total_crank_deg=found.total_crank_deg,
        total_not_read=found.total_not_read,
        warnings=(*warnings, *found.warnings),
        earlier=tuple(earlier),
    )


def _read(build: Build, drive: engine.Drive):
    """The newest run of each role that has readings, and those readings in the shaft frame."""
    return {
        role: (run, readings)
        for role, run in queries.newest_runs(build).items()
        if (readings := convert.run_readings(run, drive)) is not None
    }
