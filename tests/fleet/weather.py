"""Weather and ground water of a region, hour by hour. All houses of a region share it.

Physics and where it is from
- Air of the standard atmosphere at an elevation: p = 101325 (1 - 2.25577e-5 z)^5.25588 Pa (ISO 2533,
  from memory; 1 000 m gives 89 875 Pa).
- Temperature = mean + yearly wave + synoptic red noise (autoregressive, 2 to 4 days, wider in
  winter) + a daily wave that clouds flatten. Years differ by a slow red noise of 0.8 K. Common
  practice in weather generators, no source.
- Barometer = standard atmosphere + red noise of 2.5 days (7 hPa, more in winter) + red noise of
  three weeks (3 hPa) + the half-daily tide of about 1 hPa (from memory).
- Rain comes in spells of some hours, a spell every three to five days; below 0.5 degC it is snow.
  Snow melts by 3 mm a day and kelvin (degree-day factor of hydrology, 2 to 6, from memory).
- The ground is a bucket: rain and melt fill it, evaporation grows with temperature and wetness,
  what it cannot hold recharges a water table that drains with a time constant of weeks (linear
  reservoir). A wet spring is what this gives when snow melts on a full bucket.
- Frost goes down with the root of the sum of freezing degrees (Stefan), snow slows it; here as an
  index from 0 to 1.
"""

import numpy as np
from scipy.signal import lfilter

HOUR = 3600
YEAR_D = 365.2425
GRAVITY = 9.80665
GAS_CONSTANT_DRY_AIR = 287.05287
KELVIN = 273.15

# mean degC, yearly half-range K, daily half-range K, spells of rain a month, how much more in spring,
# elevation m, wind m/s
CLIMATES = {
    "mountain": (8.0, 12.0, 7.0, 5.0, 1.6, 1600.0, 3.0),
    "lakes": (8.5, 14.0, 4.5, 9.0, 1.7, 250.0, 3.8),
    "coast": (11.5, 7.0, 3.5, 11.0, 0.7, 60.0, 3.4),
    "plains": (10.0, 13.5, 6.0, 7.0, 1.5, 420.0, 4.5),
}
ZONES = {
    "mountain": "America/Denver",
    "lakes": "America/Chicago",
    "coast": "America/Los_Angeles",
    "plains": "America/Chicago",
}
SUN_OFFSET_H = {"mountain": 7, "lakes": 6, "coast": 8, "plains": 6}


def standard_pressure_pa(elevation_m):
    """ISO 2533, valid below 11 km."""
    return 101325.0 * (1.0 - 2.25577e-5 * elevation_m) ** 5.25588


def air_density(pressure_pa, temperature_c):
    """Dry ideal air, kg/m3."""
    return pressure_pa / (GAS_CONSTANT_DRY_AIR * (temperature_c + KELVIN))


def red_noise(rng, count, time_constant):
    """Autoregressive noise of order one with variance 1; time_constant in steps."""
    keep = np.exp(-1.0 / time_constant)
    shocks = rng.standard_normal(count) * np.sqrt(1.0 - keep * keep)
    shocks[0] = rng.standard_normal()
    return lfilter([1.0], [1.0, -keep], shocks)


class Weather:
    """Hourly arrays from start_s (Unix time): outdoor_c, pressure_pa, wind, rain_mm, frost, wetness,
    water_table_m."""

    def __init__(self, rng, climate, start_s, hours):
        mean, yearly, daily, spells, spring, elevation, wind = CLIMATES[climate]
        self.climate, self.start_s, self.hours = climate, start_s, hours
        self.elevation_m = elevation + rng.uniform(-50, 150)
        hour = np.arange(hours)
        day = (start_s / 86400.0 + hour / 24.0) % YEAR_D + 0.0
        # 1970-01-01 was day 0 of its year, so the rest of a division by the year is the day of year
        summer = np.cos(2 * np.pi * (day - 201.0) / YEAR_D)
        local = ((start_s // HOUR) + hour - SUN_OFFSET_H[climate]) % 24
        synoptic = red_noise(rng, hours, rng.uniform(50, 90)) * (3.6 - 1.2 * summer)
        clouds = 1.0 / (1.0 + np.exp(-1.6 * red_noise(rng, hours, 30.0)))
        wave = np.cos(2 * np.pi * (local - 15.0) / 24.0) * daily * (1.15 - 0.8 * clouds)
        slow = red_noise(rng, hours, 24 * 90.0) * 0.8
        self.outdoor_c = mean + yearly * summer + synoptic + wave + slow
        barometer = red_noise(rng, hours, 60.0) * (700 - 200 * summer) - 90 * synoptic * 0.5
        barometer += red_noise(rng, hours, 500.0) * 300
        barometer += 100 * np.cos(2 * np.pi * (local - 10.0) / 12.0)
        self.pressure_pa = standard_pressure_pa(self.elevation_m) + barometer
        self.wind = wind * np.exp(0.5 * red_noise(rng, hours, 18.0) - 0.125)
        self.rain_mm = self._rain(rng, spells, spring, summer, day)
        self._ground(rng)

    def _rain(self, rng, spells_a_month, spring, summer, day):
        in_spring = np.exp(-0.5 * ((day - 110.0) / 30.0) ** 2)
        chance = spells_a_month / 730.0 * (1 + (spring - 1) * in_spring)
        starts = np.flatnonzero(rng.random(self.hours) < chance)
        lengths = 1 + rng.geometric(1 / 8.0, starts.size)
        rates = rng.gamma(0.8, 1.1, starts.size)
        rain = np.zeros(self.hours + 1)
        np.add.at(rain, starts, rates)
        np.add.at(rain, np.minimum(starts + lengths, self.hours), -rates)
        return np.maximum(np.cumsum(rain)[:-1], 0.0) * (rng.random(self.hours) < 0.8)

    def _ground(self, rng):
        capacity, drain_h, porosity = 90.0, 24 * rng.uniform(18, 45), 0.22
        snow, store, table, freezing = 0.0, 0.6 * capacity, 0.3, 0.0
        wetness, tables, frost = [], [], []
        for outdoor, rain in zip(self.outdoor_c.tolist(), self.rain_mm.tolist()):
            if outdoor < 0.5:
                snow += rain
                water = 0.0
            else:
                melt = min(snow, 0.125 * outdoor)
                snow -= melt
                water = rain + melt
            store += water - max(outdoor, 0.0) * 0.0055 * store / capacity
            recharge = max(store - 0.75 * capacity, 0.0) * 0.01
            store -= recharge
            if store > capacity:
                recharge += store - capacity
                store = capacity
            table += recharge / 1000.0 / porosity - table / drain_h
            shelter = 1.0 / (1.0 + 0.05 * snow)
            freezing += -outdoor * (shelter if outdoor < 0 else 2.0) / 24.0
            freezing = min(max(freezing, 0.0), 700.0)
            wetness.append(store / capacity)
            tables.append(table)
            frost.append(freezing)
        self.wetness = np.array(wetness)
        self.water_table_m = np.array(tables)
        self.frost = np.sqrt(np.array(frost) / 700.0)

    def at(self, name, times_s):
        """A quantity between the hours, linear."""
        position = (np.asarray(times_s, dtype=float) - self.start_s) / HOUR
        return np.interp(position, np.arange(self.hours), getattr(self, name))
