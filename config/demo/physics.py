"""Air, soil, weather and people of the demonstration's houses: what their sensors would read.

A fan with a curve sucks air through soil of resistance K (pressure = K * flow**n) and through leaks
(flow = L * sqrt(pressure)). The field below the slab is a share of that suction, less the pull of
warm air in the house (stack effect) and the wind. Radon follows the field, the season and how
people live. Affinity laws: pressure goes with speed squared, flow with speed, power with its cube.
SI inside; each sensor reports in the unit its system file names. Orders of magnitude are common
practice, no source: this is a stage, not a measurement.
"""

import functools
import math
import random

UNITS = {
    "Pa": (1.0, 0.0), "hPa": (100.0, 0.0), "inH2O": (249.08891, 0.0),
    "Bq/m3": (1.0, 0.0), "pCi/L": (37.0, 0.0),
    "m3/s": (1.0, 0.0), "cfm": (0.00047194745, 0.0), "L/s": (0.001, 0.0),
    "W": (1.0, 0.0), "A": (1.0, 0.0), "%": (1.0, 0.0), "cm": (0.01, 0.0), "V": (1.0, 0.0),
    "degC": (1.0, 0.0), "degF": (1 / 1.8, -32 / 1.8),
}
DECIMALS = {"Pa": 1, "hPa": 3, "inH2O": 3, "Bq/m3": 0, "pCi/L": 1, "cfm": 1, "L/s": 2, "W": 1,
            "A": 3, "%": 0, "cm": 1, "V": 2, "degC": 1, "degF": 1}
AIR_KG_M3 = 1.1
MAINS_V = 120.0
YEAR_S = 31556952.0
DAY_S = 86400.0


def from_si(unit, value):
    scale, offset = UNITS[unit]
    return (value - offset) / scale


class Fan:
    """pressure = shutoff * (1 - (flow / full_flow) ** bend) at full speed."""

    def __init__(self, shutoff_pa, full_flow_m3_s, power_w, bend=1.6):
        self.shutoff_pa = shutoff_pa
        self.full_flow_m3_s = full_flow_m3_s
        self.power_w = power_w
        self.bend = bend

    def pressure(self, flow_m3_s, speed=1.0):
        if speed <= 0.0:
            return 0.0
        return speed ** 2 * self.shutoff_pa * (
            1.0 - (flow_m3_s / speed / self.full_flow_m3_s) ** self.bend)


FANS = {
    "small": Fan(320.0, 0.050, 20.0),
    "middle": Fan(480.0, 0.055, 38.0),
    "strong": Fan(950.0, 0.032, 85.0),
}


class Effects:
    """What is not as on the first day. A fault changes these with time."""
    __slots__ = ("speed", "leak", "block", "far_field", "radon_bq_m3", "water_m", "mixed_up")

    def __init__(self):
        self.speed = 1.0        # of the fan; 0: stopped
        self.leak = 0.0         # flow through it at commissioning suction / flow at commissioning
        self.block = 1.0        # factor on the resistance of soil and pipe
        self.far_field = 1.0    # factor on the field at the holes beyond a blockage
        self.radon_bq_m3 = 0.0  # added
        self.water_m = 0.0      # added
        self.mixed_up = False   # the monitor's thermometer reports another unit


class House:
    """One system and the house above it; `faults` are functions (seconds, live, effects)."""

    def __init__(self, name, fan, flow_m3_s, exponent, holes, radon_bq_m3, seed, faults=(),
                 legs=(1.0,), radon_before_bq_m3=420.0, indoor_celsius=20.5):
        self.name = name
        self.fan = FANS[fan]
        self.flow_m3_s = flow_m3_s
        self.exponent = exponent
        self.holes = holes  # share of the suction by point, and is it beyond the low spot?
        self.radon_bq_m3 = radon_bq_m3
        self.radon_before_bq_m3 = radon_before_bq_m3
        self.indoor_celsius = indoor_celsius
        self.legs = legs    # a factor for each riser
        self.faults = faults
        self.seed = seed
        self.suction_pa = self.fan.pressure(flow_m3_s)
        self.solve = functools.lru_cache(maxsize=20000)(self._solve)

    def _solve(self, speed, leak, block):
        """Suction and flow in balance, by bisection over suction."""
        resistance = block * self.suction_pa / self.flow_m3_s ** self.exponent
        leak_flow = leak * self.flow_m3_s / math.sqrt(self.suction_pa)

        def flow_at(suction):
            return (suction / resistance) ** (1 / self.exponent) + leak_flow * math.sqrt(suction)

        low, high = 0.0, speed ** 2 * self.fan.shutoff_pa
        for _ in range(30):
            middle = (low + high) / 2
            if self.fan.pressure(flow_at(middle), speed) > middle:
                low = middle
            else:
                high = middle
        return low, flow_at(low)

    def effects(self, seconds, live):
        effects = Effects()
        for fault in self.faults:
            fault(seconds, live, effects)
        return effects


def season(seconds):
    """+1 in the middle of January, -1 in the middle of July."""
    return math.cos(2 * math.pi * (seconds / YEAR_S - 15.0 / 365.0))


class Weather:
    """Outdoor air: year, day and a slow random part, the same for all houses of the place."""

    def __init__(self, seed, begin_s, step_s, count):
        dice = random.Random(seed)
        self.begin_s, self.step_s = begin_s, step_s
        self.celsius, self.wind_pa = [], []
        slow, wind = 0.0, 0.0
        fade = math.exp(-step_s / (2.5 * DAY_S))
        for i in range(count):
            seconds = begin_s + i * step_s
            slow = slow * fade + dice.gauss(0.0, 4.0 * math.sqrt(1 - fade * fade))
            wind = 0.9 * wind + dice.gauss(0.0, 0.25)
            self.celsius.append(9.0 - 11.0 * season(seconds) + slow
                                + 5.0 * math.sin(2 * math.pi * (seconds / DAY_S - 0.71)))
            self.wind_pa.append(wind)

    def at(self, seconds):
        i = min(max(int((seconds - self.begin_s) / self.step_s), 0), len(self.celsius) - 1)
        return self.celsius[i], self.wind_pa[i]


class Sensors:
    """The readings of one house as time goes by. Call `read` with rising times."""

    def __init__(self, house, weather):
        self.house, self.weather = house, weather
        self.dice = random.Random(house.seed)
        self.people = 0.0  # slow lognormal part of radon: doors, windows, habits
        self.pull = 1.0    # how well the house has been guarded of late, 0 to 1
        self.last_s = None
        self.makers = {
            "suction": self._suction, "field": self._field,
            "velocity-pressure": self._velocity_pressure, "airflow": self._airflow,
            "fan-power": self._power, "fan-current": self._current, "radon": self._radon,
            "indoor-temperature": self._indoors, "outdoor-temperature": self._outdoors,
            "water-level": self._water, "battery": self._battery,
        }

    def set_time(self, seconds, live=False):
        self.seconds = seconds
        self.state = self.house.effects(seconds, live)
        self.celsius, self.wind_pa = self.weather.at(seconds)
        wet = 1.0 + 0.04 * round(season(seconds), 2)
        self.suction_pa, self.flow_m3_s = self.house.solve(
            round(self.state.speed, 3), round(self.state.leak, 3),
            round(self.state.block * wet, 3))
        self._advance_people()

    def _advance_people(self):
        step_s = 1800.0 if self.last_s is None else self.seconds - self.last_s
        self.last_s = self.seconds
        fade = math.exp(-max(step_s, 1.0) / (0.4 * DAY_S))
        self.people = self.people * fade + self.dice.gauss(0.0, 0.28 * math.sqrt(1 - fade * fade))
        guarded = min(self.suction_pa / self.house.suction_pa / 0.6, 1.0)
        self.pull += (guarded - self.pull) * (1 - math.exp(-step_s / DAY_S))

    def _noise(self, relative, absolute):
        return self.dice.gauss(1.0, relative), self.dice.gauss(0.0, absolute)

    def read(self, point):
        """The value of a point (a dict of its system file) in its own unit, as text."""
        value = self.makers[point["quantity"]](point["id"])
        unit = point["unit"]
        text = f"{from_si(unit, value):.{DECIMALS[unit]}f}"
        return text

    def _leg(self, point):
        return self.house.legs[-1] if point.endswith("-south") else self.house.legs[0]

    def _suction(self, point):
        factor, add = self._noise(0.007, 0.4)
        return self.suction_pa * self._leg(point) * factor + add + 0.5 * self.wind_pa

    def _field(self, point):
        share, far = self.house.holes[point]
        stack_pa = 0.03 * max(self.house.indoor_celsius - self.celsius, 0.0)
        leaked = 1.0 / (1.0 + 0.5 * self.state.leak)
        field = share * self.suction_pa * leaked * (self.state.far_field if far else 1.0)
        return field - stack_pa + 0.4 * self.wind_pa + self.dice.gauss(0.0, 0.12)

    def _airflow(self, point):
        return self.flow_m3_s * self._leg(point) * self.dice.gauss(1.0, 0.015)

    def _velocity_pressure(self, point):
        area_m2 = math.pi * (3.068 * 0.0254 / 2) ** 2
        centre_m_s = self.flow_m3_s / area_m2 / 0.9
        factor, add = self._noise(0.02, 0.05)
        return 0.5 * AIR_KG_M3 * centre_m_s ** 2 * factor + add

    def _power(self, point):
        speed = self.state.speed
        if speed <= 0.0:
            return abs(self.dice.gauss(0.2, 0.05))
        load = 0.6 + 0.4 * self.flow_m3_s / self.house.flow_m3_s
        return self.house.fan.power_w * self._leg(point) * speed ** 3 * load * self.dice.gauss(
            1.0, 0.012)

    def _current(self, point):
        return self._power(point) / MAINS_V / 0.85

    def _radon(self, _point):
        house = self.house
        guarded = house.radon_bq_m3 * (1.0 + 0.25 * season(self.seconds))
        open_air = house.radon_before_bq_m3 * (1.0 + 0.25 * season(self.seconds))
        level = guarded + (open_air - guarded) * (1.0 - self.pull) + self.state.radon_bq_m3
        return max(level * math.exp(self.people) * self.dice.gauss(1.0, 0.08), 1.0)

    def _indoors(self, _point):
        celsius = self.house.indoor_celsius + self.dice.gauss(0.0, 0.25)
        return 1.8 * celsius + 32.0 if self.state.mixed_up else celsius

    def _outdoors(self, _point):
        return self.celsius + self.dice.gauss(0.0, 0.2)

    def _water(self, _point):
        filling = (self.seconds / 5400.0 + self.house.seed * 0.37) % 1.0
        return 0.06 + 0.10 * filling + self.state.water_m + self.dice.gauss(0.0, 0.002)

    def _battery(self, _point):
        return 96.0 - 18.0 * ((self.seconds / YEAR_S) % 1.0)
