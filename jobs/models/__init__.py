"""The card's records."""

from jobs.models.card import Job, StageMove
from jobs.models.lines import Finding, Inspection, InspectionPoint, PartLine, Photo, RoadReport, Step
from jobs.models.papers import AuditEntry, Sheet
from jobs.models.things import Engine, Unit

__all__ = [
    "AuditEntry",
    "Engine",
    "Finding",
    "Inspection",
    "InspectionPoint",
    "Job",
    "PartLine",
    "Photo",
    "RoadReport",
    "Sheet",
    "StageMove",
    "Step",
    "Unit",
]
