"""Whoever reads a note or a refusal finds fields called as they are there: an option, a box, a name of the API."""

import pickle

import pytest
from plan_documents import a_document

from optimizer.documents.plan import PlanDocument
from scans.messages import Note, Refusal, kept_note, long_length, named
from service.contract.documents import ErrorShown, LogFacts
from service.contract.refusals import error_shown
from service.pages.boxes import PAGE
from service.typed.errors import InputError
from service.words.messages import API, COMMAND_LINE, said
from service.words.units import Units

SEVERAL = Note("other_log", f"Another log is {long_length(1.96)} long: choose {named('pick', '2')} to take it.")


@pytest.mark.parametrize(
    ("reader", "units", "told"),
    [
        (COMMAND_LINE, Units.IMPERIAL, "Another log is 6 ft 5 in long: choose --pick 2 to take it."),
        (
            PAGE,
            Units.METRIC,
            "Another log is 1.96 m long: choose 2 under “Which log, if the scan shows several” to take it.",
        ),
        (API, None, "Another log is 1.96 m long: choose pick: 2 to take it."),
    ],
)
def test_a_note_on_several_logs_names_what_its_reader_has(reader, units, told):
    assert said(SEVERAL, units, reader) == told


def test_a_refusal_says_what_is_wrong_and_what_to_do():
    error = InputError(f"{named('taped_length')} must be over 0", "measure again", field="taped_length")

    assert said(error, Units.IMPERIAL, COMMAND_LINE) == "--taped-length must be over 0; measure again"
    assert said(error, Units.IMPERIAL, PAGE) == "“Length by your tape” must be over 0; measure again"
    assert said(error, None, API) == "taped_length must be over 0; measure again"


def test_a_length_may_stand_where_a_field_has_an_example():
    text = f"write {named('taped_length', long_length(3.048))}"

    assert said(text, Units.IMPERIAL, COMMAND_LINE) == "write --taped-length 10 ft"


def test_a_field_that_a_reader_has_no_name_for_is_called_as_in_documents():
    assert said(named("limits.min_length"), None, COMMAND_LINE) == "limits.min_length"
    assert said(named("limits.min_length"), None, PAGE) == "“Shortest slab”"


def test_an_option_in_what_somebody_typed_stays_as_it_is():
    typed = InputError("a --unit typed in a file's name.obj, 1-2 in")

    for reader in (COMMAND_LINE, PAGE, API):
        assert said(typed, None, reader) == str(typed)


def test_the_api_tells_the_field_apart():
    shown = error_shown(InputError(f"{named('shim_butt')} must lie on it", "make it less", field="shim_butt"))

    assert shown is not None
    assert (shown.field, shown.status) == ("shim_butt", 422)
    assert '"shim_butt must lie on it; make it less"' in shown.model_dump_json()
    assert shown.model_dump()["message"] == "{:shim_butt} must lie on it; make it less"


def test_a_refusal_goes_from_process_to_process_whole():
    error = InputError("no", "do", field="heights")
    again = pickle.loads(pickle.dumps(error))  # noqa: S301 - its own

    assert (type(again), again.text, again.mend, again.field) == (InputError, "no", "do", "heights")
    assert str(again) == "no; do"
    assert isinstance(again, Refusal)


def test_documents_kept_with_texts_alone_are_read():
    document = a_document()
    old = {**document.model_dump(mode="json"), "warnings": ["The top end was not measured."]}
    again = PlanDocument.model_validate(old)

    assert again.warnings == (Note("kept", "The top end was not measured.", bears_on_plan=True),)
    assert PlanDocument.model_validate_json(again.model_dump_json()) == again
    assert again.model_dump(mode="json")["warnings"] == [
        {"kind": "kept", "text": "The top end was not measured.", "bears_on_plan": True}
    ]


def test_facts_of_a_log_are_sent_with_the_apis_names():
    facts = LogFacts.model_construct(warnings=(SEVERAL,))

    assert "choose pick: 2" in facts.model_dump(mode="json")["warnings"][0]["text"]
    assert kept_note(facts.model_dump()["warnings"][0]) == SEVERAL or facts.model_dump()["warnings"][0] == SEVERAL


def test_an_error_is_kept_with_its_fields_unnamed():
    shown = ErrorShown(status=422, message="choose {:unit m or ft}", what_to_do="")

    assert shown.model_dump()["message"] == "choose {:unit m or ft}"
    assert '"choose unit: m or ft"' in shown.model_dump_json()
