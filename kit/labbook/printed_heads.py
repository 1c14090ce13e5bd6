"""The heads of the record that a write-up prints, read back from its page to check a lab book against."""

from __future__ import annotations

import json
import re
from typing import Any

from kit.errors import RecordError

HEADS_ID = "record-heads"
_HEADS = re.compile(rf'<script type="application/json" id="{HEADS_ID}">(.*?)</script>', re.DOTALL)


def read_heads(page: str) -> dict[str, dict[str, Any]]:
    """The chain heads a page was written with.

    Parameters
    ----------
    page : str   The text of the page.

    Returns
    -------
    dict   Stream name to {"seq": int, "hash": str}.

    Raises
    ------
    RecordError   `labbook.no_heads`: there are none, more than one set, or they cannot be read.
    """
    found = _HEADS.findall(page)
    try:
        (text,) = found
        heads = json.loads(text)
        return {str(stream): {"seq": int(head["seq"]), "hash": str(head["hash"])} for stream, head in heads.items()}
    except (ValueError, KeyError, TypeError, AttributeError):
        raise RecordError(
            f"the page holds {'no' if not found else 'no readable'} set of record heads",
            allowed="a write-up as the kit wrote it",
            mend="give the page that was made from this lab book",
            code="labbook.no_heads",
        ) from None
