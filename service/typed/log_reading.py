"""From the user's file to a Log with its wood: what the sheet says, what the user says, what is assumed."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import Field, field_validator

from optimizer.documents.plan import Mark, Source
from optimizer.documents.typed import Typed
from optimizer.wood.woods import UnknownSpeciesError, Wood, find_wood, unknown_wood
from scans.errors import ScanError
from scans.log import Log
from scans.log_of_scan import READING_STAGES, OnStage, ScanChoices, log_of_file
from scans.messages import Note, long_length, named, quoted, short_length
from scans.tape.log_from_sheet import LogSheet, log_from_sheet
from scans.units import LengthError, parse_length_m
from service.typed.errors import InputError
from service.typed.files import SHEET_SUFFIX, FileRead, parse_document
from service.typed.girths_along import girths_along
from service.typed.log_sheet import LogSheetTyped
from service.typed.mark_sheet import MarksRead, MarksTyped, placed
from service.typed.more_walks import NO_MORE_WALKS, MoreWalks

MESH_END_TRIM_M = 0.0508
"""Lost at each end of a mesh unless said otherwise: 2 in (common practice, 1 to 3 in; no source)."""
MOST_END_TRIM_M = 5.0
"""A longer one is a slip of the unit (our own rule, no source)."""
MOST_TAPED_M = 60.0
"""Longer than any log on a road; a longer one is a slip of the unit (our own rule, no source)."""
MOST_BARK_M = 0.15
_LEAST_WOOD = 0.5
"""Bark leaves more than this of the diameter."""
_OF_SCANS = ("unit", "up", "butt", "taped_length", "pick", "girth")
_FROM_SHEET, _FROM_OPTION, _DEFAULT = "from the sheet", "you said so", "default"


class AboutLog(Typed):
    """What is said of a log beside its file; what is left out is taken from the file.

    unit, up, butt, taped_length, pick : of a scan or a mesh alone. girth : of a scan alone.
    """

    species: str | None = Field(None, max_length=200, description="The wood.", examples=["sugar maple"])
    bark: Literal["on", "off"] | None = Field(
        None, description="Whether the bark is on; else the sheet's, or on.", examples=["off"]
    )
    end_trim: str | None = Field(
        None,
        max_length=40,
        description="Lost at each end, with its unit; else the sheet's, or 2 in.",
        examples=["2 in"],
    )
    cost: float | None = Field(None, ge=0, le=1e7, description="What the log cost.", examples=[150])
    haul: float | None = Field(None, ge=0, le=1e7, description="What it costs to bring the log here.", examples=[80])
    fee_received: float | None = Field(
        None, ge=0, le=1e7, description="What you are paid to take the log away.", examples=[100]
    )
    unit: Literal["m", "cm", "mm", "in", "ft"] | None = Field(
        None, description="The unit of a scan; else what makes a log of it.", examples=["mm"]
    )
    up: Literal["x", "y", "z", "-x", "-y", "-z"] | None = Field(
        None, description="The axis of a scan that points up; else as it lies.", examples=["y"]
    )
    butt: Literal["other"] | None = Field(
        None,
        description="other: take the other end of a scan for the butt end than was found.",
        examples=["other"],
    )
    taped_length: str | None = Field(
        None,
        max_length=40,
        description="The log's length by the tape, with its unit: sets a scan's scale.",
        examples=["9 ft 8 in"],
    )
    pick: int | None = Field(
        None, ge=1, le=1000, description="Which log of a scan, the largest first; else 1.", examples=[2]
    )
    bark_thickness: str | None = Field(
        None,
        max_length=40,
        description="Of the bark alone, as an axe cut shows it, with its unit; else the sheet's, or the wood's.",
        examples=["5/8 in"],
    )

    girth: str | None = Field(
        None,
        max_length=500,
        description="Around the trunk by the tape, bark and all, at places from the butt end, parted by commas: moves "
        "what a scan did not see.",
        examples=["4 ft = 80 in, 8 ft = 71 in"],
    )

    @field_validator("species")
    @classmethod
    def known_species(cls, name: str | None) -> str | None:
        """Refuse a wood that is not known, while whoever wrote it is still there."""
        if name is not None:
            find_wood(name)
        return name

    @field_validator("end_trim")
    @classmethod
    def readable_trim(cls, text: str | None) -> str | None:
        """Refuse what is no length of that kind."""
        if text is not None:
            end_trim_m(text)
        return text

    @field_validator("taped_length")
    @classmethod
    def readable_tape(cls, text: str | None) -> str | None:
        """Refuse what is no length of that kind."""
        if text is not None:
            taped_m_of(text)
        return text

    @field_validator("girth")
    @classmethod
    def readable_girths(cls, text: str | None) -> str | None:
        """Refuse what are no girths at places."""
        if text is not None:
            girths_along(text)
        return text

    @field_validator("bark_thickness")
    @classmethod
    def readable_bark(cls, text: str | None) -> str | None:
        """Refuse what is no length of that kind."""
        if text is not None:
            bark_thickness_m(text)
        return text


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
    haul: float = 0.0
    fee_received: float = 0.0


def named_after(file_name: str) -> str:
    """Return what a log is called that nobody named: its file, as one would write it. `red_oak 2.ply`: `Red oak 2`."""
    words = " ".join(Path(file_name).stem.replace("_", " ").split()) or file_name
    return words[:1].upper() + words[1:]


def read_log(
    file: FileRead,
    about: AboutLog,
    marks: FileRead | None = None,
    on_stage: OnStage = lambda _: None,
    walks: MoreWalks = NO_MORE_WALKS,
) -> LogRead:
    """Read a log sheet, a closed mesh or scans of one log, with the marks of the sheet and of a file of marks.

    walks : scans of the same log beside the first.
    on_stage : is told each of READING_STAGES as it begins; what it raises ends the work.

    Raises InputError, UnknownSpeciesError or ScanError, each in one line with the file's name where it is
    the file that is wrong.
    """
    trim_m = None if about.end_trim is None else end_trim_m(about.end_trim)
    if about.bark_thickness is not None and about.bark == "off":
        raise InputError(
            f"{named('bark_thickness')} is for a log with its bark on",
            f"leave it out, or say {named('bark', 'on')}",
            field="bark_thickness",
        )
    wood = None if about.species is None else find_wood(about.species)
    more = () if marks is None else (MarksRead(marks.shown, parse_document(marks, MarksTyped).mark),)
    walks.check(file)
    if file.suffix == SHEET_SUFFIX:
        meant = next((field for field in _OF_SCANS if getattr(about, field) is not None), None)
        if meant is not None:
            raise InputError(
                f"{named(meant)} is for scans and meshes, and {file.shown} is a log sheet", "leave it out", field=meant
            )
        on_stage(READING_STAGES[0])
        return _from_sheet(file, about, wood, trim_m, more)
    read = _from_scan(file, about, wood, trim_m, on_stage, walks)
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
    if not wood.known:
        warnings.append(_UNKNOWN_SPECIES)
    if wood.taken_as:
        warnings.append(Note("species_taken_as", wood.taken_as, bears_on_plan=True))
    if about.bark is not None:
        sheet = replace(sheet, bark_on=about.bark == "on")
    thick_m = typed.bark_thickness_m if about.bark_thickness is None else bark_thickness_m(about.bark_thickness)
    if thick_m is not None and not sheet.bark_on and about.bark is None:
        raise InputError(
            f'{file.shown}: bark_thickness is for a log with its bark on; leave it out, or say bark = "on"'
        )
    bark = _Bark(wood if thick_m is None else thick_m, sheet.bark_on)
    try:
        log = log_from_sheet(sheet, bark.ratio if thick_m is not None else bark.ratio(_mean_diameter_m(sheet)))
    except ScanError as error:
        raise InputError(f"{file.shown}: {error.text}", error.mend, field=error.field) from None
    trim_from = _FROM_OPTION
    if trim_m is None:
        trim_m, trim_from = (0.0, _DEFAULT) if typed.end_trim_m is None else (typed.end_trim_m, _FROM_SHEET)
    cost, haul, fee_received = (
        said if (said := getattr(about, name)) is not None else getattr(typed, name) or 0.0
        for name in ("cost", "haul", "fee_received")
    )
    bark_from = _FROM_OPTION if about.bark else _FROM_SHEET if "bark" in typed.model_fields_set else _DEFAULT
    return LogRead(
        log, Source(kind="sheet", sha256=file.sha256), wood, sheet.bark_on, bark.used, trim_m, cost,
        species_from, bark.told(bark_from), trim_from, tuple(warnings),
        placed(log, (MarksRead(file.shown, typed.mark), *more), taped=True), haul, fee_received,
    )  # fmt: skip


def _from_scan(
    file: FileRead, about: AboutLog, wood: Wood | None, trim_m: float | None, on_stage: OnStage, walks: MoreWalks
) -> LogRead:
    warnings: list[Note] = []
    species_from = _FROM_OPTION
    if wood is None:
        wood, species_from = unknown_wood(), "not given"
    if not wood.known:
        warnings.append(_UNKNOWN_SPECIES)
    if wood.taken_as:
        warnings.append(Note("species_taken_as", wood.taken_as, bears_on_plan=True))
    thick = about.bark_thickness
    bark = _Bark(wood if thick is None else bark_thickness_m(thick), about.bark != "off")
    taped_m = None if about.taped_length is None else taped_m_of(about.taped_length)
    girths = () if about.girth is None else girths_along(about.girth)
    choices = ScanChoices(about.unit, about.up, about.butt, taped_m, about.pick, girths)
    name = named_after(Path(file.shown).name)
    if walks.files:
        log, notes = walks.log_with(file, name, bark.ratio, choices, on_stage)
    else:
        try:
            log, notes = log_of_file(file.data, file.suffix, name, bark.ratio, choices, on_stage=on_stage)
        except ScanError as error:
            raise InputError(f"{file.shown}: {error.text}", error.mend, field=error.field) from None
    kind: Literal["solid", "scan"] = "solid" if log.doubt is None else "scan"
    return LogRead(
        log, Source(kind=kind, sha256=walks.sha256_with(file)), wood, bark.is_on, bark.used,
        MESH_END_TRIM_M if trim_m is None else trim_m, about.cost or 0.0,
        species_from, bark.told(_FROM_OPTION if about.bark else _DEFAULT),
        _FROM_OPTION if about.end_trim else _DEFAULT,
        (*warnings, *notes), haul=about.haul or 0.0, fee_received=about.fee_received or 0.0,
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


def bark_thickness_m(text: str) -> float:
    """Read the bark's thickness as measured. [m]. Raises InputError."""
    try:
        thick_m = parse_length_m(text)
    except LengthError as error:
        raise InputError(f"{named('bark_thickness')}: {error.text}", error.mend, field="bark_thickness") from None
    if not 0.0 < thick_m <= MOST_BARK_M:
        raise InputError(
            f"{named('bark_thickness')} must be over 0 and at most {short_length(MOST_BARK_M)}, got {quoted(text)}",
            field="bark_thickness",
        )
    return thick_m


class _Bark:
    """How much of a diameter is wood: by the bark's thickness as measured, else as the wood's bark usually is.

    known_by : the wood, or the thickness. [m] used : the ratio of inside to outside diameter that was taken.
    """

    def __init__(self, known_by: Wood | float, is_on: bool) -> None:
        self.known_by, self.is_on, self.used = known_by, is_on, 1.0

    def ratio(self, diameter_m: float) -> float:
        """Return the ratio at the log's mean diameter. Raises InputError where the bark leaves too little wood."""
        if not self.is_on:
            return 1.0
        if isinstance(self.known_by, Wood):
            self.used = self.known_by.bark_ratio(diameter_m)
            return self.used
        self.used = 1.0 - 2.0 * self.known_by / diameter_m
        if self.used <= _LEAST_WOOD:
            raise InputError(
                f"{named('bark_thickness')}: {short_length(self.known_by)} on both sides is too much of a log "
                f"{short_length(diameter_m)} across; measure through the bark alone, and look at the unit"
            )
        return self.used

    def told(self, bark_from: str) -> str:
        """Say where the bark is from."""
        return bark_from if isinstance(self.known_by, Wood) else f"{bark_from}; its thickness as measured"


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
