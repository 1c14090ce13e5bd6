"""A write-up as one file to hand over, and running it again to see whether every number comes back."""

from __future__ import annotations

import hashlib
import json
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from kit.errors import RunError
from kit.show import paragraph
from kit.writeup.run import run_template

MANIFEST = "manifest.json"
FORMAT = "kit write-up 1"
_EARLIEST = (1980, 1, 1, 0, 0, 0)  # a zip entry carries a time; one fixed time keeps equal bundles equal
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

    def _repr_html_(self) -> str:
        return paragraph(self)


def pack(path: Path, files: Mapping[str, str], manifest: Mapping[str, object]) -> Path:
    """Write the bundle; equal contents give equal bytes."""
    listed = {**manifest, "format": FORMAT, "files": {name: _sha256(text) for name, text in sorted(files.items())}}
    with zipfile.ZipFile(path, "w") as bundle:
        for name, text in sorted(
            {**files, MANIFEST: json.dumps(listed, ensure_ascii=False, sort_keys=True, indent=1) + "\n"}.items()
        ):
            entry = zipfile.ZipInfo(name, date_time=_EARLIEST)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            bundle.writestr(entry, text.encode())
    return path


def verify(path: str | Path, *, timeout_s: float = 300) -> Verification:
    """Run a bundle's template again on its frozen data and compare every output.

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
    with tempfile.TemporaryDirectory(prefix="kit-") as scratch:
        Path(scratch, "snapshot.json").write_text(files["snapshot.json"], encoding="utf-8", newline="\n")
        executed = run_template(
            manifest["template"],
            {"source": "snapshot.json", **manifest["parameters"]},
            workdir=scratch,
            timeout_s=timeout_s,
        )
    if executed.template_sha256 != manifest["template_sha256"]:
        raise RunError(
            f"the write-up was made with another version of the template {manifest['template']}",
            where=path.name,
            allowed=f"SHA-256 {manifest['template_sha256']}",
            mend="verify it with the kit version the page names",
            code="verify.template",
        )
    differences = _differences(json.loads(files["notebook.ipynb"]), json.loads(json.dumps(executed.notebook)))
    return Verification(path.name, not differences, tuple(differences[:5]))


def _unpack(path: Path) -> dict[str, str]:
    try:
        with zipfile.ZipFile(path) as bundle:
            if sum(entry.file_size for entry in bundle.infolist()) > _LARGEST:
                raise _not_a_bundle(path, "it is larger than any write-up")
            return {name: bundle.read(name).decode() for name in bundle.namelist()}
    except FileNotFoundError:
        raise _not_a_bundle(path, "there is no such file") from None
    except (zipfile.BadZipFile, UnicodeDecodeError, OSError, RuntimeError, NotImplementedError) as problem:
        raise _not_a_bundle(path, str(problem)) from None


def _manifest(files: Mapping[str, str], path: Path) -> dict:
    try:
        manifest = json.loads(files[MANIFEST])
        listed, known = manifest["files"], manifest["format"] == FORMAT
        whole = all(
            isinstance(manifest[key], kind)
            for key, kind in (("template", str), ("template_sha256", str), ("parameters", dict))
        )
    except (KeyError, TypeError, json.JSONDecodeError):
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


def _differences(before: dict, after: dict) -> list[str]:
    """Cells whose source or outputs are not the same, in words."""
    old, new = ({cell["id"]: cell for cell in notebook["cells"]} for notebook in (before, after))
    found = [f"cell {name} is only in one of the two" for name in sorted(set(old) ^ set(new))]
    for name in old.keys() & new.keys():
        if old[name].get("source") != new[name].get("source"):
            found.append(f"cell {name} holds another text")
        elif old[name].get("outputs", []) != new[name].get("outputs", []):
            found.append(f"the output of cell {name} differs")
    return sorted(found)


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
