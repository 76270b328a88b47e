"""chainsim: a dry horn through a declared chain of effects, rendered and measured offline."""
