"""What is set aside: kept for a look, and never so much of it that it takes the room of the copies."""

import os
from datetime import timedelta

from haulm.store.database import damaged_of, open_database
from haulm.store.mend import KEPT_ASIDE, restore


def test_only_the_last_few_damaged_stores_are_kept(path, now):
    open_database(path).close()
    seen = []
    for number in range(KEPT_ASIDE + 3):
        path.write_bytes(path.read_bytes()[:5000])
        restored = restore(path, now + timedelta(days=number))
        assert restored is not None
        seen.append(restored.aside)
        old = restored.aside.stat().st_mtime - 86_400 * (100 - number)
        os.utime(restored.aside, (old, old))
    assert sorted(damaged_of(path).glob("*.sqlite")) == sorted(seen[-KEPT_ASIDE:])


def test_the_one_just_set_aside_is_kept_whatever_the_clock_says(path, now):
    open_database(path).close()
    for number in range(KEPT_ASIDE + 1):
        path.write_bytes(path.read_bytes()[:5000])
        restored = restore(path, now - timedelta(days=number))
        assert restored.aside.exists()
        ahead = restored.aside.stat().st_mtime + 86_400 * 100
        os.utime(restored.aside, (ahead, ahead))
