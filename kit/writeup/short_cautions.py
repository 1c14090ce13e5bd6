"""Cautions in a few words each, for a sheet that has one page. The full words stand in the kit's list of cautions."""

from __future__ import annotations

from collections.abc import Iterable

from kit.sources import read_data

SHORT = {
    "hot-wax": "Hot wax and water at 75 to 80 °C burn: water bath, heat-proof gloves, goggles.",
    "eyes": "Eyes: cationics and preservatives can damage them for good; goggles, rinse at once, get medical help.",
    "corrosive": "Corrosive: goggles and gloves; into water slowly, never water onto it.",
    "acid": "Acid: goggles; add slowly, stir, wait, read again; keep from bases.",
    "alkali": "Alkali: goggles and gloves; add slowly, never straight onto an acid.",
    "flammable-vapour": "Flakes give off isopropanol as they melt: no flame, no spark, moving air.",
    "flammable-liquid": "Essential oils burn, soaked cloths heat up: no flame or spark, bottles closed.",
    "dust": "Dust: irritates and can ignite; weigh slowly under suction or with a mask.",
    "sensitiser": "Allergy: gloves; no informal patch tests on yourself or others.",
    "aquatic": "Toxic to water life: neat material and rinsings never into the drain.",
    "rotor-stator": "High shear: never in air; hair, sleeves and cords away; power cut before touching the head.",
    "label-beakers": "Label every beaker: contents, strength, date, hazard.",
    "slip": "Spills are slippery: wipe up at once.",
    "preservation": "A good look is not preservation: nobody uses it before a laboratory challenge test.",
    "local-law": "The suppliers' safety data sheets, local law and qualified people decide; this sheet does not.",
}


def short_cautions(keys: Iterable[str]) -> str:
    """These cautions in one paragraph, what burns or blinds first; one without short words is printed in full."""
    known = read_data("cautions.toml")["cautions"]
    order = list(SHORT)
    asked = sorted(dict.fromkeys(keys), key=lambda key: order.index(key) if key in order else -1)
    words = [SHORT[key] if key in SHORT else f"{known[key]['title']}: {known[key]['text']}" for key in asked]
    return " ".join(["CAUTIONS.", *words])
