"""The card's records."""

from jobs.models.answers import Closing, EstimateAnswer
from jobs.models.card import Ending, Job, StageMove
from jobs.models.lines import (
    Finding,
    Inspection,
    InspectionPoint,
    PartLine,
    Photo,
    RoadReport,
    SpringTerms,
    Step,
)
from jobs.models.papers import AuditEntry, Frozen, Sheet, SheetVoid
from jobs.models.things import Engine, Unit

__all__ = [
    "AuditEntry",
    "Closing",
    "Ending",
    "Engine",
    "EstimateAnswer",
    "Finding",
    "Frozen",
    "Inspection",
    "InspectionPoint",
    "Job",
    "PartLine",
    "Photo",
    "RoadReport",
    "Sheet",
    "SheetVoid",
    "SpringTerms",
    "StageMove",
    "Step",
    "Unit",
]
