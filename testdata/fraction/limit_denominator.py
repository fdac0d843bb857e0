#!/usr/bin/env python3
"""Writes limit_denominator.csv: what the fractions module of Python's standard
library takes for the best fraction. Run: python3 limit_denominator.py"""
import math, random, sys
from fractions import Fraction

random.seed(20260302)
out = open("limit_denominator.csv", "w")
out.write("# target,max denominator,numerator,denominator\n")
out.write("# fractions.Fraction(target).limit_denominator(max) of Python %d.%d.%d; targets are decimals\n" % sys.version_info[:3])
for _ in range(2000):
    digits = random.randint(1, 15)
    text = repr(float("%.*g" % (digits, 10 ** random.uniform(-3, 4))))
    limit = int(10 ** random.uniform(0.5, 6))
    best = Fraction(text).limit_denominator(limit)
    if 0 < best.numerator < 2**31:
        out.write("%s,%d,%d,%d\n" % (text, limit, best.numerator, best.denominator))
