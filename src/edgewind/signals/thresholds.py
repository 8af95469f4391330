"""Thresholds of the estimators of speed, each with its meaning and origin.

Those without a source were set on invented scenes of every fault, and measured on others: `benchmarks/bench_traces.py`.
"""

from __future__ import annotations

import numpy as np

# Pulses
BASELINE_PITCHES = 2.0
"""Pitches of a block whose lower fifth is the baseline: two, since a pulse is then at most half of it."""
NOISE_SAMPLES = 6000
"""Samples of a long trace that its noise is taken from: their median errs by 1 %."""
LEAST_STRENGTH = 5.0
"""Height of pulses over the noise, smoothed, below which they are none: noise alone seldom reaches four."""

# Pulses assigned to marks
LEAST_SCATTER = 0.004
"""Scatter of pulses about their places, pitches, below which no pattern is preferred for it."""
COST_MISSED, COST_EXTRA = 1.4, 2.3
"""Logarithms of the odds against a pulse that is missing (a quarter are), and one too many (a tenth)."""

# Even places
LATTICE_PULSES = 64
"""Pulses from the middle of the train that are searched; the fit then grows over all of them."""
LATTICE_RESULTANT = 0.6
"""Resultant length from which places are looked at: that of a scatter of 0.16 pitches."""
LATTICE_NEARLY_BEST = 0.85
"""Share of the greatest resultant from which another pitch is tried as well."""
LATTICE_LEAST_FILLED, LATTICE_MOST_FILLED = 0.5, 1.08
"""Share of the places that hold a pulse: half are missing at most, and few are too many."""
LATTICE_FINENESS = 0.12
"""Step of the search, over the inverse of the length of the pulse train."""
LATTICE_WITHIN = 0.3
"""Pitches that a pulse may stand away from its even place."""

# Few pulses
PLACE_U = 0.05
"""Standard uncertainty of the place of a mark, pitches: marks set by hand; common practice, no source."""
TIME_U = 0.01
"""Least standard uncertainty of the time of a pulse beside that of the noise, pitches: flanks differ."""
FEW_MOST_TURNS = 5
"""Turns up to which places of marks have a prior; with more turns they are fitted freely."""
FEW_STRENGTH = 8.0
"""Height over the noise that so few pulses must have."""
ALIKE_FEW, ALIKE = 1.35, 2.2
"""Breadth of the broadest pulse over that of the narrowest; bumps of a wandering baseline differ more."""
BROADEST_THREE, BROADEST_FEW, BROADEST = 0.3, 0.45, 0.6
"""Breadth of a pulse over the pitch."""
EVENLY, ALIKE_EVEN, BROADEST_ALIKE = 0.03, 1.12, 0.65
"""Share by which the steps between pulses of a single mark may differ, and their breadths, for them to be no bumps of a
baseline, whose steps differ by 0.3 and more; breadth that such pulses may have over their pitch."""
FEW_FILLED = 0.6
"""Share of the trace that the pulses reach over."""

# Edges
FEW_TURNS = 16.0
"""Turns below which pulses that are missing may make a pattern of another rate."""
EVEN_RESULTANT, EVEN_FITTING, EVEN_PULSES = 0.85, 0.9, 6
"""Resultant length, share of the pulses and their number from which places one pitch apart are sure: for six pulses at
random times, and fifty pitches tried, the chance is 0.6 (exp(-n R^2), Rayleigh), for twelve it is 0.008."""
LIKELY_RESULTANT, LIKELY_CHANCE = 0.78, 9.0
"""Resultant length, and its square times the number of pulses, from which even places bear out a pattern that counts
the same: the chance of random times is exp(-9) for each pitch tried."""
FEW_RESULTANT = 0.9
"""Resultant length from which the places of five pulses do so, whose widths and heights are alike as well."""
EVEN_FEWEST, EVEN_FILLED = 5, 0.55
"""Pulses, and share of the places that hold one, from which even places are looked at."""
FINEST, FINEST_SHARP = 0.01, 0.003
"""Of a sample over the trace: as much as is ever claimed, since the straight line through two samples of a flank errs
with the place of the flank between them, and slowly as that creeps; of flanks within a sample that is counted apart."""
SLANTED, WIDTHS_LEAST = 0.05, 8
"""Part of a steady change of the widths by which the middles of the pulses move as well at the least, which no scatter
shows, since flanks that ring or that saturation bends are not mirror images. Pulses from which it is seen."""
SAME_PLACES = 0.5
"""Pitches by which two rates may disagree over a train of pulses and still count the same places."""
LIKELIER, CONTESTED = 0.0, 3.0
"""Logarithm of the odds from which a pattern is preferred to another, and below which neither is sure."""

# Whether a pulse is missing
PRESENT_REACH = 0.4
"""How far from its middle a pulse is looked at, pitches: up to its neighbours."""
PRESENT_POINTS = 33
"""Points at which the shape of a pulse is compared."""
PRESENT_SHIFTS = np.linspace(-0.15, 0.15, 7)
"""Pitches by which a pulse may stand away from where the pattern has it."""
PRESENT_SHARE = 0.5
"""Share of its usual height below which a pulse is missing."""
PRESENT_SURE = 3.5
"""Standard deviations by which it has to fall short of its usual height as well."""
PRESENT_HEIGHT = 0.15
"""Share of the height of the others that a mark must have which no threshold ever found."""

# Pulses on a wandering baseline
WANDER_SAMPLES = 2500
"""To about so many samples a trace is reduced."""
WANDER_WIDTHS = (8, 16, 32, 64, 128)
"""Parts of the trace wider than which nothing counts as a pulse."""
WANDER_PITCH = 2.5
"""About how far apart pulses of the widest kind are, over that width."""
WANDER_PULSES = 7
"""Of fewer pulses, bumps of the baseline among them make a pattern of their own, unless they stand at even places."""
WANDER_PART = 0.3
"""Standard deviation of the trace without its baseline, over that of the whole; 0.35 and more were rotors."""

# Few turns that repeat themselves
REPEAT_LEAST_TURNS, REPEAT_MOST_TURNS = 2.0, 9.0
"""Turns between which a trace is searched for its own repeats: more turns have lines of their own."""
REPEAT_SAMPLES = 1500
"""To about so many samples a trace is reduced: lags are whole numbers of them."""
REPEAT_NOISE_GAIN, REPEAT_REST = 1.5, 0.015
"""Times the noise, and share of the greatest difference, that turns may differ by: noise, and hum not quite removed."""
REPEAT_HIGH = 0.35
"""Share of the greatest difference that lags shorter than the period have to reach."""

# Lines of the spectrum
LINE = 30.0
"""Power over the local noise from which a line counts: white noise reaches it in fewer than one of 1e8 cells."""
WEAK_LINE = 8.0
"""Power over the local noise from which a place where a line is expected counts: exp(-8) by chance."""

# Comb of lines
MOST_ORDERS = 32
"""Harmonics of a turn that are fitted at the most, where marks are few: more cost time and add little."""
MUTED_CELLS = 1.5
"""Cells of the spectrum within which a line of the turn has no say in the rate for one of the mains beside it."""
LOW_PULSE = 0.1
"""Height over that of the highest pulse of one turn from which a pulse counts, where the noise allows."""

# Mains
MAINS_TOLERANCE = 0.003
"""Relative departure of the mains from its name that is still the mains; grids keep within 0.2 Hz nearly always."""
MAINS_ORDERS = 6
"""Harmonics of the mains that are taken out: of rectified mains the sixth is below 3 % of the first."""
MAINS_MOSTLY = 0.45
"""Share of a trace without its hum that a rotor in step with the mains has to explain."""
MAINS_NARROW = 0.36
"""Share of the pitch beyond half its height below which a pulse is none of a hum."""
MAINS_OUTGROWN = 2.0
"""Amplitude of a pulse line over that of the mains beside which it is none of a hum."""
MAINS_CROWDED = 1.3
"""Cells of the spectrum within which two lines disturb each other."""
LEAST_CROWDED = MOST_ORDERS
"""Harmonics of a turn that a hum may lie beside, at the least: as many as are fitted."""
MAINS_STRAY = 0.004
"""Relative distance from a multiple of the mains within which hum of changing size has lines as well."""

# Mains as a time base
GRID_U = 5e-4
"""Relative standard uncertainty of the frequency of a public grid; common practice, no source."""
FLICKER_PARTS = 3
"""Parts of a record, in each of which a line has to stand for the time to be taken from it."""
FLICKER_SAMPLES = 64
"""Samples that a record must have for a line in it to be named."""
CLOCK_WITHIN = 0.02
"""Relative error of a sample interval that the mains can set right; a line further away is not taken for theirs."""
FLICKER_OWN_CELLS = 1.0
"""Cells of the spectrum within which a line is taken for one of the rotor."""

# A second look at a rate
SCAN_TURNS, SCAN_STEP, SCAN_GAIN = 16.0, 0.5, 0.07
"""As the next line, for traces of more turns: turns, steps, and share to be gained."""
SCAN_FEW_TURNS, SCAN_FEW_STEP, SCAN_FEW_GAIN = 8.0, 0.15, -0.04
"""Turns up to which other rates are tried, steps of pitches over the trace, and share that they have to gain."""
MARKS_TURNS, MARKS_GAIN, MARKS_REST, LEAST_OWN = 8.0, 0.03, 0.6, 0.3
"""Turns, share gained, and part of the rest explained, from which another number of marks is likelier."""
MARKS_ALIKE = 0.01
"""Power by which parts of a turn may differ, over that by which the marks within one do, to be the same: measured were
0.001 at most where marks were counted twice, 0.05 and more where opposite ones were alike by chance."""
MOSTLY = 0.35
"""Share of a trace explained below which lines are those of something else in it, unless pulses bear them out: a hum
that an amplifier in saturation cuts off has lines on both sides of its own, a turn apart."""
MOST_EXTRA = 0.15
"""Share of the pulses that fit nowhere from which a pattern is that of a part of them: noise makes a few."""
CLEARLY = 0.88
"""Share of a trace explained beyond which no other rate is looked for."""
AS_MUCH = 0.92
"""Share that a faster rate has to explain, over that of a slower one of more freedom, to be looked at."""
COUNTS = ((0.25, 0.12), (0.2, 0.1), (0.1, 0.05))
"""Shares of the height of a mean turn that a pulse has to rise through, and to have been below before."""
SPREAD = 0.6
"""Pitches that two pulses of a turn stand apart at least."""
COUNTED_NOISE, COUNTED_WIDTH = 0.03, 5
"""Noise of a mean turn, over its height, to which it is smoothed before its low pulses are counted, and sectors, of 24
to the pitch, over which it is smoothed at the most."""
SECTORS = 20
"""Into which the pitch between two marks is divided."""

# Rates in simple ratios, compared
RIVAL_RATIOS = (1.0, 1 / 3, 1 / 2, 2 / 3, 3 / 4, 4 / 3, 3 / 2, 2.0, 3.0)
"""Ratios of the rates that are compared to the one found, which comes first."""
RIVAL_MOST, RIVAL_MOST_HUM = 4800, 2400
"""Samples about the middle of a trace, so reduced, that are compared at the most; the same where a hum is fitted."""
RIVAL_SAMPLES, RIVAL_SECTORS, RIVAL_STRAY = 12, 16, 3
"""To so many samples a pitch a trace is reduced; sectors of a pitch, and how many of them a mark may stand away from
its even place: 0.19 of the pitch."""
RIVAL_BASELINE = 0.9
"""Cosines of the baseline over the pitches in the trace: half of that is waves, too few for pulses of half the rate."""
RIVAL_MISSING = 4.0
"""Parameter of the prior of the chance of a missing pulse, whose mean is one over one more: a fifth."""
RIVAL_MOST_MISSING, RIVAL_SLACK, RIVAL_CHANCE = 0.36, 0.5, 2.0
"""Share of its places that may be empty at a rate that is possible: 30 % of the pulses missing, and what a wandering
baseline hides; places more, where there are few; standard deviations more that chance makes of the rate found."""
RIVAL_SCARCE, RIVAL_SCARCE_MISSING, RIVAL_HALF_MISSING = 8, 0.4, 0.5
"""Pulses below which so large a share of empty places makes a rate doubtful, whatever chance may do; and the share that
does so for pulses so few at even places, and for more at others."""
RIVAL_REGULAR, RIVAL_ALL = 5, 0.8
"""Empty places from which it is seen whether they come regularly; share of the empty ones, and of those expected, that
do: by chance all of five are one place in three once in 81 times, and those are all empty far less often."""
FLANK_CELLS, FLANK_REACH = 32, 6
"""Cells of a pitch in which the shape of a pulse is compared, and how many of them one may stand off its place."""
FLANK_LIKENESS = 0.75
"""Correlation of the shapes of neighbours, as a share of that of every second one, below which they may be rise and
fall of one pulse: 0.29 to 0.6 for those, above 0.91 for all others of 300 invented recordings."""
COUPLING_HZ = 15.0
"""Corner of the capacitor of a microphone socket, where it is undone: from 1 to 30 Hz; common practice, no source."""
COUPLED_HIGHEST, RESTORED_HIGHEST = 16_800.0, 3500.0
"""Frequencies that are kept of sound, Hz: 48,000 samples a second are, and 10,000 where the capacitor is undone."""
RESTORED_FASTEST = 120.0
"""Pulse rate beyond which pulses are too narrow for the capacitor to make two of each, Hz."""
RESTORED_UNKNOWN = 8.0
"""Pulse rate that sound is looked at for where it shows none as it was recorded, Hz."""
RESTORED_BASELINE, RESTORED_BASELINE_SEEN = 0.25, 0.35
"""Share of the pulse rate below which all is baseline: of one that may be twice the true one, and of one restored."""
RIVAL_UNSHOWN = 0.5
"""Share of a trace explained below which a rate is doubtful for any that is clearly likelier."""
RIVAL_CELLS = 1.5
"""Cells of the spectrum within which what was taken out for the mains may have been a line of the rotor."""
RIVAL_FASTEST = 9.0
"""Ratio of the fastest rate that is compared where a line of the pulses may have been taken for the mains."""
RIVAL_LEAST = 5.0
"""Samples a pitch that a rate needs to be compared."""
RIVAL_LESS = 0.6
"""Share of what the rate found leaves over that a faster one may leave: two pulses fit a wide one a little better."""
RIVAL_FEW, RIVAL_EXPLAINED = 0.2, 0.6
"""Share of the places that are empty at the most, and of the trace explained at the least, for a rate to hold beside a
hum."""
RIVAL_PAIRED = 15.0
"""Log odds by which a slower rate may be less likely than one whose marks are in pairs, and many of them absent."""
RIVAL_UNEVEN = 0.12
"""Standard deviation of the marks about even places, pitches, of a rotor: two pulses in place of a wide one stand
further apart. Marks set by hand have 0.05; common practice, no source."""
RIVAL_TURNS = 3
"""Times that pulses and a hum beside them are fitted in turn."""
RIVAL_HUM_PITCHES = 6.0
"""Multiple of the pulse rate above which the mains cannot be a line of the pulses."""
RIVAL_STRUCTURE = 0.25
"""Part of a pitch over which what a model leaves over beside white noise is alike."""

# Faults of a recording
NEAR_NYQUIST = 0.8
"""Share of half the sample rate above which a pulse rate is not distinguished from one as far above."""
LEAST_FOLDED = 0.01
"""Share of half the sample rate below which pulses are not folded: a rotor would have to keep that rate so well."""
RAIL_RUN = 3
"""Samples in a row at the greatest value from which a pulse is at the rail."""
RAIL_SHARE = 0.002
"""Share of a trace at its greatest value below which nothing is clipped: chance puts single samples there."""

# Choice between methods, and flags
MATERIAL_DRIFT = 0.005
"""Change of speed within a trace, as a share of the speed, below which it does not matter."""
SHORT_TURNS = 2.0
"""Turns below which a trace does not show that it repeats itself."""
MANY_MARKS = 12
"""Marks beyond which only lines of the pulse rate are fitted: those between are too many, and little is lost."""
CLEAR_STRENGTH = 12.0
"""Height over the noise from which a pulse that is not seen is missing, rather than hidden by noise."""
LEAST_SHARE = 0.2
"""Share of a trace, noise and baseline left out, that a turn rate has to explain."""
EVEN_SHARE = 0.75
"""Share of a trace that one comb explains of a rotor that does not slip."""
STRONG_SHARE = 0.4
"""Share that a rate has to explain which two methods agree on, for the trace with its hum to be left alone."""
SCALES = (4, 12, 40)
"""Pulses that a trace is supposed to hold where no line tells."""
HIDDEN_CELLS = 1.0
"""Cells of the spectrum within which a hum lies beneath a line of the turn, and the trace cannot resolve the two: it
moves all flanks of a mark alike."""
CROWDED_WIDENS = 5.0
"""Factor on an uncertainty where the lines beside those of the mains do not hold the rate by themselves."""
LEAK_WIDENS = 1.3
"""Factor on that of lines beside which some were left out for the mains. Both from scenes: not derived."""
LINES_HOLD = 3.0
"""How many times less uncertain than the lines edges beside a hum can be. From scenes: not derived."""
DISAGREE = 2.0
"""Standard uncertainties by which edges and spectrum may differ before that counts as an uncertainty of its own."""
MOST_FEW_ORDERS = 12
"""Harmonics of the turn that are fitted where neither lines nor pulses tell how many there are."""
HUM_SHARE = 0.6
"""Share of the power at the harmonics of a turn from which they are those of a hum."""
HUM_MISSES, MISSES_STRENGTH = 0.04, 6.0
"""Share of its places at which a pulse is missing, from which pulses in step with the mains are not hum, and their
height over the noise at which that is seen."""
WHOLE_QUALITY = 0.97
"""Quality of a pattern of pulses, none missing or too many, that no hum makes."""
KEPT_QUALITY = 0.8
"""Quality of a pattern of pulses from which its rate is kept where another seems to explain as much."""
NEARLY_SAME = 0.02
"""Relative distance within which a second search has found the rate that it was sent for."""
SAME_RATE = 0.01
"""Relative distance within which two methods found the same rate."""

# Clips
CLIP_RIVAL = 0.8
"""Share of the best score from which another speed is possible as well."""
CLIP_TOLD = 5.0
"""Score of the line that repeats once in a turn over that at any rival, from which it tells the speed."""
CLIP_BORNE_OUT = 0.2
"""Power of another line of a vane that differs, over that of its line once in a turn; 0.4 and more were measured."""
CLIP_UNEVEN = 0.1
"""Spread of the times between frames over their mean, from which no other speed is folded onto the same frames."""
CLIP_MIRRORED = 0.6
"""Score of the opposite direction over that of the best from which the direction is not known."""
CLIP_CHANGES = 3.0
"""Power of the strongest line of a picture over the middle one from which something changes periodically: noise of so
many pixels makes 1.3 at most; vanes seen from the side, whose harmonics fill the frames, 3.8 and more."""
CLIP_LINE = 25.0
"""Power of a line over that of the noise from which it counts."""
CLIP_LEAST_TURNS = 1.5
"""Turns that a clip must show, twice over: below, nothing repeats itself."""

# Clips from the side
SIDE_FLAT = 0.5
"""Breadth over length of what moves above which it is not seen from the side: vanes lower than their arms are long."""
SIDE_STANDING = 0.5
"""Power of the waves that run backwards, over that of those that run forwards, from which vanes move to and fro."""
SIDE_TOLD = 4.0
"""Power of the lines of a turn at one speed over that at any other, from which it tells the speed."""

# Direction
DIRECTION_SURE = 0.99
"""Probability of one direction against the other from which it is given."""
DIRECTION_TURNS = 2.0
"""Turns below which no direction is given."""
DIRECTION_ORDERS = 24
"""Harmonics of a turn that the order of the marks is read from."""
