"""A face as it was found at the mill, typed under the cut list: what is sawn so far, how wide and long the face is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from optimizer.documents.plan import Pass, PlanDocument
from scans.units import LengthError, parse_length_m
from service.pages.fields import length_text
from service.words.measures import measures_in
from service.words.units import Units

MOST_SHARE = 1.5
"""A face so many times as large as the log is a slip in a number or its unit, not a find (our own rule, no source)."""
WIDTH, LENGTH, MADE = "face_width", "face_length", "made"


@dataclass(frozen=True)
class FaceTyped:
    """What was typed of a face.

    made : how many passes are sawn. seen : the face as a way asks for it, `2: 21 in x 9 ft`; empty where none was
    typed.
    errors : what is wrong, by the field that it is wrong in; nothing else counts where there are any.
    """

    made: int
    seen: str = ""
    errors: dict[str, str] = field(default_factory=dict)


def face_typed(typed: Mapping[str, str], document: PlanDocument, cuts: Sequence[Pass], units: Units) -> FaceTyped:
    """Read the form. cuts : the passes that one may have sawn. Bare numbers are in the units that stand beside them."""
    errors: dict[str, str] = {}
    orders = {str(cut.order): cut.order for cut in cuts}
    made = orders.get(typed.get(MADE, "").strip())
    if made is None:
        errors[MADE] = "Choose the cut that you made last"
    measures = measures_in(units)
    asked = {
        WIDTH: ("wide", measures.reading_unit, document.log.max_width_m),
        LENGTH: ("long", "m" if measures.is_metric else "ft", document.log.length_m),
    }

    def said(name: str, length_m: float) -> str:
        return measures.long(length_m) if name == LENGTH else f"{measures.width(length_m)} {measures.reading_unit}"

    found: dict[str, float] = {}
    texts = {name: typed.get(name, "").strip() for name in asked}
    for name, (word, unit, whole_m) in asked.items():
        text = texts[name]
        if not text:
            if any(texts.values()):
                errors[name] = f"Say how {word} the face is, too; or leave both empty"
            continue
        try:
            found[name] = parse_length_m(text, unit)
        except LengthError as error:
            errors[name] = str(error)
            continue
        if found[name] <= 0.0:
            errors[name] = f"A face is more than 0 {word}, got {text}; measure it again"
        elif found[name] > MOST_SHARE * whole_m:
            errors[name] = (
                f"{said(name, found[name])} is much more than this log is {word}, {said(name, whole_m)}; "
                "look at the number and its unit"
            )
    if errors:
        return FaceTyped(made or 0, "", errors)
    seen = f"{made}: {' x '.join(length_text(found[name], units) for name in asked)}" if found else ""
    return FaceTyped(made or 0, seen)
