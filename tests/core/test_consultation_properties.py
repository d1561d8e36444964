"""What must hold of every consultation, whatever is answered."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.core.answers import UNKNOWN, Question, Value, WrongAnswer, add_months, expected, read
from assistant.core.consultation import (
    Consultation,
    Form,
    Result,
    Verdict,
    judge,
    open_questions,
    relevant,
    still_go,
)
from assistant.core.kit_sheet import ChartRow, KitSheet, Waits
from tests.core.test_consultation import form
from tests.programs import kit as example_kit

TODAY = date(2024, 3, 1)
PROPERTY = settings(deadline=None, max_examples=60)
"""No wall-clock judgement of a test; the machine may be busy."""
PASTS = st.dates(TODAY - timedelta(days=120), TODAY)
AROUND = st.dates(TODAY - timedelta(days=40), TODAY + timedelta(days=60))


def any_value(question: Question) -> st.SearchStrategy[Value]:
    words: list[Value] = [*question.values, UNKNOWN]
    if question.kind == "several":
        troubles = st.lists(
            st.sampled_from([v for v in question.values if v not in question.alone]), min_size=1, unique=True
        )
        return st.one_of(st.just(UNKNOWN), st.just(question.alone), troubles.map(tuple))
    if question.kind == "date":
        days = (
            PASTS
            if question.past
            else st.dates(TODAY, TODAY + timedelta(days=60))
            if question.past is False
            else AROUND
        )
        return st.one_of(st.sampled_from(words), days)
    if question.kind == "number":
        return st.one_of(st.just(UNKNOWN), st.integers(0, 120))
    if question.kind == "words":
        return st.one_of(st.sampled_from(words), st.just("an ointment"))
    return st.sampled_from(words)


def answers() -> st.SearchStrategy[dict[str, Value]]:
    return st.fixed_dictionaries({q.id: any_value(q) for q in form().questions})


def kits() -> st.SearchStrategy[KitSheet]:
    weeks = st.none() | st.integers(0, 20)
    return st.builds(
        lambda kind, age, relaxer, colour, wash, patch, rows: example_kit().model_copy(
            update={
                "product_class": kind,
                "least_age": age,
                "waits": Waits(relaxer_weeks=relaxer, colour_weeks=colour, wash_days=wash),
                "patch_test_hours": patch,
                "chart": tuple(ChartRow(hair=h, greatest_minutes=20) for h in rows),
            }
        ),
        st.sampled_from(["hydroxide", "hydroxide to mix", "hydroxide", "thio", "bisulfite"]),
        st.none() | st.integers(0, 30),
        weeks,
        weeks,
        st.none() | st.integers(0, 7),
        st.none() | st.just(48.0),
        st.lists(st.sampled_from(["fine", "medium", "coarse"]), min_size=1, unique=True),
    )


EXPOSURES: dict[str, dict[str, tuple[Value, ...]]] = {
    # question: the answer without it, and answers with it
    "scalp": {
        "without": (("sound",),),
        "with": (("irritated",), ("scratched",), ("inflamed",), ("disease",), ("scratched", "disease")),
    },
    "hair_condition": {"without": ("sound",), "with": ("damaged", "breaking")},
    "porosity": {"without": ("normal",), "with": ("high",)},
    "elasticity": {"without": ("good",), "with": ("poor", "snaps")},
    "bleached": {"without": ("no",), "with": ("yes",)},
    "metallic_dye": {"without": ("no",), "with": ("yes",)},
    "henna": {"without": ("none",), "with": ("pure", "compound")},
    "last_colour": {
        "without": ("never",),
        "with": (TODAY, TODAY - timedelta(days=13), TODAY - timedelta(days=14), UNKNOWN),
    },
    "next_colour": {
        "without": ("none",),
        "with": (TODAY, TODAY + timedelta(days=13), TODAY + timedelta(days=40), UNKNOWN),
    },
    "braids": {
        "without": ("none",),
        "with": ("in", TODAY + timedelta(days=5), TODAY - timedelta(days=3), UNKNOWN),
    },
    "dandruff_shampoo": {"without": ("never",), "with": (TODAY, TODAY - timedelta(days=13), UNKNOWN)},
    "hot_pressing": {"without": ("no",), "with": ("lately", "afterwards")},
    "medicines": {"without": ("none",), "with": ("an ointment",)},
    "pregnancy": {"without": ("no",), "with": ("pregnant", "breastfeeding")},
    "earlier_reactions": {"without": ("none",), "with": ("irritation", "burn", "allergy")},
    "contact_lenses": {"without": ("none",), "with": ("worn",)},
    "hearing": {"without": ("well",), "with": ("badly",)},
}


def result(given_answers: dict[str, Value], kit: KitSheet, today: date = TODAY) -> Result:
    return judge(form(), given_answers, kit, today, asked_on=TODAY)


def exposures() -> st.SearchStrategy[tuple[str, Value, Value]]:
    return st.sampled_from(sorted(EXPOSURES)).flatmap(
        lambda q: st.tuples(
            st.just(q), st.sampled_from(EXPOSURES[q]["without"]), st.sampled_from(EXPOSURES[q]["with"])
        )
    )


@PROPERTY
@given(answers(), kits(), st.lists(exposures(), min_size=1, max_size=3))
def test_adding_an_exposure_never_makes_the_verdict_milder(
    base: dict[str, Value], kit: KitSheet, added: list[tuple[str, Value, Value]]
) -> None:
    without = base | {name: value for name, value, _ in added}
    before, after = result(without, kit), result(without | {name: value for name, _, value in added}, kit)
    assert after.verdict.severity >= before.verdict.severity
    if before.not_before and after.not_before:
        assert after.not_before >= before.not_before


@PROPERTY
@given(answers(), kits(), PASTS, PASTS)
def test_a_later_relaxer_is_never_cleared_earlier(
    base: dict[str, Value], kit: KitSheet, one: date, other: date
) -> None:
    early, late = sorted((one, other))
    before, after = result(base | {"last_relaxer": early}, kit), result(base | {"last_relaxer": late}, kit)
    assert after.verdict.severity >= before.verdict.severity
    if before.not_before and after.not_before:
        assert after.not_before >= before.not_before


@PROPERTY
@given(answers(), kits())
def test_the_earliest_day_cleared_today_is_cleared_on_that_day_if_nothing_changes(
    base: dict[str, Value], kit: KitSheet
) -> None:
    first = result(base, kit)
    if first.verdict is Verdict.WAIT:
        assert first.not_before is not None
        assert first.not_before > TODAY
        assert result(base, kit, first.not_before).verdict is Verdict.GO
        day_before = result(base, kit, first.not_before - timedelta(days=1))
        assert day_before.verdict is Verdict.WAIT or first.not_before - timedelta(days=1) == TODAY
    else:
        assert first.not_before is None or first.verdict is Verdict.ASK


@PROPERTY
@given(answers(), kits())
def test_no_day_before_the_earliest_is_cleared(base: dict[str, Value], kit: KitSheet) -> None:
    first = result(base, kit)
    if first.verdict is Verdict.WAIT:
        assert first.not_before is not None
        span = (first.not_before - TODAY).days
        assert all(
            result(base, kit, TODAY + timedelta(days=n)).verdict is not Verdict.GO for n in range(span)
        )


@PROPERTY
@given(answers(), kits())
def test_i_dont_know_is_never_milder_than_the_harmless_answer(base: dict[str, Value], kit: KitSheet) -> None:
    for name in EXPOSURES:
        harmless = result(base | {name: EXPOSURES[name]["without"][0]}, kit)
        unsure = result(base | {name: UNKNOWN}, kit)
        assert unsure.verdict.severity >= harmless.verdict.severity


@PROPERTY
@given(answers(), kits())
def test_every_reason_says_where_it_comes_from_and_what_would_change_it(
    base: dict[str, Value], kit: KitSheet
) -> None:
    found = result(base, kit)
    assert (found.verdict is Verdict.GO) == (not found.findings)
    for finding in found.findings:
        assert finding.change
        assert finding.source
        assert finding.mark in ("leaflet", "published", "common practice")
        assert "{" not in finding.words + finding.change
        assert (finding.until is not None) == (finding.verdict is Verdict.WAIT)


@PROPERTY
@given(answers(), kits(), st.integers(0, 200))
def test_a_run_starts_exactly_when_the_consultation_says_go(
    base: dict[str, Value], kit: KitSheet, later: int
) -> None:
    """A run needs a consultation whose answer is still go today, and the scalp is asked about again."""
    day = TODAY + timedelta(days=later)
    kept = kept_of(base, kit)
    reasons = still_go(form(), kept, kit, day, person="Ada", again={"scalp": "sound"})
    on_the_day = judge(form(), base | {"scalp": ("sound",)}, kit, day, asked_on=TODAY)
    assert (not reasons) == (on_the_day.verdict is Verdict.GO and later <= 56)


def kept_of(base: dict[str, Value], kit: KitSheet) -> Consultation:
    plain = {n: v.isoformat() if isinstance(v, date) else v for n, v in relevant(form(), base, kit).items()}
    return Consultation(person="Ada", kit=kit.name, asked_on=TODAY, answers=plain)


FINE: dict[str, Value] = {
    "age": 34,
    "hair": "coarse",
    "scalp": ("sound",),
    "hair_condition": "sound",
    "porosity": "normal",
    "elasticity": "good",
    "bleached": "no",
    "metallic_dye": "no",
    "henna": "none",
    "last_relaxer": date(2023, 10, 1),
    "last_relaxer_class": "hydroxide",
    "last_colour": "never",
    "next_colour": "none",
    "braids": "none",
    "dandruff_shampoo": "never",
    "last_wash": date(2024, 2, 20),
    "hot_pressing": "no",
    "medicines": "none",
    "pregnancy": "no",
    "earlier_reactions": "none",
    "contact_lenses": "none",
    "hearing": "well",
    "helper": "adult",
}


@pytest.mark.parametrize(
    ("rule", "changed"),
    [
        ("no consultation", {"kept": None}),
        ("other consultation", {"person": "Bo"}),
        ("other consultation", {"kit": example_kit().model_copy(update={"name": "another"})}),
        ("clock", {"today": TODAY - timedelta(days=1)}),
        ("old consultation", {"today": TODAY + timedelta(days=57)}),
        ("used consultation", {"last_run": TODAY}),
        ("asked again", {"again": None}),
        ("asked again", {"again": {"scalp": "fine, thank you"}}),
        ("scalp_hurt", {"again": {"scalp": "scratched"}}),
        ("open questions", {"kit": example_kit().model_copy(update={"patch_test_hours": 48.0})}),
        ("below_leaflet_age", {"kit": example_kit().model_copy(update={"least_age": 40})}),
    ],
)
def test_a_run_is_refused_with_its_reason(rule: str, changed: dict[str, object]) -> None:
    given_all: dict[str, object] = {
        "kept": kept_of(FINE, example_kit()),
        "kit": example_kit(),
        "today": TODAY,
        "person": "Ada",
        "again": {"scalp": "sound"},
        "last_run": date(2023, 10, 1),
    }
    assert not run_gate(given_all)
    assert [r.rule for r in run_gate(given_all | changed)] == [rule]


def run_gate(told: dict[str, object]) -> tuple[object, ...]:
    rest = dict(told)
    kept, kit, today = rest.pop("kept"), rest.pop("kit"), rest.pop("today")
    return still_go(form(), kept, kit, today, **rest)  # type: ignore[arg-type]


def test_nobody_is_cleared_by_what_was_not_asked() -> None:
    for name in FINE:
        left = {n: v for n, v in FINE.items() if n != name}
        assert name in [q.id for q in open_questions(form(), left, example_kit())]
        with pytest.raises(ValueError, match=name):
            judge(form(), left, example_kit(), TODAY)


def test_every_question_explains_itself_and_says_what_not_knowing_leads_to() -> None:
    for question in form().questions:
        assert question.why
        assert question.unknown
        assert read(question, "I don't know", TODAY) == UNKNOWN
        for value in question.values:
            taken = read(question, value.upper(), TODAY)
            assert taken in (value, (value,))
        for nonsense in (
            "",
            "   ",
            "qqqq",
            "\x1b[2J",
            "99999999999999999999",
            "0000-00-00",
            "in 1 week ago",
            "-1",
        ):
            if question.kind == "words" and nonsense in ("qqqq", "\x1b[2J", "in 1 week ago"):
                continue  # a name nobody here knows is still a name
            with pytest.raises(WrongAnswer) as caught:
                read(question, nonsense, TODAY)
            assert expected(question) in str(caught.value)


@pytest.mark.parametrize(
    ("words", "day"),
    [
        ("today", date(2024, 3, 1)),
        ("Yesterday.", date(2024, 2, 29)),
        ("a week ago", date(2024, 2, 23)),
        ("6 weeks ago", date(2024, 1, 19)),
        ("2024-02-29", date(2024, 2, 29)),
        ("1 month ago", date(2024, 2, 1)),
        ("a year ago", date(2023, 3, 1)),
        ("3 days ago", date(2024, 2, 27)),
    ],
)
def test_a_day_may_be_said_as_people_say_it(words: str, day: date) -> None:
    assert read(form().get("last_relaxer"), words, TODAY) == day


@PROPERTY
@given(st.dates(date(1900, 1, 1), date(2190, 1, 1)), st.integers(0, 30))
def test_calendar_months_are_those_of_another_library(day: date, months: int) -> None:
    assert add_months(day, months) == day + relativedelta(months=months)


def test_a_form_whose_rules_ask_for_what_is_never_answered_is_refused() -> None:
    whole = form().model_dump(by_alias=True)
    for path, value in (
        ("when", {"bleached": ["perhaps"]}),
        ("when", {"nobody": ["x"]}),
        ("words", "It is {nothing}."),
    ):
        broken = {**whole, "rules": [{**whole["rules"][0], path: value}, *whole["rules"][1:]]}
        with pytest.raises(ValueError, match=r"which it never is|nobody asks"):
            Form.model_validate(broken)
