"""The drives of the rotor. A new drive is one file here and one line in :data:`DRIVES`."""

from edgewind.rotor.drives import accommodation, foreign, infrared_recoil, light_pressure, outgassing, thermal_force
from edgewind.rotor.drives.base import Conditions, Torque

DRIVES: dict[str, Torque] = {
    thermal_force.KEY: thermal_force.torque,
    light_pressure.KEY: light_pressure.torque,
    accommodation.KEY: accommodation.torque,
    infrared_recoil.KEY: infrared_recoil.torque,
    outgassing.KEY: outgassing.torque,
    foreign.KEY: foreign.torque,
}
NAMES: dict[str, str] = {
    module.KEY: module.NAME
    for module in (thermal_force, light_pressure, accommodation, infrared_recoil, outgassing, foreign)
}

__all__ = ["DRIVES", "NAMES", "Conditions", "Torque"]
