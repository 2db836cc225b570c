"""The beds that an answer names, taken out of its words, so that no name is read as a thing done, an amount or a day.

While an answer is read, a letter of a script in which nobody writes to haulm (Yi) stands for each name.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

from haulm.garden import Bed, Garden

_FIRST, _MOST = 0xA000, 1000
_STAND_IN = re.compile("[\ua000-\ua48c]")
_BEFORE_COLON = re.compile("\\s*([\ua000-\ua48c])\\s*:\\s*(.+)", re.DOTALL)
_SHORTEST = 3  # shorter, and bare numbers, count only where nothing else can be meant: "a" and "2" mean much
# "bed 2 cans of 10 l" tells of two cans.
_NO_COUNT = r"(?!\s*(?:[x×]|cans?|buckets?|bottles?|jugs?|mm|cm|in|inch(?:es)?|l|litres?|liters?|gal\w*|kg|lbs?)\b)"


@dataclass(frozen=True, slots=True)
class Named:
    """An answer with a stand-in for each name of a bed."""

    text: str
    told: tuple[tuple[Bed, str], ...] = ()

    def beds(self, words: str) -> list[Bed]:
        """The beds that words name, each once, in their order."""
        found = [self._of(match[0]) for match in _STAND_IN.finditer(words)]
        return [bed for place, (bed, _) in enumerate(found) if bed not in [other for other, _ in found[:place]]]

    def shown(self, words: str, puts_back: Callable[[str], bool] = lambda _: True) -> str:
        """Words with the names back in their places, or with some of them."""

        def back(match: re.Match[str]) -> str:
            _, name = self._of(match[0])
            return name if puts_back(name) else match[0]

        return _STAND_IN.sub(back, words)

    def before_colon(self, line: str) -> tuple[Bed, str] | None:
        """The bed before the colon that a line begins with, and the words behind it."""
        match = _BEFORE_COLON.fullmatch(line)
        return None if match is None else (self._of(match[1])[0], match[2])

    def _of(self, stand_in: str) -> tuple[Bed, str]:
        return self.told[ord(stand_in) - _FIRST]


def name_beds(text: str, garden: Garden) -> Named:
    """Take the names and keys of beds out of a text, the longest first; a name that two beds bear is none."""
    bearers: dict[str, list[tuple[Bed, str]]] = {}
    for bed in garden.beds:
        for name in {each.casefold(): each for each in (bed.key, bed.name)}.values():
            bearers.setdefault(name.casefold(), []).append((bed, name))
    whose = [found[0] for found in bearers.values() if len(found) == 1 and found[0][1].strip()]
    whose.sort(key=lambda one: len(one[1]), reverse=True)
    told: list[tuple[Bed, str]] = []

    def stand_in(match: re.Match[str]) -> str:
        if match.lastindex is None:  # the script of the stand-ins itself, where it is no name
            return "?"
        if len(told) >= _MOST:
            return _STAND_IN.sub("?", match[0])
        told.append((whose[match.lastindex - 1][0], match[0]))
        return chr(_FIRST + len(told) - 1)

    pattern = "|".join([*(f"({_pattern(name)})" for _, name in whose), _STAND_IN.pattern])
    return Named(re.sub(pattern, stand_in, text, flags=re.IGNORECASE | re.MULTILINE), tuple(told))


def _pattern(name: str) -> str:
    if len(name) < _SHORTEST or not re.search(r"[^\W\d]", name):
        # The second is how the words of a correction name a bed.
        return rf"^\s*{re.escape(name)}(?=\s*:)|(?<= of \d{{4}}-\d\d-\d\d was ){re.escape(name)}(?= on \d|$)"
    return rf"(?<!\w){re.escape(name)}(?!\w){_NO_COUNT if name[-1].isdigit() else ''}"
