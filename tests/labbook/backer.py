"""A child process of the backup tests: does one thing again and again until it is killed, and says each time it did.

python backer.py backup LABBOOK FOLDER
python backer.py restore BACKUP LABBOOK
python backer.py append LABBOOK STREAM [COUNT]      then keeps the lab book open
"""

import itertools
import os
import sys
import time

from kit.labbook.backup import back_up
from kit.labbook.restore import restore
from kit.labbook.store import Store


def main(what: str, source: str, to: str, count: str = "1000000") -> None:
    """Do it, say so, do it again."""
    if what == "append":
        append(source, to, int(count))
    while True:
        if what == "backup":
            back_up(source, to)
        else:
            restore(source, to, set_aside=True)
        os.write(1, b"done\n")


def append(path: str, stream: str, count: int) -> None:
    """Append entries with a derived row."""
    store = Store.open(path)
    for number in itertools.islice(itertools.count(), count):
        row = {"material": "glycerin", "mass_g_text": f"{number}.50", "mass_g": number + 0.5}
        body = {"material": "glycerin", "mass_g": f"{number}.50"}
        store.append(stream, "weigh", body, stream_kind="batch", project=[("weighing", row)])
        os.write(1, b"done\n")
    time.sleep(600)


if __name__ == "__main__":
    main(*sys.argv[1:])
