"""Holds the machine model's line losses against fluids (PyPI) and the published Hagen-Poiseuille rows.

usage: lines.py FILE      FILE: what the example `lines` prints
"""

import json
import sys

from fluids import Reynolds, friction_factor, one_phase_dP
from fluids.friction import Blasius, friction_laminar

# Litres an hour, mm²/s, kg/m³, bore in mm: kPa over 3 m. Hagen-Poiseuille, recomputed.
ROWS = {(60, 3, 830, 6): 3.914, (100, 3, 830, 6): 6.523, (100, 3, 830, 8): 2.064, (100, 10, 850, 8): 7.046}
# Up to here and from here on the model has one law; between them it goes over from one to the other.
LAMINAR, TURBULENT = 2300, 4000
# fluids itself leaves the laminar law here.
THEIRS = 2040
# Blasius is a fit to smooth pipes, good to a few parts in a hundred up to Re = 100 000.
FIT = 0.03

breaches = []


def hold(what, found, expected, relative):
    if not abs(found - expected) <= relative * abs(expected):
        breaches.append(f"{what}: {found!r}, the reference has {expected!r}")


rows = json.load(open(sys.argv[1]))
laminar = turbulent = between = published = 0
for row in rows:
    flow, bore, nu, rho = row["litres_per_hour"] / 3.6e6, row["bore"], row["viscosity"], row["density"]
    what = f"{row['litres_per_hour']} l/h of {nu * 1e6:g} mm²/s in {bore * 1e3:g} mm"
    area = 3.141592653589793 * bore * bore / 4
    speed = flow / area
    reynolds = Reynolds(V=speed, D=bore, nu=nu)
    hold(f"{what}, Reynolds number", row["reynolds"], reynolds, 1e-12)
    hold(f"{what}, resistance", row["resistance"] * flow, row["loss"], 1e-12)

    def loss(friction):
        return friction * row["length"] / bore * rho * speed * speed / 2

    if reynolds < THEIRS:
        whole = one_phase_dP(m=flow * rho, rho=rho, mu=nu * rho, D=bore, L=row["length"])
        hold(what, row["loss"], whole, 1e-9)
    if reynolds <= LAMINAR:
        laminar += 1
        hold(what, row["loss"], loss(friction_laminar(reynolds)), 1e-9)
    elif reynolds >= TURBULENT:
        turbulent += 1
        hold(f"{what}, Blasius", row["loss"], loss(Blasius(reynolds)), 1e-9)
        hold(f"{what}, smooth pipe", row["loss"], loss(friction_factor(reynolds, eD=0)), FIT)
    else:
        between += 1
        ends = loss(friction_laminar(LAMINAR)), loss(Blasius(TURBULENT))
        if not min(ends) <= row["loss"] <= max(ends):
            breaches.append(f"{what}: {row['loss']!r} is not between {ends}")
    printed = ROWS.get((row["litres_per_hour"], round(nu * 1e6), rho, round(bore * 1e3)))
    if printed is not None:
        published += 1
        if abs(row["loss"] / 1e3 - printed) > 5e-4:
            breaches.append(f"{what}: {row['loss'] / 1e3!r} kPa, published {printed}")

# A check that meets nothing is none.
if not (laminar and turbulent and between) or published != len(ROWS):
    breaches.append(f"{laminar} laminar, {turbulent} turbulent, {between} between, {published} published rows met")
for breach in breaches:
    print(f"lines: {breach}", file=sys.stderr)
if breaches:
    sys.exit(1)
print(f"lines: {len(rows)} line losses agree with fluids ({laminar} laminar, {turbulent} turbulent), {published} published rows")
