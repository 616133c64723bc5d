"""What a notebook shows of a busy year: the newest, and how many more there are."""

from __future__ import annotations

import pytest
from tests.journeys.published_json import mistakes
from tests.store.things import noted_job, noted_run

from vatwright.answers.notebook import shelf_text
from vatwright.errors import InputError
from vatwright.files.stock_file import stock_table
from vatwright.interfaces.render.notebook_json import shop_json
from vatwright.records.notebook import Contents
from vatwright.services.keep_shop import find


@pytest.fixture
def some():
    job = noted_job()
    return Contents(jobs=(job,), runs=(noted_run("run 8", job), noted_run("run 9", job)), more_runs=9998)


def test_what_is_not_listed_is_counted_in_words_and_data(some):
    found = find(some)
    assert found.older == {"run": 9998}
    text = shelf_text(found.kinds, "notebook", found.older)
    assert "the newest 2 runs" in text
    assert "and 9,998 older: vatwright shop show run --all" in text
    data = shop_json(found.kinds, "notebook", stock_table, found.older)
    assert mistakes(data, "shop-1") == []
    assert data["older"] == {"run": 9998}


def test_another_kind_has_no_older_ones(some):
    assert find(some, "job").older == {}


def test_a_name_that_is_not_there_is_refused_with_what_there_is(some):
    with pytest.raises(InputError, match="run 8, run 9, and 9,998 older"):
        find(some, "run", "run 1")
