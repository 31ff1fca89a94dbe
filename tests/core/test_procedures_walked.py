"""Every shipped procedure walked to its end on simulated instruments: sound, and with each fault that it names.

The values are what the parts' ratings give by hand (U²/P, 1/(2πfC) …) or what the pages quoted in the
procedures print; the appliances are invented.
"""

from functools import cache

import pytest
from players.repairer import OPEN, Heating, Repairer

from meterlog.files import shipped
from meterlog.procedure import kinds
from meterlog.procedure.language import read_procedure


@cache
def procedure(name):
    return read_procedure((shipped.folder("profiles/procedures") / f"{name}.yaml").read_text(), name)


OVEN = {
    "mains-voltage": 230.0, "input-power": 1390.0, "secondary-return": 0.15, "filament-winding": 0.15,
    "filament-winding-to-core": OPEN, "high-voltage-fuse": 5.0, "fuse": 0.15, "cut-out": 0.2,
    "primary-switch-shut": 0.2, "primary-switch-open": OPEN, "secondary-switch-shut": 0.2,
    "secondary-switch-open": OPEN, "monitor-switch-open": 0.2, "monitor-switch-shut": OPEN, "primary": 1.7,
    "primary-to-core": OPEN, "secondary": 103.0, "capacitor-bleeder": 9.1e6, "capacitor-value": 0.98e-6,
    "capacitor-a-to-can": OPEN, "capacitor-b-to-can": OPEN, "diode-forward": OPEN, "diode-reverse": OPEN,
    "diode-conducts": 6.2, "filament": 0.2,
    "filament-to-case": OPEN, "protective-conductor": 0.28, "insulation": 80e6,
    "heating-run": Heating(880.0, 1.0, 60.0),
}  # fmt: skip
OVEN_TOLD = {
    "rated output": "900 W",
    "rated input": "1400 W",
    "cord length": "1.5 m",
    "cord section": "1.0 mm**2",
    "rated voltage": "230 V",
    "capacitor marking": "1.00 µF ± 3 % 2100V~",
    "water mass": "1000 g ± 2 g",
    "vessel": "1 J/K ± 1 J/K",
}
# 3 kW at 230 V: 230²/3000 = 17.63 ohm hot, by 1.01 cold; 1.0 mm² class 5 cord of 2 m: 39 mohm
URN = {
    "cut-out": 0.2, "thermostat": 0.2, "element": 17.63 / 1.01 + 0.12, "element-insulation": 45e6,
    "protective-conductor": 0.19, "insulation": 40e6,
    "mains-voltage": 228.0, "input-power": 2940.0, "heating-run": Heating(2700.0, 5.0, 300.0, probe_stays=True),
}  # fmt: skip
URN_TOLD = {
    "rated power": "3000 W", "rated voltage": "230 V", "water mass": "5.00 kg", "hot over cold": "1.01",
    "cord length": "2 m", "cord section": "1.0 mm**2", "vessel": "900 g steel",
}  # fmt: skip
# 1 kW steps at 230 V: 52.9 ohm hot, by 1.02 cold
HEATER = {
    "thermal-fuse": 0.2, "cut-out": 0.2, "element-1": 52.9 / 1.02, "element-2": 52.9 / 1.02, "fan-motor": 180.0,
    "protective-conductor": 0.22, "insulation": 90e6, "mains-voltage": 225.0, "input-power": 1914.0,
}  # fmt: skip
HEATER_TOLD = {
    "rated power": "2000 W", "first step power": "1000 W", "second step power": "1000 W", "rated voltage": "230 V",
    "hot over cold": "1.02", "protection class": "I", "cord length": "1.5 m", "cord section": "1.0 mm**2",
}  # fmt: skip
UNIVERSAL = {
    "field-1": 2.12, "field-2": 2.13, "armature-1": 2.52, "armature-2": 2.53, "armature-3": 2.52,
    "armature-to-shaft": OPEN, "field-to-frame": OPEN, "discharge-resistor": 470e3, "suppression-capacitor": 0.46e-6,
    "protective-conductor": 0.22, "insulation": 90e6,
}  # fmt: skip
CORD = {"protection class": "I", "cord length": "2 m", "cord section": "1.0 mm**2"}
CAPACITOR = {"rated voltage": "230 V", "capacitor marking": "474K 275V~ X2", **CORD}
# a rise of 56.8 K from 21.0 °C to an ambient of 24.5 °C takes 4.62 ohm to 5.71 ohm in copper (computed in Python)
INDUCTION = {
    "main-winding": 4.62 + 0.12, "start-winding": 11.5, "winding-to-frame": OPEN, "run-capacitor": 15.7e-6,
    "capacitor-to-case": OPEN, "protective-conductor": 0.22, "insulation": 90e6, "winding-at-plug": 4.62 + 0.12,
    "mains-voltage": 231.0, "input-power": 690.0, "ambient": 297.65, "winding-at-plug-warm": 5.71 + 0.12,
}  # fmt: skip
INDUCTION_TOLD = {
    "capacitor marking": "16µF ± 5 % 450V~ P2", "winding at rest": "21.0 degC", "rated power": "750 W",
    "rated voltage": "230 V", **CORD,
}  # fmt: skip
TRANSFORMER = {
    "primary": 88.0, "secondary": 0.72, "primary-to-secondary": 500e6, "primary-to-core": 500e6, "fed-primary": 12.1,
    "secondary-to-core": 500e6, "open-secondary": 0.635, "protective-conductor": 0.22, "insulation": 90e6,
}  # fmt: skip
# 20.27 kohm at 10 °C for 10 kohm, B 3977 K (a service sheet prints 19 to 20.5)
# C–S 15 with C–R 4 a pair of 19 ohm; leads in each
FRIDGE = {
    "common-run": 4.12, "common-start": 15.12, "start-run": 19.12, "terminal-to-shell": OPEN, "starter": 22.0,
    "overload": 0.3, "sensor-air": 283.15, "sensor": 20.27e3,
    "run-capacitor": 4.02e-6, "thermostat": 0.2, "thermostat-off": OPEN, "defrost-heater": 353.0 + 0.12,
    "defrost-limiter": 0.2, "protective-conductor": 0.25, "insulation": 90e6, "mains-voltage": 232.0,
    "input-power": 88.0,
}  # fmt: skip
# 150 W at 230 V: 230²/150 = 352.7 ohm
FRIDGE_TOLD = {
    "rated power": "110 W",
    "rated voltage": "230 V",
    "defrost heater power": "150 W",
    "cord length": "2 m",
    "cord section": "0.75 mm**2",
    "capacitor marking": "4 µF ± 5 % 450V~",
    "sensor at 25 degrees": "10 kohm",
    "sensor B value": "3977 K",
}
CLASS_1 = {
    "cord-line": 0.2, "cord-neutral": 0.2, "protective-conductor": 0.12 + 0.08, "insulation": 40e6,
    "insulation-unearthed": 40e6, "earth-current": 0.22e-3,
    "earth-current-reversed": 0.23e-3,
}  # fmt: skip
CLASS_1_TOLD = {"cord length": "2 m", "cord section": "1.0 mm**2"}
CLASS_2 = {
    "cord-line": 0.2,
    "cord-neutral": 0.2,
    "insulation": 90e6,
    "touch-current": 0.02e-3,
    "touch-current-reversed": 0.02e-3,
}

SOUND = [
    ("microwave-oven", OVEN, OVEN_TOLD, ""),
    ("kettle-or-urn", URN, URN_TOLD, ""),
    ("fan-heater", HEATER, HEATER_TOLD, ""),
    ("universal-motor", UNIVERSAL, CAPACITOR, ""),
    ("induction-motor", INDUCTION, INDUCTION_TOLD, ""),
    ("transformer", TRANSFORMER, {"turns ratio": "19.2", **CORD}, ""),
    ("refrigeration", FRIDGE, FRIDGE_TOLD, ""),
    ("safety-class-1", CLASS_1, CLASS_1_TOLD, "europe"),
    ("safety-class-1", CLASS_1, CLASS_1_TOLD, "united-kingdom"),
    ("safety-class-1", CLASS_1, CLASS_1_TOLD, "australia-new-zealand"),
    ("safety-class-1", CLASS_1, CLASS_1_TOLD, "united-states"),
    ("safety-class-2", CLASS_2, {}, "europe"),
    ("safety-class-2", CLASS_2, {}, "united-kingdom"),
    ("safety-class-2", CLASS_2, {}, "australia-new-zealand"),
    ("safety-class-2", CLASS_2, {}, "united-states"),
]


SOUND_OF = {name: (values, told, where) for name, values, told, where in reversed(SOUND)}


def walked(name, changes=None, where=None):
    values, told, place = SOUND_OF[name]
    return Repairer(procedure(name), {**values, **(changes or {})}, told, place if where is None else where).play()


def is_judged(step, where):
    """Whether a step has a limit in a jurisdiction, or a method that gives one."""
    own = (
        "protective conductor", "capacitance against marking", "thermistor at 25", "insulation by class", "input power",
    )  # fmt: skip
    return bool(step.limit_for(where)) or (step.method in own and not step.limits)


@pytest.mark.parametrize(("name", "values", "told", "where"), SOUND, ids=[f"{row[0]}-{row[3]}" for row in SOUND])
def test_a_sound_appliance_is_walked_to_its_end_without_an_override(name, values, told, where):
    repairer = Repairer(procedure(name), values, told, where).play()
    assert repairer.shut == {}
    judged = {step.key for step in procedure(name).steps if is_judged(step, where)}
    came_to = {key: str(verdict.outcome) for key, verdict in repairer.verdicts.items()}
    assert {key: came_to.get(key) for key in judged if came_to.get(key) != "pass"} == {}
    assert {outcome for key, outcome in came_to.items() if key not in judged} <= {"not judged"}
    assert all(repairer.walk.ledger.is_answered(step) for step in procedure(name).steps)


# What is wrong at the points (SI), the steps that fail for it, the words of the first of them that name the fault.
FAULTS = {
    "fan-heater": [
        ({"thermal-fuse": OPEN}, ["thermal-fuse"], "it has opened"),
        ({"cut-out": OPEN}, ["cut-out"], "open cold"),
        ({"element-1": 2 * 52.9}, ["element-1-power"], "a partly burnt element"),
        ({"element-2": 40.0}, ["element-2-power"], "turns touch"),
        ({"element-1": OPEN}, ["element-1-power"], "a partly burnt element"),
        ({"fan-motor": OPEN}, ["fan-motor"], "the winding is broken"),
        ({"fan-motor": 3.0}, ["fan-motor"], "turns shorted"),
        ({"protective-conductor": OPEN}, ["protective-conductor"], "broken strands in the cord"),
        ({"insulation": 0.1e6}, ["insulation"], "a wire against the grille"),
        ({"input-power": 950.0}, ["input-power"], "an element or a step is out"),
        ({"input-power": 2300.0}, ["input-power"], "turns touch"),
    ],
    "induction-motor": [
        ({"plug-dead": 41.0}, [], ""),
        ({"plug-dead-ac": 230.0}, [], ""),
        ({"dead-after-run-ac": 230.0}, [], ""),
        ({"start-winding": 5.0}, ["winding-ratio"], "a reversible motor or a swapped terminal"),
        ({"main-winding": OPEN}, ["winding-ratio"], "far off"),
        ({"winding-to-frame": 0.2e6}, ["winding-to-frame"], "broken insulation, or damp"),
        ({"run-capacitor": 9e-6}, ["run-capacitor"], "low, the motor hums"),
        ({"capacitor-to-case": 3e6}, ["capacitor-to-case"], "any reading condemns it"),
        ({"protective-conductor": 1.4}, ["protective-conductor"], "broken strands in the cord"),
        ({"insulation": 0.4e6}, ["insulation"], "damp, dust, or damaged insulation"),
        ({"input-power": 990.0}, ["input-power"], "a tight bearing"),
    ],
    "kettle-or-urn": [
        ({"plug-dead-ac": 230.0}, [], ""),
        ({"cut-out": OPEN}, ["cut-out"], "it has tripped or is bad"),
        ({"thermostat": 8.0}, ["thermostat"], "contacts burnt"),
        ({"element": 2 * 17.63 / 1.01}, ["element-power"], "one of several elements is open"),
        ({"element": 12.0}, ["element-power"], "turns are shorted"),
        ({"element-insulation": 40e3, "insulation": 40e3}, ["element-insulation", "insulation"], "split sheath"),
        ({"protective-conductor": OPEN}, ["protective-conductor"], "a broken conductor in the cord"),
        ({"insulation": 0.1e6}, ["insulation"], "damp in element or base"),
        ({"input-power": 1480.0}, ["input-power"], "an element is open"),
        ({"input-power": 3300.0}, ["input-power"], "turns are shorted"),
        ({"heating-run": Heating(1900.0, 5.0, 300.0, probe_stays=True)}, ["heating-run"], "scale"),
    ],
    "microwave-oven": [
        ({"plug-dead-ac": 230.0}, [], ""),
        ({"plug-dead": 60.0}, [], ""),
        ({"fuse": OPEN}, ["fuse"], "the fuse has opened"),
        ({"cut-out": OPEN}, ["cut-out"], "open cold"),
        ({"primary-switch-shut": 14.0}, ["primary-switch-shut"], "contact pitted"),
        ({"primary-switch-open": 0.3}, ["primary-switch-open"], "contact welded"),
        ({"secondary-switch-shut": OPEN}, ["secondary-switch-shut"], "the switch out of place"),
        ({"secondary-switch-open": 0.3}, ["secondary-switch-open"], "the interlock does not protect"),
        ({"monitor-switch-open": OPEN}, ["monitor-switch-open"], "the monitor would not open the fuse"),
        ({"monitor-switch-shut": 1.7}, ["monitor-switch-shut"], "contact welded or stuck"),
        ({"primary": OPEN}, ["primary"], "winding or tab open"),
        ({"primary-to-core": 40e3}, ["primary-to-core"], "primary insulation broken down"),
        ({"secondary": OPEN}, ["secondary"], "winding broken"),
        ({"secondary": 21.0}, ["secondary"], "turns shorted"),
        ({"secondary-return": OPEN}, ["secondary-return"], "the high voltage has lost its return"),
        ({"filament-winding": OPEN}, ["filament-winding"], "winding or its terminal open"),
        ({"filament-winding-to-core": 5e3}, ["filament-winding-to-core"], "insulation broken down"),
        ({"high-voltage-fuse": OPEN}, ["high-voltage-fuse"], "open"),
        ({"capacitor-bleeder": 200.0}, ["capacitor-bleeder"], "steady and low, shorted"),
        ({"capacitor-bleeder": OPEN}, ["capacitor-bleeder"], "open, the bleeder is open"),
        ({"capacitor-value": 0.6e-6}, ["capacitor-value"], "low, weak heat"),
        ({"capacitor-a-to-can": 2e6}, ["capacitor-a-to-can"], "any reading condemns it"),
        ({"capacitor-b-to-can": 2e6}, ["capacitor-b-to-can"], "any reading condemns it"),
        ({"diode-forward": 14.6, "diode-reverse": 14.6}, ["diode-forward", "diode-reverse"], "the diode is shorted"),
        ({"diode-conducts": 12.0}, ["diode-conducts"], "the diode is open"),
        ({"filament": OPEN}, ["filament"], "the magnetron is bad"),
        ({"filament-to-case": 90.0}, ["filament-to-case"], "shorted tube"),
        ({"protective-conductor": OPEN}, ["protective-conductor"], "a broken conductor in the cord"),
        ({"insulation": 0.2e6}, ["insulation"], "damaged insulation in cord"),
        ({"input-power": 1900.0}, ["input-power"], "shorted turns"),
        ({"heating-run": Heating(600.0, 1.0, 60.0)}, ["heating-run"], "a weak magnetron"),
    ],
    "refrigeration": [
        ({"start-run": 15.12}, ["terminal-sum"], "the terminals are named wrongly"),
        ({"common-run": 15.12, "common-start": 4.12}, ["start-over-run"], "C and its neighbour are exchanged"),
        ({"terminal-to-shell": 3e3}, ["terminal-to-shell"], "any reading condemns the compressor"),
        ({"starter": OPEN}, ["starter"], "no start and the overload trips"),
        ({"starter": 0.3}, ["starter"], "it starts and the overload trips soon"),
        ({"overload": OPEN}, ["overload"], "the protector is bad"),
        ({"run-capacitor": 2.9e-6}, ["run-capacitor"], "it runs but uses more energy"),
        ({"sensor": 60e3}, ["sensor"], "far off or open, the sensor"),
        ({"thermostat": OPEN}, ["thermostat"], "its sensing tube has lost its filling"),
        ({"thermostat-off": 0.3}, ["thermostat-off"], "contacts welded"),
        ({"defrost-heater": 720.0}, ["defrost-heater-power"], "part of it is open"),
        ({"defrost-heater": 250.0}, ["defrost-heater-power"], "turns touch"),
        ({"defrost-limiter": OPEN}, ["defrost-limiter"], "open while cold"),
        ({"protective-conductor": 2.0}, ["protective-conductor"], "broken strands in the cord"),
        ({"insulation": 0.2e6}, ["insulation"], "damp, dust, or damaged insulation"),
        ({"input-power": 190.0}, ["input-power"], "the compressor labours"),
    ],
    "safety-class-1": [
        ({"plug-dead": 60.0}, [], ""),
        ({"plug-dead-ac": 230.0}, [], ""),
        ({"cord-line": OPEN}, ["cord-line"], "a broken wire"),
        ({"cord-neutral": OPEN}, ["cord-neutral"], "line and neutral exchanged"),
        ({"polarity": "line and neutral are exchanged at the plug"}, [], ""),
        ({"protective-conductor": 0.9}, ["protective-conductor"], "a loose or corroded earth joint"),
        ({"insulation": 0.3e6}, ["insulation"], "damp or damaged insulation"),
        ({"insulation-unearthed": 1.1e6}, ["insulation-unearthed"], "a conductive path to a part that people touch"),
        ({"earth-current": 4.4e-3}, ["earth-current"], "insulation failing at mains voltage"),
        ({"earth-current-reversed": 4.4e-3}, ["earth-current-reversed"], "the larger of both polarities counts"),
    ],
    "safety-class-2": [
        ({"cord-line": OPEN}, ["cord-line"], "a broken wire"),
        ({"cord-neutral": OPEN}, ["cord-neutral"], "line and neutral exchanged"),
        ({"polarity": "line and neutral are exchanged at the plug"}, [], ""),
        ({"insulation": 1.2e6}, ["insulation"], "carbon dust"),
        ({"touch-current": 0.9e-3}, ["touch-current"], "a conductive path to a part that people touch"),
        ({"touch-current-reversed": 0.9e-3}, ["touch-current-reversed"], "the larger of both polarities counts"),
    ],
    "transformer": [
        ({"primary-to-secondary": 0.5e6}, ["primary-to-secondary"], "insulation between the windings broken"),
        ({"primary-to-core": 0.5e6}, ["primary-to-core"], "insulation to the core broken"),
        ({"secondary-to-core": 0.5e6}, ["secondary-to-core"], "insulation to the core broken"),
        ({"fed-primary": 3.1}, ["fed-primary"], "turns shorted"),
        ({"open-secondary": 0.011}, ["open-secondary"], "so many turns are shorted"),
        ({"open-secondary": 0.43}, ["voltage-ratio"], "turns are missing or shorted in one winding"),
        ({"protective-conductor": 2.0}, ["protective-conductor"], "broken strands in the cord"),
        ({"insulation": 0.5e6}, ["insulation"], "damp, dust, or damaged insulation"),
    ],
    "universal-motor": [
        ({"field-1": OPEN}, ["field-1"], "the field is bad"),
        ({"field-2": 14.0}, ["field-2"], "far from its twin"),
        ({"field-1": 1.5}, ["field-symmetry"], "turns shorted in the lower one"),
        ({"armature-1": OPEN}, ["armature-1"], "a coil or riser joint is broken"),
        ({"armature-2": 31.0}, ["armature-2"], "a coil or riser joint is broken"),
        ({"armature-3": 31.0}, ["armature-3"], "a coil or riser joint is broken"),
        ({"armature-2": 4.1}, ["armature-symmetry"], "an open coil or riser joint"),
        ({"armature-to-shaft": 0.2e6}, ["armature-to-shaft"], "carbon dust"),
        ({"field-to-frame": 0.2e6}, ["field-to-frame"], "broken insulation, or damp"),
        ({"discharge-resistor": OPEN}, ["discharge-resistor"], "the pins stay live after unplugging"),
        # 0.47 µF and 1 Mohm leave 38.7 V of 325 V after one second: over 34 V (computed in Python)
        ({"suppression-capacitor": 0.47e-6, "discharge-resistor": 1e6}, ["pins-after-1-s"], "resistor too large"),
        ({"suppression-capacitor": 0.2e-6}, ["suppression-capacitor"], "low, it is worn"),
        ({"protective-conductor": 2.0}, ["protective-conductor"], "broken strands in the cord"),
        ({"insulation": 0.5e6}, ["insulation"], "carbon dust"),
    ],
}  # fmt: skip
ROWS = [(name, *row) for name, rows in FAULTS.items() for row in rows]


def rests_on(read, step):
    """Every step that one waits for, and those that these wait for."""
    waits = set(step.needs)
    return waits.union(*(rests_on(read, read.step(key)) for key in waits)) if waits else waits


@pytest.mark.parametrize(
    ("name", "changes", "fails", "words"), ROWS, ids=[f"{row[0]}-{'-'.join(row[1])}-{i}" for i, row in enumerate(ROWS)]
)
def test_a_fault_shows_where_it_is_and_holds_back_what_rests_on_it(name, changes, fails, words):
    read, repairer = procedure(name), walked(name, changes)
    found = {key: v.outcome for key, v in repairer.verdicts.items() if v.outcome in ("fail", "undecided")}
    assert [key for key in found if not rests_on(read, read.step(key)) & set(found)] == fails
    assert {found[key] for key in fails} <= {"fail"}
    assert not fails or words in read.step(fails[0]).meaning
    unanswered = {key for key, v in changes.items() if isinstance(v, str) or read.step(key).kind is kinds.DEAD}
    wrong = {*found, *unanswered}
    assert not any(rests_on(read, read.step(key)) & wrong for key in repairer.opened)


def test_every_judged_step_fails_for_some_fault():
    """But for proofs whose failure is a charge, walked elsewhere."""
    shown = {(name, key) for name, _, fails, _ in ROWS for key in fails}
    judged = {
        (name, step.key)
        for name, (_, _, where) in SOUND_OF.items()
        for step in procedure(name).steps
        if is_judged(step, where) and step.kind not in (kinds.DEAD, kinds.LEADS)
    }
    assert judged - shown == set()


LOOKS = [
    (name, step.key)
    for name in FAULTS
    for step in procedure(name).steps
    if step.kind is kinds.LOOK and any(step.key in other.needs for other in procedure(name).steps)
]


@pytest.mark.parametrize(("name", "key"), LOOKS, ids=str)
def test_what_is_looked_at_and_not_well_holds_back_what_rests_on_it(name, key):
    read = procedure(name)
    repairer = walked(name, {key: "it is not"})
    resting = {step.key for step in read.steps if key in rests_on(read, step)}
    assert resting
    assert resting & set(repairer.opened) == set()


def test_a_rise_is_recorded():
    rise = walked("induction-motor").verdicts["winding-rise"]
    assert rise.value == pytest.approx(56.78, abs=0.05)  # the reference's fan motor, computed in Python


def test_without_the_class_the_insulation_is_not_judged_and_holds_mains_back():
    values, told, _ = SOUND_OF["fan-heater"]
    told = {name: text for name, text in told.items() if name != "protection class"}
    repairer = Repairer(procedure("fan-heater"), values, told).play()
    assert repairer.verdicts["insulation"].outcome == "not judged"
    assert repairer.verdicts["insulation"].why == "protection class is one of I, II, III, not 'protection class'."
    assert not {"mains-voltage", "input-power"} & set(repairer.opened)
