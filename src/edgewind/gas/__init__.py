"""Species and state of a thin gas: viscosity, mean free path, rarefaction, Knudsen number, regime; mixtures."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.gas.free_path import (
        REGIME_BORDERS,
        equivalent_free_path,
        mean_free_path,
        mean_free_path_fixed_diameter,
        mean_free_path_variable_hard_sphere,
        most_probable_speed,
        rarefaction,
        regime,
    )
    from edgewind.gas.mixture import AIR_DIAMETER_M, Gas, find_gas
    from edgewind.gas.species import Species, all_species, find_species
    from edgewind.gas.state import DEFINITIONS, GasState
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "AIR_DIAMETER_M",
    "DEFINITIONS",
    "REGIME_BORDERS",
    "Gas",
    "GasState",
    "Species",
    "all_species",
    "equivalent_free_path",
    "find_gas",
    "find_species",
    "mean_free_path",
    "mean_free_path_fixed_diameter",
    "mean_free_path_variable_hard_sphere",
    "most_probable_speed",
    "rarefaction",
    "regime",
]
