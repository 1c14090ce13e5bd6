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
expected = {
    *("batch_sheet", "compare_versions", "flow_and_feel", "next_trial", "panel", "ph_adjustment"),
    *("plan_variations", "scale_up", "stability", "trial_results", "trial_writeup"),
}
assert expected <= set(templates), templates
assert all(find_template(name).is_relative_to(package / "templates") for name in templates)
belonging = {
    "kit.data": (
        *("materials.toml", "practice.toml", "allergens.toml", "label.toml"),
        *("challenge.toml", "partition.toml", "ph_buffers.toml", "ph_priors.toml"),
        *("thermal.toml", "mixing.toml", "viscometer.toml"),
    ),
    "kit.demo": (
        *("linden.toml", "linden_readings.csv", "calendula_readings.csv", "chamomile_readings.csv"),
        *("green-tea_readings.csv", "hibiscus_readings.csv", "nettle_readings.csv"),
    ),
    "kit.demo.formulas": ("calendula.toml", "chamomile.toml", "green-tea.toml", "hibiscus.toml", "nettle.toml"),
    "kit.notebooks": (
        *("start_here.ipynb", "bench_day.ipynb", "linden_levels.ipynb"),
        *("chamomile_ph.ipynb", "nettle_process.ipynb", "green_tea_mixture.ipynb", "against_the_handbook.ipynb"),
    ),
    "kit.widgets": ("entry_table.js", "entry_cells.js", "entry_table.css"),
    "kit.workfolder": ("formula.toml", "materials.toml", "page.md", "study.ipynb"),
    "kit.writeup": ("page_boot.js", "page_style.css"),
}
for place, name in ((place, name) for place, names in belonging.items() for name in names):
    assert files(place).joinpath(name).is_file(), f"{place}/{name} is missing"
assert (package / "labbook" / "migrations" / "versions").is_dir()
print(f"kit {kit.__version__}: {len(modules)} modules, templates {', '.join(templates)}")
