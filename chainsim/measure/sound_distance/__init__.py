"""How far two sounds are apart to an ear, in steps: 1 is just audible.

`scale.py` has the ear's bands, `pitch_scale.py` those that tell pitch, `frames.py` cuts a stream into frames and bands,
`plan.py` says which of them count, `meter.py` gathers what is kept of a sound (`features.py`), with `modulation.py` and
`width.py`; `steps.py` compares two, `matrix.py` many.
"""
