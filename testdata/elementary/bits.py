#!/usr/bin/env python3
"""Writes bits.txt: python3 bits.py > bits.txt

Each line is a function, its arguments, and the float64 result, bit for bit, as
IEEE 754 double arithmetic gives it. Python floats are such doubles and never
fused, so the table is a second implementation of core/elementary, from the
methods in its documentation, with tables of its own from 80 decimal digits.
"""
import math
import random
from decimal import Decimal, ROUND_FLOOR, getcontext

getcontext().prec = 80
PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494459230781640628620899")
LN2 = Decimal(2).ln()


def pair(v):
    hi = float(v)
    return hi, float(v - Decimal(hi))


def short(v, bits):
    scale = Decimal(2) ** (bits - math.frexp(float(v))[1])
    return float((v * scale).to_integral_value(ROUND_FLOOR) / scale)


STEP_HI = short(LN2 / 32, 36)
STEP_LO = float(LN2 / 32 - Decimal(STEP_HI))
STEPS_PER_UNIT = float(32 / LN2)
LN2_HI = short(LN2, 42)
LN2_LO = float(LN2 - Decimal(LN2_HI))
LN10 = pair(Decimal(10).ln())
ROOT_HALF = pair(Decimal("0.5").sqrt())
HALF_LN_TWO_PI = pair((2 * PI).ln() / 2)
TWO_OVER_ROOT_PI = pair(2 / PI.sqrt())
INV_ROOT_PI = float(1 / PI.sqrt())
POWERS = [pair((LN2 * j / 32).exp()) for j in range(32)]
LOGS = {i: pair(-Decimal(128 / i).ln()) for i in range(90, 183)}


def quick(a, b):
    s = a + b
    return s, b - (s - a)


def two(a, b):
    s = a + b
    t = s - a
    return s, (a - (s - t)) + (b - t)


def halves(a):
    t = a * 134217729.0
    hi = t - (t - a)
    return hi, a - hi


def product(a, b):
    p = a * b
    ah, al = halves(a)
    bh, bl = halves(b)
    return p, ah * bh - p + ah * bl + al * bh + al * bl


def plus(a, b):
    s = two(a[0], b[0])
    t = two(a[1], b[1])
    s = quick(s[0], s[1] + t[0])
    return quick(s[0], s[1] + t[1])


def times(a, b):
    p = product(a[0], b[0])
    return quick(p[0], p[1] + (a[0] * b[1] + a[1] * b[0]))


def over(a, b):
    q = a[0] / b
    p = product(q, b)
    return quick(q, ((a[0] - p[0]) - p[1] + a[1]) / b)


def neg(a):
    return -a[0], -a[1]


def round_away(x):
    return math.copysign(math.floor(abs(x) + 0.5), x)


def exp_parts(x):
    steps = round_away(x[0] * STEPS_PER_UNIT)
    a = two(x[0], -(steps * STEP_HI))
    r = quick(a[0], a[1] + (x[1] - steps * STEP_LO))
    q = 1.0 / 5040
    for c in (1.0 / 720, 1.0 / 120, 1.0 / 24, 1.0 / 6, 1.0 / 2):
        q = q * r[0] + c
    p = r[0] + (r[1] + r[0] * r[0] * q)
    n = int(steps)
    t = POWERS[n % 32]
    return t[0] + (t[1] + t[0] * p), n // 32


def exp(x):
    return math.ldexp(*exp_parts((x, 0.0)))


def log_pair(x):
    m, e = math.frexp(x)
    if m < ROOT_HALF[0]:
        m *= 2
        e -= 1
    i = int(round_away(m * 128))
    p = product(m, 128 / i)
    r = quick(p[0] - 1, p[1])
    sh, sl = product(r[0], r[0])
    sl += 2 * r[0] * r[1]
    q = 1.0 / 9
    for n in range(8, 2, -1):
        q = 1.0 / n - q * r[0]
    cube = sh * r[0] * q
    c = LOGS[i]
    a = two(e * LN2_HI, c[0])
    b = two(a[0], r[0])
    d = two(b[0], -sh / 2)
    low = cube + (r[1] - sl / 2) + (c[1] + e * LN2_LO) + (a[1] + b[1] + d[1])
    return quick(d[0], low)


def log1p_pair(x):
    y = two(1.0, x)
    return plus(log_pair(y[0]), over((y[1], 0.0), y[0]))


def log1p_minus(x):
    if abs(x) < 2.0 ** -7:
        q = -1.0 / 10
        for n in range(9, 1, -1):
            q = -x * q - 1.0 / n
        return x * x * q
    return plus(log1p_pair(x), (-x, 0.0))[0]


def exp_times(l, y):
    return math.ldexp(*exp_parts(times(l, (y, 0.0))))


def scaled_erfc(x, square, scale):
    if x[0] < 2.5:
        term = times(x, TWO_OVER_ROOT_PI)
        total = term
        for n in range(1, 43):
            term = over(times(term, neg(square)), float(n))
            total = plus(total, over(term, 2.0 * n + 1))
        return scale * plus((1.0, 0.0), neg(total))[0]
    f = x[0]
    for n in range(60, 0, -1):
        f = x[0] + n / 2 / f
    m, k = exp_parts(neg(square))
    return math.ldexp(scale * (m * INV_ROOT_PI / f), k)


def erfc(x):
    if x < 0:
        return 2 - scaled_erfc((-x, 0.0), product(x, x), 1.0)
    return scaled_erfc((x, 0.0), product(x, x), 1.0)


def normal_tail(z):
    x = times(ROOT_HALF, (abs(z), 0.0))
    h, l = product(z, z)
    tail = scaled_erfc(x, (h / 2, l / 2), 0.5)
    return 1 - tail if z < 0 else tail


def stirling(x):
    y = 1 / x
    z = y * y
    s = -3617.0 / 122400
    for c in (1.0 / 156, -691.0 / 360360, 1.0 / 1188, -1.0 / 1680, 1.0 / 1260, -1.0 / 360, 1.0 / 12):
        s = s * z + c
    return s * y


def log_of(x):
    return plus(log_pair(x[0]), (x[1] / x[0], 0.0))


def approximate(x):
    return plus(plus(times(plus(x, (-0.5, 0.0)), log_of(x)), neg(x)), HALF_LN_TWO_PI)


def log_gamma_pair(x):
    y, shift = (x, 0.0), (1.0, 0.0)
    while y[0] < 12:
        shift = times(shift, y)
        y = plus(y, (1.0, 0.0))
    return plus(plus(approximate(y), (stirling(y[0]), 0.0)), neg(log_of(shift)))


def stirling_error(x):
    if x >= 12:
        return stirling(x)
    return plus(log_gamma_pair(x), neg(approximate((x, 0.0))))[0]


def main():
    rng = random.Random(2026)

    def anywhere():
        return math.ldexp(0.5 + rng.random() / 2, rng.randrange(-1000, 1000))

    rows = [
        ("exp", lambda: (rng.uniform(-745, 709),), exp),
        ("exp", lambda: (rng.uniform(-1, 1),), exp),
        ("log", lambda: (anywhere(),), lambda x: log_pair(x)[0]),
        ("log", lambda: (rng.uniform(0.5, 2),), lambda x: log_pair(x)[0]),
        ("log1p", lambda: (rng.uniform(-1, 1) * 10.0 ** rng.randrange(-12, 1),), lambda x: log1p_pair(x)[0]),
        ("log1pMinus", lambda: (rng.uniform(-1, 1) * 10.0 ** rng.randrange(-12, 1),), log1p_minus),
        ("exp10", lambda: (rng.uniform(-320, 308),), lambda x: exp_times(LN10, x)),
        ("exp10", lambda: (round(rng.uniform(-3, 3), 2),), lambda x: exp_times(LN10, x)),
        ("pow", lambda: (rng.uniform(0.1, 20), rng.uniform(-200, 200)), lambda x, y: exp_times(log_pair(x), y)),
        ("erfc", lambda: (rng.uniform(-5, 26),), erfc),
        ("normalTail", lambda: (rng.uniform(-8, 38),), normal_tail),
        ("normalTail", lambda: (round(rng.uniform(-4, 4), 2),), normal_tail),
        ("logGamma", lambda: (rng.uniform(0, 30),), lambda x: log_gamma_pair(x)[0]),
        ("logGamma", lambda: (10.0 ** rng.uniform(-9, 15),), lambda x: log_gamma_pair(x)[0]),
        ("stirlingError", lambda: (rng.uniform(0.1, 30),), stirling_error),
    ]
    print("# function arguments = float64 result. Written by bits.py beside this file (Python 3, IEEE 754 doubles).")
    for name, arguments, function in rows:
        for _ in range(60):
            at = arguments()
            print(name, *[v.hex() for v in at], "=", function(*at).hex())


main()
