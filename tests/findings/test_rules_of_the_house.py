"""Every finding is held to the rules of the house: what it must say, and must never suggest."""

import ast
import importlib
import re
from pathlib import Path

import pytest

import pipeline.findings
from pipeline.findings import _cautions, rules
from pipeline.findings._base import WALK, Weight
from pipeline.thresholds import THRESHOLDS

HEADINGS = ("What it says", "Why it matters", "What looks like it but is not", "Source")
FOLDER = Path(pipeline.findings.__file__).parent
RULES = {r.code: r for r in rules()}
CAUTIONS = {
    name: value for name, value in vars(_cautions).items() if name.isupper() and name != "__doc__"
}

# Words that touch something that can hurt, and the cautions one of which must stand beside them.
TOUCHES = {
    r"\blimits?\b|\btrips?\b|\btripped\b": ("LIMIT", "LOW_LIMIT", "OWN_LIMIT"),
    r"\bgas\b|\bflame|\bignit|\bfiring\b|\bburner\b": ("GAS", "CARBON_MONOXIDE", "OWN_LIMIT"),
    r"\brefrigerant\b": ("REFRIGERANT",),
    r"\bcompressor\b|\b24 V\b|\bwires?\b|\brelays?\b|\bjumper\b": (
        "ELECTRICITY",
        "LOW_LIMIT",
        "OWN_LIMIT",
        "RELIEF",
    ),
    r"\bice\b|\biced\b|\bicing\b|\bfreez": ("ICE",),
    r"\bcarbon monoxide\b|\bCO\b": ("CARBON_MONOXIDE",),
    r"\brelief\b": ("RELIEF", "LIMIT", "OWN_LIMIT", "LOW_LIMIT"),
}
SAFETY = r"limits?|switch(es)?|floats?|safet(y|ies)|sensors?|rollout|interlocks?"
DEFEAT = (
    r"rais\w*|increas\w*|jumper\w*|bypass\w*|defeat\w*|tap(e|ing) over|disconnect\w*|wedg\w*|"
    r"disabl\w*|short(ing)? out|overrid\w*|hotter"
)
NEGATED = re.compile(r"\b(do not|don't|never|no|not|nor|none|without)\b", re.IGNORECASE)


def own_texts(code):
    """Every text of a declaration, as a reader may get it."""
    d = RULES[code].declaration
    texts = [d.title, d.question, *d.cautions, *d.confused_with]
    for cause in d.causes:
        texts += [cause.text, cause.when, cause.not_it]
    for check in d.check_next:
        texts += [check.how, check.good, check.bad]
    return [t for t in texts if t]


def string_literals(code):
    """Every string in the module, docstrings and f-string pieces included."""
    path = FOLDER / f"{code.replace('-', '_')}.py"
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]


@pytest.fixture(params=sorted(RULES))
def code(request):
    return request.param


def test_docstring_has_its_headings_in_order(code):
    doc = importlib.import_module(f"pipeline.findings.{code.replace('-', '_')}").__doc__
    places = [doc.index(f"\n{heading}\n") for heading in HEADINGS]
    assert places == sorted(places)


def test_has_cause_check_and_source(code):
    d = RULES[code].declaration
    assert d.causes
    assert d.check_next
    assert d.source
    assert d.question.endswith("?")
    assert all(cause.when.endswith(".") for cause in d.causes)
    assert all(check.where in WALK for check in d.check_next)
    assert all(check.how and check.good and check.bad for check in d.check_next)
    assert d.about in ("installation", "log")


def test_a_check_of_an_installation_finding_says_where_how_good_and_bad(code):
    d = RULES[code].declaration
    if d.about == "installation":
        assert any(check.where != "log" for check in d.check_next)
        assert d.cautions
        assert d.confused_with


def test_ruled_out_causes_have_a_name_for_it(code):
    """A cause whose test may rule it out says how it is named behind 'Not'."""
    for cause in RULES[code].declaration.causes:
        names = cause.test.__code__.co_names
        if "RULED_OUT" in names:
            assert cause.not_it, cause.text


def test_cautions_stand_where_something_can_hurt(code):
    d = RULES[code].declaration
    given = {name for name, text in CAUTIONS.items() if text in d.cautions}
    assert len(given) == len(d.cautions), "cautions come from _cautions, so that they are one text"
    if d.about == "log":
        return
    said = " ".join(t for t in own_texts(code) if t not in d.cautions)
    for words, one_of in TOUCHES.items():
        if re.search(words, said):
            assert given & set(one_of), f"{code} says {words} and has none of {one_of}"


def test_an_installation_finding_defers_to_codes_instructions_and_licensed_practice(code):
    d = RULES[code].declaration
    if d.about == "log":
        return
    said = " ".join(d.cautions)
    assert re.search(r"instructions|local code|licensed|certified|qualified", said), code


def test_what_touches_gas_or_refrigerant_names_who_may_do_it(code):
    """Gas, combustion and refrigerant are licensed or certified work, and the caution says so."""
    d = RULES[code].declaration
    said = " ".join(t for t in own_texts(code) if t not in d.cautions)
    cautions = " ".join(d.cautions)
    if re.search(r"\brefrigerant\b|\bcharge\b", said):
        assert "certified technician" in cautions, code
    if re.search(r"\bgas (input|valve|supply|pressure)\b|\bcombustion\b", said):
        assert re.search(r"licensed|qualified technician", cautions), code


def suggests(text):
    """Sentences that put a defeating word near a safety without a 'do not' before it."""
    hits = []
    for sentence in re.split(r"(?<=[.;:?!])\s+", " ".join(text.split())):
        for match in re.finditer(rf"\b({DEFEAT})\b", sentence, re.IGNORECASE):
            near = sentence[match.start() : match.end() + 60]
            if re.search(rf"\b({SAFETY})\b", near, re.IGNORECASE) and not NEGATED.search(
                sentence[: match.start()]
            ):
                hits.append(sentence)
    return hits


@pytest.mark.parametrize(
    "text",
    [
        "Raise the limit to 160 °F.",
        "If it trips again, jumper the limit switch.",
        "Bypass the float switch for the test.",
        "Disconnect the rollout switch.",
    ],
)
def test_the_guard_itself_finds_bad_advice(text):
    assert suggests(text)


def test_the_guard_itself_allows_do_not():
    assert not suggests("Do not raise, jumper or bypass a limit.")
    assert not suggests("Never bypass a float switch.")


def test_nothing_suggests_defeating_a_safety(code):
    for text in string_literals(code):
        # what raises a cause raises no limit
        cleaned = re.sub(r"(^|(?<=\. ))Raised (when|by|where)", "Likelier when", text)
        assert not suggests(cleaned), text


def test_cautions_themselves_suggest_nothing_of_the_kind():
    for text in CAUTIONS.values():
        assert not suggests(text), text


def test_a_step_that_may_bring_second_stage_on_for_one_zone_is_watched(code):
    """Such a step says inside itself where to stop: a caution elsewhere is not read at the unit."""
    d = RULES[code].declaration
    about = {"high-limit-trips", "static-above-target", "equipment-cut-outs"}
    if code not in about and not code.startswith("second-stage"):
        return
    for check in d.check_next:
        text = f"{check.how} {check.bad}"
        if re.search(r"call \{zone\}|but \{zone\}|\{zone\} calling alone", text):
            assert _cautions.WATCHED in text, check.how
            assert _cautions.REPRODUCE in d.cautions


def test_thresholds_are_known_and_used(code):
    d = RULES[code].declaration
    assert len(set(d.thresholds)) == len(d.thresholds)
    assert set(d.thresholds) <= set(THRESHOLDS)
    named = [s for s in string_literals(code) if s in THRESHOLDS]
    assert set(named) <= set(d.thresholds), "a number that is read is declared"


def test_links_name_findings_that_exist(code):
    d = RULES[code].declaration
    for other in (*d.suppresses, *d.symptom_of):
        assert other in RULES, other


def test_no_bare_judgement_number_in_a_judge(code):
    """Numbers other than 0, 1, 2, units and layout stand in the table of thresholds."""
    path = FOLDER / f"{code.replace('-', '_')}.py"
    tree = ast.parse(path.read_text(encoding="utf-8"))
    allowed = {0, 1, 2, 3, -1, 3600, 60, 100, 30}
    constants = {
        node.targets[0].id
        for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
    }
    assert "FINDING" in constants
    for function in (n for n in tree.body if isinstance(n, ast.FunctionDef)):
        for node in ast.walk(function):
            if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
                assert isinstance(node.value, bool) or node.value in allowed, (
                    f"{code}.{function.name}: {node.value}"
                )


def test_weights_are_ordered():
    assert Weight.STRONG > Weight.FITS > Weight.OPEN > Weight.AGAINST > Weight.RULED_OUT


BANNED_WORDS = ("withheld", "excursion", "unmet", "concurrency", "residual", "censored", "deadtime")


def test_no_program_words_reach_a_reader(code):
    for text in own_texts(code):
        for word in BANNED_WORDS:
            assert word not in text.lower(), text
        assert "inwc" not in text
