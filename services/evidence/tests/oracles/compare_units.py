"""Every pair of units of one dimension against pint with exact fractions."""

from fractions import Fraction

import pint

from ours import Ours

THEIRS = [
    {"Cel": "degC", "[degF]": "degF", "K": "kelvin"},
    {"Pa": "pascal", "kPa": "kilopascal", "bar": "bar", "mbar": "millibar", "[psi]": "psi"},
    {
        "m": "meter", "mm": "millimeter", "cm": "centimeter", "km": "kilometer", "[in_i]": "inch",
        "[ft_i]": "foot", "[mi_i]": "mile",
    },
    {
        "N.m": "newton * meter", "[ft_i].[lbf_av]": "foot * force_pound",
        "[in_i].[lbf_av]": "inch * force_pound",
    },
    {"N": "newton", "[lbf_av]": "force_pound"},
    {"km/h": "kilometer / hour", "[mi_i]/h": "mile / hour", "m/s": "meter / second"},
    {"V": "volt", "mV": "millivolt"},
    {"A": "ampere", "mA": "milliampere"},
    {"A.h": "ampere * hour"},
    {"Ohm": "ohm", "kOhm": "kiloohm", "MOhm": "megaohm"},
    {"Ohm/V": "ohm / volt"},
    {"%": "percent", "1": "dimensionless"},
    {"s": "second", "ms": "millisecond", "min": "minute", "h": "hour", "d": "day"},
    {"deg": "degree", "'": "arcminute"},
    {"kg": "kilogram", "[lb_av]": "pound"},
    {"L": "liter", "[gal_us]": "gallon"},
    {"lx": "lux"},
    {"g/s": "gram / second"},
    {"L/h": "liter / hour"},
    {"/min": "turn / minute", "{rev}/min": "turn / minute"},
]


def shown(ours, value, unit, other):
    answer = ours.ask("convert", value=value, **{"from": unit, "to": other})
    return Fraction(int(answer["over"]), int(answer["under"])) if "over" in answer else None


def main():
    ours = Ours()
    registry = pint.UnitRegistry(non_int_type=Fraction)
    known = {code for dimension in THEIRS for code in dimension}
    ours.compare("the table", sorted(ours.ask("units")), sorted(known))
    for dimension in THEIRS:
        for unit, named in dimension.items():
            for other, other_named in dimension.items():
                for _ in range(40):
                    digits = ours.random.randrange(-10**6, 10**6)
                    value = f"{digits / 1000:.3f}"
                    own = shown(ours, value, unit, other)
                    exact = Fraction(value)
                    quantity = registry.Quantity(exact, named)
                    theirs = quantity.to(other_named).magnitude
                    if isinstance(theirs, Fraction):
                        ours.compare(f"{value} {unit} in {other}", own, Fraction(theirs))
                    else:  # angles go through a binary pi
                        close = abs(own - Fraction(theirs)) <= abs(own) / 10**12
                        ours.compare(f"{value} {unit} in {other}", close, True)
    for a in THEIRS:
        for b in THEIRS:
            if a is not b:
                unit, other = next(iter(a)), next(iter(b))
                ours.compare(f"{unit} in {other}", shown(ours, "1", unit, other), None)
    ours.end("units against pint", 5_000)


main()
