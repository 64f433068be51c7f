"""From the user's file to a Log with its wood: what the sheet says, what the user says, what is assumed."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from optimizer.documents.plan import Mark, Source
from optimizer.wood.woods import UnknownSpeciesError, Wood, find_wood, unknown_wood
from scans.errors import ScanError
from scans.locate.placing import UNITS_M, UP_TURNS
from scans.log import Log
from scans.log_of_scan import READING_STAGES, OnStage, ScanChoices, log_of_file
from scans.messages import Note, long_length, named, quoted
from scans.tape.log_from_sheet import LogSheet, log_from_sheet
from scans.units import LengthError, parse_length_m
from service.typed.errors import InputError
from service.typed.files import FileRead, parse_document
from service.typed.log_sheet import LogSheetTyped
from service.typed.mark_sheet import MarksRead, MarksTyped, placed

MESH_END_TRIM_M = 0.0508
"""Lost at each end of a mesh unless said otherwise: 2 in (common practice, 1 to 3 in; no source)."""
MOST_END_TRIM_M = 5.0
MOST_TAPED_M = 60.0
MOST_COST = 1e7
SHEET_SUFFIX = ".toml"
_OF_SCANS = ("unit", "up", "butt", "taped_length", "pick")
_FROM_SHEET, _FROM_OPTION = "from the sheet", "as you said"


@dataclass(frozen=True)
class AboutLog:
    """What the user says of the log beside its file; None leaves it to the file.

    bark : "on" or "off". end_trim : a length with its unit.
    unit, up, butt, taped_length, pick : of a scan or mesh alone: a key of UNITS_M; a key of UP_TURNS, the file's
        axis that points up; "other" for the end that would not be taken for the butt end; the log's length by the
        tape, with its unit; which of several logs, the largest first.
    """

    species: str | None = None
    bark: str | None = None
    end_trim: str | None = None
    cost: float | None = None
    unit: str | None = None
    up: str | None = None
    butt: Literal["other"] | None = None
    taped_length: str | None = None
    pick: int | None = None


@dataclass(frozen=True)
class LogRead:
    """A log, with all that a plan of it needs, and in words where each came from."""

    log: Log
    source: Source
    wood: Wood
    bark_on: bool
    bark_ratio: float
    end_trim_m: float
    cost: float
    species_from: str
    bark_from: str
    end_trim_from: str
    warnings: tuple[Note, ...]
    marks: tuple[Mark, ...] = ()


def read_log(
    file: FileRead, about: AboutLog, marks: FileRead | None = None, on_stage: OnStage = lambda _: None
) -> LogRead:
    """Read a log sheet, a closed mesh or a scan, with the marks of the sheet and of a file of marks.

    on_stage : is told each of READING_STAGES as it begins; what it raises ends the work.

    Raises InputError, UnknownSpeciesError or ScanError, each in one line with the file's name where it is
    the file that is wrong.
    """
    if about.bark not in {None, "on", "off"}:
        raise InputError(f"{named('bark')} must be on or off, got {quoted(about.bark)}", field="bark")
    if about.cost is not None and not 0.0 <= about.cost <= MOST_COST:
        raise InputError(f"{named('cost')} must lie in 0 to {MOST_COST:.0f}, got {about.cost:g}", field="cost")
    for field, given, known in (
        ("unit", about.unit, UNITS_M),
        ("up", about.up, UP_TURNS),
        ("butt", about.butt, ("other",)),
    ):
        if given is not None and given not in known:
            raise InputError(f"{named(field)} must be one of {', '.join(known)}, got {quoted(given)}", field=field)
    trim_m = None if about.end_trim is None else end_trim_m(about.end_trim)
    wood = None if about.species is None else find_wood(about.species)
    more = () if marks is None else (MarksRead(marks.shown, parse_document(marks, MarksTyped).mark),)
    if file.suffix == SHEET_SUFFIX:
        meant = next((field for field in _OF_SCANS if getattr(about, field) is not None), None)
        if meant is not None:
            raise InputError(
                f"{named(meant)} is for scans and meshes, and {file.shown} is a log sheet", "leave it out", field=meant
            )
        on_stage(READING_STAGES[0])
        return _from_sheet(file, about, wood, trim_m, more)
    read = _from_scan(file, about, wood, trim_m, on_stage)
    return replace(read, marks=placed(read.log, more, taped=False))


def end_trim_m(text: str) -> float:
    """Read what is lost at each end. [m]. Raises InputError."""
    try:
        trim_m = parse_length_m(text)
    except LengthError as error:
        raise InputError(f"{named('end_trim')}: {error.text}", error.mend, field="end_trim") from None
    if not 0.0 <= trim_m <= MOST_END_TRIM_M:
        most = long_length(MOST_END_TRIM_M)
        raise InputError(f"{named('end_trim')} must lie in 0 to {most}, got {quoted(text)}", field="end_trim")
    return trim_m


def _from_sheet(
    file: FileRead, about: AboutLog, wood: Wood | None, trim_m: float | None, more: tuple[MarksRead, ...]
) -> LogRead:
    typed = parse_document(file, LogSheetTyped)
    sheet = typed.taped()
    warnings: list[Note] = []
    species_from = _FROM_OPTION
    if wood is None and typed.species is not None:
        try:
            wood, species_from = find_wood(typed.species), _FROM_SHEET
        except UnknownSpeciesError as error:
            raise InputError(f"{file.shown}: {error.text}", error.mend, field="species") from None
    if wood is None:
        wood, species_from = unknown_wood(), "not given"
        warnings.append(_UNKNOWN_SPECIES)
    if about.bark is not None:
        sheet = replace(sheet, bark_on=about.bark == "on")
    bark_ratio = wood.bark_ratio(_mean_diameter_m(sheet)) if sheet.bark_on else 1.0
    try:
        log = log_from_sheet(sheet, bark_ratio)
    except ScanError as error:
        raise InputError(f"{file.shown}: {error.text}", error.mend, field=error.field) from None
    trim_from = _FROM_OPTION
    if trim_m is None:
        trim_m, trim_from = (0.0, "not in the sheet") if typed.end_trim_m is None else (typed.end_trim_m, _FROM_SHEET)
    cost = about.cost if about.cost is not None else typed.cost or 0.0
    bark_from = _FROM_OPTION if about.bark else _FROM_SHEET if "bark" in typed.model_fields_set else "not in the sheet"
    return LogRead(
        log, Source(kind="sheet", sha256=file.sha256), wood, sheet.bark_on, bark_ratio, trim_m, cost,
        species_from, bark_from, trim_from, tuple(warnings),
        placed(log, (MarksRead(file.shown, typed.mark), *more), taped=True),
    )  # fmt: skip


def _from_scan(file: FileRead, about: AboutLog, wood: Wood | None, trim_m: float | None, on_stage: OnStage) -> LogRead:
    warnings: list[Note] = []
    species_from = _FROM_OPTION
    if wood is None:
        wood, species_from = unknown_wood(), "not given"
        warnings.append(_UNKNOWN_SPECIES)
    bark_on = about.bark != "off"
    ratios = [1.0]

    def bark_ratio(diameter_m: float) -> float:
        ratios.append(wood.bark_ratio(diameter_m) if bark_on else 1.0)
        return ratios[-1]

    taped_m = None if about.taped_length is None else taped_m_of(about.taped_length)
    choices = ScanChoices(about.unit, about.up, about.butt, taped_m, about.pick)
    try:
        log, notes = log_of_file(file.data, file.suffix, Path(file.shown).stem, bark_ratio, choices, on_stage=on_stage)
    except ScanError as error:
        raise InputError(f"{file.shown}: {error.text}", error.mend, field=error.field) from None
    return LogRead(
        log, Source(kind="solid" if log.doubt is None else "scan", sha256=file.sha256), wood, bark_on, ratios[-1],
        MESH_END_TRIM_M if trim_m is None else trim_m, about.cost or 0.0,
        species_from, _FROM_OPTION if about.bark else "not said", _FROM_OPTION if about.end_trim else "common practice",
        (*warnings, *notes),
    )  # fmt: skip


def taped_m_of(text: str) -> float:
    """Read a log's length by the tape. [m]. Raises InputError."""
    try:
        taped_m = parse_length_m(text)
    except LengthError as error:
        raise InputError(f"{named('taped_length')}: {error.text}", error.mend, field="taped_length") from None
    if not 0.0 < taped_m <= MOST_TAPED_M:
        most = long_length(MOST_TAPED_M)
        raise InputError(
            f"{named('taped_length')} must be over 0 and at most {most}, got {quoted(text)}", field="taped_length"
        )
    return taped_m


_UNKNOWN_SPECIES = Note(
    "species_unknown",
    "The wood is not known: weights are those of the heaviest green wood, the bark's thickness and the shrinkage are "
    "usual "
    f"ones. Give it as {named('species')} if you know it.",
    bears_on_plan=True,
)


def _mean_diameter_m(sheet: LogSheet) -> float:
    """Mean over all sections, to read the bark at. [m]."""
    limbs = [section for limb in sheet.limbs for section in limb.sections]
    return float(np.mean([np.mean(section.diameters_m) for section in (*sheet.sections, *limbs)]))
