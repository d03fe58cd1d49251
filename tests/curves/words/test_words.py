"""Words are made of the engine's codes in one place, and nothing decides by a sentence."""

import ast
import re
from pathlib import Path
from string import Formatter

import pytest

from curves import engine
from curves.engine.codes import Code, warn
from curves.springs import load_tests
from curves.words import english
from curves.words.reader import Reader

ROOT = Path(engine.__file__).parents[2]
ENGINE = [path for path in Path(engine.__file__).parent.rglob("*.py") if path.name != "codes.py"]
UNITS = (  # a number says in its name what it is in, and of what a speed or an angle is
    r"(shaft|crank)_(rpm|deg)|crank_deg_per_\d+rpm|n|mm|n_per_mm|n_per_mm2|kpa|s|share|chance|count|times"
)
NAMED = {"run", "cylinders", "position", "quantity", "spring", "corner"}


def codes_in(tree):
    return {
        Code[node.attr]
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "Code"
    }


def warned():
    """Every warning that the engine's source makes: its code, and the names of its values."""
    for path in ENGINE:
        for function in ast.walk(ast.parse(path.read_text())):
            if not isinstance(function, ast.FunctionDef):
                continue
            chosen = {
                node.targets[0].id: codes_in(node.value)
                for node in ast.walk(function)
                if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
            }
            for call in ast.walk(function):
                if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "warn":
                    first = call.args[0]
                    codes = chosen[first.id] if isinstance(first, ast.Name) else codes_in(first)
                    for code in codes:
                        yield code, {keyword.arg for keyword in call.keywords}


WARNED = list(warned())


def placeholders(code):
    return {name for _, name, _, _ in Formatter().parse(english.SENTENCES[code]) if name} - {"load_unit"}


def sample(name):
    if name == "cylinders" or name.startswith("speeds_"):
        return (2, 4)
    if name.startswith("span_"):
        return (1.0, 4.5)
    return {"run": 1, "position": "primary", "quantity": "free_length", "corner": "knee", "spring": "P1"}.get(
        name, 0.5
    )


def test_every_code_has_a_sentence_and_is_warned_of():
    assert set(english.SENTENCES) == set(Code)
    assert {code for code, _ in WARNED} == set(Code)


@pytest.mark.parametrize(("code", "names"), WARNED, ids=lambda one: one if isinstance(one, str) else "")
def test_values_fill_their_sentence(code, names):
    assert names == placeholders(code)
    for reader in (Reader(), Reader("shaft"), Reader("crank", load_unit="gf", runs=("Trial 3",))):
        words = reader.words(warn(code, **{name: sample(name) for name in names}))
        assert "{" not in words
        assert words[-1] in ".?"


@pytest.mark.parametrize("name", sorted({name for _, names in WARNED for name in names} - NAMED))
def test_a_number_says_its_unit_and_frame(name):
    # Timing against pull or time comes in whichever frame it was tried in.
    tried = {name for code, names in WARNED if "BETTER" in code.name or "TRI" in code.name for name in names}
    assert re.search(f"_({UNITS})$", name) or (name in tried and name.endswith("_deg"))


def test_the_engine_warns_in_codes_alone():
    for path in ENGINE:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.AnnAssign) and getattr(node.target, "id", "") == "warnings":
                assert ast.unparse(node.annotation) == "tuple[EngineWarning, ...]", path


# What a person typed or a file holds is searched; and a database says in words alone that no room is left.
READ = {
    ("curves/readings/columns.py", "text"),
    ("curves/readings/csvfile.py", "text"),
    ("jobs/demo/suiting.py", "text"),  # the demo's own words
    ("jobs/demo/visit.py", "text"),  # the demo's own parts
    ("jobs/intake/forms.py", "text"),
    ("jobs/search/excerpts.py", "text"),
    ("shop/views/error_pages.py", "str(error).lower()"),
    ("shop/words.py", "text"),
}
SENTENCE = re.compile(r"str\(\w+\).*|(.*\.)?(text|words|messages?|sentence|error|refusal|refused|warning)")


def decided_by(tree):
    """What a module searches, splits or matches in."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.In | ast.NotIn):
            if isinstance(node.left, ast.Constant) and isinstance(node.left.value, str):
                yield ast.unparse(node.comparators[0])
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            subject, searched = ast.unparse(node.func.value), [ast.unparse(one) for one in node.args[:1]]
            is_minus = node.func.attr == "replace" and searched == ["'-'"]
            if node.func.attr in ("startswith", "endswith", "partition", "replace") and not is_minus:
                yield subject
            if node.func.attr in ("match", "fullmatch", "search", "sub", "findall", "finditer"):
                yield from (ast.unparse(argument) for argument in node.args)


def test_nothing_decides_by_a_sentence():
    found = {
        (path.relative_to(ROOT).as_posix(), subject)
        for room in ("curves", "jobs", "shop")
        for path in (ROOT / room).rglob("*.py")
        for subject in decided_by(ast.parse(path.read_text()))
        if SENTENCE.fullmatch(subject)
    }
    assert found == READ


def test_whoever_reads_is_told_in_their_frame_and_by_the_names_of_their_runs():
    mistyped = warn(
        Code.READING_MISTYPED, run=2, typed_shaft_deg=12.25, typed_shaft_rpm=900.0, others_shaft_deg=5.04
    )
    assert Reader("crank", runs=("As received", "Trial run 4")).words(mistyped) == (
        "Trial run 4: the reading of 24.5 crank degrees (12.25 distributor) at 1800 crank rpm "
        "(900 distributor) does not fit the others, which say 10.1 crank degrees (5.04 distributor). "
        "Mistyped? It was left out."
    )
    contradicts = warn(Code.RUN_CONTRADICTS, run=2, misfit_count=3, reading_count=8)
    assert Reader("shaft", runs=("As received", "Trial run 4")).words(contradicts).startswith("Trial run 4 ")
    two_stroke = Reader("crank", engine.Drive.two_stroke())
    snap = warn(Code.WEIGHTS_SNAP, run=1, span_shaft_deg=(-1.0, 4.5), speed_shaft_rpm=1200.0)
    assert two_stroke.words(snap) == (
        "Run 1: the weights snap from −1.0 to 4.5 crank degrees (−1.00 to 4.50 distributor) at "
        "1200 crank rpm (1200 distributor) and rest nowhere between."
    )
    strays = warn(Code.STRAY_KEPT, speed_shaft_rpm=800.0, advance_shaft_deg=4.0, offset_shaft_deg=1.5)
    assert "lies +1.5 distributor degrees (+3.0 crank) from the others" in Reader("shaft").words(strays)


def test_a_unit_that_stands_already_is_not_said_again():
    near = {"begin_crank_rpm": 950.0, "idle_crank_rpm": 800.0, "margin_crank_rpm": 150.0}
    words = Reader("shaft").words(warn(Code.BEGIN_NEAR_IDLE, **near, wanted_crank_rpm=200.0))
    assert words == (
        "Advance begins at 475 distributor rpm (950 crank), 75 above idle at 400: less than the 100 wanted. "
        "Idle may hunt."
    )


def test_without_a_frame_each_number_is_told_as_it_comes():
    suspected = warn(Code.VACUUM_SUSPECTED, speeds_crank_rpm=(1600.0, 2000.0), above_crank_deg=12.0)
    assert (
        Reader()
        .words(suspected)
        .startswith("The readings at 1600, 2000 crank rpm lie 12.0 crank degrees above the others: ")
    )


@pytest.mark.parametrize(
    ("unit", "load"), [("N", "4.90332"), ("gf", "500"), ("kgf", "0.5"), ("lbf", "1.10231")]
)
def test_a_load_is_told_in_the_testers_unit(unit, load):
    # NIST SP 811, App. B.8: 1 kgf = 9.806 65 N, 1 lbf = 4.448 222 N.
    misfits = warn(Code.LOAD_MISFITS, load_n=0.5 * 9.80665, length_mm=26.0)
    assert f"The load of {load} {unit} at 26 mm " in Reader(load_unit=unit).words(misfits)


@pytest.mark.parametrize(("places", "words"), [((3,), "cylinder 3"), ((2, 4), "cylinders 2 and 4")])
def test_every_cylinder_is_named(places, words):
    off = warn(Code.SPARKS_OFF_STEADILY, cylinders=places)
    assert f"by more than the limit: {words} in firing order;" in Reader().words(off)


@pytest.mark.parametrize("code", [Code.TOTAL_OVER_LIMIT, Code.MORE_IS_BETTER, Code.BEST_BEYOND_TRIES])
def test_more_advance_comes_with_its_caution(code):
    assert "retarded side and listen" in english.SENTENCES[code]
    assert "detonation" in english.SENTENCES[code]


@pytest.mark.parametrize(
    ("chance", "words"), [(0.999, "over 99 %"), (0.99, "99 %"), (0.5, "50 %"), (0.001, "under 1 %")]
)
def test_a_chance_is_never_none_and_never_certain(chance, words):
    assert english.in_percent(chance) == words


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ([(60.0, 10.0), (60.0, 11.0)], "It takes loads at two different lengths"),
        ([(60.0, 20.0), (64.0, 10.0)], "The load does not rise with the length"),
        ([(60.0, 10.0), (60.1, 500.0)], "The load rises by 4900 N/mm, and no spring by more than 1000"),
        (
            [(60.0, 0.0), (50.0, 10.0), (70.0, 20.0)],
            "A spring pulls at 50 mm, below its free length of 60 mm",
        ),
        ([(10.0, 100.0), (20.0, 100.5)], "would leave a free length of -1990 mm"),
    ],
)
def test_pairs_that_make_no_spring_are_refused_in_words_of_the_bench(pairs, words):
    found = load_tests.fitted(pairs)
    assert found.test is None
    assert words in found.refused
    assert "_" not in found.refused  # no argument of the engine's
