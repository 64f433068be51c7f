"""What messages call a box on the pages is what stands beside it."""

from pathlib import Path

import pytest

import service.pages
from service.pages.boxes import OF_A_FILE, OF_A_WAY, PAGE

TEMPLATES = Path(service.pages.__file__).parent / "templates"


@pytest.mark.parametrize(("template", "labels"), [("about_fields.html", OF_A_FILE), ("way.html", OF_A_WAY)])
def test_each_label_stands_on_its_form(template, labels):
    text = (TEMPLATES / template).read_text()
    for field, label in labels.items():
        assert label in text, label
        assert f'name="{field}"' in text or f'entry("{field}", "{label}"' in text


def test_fields_of_mills_and_prices_are_called_by_their_labels():
    assert PAGE.called("throat") == PAGE.called("throat_m") == "“Widest cut”"
    assert PAGE.called("pace.hourly_rate") == "“What an hour at the mill costs”"
