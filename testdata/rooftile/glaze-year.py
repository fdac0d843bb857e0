"""Invents a year of readings of the glaze pump's flow meter, glaze-year.csv.

    python3 glaze-year.py > glaze-year.csv

Made with Python 3.11. One gate of ten minutes a day, five days a week; two tiles that
need different speeds; from day 120 on the pump leaks more, the faster the longer it
wears. A reading scatters by 0.25 %.
"""
import datetime
import random

random.seed(2293)
start = datetime.datetime(2025, 1, 6, 6)
print("read at;motor r/min;bell meter pulses;done before")
for day in range(364):
    when = start + datetime.timedelta(days=day)
    if when.weekday() >= 5:
        continue
    rpm = 640 if day // 7 % 2 else 780
    worn = max(0, day - 120)
    leak = 90 + 0.12 * worn + 0.0003 * worn * worn  # mL/min
    flow = (6.2 / 2.5 * rpm - leak) * random.gauss(1, 0.0025)  # mL/min
    pulses = str(round(flow * 10 / 1000 * 2000))
    if day in (100, 233):
        pulses = ""  # nobody read the meter
    print(f"{when:%d.%m.%Y %H:%M};{rpm};{pulses};" + ("METER_CHANGED" if day == 35 else ""))
