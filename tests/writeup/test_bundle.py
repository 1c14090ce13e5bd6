"""A write-up as one file: it comes back from its data, and whatever was changed in it shows.

Referee: Python's own `zipfile`, `json` and `hashlib`, with which the bundles are forged here.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from pathlib import Path

import pytest

import kit
from kit.errors import KitError


@pytest.fixture
def forge(written, tmp_path):
    """Makes a bundle like the demo's with some files changed; `refreshed` puts the new hashes into the manifest."""

    def make(changed: dict[str, str | bytes] | None = None, *, refreshed: bool = True, **manifest: object) -> Path:
        with zipfile.ZipFile(written.trial.bundle) as bundle:
            files = {name: bundle.read(name) for name in bundle.namelist()}
        for name, text in (changed or {}).items():
            assert files.get(name) != text, "nothing was changed"
            files[name] = text.encode() if isinstance(text, str) else text
        if "manifest.json" not in (changed or {}):
            listed = json.loads(files["manifest.json"]) | manifest
            if refreshed:
                listed["files"] = {name: hashlib.sha256(files[name]).hexdigest() for name in listed["files"]}
            files["manifest.json"] = json.dumps(listed).encode()
        with zipfile.ZipFile(tmp_path / "forged.zip", "w", zipfile.ZIP_DEFLATED) as bundle:
            for name, content in files.items():
                bundle.writestr(name, content)
        return tmp_path / "forged.zip"

    return make


@pytest.fixture
def held(written):
    """The text of a file in the demo's bundle."""

    def read(name: str) -> str:
        with zipfile.ZipFile(written.trial.bundle) as bundle:
            return bundle.read(name).decode()

    return read


def refused(path: Path) -> KitError:
    with pytest.raises(KitError) as caught:
        kit.verify(path)
    assert "\n" not in str(caught.value)
    return caught.value


@pytest.mark.slow
def test_a_bundle_holds_the_three_files_and_its_manifest_and_is_reproduced(written, held):
    with zipfile.ZipFile(written.trial.bundle) as bundle:
        assert sorted(bundle.namelist()) == ["manifest.json", "notebook.ipynb", "snapshot.json", "write-up.html"]
        assert bundle.testzip() is None
    assert held("write-up.html") == written.trial.page.read_text(encoding="utf-8")
    manifest = json.loads(held("manifest.json"))
    assert manifest["parameters"] == {"trial": "LIN-03", "against": []}
    for name, digest in manifest["files"].items():
        assert hashlib.sha256(held(name).encode()).hexdigest() == digest
    done = kit.verify(written.trial.bundle)
    assert done.reproduced and done.differences == ()
    assert "not that the data are correct" in str(done)


@pytest.mark.parametrize("name", ["write-up.html", "notebook.ipynb", "snapshot.json"])
def test_a_changed_file_is_refused_by_name(forge, held, name):
    told = refused(forge({name: held(name).replace("19000", "19999")}, refreshed=False))
    assert told.code == "verify.changed"
    assert name in told.what


def test_numbers_changed_in_the_notebook_are_not_reproduced_even_with_fresh_hashes(forge, held):
    done = kit.verify(forge({"notebook.ipynb": held("notebook.ipynb").replace("19000", "19999")}))
    assert not done.reproduced
    assert any("the output of cell readings differs" in words for words in done.differences)
    assert "NOT reproduced" in str(done)


def test_numbers_changed_in_the_page_are_not_reproduced_even_with_fresh_hashes(forge, held):
    """The page is what people read: a forged one beside an honest notebook must not pass."""
    done = kit.verify(forge({"write-up.html": held("write-up.html").replace("19000", "19999")}))
    assert not done.reproduced
    assert done.differences == ("the page is not the one that this version of the kit makes of these data",)


def test_a_changed_reading_in_the_snapshot_breaks_its_chain(forge, held):
    told = refused(forge({"snapshot.json": held("snapshot.json").replace("19000", "19999")}))
    assert told.code == "labbook.edited"


@pytest.mark.parametrize(
    ("what", "change"),
    [
        ("the notebook says of its own run", lambda n: n["metadata"]["kit"]["parameters"].update(trial="LIN-09")),
        ("in another order", lambda n: n["cells"].append(n["cells"].pop(0))),
        ("only in one of the two", lambda n: n["cells"].pop()),
        ("holds another text", lambda n: n["cells"][0].update(source="All is well.")),
        ("was changed", lambda n: n["cells"][2].update(attachments={"a": {}})),
    ],
)
def test_anything_else_changed_in_the_notebook_shows(forge, held, what, change):
    notebook = json.loads(held("notebook.ipynb"))
    change(notebook)
    done = kit.verify(forge({"notebook.ipynb": json.dumps(notebook)}))
    assert not done.reproduced
    assert any(what in words for words in done.differences)


def test_other_versions_of_packages_are_no_difference_of_results(forge, held):
    """A bundle from another computer: the page names the packages it was made with, and the numbers are the same."""
    other = held("notebook.ipynb").replace(f'"pandas": "{_version(held)}"', '"pandas": "1.2.3"')
    page = held("write-up.html").replace(f"pandas {_version(held)}", "pandas 1.2.3")
    assert kit.verify(forge({"notebook.ipynb": other, "write-up.html": page})).reproduced


def _version(held) -> str:
    return json.loads(held("notebook.ipynb"))["metadata"]["kit"]["packages"]["pandas"]


def test_another_version_of_the_template_is_refused_before_anything_runs(forge, monkeypatch):
    monkeypatch.setattr("kit.writeup.bundle.run_template", lambda *_, **__: pytest.fail("it was run"))
    told = refused(forge(template_sha256="0" * 64))
    assert told.code == "verify.template"


def test_a_manifest_cannot_make_the_kit_run_or_read_something_else(forge, toys, monkeypatch, tmp_path):
    own = toys.template("open('ran', 'w').close()")
    assert refused(forge(template=str(own))).code == "verify.not_a_bundle"
    assert not (tmp_path / "ran").exists()
    done = kit.verify(forge(parameters={"trial": "LIN-03", "against": [], "source": "/somewhere/else.json"}))
    assert done.reproduced  # the frozen data were read, nothing else


@pytest.mark.parametrize("parameters", [{"trial": "LIN-03", "trail": 1}, {"trial": ["LIN-03"]}])
def test_parameters_that_do_not_fit_the_template_are_refused(forge, parameters):
    assert refused(forge(parameters=parameters)).code.startswith("template.parameter_")


@pytest.mark.parametrize(
    "manifest",
    ["", "[]", "{}", "null", "[" * 100_000, '{"files": [], "format": "kit write-up 1"}', '{"files": {}, "format": 3}'],
)
def test_a_manifest_that_is_none_is_refused(forge, manifest):
    assert refused(forge({"manifest.json": manifest})).code == "verify.not_a_bundle"


@pytest.mark.parametrize("notebook", ["", "[]", "{}", '{"cells": [{}], "metadata": {"kit": {}}}', '{"cells": 3}'])
def test_a_notebook_that_is_none_is_refused(forge, notebook):
    assert refused(forge({"notebook.ipynb": notebook})).code == "verify.not_a_bundle"


def test_what_is_not_a_zip_is_refused(written, tmp_path):
    whole = written.trial.bundle.read_bytes()
    damaged = bytearray(whole)
    damaged[2000:2040] = bytes(40)  # inside the packed text of the first large file
    for content in (b"", b"PK", b"hello" * 100, whole[: len(whole) // 2], bytes(damaged)):
        (tmp_path / "x.zip").write_bytes(content)
        assert refused(tmp_path / "x.zip").code == "verify.not_a_bundle"
    assert refused(tmp_path / "none.zip").code == "verify.not_a_bundle"
    assert refused(tmp_path).code == "verify.not_a_bundle"
    assert refused(written.trial.page).code == "verify.not_a_bundle"


def test_a_zip_that_would_fill_the_computer_is_refused_before_it_is_unpacked(tmp_path):
    """A quarter of a gigabyte of zeros packs into a quarter of a megabyte."""
    packed = zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED)
    with packed as bundle, bundle.open("notebook.ipynb", "w") as entry:
        for _ in range(256):
            entry.write(bytes(1_000_000))
    assert (tmp_path / "bomb.zip").stat().st_size < 1_000_000
    told = refused(tmp_path / "bomb.zip")
    assert (told.code, "larger than any write-up" in told.what) == ("verify.not_a_bundle", True)


def test_a_file_held_twice_is_refused(written, tmp_path):
    path = tmp_path / "twice.zip"
    path.write_bytes(written.trial.bundle.read_bytes())
    with pytest.warns(UserWarning, match="Duplicate name"), zipfile.ZipFile(path, "a") as bundle:
        bundle.writestr("write-up.html", "another page")
    assert refused(path).code == "verify.not_a_bundle"
