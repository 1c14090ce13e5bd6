"""What is done at the bench, as pure functions: no store, no clock.

The batch sheet and its balances, weighings and their corrections, the mass balance that gives the composition as made,
the next version of the formula, named methods, readings with their conditions, and which readings may be compared.
"""
