"""A write-up as one file to hand over, and running it again to see whether every number comes back."""

from __future__ import annotations

import hashlib
import io
import json
import lzma
import tempfile
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from kit.errors import RunError
from kit.show import paragraph
from kit.writeup.page_of_run import page_of_run
from kit.writeup.run import run_template
from kit.writeup.templates import find_template, list_templates, read_template

MANIFEST = "manifest.json"
FORMAT = "kit write-up 1"
_EARLIEST = (1980, 1, 1, 0, 0, 0)  # a zip entry carries a time; one fixed time keeps equal bundles equal
_MANIFEST_HOLDS = {"files": dict, "template": str, "template_sha256": str, "parameters": dict, "title": str}
_BROKEN = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, ValueError, OSError, RuntimeError,
           NotImplementedError)  # fmt: skip
_LARGEST = 200_000_000  # bytes unpacked; far above any write-up, below what fills a laptop


@dataclass(frozen=True)
class Verification:
    """Whether a write-up came back. `differences` names the first cells whose outputs differ."""

    name: str
    reproduced: bool
    differences: tuple[str, ...] = ()

    def __str__(self) -> str:
        if self.reproduced:
            return (
                f"{self.name}: reproduced. Every output came back from the frozen data with this kit's own template. "
                "That says the numbers follow from the data, not that the data are correct."
            )
        return f"{self.name}: NOT reproduced. " + "; ".join(self.differences)

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return paragraph(self)


def pack(files: Mapping[str, str], manifest: Mapping[str, object]) -> bytes:
    """The bundle; equal contents give equal bytes."""
    listed = {**manifest, "format": FORMAT, "files": {name: _sha256(text) for name, text in sorted(files.items())}}
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as bundle:
        for name, text in sorted(
            {**files, MANIFEST: json.dumps(listed, ensure_ascii=False, sort_keys=True, indent=1) + "\n"}.items()
        ):
            entry = zipfile.ZipInfo(name, date_time=_EARLIEST)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            bundle.writestr(entry, text.encode())
    return packed.getvalue()


def verify(path: str | Path, *, timeout_s: float = 300) -> Verification:
    """Run a bundle's template again on its frozen data and compare every output, and the page with the notebook.

    Nothing in the bundle is executed: the template is this kit's own, and its hash must be the one the bundle names.

    Parameters
    ----------
    path : str or Path   A .zip that `write_up(..., bundle=True)` made.

    Raises
    ------
    RunError   `verify.not_a_bundle`, `verify.changed` for a file that is not as the manifest says, `verify.template`
               when this kit's template is another version.
    """
    path = Path(path)
    files = _unpack(path)
    manifest = _manifest(files, path)
    notebook = _notebook(files, path)
    _check_template(manifest, path)
    with tempfile.TemporaryDirectory(prefix="kit-") as scratch:
        snapshot = Path(scratch, "snapshot.json")
        snapshot.write_bytes(files["snapshot.json"].encode())
        parameters = {**manifest["parameters"], "source": snapshot.name}  # nothing but the frozen data is read
        executed = run_template(manifest["template"], parameters, workdir=scratch, timeout_s=timeout_s)
        differences = _differences(notebook, json.loads(json.dumps(executed.notebook)))
        # Other packages may have been used for it; everything else the page says has to follow.
        executed.notebook.metadata["kit"]["packages"] = notebook["metadata"]["kit"].get("packages", {})
        if page_of_run(executed.notebook, snapshot, title=manifest["title"]) != files["write-up.html"]:
            differences.append("the page is not the one that this version of the kit makes of these data")
    return Verification(path.name, not differences, tuple(differences[:5]))


def _check_template(manifest: Mapping, path: Path) -> None:
    """Refuse, before anything runs, a template that is not the kit's own or is another version of it."""
    name = manifest["template"]
    if name not in list_templates():
        raise _not_a_bundle(path, f'the kit has no template "{name}"')
    if read_template(find_template(name)).sha256 != manifest["template_sha256"]:
        raise RunError(
            f"the write-up was made with another version of the template {name}",
            where=path.name,
            allowed=f"SHA-256 {manifest['template_sha256']}",
            mend="verify it with the kit version the page names",
            code="verify.template",
        )


def _unpack(path: Path) -> dict[str, str]:
    try:
        with zipfile.ZipFile(path) as bundle:
            if sum(entry.file_size for entry in bundle.infolist()) > _LARGEST:
                raise _not_a_bundle(path, "it is larger than any write-up")
            names = bundle.namelist()
            if len(set(names)) != len(names):
                raise _not_a_bundle(path, "it holds a file twice")
            return {name: bundle.read(name).decode() for name in names}
    except FileNotFoundError:
        raise _not_a_bundle(path, "there is no such file") from None
    except _BROKEN as problem:
        raise _not_a_bundle(path, str(problem) or "it is broken") from None


def _manifest(files: Mapping[str, str], path: Path) -> dict:
    try:
        manifest = json.loads(files[MANIFEST])
        listed, known = manifest["files"], manifest["format"] == FORMAT
        whole = all(isinstance(manifest[key], kind) for key, kind in _MANIFEST_HOLDS.items())
    except (KeyError, TypeError, ValueError, RecursionError):
        raise _not_a_bundle(path, "it holds no manifest") from None
    if not known or not whole or not {"snapshot.json", "notebook.ipynb", "write-up.html"} <= set(listed):
        raise _not_a_bundle(path, f"its manifest is not of the format {FORMAT}")
    for name, digest in listed.items():
        if name not in files or _sha256(files[name]) != digest:
            raise RunError(
                f"{name} is not as the manifest says: it was changed after the write-up was made",
                where=path.name,
                mend="ask for the bundle again",
                code="verify.changed",
            )
    return manifest


def _notebook(files: Mapping[str, str], path: Path) -> dict:
    """The bundled notebook, whole enough to be compared."""
    try:
        notebook = json.loads(files["notebook.ipynb"])
        whole = isinstance(notebook["metadata"]["kit"], dict) and all(cell["id"] for cell in notebook["cells"])
    except (KeyError, TypeError, ValueError, RecursionError):
        whole = False
    if not whole:
        raise _not_a_bundle(path, "its notebook is not one that the kit has run")
    return notebook


def _differences(before: dict, after: dict) -> list[str]:
    """What is not the same in two executed notebooks, in words; the packages a run used may differ."""
    names = [[cell["id"] for cell in notebook["cells"]] for notebook in (before, after)]
    old, new = ({cell["id"]: cell for cell in notebook["cells"]} for notebook in (before, after))
    found = [f"cell {name} is only in one of the two" for name in sorted(set(old) ^ set(new))]
    if not found and names[0] != names[1]:
        found.append("the cells are in another order")
    for name in [name for name in names[1] if name in old]:
        if old[name].get("source") != new[name].get("source"):
            found.append(f"cell {name} holds another text")
        elif old[name].get("outputs", []) != new[name].get("outputs", []):
            found.append(f"the output of cell {name} differs")
        elif old[name] != new[name]:
            found.append(f"cell {name} was changed")
    if _without_packages(before) != _without_packages(after):
        found.append("what the notebook says of its own run differs")
    return found


def _without_packages(notebook: Mapping) -> dict:
    return {**notebook["metadata"], "kit": {**notebook["metadata"]["kit"], "packages": {}}}


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _not_a_bundle(path: Path, why: str) -> RunError:
    return RunError(
        f"{path.name} is not a write-up bundle: {why}",
        where=str(path.parent),
        allowed="a .zip made by write_up(..., bundle=True)",
        mend="give that file",
        code="verify.not_a_bundle",
    )
