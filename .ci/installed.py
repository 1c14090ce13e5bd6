"""Is the installed kit whole? Imports every module and every public name, and looks for the files that belong to it."""

from __future__ import annotations

import importlib
import pkgutil
import sys
from importlib.resources import files
from pathlib import Path

import kit
from kit.writeup.templates import find_template, list_templates

package = Path(kit.__file__).parent
assert package.is_relative_to(sys.prefix), f"this is the kit of {package}, not the one that was installed"

modules = [found.name for found in pkgutil.walk_packages([str(package)], "kit.")]
for name in modules:
    if not name.endswith(("__main__", "migrations.env")) and ".versions." not in name:
        importlib.import_module(name)
for name in kit.__all__:
    getattr(kit, name)

templates = list_templates()
assert {"trial_writeup", "compare_versions"} <= set(templates), templates
assert all(find_template(name).is_relative_to(package / "templates") for name in templates)
for place, name in (("kit.data", "materials.toml"), ("kit.demo", "linden.toml"), ("kit.writeup", "page_boot.js")):
    assert files(place).joinpath(name).is_file(), f"{place}/{name} is missing"
assert (package / "labbook" / "migrations" / "versions").is_dir()
print(f"kit {kit.__version__}: {len(modules)} modules, templates {', '.join(templates)}")
