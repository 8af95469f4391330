"""
Torque measured by coast-downs, without a model of the gas
==========================================================

Speed is torque over drag. Three coast-downs of the rotor, the lamp off, give the drag; times the speed it is the
torque. Where is the torque greatest, and is that where the speed is?
"""

# %%
# The coast-downs of the invented 12 mm rotor, each with what it lost and how fast.
from pathlib import Path

import matplotlib.pyplot as plt

from edgewind.evidence import coast_downs, find, measured_torque
from edgewind.signals import read_experiment

HERE = Path(__file__).parent if "__file__" in globals() else Path.cwd()
FOLDER = next(
    above / "examples" / "two-rotors" for above in HERE.parents if (above / "examples" / "two-rotors").is_dir()
)

experiment = read_experiment(FOLDER / "vane-12mm")
falls = coast_downs(experiment)
for one in falls:
    print(
        f"{one.pressure_pa:7.3f} Pa: lost {100 * one.fall:.0f} % from {one.start_rad_s:.2f} rad/s; "
        f"drag over inertia {1e3 * one.drag_rate:.3f} ± {1e3 * one.drag_rate_u:.3f} per 1000 s"
    )

# %%
# Drag times speed, and the dry friction on top, is the torque at every reading between the coast-downs.
bench = experiment.bench
torque = measured_torque(experiment.used, falls, bench.rotor.moment_of_inertia)
assert torque is not None

figure, (above, below) = plt.subplots(2, 1, figsize=(8, 6), sharex=True, layout="constrained")
used = experiment.used
above.errorbar(used["pressure_pa"], used["speed_rad_s"], used["speed_u_rad_s"], fmt="o", markersize=4, color="#17647f")
above.set(xscale="log", ylabel="speed (rad/s)", title="Speed, and the torque that coast-downs make of it")
below.errorbar(
    torque["pressure_pa"],
    1e9 * torque["torque_n_m"],
    1e9 * torque["torque_u_n_m"],
    fmt="o",
    markersize=4,
    color="#b0461a",
)
below.set(xlabel="pressure (Pa)", ylabel="torque (nN m)")
plt.show()

# %%
# The sentence that could be wrong
# --------------------------------
# If speed and torque peaked together, the torque would fall beyond the pressure of greatest speed.
best = find(experiment).optimum
peak = torque.loc[torque["torque_n_m"].idxmax()]
print(f"greatest speed at {best.pressure_pa:.2f} Pa; the greatest measured torque is at {peak['pressure_pa']:.2f} Pa,")
print(f"{peak['pressure_pa'] / best.pressure_pa:.1f} times the pressure")
