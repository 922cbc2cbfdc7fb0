"""One invented call and its page, made once."""

from __future__ import annotations

import pytest

from companion.datafiles import folder
from companion.journal import JOURNAL, read
from companion.review import review_page
from tests.review.invented import invented_call


@pytest.fixture(scope="session")
def call(dialogs, tmp_path_factory):
    place = invented_call(dialogs, tmp_path_factory.mktemp("calls") / "made")
    page = review_page(read(place / JOURNAL), place, folder("dialogs"))
    (place / "review.html").write_text(page, encoding="utf-8")
    return place
