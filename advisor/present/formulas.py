"""The model in short, for whoever reads a report: what is reckoned, how, and whose method it is."""

from __future__ import annotations

PRACTICE = "common practice, no source"

# (what, formula, source); the functions of `model/` and `decide/` say the same at length
FORMULAS: tuple[tuple[str, str, str], ...] = (
    (
        "Charge of an event",
        "Q = Σ I·t over its wake-up, kernels (units of work × time per unit), blocks and loads",
        PRACTICE,
    ),
    (
        "Mean current at the rail",
        "I = Σ Q/period + I_sleep·(1 − B) + standing loads, where the busy share B = Σ L/period "
        "≤ 1 and L is the length of an event",
        PRACTICE,
    ),
    (
        "Sleep current over temperature",
        "ln I interpolated between the stated temperatures, averaged over the places and seasons "
        "of use by their shares",
        PRACTICE,
    ),
    (
        "Through a switching converter",
        "i = V_rail·I/(η(I)·V), the efficiency η interpolated over ln I, state by state",
        PRACTICE,
    ),
    (
        "Battery life",
        "t = ∫ C dD/(i(V(D)) + self-discharge + leak) from D = 0 to the end of life, and never "
        "beyond the shelf life",
        PRACTICE,
    ),
    (
        "End of life",
        "the least depth D of: all of it; what the coldest place leaves within reach; what the "
        "cell is to be discharged to; where the open or a loaded voltage meets the cut-off; the "
        "bound of the two-well model",
        PRACTICE,
    ),
    (
        "Voltage under load",
        "V' = V − R·i; through a switching converter of power P: i = (V − √(V² − 4RP))/(2R)",
        PRACTICE,
    ),
    (
        "Charge that cannot follow pulses",
        "dδ/dt = i/c − k·δ; D ≤ 1 − (1 − c)·δ_max/C",
        "Manwell & McGowan, kinetic battery model, 1993",
    ),
    (
        "Cost over the service life",
        "the mean over the draws of purchase + (set-up hours·rate + tools)/units + "
        "changes·(pack + visit) + visits to charge; each draw has changes = ceil(service life/its "
        "own battery life) − 1, not below 0, so that their mean need not be whole; without draws "
        "the same at the stated values",
        PRACTICE,
    ),
    (
        "Score",
        "100·Σ w·u/Σ w, where u = (value − poor)/(good − poor), held to 0..1",
        "Keeney & Raiffa, Decisions with Multiple Objectives, 1976",
    ),
    (
        "Ranges and chances",
        "every stated uncertainty drawn at random, the whole reckoned anew for each draw; the 5 "
        "and 95 % of the draws",
        "JCGM 101:2008",
    ),
    (
        "Shares of the ranks",
        "share of the draws in which a part has a rank",
        "Lahdelma & Salminen, SMAA-2, 2001",
    ),
    (
        "Operating plan",
        "least current over the shares of each task's operating points, as a linear program",
        "Ishihara & Yasuura, 1998",
    ),
)
