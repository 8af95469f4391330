"""
Two rotors: does the best pressure follow the size?
===================================================

Two invented rotors with vanes of 12 mm and of 20 mm, swept up and down in nitrogen. What does each show, and how do
they compare?
"""

# %%
# A study takes a folder that holds both. ``fit=False`` leaves out the fit of the unknowns, which takes a while; what
# follows rests on the readings alone.
from pathlib import Path

import matplotlib.pyplot as plt

from edgewind.study import run_study

HERE = Path(__file__).parent if "__file__" in globals() else Path.cwd()
FOLDER = next(
    above / "examples" / "two-rotors" for above in HERE.parents if (above / "examples" / "two-rotors").is_dir()
)

study = run_study(FOLDER, fit=False)
for found in study.findings:
    print(found.experiment.name, *found.answer[:2], sep="\n  ")

# %%
# The readings with both error bars, the curve, and the intervals of the two optima.
figure, axes = plt.subplots(figsize=(8, 4.5), layout="constrained")
for found, colour in zip(study.findings, ("#17647f", "#b0461a"), strict=True):
    used = found.experiment.used
    width = 1e3 * found.experiment.bench.rotor.vane_width.value
    axes.errorbar(
        used["pressure_pa"], used["speed_rad_s"], used["speed_u_rad_s"], used["pressure_u_pa"],
        fmt="o", markersize=4, color=colour, label=f"vane of {width:.0f} mm",
    )  # fmt: skip
    axes.axvspan(*found.optimum.interval_pa, color=colour, alpha=0.2)
axes.set(xscale="log", xlabel="pressure (Pa)", ylabel="speed (rad/s)", title="Two invented rotors in nitrogen")
axes.legend()
plt.show()

# %%
# The sentence that could be wrong
# --------------------------------
# If the best pressure went as one over the width, the exponent would be -1. The gauge is the same for both, so what its
# scale is off by drops out.
comparison = study.comparison
low, high = comparison.exponent_interval
print(f"best pressure goes as width to the power {comparison.exponent:.2f}, 90 % interval {low:.2f} to {high:.2f}")
print(
    "-1 lies", "within" if low <= -1 <= high else "outside", "it; 0 lies", "within" if low <= 0 <= high else "outside"
)
