"""What a bare sensor says: type K thermocouple, platinum resistor, thermistor. Temperatures in K.

For instruments that report millivolts or ohms; most give degrees themselves.
"""

from __future__ import annotations

import math

from meterlog.heating.water import ZERO_CELSIUS

_TYPE_K = (
    -0.176004136860e-1, 0.389212049750e-1, 0.185587700320e-4, -0.994575928740e-7, 0.318409457190e-9,
    -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18, 0.971511471520e-22, -0.121047212750e-25,
)  # fmt: skip
_TYPE_K_BUMP = (0.118597600000, -0.118343200000e-3, 126.9686)
_TYPE_K_BELOW = (
    0.0, 0.394501280250e-1, 0.236223735980e-4, -0.328589067840e-6, -0.499048287770e-8, -0.675090591730e-10,
    -0.574103274280e-12, -0.310888728940e-14, -0.104516093650e-16, -0.198892668780e-19, -0.163226974860e-22,
)  # fmt: skip
PLATINUM_A, PLATINUM_B, PLATINUM_C = 3.9083e-3, -5.775e-7, -4.183e-12


def type_k_emf(kelvin: float) -> float:
    """Voltage, V, of a type K junction against one at 0 °C, -270 to 1372 °C.

    Source: NIST Monograph 175, ITS-90 reference function (coefficients from memory, its table reproduced).

    >>> round(type_k_emf(373.15) * 1000, 3)
    4.096
    """
    t = kelvin - ZERO_CELSIUS
    coefficients = _TYPE_K if t >= 0.0 else _TYPE_K_BELOW
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * t + coefficient
    if t >= 0.0:
        height, width, middle = _TYPE_K_BUMP
        total += height * math.exp(width * (t - middle) ** 2)
    return total / 1000.0


def type_k_temperature(emf: float, junction: float) -> float:
    """Temperature, K, of a type K probe that gives `emf` V with its cold junction at `junction` K.

    By Newton on the reference function, whose printed inverse polynomial errs by 0.05 K. Voltages add, not
    temperatures: the cold junction counts as the voltage it would give.
    Raises: ValueError below -200 or above 1372 °C.
    """
    wanted = emf + type_k_emf(junction)
    if not type_k_emf(73.15) <= wanted <= type_k_emf(1645.15):
        raise ValueError(f"{wanted * 1000.0:.3f} mV is no type K voltage from -200 to 1372 °C")
    kelvin = ZERO_CELSIUS + wanted / 41e-6
    for _ in range(30):
        slope = (type_k_emf(kelvin + 0.01) - type_k_emf(kelvin - 0.01)) / 0.02
        step = (wanted - type_k_emf(kelvin)) / slope
        kelvin = min(max(kelvin + step, 73.15), 1645.15)
        if abs(step) < 1e-7:
            break
    return kelvin


def platinum_resistance(kelvin: float, at_zero: float = 100.0) -> float:
    """Resistance, ohm, of a platinum sensor (100 ohm at 0 °C unless told), -200 to 850 °C.

    Source: IEC 60751, Callendar–Van Dusen (coefficients from memory, its table reproduced).
    """
    t = kelvin - ZERO_CELSIUS
    below = PLATINUM_C * (t - 100.0) * t**3 if t < 0.0 else 0.0
    return at_zero * (1.0 + PLATINUM_A * t + PLATINUM_B * t * t + below)


def platinum_temperature(resistance: float, at_zero: float = 100.0) -> float:
    """Temperature, K, of a platinum sensor, from 0 °C up in closed form, below by Newton.

    Raises: ValueError outside -200 to 850 °C.
    """
    ratio = resistance / at_zero
    if not platinum_resistance(73.15, 1.0) <= ratio <= platinum_resistance(1123.15, 1.0):
        raise ValueError(f"{resistance:g} ohm is no platinum sensor from -200 to 850 °C")
    root = math.sqrt(PLATINUM_A**2 - 4.0 * PLATINUM_B * (1.0 - ratio))
    kelvin = ZERO_CELSIUS + (root - PLATINUM_A) / (2.0 * PLATINUM_B)
    for _ in range(20 if ratio < 1.0 else 0):
        slope = (platinum_resistance(kelvin + 0.01, 1.0) - platinum_resistance(kelvin - 0.01, 1.0)) / 0.02
        kelvin += (ratio - platinum_resistance(kelvin, 1.0)) / slope
    return kelvin


def thermistor_temperature(resistance: float, a: float, b: float, c: float) -> float:
    """Temperature, K, of a thermistor by Steinhart and Hart: 1/T = A + B ln R + C (ln R)³, R in ohm.

    Raises: ValueError when the resistance is not positive.
    """
    if not resistance > 0.0:
        raise ValueError("a thermistor's resistance is above 0 ohm")
    log = math.log(resistance)
    return 1.0 / (a + b * log + c * log**3)
