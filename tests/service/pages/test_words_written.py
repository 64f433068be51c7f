"""The words that users read: docs/words.md says what the pages explain.

`python tests/service/pages/test_words_written.py > docs/words.md` writes it.
"""

import re
import sys
from pathlib import Path

import pytest

from service.pages.words import WORDS, Word

PAGE = Path(__file__).parents[3] / "docs" / "words.md"
_HEAD = """# The words

Every word of the trade that you meet in Pithline, and what it means. The pages explain the same words where they stand,
and all of them under "What the words mean". The last column is the word that documents, field names, and code use for
it, where that is another.

| you read | what it means | in documents and code |
| --- | --- | --- |
"""


def _row(word: Word) -> str:
    plain = word.key.replace("-", " ")
    return f"| {word.term} | {word.meaning} | {'' if plain == word.term else plain} |\n"


def words_page() -> str:
    return _HEAD + "".join(_row(word) for word in sorted(WORDS.values(), key=lambda word: word.term))


def test_the_page_of_words_says_what_the_pages_explain() -> None:
    assert PAGE.read_text() == words_page()


@pytest.mark.parametrize("word", WORDS.values(), ids=list(WORDS))
def test_a_word_has_a_term_of_its_own_and_whole_sentences(word: Word) -> None:
    assert [other.key for other in WORDS.values() if other.term == word.term] == [word.key]
    assert re.fullmatch(r"[A-Z0-9].*\.", word.meaning)
    assert "|" not in word.meaning + word.term


if __name__ == "__main__":
    sys.stdout.write(words_page())
