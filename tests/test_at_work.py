"""The line that tells that a command is still at work."""

import io
import time

from haulm.commands.at_work import at_work


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_long_work_is_told_and_its_line_taken_away():
    shown = Terminal()
    with at_work("Drawing", shown, moment_s=0.02):
        time.sleep(0.2)
    assert "Drawing … 1 s" in shown.getvalue()
    assert shown.getvalue().endswith("\r\x1b[K")


def test_short_work_and_work_that_nobody_looks_at_are_silent():
    for shown, lasting_s in ((Terminal(), 0.0), (io.StringIO(), 0.1)):
        with at_work("Drawing", shown, moment_s=0.02):
            time.sleep(lasting_s)
        assert shown.getvalue() == ""


def test_the_line_goes_also_where_the_work_fails():
    shown = Terminal()
    try:
        with at_work("Drawing", shown, moment_s=0.02):
            time.sleep(0.1)
            raise ValueError
    except ValueError:
        pass
    assert shown.getvalue().endswith("\r\x1b[K")
