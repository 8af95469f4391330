"""
Gas to gas: helium, nitrogen, argon
===================================

The same invented rotor in three gases. Is it fastest at the same mean free path in each?
"""

# %%
# A bench is its ``bench.toml``; ``changes`` is the what-if of ``edgewind predict --set``.
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

from edgewind.bench import read_bench
from edgewind.gas import GasState
from edgewind.rotor import predict_whole

HERE = Path(__file__).parent if "__file__" in globals() else Path.cwd()
FOLDER = next(
    above / "examples" / "two-rotors" for above in HERE.parents if (above / "examples" / "two-rotors").is_dir()
)
bench = read_bench(FOLDER / "vane-12mm" / "bench.toml")
pressures = np.geomspace(0.03, 20, 80)
predictions = {gas: predict_whole(bench, pressures, changes={"gas.species": gas}) for gas in ("He", "N2", "Ar")}

# %%
# Speed and torque, each with its greatest value marked. The gauge factor of each gas would come on top on a real bench.
figure, (speed, torque) = plt.subplots(2, 1, figsize=(8, 6.5), sharex=True, layout="constrained")
for (gas, found), colour in zip(predictions.items(), ("#17647f", "#b0461a", "#57700f"), strict=True):
    table = found.table
    speed.plot(table["pressure_pa"], table["speed_rad_s"], color=colour, label=gas)
    speed.plot(found.speed.pressure_pa, found.speed.value, "o", color=colour)
    torque.plot(table["pressure_pa"], 1e9 * table["torque_n_m"], color=colour)
    torque.plot(found.force.pressure_pa, 1e9 * found.force.value, "o", color=colour)
speed.set(xscale="log", ylabel="speed (rad/s)", title="One invented rotor in three gases, from first principles")
torque.set(xlabel="pressure (Pa)", ylabel="torque of the drives (nN m)")
speed.legend()
plt.show()

# %%
# The sentence that could be wrong
# --------------------------------
# If only the mean free path mattered, the Knudsen number at the best pressure would be the same in every gas, for
# speed and for torque.
width = bench.rotor.vane_width.value
for what in ("speed", "force"):
    numbers = {}
    for gas, found in predictions.items():
        best = getattr(found, what).pressure_pa
        state = GasState(found.bench.gas.gas, best, bench.gas.temperature.value)
        numbers[gas] = state.mean_free_path_m() / width
    numbers_text = ", ".join(f"{gas} {number:.3f}" for gas, number in numbers.items())
    print(f"Knudsen number at the greatest {'speed' if what == 'speed' else 'torque'}: {numbers_text};", end=" ")
    print(f"largest over smallest {max(numbers.values()) / min(numbers.values()):.2f}")
