"""Reading shop and job files: units, priors, readings, and every mistake with its place."""

import math
from pathlib import Path

import numpy as np
import pint
import pytest
import scipy.constants
import scipy.optimize

from vatwright.errors import InputError
from vatwright.files import priors, schema
from vatwright.files.mistakes import MOST_TOLD
from vatwright.files.parts.mesh import UNITS
from vatwright.files.read import MAX_BYTES, Given, read_file, read_job, read_shop, read_text
from vatwright.quantities import LENGTH_UNITS
from vatwright.records.machine import Backing, Obeys, Rule
from vatwright.records.process import QUANTITY_NAMES
from vatwright.records.sourced import NORMAL_95, Kind

UNITS_REGISTRY = pint.UnitRegistry()
MACHINE = '[[machine]]\nname = "Wren"\nheight_mm = 165\nplatform = { width_mm = 150, depth_mm = 92 }\n'
RECIPE = """
[[resin]]
name = "slate"
[[recipe]]
name = "slate on Wren"
machine = "Wren"
resin = "slate"
layer_mm = 0.05
base_layers = 4
[recipe.base]
exposure_s = 30
settle_s = 30
[recipe.body]
exposure_s = 2.6
peel_lift_mm = 2
peel_speed_mm_s = 1
clear_speed_mm_s = 3
return_speed_mm_s = 3
[recipe.proven]
runs = 11
room_c = 22
"""
JOB = '[job]\nrecipe = "slate on Wren"\nto = "Wren"\nroom_c = 18\n'
PART = '[[part]]\nfile = "lamp.stl"\nunit = "mm"\n'


@pytest.fixture
def write(tmp_path):
    (tmp_path / "lamp.stl").touch()

    def to(name, text):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return to


def machine(write, extra=""):
    return read_shop(write("shop.toml", MACHINE + extra)).machines[0]


def mistakes(read, *args, **kwargs):
    with pytest.raises(InputError) as caught:
        read(*args, **kwargs)
    return caught.value.mistakes


def told(found):
    """Mistakes as (line, sentence) with the folder taken off."""
    return [(Path(m.where).name.rpartition(":")[2], m.what, m.do) for m in found]


# --- what it reads ---


def test_a_machine_needs_no_more_than_a_name_and_two_sizes(write):
    m = machine(write)
    assert (m.platform.width_m, m.platform.depth_m, m.height_m) == (0.15, 0.092, 0.165)
    assert m.window.width_m == pytest.approx(0.15 + 2 * 0.015)
    assert m.vat.width_m > m.window.width_m > m.platform.width_m
    assert m.film.backing == Backing.GLASS
    priors_used = [
        m.stiffness_n_m,
        m.ceiling_n,
        m.film.tension_n_m,
        m.light.irradiance_w_m2,
        m.motion.acceleration_m_s2,
    ]
    assert {s.kind for s in priors_used} == {Kind.ESTIMATE}
    assert {s.source for s in priors_used} == {"estimate:vatwright"}


def test_what_is_taken_for_granted_can_be_asked_for(write):
    shop = read_shop(write("shop.toml", MACHINE + "window = { width_mm = 176, depth_mm = 112 }\n"))
    sentences = shop.machines[0].assumed
    assert [s.split(":")[0] for s in sentences] == [
        "vat", "film.backing", "film.thickness_um", "film.material", "light",
    ]  # fmt: skip
    assert all("engineering estimate" in s for s in sentences)


def test_the_priors_of_stiffness_and_ceiling_are_what_the_engineering_estimate_says():
    # engineering estimate, no source: median 2.5e5 N/m, a factor 2 either way; 150 to 400 N
    assert (priors.STIFFNESS.low, priors.STIFFNESS.high) == (1.25e5, 5e5)
    assert priors.CEILING.value == pytest.approx(math.sqrt(150 * 400), rel=1e-3)
    assert priors.TENSION.value == pytest.approx(math.sqrt(300 * 2500), rel=1e-3)


UNIT_CASES = [
    ("stiffness_N_mm = 240", "", 240, "N/mm", "N/m", lambda m: m.stiffness_n_m.value),
    ("ceiling_N = 200", "", 200, "N", "N", lambda m: m.ceiling_n.value),
    ("screen_force_N = 900", "", 900, "N", "N", lambda m: m.screen_force_n),
    ("level_sigma_um = 12", "", 12, "um", "m", lambda m: m.level_sigma_m),
    ("thickness_um = 125", "film", 125, "um", "m", lambda m: m.film.thickness_m),
    ("modulus_MPa = 480", "film", 480, "MPa", "Pa", lambda m: m.film.modulus_pa),
    ("tension_N_m = 700", "film", 700, "N/m", "N/m", lambda m: m.film.tension_n_m.value),
    ("irradiance_mW_cm2 = 3.1", "light", 3.1, "mW/cm**2", "W/m**2", lambda m: m.light.irradiance_w_m2.value),
    ("dimmest_percent = 88", "light", 88, "percent", "", lambda m: m.light.dimmest),
    ("acceleration_mm_s2 = 90", "motion", 90, "mm/s**2", "m/s**2", lambda m: m.motion.acceleration_m_s2.value),
    ("fastest_mm_s = 12", "motion", 12, "mm/s", "m/s", lambda m: m.motion.fastest_m_s),
    ("overhead_s = 0.7", "controller", 0.7, "s", "s", lambda m: m.controller.overhead_s),
    ("peel_speed_mm_s = { obeys = 'yes', max = 5 }", "controller", 5, "mm/s", "m/s",
     lambda m: m.controller.rules["peel_speed_mm_s"].maximum),
    ("layer_mm = { obeys = 'yes', step = 0.01 }", "controller", 0.01, "mm", "m",
     lambda m: m.controller.rules["layer_mm"].step),
]  # fmt: skip


@pytest.mark.parametrize(("line", "table", "value", "unit", "si", "got"), UNIT_CASES, ids=[c[0] for c in UNIT_CASES])
def test_machine_keys_convert_as_pint_converts_their_units(write, line, table, value, unit, si, got):
    text = MACHINE + (f"[machine.{table}]\n{line}\n" if table else f"{line}\n")
    expected = UNITS_REGISTRY.Quantity(value, unit).to(si).magnitude
    assert got(read_shop(write("shop.toml", text)).machines[0]) == pytest.approx(expected, rel=1e-14)


def test_resin_keys_convert_as_pint_converts_their_units(write):
    text = """[[resin]]
name = "slate"
density_g_cm3 = 1.12
viscosity = [{ temperature_c = 25, viscosity_mPa_s = 250, sigma_mPa_s = 9 }]
curve = { Dp_um = 150, Ec_mJ_cm2 = { value = 8, low = 6, high = 11 } }
cure = [{ dose_mJ_cm2 = 20, depth_um = 137 }]
"""
    resin = read_shop(write("shop.toml", text)).resins[0]
    q = UNITS_REGISTRY.Quantity
    assert resin.viscosity[0].temperature_k == q(25, "degC").to("K").magnitude
    assert resin.viscosity[0].viscosity_pa_s == pytest.approx(q(250, "mPa*s").to("Pa*s").magnitude)
    assert resin.viscosity[0].sigma_pa_s == pytest.approx(q(9, "mPa*s").to("Pa*s").magnitude)
    assert resin.density_kg_m3 == pytest.approx(q(1.12, "g/cm**3").to("kg/m**3").magnitude)
    assert resin.curve.critical_j_m2.high == pytest.approx(q(11, "mJ/cm**2").to("J/m**2").magnitude)
    assert resin.cure_readings[0].dose_j_m2 == pytest.approx(q(20, "mJ/cm**2").to("J/m**2").magnitude)
    assert resin.cure_readings[0].depth_m == pytest.approx(q(137, "um").to("m").magnitude)


def test_a_bare_number_is_a_statement_and_a_sigma_makes_it_a_reading(write):
    m = machine(write, "stiffness_N_mm = { value = 200, sigma = 20 }\nfilm = { tension_N_m = 1000 }\n")
    assert (m.film.tension_n_m.kind, m.film.tension_n_m.low, m.film.tension_n_m.high) == (
        Kind.STATEMENT, pytest.approx(1000 / 1.2), pytest.approx(1200),
    )  # fmt: skip
    assert m.stiffness_n_m.kind == Kind.READING
    assert m.stiffness_n_m.spread == pytest.approx(0.1, rel=0.01)  # small sigma: relative spread of a lognormal


@pytest.mark.parametrize(
    ("light", "kind", "factor", "meter"),
    [
        ("", Kind.ESTIMATE, 1.5, ""),
        ("irradiance_mW_cm2 = 3", Kind.STATEMENT, 1.15, ""),
        ('irradiance_mW_cm2 = 3\nread_with = "my meter"', Kind.READING, 1.05, "my meter"),
    ],
)
def test_irradiance_is_trusted_by_how_it_was_come_by(write, light, kind, factor, meter):
    found = machine(write, f"[machine.light]\n{light}\n").light
    assert (found.irradiance_w_m2.kind, found.meter) == (kind, meter)
    assert found.irradiance_w_m2.high / found.irradiance_w_m2.value == pytest.approx(factor)
    assert found.irradiance_w_m2.value == pytest.approx(30.0)


def test_light_readings_give_the_mean_and_the_extremes(write):
    spots = [3.0, 2.4, 3.3, 2.9]
    places = [(-20, -20), (20, -20), (20, 20), (-20, 20)]
    rows = "".join(
        f"{{ x_mm = {x}, y_mm = {y}, irradiance_mW_cm2 = {s} }}," for (x, y), s in zip(places, spots, strict=True)
    )
    light = machine(write, f'light = {{ read_with = "my meter", reading = [{rows}] }}\n').light
    mean = light.irradiance_w_m2.value / 10
    assert min(spots) < mean < max(spots)
    assert (light.dimmest, light.brightest) == pytest.approx((2.4 / mean, 3.3 / mean))
    assert [r.irradiance_w_m2 for r in light.readings] == pytest.approx([30.0, 24.0, 33.0, 29.0])


def test_dial_readings_give_stiffness_as_weighted_least_squares_does(write):
    loads_kg, gave_um, sigma_um = [1.0, 2.0, 5.0], [41.0, 83.0, 210.0], [5.0, 5.0, 10.0]
    rows = "".join(
        f"{{ load_kg = {f}, deflection_um = {d}, sigma_um = {s} }},"
        for f, d, s in zip(loads_kg, gave_um, sigma_um, strict=True)
    )
    k = machine(write, f"dial = [{rows}]\n").stiffness_n_m
    force = np.array(loads_kg) * scipy.constants.g
    (compliance,), ((variance,),) = scipy.optimize.curve_fit(
        lambda f, c: c * f, force, np.array(gave_um) * 1e-6, p0=[5e-6], sigma=np.array(sigma_um) * 1e-6,
        absolute_sigma=True,
    )  # fmt: skip
    assert k.value == pytest.approx(1 / compliance, rel=1e-6)
    assert k.spread == pytest.approx(math.sqrt(variance) / compliance, rel=0.01)
    assert k.kind == Kind.READING


def test_dial_readings_that_disagree_widen_the_range(write):
    def spread(second):
        rows = f"{{ load_N = 50, deflection_um = 200 }}, {{ load_N = 50, deflection_um = {second} }}"
        return machine(write, f"dial = [{rows}]\n").stiffness_n_m.spread

    # Birge's ratio of two equal-weight readings d apart is |d| / (sqrt(2) sigma): 80 / (sqrt(2) 10) = 5.66
    assert spread(280) / spread(200) == pytest.approx(80 / (math.sqrt(2) * 10) * 200 / 240, rel=0.02)


def test_a_timed_stroke_gives_the_acceleration_of_the_trapezoid(write):
    # closed form: 60 mm at 10 mm/s and 100 mm/s2 take 60/10 + 10/100 = 6.1 s
    stroke = "stroke = { distance_mm = 60, speed_mm_s = 10, time_s = 6.1, sigma_s = 0.005 }"
    a = machine(write, f"[machine.motion]\n{stroke}\n").motion.acceleration_m_s2
    assert a.value == pytest.approx(0.1)
    assert math.log(a.high / a.low) / (2 * NORMAL_95) == pytest.approx(0.05, rel=0.01)  # 0.005 s of 0.1 s


def test_a_stroke_that_says_less_than_the_prior_leaves_the_prior(write):
    stroke = "stroke = { distance_mm = 5, speed_mm_s = 1, time_s = 5.0, sigma_s = 0.2 }"
    assert machine(write, f"[machine.motion]\n{stroke}\n").motion.acceleration_m_s2 == priors.ACCELERATION


def test_film_materials_have_the_moduli_of_the_tables(write):
    # ETFE 1100 MPa: published for architectural foil; FEP 480 (345 to 550) and PFA 530 (480 to 580): from memory
    for material, low, high in (("ETFE", 800, 1100), ("FEP", 345, 550), ("PFA", 480, 580)):
        film = machine(write, f'film = {{ material = "{material}" }}\n').film
        assert low <= film.modulus_pa / 1e6 <= high


def test_controller_short_form_and_tables(write):
    text = """[machine.controller]
settle_s = "shared"
soak_s = "no"
peel_lift_mm = { obeys = "no", fixed = 5 }
"base.layers" = { obeys = "yes", max = 10, step = 1 }
ramp_covers = ["exposure_s", "settle_s"]
"""
    controller = machine(write, text).controller
    assert controller.rule("base.settle_s") == Rule(obeys=Obeys.SHARED)
    assert controller.rule("body.soak_s").fixed == 0.0
    assert controller.rule("body.peel_lift_mm").fixed == 0.005
    assert controller.rule("base.layers").maximum == 10.0
    assert controller.ramp_covers == ("exposure_s", "settle_s")


def test_every_quantity_of_a_recipe_can_have_a_rule_and_a_value():
    rules = {f.alias or n for n, f in schema.table_of("machine.controller").model_fields.items()} - {
        "overhead_s",
        "ramp_covers",
    }
    assert rules == {*QUANTITY_NAMES, "base.layers", "ramp.layers", "layer_mm"}
    assert (
        set(schema.table_of("recipe.base").model_fields)
        == set(schema.table_of("recipe.body").model_fields)
        == set(QUANTITY_NAMES)
    )


def test_part_units_are_those_the_mesh_reader_knows():
    assert set(LENGTH_UNITS) == set(UNITS)


def test_base_values_that_are_missing_are_the_bodys(write):
    recipe = read_shop(write("shop.toml", MACHINE + RECIPE)).recipes[0]
    base, body = recipe.settings.base, recipe.settings.body
    assert (base.exposure_s, base.settle_s, body.settle_s) == (30.0, 30.0, 0.0)
    assert (base.peel_lift_m, base.return_speed_m_s) == (body.peel_lift_m, body.return_speed_m_s)
    assert recipe.settings.layer_nm == 50_000


def test_shop_is_the_argument_before_the_jobs_own_before_the_one_beside(write, tmp_path):
    job = write("job.toml", JOB + PART)
    write("shop.toml", MACHINE + RECIPE)
    other = write("other.toml", (MACHINE + RECIPE).replace("165", "200"))
    third = write("third.toml", (MACHINE + RECIPE).replace("165", "300"))
    named = write("named.toml", JOB + 'shop = "other.toml"\n' + PART)
    assert read_job(job).target.height_m == 0.165
    assert read_job(named).target.height_m == 0.2
    assert read_job(named, shop_path=third).target.height_m == 0.3
    assert read_job(job, shop_path=str(other)).target.height_m == 0.2


def test_a_jobs_own_tables_stand_before_the_shops(write):
    write("shop.toml", MACHINE + RECIPE)
    job = read_job(write("job.toml", JOB + PART + MACHINE.replace("165", "120")))
    assert job.origin.height_m == 0.12


def test_to_can_be_given_from_outside(write):
    write("shop.toml", MACHINE + MACHINE.replace("Wren", "Heron") + RECIPE)
    job = write("job.toml", JOB + PART)
    assert read_job(job, to="Heron").target.name == "Heron"
    [m] = mistakes(read_job, job, to="Hern")
    assert (m.where, m.what, m.do) == ("to", 'there is no machine "Hern"', 'Perhaps "Heron" is meant')


def test_part_paths_count_from_the_file_and_know_their_line(write, tmp_path):
    write("shop.toml", MACHINE + RECIPE + '[[recipe.proven.part]]\nfile = "lamp.stl"\nunit = "mm"\ncount = 6\n')
    job = read_job(write("job.toml", JOB + PART + "places = [{ x_mm = 5 }, { y_mm = -5, turn_deg = 90 }]\n"))
    [part] = job.parts
    assert part.file == str(tmp_path / "lamp.stl")
    assert (part.name, part.count, part.places[1].y_m) == ("lamp", 2, -0.005)
    assert part.where == f"{tmp_path / 'job.toml'}:6"
    assert job.recipe.proof.parts[0].count == 6


def test_windows_line_ends_and_byte_order_mark_are_read(write, tmp_path):
    path = tmp_path / "shop.toml"
    path.write_bytes(b"\xef\xbb\xbf" + MACHINE.replace("\n", "\r\n").encode() + b"widht = 3\r\n")
    assert told(mistakes(read_shop, path))[0][0] == "5"


# --- what it refuses ---


def test_every_mistake_of_both_files_is_reported_at_once(write):
    write(
        "shop.toml",
        """[[machine]]
name = "Wren"
height_mm = nan
stiffness_N_m = 3
[machine.platform]
width_mm = 2000
[machine.film]
backing = "glas"
[[machine]]
name = "Wren"
height_mm = 100
platform = { width_mm = 100, depth_mm = -3 }
[[recipe]]
name = "r"
machine = "Wrenn"
resin = "slate"
layer_mm = 500
base_layers = 4
base = { exposure_s = 3 }
body = { exposure_s = 3, peel_lift_mm = 2 }
proven = { runs = 3, failed = 4, room_c = 20 }
""",
    )
    found = mistakes(
        read_job,
        write(
            "job.toml",
            """[job]
recipe = "q"
room_c = "cold"
[[part]]
file = "gone.stl"
count = "two dozen"
""",
        ),
    )
    lines = [(Path(m.where).name, m.what) for m in found]
    assert lines == [
        ("job.toml:3", "job.room_c is the text 'cold', a number in °C is wanted"),
        ("job.toml:4", 'part "gone.stl": unit is missing, and files of this kind do not say it'),
        ("job.toml:6", "part \"gone.stl\": count is the text 'two dozen', a number is wanted"),
        ("shop.toml:3", 'machine "Wren": height_mm is NaN, which no measurement gives'),
        ("shop.toml:4", "machine \"Wren\" has an unknown key 'stiffness_N_m'"),
        ("shop.toml:5", 'machine "Wren": platform has no depth_mm'),
        ("shop.toml:6", 'machine "Wren": platform.width_mm is 2000 mm, outside 10 to 1000 mm'),
        ("shop.toml:8", "machine \"Wren\": film.backing is the text 'glas'"),
        ("shop.toml:12", 'machine "Wren": platform.depth_mm is -3 mm, outside 10 to 1000 mm'),
        ("shop.toml:17", 'recipe "r": layer_mm is 500 mm, outside 0.001 to 1 mm'),
        ("shop.toml:20", 'recipe "r": body has no clear_speed_mm_s'),
        ("shop.toml:20", 'recipe "r": body has no peel_speed_mm_s'),
        ("shop.toml:20", 'recipe "r": body has no return_speed_mm_s'),
        ("shop.toml:21", 'recipe "r": proven.failed is 4 of 3 runs'),
        ("shop.toml:10", 'machine "Wren" is already on line 2'),
        ("job.toml:1", "job has no to"),
        ("shop.toml:15", 'recipe "r": there is no machine "Wrenn"'),
        ("shop.toml:16", 'recipe "r": there is no resin "slate"'),
        ("job.toml:2", 'job.recipe: there is no recipe "q"'),
    ]
    assert all(m.do for m in found)


@pytest.mark.parametrize(
    ("extra", "line", "what", "do"),
    [
        ("widht_mm = 3\n", "5", "unknown key", "Perhaps height_mm is meant"),
        ("[machine.platfrom]\n", "5", "unknown key", "Perhaps platform is meant"),
        ("irradiance_mW_cm2 = 3\n", "5", "unknown key", "It belongs in [machine.light]"),
        ("zebra = 3\n", "5", "unknown key", "Take it out, or use one of: name, height_mm"),
        ("ceiling_N = inf\n", "5", "Infinity", "finite"),
        ("ceiling_N = true\n", "5", "is true, a number in N is wanted", "digits"),
        ("ceiling_N = 2024-01-01\n", "5", "the date or time", "digits"),
        ("ceiling_N = { value = 200, low = 250, high = 300 }\n", "5", "with the range 250 to 300", "low <= value"),
        ("ceiling_N = { value = 200, low = 150 }\n", "5", "one end of a range", "both"),
        ("ceiling_N = { value = 200, sigm = 20 }\n", "5", "unknown key 'sigm'", "Perhaps sigma is meant"),
        ("ceiling_N = 9e99999999999999999999\n", "5", "Infinity", "finite"),
        ("dial = [{ load_kg = 2, load_N = 20, deflection_um = 50 }]\n", "5", "wants one load", "load_kg or load_N"),
        ("stiffness_N_mm = 2\ndial = [{ load_N = 20, deflection_um = 50 }]\n", "6", "stands beside", "Keep one"),
        ("vat = { width_mm = 100, depth_mm = 100 }\n", "5", "too small for the platform", "Measure again"),
        ("window = 5\n", "5", "a table is wanted", "example"),
        ("film = { tension_N_m = 6615 }\n", "5", "100 um of 480 MPa yield at about 1200 N/m", "Check the reading"),
        ("level = { x_mm = 1, y_mm = 1, gap_um = 1 }\n", "5", "a list is wanted", "[[machine.level]]"),
        ('[machine.light]\nread_with = "m"\n', "6", "nothing was read", "irradiance_mW_cm2"),
        ("[machine.controller]\nsettle_s = 'sharred'\n", "6", "'sharred'", 'Write "shared"'),
        ("[machine.controller]\npeel_lift_mm = 'no'\n", "6", "does not say what the machine does instead", "fixed = 5"),
        ("[machine.controller]\nramp_covers = ['exposur_s']\n", "6", "'exposur_s'", 'Write "exposure_s"'),
        (
            "[machine.motion]\nstroke = { distance_mm = 9, speed_mm_s = 1, time_s = 2 }\n",
            "6",
            "9.00 s at least",
            "again",
        ),
        ("[machine.platform.opening]\n", "5", "not valid TOML", ""),
    ],
)
def test_a_mistake_in_a_machine_has_its_line_its_value_and_a_remedy(write, extra, line, what, do):
    [(found_line, found_what, found_do)] = told(mistakes(read_shop, write("shop.toml", MACHINE + extra)))
    assert found_line == line
    assert what in found_what
    assert do in found_do


@pytest.mark.parametrize(
    ("text", "line", "do"),
    [
        ("[job]\nroom_c = 18,5\n", "2", "decimal point"),
        ("[job]\nname = harbour lanterns\n", "2", "double quotes"),
        ("[job]\nroom_c = 18 C\n", "2", "number alone"),
        ('[[part]]\nfile = "C:\\parts\\lamp.stl"\n', "2", "Use / and not"),
        ("[job]\nname = \n", "2", "behind the equals sign"),
        ("[job]\nlanterns\n", "2", "key = value"),
        ('[machine]\nname = "a"\n[machine]\nname = "b"\n', "3", "[[double brackets]]"),
        ("[job\n", "1", "brackets"),
    ],
)
def test_broken_toml_is_told_with_its_line_and_a_remedy(write, text, line, do):
    found = told(mistakes(read_job, write("job.toml", text)))
    assert found[0][0] == line
    assert "not valid TOML" in found[0][1]
    assert do in found[0][2]
    assert len(found) == 1  # names that could not be read are not called unknown


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"\xff\xfe[job]", "not UTF-8"),
        (b"#" * (MAX_BYTES + 1), "larger than 2 MB"),
        (b"x = " + b"[" * 50_000, "brackets inside brackets"),
        (b"x = " + b"9" * 50_000, "far too long"),
    ],
)
def test_hostile_files_are_refused(tmp_path, data, what):
    path = tmp_path / "shop.toml"
    path.write_bytes(data)
    [m] = mistakes(read_shop, path)
    assert what in m.what


def test_missing_files_and_folders_are_told(write, tmp_path):
    assert "no such file" in mistakes(read_shop, tmp_path / "gone.toml")[0].what
    assert "is a folder" in mistakes(read_shop, tmp_path)[0].what
    job = write("job.toml", JOB + 'shop = "gone.toml"\n' + PART.replace("lamp", "gone"))
    assert [(line, what.replace(str(tmp_path), "")) for line, what, _ in told(mistakes(read_job, job))] == [
        ("5", 'job.shop: there is no shop file "/gone.toml"'),
        ("7", 'there is no part file "/gone.stl"'),
    ]
    assert (
        "no part file"
        in mistakes(read_job, write("j.toml", JOB + MACHINE + RECIPE + PART.replace("lamp", "l" * 300)))[0].what
    )


def test_a_job_without_any_shop_says_what_to_add(write):
    found = told(mistakes(read_job, write("job.toml", JOB + PART)))
    assert found[0] == (
        "2", 'job.recipe: there is no recipe "slate on Wren"',
        "Add a [[recipe]] table of that name, or name a shop file that has one",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("extra", "line", "what"),
    [
        ("count = 2.5\n", "8", "a whole number is wanted"),
        ("count = 0\n", "8", "outside 1 to 10000"),
        ("count = 3\nplaces = [{ x_mm = 1 }]\n", "9", "has 1 for 3 pieces"),
        ("count = 3\nas_drawn = true\n", "9", "all pieces in one spot"),
        ("unit = 'furlong'\n", None, "not valid TOML"),
        ("as_drawn = 'yes'\n", "8", "true or false is wanted"),
        ("places = [{ x = 1 }]\n", "8", "unknown key 'x'"),
    ],
)
def test_mistakes_in_parts(write, extra, line, what):
    write("shop.toml", MACHINE + RECIPE)
    found = told(mistakes(read_job, write("job.toml", JOB + PART + extra)))
    assert len(found) == 1
    assert what in found[0][1]
    assert line in (None, found[0][0])


def test_a_folder_of_bitmaps_needs_a_pixel_size(write, tmp_path):
    (tmp_path / "layers").mkdir()
    write("shop.toml", MACHINE + RECIPE)
    part = '[[part]]\nfile = "layers"\n'
    assert "pixel size" in mistakes(read_job, write("job.toml", JOB + part))[0].what
    assert read_job(write("job.toml", JOB + part + "pixel_mm = 0.05\n")).parts[0].pixel_m == 5e-5


# --- the bundled examples ---

DEMO = Path(__file__).parents[2] / "demo"


def test_the_demo_shop_is_the_workshop_of_the_story():
    shop = read_shop(DEMO / "shop.toml")
    wren, heron, albatross = shop.machines
    assert [m.name for m in shop.machines] == ["Wren", "Heron", "Albatross"]
    areas = [m.platform.width_m * m.platform.depth_m for m in shop.machines]
    # common practice, no source: a large platform has about four times the area of a compact one
    assert areas[0] < areas[1] < areas[2]
    assert areas[2] / areas[0] == pytest.approx(4, rel=0.2)
    assert wren.light.meter == albatross.light.meter != heron.light.meter
    assert albatross.light.irradiance_w_m2.value / wren.light.irradiance_w_m2.value == pytest.approx(0.9)
    assert albatross.controller.rule("body.settle_s").live
    assert len(albatross.platform.openings) > 3
    assert len(shop.resins[0].cure_readings) >= 2


@pytest.mark.parametrize("name", ["harbour-lanterns.toml", "chess-bishops.toml"])
def test_the_demo_jobs_read(tmp_path, name):
    (tmp_path / "parts").mkdir()
    for part in ("lantern", "lantern-base", "cup", "bishop", "lamp-bracket"):
        (tmp_path / "parts" / f"{part}.stl").touch()  # the parts themselves are made by a script
    for file in (name, "shop.toml"):
        (tmp_path / file).write_text((DEMO / file).read_text(encoding="utf-8"), encoding="utf-8")
    job = read_job(tmp_path / name)
    assert job.origin.name == "Wren"
    assert job.target.name != "Wren"
    assert job.recipe.proof.runs == 11


def test_of_very_many_mistakes_the_first_are_told_and_the_rest_counted(write):
    """Twenty thousand unknown keys: as much time as reading them, not as comparing each with every known one."""
    told = mistakes(machine, write, "".join(f"colour_{n} = {n}\n" for n in range(20_000)))
    assert len(told) == MOST_TOLD + 1
    assert "colour_0" in told[0].what
    assert told[-1].what == f"has {20_000 - MOST_TOLD} more mistakes"


def test_data_has_the_mistakes_of_the_file_that_says_the_same_without_its_lines():
    text = """
[job]
recipe = "slate on Wren"
room_c = 180.0
visits = 2.5
colour = "red"
[[part]]
file = "lantern.stl"
"""
    data = {
        "job": {"recipe": "slate on Wren", "room_c": 180.0, "visits": 2.5, "colour": "red"},
        "part": [{"file": "lantern.stl"}],
    }
    written = read_text(Path("job.toml"), text, schema.JobFile).mistakes
    given = read_file(Given("this job", data), schema.JobFile).mistakes
    assert {(m.what, m.do) for m in given} == {(m.what, m.do) for m in written}
    assert len(given) == 4
    assert {m.where for m in given} == {"this job"}


def test_mistakes_in_data_speak_of_what_the_page_calls_its_keys():
    table = {"name": "slate", "viscosity": [{"temperature_c": 25, "viscosity_mPa_s": 9e9}], "curve": {"Dp_um": 150}}
    labels = {"resin": {"viscosity.0.viscosity_mPa_s": "First viscosity", "curve.Ec_mJ_cm2": "Critical dose"}}
    found = read_file(Given("the resin", {"resin": [table]}, labels), schema.ShopFile).mistakes
    assert [(m.where, m.what) for m in found] == [
        ("the resin", 'resin "slate": First viscosity is 9000000000 mPa.s, outside 1 to 100000 mPa.s'),
        ("the resin", 'resin "slate" has no Critical dose'),
    ]
