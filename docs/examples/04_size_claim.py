"""
Designing a study: does the best pressure scale as 1/size?
==========================================================

The first example could not exclude an exponent of -1, nor much on either side of it. What would it take to tell -1 from
0 and from -2?
"""

# %%
# Candidate vanes of three widths, one gas, two days. The forward model predicts the curve of each; simulated sweeps are
# read by the same analysis as real ones. ``trials`` and ``studies`` are kept small here; the seed fixes the result.
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

from edgewind.bench import read_bench
from edgewind.plan import Settings, plan_scaling_study

HERE = Path(__file__) if "__file__" in globals() else Path.cwd() / "here"
FOLDER = next(above for above in HERE.parents if (above / "pyproject.toml").is_file()) / "examples/two-rotors"
bench = read_bench(FOLDER / "vane-12mm" / "bench.toml")
settings = Settings(days=2, trials=12, noise=0.01, studies=1000, seed=1)
study = plan_scaling_study(bench, [0.008, 0.012, 0.020], settings=settings, processes=1)

# %%
# Where the model puts the best pressure of each size, and where each claim would.
(gas,) = study.gases
widths = np.array(study.widths_m)
figure, axes = plt.subplots(figsize=(8, 4.5), layout="constrained")
styles = ("-", "--", "-.", ":", (0, (1, 3)))
for (claim, exponent), style in zip(study.exponents.items(), styles, strict=False):
    places = [np.exp(study.log_place(claim, width, gas)) for width in study.widths_m]
    axes.plot(1e3 * widths, places, linestyle=style, marker="o", markersize=4, label=f"{claim} ({exponent:+.2f})")
axes.set(xscale="log", yscale="log", xlabel="width of the vane (mm)", ylabel="pressure of greatest speed (Pa)")
axes.set_xticks(1e3 * widths, [f"{1e3 * width:g}" for width in widths], minor=False)
axes.set_title("Claims about size, for an invented rotor")
axes.legend(title="exponent")
plt.show()

# %%
# The design to take, and what its answer will be worth.
best = study.best
assert best is not None
design = best.design
print("sizes:", ", ".join(f"{1e3 * width:g} mm" for width in design.widths_m))
print(f"{design.rotors} rotor(s) of each, {design.sweeps} sweep(s) of each rotor, {design.hours:.1f} hours")
for truth in ("-1", "0"):
    chances = ", ".join(f"{against}: {100 * chance:.0f} %" for against, chance in best.power[truth].items())
    print(f"if the exponent is {truth}, chance to reject {chances}")

# %%
# The sentence that could be wrong
# --------------------------------
# The plan says how well the exponent will be known before anything is built. Do the study, and see.
print(f"this study will give the exponent with a standard uncertainty of {best.exponent_u:.2f}")
