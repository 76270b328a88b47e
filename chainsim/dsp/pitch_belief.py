"""What is believed of the pitch, hop by hop: a Bayesian filter over candidates.

The belief is a set of pitches with probabilities. From one hop to the next a note goes on, its pitch drifting a
little, or with probability `CHANGE` another begins, near notes likelier than far ones; then each candidate's likelihood
weighs what arrives. Nothing looks ahead: the belief at a hop is the forward part of a hidden Markov model, whose
candidates are found anew at each hop.

Source: candidates and a hidden Markov model as in M. Mauch and S. Dixon, "pYIN", ICASSP 2014 (which looks ahead by
Viterbi's algorithm); the forward recursion is that of L. R. Rabiner, Proc. IEEE 77(2), 1989.
"""

from __future__ import annotations

import math

from chainsim.dsp.pitch_candidates import LOWEST_HZ, MOST, OCTAVE, unlikeness
from chainsim.kernel import kernel
from chainsim.units import Array

HELD = 10
"""How many pitches that have no candidate at the moment are kept in mind."""

SIZE = MOST + HELD

CHANGE = 0.05
"""Probability that another note begins within a hop."""

DRIFT_CENTS = 60.0
"""How far a note's pitch may move within a hop, at most."""

NEAR_CENTS = 600.0
"""Half of the notes that follow lie nearer than this."""

FAR = 0.02
"""Share of changes that go anywhere."""

SAME_CENTS = 50.0
"""Nearer than this, a candidate is a believed pitch found again."""

FADING = 0.2
"""How much a pitch without a candidate loses of its strength per hop."""

FORGOTTEN = 1e-7
"""Pitches less probable than this are dropped."""

LEAST_LOG = -300.0
"""Nepers that no evidence exceeds, so that no probability is a subnormal number."""

CLEAR = 0.94
"""From this strength of the best candidate on, the evidence counts fully; below in proportion, ..."""

LEAST_WEIGHT = 0.08
"""... but never less than this: in noise one peak is as good as another."""


@kernel
def update_belief(
    found_cents: Array,
    found_strength: Array,
    found_rank: Array,
    found: int,
    trust: float,
    cents: Array,
    probability: Array,
    strength: Array,
    count: int,
    new_cents: Array,
    new_probability: Array,
    new_strength: Array,
) -> int:
    """Carry the belief (cents, probability, strength; `count` entries) over one hop; return the new count.

    `trust` from 0 to 1 scales the evidence: small while a note dies away. The most probable pitch comes first.
    """
    best_strength = 0.0
    for j in range(found):
        new_cents[j], new_strength[j], new_probability[j] = found_cents[j], found_strength[j], found_rank[j]
        best_strength = max(best_strength, found_strength[j])
    n = found
    for i in range(count):
        again = False
        for j in range(found):
            if abs(found_cents[j] - cents[i]) < SAME_CENTS:
                again = True
                break
        if not again and n < SIZE:
            s = max(min(strength[i] - FADING, 0.8), 0.1)
            new_cents[n], new_strength[n] = cents[i], s
            new_probability[n] = OCTAVE * cents[i] / 1200.0 - unlikeness(s)
            n += 1
    if n == 0:
        return 0
    weight = trust * min(max(best_strength / CLEAR, LEAST_WEIGHT), 1.0)
    top = new_probability[0]
    for j in range(1, n):
        top = max(top, new_probability[j])
    total, best = 0.0, 0
    for j in range(n):
        arriving = 1e-30 if count > 0 else 1.0
        for i in range(count):
            d = abs(new_cents[j] - cents[i])
            v = d / NEAR_CENTS
            p = CHANGE * (FAR + (1.0 - FAR) / (1.0 + v * v))
            if d < DRIFT_CENTS:
                u = 1.0 - (d / DRIFT_CENTS) ** 2
                p += u * u
            arriving += probability[i] * p
        new_probability[j] = arriving * math.exp(max(weight * (new_probability[j] - top), LEAST_LOG))
        total += new_probability[j]
        if new_probability[j] > new_probability[best]:
            best = j
    kept = 0
    scale = 1.0 / total
    for k in range(n):
        j = best if k == 0 else (0 if k == best else k)
        p = new_probability[j] * scale
        if p > FORGOTTEN or k == 0:
            cents[kept], probability[kept], strength[kept] = new_cents[j], p, new_strength[j]
            kept += 1
            if kept == HELD:
                break
    return kept


@kernel
def believed_hz(cents: float) -> float:
    """Frequency of a pitch kept as cents over `LOWEST_HZ`."""
    return LOWEST_HZ * math.exp2(cents / 1200.0)
