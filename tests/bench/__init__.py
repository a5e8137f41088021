"""The benchmark: ``python -m tests.bench`` measures what issue and guide promise.

It prints ratios and the machine they were taken on, asserts nothing and always
ends well; numbers on a machine that is busy with other things are lower bounds.
"""
