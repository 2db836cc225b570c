"""The log gets a line a letter, whatever its subject holds."""

import logging
from datetime import date

import pytest

from haulm.post.log import tell_log

DAY = date(2027, 4, 12)


def test_one_line_a_letter(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO, logger="haulm"):
        tell_log("brackenford", "morning", DAY, "Plant today\nroot: all is well")
    assert [record.name for record in caplog.records] == ["haulm"]
    assert caplog.messages == ["morning letter of brackenford for 2027-04-12: Plant today root: all is well"]


def test_its_text_line_by_line_where_wanted(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO, logger="haulm"):
        tell_log("brackenford", "morning", DAY, "Plant today", "Do today\n\n  Plant 100 % of it.\n")
    assert caplog.messages[1:] == ["| Do today", "| ", "|   Plant 100 % of it."]
