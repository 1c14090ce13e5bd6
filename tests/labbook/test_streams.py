"""Canonical text, sealing and the chain of hashes, without any database.

Expected texts and hashes come from published examples (named beside them), from the standard library's own
SHA-256 over a text written out by hand, or from damage done on purpose to a whole chain.
"""

import dataclasses
import hashlib
import json
from datetime import datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import RecordError
from kit.labbook.streams import GENESIS, Draft, Entry, Head, canonical, digest, parse, seal, stamp, verify_chain

NOW = "2026-03-02T09:12:00+01:00"


def chain(length: int, stream: str = "LIN-03/1") -> list[Entry]:
    """A whole stream of weighings."""
    entries: list[Entry] = []
    for seq in range(1, length + 1):
        previous = entries[-1].hash if entries else GENESIS
        entries.append(seal(stream, seq, "weigh", {"material": f"m{seq}", "mass_g": "1.50"}, NOW, NOW, previous))
    return entries


def refused(call, *arguments, **named) -> RecordError:
    """The RecordError a call raises."""
    with pytest.raises(RecordError) as caught:
        call(*arguments, **named)
    return caught.value


class TestCanonical:
    def test_text_written_out_by_hand(self):
        value = {"b": [1, True, None], "a": {"z": "µ", "y": Decimal("20.040")}}
        assert canonical(value) == '{"a":{"y":"20.040","z":"µ"},"b":[1,true,null]}'

    def test_keys_sort_by_code_point_not_by_locale(self):
        # U+0041 A < U+005A Z < U+0061 a < U+00C4 Ä (Unicode code charts)
        assert canonical({"Ä": 1, "a": 2, "Z": 3, "A": 4}) == '{"A":4,"Z":3,"a":2,"Ä":1}'

    def test_control_characters_are_escaped_as_rfc_8259_section_7_asks(self):
        assert canonical('a"\\\n\x00') == '"a\\"\\\\\\n\\u0000"'

    @pytest.mark.parametrize("typed", ["4.60", "0.0", "1E+3", "-0", "100.00"])
    def test_a_decimal_keeps_every_typed_digit(self, typed):
        assert canonical(Decimal(typed)) == f'"{typed}"'

    def test_a_tuple_is_a_list(self):
        assert canonical(("a", (1, 2))) == '["a",[1,2]]'

    @pytest.mark.parametrize("number", [20.04, float("nan"), float("inf"), 1.0])
    def test_a_float_is_refused_and_its_place_named(self, number):
        error = refused(canonical, {"lines": [{"mass": number}]})
        assert error.code == "labbook.float"
        assert error.where == "value.lines[0].mass"

    @pytest.mark.parametrize("value", [Decimal("NaN"), Decimal("Infinity"), {1: "a"}, {"a"}, b"a", object(), 1j])
    def test_what_would_not_come_back_is_refused(self, value):
        assert refused(canonical, value).code == "labbook.body"

    def test_a_body_that_holds_itself_is_refused(self):
        value: list = []
        value.append(value)
        assert "nested" in refused(canonical, value).what

    def test_half_a_character_is_refused(self):
        assert refused(canonical, {"note": "\ud800"}).code == "labbook.text"

    plain = st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(st.characters(exclude_categories=["Cs"])),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=4),
        max_leaves=12,
    )

    @given(plain)
    def test_reads_back_as_it_was(self, value):
        assert json.loads(canonical(value)) == value

    @given(st.dictionaries(st.text(max_size=3), st.integers(), min_size=2, max_size=6))
    def test_does_not_depend_on_the_order_of_keys(self, value):
        assert canonical(value) == canonical(dict(reversed(value.items())))


class TestStamp:
    def test_a_typed_time_is_kept_verbatim(self):
        assert stamp("2026-03-02T09:12:00-05:30") == "2026-03-02T09:12:00-05:30"

    def test_an_aware_moment_keeps_its_offset(self):
        moment = datetime(2026, 3, 2, 9, 12, tzinfo=timezone(timedelta(hours=2)))
        assert stamp(moment) == "2026-03-02T09:12:00+02:00"

    @pytest.mark.parametrize("when", ["2026-03-02T09:12:00", "yesterday", "", datetime(2026, 3, 2), 5])
    def test_a_time_without_offset_is_refused(self, when):
        assert refused(stamp, when).code == "labbook.time"


class TestSeal:
    def test_text_and_hash_written_out_by_hand(self):
        entry = seal("LIN-03/1", 1, "weigh", {"mass_g": Decimal("20.04"), "lot": "C-118"}, NOW, NOW, GENESIS)
        text = (
            '{"body":{"lot":"C-118","mass_g":"20.04"},"kind":"weigh","measured_at":"2026-03-02T09:12:00+01:00",'
            '"previous":"0000000000000000000000000000000000000000000000000000000000000000",'
            '"recorded_at":"2026-03-02T09:12:00+01:00","seq":1,"stream":"LIN-03/1"}'
        )
        assert entry.text == text
        assert entry.hash == hashlib.sha256(text.encode("utf-8")).hexdigest()

    def test_the_hash_is_sha_256(self):
        # FIPS 180-4 example "abc" (NIST, SHA256.pdf, one-block message)
        assert digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

    def test_comes_back_equal_from_its_text(self):
        entry = seal("LIN", 1, "weigh", {"mass": Decimal("20.040"), "list": (1, None)}, None, NOW, GENESIS)
        assert parse(entry.text, entry.hash) == entry

    def test_is_frozen(self):
        with pytest.raises(dataclasses.FrozenInstanceError):
            chain(1)[0].kind = "void"  # type: ignore[misc]

    @pytest.mark.parametrize("body", [None, "text", ["a"], 5])
    def test_a_body_is_an_object(self, body):
        assert refused(seal, "LIN", 1, "weigh", body, None, NOW, GENESIS).code == "labbook.body"

    @pytest.mark.parametrize("name", ["", "  ", None, 3])
    @pytest.mark.parametrize("which", ["stream", "kind", "stream_kind"])
    def test_an_empty_name_is_refused_before_anything_is_stored(self, name, which):
        named = {"stream": "LIN", "kind": "weigh", "stream_kind": "batch", which: name}
        assert refused(Draft, body={}, **named).code == "labbook.name"


class TestParse:
    @pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"seq":1}', "null", None, b"{}", "[" * 100_000])
    def test_what_is_no_entry_any_more_says_so(self, text):
        assert refused(parse, text, "0" * 64, "entry 4").code == "labbook.edited"

    @pytest.mark.parametrize(("key", "value"), [("seq", "1"), ("seq", True), ("body", []), ("extra", 1)])
    def test_fields_of_another_kind_say_so(self, key, value):
        fields = json.loads(chain(1)[0].text) | {key: value}
        assert refused(parse, json.dumps(fields), "").code == "labbook.edited"


class TestVerifyChain:
    def test_a_whole_chain_gives_its_head(self):
        entries = chain(5)
        assert verify_chain(entries, "LIN-03/1") == Head(5, entries[4].hash)

    def test_nothing_has_the_head_before_the_first(self):
        assert verify_chain([], "LIN-03/1") == (0, GENESIS)

    @given(st.integers(0, 4), st.integers(0, 60), st.sampled_from("x9\u00e9"))
    def test_one_changed_character_anywhere_shows(self, which, place, letter):
        entries = chain(5)
        text = entries[which].text
        place = min(place * 4, len(text) - 1)
        changed = text[:place] + letter + text[place + 1 :]
        entries[which] = dataclasses.replace(entries[which], text=changed)
        if changed == text:
            assert verify_chain(entries, "LIN-03/1").seq == 5
        else:
            error = refused(verify_chain, entries, "LIN-03/1")
            assert (error.code, error.where) == ("labbook.edited", f'stream "LIN-03/1", entry {which + 1}')

    @pytest.mark.parametrize(
        ("first", "last", "words"), [(2, 2, "Entry 2 is missing"), (2, 4, "Entries 2 to 4 are missing")]
    )
    def test_a_gap_names_what_is_missing(self, first, last, words):
        entries = chain(6)
        error = refused(verify_chain, entries[: first - 1] + entries[last:], "LIN-03/1")
        assert error.code == "labbook.gap"
        assert words in error.what

    def test_a_missing_beginning_is_a_gap(self):
        error = refused(verify_chain, chain(4)[1:], "LIN-03/1")
        assert error.code == "labbook.gap"
        assert "Entry 1 is missing: entry 2 comes at the beginning" in error.what

    def test_a_swapped_pair_is_an_order_not_a_gap(self):
        one, two, three, four = chain(4)
        assert refused(verify_chain, [one, three, two, four], "LIN-03/1").code == "labbook.reordered"

    def test_a_repeated_entry_is_an_order(self):
        one, two, three = chain(3)
        assert refused(verify_chain, [one, two, two, three], "LIN-03/1").code == "labbook.reordered"

    def test_an_entry_of_another_stream_shows_although_its_own_hash_fits(self):
        one, _, three = chain(3)
        stranger = chain(2, "LIN-04/1")[1]
        error = refused(verify_chain, [one, stranger, three], "LIN-03/1")
        assert error.code == "labbook.wrong_stream"
        assert "LIN-04/1" in error.what

    def test_an_entry_rewritten_with_a_fitting_hash_shows_in_the_next(self):
        entries = chain(4)
        entries[1] = seal("LIN-03/1", 2, "weigh", {"mass_g": "9.99"}, NOW, NOW, entries[0].hash)
        error = refused(verify_chain, entries, "LIN-03/1")
        assert error.code == "labbook.replaced"
        assert "Entry 2 was replaced" in error.what

    def test_a_first_entry_that_knows_an_earlier_one_shows(self):
        late = seal("LIN-03/1", 1, "weigh", {}, NOW, NOW, "f" * 64)
        assert refused(verify_chain, [late], "LIN-03/1").code == "labbook.replaced"

    def test_the_stated_limits_hold_so_that_nobody_relies_on_more(self):
        """A cut tail and a chain rebuilt from the start pass: only a printed head tells."""
        whole = chain(6)
        assert verify_chain(whole[:4], "LIN-03/1") == whole[3].head
        rebuilt = whole[:2]
        for seq in range(3, 7):
            rebuilt.append(seal("LIN-03/1", seq, "weigh", {"mass_g": "9.99"}, NOW, NOW, rebuilt[-1].hash))
        assert verify_chain(rebuilt, "LIN-03/1").hash != whole[5].hash
