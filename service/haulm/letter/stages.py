"""The stages of a planting's season, as they came and as they are expected."""

from collections.abc import Iterator, Sequence
from datetime import date

from haulm.condition import Condition, DayRange
from haulm.garden import Entry, Stage, What
from haulm.letter import amounts
from haulm.letter.page import StageRow

NAMES = {
    What.SEED_BOUGHT: "seed bought",
    What.CHITTING_BEGUN: "chitting",
    What.PLANTED: "planted",
    What.SHOOTS_OUT: "shoots out",
    What.DYING_BACK: "tops going down",
    What.TOPS_DEAD: "tops dead",
    What.TOPS_CUT: "tops cut",
    What.LIFTED: "lifted",
    What.INTO_STORE: "in the store",
}
STAGE_NAMES = {
    Stage.EMERGED: "shoots out",
    Stage.SKINS_SETTING: "tops dead",
    Stage.STORED: "in the store",
}


def stages_of(condition: Condition, notes: Sequence[Entry], first: date) -> Iterator[StageRow]:
    """What was noted, in its order; then the stage that is only estimated, then what is still expected."""
    today = condition.today
    before: date | None = None
    for entry in sorted((one for one in notes if one.day >= first and one.what in NAMES), key=lambda one: one.day):
        later = f", {amounts.days((entry.day - before).days)} later" if before is not None else ""
        yield StageRow(NAMES[entry.what or What.PLANTED], f"{amounts.day(entry.day, today)}{later}", noted=True)
        before = entry.day
    now = condition.stage
    if now.since is not None and not now.noted and now.stage in STAGE_NAMES:
        yield StageRow(STAGE_NAMES[now.stage], f"about {amounts.day(now.since, today)}", noted=False)
    yield from _ahead(condition)


def _ahead(condition: Condition) -> Iterator[StageRow]:
    crop, stage, today = condition.crop, condition.stage.stage, condition.today
    expected: tuple[tuple[str, DayRange | None, Stage], ...] = (
        ("shoots out", crop.shoots, Stage.PLANTED),
        ("tops going down", crop.ripe, Stage.EMERGED),
        ("skins set", crop.skins_ready, Stage.SKINS_SETTING),
    )
    for name, when, of in expected:
        if stage is of and when is not None and when.likely is not None and when.likely > today:
            told = amounts.expected_day(when.likely, today, when.early, when.late)
            yield StageRow(name, told, noted=False, ahead=True)
