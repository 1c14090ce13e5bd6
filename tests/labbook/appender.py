"""A child process of the crash tests: appends to a lab book until it is killed, and says what was acknowledged.

    python appender.py LABBOOK STREAM [COUNT [hold]]

Every round appends one entry with a derived row, and its twin to a second stream, in one call; then it prints
the entry's number. Now and then it closes the lab book and opens it again, so that kills meet that too.
With "hold" it keeps the lab book open after COUNT rounds and waits to be killed.
"""

import itertools
import os
import sys
import time

from kit.labbook.store import Store
from kit.labbook.streams import Draft


def drafts(stream: str, number: int) -> list[Draft]:
    """An entry with one derived row, and its twin."""
    row = {"material": "glycerin", "mass_g_text": f"{number}.50", "mass_g": number + 0.5}
    return [
        Draft(stream, "weigh", {"number": number, "note": "x" * 300}, "batch", project=[("weighing", row)]),
        Draft(f"{stream} twin", "seen", {"number": number}, "twin"),
    ]


def main(path: str, stream: str, count: str = "1000000", then: str = "close") -> None:
    """Append, acknowledge, repeat."""
    store = Store.open(path)
    for number in itertools.islice(itertools.count(), int(count)):
        entry = store.append_many(drafts(stream, number))[0]
        os.write(1, b"%d\n" % entry.seq)
        if number % 15 == 14:
            store.close()
            store = Store.open(path)
    if then == "hold":
        time.sleep(600)
    store.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
