"""The line of every key, for each way that TOML has of writing one."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.settings.lines import lines_of_keys

TEXT = '''\
top = 1 # comment = 2

[ a . "b.c" ]
one.two = """
# not a comment
[not.a.table]
x = "y" """
'quoted key' = 'C:\\path' # [x]
list = [ # first
  1, [2, 3],
  { x = 1, y.z = "}]" },

  "last",
]
dated = 1979-05-27 07:32:00
after = 0.5

[[rows]]
n = 1

[[rows]]
n = 2
[rows.inner]
m = """a\\"""b"""
end = true'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 1),
        (("a",), 3),
        (("a", "b.c"), 3),
        (("a", "b.c", "one"), 4),
        (("a", "b.c", "one", "two"), 4),
        (("a", "b.c", "quoted key"), 8),
        (("a", "b.c", "list"), 9),
        (("a", "b.c", "list", 0), 10),
        (("a", "b.c", "list", 1, 1), 10),
        (("a", "b.c", "list", 2, "x"), 11),
        (("a", "b.c", "list", 2, "y", "z"), 11),
        (("a", "b.c", "list", 3), 13),
        (("a", "b.c", "dated"), 15),
        (("a", "b.c", "after"), 16),
        (("rows", 0, "n"), 19),
        (("rows", 1), 21),
        (("rows", 1, "n"), 22),
        (("rows", 1, "inner"), 23),
        (("rows", 1, "inner", "m"), 24),
        (("rows", 1, "inner", "end"), 25),
    ],
)
def test_line_of(path, line):
    assert lines_of_keys(TEXT)[path] == line


def _paths(tree, path=()):
    below = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in below:
        yield (*path, key)
        yield from _paths(value, (*path, key))


def test_every_path_of_the_text_has_a_line_and_no_other():
    assert set(lines_of_keys(TEXT)) == set(_paths(tomllib.loads(TEXT)))


_KEY = st.text("abc-_1", min_size=1, max_size=4)
_VALUE = st.sampled_from(['"a # b"', "'x = 1'", "[1, 2,\n 3]", "{ q = 1 }", '"""\n[t]\nk = 1\n"""', "-1.5", "true"])


_PAIRS = st.dictionaries(_KEY, _VALUE, max_size=4)


@given(st.lists(st.tuples(_KEY, _PAIRS), unique_by=lambda table: table[0], max_size=5))
def test_lines_of_keys_written_at_random(tables):
    text, expected = "", {}
    for name, pairs in tables:
        expected[(name,)] = text.count("\n") + 1
        text += f"[{name}]\n\n"
        for key, value in pairs.items():
            expected[(name, key)] = text.count("\n") + 1
            text += f"{key} = {value} # end\n"
    found = lines_of_keys(text)
    assert {path: found[path] for path in expected} == expected
    assert set(found) == set(_paths(tomllib.loads(text)))
