"""Which material a row of a formula sheet means: by house code, trade name or INCI, through the library."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation

from kit.errors import MaterialError
from kit.formula.intake_columns import NAMES
from kit.formula.library import Library
from kit.formula.material import Material
from kit.units import plain

_WORDS = {"code": "code", "trade_name": "trade name", "name": "name", "inci": "INCI name"}
_TOGETHER = re.compile(r"\s+\(and\)\s+|\s+and\s+|\s*[;,+&]\s*", re.IGNORECASE)
_NAME_AND_STRENGTH = re.compile(r"^(?P<name>.*?\S)\s*[(,]?\s*(?P<pct>\d+(?:[.,]\d+)?)\s*%\s*(?:active)?\s*\)?$")
# What sheets in three languages call the two ingredients that every formula has.
_COMMON = {
    **dict.fromkeys(("wasser", "wasser demin.", "vollentsalztes wasser", "ve wasser", "eau", "eau purifiée"), "water"),
    **dict.fromkeys(("demineralised water", "demineralized water", "di water", "eau déminéralisée"), "water"),
    **dict.fromkeys(("parfüm", "parfümöl", "perfume", "perfume oil", "fragrance oil"), "parfum"),
}
# Marks of a footnote behind a name: "Glycerin*", "Aqua¹".
_FOOTNOTE = re.compile(r"\s*[*†‡§¹²³⁴⁵⁶⁷⁸⁹]+$")
_BRACKETS = re.compile(r"\s*\(([^()\d%]*)\)")


@dataclass(frozen=True, slots=True)
class Resolution:
    """The material of a row, how it was told, and what to remark; `material` is None where none was."""

    material: Material | None = None
    how: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Resolver:
    """Names to materials. `words` is the user's own table: a name of the sheet to a key of the library."""

    library: Library
    words: Mapping[str, str] = field(default_factory=dict)

    def resolve(self, cells: Mapping[str, str], strength: str, where: str) -> Resolution:
        """The one material that the names of a row agree on.

        Parameters
        ----------
        cells : dict     Field ("code", "trade_name", "name", "inci") to its text, the empty ones left out.
        strength : str   Active content the row states, such as "80 %"; "" where it states none. [% w/w]
        where : str      The row, for the error.

        Raises
        ------
        MaterialError   `material.unknown`, `material.ambiguous` (the forms listed with their strength),
                        `intake.names_disagree`, `intake.strength`.
        """
        found = {name: self.lookup(cells[name]) for name in NAMES if name in cells}
        known = {name: forms for name, forms in found.items() if forms}
        if not known:
            raise self.unknown(cells, where)
        common = [form for form in next(iter(known.values())) if all(form in forms for forms in known.values())]
        if not common:
            raise _disagree(cells, known, where)
        if strength:
            common = _of_strength(common, strength, where)
        if len(common) > 1:
            raise _ambiguous(cells, known, common, where)
        by = next((name for name, forms in known.items() if len(forms) == 1), next(iter(known)))
        return Resolution(common[0], self._how(by, cells, known, strength), tuple(_remarks(cells, found, common[0])))

    def lookup(self, text: str) -> tuple[Material, ...]:
        """The materials a text can mean: none, one, or the forms that share an INCI name."""
        if key := self.words.get(_plain(text)):
            return (self.library.find(key, where="the column map, words.material"),)
        if text in self.library.materials:
            return (self.library.materials[text],)
        for spelling in _spellings(text):
            if spelling in self.library:
                return (self.library.find(spelling),)
            if forms := tuple(form for form in self.library if _answers_to(form, spelling)):
                return forms
        return self._of_strength(text) or self._of_parts(text)

    def unknown(self, cells: Mapping[str, str], where: str) -> MaterialError:
        """The error for a row whose names the library does not know."""
        names = list(cells.values())
        near = list(dict.fromkeys(key for text in names for key in self.library.nearest(text)))[:4]
        return MaterialError(
            f"there is no material {' / '.join(map(repr, names))}",
            where=where,
            allowed=f"nearest: {'; '.join(described(self.library.materials[key]) for key in near)}" if near else "",
            mend="use a name of the library, translate it in the column map (words.material), or add it to your own "
            "materials file: preview.add_form(name) writes the form",
            code="material.unknown",
        )

    def _of_strength(self, text: str) -> tuple[Material, ...]:
        """Forms whose name and active content are said together: "Panthenol (75 %)"."""
        found = _NAME_AND_STRENGTH.match(text)
        if not found:
            return ()
        stated = Decimal(found["pct"].replace(",", "."))
        forms = (form for form in self.library if _answers_to(form, found["name"]) or _answers_to(form, text))
        return tuple(form for form in forms if form.active_pct == stated)

    def _of_parts(self, text: str) -> tuple[Material, ...]:
        """Forms that consist of exactly the INCI names listed in a text, such as "Panthenol (and) Aqua"."""
        names = [name for name in _TOGETHER.split(text) if name]
        if len(names) < 2:
            return ()
        wanted = {inci for name in names for inci in self._inci(name)}
        if len(wanted) < len(names):
            return ()
        return tuple(form for form in self.library if {_plain(part.inci) for part in form.parts} == wanted)

    def _inci(self, name: str) -> Iterable[str]:
        substances = {_plain(inci) for inci in self.library.substances}
        tries = [{"water": "aqua", "fragrance": "parfum"}.get(text, text) for text in map(_plain, _spellings(name))]
        return [text for text in tries if text in substances][:1]

    def _how(self, by: str, cells: Mapping[str, str], known: Mapping[str, tuple], strength: str) -> str:
        words = f"by its {_WORDS[by]}"
        if _plain(cells[by]) in self.words:
            return f"{words}, as the column map says"
        if len(known[by]) > 1:
            return f"{words} and its strength" if strength else f"{words} and {', '.join(_WORDS[n] for n in known)}"
        return words


def described(material: Material) -> str:
    """ "citric-acid-10-solution (Citric Acid (10 % solution), 10 % active)" """
    return f"{material.key} ({', '.join(filter(None, (material.name, strength_of(material))))})"


def strength_of(material: Material) -> str:
    """ "80 % active"; "" for a form that is active throughout, or not at all."""
    active = material.active_pct
    return f"{plain(active.normalize())} % active" if 0 < active < 100 else ""


def _spellings(text: str) -> list[str]:
    """A name, and what is left of it without a synonym in brackets or after a stroke: "Aqua (Water)", "Aqua/Water".

    Brackets with a number in them hold a strength and are kept: 77 % is not 80 %.
    """
    text = _FOOTNOTE.sub("", text.strip())
    bare = _BRACKETS.sub("", text).strip()
    inside = _BRACKETS.findall(text) if _BRACKETS.sub("", text) != text else []
    tries = [text, bare, *(inside if text.rstrip().endswith(")") else []), *(bare.split("/") if "/" in bare else [])]
    names = dict.fromkeys(name.strip() for name in tries if name.strip())
    return list(dict.fromkeys([*names, *(_COMMON[_plain(name)] for name in names if _plain(name) in _COMMON)]))


def _answers_to(form: Material, text: str) -> bool:
    return _plain(text) in {_plain(name) for name in (form.key, form.name, form.label_inci, *form.aliases)}


def _of_strength(forms: list[Material], strength: str, where: str) -> list[Material]:
    """The forms of the strength a row states: its active content, or inside the range of its certificates."""
    try:
        stated = Decimal(strength.replace("%", "").replace(",", ".").strip())
    except InvalidOperation:
        raise MaterialError(
            f"{strength!r} is not a strength", where=where, allowed='% active, such as "80 %"', mend="correct it",
            code="intake.strength",
        ) from None  # fmt: skip
    fitting = [form for form in forms if form.active_pct == stated] or [form for form in forms if _covers(form, stated)]
    if not fitting:
        raise MaterialError(
            f"no supply form has {plain(stated)} % active",
            where=where,
            allowed="; ".join(map(described, forms)),
            mend="name the form, or add the one you use to your own materials file",
            code="intake.strength",
        )
    return fitting


def _covers(form: Material, stated: Decimal) -> bool:
    span = form.active_range
    return span is not None and span.low is not None and span.high is not None and span.low <= stated <= span.high


def _remarks(cells: Mapping[str, str], found: Mapping[str, tuple], material: Material) -> Iterable[str]:
    unknown = [name for name, forms in found.items() if not forms]
    for name in unknown:
        yield f"the {_WORDS[name]} {cells[name]!r} is not known to the library; add it to the aliases of {material.key}"
    if unknown and strength_of(material):
        yield f"look at the strength: {strength_of(material)}"


def _ambiguous(
    cells: Mapping[str, str], known: Mapping[str, tuple], forms: list[Material], where: str
) -> MaterialError:
    text = cells[next(iter(known))]
    return MaterialError(
        f"{text!r} fits several supply forms",
        where=where,
        allowed="; ".join(map(described, forms)),
        mend=f'name one of them by its key, or in the column map: words.material = {{"{text}" = "{forms[0].key}"}}',
        code="material.ambiguous",
    )


def _disagree(cells: Mapping[str, str], known: Mapping[str, tuple], where: str) -> MaterialError:
    said = "; ".join(
        f"the {_WORDS[name]} {cells[name]!r} is {' or '.join(form.key for form in forms)}"
        for name, forms in known.items()
    )
    return MaterialError(
        f"the names of the row do not agree: {said}",
        where=where,
        mend="correct the wrong one, or clear it",
        code="intake.names_disagree",
    )


def _plain(text: str) -> str:
    return " ".join(str(text).casefold().replace("-", " ").replace("_", " ").split())


def user_words(words: Mapping[str, str]) -> dict[str, str]:
    """A user's table of names, spelled so that `Resolver` finds them."""
    return {_plain(name): key for name, key in words.items()}
