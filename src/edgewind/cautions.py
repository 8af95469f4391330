"""The usual cautions for such a bench, in one place: shown at the prompt, on the pages and in the report.

Common practice, no source. Local rules and licensed practice come before any of them. The manual's page on safety says
more.
"""

from __future__ import annotations

from collections.abc import Mapping

DEFER = (
    "The rules of your laboratory or school and the law where you work come first; nothing here replaces them, or the "
    "advice of a qualified person."
)
"""The end of every list of cautions."""

HAZARDS: dict[str, str] = {
    "glass": (
        "Glass under vacuum can implode. Use vessels made for vacuum, keep a shield between them and people, and wear "
        "eye protection."
    ),
    "pump": (
        "A turbopump can fail at speed: do not vent it suddenly, knock it or move it while it turns, and keep its "
        "inlet screen in place."
    ),
    "ion gauge": (
        "Ion gauges carry high voltage, and their filaments burn out in air: switch them off before you touch a cable "
        "or let the pressure rise."
    ),
    "lamp": (
        "Strong lamps and lasers blind and burn, also by reflection from a turning vane. Wear eye protection made for "
        "the source, keep what can burn away, and let the glass cool: hot glass looks like cold glass."
    ),
    "valve": (
        "A valve that opens lets gas in: see that the gas, the pump and the pressure relief are made for it before it "
        "moves, and never let a sealed glass vessel rise above the pressure outside."
    ),
    "bottle": (
        "Gas from a bottle displaces air, and a bottle that falls jets: chain it, use a regulator made for that gas, "
        "air the room, and shut it at night."
    ),
    "flammable gas": (
        "Hydrogen, deuterium, methane and difluoroethane (R152a) burn and explode with air, in a pump and its exhaust "
        "as well: lead the exhaust outdoors, look for leaks, and keep flames, sparks and hot filaments away."
    ),
    "oxygen": (
        "Oxygen makes pump oil, grease and dust burn or explode: use only pumps, oils and fittings that are made for "
        "it."
    ),
    "cold": (
        "Cold glass under vacuum is under stress, frost hides cracks, and seals and plastics turn brittle: chill and "
        "warm slowly, evenly and only as far as the vessel is made for, and keep skin from what is cold."
    ),
    "warm envelope": (
        "Warmed glass under vacuum is under stress, and seals and adhesives soften: warm it slowly and evenly, stay "
        "far below what its weakest part stands, and never use a flame."
    ),
    "refrigerant": (
        "Duster and other refrigerant gases freeze skin, displace air and may burn: air the room, keep flames and "
        "sparks away, and wear gloves and eye protection."
    ),
}
"""A hazard of such a bench, and the usual caution."""

# Mole fraction of oxygen above that of air.
RICH_IN_OXYGEN = 0.25
# Gases that burn in air, and those sold as refrigerants or dusters.
FLAMMABLE, REFRIGERANTS = {"H2", "D2", "CH4", "R152a"}, {"R134a", "R152a"}


def hazards_of_gas(name: str, fractions: Mapping[str, float]) -> tuple[str, ...]:
    """Return the hazards of a gas, keys of `HAZARDS`.

    Parameters
    ----------
    name : str
        Its name; only air comes without a bottle.
    fractions : mapping of str to float
        Mole fractions by the symbols of its species.

    Examples
    --------
    >>> hazards_of_gas("H2", {"H2": 1.0})
    ('bottle', 'flammable gas')
    """
    found = {
        "bottle": name != "air",
        "flammable gas": bool(FLAMMABLE & fractions.keys()),
        "oxygen": fractions.get("O2", 0.0) > RICH_IN_OXYGEN,
        "refrigerant": bool(REFRIGERANTS & fractions.keys()),
    }
    return tuple(hazard for hazard, present in found.items() if present)


def cautions(*hazards: str) -> tuple[str, ...]:
    """Return the cautions for some hazards, or for all of them, followed by `DEFER`.

    Parameters
    ----------
    *hazards : str
        Keys of `HAZARDS`; default: all of them.

    Returns
    -------
    tuple of str
        One caution a hazard, then `DEFER`.

    Examples
    --------
    >>> cautions("glass")[-1].startswith("The rules of your laboratory")
    True
    """
    return (*(HAZARDS[name] for name in hazards or HAZARDS), DEFER)
