"""A fault of many gardens is told once, a fault of one where it stands."""

from haulm.errors import Fault, HaulmError, SettingsError
from haulm.jobs.told_once import told_once

COMMON = Fault("unknown key", "common.toml, line 2, letter.pictur", nearest="picture")
PLACE = Fault("must be a number", "places.csv, line 3, latitude")


def of_tables(key, *faults):
    return SettingsError(f"growers.csv, line 2, {key}", faults, remedy="Correct it.", placed=True)


def words(failed, gardens, **wishes):
    return [one.words for one in told_once(failed, gardens, **wishes)]


def test_the_common_files_fault_once_with_all_whom_it_stops():
    failed = {key: of_tables(key, COMMON) for key in map(str, range(500))}
    assert words(failed, 500) == [
        "All 500 gardens: 1 fault in the settings\n  - common.toml, line 2, letter.pictur: unknown key. Did you mean "
        '"picture"?\n  Correct it.'
    ]


def test_what_else_is_wrong_with_a_garden_keeps_its_place():
    own = Fault("is not one mail address", "growers.csv, line 7, address")
    failed = {
        "ann": of_tables("ann", COMMON, own),
        "bob": of_tables("bob", COMMON, PLACE),
        "cy": of_tables("cy", PLACE, COMMON),
    }
    every, some, one = words(failed, 3)
    assert every.startswith("All 3 gardens: 1 fault in the settings\n  - common.toml")
    assert some.startswith("2 gardens (bob, cy): 1 fault in the settings\n  - places.csv")
    assert one.startswith("growers.csv, line 2, ann: 1 fault in the settings\n  - growers.csv, line 7, address")


def test_of_many_a_few_are_named_unless_all_are_wanted():
    failed = {key: of_tables(key, COMMON) for key in "abcdefghijkl"}
    (few,) = words(failed, 20)
    assert few.startswith("12 gardens (a, b, c, d, e, f, g, h, i, j and 2 more): ")
    (each,) = words(failed, 20, named=20)
    assert each.startswith("12 gardens (a, b, c, d, e, f, g, h, i, j, k, l): ")


def test_the_same_slip_in_two_files_is_two():
    slip = Fault("unknown key", "letter.pictur", line=2)
    failed = {key: SettingsError(f"{key}.toml", (slip,)) for key in ("ann", "bob")}
    assert [text.splitlines()[0] for text in words(failed, 2)] == [
        "ann.toml: 1 fault in the settings",
        "bob.toml: 1 fault in the settings",
    ]


def test_faults_that_are_none_of_the_settings():
    lost = HaulmError("a fault of haulm's own (KeyError, soil.py line 3)")
    failed = {"ann": lost, "bob": lost, "cy": HaulmError("the journal cannot be read", where="cy.journal.jsonl")}
    assert words(failed, 9) == [
        f"2 gardens (ann, bob): {lost}",
        "cy: cy.journal.jsonl: the journal cannot be read",
    ]
