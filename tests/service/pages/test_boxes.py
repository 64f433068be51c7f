"""What messages call a box on the pages is what stands beside it."""

import html
import re
from pathlib import Path

import pytest
from kept_pages import Pages

import service.pages
from service.pages.boxes import OF_A_FILE, OF_A_WAY, PAGE

TEMPLATES = Path(service.pages.__file__).parent / "templates"


def labelled(text: str, labels: str) -> dict[str, str]:
    """Return which box of a template each of `labels` stands at: the name in documents by the box's name."""
    found = re.findall(rf'<label for="([\w-]+)">{{{{ {labels}\.(\w+) }}}}</label>', text)
    boxes = {
        box_id: re.findall(rf'<(?:input|select|textarea)[^>]* id="{box_id}" name="(\w+)"', text) for box_id, _ in found
    }
    return {name: field for box_id, field in found for name in boxes[box_id]}


@pytest.mark.parametrize(("template", "fewer"), [("about_fields.html", 0), ("log_new.html", 3)])
def test_each_box_about_a_file_has_the_label_that_messages_call_it_by(template: str, fewer: int) -> None:
    found = labelled((TEMPLATES / template).read_text(), "OF_A_FILE")
    assert [name for name, field in found.items() if name != field] == []
    assert len(found) == len(OF_A_FILE) - fewer  # up, butt and pick are asked for once the file was read


def test_each_box_of_a_way_has_the_label_that_messages_call_it_by(client: Pages, log_id: str) -> None:
    text = html.unescape(client.get(f"/logs/{log_id}/way").text)
    for field, label in OF_A_WAY.items():
        assert f'<label for="{field}">{label}</label>' in text
        assert f' id="{field}" name="{field}"' in text


def test_fields_of_mills_and_prices_are_called_by_their_labels() -> None:
    assert PAGE.called("throat") == PAGE.called("throat_m") == "“Widest cut”"
    assert PAGE.called("pace.hourly_rate") == "“What an hour at the mill costs”"
