"""Finding the right map again after a change, as Bayesian alignment."""
