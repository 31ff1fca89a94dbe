"""The cautions of the bench, numbered once and used by name from any procedure.

A procedure writes `cautions: [isolate, charge]`, or a sentence of its own. The texts defer to local
rules and licensed practice; none of them gives permission, and none asks for a measurement inside a
live appliance.
"""

from __future__ import annotations

from meterlog.base.source import near_miss

CAUTIONS: dict[str, str] = {
    "local-rules": "Local rules and the maker's instructions come before anything on this screen.",
    "licence": "Repair of mains appliances may need a licence where you are.",
    "isolate": "Unplug first: a switch or thermostat in its off position is not isolation.",
    "keep-plug": "Keep the plug where only you can reach it.",
    "look-first": "Look for damage, water and burning before connecting leads.",
    "check-leads": "Check leads, tips and their category marking; set aside any with cuts.",
    "prove-tester": "Prove the voltage tester on a known source before and after the dead test.",
    "prove-again": "The last proof is old, or something changed since: prove again.",
    "blank-is-no-proof": "No reading, or one that wanders near zero, does not prove the appliance dead.",
    "every-pair": "Test every pair, and each conductor to earth, on AC and on DC.",
    "voltage-found": "Voltage found: stop, and find where it comes from.",
    "ohms-is-no-proof": "Low ohms do not show that a circuit is dead.",
    "charge": "Capacitors can hold charge long after unplugging: measure volts before touching.",
    "discharge": "Discharge through a resistor rated for it, not a screwdriver; measure again afterwards.",
    "charge-returns": "Charge can creep back: leave the shorting link on while working.",
    "bleeder": "A bleed resistor may be open: waiting proves nothing.",
    "high-voltage": "High-voltage parts of an oven are never measured live; this is work for specialists.",
    "no-ohms-on-charge": "No ohms, diode or capacitance function on a part that is live or charged.",
    "parallel-paths": "Other paths lie in parallel: the part has at least this value. Lift one end for its own.",
    "null-leads": "Take the leads' resistance off; low values still hold the resistance of the contacts.",
    "winding-settles": "Let the current in a winding settle, and expect a kick when the probes lift.",
    "warm-winding": "A warm winding reads high: note its temperature.",
    "earth-indication": "A hand meter's reading is an indication, not the earth test at its rated current.",
    "flex-cord": "Flex the cord during the test: a value that jumps is a finding.",
    "insulation-voltage": "The insulation test applies up to 500 V DC: hands off, others away.",
    "electronics": "Electronics may be harmed by the insulation test: join L and N, or use the maker's method.",
    "insulation-discharge": "Wait until the tester has discharged the appliance before lifting the leads.",
    "test-voltage": "Where the test voltage was not reached, the value was not taken at the rated voltage.",
    "open-switches": "Behind an open switch or relay nothing was tested.",
    "over-range": "Over-range is a bound, not a number.",
    "too-close": "Too close to the limit for this meter means undecided.",
    "no-declaration": "Inside the limits is not a declaration of safety.",
    "refit": "Refit covers, earth connections and strain reliefs before power.",
    "first-power": "First power-up behind a residual-current device, with nobody touching.",
    "unsure-stop": "Tired, interrupted or unsure: unplug and stop.",
    "never-empty": "Never run a microwave oven empty: keep the water in, also while warming up.",
    "closed-cabinet": "Power only with the cabinet closed and every screw back; the door whole and shut.",
    "leakage-survey": "Microwave leakage is surveyed with a calibrated survey meter by someone competent; "
    "no other instrument, and nothing here, stands in for it.",
    "door": "Stop if door, hinges, latches or seal are damaged, or if it ever runs with the door open.",
    "superheated": "Still water can pass its boiling point and erupt: end well below boiling, wait, stir with a long "
    "tool that is not metal, face away.",
    "no-metal": "No metal probe, stirrer or foil in a running microwave oven; the probe goes in after it has stopped.",
    "scald": "Water from 60 °C scalds within seconds: a stable place, no trailing leads, clear of the steam.",
    "attend": "Stay with it: software is never the only protection, and it never switches the mains.",
    "never-dry": "Never heat an element dry: water above its mark before power.",
    "water-live": "Never touch the water or the vessel while an element in it is energised.",
    "isolated-instruments": "Use battery or isolated instruments: an earthed probe with a USB lead can put the "
    "computer in the path of a fault.",
    "stop-signs": "Stop at arcing, a burning smell, a tripped protection, a current over 15 % above the plate.",
    "old-capacitor-oil": "An old capacitor can hold oil with PCBs: one that leaks is bagged with gloves on and handed "
    "in as hazardous waste, never heated or opened.",
    "old-capacitor-date": "A capacitor of unknown date, or from before 2 July 1979, is taken in the US to hold PCBs "
    "(40 CFR 761.2); elsewhere local rules say.",
    "moving-parts": "Moving parts start without warning: guards on, sleeves and tools clear.",
    "refrigerant": "The refrigerant circuit stays closed: it needs its own qualification, and may be flammable.",
    "hot-parts": "Elements and their surroundings stay hot: let them cool before touching or measuring.",
}  # fmt: skip


def looks_like_name(text: str) -> bool:
    """Whether a caution was meant as a name of the catalogue rather than as a sentence."""
    return " " not in text.strip()


def caution_text(text: str) -> str:
    """The sentence of a caution, by its name in the catalogue or as it stands.

    Raises: ValueError with the near miss, when a name is not in the catalogue.
    """
    if not looks_like_name(text):
        return " ".join(text.split())
    if text not in CAUTIONS:
        raise ValueError(near_miss(text, CAUTIONS))
    return CAUTIONS[text]
