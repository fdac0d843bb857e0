#!/usr/bin/env python3
"""Writes bits.txt: python3 bits.py > bits.txt

Each line is a formula in postfix, then the float64 result and the bound on its
error, bit for bit, as IEEE 754 double arithmetic gives them. Python floats are
such doubles and never fused, so the table is a second implementation of the
float64 mode of core/exact, from the formulas in its documentation.

Words: a decimal, #n an integer, pi, + - * / neg.
"""
import math
import random
from fractions import Fraction

U = 2.0 ** -53
WIDEN = 1 + 2.0 ** -50


def own_decimal(v):
    if v == math.trunc(v):
        return abs(v) < 2.0 ** 53
    return abs(v) < 1e12 and 8 * v == math.trunc(8 * v)


def coarse(v):
    return math.isinf(v * 2.0 ** 10) or v * 2.0 ** 10 == math.trunc(v * 2.0 ** 10)


def exact_product(a, b, v):
    return abs(v) < 2.0 ** 33 and coarse(a) and coarse(b)


def dec(v):
    return (v, 0.0 if own_decimal(v) else U * abs(v))


def integer(n):
    v = float(n)
    return (v, U * abs(v) * WIDEN if abs(n) > 2 ** 53 else 0.0)


def add(a, b):
    v = a[0] + b[0]
    if a[1] == b[1] == 0 and Fraction(v) == Fraction(a[0]) + Fraction(b[0]):
        return (v, 0.0)
    return (v, (a[1] + b[1] + U * abs(v)) * WIDEN)


def neg(a):
    return (-a[0], a[1])


def mul(a, b):
    v = a[0] * b[0]
    if a[1] == b[1] == 0 and exact_product(a[0], b[0], v):
        return (v, 0.0)
    e = abs(a[0]) * b[1] + abs(b[0]) * a[1]
    e += a[1] * b[1]
    return (v, (e + U * abs(v)) * WIDEN)


def quo(a, b):
    room = abs(b[0]) - b[1]
    if not room > 0:
        return None  # not in the table
    v = a[0] / b[0]
    back = v * b[0]
    if a[1] == b[1] == 0 and back == a[0] and exact_product(v, b[0], back):
        return (v, 0.0)
    e = a[1] + abs(v) * b[1]
    return (v, (e / room + 2 * U * abs(v)) * WIDEN * WIDEN)


def evaluate(text):
    stack = []
    for word in text.split():
        if word == "pi":
            stack.append((math.pi, U * math.pi))
        elif word == "neg":
            stack.append(neg(stack.pop()))
        elif word in ("+", "-", "*", "/"):
            b, a = stack.pop(), stack.pop()
            if word == "-":
                b = neg(b)
            r = {"+": add, "-": add, "*": mul, "/": quo}[word](a, b)
            if r is None:
                return None
            stack.append(r)
        elif word[0] == "#":
            stack.append(integer(int(word[1:])))
        else:
            stack.append(dec(float(word)))
    assert len(stack) == 1
    return stack[0]


TYPICAL = [
    # surface speed 18.3 m/min, roll 160 mm with a belt of 2.1 mm, 40:1, belt 100:125 mm, slip 1.5 %, in r/min
    "18.3 pi 0.16 0.0021 + * / 40 * 0.125 * 0.1 / #1 1.5 #100 / - /",
    # the same to a count, 0..18000 on 0..1800 r/min
    "#0 18.3 pi 0.16 0.0021 + * / 40 * 0.125 * 0.1 / #1 1.5 #100 / - / 0 - #18000 #0 - 1800 0 - / * +",
    # 17 teeth of half an inch at 300 r/min, in ft/min
    "0.5 #17 * 300 * #12 /",
    # 1750 r/min, 40:1, 18:36 teeth, drum of 160 mm: m/min
    "1750 #40 / #18 * #36 / pi * 0.16 *",
    # a pump: (12.5 L/min + 0.35 L/min of slip flow) / 0.0187 L
    "12.5 0.35 + 0.0187 /",
    # minutes shown with one decimal: 48 m of kiln at a roll of 40 mm and 9.1 r/min
    "#10 48 * pi 0.04 * 9.1 * /",
    # a draw in percent
    "103.7 101.2 - 101.2 / #100 *",
    # 4-20 mA over -50..150
    "4 0 -50 - 150 -50 - / 16 * +",
    "#9007199254740993 #3 /",
    "0.1 0.2 + 0.3 -",
    "pi neg pi *",
]


def number(r):
    kind = r.randrange(8)
    if kind == 0:
        return "pi"
    if kind == 1:
        return "#%d" % r.randrange(-(2 ** r.randrange(1, 62)), 2 ** r.randrange(1, 62))
    if kind == 2:
        return repr(r.uniform(-1e4, 1e4))
    return repr(round(r.uniform(-1000, 1000), r.randrange(5)))


def random_formula(r):
    words, depth = [number(r)], 1
    for _ in range(r.randrange(2, 24)):
        if depth >= 2 and r.random() < 0.55:
            words.append(r.choice("+-*/"))
            depth -= 1
        elif r.random() < 0.1:
            words.append("neg")
        elif depth < 6:
            words.append(number(r))
            depth += 1
    words += [r.choice("+-*/") for _ in range(depth - 1)]
    return " ".join(words)


def main():
    r = random.Random(20250103)
    print("# formula = float64 result, bound on its error. Written by bits.py beside this file (Python 3, IEEE 754 doubles).")
    formulas = list(TYPICAL)
    while len(formulas) < 1000:
        formulas.append(random_formula(r))
    for text in formulas:
        n = evaluate(text)
        if n is not None and all(1e-140 < abs(x) < 1e140 for x in n if x):
            print("%s = %s %s" % (text, (n[0] + 0.0).hex(), n[1].hex()))


if __name__ == "__main__":
    main()
