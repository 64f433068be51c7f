"""From a log that was read to what the optimizer asks for, and to what is shown of it."""

from dataclasses import asdict, replace
from math import isclose

from optimizer.documents.mill import Mill
from optimizer.documents.plan import LogFound, Mark
from optimizer.documents.prices import PriceBook
from optimizer.planning import LogGiven
from scans.messages import long_length, named, short_length
from service.contract.documents import LogFacts, ScanFacts
from service.typed.errors import InputError
from service.typed.log_reading import LogRead
from service.typed.mark_sheet import idle_marks

_SAME = 1e-6
"""Documents round what they say by less."""


def log_given(read: LogRead, mill: Mill, prices: PriceBook) -> LogGiven:
    """Return a log as the optimizer takes it. Raises InputError where the end trim leaves nothing of it."""
    if 2.0 * read.end_trim_m >= read.log.length_m:
        raise InputError(
            f"the end trim leaves nothing of the log: {short_length(read.end_trim_m)} at each end of "
            f"{long_length(read.log.length_m)}",
            f"give a smaller {named('end_trim')}",
            field="end_trim",
        )
    return LogGiven(
        log=read.log,
        source=read.source,
        wood=read.wood,
        end_trim_m=(read.end_trim_m, read.end_trim_m),
        bark_on=read.bark_on,
        bark_ratio=read.bark_ratio,
        cost=read.cost,
        haul=read.haul,
        fee_received=read.fee_received,
        marks=read.marks,
        warnings=(*read.warnings, *idle_marks(read.marks, mill, prices)),
    )


def log_facts(read: LogRead) -> LogFacts:
    """Return what is shown of a log before it is planned."""
    log, wood = read.log, read.wood
    return LogFacts(
        source=read.source.kind,
        species=wood.name,
        bark=read.bark_on,
        length_m=log.length_m,
        volume_m3=log.wood.volume_m3,
        mass_kg=wood.log_mass_kg(log.wood.volume_m3, log.outer.volume_m3),
        end_trim_m=read.end_trim_m,
        cost=read.cost,
        haul=read.haul,
        fee_received=read.fee_received,
        limbs=max(0, len(log.hearts) - 1),
        faces=len(log.outer.faces),
        not_seen_share=log.not_seen_share,
        surface_error_m=log.surface_error_m,
        guessed_within_m=log.guessed_within_m,
        scans=tuple(ScanFacts(**asdict(walk)) for walk in log.walks),
        warnings=read.warnings,
    )


def called(read: LogRead, name: str, marks: tuple[Mark, ...]) -> LogRead:
    """Return a log under the name and with the marks that it has now."""
    return replace(read, log=replace(read.log, name=name), marks=marks)


def is_same_log(planned: LogFound, now: LogFacts | None) -> bool:
    """Whether a log is what a plan has it as. now : None while it is read again."""
    return (
        now is not None
        and (planned.species, planned.bark) == (now.species, now.bark)
        and planned.end_trim_m == (now.end_trim_m, now.end_trim_m)
        and isclose(planned.length_m, now.length_m, rel_tol=_SAME)
        and isclose(planned.volume_m3, now.volume_m3, rel_tol=_SAME)
        and isclose(planned.mass_kg, now.mass_kg, rel_tol=_SAME)
    )
