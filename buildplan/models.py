"""Every model of the app, for Django to find; the slices define them."""

from buildplan.archive.models import SavedArchive
from buildplan.closeup.models import Closing, GatePoint, GateTick, LeakReading, LeakTest
from buildplan.cutting.models import Blank, Cut, CutPiece, CuttingRules, Measured, Operation, OperationDone, Piece, Spoiled
from buildplan.fitting.models import (
    Assembly,
    AssemblyStep,
    Conflict,
    ConflictItem,
    ConflictStep,
    FalseMirror,
    ItemHand,
    MakerAnswer,
    Mark,
    MarkEvent,
    MirrorPair,
    Position,
    Settlement,
)  # fmt: skip
from buildplan.hardware.models import ClecoSpacing, RivetLoss, RivetRow, Substitution
from buildplan.loading.models import ColumnMemory, LoadedFile, LoadJob, StepsHidden
from buildplan.logbook.models import LogEntry, LogHours, Signature
from buildplan.plan.models import CallOut, Finish, Project, Section, Step, StepAfter
from buildplan.sealday.models import DayCheck, DayMix, DayPerson, DayProduct, DayStep, SealDay
from buildplan.sealing.models import Mix, MixShare, SealingSupply, Seam
from buildplan.tonight.models import PickTick
from buildplan.trace.models import Notice, NoticeItem, NoticeLetter, Sweep, Task

__all__ = [
    "Assembly",
    "AssemblyStep",
    "Blank",
    "CallOut",
    "ClecoSpacing",
    "Closing",
    "ColumnMemory",
    "Conflict",
    "ConflictItem",
    "ConflictStep",
    "Cut",
    "CutPiece",
    "CuttingRules",
    "DayCheck",
    "DayMix",
    "DayPerson",
    "DayProduct",
    "DayStep",
    "FalseMirror",
    "Finish",
    "GatePoint",
    "GateTick",
    "ItemHand",
    "LeakReading",
    "LeakTest",
    "LoadJob",
    "LoadedFile",
    "LogEntry",
    "LogHours",
    "MakerAnswer",
    "Mark",
    "MarkEvent",
    "Measured",
    "MirrorPair",
    "Mix",
    "MixShare",
    "Notice",
    "NoticeItem",
    "NoticeLetter",
    "Operation",
    "OperationDone",
    "PickTick",
    "Piece",
    "Position",
    "Project",
    "RivetLoss",
    "RivetRow",
    "SavedArchive",
    "SealDay",
    "SealingSupply",
    "Seam",
    "Section",
    "Settlement",
    "Signature",
    "Spoiled",
    "Step",
    "StepAfter",
    "StepsHidden",
    "Substitution",
    "Sweep",
    "Task",
]  # fmt: skip
