"""Values, status and code lists of SAE J1979 against python-OBD's decoders, called without an adapter."""

import warnings

warnings.filterwarnings("ignore")

from obd import ECU, commands
from obd.decoders import dtc

from ours import Ours

# Parameters with one linear value, by number of data bytes.
ONE = [0x04, 0x05, 0x06, 0x07, 0x0A, 0x0B, 0x0D, 0x0E, 0x0F, 0x11, 0x2F, 0x30, 0x33, 0x45, 0x46, 0x47, 0x49]
ONE += [0x4A, 0x4C, 0x5A, 0x5B, 0x5C]
TWO = [0x0C, 0x10, 0x1F, 0x21, 0x22, 0x23, 0x31, 0x3C, 0x42, 0x43, 0x4D, 0x4E, 0x59, 0x5E]
# Their unit for our code.
UNITS = {
    "Cel": "degree_Celsius", "%": "percent", "kPa": "kilopascal", "/min": "revolutions_per_minute",
    "km/h": "kilometer_per_hour", "deg": "degree", "g/s": "gram / second", "s": "second", "km": "kilometer",
    "V": "volt", "min": "minute", "1": "count", "L/h": "liters_per_hour",
}
SPARK = {
    "catalyst": "CATALYST", "heated_catalyst": "HEATED_CATALYST", "evaporative_system": "EVAPORATIVE_SYSTEM",
    "secondary_air": "SECONDARY_AIR_SYSTEM", "oxygen_sensor": "OXYGEN_SENSOR",
    "oxygen_sensor_heater": "OXYGEN_SENSOR_HEATER", "egr_or_valve_timing": "EGR_VVT_SYSTEM",
}
COMPRESSION = {
    "nmhc_catalyst": "NMHC_CATALYST", "nox_aftertreatment": "NOX_SCR_AFTERTREATMENT",
    "boost_pressure": "BOOST_PRESSURE", "exhaust_gas_sensor": "EXHAUST_GAS_SENSOR",
    "particulate_filter": "PM_FILTER", "egr_or_valve_timing": "EGR_VVT_SYSTEM",
}
BOTH = {"misfire": "MISFIRE", "fuel_system": "FUEL_SYSTEM", "comprehensive_components": "COMPONENT"}


class Message:
    """What python-OBD's decoders want of a received message."""

    def __init__(self, data):
        self.data, self.ecu, self.frames = bytearray(data), ECU.ENGINE, []


def theirs(data):
    return commands[1][data[1]]([Message(data)]).value


def number(text):
    over, _, under = text.partition("/")
    return float(over) / float(under or 1)


def values(ours, pid, raw):
    data = bytes([0x41, pid]) + raw
    own = ours.decode("obd", data)["said"]
    value = theirs(data)
    unit = UNITS[own[0]["unit"]]
    if unit == "count":
        shown = value if isinstance(value, (int, float)) else value.magnitude
    else:
        shown = value.to(unit).magnitude
    # Theirs are binary floats.
    ours.compare(data.hex(), abs(number(own[0]["value"]) - shown) < 1e-6 * max(1, abs(shown)), True)


def status(ours):
    data = bytes([0x41, 0x01]) + ours.bytes(4)
    lamp, count, monitors = ours.decode("obd", data)["said"]
    value = theirs(data)
    names = BOTH | (COMPRESSION if data[3] & 8 else SPARK)
    own = {one["name"]: one["complete"] for one in monitors["monitors"]}
    own.pop("gasoline_particulate_filter", None)  # the bit that changed its meaning between editions
    tests = {name: getattr(value, f"{other}_MONITORING") for name, other in names.items()}
    other = {name: test.complete for name, test in tests.items() if test.available}
    shown = (lamp["is"] == "on", int(count["value"]), own)
    ours.compare(data.hex(), shown, (value.MIL, value.DTC_count, other))


def codes(ours):
    count = ours.random.randrange(6)
    data = bytes([ours.random.choice([0x43, 0x47, 0x4A]), count]) + ours.bytes(2 * count)
    own = [one["code"] for one in ours.decode("obd", data)["said"][0]["codes"]]
    ours.compare(data.hex(), own, [code.upper() for code, _ in dtc([Message(data)])])


def short(ours):
    """They pad a short reply with zeros, which makes up a value; we refuse it."""
    pid, length = ours.random.choice([(pid, 1) for pid in ONE] + [(pid, 2) for pid in TWO])
    data = bytes([0x41, pid]) + ours.bytes(length - 1)
    ours.compare(data.hex(), "fault" in ours.decode("obd", data), True)


def main():
    ours = Ours()
    for pid in ONE:
        for raw in range(256):
            values(ours, pid, bytes([raw]))
    for pid in TWO:
        for raw in [b"\0\0", b"\xff\xff"] + [ours.bytes(2) for _ in range(300)]:
            values(ours, pid, raw)
    for _ in range(2_000):
        status(ours)
        codes(ours)
        short(ours)
    ours.end("OBD decoding against python-OBD", 15_000)


main()
